//! A patch laid flat: each of its triangles in the plane shape of its sides.
//!
//! Tutte's embedding (1963; Floater 2003 for weights): the rim on a convex polygon,
//! every inner vertex a positive mean of its neighbours, hence no triangle folds.

use std::f64::consts::TAU;

use mesh::DVec3;
use numeric::{Spd, SpdError};

use super::{Arc, Patch, Spacing};
use crate::field::Field;
use crate::model::WorkSurface;

/// A patch in the plane.
pub(crate) struct Flat {
    /// Work-surface corners of each triangle.
    pub vertices: Vec<[u32; 3]>,
    /// Plane coordinates of the triangles' corners.
    pub uv: Vec<[[f64; 2]; 3]>,
}

impl Flat {
    /// Lays a patch flat, each arc over as many equal steps of its side as are told; more than 0.
    pub fn new(
        surface: &WorkSurface,
        field: &Field,
        spacing: &Spacing,
        arcs: &[Arc],
        patch: &Patch,
        steps: &dyn Fn(usize) -> f64,
    ) -> Result<Self, SpdError> {
        let rim = rim_of(arcs, patch, steps);
        let density = |a: u32, b: u32| spacing.along_edge(&surface.positions, a, b);
        Self::of_rim(&surface.positions, field, &density, &patch.triangles, &rim)
    }

    /// Lays triangles, in rising order, flat: each half-edge of their rim starts where it is told.
    /// Quads are wanted so dense along an edge as `density` tells.
    pub fn of_rim(
        positions: &[DVec3],
        field: &Field,
        density: &dyn Fn(u32, u32) -> f64,
        triangles: &[u32],
        rim: &[(u32, [f64; 2])],
    ) -> Result<Self, SpdError> {
        let opened = Opened::new(field, triangles, rim);
        let mut fixed = vec![None; opened.count];
        for &(half, at) in rim {
            if let Ok(i) = triangles.binary_search(&(half / 3)) {
                fixed[opened.local[3 * i + half as usize % 3] as usize] = Some(at);
            }
        }
        let place = embed(positions, field, density, triangles, &opened, &fixed)?;
        let vertices: Vec<[u32; 3]> = triangles
            .iter()
            .map(|&t| field.topology.triangles[t as usize])
            .collect();
        let uv = (0..triangles.len())
            .map(|i| [0, 1, 2].map(|k| place[opened.local[3 * i + k] as usize]))
            .collect();
        Ok(Self { vertices, uv })
    }
}

/// Corners of the plane shape that a patch of `sides` sides is laid into.
pub(crate) fn corner_uv(sides: usize) -> Vec<[f64; 2]> {
    if sides == 4 {
        return vec![[0.0, 0.0], [1.0, 0.0], [1.0, 1.0], [0.0, 1.0]];
    }
    (0..sides)
        .map(|i| {
            let angle = TAU * i as f64 / sides as f64;
            [angle.cos(), angle.sin()]
        })
        .collect()
}

/// The patch's triangles cut open along its rim, so that a vertex met twice by the rim
/// is two.
struct Opened {
    /// Local vertex of corner `k` of the patch's triangle `i`, at `3 i + k`.
    local: Vec<u32>,
    count: usize,
}

impl Opened {
    fn new(field: &Field, triangles: &[u32], rim: &[(u32, [f64; 2])]) -> Self {
        let topology = &field.topology;
        let n = triangles.len() * 3;
        let mut rim: Vec<u32> = rim.iter().map(|r| r.0).collect();
        rim.sort_unstable();
        let corner_of = |half: u32| -> Option<usize> {
            triangles
                .binary_search(&(half / 3))
                .ok()
                .map(|i| 3 * i + half as usize % 3)
        };
        let mut parent: Vec<u32> = (0..n as u32).collect();
        for (i, &t) in triangles.iter().enumerate() {
            for k in 0..3 {
                let h = 3 * t + k;
                if rim.binary_search(&h).is_ok() {
                    continue;
                }
                let Some(g) = topology.twin(h) else { continue };
                let (Some(a), Some(b)) = (corner_of(topology.next(g)), corner_of(g)) else {
                    continue;
                };
                let (mine, after) = (3 * i + k as usize, 3 * i + (k as usize + 1) % 3);
                join(&mut parent, mine, a);
                join(&mut parent, after, b);
            }
        }
        let mut name = vec![u32::MAX; n];
        let mut count = 0;
        let local = (0..n)
            .map(|c| {
                let root = find(&mut parent, c);
                if name[root] == u32::MAX {
                    name[root] = count;
                    count += 1;
                }
                name[root]
            })
            .collect();
        Self {
            local,
            count: count as usize,
        }
    }
}

fn find(parent: &mut [u32], mut i: usize) -> usize {
    while parent[i] as usize != i {
        parent[i] = parent[parent[i] as usize];
        i = parent[i] as usize;
    }
    i
}

fn join(parent: &mut [u32], a: usize, b: usize) {
    let (a, b) = (find(parent, a), find(parent, b));
    parent[a.max(b)] = a.min(b) as u32;
}

/// Where the half-edges of a patch's rim start on the polygon: each arc over its share of its side,
/// as its spacing asks.
fn rim_of(arcs: &[Arc], patch: &Patch, steps: &dyn Fn(usize) -> f64) -> Vec<(u32, [f64; 2])> {
    let mut rim = Vec::with_capacity(patch.rim.len());
    let corners = corner_uv(patch.sides.len());
    for (s, side) in patch.sides.iter().enumerate() {
        let total: f64 = side.iter().map(|used| steps(used.arc)).sum();
        let mut before = 0.0;
        for used in side {
            let arc = &arcs[used.arc];
            let count = steps(used.arc);
            let last = arc.vertices.len() - 1;
            for step in 0..last {
                let gone = if used.forward {
                    arc.progress[step]
                } else {
                    1.0 - arc.progress[last - step]
                };
                let share = (before + count * gone) / total;
                let at = on_side(corners[s], corners[(s + 1) % corners.len()], share);
                rim.push((patch.rim[rim.len()], at));
            }
            before += count;
        }
    }
    rim
}

/// The point at a share of the way along a side of the plane shape.
pub(crate) fn on_side(a: [f64; 2], b: [f64; 2], share: f64) -> [f64; 2] {
    [a[0] + share * (b[0] - a[0]), a[1] + share * (b[1] - a[1])]
}

/// Solves for the inner vertices, with cotangent weights kept positive.
///
/// Each weight is divided by the density along its edge: on a line, what is harmonic then rises
/// with the density, so quads lie as dense as they are wanted.
fn embed(
    positions: &[DVec3],
    field: &Field,
    density: &dyn Fn(u32, u32) -> f64,
    triangles: &[u32],
    opened: &Opened,
    fixed: &[Option<[f64; 2]>],
) -> Result<Vec<[f64; 2]>, SpdError> {
    let mut slot = vec![usize::MAX; opened.count];
    let mut free = 0;
    for v in 0..opened.count {
        if fixed[v].is_none() {
            slot[v] = free;
            free += 1;
        }
    }
    let mut place: Vec<[f64; 2]> = fixed.iter().map(|f| f.unwrap_or_default()).collect();
    if free == 0 {
        return Ok(place);
    }
    let mut entries = Vec::with_capacity(triangles.len() * 9);
    let mut right = [vec![0.0; free], vec![0.0; free]];
    let mut diagonal = vec![1e-12; free];
    for (i, &t) in triangles.iter().enumerate() {
        let corners = field.topology.triangles[t as usize].map(|v| positions[v as usize]);
        for k in 0..3 {
            let (a, b) = (corners[k], corners[(k + 1) % 3]);
            let c = corners[(k + 2) % 3];
            let cot = (a - c).dot(b - c) / (a - c).cross(b - c).length().max(1e-12);
            let vertices = field.topology.triangles[t as usize];
            let density = density(vertices[k], vertices[(k + 1) % 3]);
            let weight = cot.clamp(0.1, 5.0) / density;
            let (u, v) = (
                opened.local[3 * i + k] as usize,
                opened.local[3 * i + (k + 1) % 3] as usize,
            );
            for (x, y) in [(u, v), (v, u)] {
                if slot[x] == usize::MAX {
                    continue;
                }
                diagonal[slot[x]] += weight;
                if slot[y] == usize::MAX {
                    for axis in 0..2 {
                        right[axis][slot[x]] += weight * place[y][axis];
                    }
                } else if slot[x] > slot[y] {
                    entries.push((slot[x], slot[y], -weight));
                }
            }
        }
    }
    entries.extend(diagonal.iter().enumerate().map(|(i, &d)| (i, i, d)));
    let system = Spd::factor(free, &entries)?;
    let solved = [system.solve(&right[0]), system.solve(&right[1])];
    for v in 0..opened.count {
        if slot[v] != usize::MAX {
            place[v] = [solved[0][slot[v]], solved[1][slot[v]]];
        }
    }
    Ok(place)
}
