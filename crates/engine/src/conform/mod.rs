//! Conform: final vertices.
//!
//! Takes the filled mesh, gives the same mesh with vertices placed. Holds: vertices of guides
//! stay on their guides, vertices of the centre line on the plane, nodes where curves
//! cross stay put, all others on the sculpt, found by closest point with a normal
//! test so that no vertex jumps through cloth.
//!
//! Rounds of local/global shape fitting in the manner of projective dynamics (Bouaziz
//! et al., "Shape-Up", 2012): each quad asks its corners into the rectangle nearest
//! to it, each edge run asks for even spacing; vertices take the mean of what they are asked,
//! slide along their rails or the surface, and are put back on the sculpt. Then the worst
//! quads are untangled one vertex at a time, and at last the faces are made to straddle the sculpt.

mod rails;
mod shape;
mod volume;

use base::{Finding, Findings, Level, Task};
use mesh::{DVec3, QuadMesh, QuadTopology};
use thiserror::Error;

use crate::fill::Filled;
use crate::layout::Layout;
use crate::model::{Curve, Plane, Sculpt, WorkSurface};
use rails::{Rail, Seat};

/// Options of conforming.
#[derive(Clone, Copy, Debug, PartialEq)]
#[non_exhaustive]
pub struct ConformOptions {
    /// Edge length of the quads, model units.
    pub quad_edge: f64,
    /// Rounds of shape fitting.
    pub rounds: u32,
    /// Whether faces straddle the sculpt (true) or every vertex lies on it (false).
    pub straddle: bool,
}

impl ConformOptions {
    /// Options for quads of this edge length (model units).
    pub fn for_edge(quad_edge: f64) -> Self {
        Self { quad_edge, rounds: 60, straddle: true }
    }
}

/// Why vertices could not be placed.
#[derive(Clone, Debug, PartialEq, Error)]
pub enum ConformError {
    /// Cancelled from outside.
    #[error(transparent)]
    Cancelled(#[from] base::Cancelled),
}

/// Everything that placing vertices reads.
pub(crate) struct Scene<'a> {
    pub sculpt: &'a Sculpt,
    pub plane: Option<Plane>,
    pub topology: QuadTopology,
    pub around: Vec<Vec<u32>>,
    pub quads_at: Vec<Vec<(u32, u8)>>,
    pub rails: Vec<Rail>,
    pub seats: Vec<Seat>,
    pub edge: f64,
}

/// Places the vertices of the (half) mesh.
///
/// # Errors
/// [`ConformError::Cancelled`].
pub fn run(
    filled: &Filled,
    surface: &WorkSurface,
    layout: &Layout,
    curves: &[Curve],
    sculpt: &Sculpt,
    plane: Option<Plane>,
    options: &ConformOptions,
    task: &Task,
) -> Result<(QuadMesh, Findings), ConformError> {
    task.report("conform", 0.0)?;
    let mut mesh = filled.mesh.clone();
    let topology = mesh.topology();
    let (rails, seats) = rails::seats_of(filled, surface, layout, curves, plane);
    let mut around: Vec<Vec<u32>> = vec![Vec::new(); mesh.positions.len()];
    for &[a, b] in &topology.edges {
        around[a as usize].push(b);
        around[b as usize].push(a);
    }
    let mut quads_at: Vec<Vec<(u32, u8)>> = vec![Vec::new(); mesh.positions.len()];
    for (q, corners) in mesh.quads.iter().enumerate() {
        for (i, &v) in corners.iter().enumerate() {
            quads_at[v as usize].push((q as u32, i as u8));
        }
    }
    let mut scene =
        Scene { sculpt, plane, topology, around, quads_at, rails, seats, edge: options.quad_edge };
    for round in 0..options.rounds {
        task.report("conform", 0.8 * round as f32 / options.rounds.max(1) as f32)?;
        let share = if round < options.rounds / 2 { 0.35 } else { 0.6 };
        shape::round(&mut mesh, &mut scene, share);
    }
    let repaired = shape::untangle(&mut mesh, &mut scene);
    task.report("conform", 0.9)?;
    if options.straddle {
        volume::straddle(&mut mesh, &scene);
    }
    let mut findings = Findings::default();
    if repaired > 0 {
        findings.push(Finding::new(
            "conform-untangled",
            Level::Note,
            format!("{repaired} vertices were moved by hand-over-hand search to square up narrow quads."),
        ));
    }
    task.report("conform", 1.0)?;
    Ok((mesh, findings))
}

/// Area-weighted normal of the quads at a vertex.
pub(crate) fn normal_at(mesh: &QuadMesh, scene: &Scene, vertex: usize) -> DVec3 {
    scene.quads_at[vertex]
        .iter()
        .map(|&(q, _)| {
            let [a, b, c, d] = mesh.quads[q as usize].map(|v| mesh.positions[v as usize]);
            (c - a).cross(d - b)
        })
        .sum::<DVec3>()
        .normalize_or_zero()
}

/// Nearest point of the sculpt whose normal doesn't oppose `normal`.
pub(crate) fn onto_sculpt(scene: &Scene, at: DVec3, normal: DVec3) -> DVec3 {
    let mesh = &scene.sculpt.mesh;
    let facing = |t: u32| mesh.area_normal(t as usize).normalize_or_zero().dot(normal) > 0.1;
    scene
        .sculpt
        .index
        .closest_where(at, 2.0 * scene.edge, facing)
        .or_else(|| scene.sculpt.index.closest(at))
        .map_or(at, |c| c.point)
}
