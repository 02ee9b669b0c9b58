//! Making the half-edges, and compacting them.

use super::{EditMesh, NONE};
use mesh::{DVec3, TriMesh};

/// The edge between these vertices has more than two triangles or two of one direction.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct NotManifold {
    pub vertices: [u32; 2],
}

impl EditMesh {
    /// Half-edges of a triangle mesh. Where several fans meet in one vertex, all but the
    /// first get a copy of it. Vertices that no triangle uses stay dead.
    ///
    /// Cost: linear, by buckets of half-edges at their start.
    ///
    /// # Errors
    /// [`NotManifold`]; triangles with a repeated corner count as such.
    pub fn build(mesh: &TriMesh) -> Result<Self, NotManifold> {
        let positions: Vec<DVec3> = mesh.positions.iter().map(|p| p.as_dvec3()).collect();
        Self::from_parts(positions, mesh.triangles.clone())
    }

    /// As [`EditMesh::build`].
    pub fn from_parts(pos: Vec<DVec3>, tri: Vec<[u32; 3]>) -> Result<Self, NotManifold> {
        let vertices = pos.len();
        let mut edit = Self {
            twin: vec![NONE; tri.len() * 3],
            seg: vec![NONE; tri.len() * 3],
            out: vec![NONE; vertices],
            on_rail: vec![false; vertices],
            pinned: vec![false; vertices],
            pos,
            tri,
            segments: Vec::new(),
        };
        edit.find_twins(vertices)?;
        edit.find_fans();
        Ok(edit)
    }

    fn find_twins(&mut self, vertices: usize) -> Result<(), NotManifold> {
        let half_edges = self.tri.len() as u32 * 3;
        let mut first = vec![0u32; vertices + 1];
        for t in &self.tri {
            if t[0] == t[1] || t[1] == t[2] || t[2] == t[0] {
                return Err(NotManifold {
                    vertices: [t[0], t[1]],
                });
            }
            for &v in t {
                first[v as usize + 1] += 1;
            }
        }
        for v in 0..vertices {
            first[v + 1] += first[v];
        }
        // Leaving half-edges by start, each with its end beside it.
        let mut fill = first.clone();
        let mut leaving = vec![(0u32, 0u32); half_edges as usize];
        for h in 0..half_edges {
            let slot = &mut fill[self.from(h) as usize];
            leaving[*slot as usize] = (self.to(h), h);
            *slot += 1;
        }
        for h in 0..half_edges {
            let (a, b) = (self.from(h), self.to(h));
            let of = |v: u32| first[v as usize] as usize..first[v as usize + 1] as usize;
            if leaving[of(a)]
                .iter()
                .any(|&(to, other)| to == b && other != h)
            {
                return Err(NotManifold { vertices: [a, b] });
            }
            if let Some(&(_, twin)) = leaving[of(b)].iter().find(|&&(to, _)| to == a) {
                self.twin[h as usize] = twin;
            }
        }
        Ok(())
    }

    /// Sets `out`, with a copy of the vertex for each further fan.
    fn find_fans(&mut self) {
        let mut seen = vec![false; self.twin.len()];
        // Boundary fans first, from their boundary half-edge.
        for pass in [true, false] {
            for h in 0..self.twin.len() as u32 {
                if seen[h as usize] || (pass && self.twin[h as usize] != NONE) {
                    continue;
                }
                let mut vertex = self.from(h);
                let fan: Vec<u32> = Outgoing {
                    twin: &self.twin,
                    first: h,
                    at: h,
                }
                .collect();
                if self.out[vertex as usize] != NONE {
                    self.pos.push(self.pos[vertex as usize]);
                    self.out.push(NONE);
                    self.on_rail.push(false);
                    self.pinned.push(false);
                    vertex = self.pos.len() as u32 - 1;
                }
                self.out[vertex as usize] = h;
                for out in fan {
                    seen[out as usize] = true;
                    self.tri[(out / 3) as usize][(out % 3) as usize] = vertex;
                }
            }
        }
    }

    /// Drops dead triangles, vertices and segments; the order of the rest stays.
    pub fn compact(&mut self) {
        let mut vertex_of = vec![NONE; self.pos.len()];
        let mut kept = 0u32;
        for v in 0..self.pos.len() {
            if self.out[v] != NONE {
                vertex_of[v] = kept;
                self.pos[kept as usize] = self.pos[v];
                self.on_rail[kept as usize] = self.on_rail[v];
                self.pinned[kept as usize] = self.pinned[v];
                self.out[kept as usize] = self.out[v];
                kept += 1;
            }
        }
        self.pos.truncate(kept as usize);
        self.on_rail.truncate(kept as usize);
        self.pinned.truncate(kept as usize);
        self.out.truncate(kept as usize);
        let mut half_edge_of = vec![NONE; self.twin.len()];
        let mut live = 0usize;
        for t in 0..self.tri.len() {
            if self.tri[t][0] != NONE {
                for i in 0..3 {
                    half_edge_of[3 * t + i] = (3 * live + i) as u32;
                }
                live += 1;
            }
        }
        let mapped = |h: u32| {
            if h == NONE {
                NONE
            } else {
                half_edge_of[h as usize]
            }
        };
        let mut segment_of = vec![NONE; self.segments.len()];
        let mut segments = Vec::new();
        for (s, segment) in self.segments.iter().enumerate() {
            if segment.rail != NONE {
                segment_of[s] = segments.len() as u32;
                let ends = segment.ends.map(|v| vertex_of[v as usize]);
                segments.push(super::Segment { ends, ..*segment });
            }
        }
        self.segments = segments;
        let mut at = 0;
        for t in 0..self.tri.len() {
            if self.tri[t][0] == NONE {
                continue;
            }
            self.tri[at] = self.tri[t].map(|v| vertex_of[v as usize]);
            for i in 0..3 {
                self.twin[3 * at + i] = mapped(self.twin[3 * t + i]);
                let seg = self.seg[3 * t + i];
                self.seg[3 * at + i] = if seg == NONE {
                    NONE
                } else {
                    segment_of[seg as usize]
                };
            }
            at += 1;
        }
        self.tri.truncate(at);
        self.twin.truncate(3 * at);
        self.seg.truncate(3 * at);
        for out in &mut self.out {
            *out = mapped(*out);
        }
    }
}

/// Turning over `twin` alone, while `out` isn't there yet.
struct Outgoing<'a> {
    twin: &'a [u32],
    first: u32,
    at: u32,
}

impl Iterator for Outgoing<'_> {
    type Item = u32;

    fn next(&mut self) -> Option<u32> {
        if self.at == NONE {
            return None;
        }
        let h = self.at;
        let following = self.twin[EditMesh::prev(h) as usize];
        self.at = if following == self.first {
            NONE
        } else {
            following
        };
        Some(h)
    }
}
