//! Corners of the surface's boundary, which smoothing must keep: the field turns there at once,
//! and a rounded corner would make it turn by a singularity instead.

use mesh::{DVec3, TriTopology};

use crate::model::WorkSurface;

/// Turning, in radians, over one edge to either side from which a boundary has a corner.
const TURN: f64 = 1.0;
/// Turning over about a quad to either side that must be left of it: zigzags take theirs back.
const LASTS: f64 = 0.75;
/// About a quad, in work edges.
const WIDE: i64 = 4;
/// Work edges within which there is one corner.
const APART: i64 = 3;

/// By vertex: whether the boundary turns a corner there, measured within the surface, so that a
/// hem over a sharp fold has none.
pub(super) fn corners(surface: &WorkSurface, topology: &TriTopology) -> Vec<bool> {
    let mut corner = vec![false; surface.positions.len()];
    for chain in &surface.chains {
        let n = chain.vertices.len();
        if n < 4
            || !chain
                .vertices
                .iter()
                .all(|&v| topology.is_boundary_vertex(v))
        {
            continue;
        }
        let mut turn: Vec<f64> = (0..n)
            .map(|i| {
                let end = !chain.closed && (i == 0 || i + 1 == n);
                if end {
                    0.0
                } else {
                    turning(surface, topology, chain.vertices[i])
                }
            })
            .collect();
        if chain.closed {
            // What a loop turns all around makes no corner.
            let mean = turn.iter().sum::<f64>() / n as f64;
            turn.iter_mut().for_each(|t| *t -= mean);
        }
        let at = |i: usize, d: i64| -> Option<f64> {
            let j = i as i64 + d;
            if chain.closed {
                turn.get(j.rem_euclid(n as i64) as usize).copied()
            } else {
                usize::try_from(j).ok().and_then(|j| turn.get(j)).copied()
            }
        };
        let sum = |i: usize, reach: i64| (-reach..=reach).filter_map(|d| at(i, d)).sum::<f64>();
        let mut here: Vec<u32> = Vec::new();
        for i in 0..n {
            let near = sum(i, 1);
            let sharpest = (1..=APART).all(|d| {
                at(i, -d).is_none_or(|t| t.abs() < turn[i].abs())
                    && at(i, d).is_none_or(|t| t.abs() <= turn[i].abs())
            });
            if sharpest
                && near.abs() >= TURN
                && sum(i, WIDE.min(n as i64 / 4)) * near.signum() >= LASTS
            {
                here.push(chain.vertices[i]);
            }
        }
        // A loop's one corner alone is none: the row along the loop would cross itself there.
        if chain.closed && here.len() == 1 {
            here.clear();
        }
        here.into_iter().for_each(|v| corner[v as usize] = true);
    }
    corner
}

/// Half a turn less the surface's angle at a boundary vertex.
fn turning(surface: &WorkSurface, topology: &TriTopology, vertex: u32) -> f64 {
    let place = |v: u32| surface.positions[v as usize];
    let angle = |h: u32| {
        let one: DVec3 = place(topology.to(h)) - place(vertex);
        let two = place(topology.from(topology.prev(h))) - place(vertex);
        one.cross(two).length().atan2(one.dot(two))
    };
    std::f64::consts::PI - topology.fan(vertex).map(angle).sum::<f64>()
}
