//! Layers: what lies under or over the surface, and room between.
//!
//! Where the surface goes through a layer, lies on its wrong side or comes closer than the
//! clearance, it is pushed off: each vertex along one direction, as little as a smooth push
//! can. Every round looks for contacts anew (`contact.rs`), takes the layer for flat beside
//! each of them and solves for the whole push from the beginning (`push.rs`), so that
//! nothing moves further than the last round needs. What is clear in the end is clear by
//! the exact tests, not by the flat ones; what isn't is told with its places.
//!
//! Faces and loops keep their vertices; only positions change. With a mirror plane the kept
//! half is pushed by what either side meets, and the other half is its exact image.

mod contact;
mod fair;
mod findings;
mod half;
mod hidden;
mod least;
mod push;

#[cfg(test)]
mod tests;

use base::{Cancelled, Findings, Task};
use engine::model::{Plane, Sculpt};
use mesh::{DVec3, QuadMesh, SurfaceIndex, TriMesh, Vec3};
use numeric::Spd;
use rayon::prelude::*;
use std::sync::Arc;
use thiserror::Error;

use contact::{Body, Contact, Found, Known};
use fair::Form;
use half::Halves;
use push::{Program, Row};

/// Most rounds of looking and pushing.
const ROUNDS: usize = 14;
/// In so many rounds directions follow the contacts found.
const TURNING: usize = 1;
/// After so many rounds directions give way to places that they don't move.
const STUCK: usize = 4;
/// Quads over which the push of a place spreads, about.
const SPREAD: f64 = 2.5;
/// What pressing rows and bounds may give way, as a share of the least clearance.
const GIVE: f64 = 1e-3;
/// Rows in which the vertices' directions count less than this are left out: moving along
/// them would not clear the place.
const ASKEW: f64 = 0.35;
/// Nothing moves further than this many times the deepest place of the first look: what would,
/// has lost its way among folds.
const ASTRAY: f64 = 1.6;

/// Which side of the surface a layer is on.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Side {
    /// Inside: the surface is to be outside of it, as a coat is of a body.
    Under,
    /// Outside: the surface is to be inside of it, as a body is of a coat.
    Over,
}

/// A layer.
#[derive(Clone, Debug)]
pub struct Layer {
    /// Its name in the job file.
    pub name: String,
    /// Its triangles, anticlockwise seen from outside, open or closed.
    pub mesh: Sculpt,
    /// Which side it is on.
    pub side: Side,
    /// The least distance between it and the surface, model units; above 0.
    pub clearance: f64,
}

impl Layer {
    /// A layer of triangles as a file has them: corners in one place become one, so that seams
    /// of the file aren't taken for openings; triangles without a place are left out.
    pub fn new(name: impl Into<String>, raw: &TriMesh, side: Side, clearance: f64) -> Self {
        let key = |p: Vec3| p.to_array().map(|x| (x + 0.0).to_bits());
        let mut order: Vec<u32> = (0..raw.positions.len() as u32).collect();
        order.sort_by_key(|&v| (key(raw.positions[v as usize]), v));
        let mut first = vec![0; raw.positions.len()];
        let same =
            |a: &u32, b: &u32| key(raw.positions[*a as usize]) == key(raw.positions[*b as usize]);
        for run in order.chunk_by(same) {
            run.iter().for_each(|&v| first[v as usize] = run[0]);
        }
        let sound = |t: &&[u32; 3]| {
            t.iter().all(|&v| {
                let p = raw.positions.get(v as usize);
                p.is_some_and(|p| p.is_finite())
            })
        };
        let welded = raw.triangles.iter().filter(sound);
        let welded = welded.map(|t| t.map(|v| first[v as usize]));
        let whole = |t: &[u32; 3]| t[0] != t[1] && t[1] != t[2] && t[2] != t[0];
        let mesh = Arc::new(TriMesh {
            positions: raw.positions.clone(),
            triangles: welded.filter(whole).collect(),
        });
        Self {
            name: name.into(),
            mesh: Sculpt {
                index: Arc::new(SurfaceIndex::new(Arc::clone(&mesh))),
                normals: Arc::new(mesh.vertex_normals()),
                mesh,
            },
            side,
            clearance,
        }
    }
}

/// What the surface is besides its quads.
#[derive(Clone, Debug, Default)]
pub struct Frame {
    /// The plane about which the surface is its own exact image.
    pub plane: Option<Plane>,
    /// Pairs of vertices that move alike, such as the two walls of a trim.
    pub tied: Vec<[u32; 2]>,
    /// Vertices that can't move.
    pub still: Vec<u32>,
}

/// How things stand between the surface and a layer.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Standing {
    /// Pairs of a quad and a triangle of the layer that pass through each other.
    pub crossings: Vec<[u32; 2]>,
    /// Quads that touch nothing but are nearer than the clearance by more than a hundredth of
    /// it, their distance and where they are nearest; model units.
    pub close: Vec<(u32, f64, DVec3)>,
    /// Vertices on the wrong side.
    pub wrong: Vec<u32>,
}

impl Standing {
    /// Whether nothing is in the way.
    pub fn is_clear(&self) -> bool {
        self.crossings.is_empty() && self.close.is_empty() && self.wrong.is_empty()
    }
}

/// A surface with room beside its layers.
#[derive(Clone, Debug)]
pub struct Cleared {
    /// Positions of the surface's vertices, model units.
    pub positions: Vec<DVec3>,
    /// How things stood with each layer before.
    pub before: Vec<Standing>,
    /// How they stand now.
    pub after: Vec<Standing>,
    /// Mean distance that vertices moved, those that didn't included; model units.
    pub mean: f64,
    /// Greatest distance that a vertex moved, model units.
    pub most: f64,
    /// No displacement as smooth that clears the same places has a lower mean than this;
    /// model units.
    pub least_mean: f64,
    /// Rounds that it took.
    pub rounds: usize,
    /// What the artist is told.
    pub findings: Findings,
}

/// Why layers can't be cleared.
#[derive(Debug, Error)]
pub enum LayerError {
    /// A quad names a vertex that isn't there, or a position isn't finite.
    #[error("the surface is no sound mesh: quad {quad} has a corner without a place")]
    BadQuad {
        /// The quad.
        quad: usize,
    },
    /// The clearance is no length.
    #[error("layer '{layer}': the clearance is {clearance}; it must be a length above 0")]
    Clearance {
        /// The layer.
        layer: String,
        /// What was given.
        clearance: f64,
    },
    /// Cancelled from outside.
    #[error(transparent)]
    Cancelled(#[from] Cancelled),
}

/// Pushes the surface off its layers.
///
/// # Errors
/// [`LayerError`] for a surface or a clearance that is none, or when cancelled.
pub fn run(
    surface: &QuadMesh,
    layers: &[Layer],
    frame: &Frame,
    task: &Task,
) -> Result<Cleared, LayerError> {
    task.report("layers", 0.0)?;
    let finite = |v: &u32| {
        let p = surface.positions.get(*v as usize);
        p.is_some_and(|p| p.is_finite())
    };
    if let Some(quad) = surface.quads.iter().position(|q| !q.iter().all(finite)) {
        return Err(LayerError::BadQuad { quad });
    }
    for layer in layers {
        if !(layer.clearance.is_finite() && layer.clearance > 0.0) {
            return Err(LayerError::Clearance {
                layer: layer.name.clone(),
                clearance: layer.clearance,
            });
        }
    }
    let made = |layer: &Layer| Body::new(&layer.mesh, layer.side, layer.clearance);
    let bodies: Vec<Body> = layers.iter().map(made).collect();
    let mut push = Pushing::new(surface, &bodies, frame);
    let mut found = push.look(&bodies);
    let before: Vec<Standing> = found.iter().map(standing).collect();
    let mut rounds = 0;
    let mut best = (in_the_way(&found), push.positions.clone(), found.clone());
    while rounds < ROUNDS && !found.iter().all(Found::is_clear) {
        task.report("layers", rounds as f32 / ROUNDS as f32)?;
        push.round(rounds, &bodies, &found);
        rounds += 1;
        found = push.look(&bodies);
        let now = in_the_way(&found);
        if now < best.0 {
            best = (now, push.positions.clone(), found.clone());
        }
    }
    let after: Vec<Standing> = best.2.iter().map(standing).collect();
    let positions = best.1;
    let moved: Vec<f64> = positions
        .iter()
        .zip(&surface.positions)
        .map(|(a, b)| a.distance(*b))
        .collect();
    let count = moved.len().max(1) as f64;
    let mut cleared = Cleared {
        positions,
        before,
        after,
        mean: moved.iter().sum::<f64>() / count,
        most: moved.iter().copied().fold(0.0, f64::max),
        least_mean: push.bound().unwrap_or(0.0) / count,
        rounds,
        findings: Findings::default(),
    };
    cleared.findings = findings::of(surface, layers, &cleared);
    Ok(cleared)
}

/// A layer under the surface without the faces that can't be seen, and how many those are;
/// those within `margin` (model units) of what can be seen stay.
pub fn without_hidden(layer: &Layer, surface: &QuadMesh, margin: f64) -> (TriMesh, usize) {
    let cover = TriMesh {
        positions: surface.positions.iter().map(|p| p.as_vec3()).collect(),
        triangles: surface.triangulated(),
    };
    let kept = hidden::kept(
        &layer.mesh.mesh,
        &SurfaceIndex::new(Arc::new(cover)),
        margin,
    );
    let mut place = vec![u32::MAX; layer.mesh.mesh.positions.len()];
    let mut left = TriMesh::default();
    for (t, _) in layer.mesh.mesh.triangles.iter().zip(&kept).filter(|k| *k.1) {
        let corners = t.map(|v| {
            let place = &mut place[v as usize];
            if *place == u32::MAX {
                *place = left.positions.len() as u32;
                left.positions.push(layer.mesh.mesh.positions[v as usize]);
            }
            *place
        });
        left.triangles.push(corners);
    }
    let dropped = kept.len() - left.triangles.len();
    (left, dropped)
}

/// How much is in the way, to tell rounds apart.
fn in_the_way(found: &[Found]) -> usize {
    let each = found.iter();
    each.map(|f| f.crossings.len() + f.close.len() + f.wrong.len())
        .sum()
}

fn standing(found: &Found) -> Standing {
    Standing {
        crossings: found.crossings.clone(),
        close: found.close.clone(),
        wrong: found.wrong.clone(),
    }
}

/// The push as it grows.
struct Pushing<'a> {
    surface: &'a QuadMesh,
    halves: Halves,
    form: Form,
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
    still: Vec<bool>,
    softness: f64,
    give: f64,
    positions: Vec<DVec3>,
    known: Vec<Known>,
    /// With the number of their layer.
    contacts: Vec<(usize, Contact)>,
    rows: Vec<SpaceRow>,
    pressures: Vec<f64>,
}

impl<'a> Pushing<'a> {
    fn new(surface: &'a QuadMesh, bodies: &[Body], frame: &Frame) -> Self {
        let halves = Halves::of(surface, frame.plane);
        let size = halves.len();
        let form = Form::of(surface, &frame.tied, &halves.unknown, size);
        let spread = Form::spread(surface, &halves.unknown, size, SPREAD);
        let mut still = vec![false; size];
        for &v in &frame.still {
            if let Some(&unknown) = halves.unknown.get(v as usize) {
                still[unknown as usize] = true;
            }
        }
        let under = bodies.iter().any(|body| body.side == Side::Under);
        let outward = if under { 1.0 } else { -1.0 };
        let mut normals = vec![DVec3::ZERO; size];
        for quad in &surface.quads {
            let [a, b, c, d] = quad.map(|v| surface.positions[v as usize]);
            let normal = (c - a).cross(d - b) * outward;
            for &v in quad {
                let unknown = halves.unknown[v as usize] as usize;
                normals[unknown] += halves.turned(v as usize, normal);
            }
        }
        for (v, normal) in normals.iter_mut().enumerate() {
            *normal = halves.kept(v, *normal).normalize_or_zero();
        }
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
            give: GIVE * give,
            positions: surface.positions.clone(),
            known: bodies.iter().map(|_| Known::nothing(surface)).collect(),
            contacts: Vec::new(),
            rows: Vec::new(),
            pressures: Vec::new(),
            form,
            halves,
        }
    }

    fn look(&mut self, bodies: &[Body]) -> Vec<Found> {
        let each = bodies.iter().zip(&mut self.known);
        each.map(|(body, known)| body.look(self.surface, &self.positions, known))
            .collect()
    }

    fn round(&mut self, round: usize, bodies: &[Body], found: &[Found]) {
        self.gather(bodies, found);
        self.rows = self.contacts.iter().map(|c| self.space_row(&c.1)).collect();
        let deepest = self.rows.iter().map(|row| row.least).fold(0.0, f64::max);
        if round == 0 {
            self.softness = SPREAD.powi(4) / deepest.max(self.give);
            let limit = ASTRAY * deepest + self.give;
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
            let least = if size < ASKEW {
                f64::NEG_INFINITY
            } else {
                row.least
            };
            Row { terms, least }
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
        let (amount, pressures) = program.solve(&self.amount);
        self.amount = amount;
        let mut pressures = pressures.into_iter();
        let pressure = |row: &Row| {
            let presses = row.least.is_finite();
            presses.then(|| pressures.next()).flatten().unwrap_or(0.0)
        };
        self.pressures = rows.iter().map(pressure).collect();
        let moves = self.moves();
        self.positions = self.halves.place(&self.surface.positions, &moves);
    }

    /// The contacts found, and those of rounds before where they are now. What no longer presses
    /// stays: else it would be back in the way once others let go.
    fn gather(&mut self, bodies: &[Body], found: &[Found]) {
        let again = |&(layer, contact): &(usize, Contact)| {
            let corners = self.surface.quads[contact.quad as usize];
            let corners = corners.map(|v| self.positions[v as usize]);
            let now = bodies[layer].contact_at(contact.quad, corners, contact.weights);
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
            at += contact.weights[i] * self.surface.positions[v];
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
                let along = pulled(v) / greatest + 0.1 * self.normals[v];
                let along = self.halves.kept(v, along);
                self.along[v] = along.try_normalize().unwrap_or(self.normals[v]);
            }
        }
    }

    fn bound(&self) -> Option<f64> {
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
        let rows: Vec<Row> = rows
            .map(|(terms, row)| Row {
                terms,
                least: row.least,
            })
            .collect();
        let weight = &self.halves.weight;
        let (pressures, amount) = (&self.pressures, &self.amount);
        least::bound(&self.form, weight, &rows, pressures, amount, self.softness)
    }
}

/// What a contact asks: unknowns with the vectors along which they count, and the least sum.
struct SpaceRow {
    terms: [(u32, DVec3); 4],
    least: f64,
}
