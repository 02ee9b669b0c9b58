//! Layers: what lies under or over the surface, and room between.
//!
//! Where the surface goes through a layer, lies on its wrong side or comes closer than the
//! clearance, it is pushed off: each vertex along one direction, as little as a smooth push
//! can. Every round looks for contacts anew (`contact.rs`), takes the layer for flat beside
//! each of them and solves for the whole push from the beginning (`push.rs`), so that
//! nothing moves further than the last round needs. What is clear in the end is clear by
//! the exact tests, not by the flat ones; what isn't is told with its places.
//!
//! Where a push folds a quad or lets the surface cut itself, vertices move in all directions
//! until it doesn't (`mend.rs`).
//!
//! Faces and loops keep their vertices; only positions change. With a mirror plane the kept
//! half is pushed by what either side meets, and the other half is its exact image.

mod contact;
mod fair;
mod findings;
mod half;
mod hidden;
mod least;
mod mend;
mod push;
mod pushing;

#[cfg(test)]
mod dressed;
#[cfg(test)]
mod tests;

use base::{Cancelled, Findings, Task};
use engine::model::{Plane, Sculpt};
use mesh::{DVec3, QuadMesh, SurfaceIndex, TriMesh, Vec3};
use std::sync::Arc;
use thiserror::Error;

use contact::{Body, Found};
use mend::{Faults, Shape};
use pushing::Pushing;

/// Most rounds of looking and pushing, and most without getting better.
const ROUNDS: usize = 14;
const PATIENCE: usize = 10;
/// What moves further than this many times what the nearest sides of layers ask for has gone astray.
const FAR: f64 = 2.0;

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

/// Positions of what follows, once what it follows is where the given positions say.
pub type Follow<'a> = &'a dyn Fn(&[DVec3]) -> Vec<DVec3>;

/// What the surface is besides its quads.
#[derive(Clone, Default)]
pub struct Frame<'a> {
    /// The plane about which the surface is its own exact image.
    pub plane: Option<Plane>,
    /// Pairs of vertices of which the first moves as the second does, such as the two walls of a
    /// trim.
    pub tied: Vec<[u32; 2]>,
    /// Where tied vertices come to lie in truth: each push is followed by it, and what it gives is
    /// what has to be clear.
    pub follow: Option<Follow<'a>>,
    /// Vertices that can't move.
    pub still: Vec<u32>,
    /// Vertices on guides, rising: they and those beside them keep their course more than others.
    pub guided: Vec<u32>,
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
    /// Quads that are folded and weren't.
    pub folded: Vec<u32>,
    /// Pairs of quads that pass through each other and didn't.
    pub cuts: Vec<[u32; 2]>,
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
    frame: &Frame<'_>,
    task: &Task,
) -> Result<Cleared, LayerError> {
    task.report("layers", 0.0)?;
    check(surface, layers)?;
    let made = |layer: &Layer| Body::new(&layer.mesh, layer.side, layer.clearance);
    let bodies: Vec<Body> = layers.iter().map(made).collect();
    let shape = Shape::of(surface);
    let mut best = attempt(surface, &bodies, frame, &shape, false, task)?;
    if best.wrong() > 0 && !frame.guided.is_empty() {
        // What doesn't go with guides kept straight may go without.
        let freely = Frame {
            guided: Vec::new(),
            ..frame.clone()
        };
        let other = attempt(surface, &bodies, &freely, &shape, false, task)?;
        if other.wrong() < best.wrong() {
            best = other;
        }
    }
    if in_the_way(&best.after) > 0 && furthest(surface, &best.positions) > FAR * best.nearby {
        // A limb that sticks out through the cloth has no side within reach to go to: rather than lead
        // the cloth astray, only what the nearest sides ask for is done, and the rest told.
        best = attempt(surface, &bodies, frame, &shape, true, task)?;
    }
    let moved: Vec<f64> = best
        .positions
        .iter()
        .zip(&surface.positions)
        .map(|(a, b)| a.distance(*b))
        .collect();
    let count = moved.len().max(1) as f64;
    let mut cleared = Cleared {
        before: best.before,
        after: best.after.iter().map(standing).collect(),
        folded: best.faults.folded,
        cuts: best.faults.cuts,
        mean: moved.iter().sum::<f64>() / count,
        most: moved.iter().copied().fold(0.0, f64::max),
        least_mean: best.bound / count,
        rounds: best.rounds,
        positions: best.positions,
        findings: Findings::default(),
    };
    cleared.findings = findings::of(surface, layers, &cleared);
    Ok(cleared)
}

/// What one way of pushing gave.
struct Attempt {
    positions: Vec<DVec3>,
    before: Vec<Standing>,
    after: Vec<Found>,
    faults: Faults,
    /// No displacement as smooth has a lower sum than this, model units.
    bound: f64,
    /// How far a vertex moves at most where every place goes to the nearest side of a layer, model
    /// units.
    nearby: f64,
    rounds: usize,
}

impl Attempt {
    fn wrong(&self) -> usize {
        in_the_way(&self.after) + self.faults.len()
    }
}

fn attempt(
    surface: &QuadMesh,
    bodies: &[Body],
    frame: &Frame<'_>,
    shape: &Shape,
    close: bool,
    task: &Task,
) -> Result<Attempt, Cancelled> {
    let mut push = Pushing::new(surface, bodies, frame, close);
    let mut found = push.look(bodies, task)?;
    let before: Vec<Standing> = found.iter().map(standing).collect();
    let (mut rounds, mut last) = (0, 0);
    let mut best = (in_the_way(&found), push.positions.clone(), found.clone());
    while rounds < ROUNDS && rounds <= last + PATIENCE && !found.iter().all(Found::is_clear) {
        task.report("layers", rounds as f32 / ROUNDS as f32)?;
        push.round(rounds, bodies, &found, task)?;
        rounds += 1;
        found = push.look(bodies, task)?;
        let now = in_the_way(&found);
        // Walls laid behind cloth that is crumpled may lie far off.
        let astray = close && furthest(surface, &push.positions) > FAR * push.nearby;
        if now < best.0 && !astray {
            best = (now, push.positions.clone(), found.clone());
            last = rounds;
        }
    }
    let (_, pushed, found) = best;
    push.positions.clone_from(&pushed);
    let (mut positions, mut after, mut faults) =
        mend::run(&mut push, bodies, found.clone(), shape, task)?;
    if close && furthest(surface, &positions) > FAR * push.nearby {
        faults = shape.faults(surface, &pushed);
        (positions, after) = (pushed, found);
    }
    Ok(Attempt {
        positions,
        before,
        after,
        faults,
        bound: push.bound(task)?.unwrap_or(0.0),
        nearby: push.nearby,
        rounds,
    })
}

/// How far a vertex moved at most, model units.
fn furthest(surface: &QuadMesh, positions: &[DVec3]) -> f64 {
    let pairs = positions.iter().zip(&surface.positions);
    pairs.map(|(a, b)| a.distance(*b)).fold(0.0, f64::max)
}

/// How a surface stands beside layers, by the exact tests; nothing is moved.
///
/// # Errors
/// [`LayerError`] for a surface or a clearance that is none, or when cancelled.
pub fn look(
    surface: &QuadMesh,
    layers: &[Layer],
    task: &Task,
) -> Result<Vec<Standing>, LayerError> {
    check(surface, layers)?;
    task.checkpoint()?;
    let made = |layer: &Layer| Body::new(&layer.mesh, layer.side, layer.clearance);
    let bodies: Vec<Body> = layers.iter().map(made).collect();
    let mut push = Pushing::new(surface, &bodies, &Frame::default(), false);
    let found = push.look(&bodies, task)?;
    Ok(found.iter().map(standing).collect())
}

/// Whether there is a surface, and every clearance is a length.
fn check(surface: &QuadMesh, layers: &[Layer]) -> Result<(), LayerError> {
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
    Ok(())
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
