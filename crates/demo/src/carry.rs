//! Carries the displacements of a coarse half wall over to a fine wall of both sides.
//!
//! Each coarse vertex holds a first-order expansion of the displacement; the three of the
//! nearest triangle are blended with squared barycentric weights, so that the result has no
//! visible facets; a few rounds of smoothing on the fine wall take the rest.

use mesh::DVec3;
use rayon::prelude::*;

use crate::wall::{Neighbours, Wall};

/// Displacement and its derivatives along two tangents.
#[derive(Clone, Copy, Debug, Default)]
struct Expansion {
    value: DVec3,
    /// Rows of the derivative: change of displacement = Σ along[i] · (offset · tangent[i]).
    tangent: [DVec3; 2],
    along: [DVec3; 2],
}

/// A coarse wall's displacements, ready to be asked anywhere near it.
pub(crate) struct Carrier<'a> {
    wall: &'a Wall,
    expansions: Vec<Expansion>,
    grid: TriangleGrid,
}

impl<'a> Carrier<'a> {
    /// From a wall at rest (x ≥ 0) and the displaced places of its vertices; triangles no
    /// longer than `reach`.
    pub(crate) fn new(wall: &'a Wall, displaced: &[DVec3], reach: f64) -> Self {
        let normals = wall.normals();
        let both_ways = wall.halves().flat_map(|(a, b)| [(a, b), (b, a)]);
        let neighbours = Neighbours::new(wall.positions.len(), both_ways);
        let expansions = (0..wall.positions.len())
            .into_par_iter()
            .map(|v| expand(&wall.positions, displaced, normals[v], v, neighbours.of(v)))
            .collect();
        Self {
            wall,
            expansions,
            grid: TriangleGrid::new(wall, reach),
        }
    }

    /// Displacement of a point on the wall at rest, either side.
    pub(crate) fn displacement(&self, p: DVec3) -> DVec3 {
        let flip = DVec3::new(if p.x < 0.0 { -1.0 } else { 1.0 }, 1.0, 1.0);
        let left = p * flip;
        let mut best = (f64::MAX, 0, [0.0; 3]);
        for &t in self.grid.near(left) {
            let corners = self.wall.triangles[t as usize].map(|v| self.wall.positions[v as usize]);
            let (at, weights) = closest_on_triangle(left, corners);
            let d = at.distance_squared(left);
            if d < best.0 {
                best = (d, t as usize, weights);
            }
        }
        if best.0 == f64::MAX {
            return DVec3::ZERO;
        }
        let (mut sum, mut total) = (DVec3::ZERO, 0.0);
        for (v, weight) in self.wall.triangles[best.1].into_iter().zip(best.2) {
            let e = &self.expansions[v as usize];
            let offset = left - self.wall.positions[v as usize];
            let value = e.value
                + e.along[0] * offset.dot(e.tangent[0])
                + e.along[1] * offset.dot(e.tangent[1]);
            sum += weight * weight * value;
            total += weight * weight;
        }
        flip * sum / total
    }

    /// Displaces a fine wall at rest.
    pub(crate) fn displace(&self, wall: &mut Wall, smoothing: usize) {
        let mut moves: Vec<DVec3> = wall
            .positions
            .par_iter()
            .map(|p| self.displacement(*p))
            .collect();
        let neighbours = Neighbours::new(wall.positions.len(), wall.halves());
        for _ in 0..smoothing {
            moves = (0..moves.len())
                .into_par_iter()
                .map(|v| {
                    let around = neighbours.of(v);
                    if around.is_empty() || wall.rail[v] != crate::wall::FREE {
                        return moves[v];
                    }
                    let mean = around.iter().map(|n| moves[*n as usize]).sum::<DVec3>()
                        / around.len() as f64;
                    0.5 * (moves[v] + mean)
                })
                .collect();
        }
        wall.positions
            .par_iter_mut()
            .zip(moves)
            .for_each(|(p, m)| *p += m);
    }
}

/// Least squares over the neighbours in the tangent plane.
fn expand(
    rest: &[DVec3],
    displaced: &[DVec3],
    normal: DVec3,
    v: usize,
    around: &[u32],
) -> Expansion {
    let value = displaced[v] - rest[v];
    let (a, b) = normal.any_orthonormal_pair();
    let (mut m, mut right) = ([0.0; 3], [DVec3::ZERO; 2]);
    for &n in around {
        let n = n as usize;
        let offset = rest[n] - rest[v];
        let (x, y) = (offset.dot(a), offset.dot(b));
        let change = displaced[n] - rest[n] - value;
        m[0] += x * x;
        m[1] += x * y;
        m[2] += y * y;
        right[0] += change * x;
        right[1] += change * y;
    }
    let det = m[0] * m[2] - m[1] * m[1];
    if det <= 1e-9 * (m[0] + m[2]).powi(2) {
        return Expansion {
            value,
            ..Expansion::default()
        };
    }
    let along = [
        (right[0] * m[2] - right[1] * m[1]) / det,
        (right[1] * m[0] - right[0] * m[1]) / det,
    ];
    Expansion {
        value,
        tangent: [a, b],
        along,
    }
}

/// Triangles by cells of a uniform grid, each listed in all cells within reach of it.
pub(crate) struct TriangleGrid {
    low: DVec3,
    cell: f64,
    size: [usize; 3],
    cells: Neighbours,
}

impl TriangleGrid {
    /// Cells of edge `reach`; each triangle is listed wherever something within half of that may be near it.
    pub(crate) fn new(wall: &Wall, reach: f64) -> Self {
        let low = wall.positions.iter().fold(DVec3::MAX, |a, p| a.min(*p)) - 2.0 * reach;
        let high = wall.positions.iter().fold(DVec3::MIN, |a, p| a.max(*p)) + 2.0 * reach;
        let cell = reach;
        let size = ((high - low) / cell)
            .to_array()
            .map(|n| n.max(0.0) as usize + 1);
        let mut pairs = Vec::new();
        for (t, corners) in wall.triangles.iter().enumerate() {
            let corners = corners.map(|v| wall.positions[v as usize]);
            let from = corners.iter().fold(DVec3::MAX, |a, p| a.min(*p)) - 0.5 * reach;
            let to = corners.iter().fold(DVec3::MIN, |a, p| a.max(*p)) + 0.5 * reach;
            let (from, to) = (
                ((from - low) / cell).to_array(),
                ((to - low) / cell).to_array(),
            );
            for k in from[2] as usize..=to[2] as usize {
                for j in from[1] as usize..=to[1] as usize {
                    for i in from[0] as usize..=to[0] as usize {
                        pairs.push((((k * size[1] + j) * size[0] + i) as u32, t as u32));
                    }
                }
            }
        }
        let cells = Neighbours::new(size[0] * size[1] * size[2], pairs.iter().copied());
        Self {
            low,
            cell,
            size,
            cells,
        }
    }

    /// Triangles near a point.
    pub(crate) fn near(&self, p: DVec3) -> &[u32] {
        let at = ((p - self.low) / self.cell).to_array();
        if (0..3).any(|a| at[a] < 0.0 || at[a] as usize >= self.size[a]) {
            return &[];
        }
        self.cells
            .of((at[2] as usize * self.size[1] + at[1] as usize) * self.size[0] + at[0] as usize)
    }
}

/// The nearest point of a triangle and its barycentric coordinates
/// (Ericson, "Real-time collision detection", 2005, section 5.1.5).
pub(crate) fn closest_on_triangle(p: DVec3, [a, b, c]: [DVec3; 3]) -> (DVec3, [f64; 3]) {
    let (ab, ac, ap) = (b - a, c - a, p - a);
    let (d1, d2) = (ab.dot(ap), ac.dot(ap));
    let bp = p - b;
    let (d3, d4) = (ab.dot(bp), ac.dot(bp));
    let cp = p - c;
    let (d5, d6) = (ab.dot(cp), ac.dot(cp));
    let (va, vb, vc) = (d3 * d6 - d5 * d4, d5 * d2 - d1 * d6, d1 * d4 - d3 * d2);
    let weights = if d1 <= 0.0 && d2 <= 0.0 {
        [1.0, 0.0, 0.0]
    } else if d3 >= 0.0 && d4 <= d3 {
        [0.0, 1.0, 0.0]
    } else if d6 >= 0.0 && d5 <= d6 {
        [0.0, 0.0, 1.0]
    } else if vc <= 0.0 && d1 >= 0.0 && d3 <= 0.0 {
        let t = d1 / (d1 - d3);
        [1.0 - t, t, 0.0]
    } else if vb <= 0.0 && d2 >= 0.0 && d6 <= 0.0 {
        let t = d2 / (d2 - d6);
        [1.0 - t, 0.0, t]
    } else if va <= 0.0 && d4 >= d3 && d5 >= d6 {
        let t = (d4 - d3) / ((d4 - d3) + (d5 - d6));
        [0.0, 1.0 - t, t]
    } else {
        let sum = va + vb + vc;
        [va / sum, vb / sum, vc / sum]
    };
    (a * weights[0] + b * weights[1] + c * weights[2], weights)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::wall::FREE;

    #[test]
    fn an_affine_displacement_is_carried_exactly() {
        let positions: Vec<DVec3> = (0..25)
            .map(|i| DVec3::new(f64::from(i % 5), f64::from(i / 5), 0.0))
            .collect();
        let triangles = (0..4u32)
            .flat_map(|j| {
                (0..4u32).flat_map(move |i| {
                    let a = 5 * j + i;
                    [[a, a + 1, a + 6], [a, a + 6, a + 5]]
                })
            })
            .collect();
        let wall = Wall {
            rail: vec![FREE; 25],
            positions,
            triangles,
        };
        let affine = |p: DVec3| DVec3::new(0.1 * p.y, 0.3 * p.x - 0.2 * p.y, 1.0 + 0.5 * p.x);
        let displaced: Vec<DVec3> = wall.positions.iter().map(|p| *p + affine(*p)).collect();
        let carrier = Carrier::new(&wall, &displaced, 2.0);
        for p in [DVec3::new(1.3, 2.2, 0.0), DVec3::new(3.9, 0.1, 0.0)] {
            assert!((carrier.displacement(p) - affine(p)).length() < 1e-12);
            let mirrored = carrier.displacement(p * DVec3::new(-1.0, 1.0, 1.0));
            assert!((mirrored - affine(p) * DVec3::new(-1.0, 1.0, 1.0)).length() < 1e-12);
        }
    }
}
