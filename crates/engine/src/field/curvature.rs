//! Where the surface bends more one way than the other, quads run along and across the bend.
//!
//! Normal curvature around a vertex is H + A cos 2φ + B sin 2φ (Euler's theorem on curvature, 1760);
//! least squares over the edges there give A and B. Averaged over neighbours as directions equal
//! under half turns, they tell the bend at the scale of the quads.

use std::f64::consts::FRAC_PI_2;

use mesh::{DVec3, TriTopology};
use rayon::prelude::*;

use super::frames::Frames;

/// Rounds of averaging over neighbours: about a quad and a half.
const ROUNDS: usize = 10;

/// A soft wish for directions.
#[derive(Clone, Debug)]
pub(super) struct Pull {
    /// Wanted direction at each vertex, radians in its frame, up to quarter turns.
    pub angle: Vec<f64>,
    /// What a radian squared of difference costs there, in the measure of an edge's.
    pub weight: Vec<f64>,
}

impl Pull {
    /// The pull of the principal directions. `strength` 1 lets a tube turn the field over about
    /// its radius; 0 is none.
    pub fn of_curvature(
        topology: &TriTopology,
        frames: &Frames,
        positions: &[DVec3],
        strength: f64,
    ) -> Self {
        let count = positions.len();
        let mut normals = vec![DVec3::ZERO; count];
        for t in &topology.triangles {
            let [a, b, c] = t.map(|v| positions[v as usize]);
            let normal = (b - a).cross(c - a);
            t.iter().for_each(|&v| normals[v as usize] += normal);
        }
        let mut bend: Vec<[f64; 2]> = (0..count as u32)
            .into_par_iter()
            .map(|v| bend_at(topology, frames, positions, &normals, v))
            .collect();
        // Neighbours with the turn that carries a bend over from each, flat; as they are all rounds.
        let mut first = Vec::with_capacity(count + 1);
        let mut around: Vec<(u32, f64, f64)> = Vec::with_capacity(2 * topology.edge_count());
        for v in 0..count as u32 {
            first.push(around.len());
            for (w, _) in topology.neighbours(v) {
                let Some(half) = topology.half_between(w, v) else {
                    continue;
                };
                let (s, c) = (2.0 * frames.transport(half)).sin_cos();
                around.push((w, s, c));
            }
        }
        first.push(around.len());
        for _ in 0..ROUNDS {
            bend = (0..count)
                .into_par_iter()
                .map(|v| {
                    let mut sum = bend[v];
                    let mut n = 1.0;
                    for &(w, s, c) in &around[first[v]..first[v + 1]] {
                        let [x, y] = bend[w as usize];
                        sum[0] += c * x - s * y;
                        sum[1] += s * x + c * y;
                        n += 1.0;
                    }
                    sum.map(|x| x / n)
                })
                .collect();
        }
        let spacing = spacing(topology, positions);
        Self {
            angle: bend
                .iter()
                .map(|b| (b[1].atan2(b[0]) / 2.0).rem_euclid(FRAC_PI_2))
                .collect(),
            weight: (0..count)
                .map(|v| {
                    let [x, y] = bend[v];
                    strength * spacing[v] * spacing[v] * 4.0 * (x * x + y * y)
                })
                .collect(),
        }
    }
}

/// A and B at a vertex, 1 over model units.
fn bend_at(
    topology: &TriTopology,
    frames: &Frames,
    positions: &[DVec3],
    normals: &[DVec3],
    vertex: u32,
) -> [f64; 2] {
    if topology.is_boundary_vertex(vertex) {
        // One side only: the edges don't tell.
        return [0.0; 2];
    }
    let (at, normal) = (
        positions[vertex as usize],
        normals[vertex as usize].normalize_or_zero(),
    );
    // Normal equations of three unknowns.
    let (mut m, mut r) = ([[0.0f64; 3]; 3], [0.0f64; 3]);
    for (w, edge) in topology.neighbours(vertex) {
        let way = positions[w as usize] - at;
        let length = way.length_squared().max(1e-300);
        // Positive where the surface bends towards its inside.
        let curvature = -2.0 * normal.dot(way) / length;
        let twice = 2.0 * frames.of_edge(topology, edge, vertex);
        let row = [1.0, twice.cos(), twice.sin()];
        for i in 0..3 {
            for j in 0..3 {
                m[i][j] += row[i] * row[j];
            }
            r[i] += row[i] * curvature;
        }
    }
    let det = |m: &[[f64; 3]; 3]| {
        m[0][0] * (m[1][1] * m[2][2] - m[1][2] * m[2][1])
            - m[0][1] * (m[1][0] * m[2][2] - m[1][2] * m[2][0])
            + m[0][2] * (m[1][0] * m[2][1] - m[1][1] * m[2][0])
    };
    let whole = det(&m);
    if whole.abs() < 1e-6 {
        return [0.0; 2];
    }
    [1, 2].map(|column| {
        let mut other = m;
        for i in 0..3 {
            other[i][column] = r[i];
        }
        det(&other) / whole
    })
}

/// Mean length of the edges at each vertex, model units.
fn spacing(topology: &TriTopology, positions: &[DVec3]) -> Vec<f64> {
    (0..positions.len() as u32)
        .map(|v| {
            let around = topology.neighbours(v);
            let sum: f64 = around
                .iter()
                .map(|n| positions[v as usize].distance(positions[n.0 as usize]))
                .sum();
            sum / around.len().max(1) as f64
        })
        .collect()
}
