//! Plain decimation in sweeps: quick, and farther from the surface than cheapest first.

use super::collapse::{Reducer, Weighting};
use crate::TriMesh;

/// The first sweep's limit, in squares of half the largest extent, and how it grows:
/// limit = LEAST · (sweep + 3)^GROWTH.
const LEAST: f64 = 1e-9;
const GROWTH: i32 = 7;
/// Enough for the limit to pass any cost.
const SWEEPS: i32 = 100;

/// Reduces a triangle mesh to `vertices` vertices, or as near as can be, in sweeps over
/// all edges in order. Each sweep collapses what costs less than a limit that grows from
/// sweep to sweep, and no triangle twice. Planes of triangles count the same whatever
/// their area, and boundaries may move along themselves only.
///
/// Cost: a few passes over all triangles. Otherwise as [`decimate`](super::decimate).
pub fn decimate_in_sweeps(mesh: &TriMesh, vertices: usize) -> TriMesh {
    let mut reducer = Reducer::new(mesh, Weighting::Count);
    let scale = mesh
        .bounds()
        .map_or(0.0, |(low, high)| ((high - low) / 2.0).max_element());
    for sweep in 0..SWEEPS {
        if reducer.vertices <= vertices {
            break;
        }
        let limit = LEAST * f64::from(sweep + 3).powi(GROWTH) * scale * scale;
        sweep_once(&mut reducer, limit, vertices);
    }
    reducer.finish()
}

fn sweep_once(reducer: &mut Reducer, limit: f64, vertices: usize) {
    let fresh = reducer.stamps().to_vec();
    for t in 0..reducer.triangle_count() {
        let Some(corners) = reducer.living(t) else {
            continue;
        };
        // A triangle that changed in this sweep waits for the next.
        let stamps = reducer.stamps();
        if corners
            .iter()
            .any(|&v| stamps[v as usize] != fresh[v as usize])
        {
            continue;
        }
        for i in 0..3 {
            let ends = [corners[i], corners[(i + 1) % 3]];
            if !reducer.is_like(ends) {
                continue;
            }
            let candidate = reducer.candidate(ends);
            if candidate.cost < limit && reducer.collapse(ends, candidate.to) {
                break;
            }
        }
        if reducer.vertices <= vertices {
            return;
        }
    }
}
