//! Fewer triangles by collapsing edges, cheapest first.
//!
//! Error quadrics after Garland & Heckbert, "Surface simplification using quadric error
//! metrics" (1997): each vertex keeps the sum of squared distances to the planes of all
//! triangles that went into it, weighted by area; boundaries add planes square to them.
//! A collapse that would change the topology or turn a triangle over is not made.
//!
//! While there are far more vertices than wanted, whole passes collapse the cheapest
//! share of edges, no two next to each other; the rest goes through a priority queue.

mod collapse;
mod quadric;
mod sweeps;
#[cfg(test)]
mod tests;

use std::cmp::Ordering;
use std::collections::BinaryHeap;

use rayon::prelude::*;

use crate::{DVec3, TriMesh};
use collapse::{Reducer, Weighting};
pub use sweeps::decimate_in_sweeps;

/// Passes run while there are more than this many times the wanted vertices,
const PASS_ABOVE: usize = 12;
/// and more than this many vertices: below, the queue alone is fast enough.
const PASS_LEAST: usize = 20_000;
/// Share of the edges that a pass tries.
const PASS_SHARE: f64 = 0.3;
/// A pass that takes fewer than this share of the vertices is the last.
const PASS_YIELD: f64 = 0.02;

/// Reduces a manifold triangle mesh to `vertices` vertices, or as near to that as can be
/// without changing its topology. Vertices of no triangle are dropped.
///
/// Cost n log n; the same for any number of threads. Triangles with bad indices or
/// coordinates that aren't finite are left out.
///
/// ```
/// use loopwright_mesh::{TriMesh, Vec3, decimate};
/// let mut grid = TriMesh::default();
/// for y in 0..10u32 {
///     for x in 0..10u32 {
///         grid.positions.push(Vec3::new(x as f32, y as f32, 0.0));
///     }
/// }
/// for y in 0..9u32 {
///     for x in 0..9u32 {
///         let a = 10 * y + x;
///         grid.triangles.extend([[a, a + 1, a + 11], [a, a + 11, a + 10]]);
///     }
/// }
/// let small = decimate(&grid, 20);
/// assert_eq!(small.positions.len(), 20);
/// assert!((small.area() - 81.0).abs() < 1e-3);
/// ```
pub fn decimate(mesh: &TriMesh, vertices: usize) -> TriMesh {
    let mut reducer = Reducer::new(mesh, Weighting::Area);
    while reducer.vertices > (PASS_ABOVE * vertices).max(PASS_LEAST) {
        let before = reducer.vertices;
        pass(&mut reducer, PASS_ABOVE * vertices);
        if ((before - reducer.vertices) as f64) < PASS_YIELD * before as f64 {
            break;
        }
    }
    queue(&mut reducer, vertices);
    reducer.finish()
}

/// An edge that may be collapsed.
#[derive(Clone, Copy, PartialEq)]
struct Candidate {
    cost: f64,
    ends: [u32; 2],
    /// How often its ends had changed when the cost was found.
    stamps: [u32; 2],
    to: DVec3,
}

impl Eq for Candidate {}

impl Ord for Candidate {
    /// The cheapest is the greatest, ties by index.
    fn cmp(&self, other: &Self) -> Ordering {
        other
            .cost
            .total_cmp(&self.cost)
            .then(other.ends.cmp(&self.ends))
    }
}

impl PartialOrd for Candidate {
    fn partial_cmp(&self, other: &Self) -> Option<Ordering> {
        Some(self.cmp(other))
    }
}

/// Collapses the cheapest edges, none next to another that was collapsed.
fn pass(reducer: &mut Reducer, floor: usize) {
    let edges = reducer.edges();
    let candidates: Vec<Candidate> = edges.par_iter().map(|&e| reducer.candidate(e)).collect();
    let mut order: Vec<u32> = (0..candidates.len() as u32).collect();
    let tried = (candidates.len() as f64 * PASS_SHARE) as usize;
    let by_cost = |i: &u32, j: &u32| candidates[*j as usize].cmp(&candidates[*i as usize]);
    if tried == 0 || tried >= order.len() {
        return;
    }
    order.select_nth_unstable_by(tried, by_cost);
    order.truncate(tried);
    order.par_sort_unstable_by(by_cost);
    for i in order {
        if reducer.vertices <= floor {
            return;
        }
        let candidate = candidates[i as usize];
        if reducer.is_current(&candidate) && reducer.collapse(candidate.ends, candidate.to) {
            reducer.touch_around(candidate.ends[0]);
        }
    }
}

/// Collapses edges cheapest first, looking again at all edges of a vertex that moved.
fn queue(reducer: &mut Reducer, vertices: usize) {
    if reducer.vertices <= vertices {
        return;
    }
    let edges = reducer.edges();
    let candidates: Vec<Candidate> = edges.par_iter().map(|&e| reducer.candidate(e)).collect();
    let mut heap = BinaryHeap::from(candidates);
    while reducer.vertices > vertices {
        let Some(candidate) = heap.pop() else { return };
        if !reducer.is_current(&candidate) || !reducer.collapse(candidate.ends, candidate.to) {
            continue;
        }
        let kept = candidate.ends[0];
        for other in reducer.neighbours(kept) {
            heap.push(reducer.candidate([kept.min(other), kept.max(other)]));
        }
    }
}
