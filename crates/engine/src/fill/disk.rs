//! Points of a patch by their place in its plane shape.

use mesh::DVec3;
use numeric::SpdError;

use crate::field::Field;
use crate::layout::{Flat, Layout};
use crate::model::WorkSurface;
use crate::quantise::Plan;

/// Quads that an arc without any counts as: it still has a length to lay, so that nothing folds.
const NEXT_TO_NONE: f64 = 0.15;

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
        let steps = |arc: usize| match plan.arcs[arc] {
            0 => NEXT_TO_NONE,
            count => f64::from(count),
        };
        let patch = &layout.patches[p];
        let flat = Flat::new(surface, field, &layout.spacing, &layout.arcs, patch, &steps)?;
        Ok(Self::with_buckets(flat.vertices, flat.uv))
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
