//! Brings singular places to where poles are pinned, and takes them out of where poles are barred.
//!
//! A singular place is moved by carrying its index along a walk; where none of the kind wanted is
//! near, a pair of opposite ones is made, one of them at the pin. Of the walks that are tried the
//! one that leaves the field smoothest is taken, and only if the field then has the singular places
//! that its whole quarter turns say (see [`super::periods`]).

use mesh::DVec3;

use super::Singularity;
use super::periods::Periods;
use crate::intent::{Aims, PinAim};

/// Triangles near a pin that may take its pole, nearest first.
const SEATS: usize = 6;
/// A pinned pole may be off its pin by this much, quads.
const SEAT_REACH: f64 = 0.4;
/// The other one of a new pair is put this far off, quads: near enough to be a local matter, too
/// far for the layout to take both for one that isn't there.
const PAIR: [f64; 2] = [4.0, 8.0];
/// Walks tried for one pole.
const WALKS: usize = 10;
/// Furthest that a pole is moved, quads.
const FURTHEST: f64 = 12.0;
/// What a field may lose, square radians summed over edges, for a pole to leave the neighbourhood
/// of a ring, where nobody asked for it outright.
const BERTH_PRICE: f64 = 0.5;
/// Furthest that such a pole is moved, quads.
const ASIDE: f64 = 3.0;

/// What steering came to.
#[derive(Clone, Debug, Default, PartialEq)]
pub(super) struct Steered {
    /// For each pin, the triangle that has its singular place.
    pub pins: Vec<Option<u32>>,
    /// Singular places that couldn't leave where poles are barred outright.
    pub stuck: Vec<Singularity>,
}

/// What singular places are steered on.
pub(super) struct Steering<'a, 'b> {
    pub periods: &'a mut Periods<'b>,
    /// Middles of the triangles on the smoothed copy, model units.
    pub middles: &'a [DVec3],
    /// The same on the work surface, where pins are.
    pub real: &'a [DVec3],
    /// Corners of the triangles.
    pub triangles: &'a [[u32; 3]],
    /// Singular places as they are.
    pub left: Vec<Singularity>,
    /// Edge length of the quads, model units.
    pub quad: f64,
}

/// A change that was tried: the field's energy, what the singular places are then.
type Tried = (f64, Vec<u32>, i32);

impl Steering<'_, '_> {
    /// Meets pins, then clears what is barred.
    pub fn run(&mut self, aims: &Aims) -> Steered {
        let mut steered = Steered::default();
        for pin in &aims.pins {
            let taken: Vec<u32> = steered.pins.iter().flatten().copied().collect();
            let triangle = self.meet(pin, aims, &taken);
            steered.pins.push(triangle);
        }
        let pinned: Vec<u32> = steered.pins.iter().flatten().copied().collect();
        let within = |bars: &[bool], t: u32, triangles: &[[u32; 3]]| {
            triangles[t as usize].iter().any(|&v| bars[v as usize])
        };
        for (outright, bars) in [(true, &aims.barred), (false, &aims.berth)] {
            let places: Vec<Singularity> = self
                .left
                .iter()
                .copied()
                .filter(|s| within(bars, s.triangle, self.triangles))
                .collect();
            for place in places {
                let there = self.left.contains(&place);
                if there && !pinned.contains(&place.triangle) {
                    self.leave(place, aims, &pinned, outright);
                }
            }
        }
        steered.stuck = self
            .left
            .iter()
            .copied()
            .filter(|s| within(&aims.barred, s.triangle, self.triangles))
            .collect();
        steered
    }

    /// Of walks that index may be carried along, with where each goes, the one that leaves the field
    /// smoothest and true; of equal ones the first.
    fn best(&self, walks: Vec<(u32, Vec<u32>)>, quarters: i32) -> Option<(u32, Tried)> {
        let ways: Vec<&[u32]> = walks.iter().map(|w| w.1.as_slice()).collect();
        let energies = self.periods.tries(&ways, quarters, 2);
        let mut best: Option<(u32, Tried)> = None;
        for ((to, walk), energy) in walks.into_iter().zip(energies) {
            if let Some(energy) = energy
                && best.as_ref().is_none_or(|b| energy < b.1.0)
            {
                best = Some((to, (energy, walk, quarters)));
            }
        }
        best
    }

    /// Carries index for good.
    fn carry(&mut self, (_, walk, quarters): Tried, from: u32, to: u32) {
        self.periods.carry(&walk, quarters);
        self.periods.solve();
        for (triangle, change) in [(from, -quarters), (to, quarters)] {
            match self.left.iter_mut().find(|s| s.triangle == triangle) {
                Some(place) => place.quarters += change,
                None => self.left.push(Singularity {
                    triangle,
                    quarters: change,
                }),
            }
        }
        self.left.retain(|s| s.quarters != 0);
        self.left.sort_by_key(|s| s.triangle);
    }

    /// Puts a singular place of the pin's kind at the pin; the triangle that has it.
    fn meet(&mut self, pin: &PinAim, aims: &Aims, taken: &[u32]) -> Option<u32> {
        let far = |t: u32| self.real[t as usize].distance(pin.at);
        let mut seats: Vec<u32> = (0..self.middles.len() as u32).collect();
        seats.sort_by(|&a, &b| far(a).total_cmp(&far(b)).then(a.cmp(&b)));
        seats.truncate(SEATS);
        let first = seats.first().copied();
        seats.retain(|&t| Some(t) == first || far(t) <= SEAT_REACH * self.quad);
        let kind = |s: &Singularity| s.quarters == pin.quarters && !taken.contains(&s.triangle);
        if let Some(there) = self
            .left
            .iter()
            .find(|s| kind(s) && seats.contains(&s.triangle))
        {
            return Some(there.triangle);
        }
        let mine: Vec<u32> = self
            .left
            .iter()
            .filter(|s| kind(s))
            .map(|s| s.triangle)
            .collect();
        for &seat in &seats {
            let free = self.left.iter().all(|s| s.triangle != seat);
            if !free {
                continue;
            }
            let near = self
                .periods
                .walks(self.middles, seat, &mine, FURTHEST * self.quad);
            let mut walks: Vec<(u32, Vec<u32>)> = near
                .into_iter()
                .take(WALKS)
                .map(|(other, _, walk)| (other, walk))
                .collect();
            walks.extend(self.partners(seat, aims, taken));
            // Index goes from the seat to the other place: what is missing there is what the seat
            // gets.
            let best = self.best(walks, -pin.quarters);
            if let Some((other, tried)) = best {
                self.carry(tried, seat, other);
                return Some(seat);
            }
        }
        None
    }

    /// Places for the other one of a new pair, with the walks there: all round, where no pole is
    /// barred and none is near.
    fn partners(&self, seat: u32, aims: &Aims, taken: &[u32]) -> Vec<(u32, Vec<u32>)> {
        let [near, far] = PAIR.map(|p| p * self.quad);
        let at = |t: u32| self.middles[t as usize];
        let free = |t: u32| {
            let corners = self.triangles[t as usize];
            let barred = corners
                .iter()
                .any(|&v| aims.barred[v as usize] || aims.berth[v as usize]);
            let apart = self
                .left
                .iter()
                .map(|s| s.triangle)
                .chain(taken.iter().copied())
                .all(|other| at(other).distance(at(t)) > 2.0 * self.quad);
            !barred && apart
        };
        let mut goals: Vec<u32> = (0..self.middles.len() as u32)
            .filter(|&t| {
                let way = at(t).distance(at(seat));
                near <= way && way <= far && free(t)
            })
            .collect();
        // A spread of them: each the furthest from those before (Gonzalez 1985).
        let mut spread: Vec<u32> = Vec::new();
        while spread.len() < WALKS && !goals.is_empty() {
            let apart = |t: u32| {
                spread
                    .iter()
                    .map(|&o| at(o).distance(at(t)))
                    .fold(f64::INFINITY, f64::min)
            };
            let next = (0..goals.len()).max_by(|&i, &j| {
                apart(goals[i])
                    .total_cmp(&apart(goals[j]))
                    .then(goals[j].cmp(&goals[i]))
            });
            match next {
                Some(i) => spread.push(goals.swap_remove(i)),
                None => break,
            }
        }
        let reach = 1.5 * far;
        let walks = self.periods.walks(self.middles, seat, &spread, reach);
        walks.into_iter().map(|(t, _, walk)| (t, walk)).collect()
    }

    /// Cancels a singular place with an opposite one, or moves it to where no pole is barred.
    fn leave(&mut self, place: Singularity, aims: &Aims, pinned: &[u32], outright: bool) {
        let barred = |t: u32| {
            let corners = self.triangles[t as usize];
            corners
                .iter()
                .any(|&v| aims.barred[v as usize] || aims.berth[v as usize])
        };
        // Beside a ring, where nobody asked, a pole only steps aside.
        let opposite: Vec<u32> = self
            .left
            .iter()
            .filter(|_| outright)
            .filter(|s| s.quarters == -place.quarters && !pinned.contains(&s.triangle))
            .map(|s| s.triangle)
            .collect();
        let reach = if outright { FURTHEST } else { ASIDE } * self.quad;
        let mut walks = self
            .periods
            .walks(self.middles, place.triangle, &opposite, reach);
        walks.truncate(WALKS);
        let at = |t: u32| self.middles[t as usize];
        let mut ways: Vec<(f64, u32)> = (0..self.middles.len() as u32)
            .filter(|&t| !barred(t))
            .filter(|&t| {
                self.left
                    .iter()
                    .all(|s| at(s.triangle).distance(at(t)) > self.quad)
            })
            .map(|t| (at(t).distance(at(place.triangle)), t))
            .filter(|w| w.0 <= reach)
            .collect();
        ways.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)));
        // The nearest ones, each a quad from those before.
        let mut goals: Vec<u32> = Vec::new();
        for (_, t) in ways {
            if goals.len() < WALKS && goals.iter().all(|&g| at(g).distance(at(t)) > self.quad) {
                goals.push(t);
            }
        }
        walks.extend(
            self.periods
                .walks(self.middles, place.triangle, &goals, 1.5 * reach),
        );
        let before = self.periods.energy();
        let walks = walks.into_iter().map(|(to, _, walk)| (to, walk)).collect();
        let best = self.best(walks, place.quarters);
        if let Some((to, tried)) = best
            && (outright || tried.0 <= before + BERTH_PRICE)
        {
            self.carry(tried, place.triangle, to);
        }
    }
}
