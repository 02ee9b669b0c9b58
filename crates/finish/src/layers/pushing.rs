//! The push, round by round: contacts become rows, rows a push, the push new positions.

use base::{Cancelled, Task};
use mesh::{DVec3, QuadMesh};
use numeric::Spd;
use rayon::prelude::*;

use super::contact::{self, Body, Contact, Found, Known};
use super::fair::Form;
use super::half::Halves;
use super::push::{Program, Row};
use super::{Follow, Frame, Side, least};

/// In so many rounds directions follow the contacts found.
const TURNING: usize = 1;
/// After so many rounds directions give way to places that they don't move.
const STUCK: usize = 4;
/// Quads over which the push of a place spreads, about.
const SPREAD: f64 = 2.5;
/// Quads over which a place's pull on directions spreads, about, and what normals count beside the
/// hardest pull. Where cloth is pulled several ways close together, directions that turn with each
/// place need less of a push than those that meet half way; with less spread than this quads fold.
const REACH: f64 = 2.0;
const UPRIGHT: f64 = 0.3;
/// What pressing rows and bounds may give way, as a share of the least clearance.
const GIVE: f64 = 1e-3;
/// Rows in which the vertices' directions count less than this are left out: moving along
/// them would not clear the place.
const ASKEW: f64 = 0.35;
/// Nothing moves further than this many times the deepest place of the first look: what would,
/// has lost its way among folds.
const ASTRAY: f64 = 1.6;

/// Rounds in which normals are averaged with their neighbours': some two quads around.
const WIDE: usize = 6;
/// An averaged normal shorter than this says nothing: the cloth bends too much.
const CLEAR: f64 = 0.35;
/// A quad is in a fold where its normal counts less than this along that of the cloth around.
const FOLDED: f64 = 0.2;

/// The push as it grows.
pub(super) struct Pushing<'a> {
    pub surface: &'a QuadMesh,
    pub halves: Halves,
    pub form: Form,
    /// Spreads pulls over neighbours, for directions.
    spread: Option<Spd>,
    /// Unit normals of the unknowns' vertices, away from the layers.
    normals: Vec<DVec3>,
    /// Direction of each unknown.
    along: Vec<DVec3>,
    /// How far each has moved.
    amount: Vec<f64>,
    most: Vec<f64>,
    /// Whether an unknown can't move.
    pub still: Vec<bool>,
    softness: f64,
    give: f64,
    /// Whether nothing may move further than to the nearest side of a layer asks for.
    close: bool,
    /// Nothing moves further than this.
    limit: f64,
    /// How far things move at most where every place goes to the nearest side of a layer.
    pub nearby: f64,
    pub follow: Option<Follow<'a>>,
    /// Where vertices would be without the push: as they came, but for what following changed.
    rest: Vec<DVec3>,
    pub positions: Vec<DVec3>,
    /// The way that quads face which only follow others, or lie in a fold; of the rest nothing.
    facing: Vec<DVec3>,
    known: Vec<Known>,
    /// With the number of their layer.
    pub contacts: Vec<(usize, Contact)>,
    rows: Vec<SpaceRow>,
    pressures: Vec<f64>,
}

/// Normals of the unknowns, averaged over the cloth around; not unit: shorter where it bends.
fn wide_normals(surface: &QuadMesh, halves: &Halves, normals: &[DVec3]) -> Vec<DVec3> {
    let edges = surface.topology().edges;
    let mut wide = normals.to_vec();
    for _ in 0..WIDE {
        let before = wide.clone();
        let mut count = vec![1.0; wide.len()];
        for edge in &edges {
            for [v, other] in [*edge, [edge[1], edge[0]]].map(|e| e.map(|v| v as usize)) {
                let [to, from] = [v, other].map(|v| halves.unknown[v] as usize);
                let turned = halves.turned(other, before[from]);
                wide[to] += halves.turned(v, turned);
                count[to] += 1.0;
            }
        }
        for (normal, count) in wide.iter_mut().zip(count) {
            *normal /= count;
        }
    }
    wide
}

impl<'a> Pushing<'a> {
    /// `close` keeps the push to what the nearest sides of layers ask for.
    pub fn new(surface: &'a QuadMesh, bodies: &[Body], frame: &Frame<'a>, close: bool) -> Self {
        let halves = Halves::of(surface, frame.plane, &frame.tied);
        let size = halves.len();
        let form = Form::of(surface, &halves, &frame.guided);
        let spread = Form::spread(surface, &halves.unknown, size, REACH);
        let mut still = vec![false; size];
        for &v in &frame.still {
            if let Some(&unknown) = halves.unknown.get(v as usize) {
                still[unknown as usize] = true;
            }
        }
        let under = bodies.iter().any(|body| body.side == Side::Under);
        let outward = if under { 1.0 } else { -1.0 };
        let mut normals = vec![DVec3::ZERO; size];
        // What follows, such as a trim's inner wall, may face the other way.
        let leads = |quad: &&[u32; 4]| !quad.iter().any(|&v| halves.follows[v as usize]);
        for quad in surface.quads.iter().filter(leads) {
            let [a, b, c, d] = quad.map(|v| surface.positions[v as usize]);
            let normal = (c - a).cross(d - b) * outward;
            for &v in quad {
                let unknown = halves.unknown[v as usize] as usize;
                normals[unknown] += halves.turned(v as usize, normal);
            }
        }
        // Where only what follows is beside a vertex, as at a trim's edge, it is as its neighbours.
        for _ in 0..2 {
            let before = normals.clone();
            for edge in surface.topology().edges {
                for [v, other] in [edge, [edge[1], edge[0]]].map(|e| e.map(|v| v as usize)) {
                    let [to, from] = [v, other].map(|v| halves.unknown[v] as usize);
                    if before[to] == DVec3::ZERO {
                        let turned = halves.turned(other, before[from]);
                        normals[to] += halves.turned(v, turned);
                    }
                }
            }
        }
        for (v, normal) in normals.iter_mut().enumerate() {
            *normal = halves.kept(v, *normal).normalize_or_zero();
        }
        let wide = wide_normals(surface, &halves, &normals);
        // Its side of a layer is that of what it follows; that of a quad in a fold, which may face
        // across what is within, that of the cloth around.
        let facing = |quad: &[u32; 4]| {
            let follows = quad.iter().any(|&v| halves.follows[v as usize]);
            let all = |of: &[DVec3]| -> DVec3 {
                let each = quad.iter().map(|&v| {
                    let normal = of[halves.unknown[v as usize] as usize];
                    halves.turned(v as usize, outward * normal)
                });
                each.sum()
            };
            if follows {
                return all(&normals);
            }
            let [a, b, c, d] = quad.map(|v| surface.positions[v as usize]);
            let own = (c - a).cross(d - b).normalize_or_zero();
            let around = all(&wide) / 4.0;
            let folded = around.length() > CLEAR && own.dot(around.normalize()) < FOLDED;
            if folded { around } else { DVec3::ZERO }
        };
        let facing = surface.quads.iter().map(facing).collect();
        let give = bodies
            .iter()
            .map(|body| body.clearance)
            .fold(f64::INFINITY, f64::min);
        Self {
            surface,
            spread: Spd::factor(size, &spread.lower).ok(),
            along: normals.clone(),
            normals,
            amount: vec![0.0; size],
            most: vec![0.0; size],
            still,
            softness: 0.0,
            close,
            limit: 0.0,
            nearby: f64::INFINITY,
            give: GIVE * give,
            follow: frame.follow,
            rest: surface.positions.clone(),
            positions: surface.positions.clone(),
            facing,
            known: bodies.iter().map(|_| Known::nothing(surface)).collect(),
            contacts: Vec::new(),
            rows: Vec::new(),
            pressures: Vec::new(),
            form,
            halves,
        }
    }

    pub fn look(&mut self, bodies: &[Body], task: &Task) -> Result<Vec<Found>, Cancelled> {
        let each = bodies.iter().zip(&mut self.known);
        let look = |(body, known): (&Body, &mut Known)| {
            task.checkpoint()?;
            Ok(body.look(self.surface, &self.facing, &self.positions, known))
        };
        each.map(look).collect()
    }

    pub fn round(
        &mut self,
        round: usize,
        bodies: &[Body],
        found: &[Found],
        task: &Task,
    ) -> Result<(), Cancelled> {
        self.gather(bodies, found);
        self.rows = self.contacts.iter().map(|c| self.space_row(&c.1)).collect();
        if round == 0 {
            let (deepest, nearest) = self.depths();
            self.nearby = ASTRAY * nearest + self.give;
            self.limit = match self.close {
                true => self.nearby,
                false => ASTRAY * deepest + self.give,
            };
            self.softness = SPREAD.powi(4) / deepest.min(self.limit).max(self.give);
            let limit = self.limit;
            for (most, &still) in self.most.iter_mut().zip(&self.still) {
                *most = if still { 0.0 } else { limit };
            }
        }
        if round < TURNING {
            self.turn();
        } else if round >= STUCK {
            self.turn_askew(found);
        }
        // A row whose places can't be moved its way is left out: no push would satisfy it.
        let flat = |row: &SpaceRow| {
            let count = |(v, normal): (u32, DVec3)| {
                let v = v as usize;
                if self.still[v] {
                    0.0
                } else {
                    normal.dot(self.along[v])
                }
            };
            let terms = row.terms.map(|t| (t.0, count(t)));
            let size: f64 = terms.iter().map(|t| t.1).sum();
            // Nor is one that asks for more than anything may move.
            let least = if size < ASKEW || row.least > self.limit {
                f64::NEG_INFINITY
            } else {
                row.least
            };
            Row {
                terms: terms.to_vec(),
                least,
            }
        };
        let rows: Vec<Row> = self.rows.iter().map(flat).collect();
        let kept: Vec<Row> = rows
            .iter()
            .filter(|r| r.least.is_finite())
            .cloned()
            .collect();
        // A vertex is worth 1 a unit, and what presses on a place is worth its surroundings.
        let around = 4.0 * SPREAD * SPREAD;
        let program = Program {
            form: &self.form,
            softness: self.softness,
            cost: &self.halves.weight,
            rows: &kept,
            stiffness: around / self.give,
            most: &self.most,
        };
        let (amount, pressures) = program.solve(&self.amount, task)?;
        self.amount = amount;
        let mut pressures = pressures.into_iter();
        let pressure = |row: &Row| {
            let presses = row.least.is_finite();
            presses.then(|| pressures.next()).flatten().unwrap_or(0.0)
        };
        self.pressures = rows.iter().map(pressure).collect();
        let moves = self.moves();
        let pushed = self.halves.place(&self.surface.positions, &moves);
        self.positions = match self.follow {
            Some(follow) => follow(&pushed),
            None => pushed.clone(),
        };
        let changed = self.positions.iter().zip(&pushed);
        let rest = changed.zip(&self.surface.positions);
        self.rest = rest
            .map(|((p, pushed), old)| *old + (*p - *pushed))
            .collect();
        Ok(())
    }

    /// How far the deepest place has to go, and how far it would have to if any side of the layer were
    /// as good, the nearest one; model units.
    fn depths(&self) -> (f64, f64) {
        let rows = self.rows.iter().zip(&self.contacts);
        let each = rows.map(|(row, (_, c))| (row.least, row.least.min(c.wanted + c.nearest)));
        each.fold((0.0, 0.0), |(a, b), (least, near)| {
            (f64::max(a, least), f64::max(b, near))
        })
    }

    /// The contacts found, and those of rounds before where they are now. What no longer presses
    /// stays: else it would be back in the way once others let go.
    pub fn gather(&mut self, bodies: &[Body], found: &[Found]) {
        let again = |&(layer, contact): &(usize, Contact)| {
            let corners = self.surface.quads[contact.quad as usize];
            let corners = corners.map(|v| self.positions[v as usize]);
            let place = (corners, self.facing[contact.quad as usize]);
            let now = bodies[layer].contact_at(contact.quad, place, contact.weights);
            let now = now.unwrap_or(contact);
            if now.height <= contact::NEAR * now.wanted {
                return (layer, now);
            }
            // The plane has pushed the place too far. It may come back by what it has over, in
            // any direction, and still be clear: the distance changes by no more than it moves.
            let at: DVec3 = (0..4).map(|i| contact.weights[i] * corners[i]).sum();
            let foot = at - now.height * contact.away;
            (layer, Contact { foot, ..contact })
        };
        let mut contacts: Vec<(usize, Contact)> = self.contacts.par_iter().map(again).collect();
        for (layer, found) in found.iter().enumerate() {
            contacts.extend(found.contacts.iter().map(|c| (layer, *c)));
        }
        self.contacts = contacts;
    }

    fn moves(&self) -> Vec<DVec3> {
        let each = self.along.iter().zip(&self.amount);
        each.map(|(&along, &amount)| amount * along).collect()
    }

    /// What a contact asks of the displacements of its quad's corners.
    fn space_row(&self, contact: &Contact) -> SpaceRow {
        let corners = self.surface.quads[contact.quad as usize];
        let mut terms = [(0, DVec3::ZERO); 4];
        let mut at = DVec3::ZERO;
        for i in 0..4 {
            let v = corners[i] as usize;
            at += contact.weights[i] * self.rest[v];
            let unknown = self.halves.unknown[v];
            let away = self.halves.turned(v, contact.away);
            let away = self.halves.kept(unknown as usize, away);
            terms[i] = (unknown, contact.weights[i] * away);
        }
        SpaceRow {
            terms,
            least: contact.wanted - contact.away.dot(at - contact.foot),
        }
    }

    /// Turns vertices of places that are still in the way and that their directions hardly move
    /// off it.
    fn turn_askew(&mut self, found: &[Found]) {
        let crossed = found.iter().flat_map(|f| f.crossings.iter().map(|c| c[0]));
        let close = found.iter().flat_map(|f| f.close.iter().map(|c| c.0));
        let mut quads: Vec<u32> = crossed.chain(close).collect();
        quads.sort_unstable();
        for ((_, contact), row) in self.contacts.iter().zip(&self.rows) {
            let stands = contact.height >= contact.wanted;
            if stands || quads.binary_search(&contact.quad).is_err() {
                continue;
            }
            let size: f64 = row
                .terms
                .iter()
                .map(|&(v, away)| away.dot(self.along[v as usize]))
                .sum();
            if size < ASKEW {
                for &(v, away) in &row.terms {
                    let along = self.along[v as usize] + away;
                    let along = self.halves.kept(v as usize, along);
                    self.along[v as usize] = along.try_normalize().unwrap_or(DVec3::ZERO);
                }
            }
        }
    }

    /// Directions that follow the contacts: each pulls as hard as it is short, and the pull
    /// spreads smoothly; where nothing pulls they are the surface's normals.
    fn turn(&mut self) {
        let Some(spread) = &self.spread else {
            return;
        };
        let mut pull = vec![vec![0.0; self.form.size]; 3];
        for row in self.rows.iter().filter(|row| row.least > 0.0) {
            for &(v, away) in &row.terms {
                for (axis, pull) in pull.iter_mut().enumerate() {
                    pull[v as usize] += row.least * away[axis];
                }
            }
        }
        let spread = spread.solve_many(&pull);
        let pulled = |v: usize| DVec3::new(spread[0][v], spread[1][v], spread[2][v]);
        let greatest = (0..self.form.size).map(|v| pulled(v).length());
        let greatest = greatest.fold(0.0, f64::max);
        if greatest > 0.0 {
            for v in 0..self.form.size {
                let along = pulled(v) / greatest + UPRIGHT * self.normals[v];
                let along = self.halves.kept(v, along);
                self.along[v] = along.try_normalize().unwrap_or(self.normals[v]);
            }
        }
    }

    pub fn bound(&self, task: &Task) -> Result<Option<f64>, Cancelled> {
        let place = |&(_, contact): &(usize, Contact)| {
            let corners = self.surface.quads[contact.quad as usize];
            let term = |i: usize| {
                let unknown = self.halves.unknown[corners[i] as usize];
                (unknown, contact.weights[i])
            };
            [0, 1, 2, 3].map(term)
        };
        let places = self.contacts.iter().map(place);
        let rows = places.zip(&self.rows);
        // What was left out for asking too much needn't be done.
        let done = rows
            .zip(&self.pressures)
            .filter(|((_, row), _)| row.least <= self.limit);
        let done = done.map(|((terms, row), &pressure)| {
            let row = Row {
                terms: terms.to_vec(),
                least: row.least,
            };
            (row, pressure)
        });
        let (rows, pressures): (Vec<Row>, Vec<f64>) = done.unzip();
        let (weight, amount) = (&self.halves.weight, &self.amount);
        let (form, softness) = (&self.form, self.softness);
        least::bound(form, weight, &rows, &pressures, amount, softness, task)
    }
}

/// What a contact asks: unknowns with the vectors along which they count, and the least sum.
struct SpaceRow {
    terms: [(u32, DVec3); 4],
    least: f64,
}

#[cfg(test)]
mod tests {
    use std::f64::consts::TAU;

    use super::super::tests::tube;
    use super::*;

    /// In a fold cloth faces back across the limb within: held to be on the side that it faces, it
    /// would be pushed through the limb.
    #[test]
    fn a_quad_in_a_fold_is_on_the_side_that_the_cloth_around_is_on() {
        let mut rows: Vec<(f64, f64)> = (0..6).map(|i| (0.9, 0.3 * f64::from(i))).collect();
        // Down and in, then up and out again.
        rows.push((0.62, 1.25));
        rows.extend((0..6).map(|i| (0.9, 1.8 + 0.3 * f64::from(i))));
        let last = rows.len() - 1;
        let surface = tube(last as u32, 12, |along, turn| {
            let (radius, y) = rows[(along * last as f64).round() as usize];
            let (sin, cos) = (TAU * turn).sin_cos();
            DVec3::new(-radius * sin, y, radius * cos)
        });
        let push = Pushing::new(&surface, &[], &Frame::default(), false);
        let outward = |quad: usize| {
            let out = surface.centre(quad) * DVec3::new(1.0, 0.0, 1.0);
            let [a, b, c, d] = surface.quads[quad].map(|v| surface.positions[v as usize]);
            let own = (c - a).cross(d - b);
            // No bodies: what is outward is turned twice.
            (own.dot(out), push.facing[quad].dot(out))
        };
        let folded: Vec<usize> = (0..surface.quads.len())
            .filter(|&q| outward(q).0 < 0.0)
            .collect();
        assert_eq!(folded.len(), 12);
        assert!(folded.iter().all(|&q| outward(q).1 > 0.0));
        let plain = (0..surface.quads.len()).filter(|q| !folded.contains(q));
        assert!(
            plain
                .clone()
                .all(|q| push.facing[q] == DVec3::ZERO || outward(q).1 > 0.0)
        );
    }
}
