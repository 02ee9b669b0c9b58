//! Size that follows curvature: how much denser than the mean the quads should be at each
//! vertex of the work surface.

use mesh::DVec3;

use crate::field::Field;
use crate::model::WorkSurface;

/// Density at `adapt = 1` where the surface turns by a radian within a quad, over that of a
/// flat place.
const DENSEST: f64 = 2.0;
/// Rounds of averaging over neighbours, so that sizes change gradually: about three quads.
const ROUNDS: usize = 20;

/// Wanted density at each vertex, over the mean one: all 1 at `adapt = 0`. `quad_edge` in
/// model units.
///
/// Curvature is taken on the smoothed copy that the field lives on, hence at the scale of the
/// quads, as the greatest turn of the normal along an edge, by length.
pub(super) fn density(
    surface: &WorkSurface,
    field: &Field,
    quad_edge: f64,
    adapt: f64,
) -> Vec<f64> {
    let count = surface.positions.len();
    let adapt = adapt.clamp(0.0, 1.0);
    if adapt == 0.0 {
        return vec![1.0; count];
    }
    let mut normals = vec![DVec3::ZERO; count];
    let mut areas = vec![0.0; count];
    for t in &surface.triangles {
        let [a, b, c] = t.map(|v| field.smooth[v as usize]);
        let normal = (b - a).cross(c - a);
        for &v in t {
            normals[v as usize] += normal;
            areas[v as usize] += normal.length();
        }
    }
    let normals: Vec<DVec3> = normals.iter().map(|n| n.normalize_or_zero()).collect();
    let around: Vec<Vec<u32>> = (0..count as u32)
        .map(|v| field.topology.neighbours(v).iter().map(|n| n.0).collect())
        .collect();
    let mut wanted: Vec<f64> = (0..count)
        .map(|v| {
            let turn = around[v]
                .iter()
                .map(|&w| {
                    let length = field.smooth[v]
                        .distance(field.smooth[w as usize])
                        .max(1e-12);
                    normals[v].angle_between(normals[w as usize]) / length
                })
                .filter(|turn| turn.is_finite())
                .fold(0.0, f64::max);
            1.0 + adapt * (DENSEST - 1.0) * (turn * quad_edge).min(1.0)
        })
        .collect();
    for _ in 0..ROUNDS {
        wanted = (0..count)
            .map(|v| {
                let mean = around[v].iter().map(|&w| wanted[w as usize]).sum::<f64>()
                    / around[v].len().max(1) as f64;
                if around[v].is_empty() {
                    wanted[v]
                } else {
                    (wanted[v] + mean) / 2.0
                }
            })
            .collect();
    }
    // Faces go with the square of the density, so this mean keeps their number.
    let (mut sum, mut whole) = (0.0, 0.0);
    for v in 0..count {
        sum += wanted[v] * wanted[v] * areas[v];
        whole += areas[v];
    }
    let mean = (sum / f64::max(whole, 1e-300)).sqrt().max(1e-12);
    wanted.iter().map(|w| w / mean).collect()
}

/// Mean density along a run of vertices, by length.
pub(super) fn along(surface: &WorkSurface, density: &[f64], vertices: &[u32]) -> f64 {
    let (mut sum, mut whole) = (0.0, 0.0);
    for w in vertices.windows(2) {
        let [a, b] = [w[0] as usize, w[1] as usize];
        let length = surface.positions[a].distance(surface.positions[b]);
        sum += length * (density[a] + density[b]) / 2.0;
        whole += length;
    }
    if whole > 0.0 { sum / whole } else { 1.0 }
}
