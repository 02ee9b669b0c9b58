//! Faces of a layer under the surface that can't be seen.
//!
//! A face counts as hidden where, from its middle and near each corner, every one of a fixed
//! set of directions out of the layer ends on the surface; the layer itself isn't trusted to
//! hide anything. What can be seen through an opening so stays, and what is within the
//! margin of that, along the layer, stays too. A surface with a hole hides less, never more.

use std::cmp::Reverse;
use std::collections::BinaryHeap;

use mesh::{DVec3, SurfaceIndex, TriMesh};
use rayon::prelude::*;

/// Directions in all; those out of a face are about half.
const DIRECTIONS: usize = 128;
/// Places near corners are this share of the way from the middle.
const NEAR_CORNERS: f64 = 0.9;

/// Whether each triangle of the layer stays: hidden ones further than `margin` (model units),
/// along edges of the layer, from any that can be seen don't.
pub(super) fn kept(layer: &TriMesh, surface: &SurfaceIndex, margin: f64) -> Vec<bool> {
    let all = directions();
    let seen: Vec<bool> = (0..layer.triangles.len())
        .into_par_iter()
        .map(|t| is_seen(layer, t, surface, &all))
        .collect();
    let near = within(layer, &seen, margin);
    let triangles = layer.triangles.iter().zip(&seen);
    triangles
        .map(|(t, &seen)| seen || t.iter().any(|&v| near[v as usize]))
        .collect()
}

/// Directions evenly over the sphere (the spiral of Swinbank & Purser 2006).
fn directions() -> Vec<DVec3> {
    let golden = std::f64::consts::PI * (3.0 - 5f64.sqrt());
    let direction = |i: usize| {
        let z = 1.0 - (2.0 * i as f64 + 1.0) / DIRECTIONS as f64;
        let (radius, turn) = ((1.0 - z * z).sqrt(), golden * i as f64);
        DVec3::new(radius * turn.cos(), radius * turn.sin(), z)
    };
    (0..DIRECTIONS).map(direction).collect()
}

fn is_seen(layer: &TriMesh, t: usize, surface: &SurfaceIndex, directions: &[DVec3]) -> bool {
    let corners = layer.corners(t);
    let Some(normal) = layer.area_normal(t).try_normalize() else {
        return false;
    };
    let middle = corners.iter().sum::<DVec3>() / 3.0;
    let near = corners.map(|corner| middle + NEAR_CORNERS * (corner - middle));
    let places = [middle, near[0], near[1], near[2]];
    let escapes = |direction: DVec3| {
        let from = |&p: &DVec3| surface.ray(p, direction, f64::INFINITY).is_none();
        places.iter().any(from)
    };
    escapes(normal)
        || directions
            .iter()
            .any(|&direction| direction.dot(normal) > 0.0 && escapes(direction))
}

/// Whether each vertex is within `margin` of a seen triangle along edges (Dijkstra 1959).
fn within(layer: &TriMesh, seen: &[bool], margin: f64) -> Vec<bool> {
    let at = |v: u32| layer.positions[v as usize].as_dvec3();
    let mut edges: Vec<[u32; 2]> = Vec::with_capacity(6 * layer.triangles.len());
    for [a, b, c] in &layer.triangles {
        edges.extend([[*a, *b], [*b, *c], [*c, *a], [*b, *a], [*c, *b], [*a, *c]]);
    }
    edges.par_sort_unstable();
    edges.dedup();
    let mut least = vec![f64::INFINITY; layer.positions.len()];
    // Distances above 0 order as their bits do.
    let mut waiting = BinaryHeap::new();
    for (t, _) in layer.triangles.iter().zip(seen).filter(|s| *s.1) {
        for &v in t {
            least[v as usize] = 0.0;
            waiting.push(Reverse((0u64, v)));
        }
    }
    while let Some(Reverse((bits, v))) = waiting.pop() {
        let here = f64::from_bits(bits);
        if here > least[v as usize] {
            continue;
        }
        let first = edges.partition_point(|e| e[0] < v);
        for &[_, to] in edges[first..].iter().take_while(|e| e[0] == v) {
            let there = here + at(v).distance(at(to));
            if there <= margin && there < least[to as usize] {
                least[to as usize] = there;
                waiting.push(Reverse((there.to_bits(), to)));
            }
        }
    }
    least.iter().map(|d| d.is_finite()).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::sync::Arc;

    /// A tube around the y axis.
    fn tube(radius: f64, low: f64, high: f64, along: u32) -> TriMesh {
        let around = 48;
        let mut mesh = TriMesh::default();
        for i in 0..=along {
            for j in 0..around {
                let turn = f64::from(j) / f64::from(around) * std::f64::consts::TAU;
                let y = low + (high - low) * f64::from(i) / f64::from(along);
                let p = DVec3::new(radius * turn.sin(), y, radius * turn.cos());
                mesh.positions.push(p.as_vec3());
            }
        }
        let at = |i: u32, j: u32| i * around + j % around;
        for i in 0..along {
            for j in 0..around {
                let [a, b, c, d] = [at(i, j), at(i, j + 1), at(i + 1, j + 1), at(i + 1, j)];
                mesh.triangles.extend([[a, b, c], [a, c, d]]);
            }
        }
        mesh
    }

    /// An arm in a sleeve: what is left out lies under the sleeve, further from each end than
    /// the margin, and there is some; without a sleeve nothing is left out.
    #[test]
    fn an_arm_loses_what_its_sleeve_hides() {
        let arm = tube(1.0, -6.0, 6.0, 96);
        let sleeve = tube(1.05, -4.0, 4.0, 8);
        let index = SurfaceIndex::new(Arc::new(sleeve));
        for margin in [0.5, 1.5] {
            let kept = kept(&arm, &index, margin);
            let mut dropped = 0;
            for (t, _) in kept.iter().enumerate().filter(|k| !k.1) {
                let high = arm.corners(t).iter().map(|p| p.y.abs()).fold(0.0, f64::max);
                assert!(high < 4.0 - margin, "{high}");
                dropped += 1;
            }
            assert!(dropped > 1000, "{dropped}");
        }
        let bare = SurfaceIndex::new(Arc::new(TriMesh::default()));
        assert!(kept(&arm, &bare, 0.0).iter().all(|&k| k));
    }
}
