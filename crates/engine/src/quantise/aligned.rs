//! Why a strip crosses itself, as a row of the program.
//!
//! Between a place where a strip crosses itself and that same place, the strip runs round something:
//! a limb, most often. The strips beside it run along with it as far as the first pole on its left
//! and the first on its right; all strips between these two poles cross themselves alike. How
//! many there are is a sum of the plan's numbers, told by following the strip from the one
//! pole to the other: with that sum held to none, the two poles lie in one line, and the rows on
//! either side close. Whole numbers between singularities as sums along a path are from Campen, Bommes &
//! Kobbelt, "Quantized global parametrization", 2015 (from memory), who keep them from vanishing.

use std::collections::BTreeMap;

use super::Plan;
use crate::layout::Layout;

/// Patches that a strip is followed through at most: a limb's rows pass fewer.
const MOST_LEGS: usize = 200;

/// A sum of the plan's numbers.
#[derive(Clone, Debug, Default, PartialEq, Eq, PartialOrd, Ord)]
pub(super) struct Sum {
    /// Factors of arcs.
    pub arcs: BTreeMap<usize, i32>,
    /// Factors of spokes, by patch and number.
    pub spokes: BTreeMap<[usize; 2], i32>,
}

impl Sum {
    fn arc(&mut self, arc: usize, factor: i32) {
        *self.arcs.entry(arc).or_default() += factor;
    }

    fn spoke(&mut self, spoke: [usize; 2], factor: i32) {
        *self.spokes.entry(spoke).or_default() += factor;
    }

    fn add(&mut self, other: &Self, factor: i32) {
        for (&arc, &f) in &other.arcs {
            self.arc(arc, factor * f);
        }
        for (&spoke, &f) in &other.spokes {
            self.spoke(spoke, factor * f);
        }
    }

    /// Without what has come to nothing.
    fn plain(mut self) -> Self {
        self.arcs.retain(|_, f| *f != 0);
        self.spokes.retain(|_, f| *f != 0);
        self
    }

    /// What it comes to in a plan.
    #[cfg(test)]
    pub fn of(&self, plan: &Plan) -> i64 {
        let arcs = self.arcs.iter();
        let arcs = arcs.map(|(&a, &f)| i64::from(plan.arcs[a]) * i64::from(f));
        let spokes = self.spokes.iter();
        let spokes = spokes.map(|(&[p, j], &f)| i64::from(plan.spokes[p][j]) * i64::from(f));
        arcs.sum::<i64>() + spokes.sum::<i64>()
    }
}

/// A place at which a strip enters or leaves a patch.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Gate {
    patch: usize,
    side: usize,
    /// Number of the place along the side.
    at: usize,
}

/// The way on which a strip crosses a patch, kept on one side of its middle.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
struct Leg {
    /// Spoke that it crosses; the lower of its two sides in a patch of four.
    way: usize,
    /// Its number along that spoke, or along that side.
    number: usize,
    /// Where it leaves.
    out: Gate,
}

/// A stretch of a strip.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Way {
    /// From a place where it crosses itself and round to it: on the leg that starts at one gate, and
    /// back on that which starts at the other.
    Round {
        /// Where the first leg starts.
        start: Gate,
        /// Where the last one does.
        back: Gate,
    },
    /// Through so many patches.
    Across {
        /// Where the first leg starts.
        start: Gate,
        /// Number of legs.
        legs: usize,
    },
}

/// A place of a side.
#[derive(Clone, Copy)]
struct Place {
    arc: usize,
    /// Its number along the arc.
    number: usize,
    /// The arc's number within the side's list.
    on: usize,
}

/// Follows strips through patches.
pub(super) struct Walks<'a> {
    layout: &'a Layout,
    plan: &'a Plan,
    /// By patch and side, its places.
    places: Vec<Vec<Vec<Place>>>,
    /// By arc, the one or two sides that it is on: patch, side, number within the side's list.
    uses: Vec<Vec<[usize; 3]>>,
}

impl<'a> Walks<'a> {
    pub fn new(layout: &'a Layout, plan: &'a Plan) -> Self {
        let mut uses = vec![Vec::new(); layout.arcs.len()];
        let mut places = Vec::with_capacity(layout.patches.len());
        for (p, patch) in layout.patches.iter().enumerate() {
            let mut sides = Vec::with_capacity(patch.sides.len());
            for (s, side) in patch.sides.iter().enumerate() {
                let mut along = Vec::new();
                for (u, used) in side.iter().enumerate() {
                    uses[used.arc].push([p, s, u]);
                    let n = plan.arcs[used.arc] as usize;
                    let number = |k: usize| if used.forward { k } else { n - 1 - k };
                    along.extend((0..n).map(|k| Place {
                        arc: used.arc,
                        number: number(k),
                        on: u,
                    }));
                }
                sides.push(along);
            }
            places.push(sides);
        }
        Self {
            layout,
            plan,
            places,
            uses,
        }
    }

    fn length(&self, patch: usize, side: usize) -> usize {
        self.places[patch][side].len()
    }

    /// The way across a patch from a gate; `None` where a surplus is taken up.
    fn across(&self, gate: Gate) -> Option<Leg> {
        let Gate { patch, side, at } = gate;
        let n = self.layout.patches[patch].sides.len();
        let out = |side: usize, at: usize| Gate { patch, side, at };
        if n == 4 {
            if self.plan.surplus[patch] != [0, 0] {
                return None;
            }
            let other = (side + 2) % 4;
            let back = self.length(patch, other).checked_sub(at + 1)?;
            let number = if side < 2 { at } else { back };
            return Some(Leg {
                way: side % 2,
                number,
                out: out(other, back),
            });
        }
        let before = (side + n - 1) % n;
        let near = *self.plan.spokes[patch].get(before)? as usize;
        if at < near {
            let other = (side + n - 2) % n;
            let back = self.length(patch, other).checked_sub(at + 1)?;
            return Some(Leg {
                way: before,
                number: at,
                out: out(other, back),
            });
        }
        let number = self.length(patch, side).checked_sub(at + 1)?;
        Some(Leg {
            way: (side + 1) % n,
            number,
            out: out((side + 2) % n, number),
        })
    }

    fn place(&self, gate: Gate) -> Place {
        self.places[gate.patch][gate.side][gate.at]
    }

    /// The gate on the far side of the arc that a gate is on; `None` at the surface's edge.
    fn through(&self, gate: Gate) -> Option<Gate> {
        let [patch, side, to] = self.beyond(gate)?;
        let Place { arc, number, .. } = self.place(gate);
        let sides = &self.layout.patches[patch].sides[side];
        let before = sides[..to].iter().map(|u| self.plan.arcs[u.arc] as usize);
        let n = self.plan.arcs[arc] as usize;
        let along = if sides[to].forward {
            number
        } else {
            n - 1 - number
        };
        let at = before.sum::<usize>() + along;
        Some(Gate { patch, side, at })
    }

    /// Where the arc that a gate is on lies beyond it, as in `uses`.
    fn beyond(&self, gate: Gate) -> Option<[usize; 3]> {
        let Place { arc, on, .. } = self.place(gate);
        let own = [gate.patch, gate.side, on];
        self.uses[arc].iter().copied().find(|&u| u != own)
    }

    /// By how much the strips on the left change through the arc that a gate is on: on its left a
    /// strip has what comes after on the side that it leaves by, and what comes before on the
    /// one that it enters by.
    fn more_left(&self, gate: Gate) -> Sum {
        let mut more = Sum::default();
        if let Some([q, t, to]) = self.beyond(gate) {
            let own = &self.layout.patches[gate.patch].sides[gate.side];
            for used in &own[self.place(gate).on + 1..] {
                more.arc(used.arc, -1);
            }
            for used in &self.layout.patches[q].sides[t][..to] {
                more.arc(used.arc, 1);
            }
        }
        more
    }

    fn side_sum(&self, patch: usize, side: usize, factor: i32) -> Sum {
        let mut sum = Sum::default();
        for used in &self.layout.patches[patch].sides[side] {
            sum.arc(used.arc, factor);
        }
        sum
    }

    /// Gates by which a strip enters patches.
    fn gates(&self, patch: usize, strips: &[Vec<usize>], strand: usize) -> Vec<Gate> {
        let mut gates = Vec::new();
        for (side, places) in self.places[patch].iter().enumerate() {
            for (at, place) in places.iter().enumerate() {
                if strips[place.arc][place.number] == strand {
                    gates.push(Gate { patch, side, at });
                }
            }
        }
        gates
    }

    /// The places where a strip crosses itself, by the number of patches on the way round from
    /// each: the way that leaves the patch by the end of a leg and comes back on another that
    /// crosses it. `strips`: the strip of each place of each arc.
    pub fn rounds(&self, strips: &[Vec<usize>], strand: usize) -> Vec<(usize, Way)> {
        let mut found = Vec::new();
        for p in 0..self.layout.patches.len() {
            for start in self.gates(p, strips, strand) {
                found.extend(self.round(start));
            }
        }
        found
    }

    /// The way round that begins with the leg from a gate, if its strip soon comes back to cross it.
    fn round(&self, start: Gate) -> Option<(usize, Way)> {
        let n = self.layout.patches[start.patch].sides.len();
        let one = self.across(start)?;
        let crosses = |way: usize| {
            if n == 4 {
                way != one.way
            } else {
                way == (one.way + 1) % n || one.way == (way + 1) % n
            }
        };
        let mut gate = self.through(one.out)?;
        for legs in 1..MOST_LEGS {
            let leg = self.across(gate)?;
            if gate.patch == start.patch && crosses(leg.way) {
                return Some((legs, Way::Round { start, back: gate }));
            }
            gate = self.through(leg.out)?;
        }
        None
    }

    /// The ways on which a strip goes from one arc of a ring to the next, by the number of patches
    /// between.
    pub fn between(
        &self,
        strips: &[Vec<usize>],
        strand: usize,
        ring: &[usize],
    ) -> Vec<(usize, Way)> {
        let on_ring = |gate: Gate| ring.contains(&self.place(gate).arc);
        let patches = 0..self.layout.patches.len();
        let gates = patches.flat_map(|p| self.gates(p, strips, strand));
        let stretch = |start: Gate| {
            let mut gate = start;
            for legs in 1..MOST_LEGS {
                let leg = self.across(gate)?;
                if on_ring(leg.out) {
                    return Some((legs, Way::Across { start, legs }));
                }
                gate = self.through(leg.out)?;
            }
            None
        };
        gates
            .filter(|&gate| on_ring(gate))
            .filter_map(stretch)
            .collect()
    }

    /// How many strips run along a way beside each other, as a sum: those between the nearest poles
    /// on its left and right. `None` where one side has no pole.
    pub fn sum(&self, way: Way) -> Option<Sum> {
        match way {
            Way::Round { start, back } => self.sum_round(start, back),
            Way::Across { start, legs } => {
                let (mut gate, mut left, mut poles) = (start, Sum::default(), Poles::default());
                for step in 0..legs {
                    let leg = self.across(gate)?;
                    self.pass(gate, &leg, &mut left, &mut poles);
                    if step + 1 < legs {
                        left.add(&self.more_left(leg.out), 1);
                        gate = self.through(leg.out)?;
                    }
                }
                poles.between()
            }
        }
    }

    /// Passes a whole patch.
    fn pass(&self, gate: Gate, leg: &Leg, left: &mut Sum, poles: &mut Poles) {
        if self.layout.patches[gate.patch].sides.len() != 4 {
            poles.pass(self, gate, leg, left);
            left.add(&self.turned(gate, leg), 1);
        }
    }

    fn sum_round(&self, start: Gate, back: Gate) -> Option<Sum> {
        let n = self.layout.patches[start.patch].sides.len();
        let (one, other) = (self.across(start)?, self.across(back)?);
        let mut poles = Poles::default();
        // The number of strips on the left is some number and this sum.
        let mut left = Sum::default();
        // Whether a leg passes its spoke after the corner in which it crosses the other one: from
        // side j + 1 the corner of j and j + 1 comes first, then spoke j, then the corner of
        // j − 1 and j.
        let after = |from: Gate, leg: &Leg, with: &Leg| {
            let from_higher = from.side == (leg.way + 1) % n;
            from_higher != (with.way == (leg.way + n - 1) % n)
        };
        if n != 4 && after(start, &one, &other) {
            // The strips on the left are counted from the leg's end on.
            let mut at_start = Sum::default();
            at_start.add(&self.turned(start, &one), -1);
            poles.pass(self, start, &one, &at_start);
        }
        let mut gate = one.out;
        for _ in 0..MOST_LEGS {
            left.add(&self.more_left(gate), 1);
            let next = self.through(gate)?;
            if next == back {
                if n != 4 && !after(back, &other, &one) {
                    poles.pass(self, back, &other, &left);
                }
                return poles.between();
            }
            let leg = self.across(next)?;
            self.pass(next, &leg, &mut left, &mut poles);
            gate = leg.out;
        }
        None
    }

    /// By how much the strips on the left change from the start of a leg round a pole to its end.
    fn turned(&self, from: Gate, leg: &Leg) -> Sum {
        let n = self.layout.patches[from.patch].sides.len();
        if from.side == (leg.way + 1) % n {
            return Sum::default();
        }
        let mut sum = self.side_sum(from.patch, leg.out.side, 1);
        sum.add(&self.side_sum(from.patch, from.side, 1), -1);
        sum
    }
}

/// The nearest poles on both sides of a way.
#[derive(Clone, Default)]
struct Poles {
    /// How many strips lie between the way and the pole, and that number's sum less (left) or
    /// more (right) the strips on the left of the way.
    left: Option<(i64, Sum)>,
    right: Option<(i64, Sum)>,
}

impl Poles {
    /// Passes the pole of a patch; `left` is the sum for the strips on the left where the leg starts.
    fn pass(&mut self, walks: &Walks<'_>, from: Gate, leg: &Leg, left: &Sum) {
        let patch = from.patch;
        let n = walks.layout.patches[patch].sides.len();
        let spoke = [patch, leg.way];
        let Some(gap) =
            i64::from(walks.plan.spokes[patch][leg.way]).checked_sub(leg.number as i64 + 1)
        else {
            return;
        };
        let mut sum = Sum::default();
        sum.spoke(spoke, 1);
        if from.side == (leg.way + 1) % n {
            // The pole is on the right: its spoke's quads less those up to the way.
            sum.add(left, -1);
            if self.right.as_ref().is_none_or(|r| gap < r.0) {
                self.right = Some((gap, sum));
            }
        } else {
            sum.add(&walks.side_sum(patch, from.side, -1), 1);
            sum.add(left, 1);
            if self.left.as_ref().is_none_or(|l| gap < l.0) {
                self.left = Some((gap, sum));
            }
        }
    }

    /// The strips between the two, if both are there.
    fn between(self) -> Option<Sum> {
        let (mut sum, right) = (self.left?.1, self.right?.1);
        sum.add(&right, 1);
        Some(sum.plain())
    }
}

#[cfg(test)]
mod tests {
    use super::super::QuantiseOptions;
    use super::super::model::Asked;
    use super::super::shape::Shape;
    use super::super::strands::strands_of_arcs;
    use super::super::tests::ground_of;
    use super::*;
    use crate::testing::{Made, all_made};

    /// Plans looked at beside each.
    const BESIDE: usize = 8;

    /// Two ways to tell a strip, which share no code: places joined into strips, and a walk from
    /// patch to patch.
    #[test]
    fn a_walk_stays_on_its_strip_and_leads_back() {
        let (mut legs, mut steps) = (0, 0);
        for made in all_made() {
            let (layout, plan) = (&made.laid.layout, &made.plan);
            let strips = strands_of_arcs(layout, plan);
            let walks = Walks::new(layout, plan);
            let strip = |gate: Gate| {
                let Place { arc, number, .. } = walks.place(gate);
                strips[arc][number]
            };
            for (patch, sides) in walks.places.iter().enumerate() {
                for (side, places) in sides.iter().enumerate() {
                    for at in 0..places.len() {
                        let gate = Gate { patch, side, at };
                        if let Some(leg) = walks.across(gate) {
                            assert_eq!(strip(leg.out), strip(gate));
                            let back = walks.across(leg.out).unwrap();
                            let same = (back.way, back.number, back.out);
                            assert_eq!(same, (leg.way, leg.number, gate));
                            legs += 1;
                        }
                        if let Some(next) = walks.through(gate) {
                            let more = walks.more_left(gate);
                            assert_eq!(strip(next), strip(gate));
                            // What is on the left changes as the sum tells.
                            let left = (sides[side].len() - 1 - at) as i64;
                            assert_eq!(next.at as i64, left + more.of(plan));
                            assert_eq!(walks.through(next), Some(gate));
                            steps += 1;
                        }
                    }
                }
            }
        }
        assert!(legs > 500 && steps > 500, "{legs} {steps}");
    }

    /// Strips between the nearest poles on either side of a way, counted at the poles and as
    /// the sum tells, on every way of up to twelve patches from every gate of every case, and of plans
    /// beside theirs, whose poles are out of line.
    #[test]
    fn sums_count_the_strips_between_two_poles() {
        let mut counted = 0;
        let beside = |made: &Made| {
            let layout = &made.laid.layout;
            let options = QuantiseOptions::new(made.case.edge, made.case.faces);
            let task = base::Task::default();
            let (ground, counts) = ground_of(made, &options, &task);
            let needed = vec![0; layout.arcs.len()];
            let asked = Asked::new(&counts, &needed, made.plan.edge, &options, 0);
            let shape = Shape::new(&ground, &asked).unwrap();
            let plans = shape.beside(&made.plan).into_iter().map(|p| p.1);
            plans.take(BESIDE).collect::<Vec<_>>()
        };
        let plans = |made: &'static Made| {
            let all = std::iter::once(made.plan.clone()).chain(beside(made));
            all.map(move |plan| (made, plan))
        };
        for (made, plan) in all_made().iter().flat_map(plans) {
            let (layout, plan) = (&made.laid.layout, &plan);
            let walks = Walks::new(layout, plan);
            let sides = walks.places.iter().enumerate().flat_map(|(patch, sides)| {
                let sides = sides.iter().enumerate();
                sides.flat_map(move |(side, places)| {
                    (0..places.len()).map(move |at| Gate { patch, side, at })
                })
            });
            for start in sides {
                let (mut gate, mut left, mut poles) = (start, Sum::default(), Poles::default());
                for _ in 0..12 {
                    let Some(leg) = walks.across(gate) else { break };
                    walks.pass(gate, &leg, &mut left, &mut poles);
                    let Some(next) = walks.through(leg.out) else {
                        break;
                    };
                    left.add(&walks.more_left(leg.out), 1);
                    gate = next;
                }
                if let (Some((a, _)), Some((b, _))) = (&poles.left, &poles.right) {
                    let strips = a + b + 1;
                    assert_eq!(poles.between().map(|sum| sum.of(plan)), Some(strips));
                    counted += 1;
                }
            }
        }
        assert!(counted > 10, "{counted}");
    }
}
