//! Faces that straddle the sculpt instead of cutting through its convex side.
//!
//! A chord of a circle lies inside it by two thirds of the sagitta on average; moving the
//! vertices out by as much makes the mean distance nought and the RMS distance
//! about half (handbook mensuration of the parabola segment). Here: least squares over
//! points spread on the quads, by Gauss–Seidel rounds, along vertex normals.

use mesh::{DVec3, QuadMesh};
use rayon::prelude::*;

use super::rails::Seat;
use super::{Scene, normal_at, onto_surface};

const ROUNDS: usize = 3;
const SWEEPS: usize = 6;
const GRID: usize = 5;
/// Most that a vertex may leave the sculpt, in quad edges: free, and on a guide.
const MOST_FREE: f64 = 0.3;
const MOST_GUIDE: f64 = 0.03;

struct Sample {
    corners: [u32; 4],
    weights: [f64; 4],
    gap: f64,
}

/// Moves vertices along their normals so that the faces straddle the sculpt.
pub(super) fn straddle(mesh: &mut QuadMesh, scene: &Scene) {
    let home = mesh.positions.clone();
    let mut feet = vec![None; mesh.quads.len()];
    for _ in 0..ROUNDS {
        let normals: Vec<DVec3> = (0..mesh.positions.len())
            .map(|v| held_normal(mesh, scene, v))
            .collect();
        let samples = samples_of(mesh, scene, &normals, &mut feet);
        let mut by_vertex: Vec<Vec<(u32, u8)>> = vec![Vec::new(); mesh.positions.len()];
        for (s, sample) in samples.iter().enumerate() {
            for (k, &v) in sample.corners.iter().enumerate() {
                by_vertex[v as usize].push((s as u32, k as u8));
            }
        }
        let mut shift = vec![0.0; mesh.positions.len()];
        for _ in 0..SWEEPS {
            for v in 0..shift.len() {
                let (mut pull, mut weight) = (0.0, 1e-9);
                for &(s, k) in &by_vertex[v] {
                    let sample = &samples[s as usize];
                    let w = sample.weights[k as usize];
                    let others: f64 = (0..4)
                        .filter(|&i| i != k as usize)
                        .map(|i| sample.weights[i] * shift[sample.corners[i] as usize])
                        .sum();
                    pull += w * (sample.gap - others);
                    weight += w * w;
                }
                // A little weight on staying keeps noise finer than a quad out.
                weight *= 1.15;
                let most = scene.edge
                    * if scene.held[v] {
                        0.0
                    } else if scene.seats[v] == Seat::Free {
                        MOST_FREE
                    } else {
                        MOST_GUIDE
                    };
                let gone = (mesh.positions[v] - home[v]).dot(normals[v]);
                shift[v] = (pull / weight).clamp(-most - gone, most - gone);
            }
        }
        for v in 0..shift.len() {
            mesh.positions[v] += normals[v] * shift[v];
        }
    }
}

/// Normal of a vertex, kept within the mirror plane for vertices on it.
fn held_normal(mesh: &QuadMesh, scene: &Scene, v: usize) -> DVec3 {
    let normal = normal_at(mesh, scene, v);
    match scene.plane {
        Some(plane) if plane.height(mesh.positions[v]).abs() < 1e-9 * scene.edge => {
            (normal - plane.normal * normal.dot(plane.normal)).normalize_or_zero()
        }
        _ => normal,
    }
}

/// Samples of every quad; `feet` keeps where the sculpt was met under each quad's first one.
fn samples_of(
    mesh: &QuadMesh,
    scene: &Scene,
    normals: &[DVec3],
    feet: &mut [Option<u32>],
) -> Vec<Sample> {
    let of_quad = |(quad, first): (&[u32; 4], &mut Option<u32>)| {
        let mut samples = Vec::with_capacity(GRID * GRID);
        let mut row = *first;
        let p = quad.map(|v| mesh.positions[v as usize]);
        let normal = quad
            .iter()
            .map(|&v| normals[v as usize])
            .sum::<DVec3>()
            .normalize_or_zero();
        for i in 0..GRID {
            let mut near = row;
            for j in 0..GRID {
                let (x, y) = (
                    (i as f64 + 0.5) / GRID as f64,
                    (j as f64 + 0.5) / GRID as f64,
                );
                let weights = [(1.0 - x) * (1.0 - y), x * (1.0 - y), x * y, (1.0 - x) * y];
                let at: DVec3 = (0..4).map(|k| p[k] * weights[k]).sum();
                let found = onto_surface(scene, at, normal, near);
                let gap = found.map_or(0.0, |foot| (foot.point - at).dot(normal));
                near = found.map(|foot| foot.triangle).or(near);
                if j == 0 {
                    row = near;
                }
                if (i, j) == (0, 0) {
                    *first = near;
                }
                samples.push(Sample {
                    corners: *quad,
                    weights,
                    gap: gap.clamp(-scene.edge, scene.edge),
                });
            }
        }
        samples
    };
    let each: Vec<Vec<Sample>> = mesh.quads.par_iter().zip(feet).map(of_quad).collect();
    each.into_iter().flatten().collect()
}
