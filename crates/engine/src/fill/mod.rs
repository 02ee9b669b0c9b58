//! Fill: quads in every patch.
//!
//! Takes the layout and the plan, gives an all-quad mesh of the (half) surface.
//! Holds: neighbouring patches share their arcs' vertices by id, so the mesh is
//! watertight by construction; a four-sided patch is a grid; a patch of three, five or
//! six sides is as many grids around one pole; surplus counts are taken up by
//! three-to-one rows (the smallest patterns of Takayama, Panozzo & Sorkine-Hornung 2014);
//! where poles of two patches come to lie on one vertex of no guide, the two quads that
//! would lie on one another are one.

mod blocks;
mod disk;
mod even;
pub mod join;
#[cfg(test)]
mod tests;
mod twice;

use base::{Finding, Findings, Level, Task};
use mesh::{DVec3, QuadMesh};
use rayon::prelude::*;
use thiserror::Error;

use crate::field::Field;
use crate::layout::{ArcSource, Layout, Patch, point_at};
use crate::model::WorkSurface;
use crate::quantise::Plan;
use blocks::Block;
use disk::Disk;

/// Why a patch could not be filled.
#[derive(Clone, Debug, PartialEq, Error)]
pub enum FillError {
    /// The patch's disk could not be laid flat.
    #[error("patch {patch} could not be laid flat: {source}")]
    Flatten {
        /// Index of the patch.
        patch: usize,
        /// What the solver said.
        source: numeric::SpdError,
    },
    /// The sum of the corners' valences isn't what the Euler characteristic asks for.
    #[error(
        "internal fault: the valences sum to {found}, not to four times the Euler characteristic {euler}"
    )]
    Valences {
        /// Σ (4 − valence) inside + Σ (3 − valence) on the boundary.
        found: i64,
        /// Euler characteristic.
        euler: i64,
    },
    /// Patches don't meet along an arc.
    #[error("internal fault: the mesh has {found} boundary edges where the layout has {wanted}")]
    Holes {
        /// Edges with one face.
        found: usize,
        /// Quads along arcs that only one patch uses.
        wanted: usize,
    },
    /// Cancelled from outside.
    #[error(transparent)]
    Cancelled(#[from] base::Cancelled),
}

/// Where a vertex of the quad mesh comes from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Origin {
    /// A node of the layout: a work-surface vertex.
    Node {
        /// The vertex.
        vertex: u32,
    },
    /// A point of an arc.
    Arc {
        /// Index of the arc.
        arc: usize,
        /// Quads from the arc's first node.
        step: u32,
    },
    /// Inside a patch.
    Inside {
        /// Index of the patch.
        patch: usize,
    },
    /// Inside held quads.
    Held {
        /// The hold: index into the job's list.
        hold: usize,
    },
}

/// A quad mesh over the work surface.
#[derive(Clone, Debug)]
pub struct Filled {
    /// The quads; positions lie on the work surface.
    pub mesh: QuadMesh,
    /// Where each vertex comes from.
    pub origin: Vec<Origin>,
    /// Patch of each quad; held quads count as a patch for each hold, after those of the layout.
    pub patch_of_quad: Vec<u32>,
    /// Vertices along each arc, both nodes included.
    pub arcs: Vec<Vec<u32>>,
    /// For each vertex the held vertex that it is.
    pub held: Vec<Option<u32>>,
}

/// Where vertices inside patches around a pole, or with sides that differ, are to begin; the stages after
/// move them, and may end elsewhere for it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Start {
    /// At the means of their neighbours, or along straight lines: where a patch's quads are more like squares.
    Squarest,
    /// Along straight lines between sides and poles.
    Straight,
}

/// Fills all patches.
///
/// # Errors
/// [`FillError`] names a patch that can't be laid flat.
pub fn run(
    surface: &WorkSurface,
    field: &Field,
    layout: &Layout,
    plan: &Plan,
    start: Start,
    task: &Task,
) -> Result<(Filled, Findings), FillError> {
    task.report("fill", 0.0)?;
    let mut filled = Filled {
        mesh: QuadMesh::default(),
        origin: Vec::new(),
        patch_of_quad: Vec::new(),
        arcs: Vec::new(),
        held: Vec::new(),
    };
    let shared = Shared::new(surface, layout, plan, &mut filled);
    // Each patch by itself, then all in their order.
    let block = |(p, patch): (usize, &Patch)| -> Result<(Block, Vec<DVec3>), FillError> {
        task.checkpoint()?;
        let flat = |source| FillError::Flatten { patch: p, source };
        let disk = Disk::flatten(surface, field, layout, plan, p).map_err(flat)?;
        let sides: Vec<Vec<u32>> = (0..patch.sides.len())
            .map(|s| shared.side(patch, s))
            .collect();
        let block = Block::fill(&sides, &plan.spokes[p]).map_err(flat)?;
        let lifted = |places: &[[f64; 2]]| -> Vec<DVec3> {
            let places = places.iter();
            places
                .map(|uv| disk.lift(*uv, &surface.positions))
                .collect()
        };
        let mut inner = lifted(&block.inner);
        if start == Start::Squarest
            && let Some(places) = &block.even
        {
            let other = lifted(places);
            let unlike = |inner: &[DVec3]| {
                let at = |v: u32| match (v as usize).checked_sub(block.outer.len()) {
                    Some(i) => inner[i],
                    None => filled.mesh.positions[block.outer[v as usize] as usize],
                };
                even::unlike_squares(&block.quads, at)
            };
            if unlike(&other) < unlike(&inner) {
                inner = other;
            }
        }
        Ok((block, inner))
    };
    let blocks: Vec<_> = layout.patches.par_iter().enumerate().map(block).collect();
    for (p, block) in blocks.into_iter().enumerate() {
        let (block, inner) = block?;
        let mut ids: Vec<u32> = block.outer.clone();
        for at in inner {
            ids.push(filled.mesh.positions.len() as u32);
            filled.mesh.positions.push(at);
            filled.origin.push(Origin::Inside { patch: p });
        }
        for quad in &block.quads {
            filled.mesh.quads.push(quad.map(|i| ids[i as usize]));
            filled.patch_of_quad.push(p as u32);
        }
    }
    filled.arcs = shared.arcs;
    let chains = layout.arcs.iter().zip(&filled.arcs);
    let chains = chains.filter(|(arc, _)| matches!(arc.source, ArcSource::Chain(_)));
    let on_chains = chains.flat_map(|(_, run)| run).copied().collect();
    let topology = twice::merge(&mut filled, &on_chains);
    filled.held = vec![None; filled.mesh.positions.len()];
    let found: i64 = (0..filled.mesh.positions.len())
        .filter(|&v| topology.valence[v] > 0)
        .map(|v| if topology.on_boundary[v] { 3 } else { 4 } - i64::from(topology.valence[v]))
        .sum();
    let euler = topology.euler_characteristic();
    if found != 4 * euler {
        return Err(FillError::Valences { found, euler });
    }
    let mut uses = vec![0; layout.arcs.len()];
    for used in layout.patches.iter().flat_map(|p| p.sides.iter().flatten()) {
        uses[used.arc] += 1;
    }
    let wanted: usize = (0..uses.len())
        .filter(|&a| uses[a] == 1)
        .map(|a| plan.arcs[a] as usize)
        .sum();
    let found = topology.face_count.iter().filter(|&&n| n == 1).count();
    if found != wanted {
        return Err(FillError::Holes { found, wanted });
    }
    let sum = 4 * euler;
    let mut findings = Findings::default();
    findings.push(Finding::new(
        "valence-sum",
        Level::Pass,
        format!("Valences sum to {sum} = 4 × the Euler characteristic {euler} (Euler's formula)."),
    ));
    task.report("fill", 1.0)?;
    Ok((filled, findings))
}

/// Vertices that patches share: nodes and points of arcs.
struct Shared {
    /// All vertices of each arc, nodes included.
    arcs: Vec<Vec<u32>>,
}

impl Shared {
    fn new(surface: &WorkSurface, layout: &Layout, plan: &Plan, filled: &mut Filled) -> Self {
        let mut node: Vec<Option<u32>> = vec![None; surface.positions.len()];
        let stands_for = plan.merged_nodes(layout);
        let mut arcs = Vec::with_capacity(layout.arcs.len());
        for (a, arc) in layout.arcs.iter().enumerate() {
            let count = plan.arcs[a];
            let mut ids = Vec::with_capacity(count as usize + 1);
            let points: Vec<DVec3> = arc
                .vertices
                .iter()
                .map(|&v| surface.positions[v as usize])
                .collect();
            for step in 0..=count {
                let end = if step == 0 {
                    arc.vertices.first()
                } else if step == count {
                    arc.vertices.last()
                } else {
                    None
                };
                let id = match end.map(|v| stands_for.get(v).unwrap_or(v)) {
                    Some(&v) => *node[v as usize].get_or_insert_with(|| {
                        filled.mesh.positions.push(surface.positions[v as usize]);
                        filled.origin.push(Origin::Node { vertex: v });
                        filled.mesh.positions.len() as u32 - 1
                    }),
                    None => {
                        filled.mesh.positions.push(point_at(
                            &points,
                            &arc.progress,
                            f64::from(step) / f64::from(count),
                        ));
                        filled.origin.push(Origin::Arc { arc: a, step });
                        filled.mesh.positions.len() as u32 - 1
                    }
                };
                ids.push(id);
            }
            arcs.push(ids);
        }
        Self { arcs }
    }

    /// Vertices along one side of a patch, both corners included.
    fn side(&self, patch: &Patch, side: usize) -> Vec<u32> {
        let mut ids: Vec<u32> = Vec::new();
        for used in &patch.sides[side] {
            let run = &self.arcs[used.arc];
            let skip = usize::from(!ids.is_empty());
            if used.forward {
                ids.extend(run.iter().skip(skip));
            } else {
                ids.extend(run.iter().rev().skip(skip));
            }
        }
        ids
    }
}
