//! Held quads and new ones, joined along the rim.

use mesh::QuadMesh;

use super::{Filled, Origin};
use crate::hold::{Held, HoldError, Run};
use crate::layout::{ArcSource, Layout};
use crate::model::{ChainSource, WorkSurface};

/// New quads with the held ones.
#[derive(Clone, Debug)]
pub struct Joined {
    /// All quads of the half, new ones first.
    pub filled: Filled,
    /// Held vertices of which new quads have nothing, in the order in which they stand after the new
    /// ones.
    pub inner: Vec<u32>,
}

/// Puts the new mesh's vertices along the rim where held vertices are, and marks them as held.
///
/// # Errors
/// [`HoldError::Rim`] if another number of edges was laid than is held.
pub fn settle(
    filled: &mut Filled,
    surface: &WorkSurface,
    layout: &Layout,
    held: &Held,
    runs: &[(usize, Run)],
) -> Result<(), HoldError> {
    for (curve, run) in runs {
        let laid = along_curve(filled, surface, layout, *curve);
        let fault = |found: usize| HoldError::Rim {
            hold: held.names.get(run.hold).cloned().unwrap_or_default(),
            found,
            wanted: run.count(),
        };
        if laid.len() != run.vertices.len() {
            return Err(fault(laid.len().saturating_sub(usize::from(!run.closed))));
        }
        let turn = if run.closed {
            best_turn(&filled.mesh, &laid, held, &run.vertices)
        } else {
            0
        };
        for (k, &v) in laid.iter().enumerate() {
            let held_vertex = run.vertices[(k + turn) % laid.len()];
            let known = &mut filled.held[v as usize];
            if known.is_some_and(|other| other != held_vertex) {
                return Err(fault(laid.len()));
            }
            *known = Some(held_vertex);
            filled.mesh.positions[v as usize] = held.mesh.positions[held_vertex as usize];
        }
    }
    Ok(())
}

/// Vertices along a curve, from its start on; of a closed one each once.
fn along_curve(filled: &Filled, surface: &WorkSurface, layout: &Layout, curve: usize) -> Vec<u32> {
    let mut all: Vec<u32> = Vec::new();
    for (c, chain) in surface.chains.iter().enumerate() {
        if chain.source != ChainSource::Curve(curve) {
            continue;
        }
        let n = chain.vertices.len();
        let place = |v: u32| chain.vertices.iter().position(|&u| u == v);
        // Arcs by the edge of the chain with which they begin, seen along it.
        let mut arcs: Vec<(usize, bool, usize)> = Vec::new();
        for (a, arc) in layout.arcs.iter().enumerate() {
            let ([first, second, ..], [.., before, last]) = (&arc.vertices[..], &arc.vertices[..])
            else {
                continue;
            };
            if arc.source != ArcSource::Chain(c) {
                continue;
            }
            let (Some(one), Some(two)) = (place(*first), place(*second)) else {
                continue;
            };
            if two == (one + 1) % n && !(n == 2 && two < one) {
                arcs.push((one, true, a));
            } else if let (Some(start), Some(_)) = (place(*last), place(*before)) {
                arcs.push((start, false, a));
            }
        }
        arcs.sort_unstable();
        for (_, forward, a) in arcs {
            let mut ids = filled.arcs[a].clone();
            if !forward {
                ids.reverse();
            }
            let skip = usize::from(all.last() == ids.first());
            all.extend(ids.into_iter().skip(skip));
        }
    }
    if all.len() > 1 && all.first() == all.last() {
        all.pop();
    }
    all
}

/// By how many vertices a closed run is to be turned so that it comes nearest to what was laid.
fn best_turn(mesh: &QuadMesh, laid: &[u32], held: &Held, run: &[u32]) -> usize {
    let n = laid.len();
    let cost = |turn: usize| -> f64 {
        (0..n)
            .map(|k| {
                let there = held.mesh.positions[run[(k + turn) % n] as usize];
                mesh.positions[laid[k] as usize].distance_squared(there)
            })
            .sum()
    };
    (0..n)
        .min_by(|&a, &b| cost(a).total_cmp(&cost(b)))
        .unwrap_or(0)
}

/// Adds the held quads to a settled mesh.
pub fn join(mut filled: Filled, layout: &Layout, held: &Held) -> Joined {
    let mut ids: Vec<Option<u32>> = vec![None; held.mesh.positions.len()];
    for (v, known) in filled.held.iter().enumerate() {
        if let Some(held_vertex) = known {
            ids[*held_vertex as usize] = Some(v as u32);
        }
    }
    let mut inner = Vec::new();
    for (q, quad) in held.mesh.quads.iter().enumerate() {
        let hold = held.hold_of_quad[q];
        let corners = quad.map(|v| {
            *ids[v as usize].get_or_insert_with(|| {
                inner.push(v);
                filled.mesh.positions.push(held.mesh.positions[v as usize]);
                filled.origin.push(Origin::Held { hold });
                filled.held.push(Some(v));
                filled.mesh.positions.len() as u32 - 1
            })
        });
        filled.mesh.quads.push(corners);
        filled
            .patch_of_quad
            .push((layout.patches.len() + hold) as u32);
    }
    Joined { filled, inner }
}

impl Joined {
    /// The placed new mesh with the held quads.
    pub fn placed(&self, mut rest: QuadMesh, held: &Held) -> QuadMesh {
        let inner = self.inner.iter();
        rest.positions
            .extend(inner.map(|&v| held.mesh.positions[v as usize]));
        rest.quads.clone_from(&self.filled.mesh.quads);
        rest
    }
}
