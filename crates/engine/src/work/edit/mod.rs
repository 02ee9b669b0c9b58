//! A triangle mesh that can be edited: split, collapse, flip.
//!
//! Half-edge `3 * t + i` runs from corner `i` of triangle `t` to corner `i + 1`,
//! with the triangle on its left; there are no other records than flat arrays:
//!
//! ```text
//!            c
//!          /   \        next(h): b → c      twin(h): b → a, in the triangle below
//!        /   t   \      prev(h): c → a
//!      a ── h ──▶ b
//! ```
//!
//! Invariants, kept by every operation and checked by [`EditMesh::check`]:
//! - twins point at each other and run opposite ways; a boundary half-edge has none;
//! - two vertices share at most one edge, and the triangles at a vertex form one fan;
//! - `out[v]` leaves `v`, and for a boundary vertex it is the boundary half-edge, so that
//!   turning anticlockwise from it meets every triangle at `v`;
//! - both half-edges of an edge carry the same segment, or none;
//! - every boundary edge carries a segment once [`EditMesh::tag_edge`] was called for all.
//!
//! Index `NONE` stands for "none" inside this module only: a million half-edges are held.

mod build;
#[cfg(test)]
mod check;
mod collapse;
mod flip;
mod segments;
mod split;

#[cfg(test)]
mod tests;

use mesh::DVec3;

pub(crate) use collapse::Collapse;
pub(crate) use segments::Segment;

/// "No half-edge", "no segment"; see the module's page.
pub(crate) const NONE: u32 = u32::MAX;

/// The mesh and the curve segments that some of its edges lie on.
#[derive(Clone, Debug, Default)]
pub(crate) struct EditMesh {
    /// Vertex positions, model units. Stale for dead vertices.
    pub pos: Vec<DVec3>,
    /// Corners of each triangle; the first is `NONE` in a dead one.
    pub tri: Vec<[u32; 3]>,
    /// Opposite half-edge.
    pub twin: Vec<u32>,
    /// One half-edge out of each vertex, `NONE` for a dead one.
    pub out: Vec<u32>,
    /// Segment of each half-edge.
    pub seg: Vec<u32>,
    /// Whether a vertex is on an edge with a segment.
    pub on_rail: Vec<bool>,
    /// Whether a vertex on a rail must stay where it is on it.
    pub pinned: Vec<bool>,
    /// Segments in use and free ones.
    pub segments: Vec<Segment>,
}

impl EditMesh {
    /// The half-edge after `h` in its triangle.
    #[inline]
    pub fn next(h: u32) -> u32 {
        if h % 3 == 2 { h - 2 } else { h + 1 }
    }

    /// The half-edge before `h` in its triangle.
    #[inline]
    pub fn prev(h: u32) -> u32 {
        if h.is_multiple_of(3) { h + 2 } else { h - 1 }
    }

    /// Where a half-edge starts.
    #[inline]
    pub fn from(&self, h: u32) -> u32 {
        self.tri[(h / 3) as usize][(h % 3) as usize]
    }

    /// Where a half-edge ends.
    #[inline]
    pub fn to(&self, h: u32) -> u32 {
        self.from(Self::next(h))
    }

    /// The corner that a half-edge's triangle has beside the half-edge.
    #[inline]
    pub fn apex(&self, h: u32) -> u32 {
        self.from(Self::prev(h))
    }

    /// The half-edge on the other side of the edge.
    #[inline]
    pub fn twin_of(&self, h: u32) -> Option<u32> {
        let twin = self.twin[h as usize];
        (twin != NONE).then_some(twin)
    }

    /// Segment of a half-edge's edge.
    #[inline]
    pub fn segment_of(&self, h: u32) -> Option<u32> {
        let seg = self.seg[h as usize];
        (seg != NONE).then_some(seg)
    }

    /// Whether a triangle is alive.
    #[inline]
    pub fn alive(&self, triangle: usize) -> bool {
        self.tri[triangle][0] != NONE
    }

    /// Whether a vertex is alive.
    #[inline]
    pub fn has_vertex(&self, vertex: u32) -> bool {
        self.out[vertex as usize] != NONE
    }

    /// Whether a vertex is on a boundary edge.
    #[inline]
    pub fn on_boundary(&self, vertex: u32) -> bool {
        let out = self.out[vertex as usize];
        out != NONE && self.twin[out as usize] == NONE
    }

    /// Half-edges out of a vertex, anticlockwise.
    pub fn outgoing(&self, vertex: u32) -> Outgoing<'_> {
        let first = self.out[vertex as usize];
        Outgoing {
            mesh: self,
            first,
            at: first,
        }
    }

    /// Neighbours of a vertex, anticlockwise.
    pub fn neighbours(&self, vertex: u32) -> impl Iterator<Item = u32> + '_ {
        self.outgoing(vertex).flat_map(move |h| {
            let prev = Self::prev(h);
            let last = (self.twin[prev as usize] == NONE).then(|| self.from(prev));
            std::iter::once(self.to(h)).chain(last)
        })
    }

    /// Number of edges at a vertex.
    pub fn valence(&self, vertex: u32) -> usize {
        self.outgoing(vertex).count() + usize::from(self.on_boundary(vertex))
    }

    /// The half-edge from `a` to `b`, or, on a boundary, from `b` to `a`.
    pub fn edge_between(&self, a: u32, b: u32) -> Option<u32> {
        self.outgoing(a).find_map(|h| {
            let prev = Self::prev(h);
            if self.to(h) == b {
                Some(h)
            } else if self.twin[prev as usize] == NONE && self.from(prev) == b {
                Some(prev)
            } else {
                None
            }
        })
    }

    /// One half-edge for each edge: the lower of the two.
    pub fn edges(&self) -> impl Iterator<Item = u32> + '_ {
        (0..self.twin.len() as u32).filter(|&h| self.is_edge(h))
    }

    /// Whether `h` is alive and the lower half-edge of its edge.
    #[inline]
    pub fn is_edge(&self, h: u32) -> bool {
        self.alive((h / 3) as usize) && h < self.twin[h as usize]
    }

    /// Length of a half-edge, model units.
    #[inline]
    pub fn length(&self, h: u32) -> f64 {
        self.pos[self.from(h) as usize].distance(self.pos[self.to(h) as usize])
    }

    /// Normal of a triangle; its length is twice the area.
    #[inline]
    pub fn area_normal(&self, triangle: usize) -> DVec3 {
        let [a, b, c] = self.tri[triangle].map(|v| self.pos[v as usize]);
        (b - a).cross(c - a)
    }

    /// Middle of a triangle's corners.
    pub fn centre(&self, triangle: usize) -> DVec3 {
        let [a, b, c] = self.tri[triangle].map(|v| self.pos[v as usize]);
        (a + b + c) / 3.0
    }

    /// Unit normal at a vertex, weighted by area; zero if all its triangles are flat.
    pub fn vertex_normal(&self, vertex: u32) -> DVec3 {
        self.outgoing(vertex)
            .map(|h| self.area_normal((h / 3) as usize))
            .sum::<DVec3>()
            .normalize_or_zero()
    }

    /// Turns `out[vertex]`, starting from some half-edge out of it, to the boundary if there is one.
    fn settle_out(&mut self, vertex: u32, some_out: u32) {
        let mut h = some_out;
        loop {
            let twin = self.twin[h as usize];
            if twin == NONE {
                break;
            }
            h = Self::next(twin);
            if h == some_out {
                break;
            }
        }
        self.out[vertex as usize] = h;
    }
}

/// See [`EditMesh::outgoing`].
pub(crate) struct Outgoing<'a> {
    mesh: &'a EditMesh,
    first: u32,
    at: u32,
}

impl Iterator for Outgoing<'_> {
    type Item = u32;

    #[inline]
    fn next(&mut self) -> Option<u32> {
        if self.at == NONE {
            return None;
        }
        let h = self.at;
        let following = self.mesh.twin[EditMesh::prev(h) as usize];
        self.at = if following == self.first {
            NONE
        } else {
            following
        };
        Some(h)
    }
}
