//! Which side of a cut the parts of a region lie on, told from the cut alone.
//!
//! The region's triangles are numbered along a depth-first tree over shared edges, so that what
//! hangs below a triangle has consecutive numbers. A cut crosses a triangle's way to the root once
//! for each tree edge there that is the cut's own; where the cut parts the region in two, triangles
//! with an odd number of crossings lie on one side, those with an even number on the other. So a cut
//! costs its own length, not a walk over the region, and thousands can be tried.

use super::marks::Marks;
use super::regions::{Region, RegionScale};
use crate::field::{Field, Singularity};

/// No triangle of the region, or no tree edge.
const NONE: u32 = u32::MAX;

/// The numbered triangles of one region.
#[derive(Default)]
pub(super) struct Sides {
    /// By triangle of the surface: its number.
    number: Vec<u32>,
    /// By number: the triangle.
    order: Vec<u32>,
    /// By number: the tree edge up.
    up: Vec<u32>,
    /// By number: one past the last number below it.
    past: Vec<u32>,
    /// By number: area of the triangles before it; and that of all.
    area: Vec<f64>,
    /// Singularities inside, with the numbers of their triangles; near pairs not taken out.
    pub singularities: Vec<(u32, Singularity)>,
}

/// The triangles on one side of a cut.
pub(super) struct Side<'a> {
    sides: &'a Sides,
    /// Numbers, rising, at which triangles begin or cease to be on it.
    turns: Vec<u32>,
}

impl Sides {
    /// For surfaces of this many triangles.
    pub fn new(triangles: usize) -> Self {
        Self {
            number: vec![NONE; triangles],
            ..Self::default()
        }
    }

    /// Numbers a region's triangles; those of the region before are forgotten.
    pub fn set(&mut self, field: &Field, marks: &Marks, region: &Region, scale: &RegionScale) {
        /// Marks a triangle of the region that has no number yet.
        const WAITING: u32 = u32::MAX - 1;
        let topology = &field.topology;
        for &t in &self.order {
            self.number[t as usize] = NONE;
        }
        self.order.clear();
        self.up.clear();
        self.past.clear();
        for &t in &region.triangles {
            self.number[t as usize] = WAITING;
        }
        let mut parent: Vec<u32> = Vec::with_capacity(region.triangles.len());
        let mut open: Vec<(u32, u32, u32)> = Vec::new();
        open.extend(region.triangles.first().map(|&t| (t, NONE, NONE)));
        while let Some((t, edge, above)) = open.pop() {
            if self.number[t as usize] != WAITING {
                continue;
            }
            let n = self.order.len() as u32;
            self.number[t as usize] = n;
            self.order.push(t);
            self.up.push(edge);
            parent.push(above);
            for h in 3 * t..3 * t + 3 {
                let edge = topology.edge(h);
                if let Some(across) = topology.twin(h)
                    && marks.curve_of_edge[edge as usize].is_none()
                    && self.number[across as usize / 3] == WAITING
                {
                    open.push((across / 3, edge, n));
                }
            }
        }
        self.past.extend(1..=self.order.len() as u32);
        for n in (1..self.order.len()).rev() {
            let above = parent[n] as usize;
            self.past[above] = self.past[above].max(self.past[n]);
        }
        self.area.clear();
        let mut sum = 0.0;
        self.area.push(sum);
        for &t in &self.order {
            sum += scale.areas.get(t as usize).copied().unwrap_or(0.0);
            self.area.push(sum);
        }
        self.singularities.clear();
        for s in &field.singularities {
            if let Some(n) = self.number_of(s.triangle) {
                self.singularities.push((n, *s));
            }
        }
    }

    /// Number of a triangle of the region.
    pub fn number_of(&self, triangle: u32) -> Option<u32> {
        let n = self.number[triangle as usize];
        (n < self.order.len() as u32).then_some(n)
    }

    /// Area of the region, square model units.
    pub fn whole_area(&self) -> f64 {
        self.area.last().copied().unwrap_or(0.0)
    }

    /// One of the two sides of a run of edges that parts the region; `None` where an edge isn't
    /// inside.
    pub fn odd_side(&self, field: &Field, edges: &[u32]) -> Option<Side<'_>> {
        let topology = &field.topology;
        let mut turns = Vec::new();
        for &e in edges {
            let h = topology.half_of_edge(e);
            for t in [h / 3, topology.twin(h)? / 3] {
                let n = self.number_of(t)? as usize;
                if self.up[n] == e {
                    turns.push(n as u32);
                    turns.push(self.past[n]);
                }
            }
        }
        turns.sort_unstable();
        Some(Side { sides: self, turns })
    }
}

impl Side<'_> {
    /// Whether the triangle with this number is on this side.
    pub fn has(&self, number: u32) -> bool {
        self.turns.partition_point(|&t| t <= number) % 2 == 1
    }

    /// Area of this side, square model units.
    pub fn area(&self) -> f64 {
        let area = &self.sides.area;
        self.turns
            .chunks_exact(2)
            .map(|t| area[t[1] as usize] - area[t[0] as usize])
            .sum()
    }
}
