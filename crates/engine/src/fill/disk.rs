//! A patch laid flat: each of its triangles in the plane shape of its sides.
//!
//! Tutte's embedding (1963; Floater 2003 for weights): the rim on a convex polygon,
//! every inner vertex a positive mean of its neighbours, hence no triangle folds.

use mesh::DVec3;
use numeric::{Spd, SpdError};

use super::blocks::corner_uv;
use crate::field::Field;
use crate::layout::{Layout, Spacing};
use crate::model::WorkSurface;
use crate::quantise::Plan;

/// A flattened patch.
pub(super) struct Disk {
    /// Work-surface corners of each triangle.
    vertices: Vec<[u32; 3]>,
    /// Plane coordinates of the triangles' corners.
    uv: Vec<[[f64; 2]; 3]>,
    buckets: Vec<Vec<u32>>,
    low: [f64; 2],
    cell: [f64; 2],
    side: usize,
}

impl Disk {
    /// Lays patch `p` flat, its quantised arc points at equal steps of each side.
    pub fn flatten(
        surface: &WorkSurface,
        field: &Field,
        layout: &Layout,
        plan: &Plan,
        p: usize,
    ) -> Result<Self, SpdError> {
        let patch = &layout.patches[p];
        let opened = Opened::new(field, patch);
        let mut fixed: Vec<Option<[f64; 2]>> = vec![None; opened.count];
        set_rim(layout, plan, p, &opened, &mut fixed);
        let place = embed(surface, field, &layout.spacing, patch, &opened, &fixed)?;
        let vertices: Vec<[u32; 3]> = patch
            .triangles
            .iter()
            .map(|&t| field.topology.triangles[t as usize])
            .collect();
        let uv: Vec<[[f64; 2]; 3]> = (0..patch.triangles.len())
            .map(|i| [0, 1, 2].map(|k| place[opened.local[3 * i + k] as usize]))
            .collect();
        Ok(Self::with_buckets(vertices, uv))
    }

    fn with_buckets(vertices: Vec<[u32; 3]>, uv: Vec<[[f64; 2]; 3]>) -> Self {
        let mut low = [f64::INFINITY; 2];
        let mut high = [f64::NEG_INFINITY; 2];
        for corner in uv.iter().flatten() {
            for a in 0..2 {
                low[a] = low[a].min(corner[a]);
                high[a] = high[a].max(corner[a]);
            }
        }
        let side = ((uv.len() as f64).sqrt() as usize).clamp(1, 256);
        let cell = [0, 1].map(|a: usize| ((high[a] - low[a]) / side as f64).max(1e-12));
        let mut this = Self {
            vertices,
            uv,
            buckets: vec![Vec::new(); side * side],
            low,
            cell,
            side,
        };
        for t in 0..this.uv.len() {
            let tri = this.uv[t];
            let from = this.cell_of(
                [0, 1].map(|a: usize| tri.iter().map(|c| c[a]).fold(f64::INFINITY, f64::min)),
            );
            let to = this.cell_of(
                [0, 1].map(|a: usize| tri.iter().map(|c| c[a]).fold(f64::NEG_INFINITY, f64::max)),
            );
            for y in from[1]..=to[1] {
                for x in from[0]..=to[0] {
                    this.buckets[y * side + x].push(t as u32);
                }
            }
        }
        this
    }

    fn cell_of(&self, uv: [f64; 2]) -> [usize; 2] {
        [0, 1].map(|a: usize| {
            (((uv[a] - self.low[a]) / self.cell[a]).max(0.0) as usize).min(self.side - 1)
        })
    }

    /// The point of the work surface at plane coordinates; outside every triangle, the
    /// point of the triangle that it is least outside of.
    pub fn lift(&self, uv: [f64; 2], positions: &[DVec3]) -> DVec3 {
        let [x, y] = self.cell_of(uv);
        let mut best: Option<(f64, u32, [f64; 3])> = None;
        for reach in 0..self.side {
            let (x0, x1) = (x.saturating_sub(reach), (x + reach).min(self.side - 1));
            let (y0, y1) = (y.saturating_sub(reach), (y + reach).min(self.side - 1));
            for cy in y0..=y1 {
                for cx in x0..=x1 {
                    let rim = cx == x0 || cx == x1 || cy == y0 || cy == y1 || reach == 0;
                    if !rim {
                        continue;
                    }
                    for &t in &self.buckets[cy * self.side + cx] {
                        let b = barycentric(self.uv[t as usize], uv);
                        let outside = -b.iter().copied().fold(f64::INFINITY, f64::min);
                        if best.is_none_or(|o| outside < o.0) {
                            best = Some((outside, t, b));
                        }
                    }
                }
            }
            if best.is_some_and(|b| b.0 < 1e-9) || (reach > 1 && best.is_some()) {
                break;
            }
        }
        let Some((_, t, b)) = best else {
            return DVec3::ZERO;
        };
        let b = b.map(|w| w.clamp(0.0, 1.0));
        let sum: f64 = b.iter().sum();
        let corners = self.vertices[t as usize];
        (0..3)
            .map(|i| positions[corners[i] as usize] * (b[i] / sum.max(1e-300)))
            .sum()
    }
}

fn barycentric(tri: [[f64; 2]; 3], p: [f64; 2]) -> [f64; 3] {
    let cross = |a: [f64; 2], b: [f64; 2], c: [f64; 2]| {
        (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0])
    };
    let area = cross(tri[0], tri[1], tri[2]);
    if area.abs() < 1e-300 {
        return [-1.0, -1.0, -1.0];
    }
    let a = cross(p, tri[1], tri[2]) / area;
    let b = cross(tri[0], p, tri[2]) / area;
    [a, b, 1.0 - a - b]
}

/// The patch's triangles cut open along its rim, so that a vertex met twice by the rim
/// is two.
struct Opened {
    /// Local vertex of corner `k` of the patch's triangle `i`, at `3 i + k`.
    local: Vec<u32>,
    count: usize,
}

impl Opened {
    fn new(field: &Field, patch: &crate::layout::Patch) -> Self {
        let topology = &field.topology;
        let n = patch.triangles.len() * 3;
        let mut rim = patch.rim.clone();
        rim.sort_unstable();
        let corner_of = |half: u32| -> Option<usize> {
            patch
                .triangles
                .binary_search(&(half / 3))
                .ok()
                .map(|i| 3 * i + half as usize % 3)
        };
        let mut parent: Vec<u32> = (0..n as u32).collect();
        for (i, &t) in patch.triangles.iter().enumerate() {
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

/// Puts the rim's vertices on the polygon: each arc over its whole number of steps, as its spacing
/// asks.
fn set_rim(
    layout: &Layout,
    plan: &Plan,
    p: usize,
    opened: &Opened,
    fixed: &mut [Option<[f64; 2]>],
) {
    let patch = &layout.patches[p];
    let corners = corner_uv(patch.sides.len());
    let mut at = 0;
    for (s, side) in patch.sides.iter().enumerate() {
        // An arc without quads still has a length to lay: a little, so that nothing folds.
        let weight = |arc: usize| match plan.arcs[arc] {
            0 => 0.15,
            count => f64::from(count),
        };
        let total: f64 = side.iter().map(|used| weight(used.arc)).sum();
        let mut before = 0.0;
        for used in side {
            let arc = &layout.arcs[used.arc];
            let count = weight(used.arc);
            let last = arc.vertices.len() - 1;
            for step in 0..last {
                let half = patch.rim[at];
                if let Ok(i) = patch.triangles.binary_search(&(half / 3)) {
                    let local = opened.local[3 * i + half as usize % 3] as usize;
                    let gone = if used.forward {
                        arc.progress[step]
                    } else {
                        1.0 - arc.progress[last - step]
                    };
                    let share = (before + count * gone) / total;
                    let (a, b) = (corners[s], corners[(s + 1) % corners.len()]);
                    fixed[local] =
                        Some([a[0] + share * (b[0] - a[0]), a[1] + share * (b[1] - a[1])]);
                }
                at += 1;
            }
            before += count;
        }
    }
}

/// Solves for the inner vertices, with cotangent weights kept positive.
///
/// Each weight is divided by the density along its edge: on a line, what is harmonic then rises
/// with the density, so quads lie as dense as they are wanted.
fn embed(
    surface: &WorkSurface,
    field: &Field,
    spacing: &Spacing,
    patch: &crate::layout::Patch,
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
    let mut entries = Vec::with_capacity(patch.triangles.len() * 9);
    let mut right = [vec![0.0; free], vec![0.0; free]];
    let mut diagonal = vec![1e-12; free];
    for (i, &t) in patch.triangles.iter().enumerate() {
        let corners = field.topology.triangles[t as usize].map(|v| surface.positions[v as usize]);
        for k in 0..3 {
            let (a, b) = (corners[k], corners[(k + 1) % 3]);
            let c = corners[(k + 2) % 3];
            let cot = (a - c).dot(b - c) / (a - c).cross(b - c).length().max(1e-12);
            let density = spacing.along_edge(
                &surface.positions,
                field.topology.triangles[t as usize][k],
                field.topology.triangles[t as usize][(k + 1) % 3],
            );
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
