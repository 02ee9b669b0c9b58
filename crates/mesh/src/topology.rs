//! Half-edges of an oriented manifold triangle mesh in flat arrays.
//!
//! Half-edge `3 t + i` runs from corner `i` to corner `i + 1` of triangle `t`,
//! with the triangle on its left. Nothing here knows positions.

use thiserror::Error;

/// Why triangles can't be given half-edges.
#[derive(Clone, Debug, PartialEq, Eq, Error)]
pub enum TopologyError {
    /// More than two triangles share an edge, or two run it in the same direction.
    #[error("edge between vertices {a} and {b} is not manifold or not consistently oriented")]
    NonManifoldEdge {
        /// One end.
        a: u32,
        /// Other end.
        b: u32,
    },
    /// The triangles at a vertex form more than one fan.
    #[error("vertex {vertex} joins more than one fan of triangles")]
    NonManifoldVertex {
        /// The vertex.
        vertex: u32,
    },
    /// A triangle names a vertex that does not exist, or one vertex twice.
    #[error("triangle {triangle} is not a triangle of existing vertices")]
    BadTriangle {
        /// The triangle.
        triangle: u32,
    },
}

/// Connectivity of an oriented manifold triangle mesh.
#[derive(Clone, Debug)]
pub struct TriTopology {
    /// Triangles as given.
    pub triangles: Vec<[u32; 3]>,
    twin: Vec<u32>,
    edge: Vec<u32>,
    halves: Vec<u32>,
    out: Vec<u32>,
}

const NONE: u32 = u32::MAX;

impl TriTopology {
    /// Builds half-edges for `vertices` vertices. Cost n log n.
    ///
    /// # Errors
    /// If the triangles aren't an oriented manifold (with or without boundary).
    pub fn new(vertices: usize, triangles: &[[u32; 3]]) -> Result<Self, TopologyError> {
        let mut keyed: Vec<(u32, u32, u32)> = Vec::with_capacity(triangles.len() * 3);
        for (t, tri) in triangles.iter().enumerate() {
            let sound = tri.iter().all(|&v| (v as usize) < vertices);
            if !sound || tri[0] == tri[1] || tri[1] == tri[2] || tri[2] == tri[0] {
                return Err(TopologyError::BadTriangle { triangle: t as u32 });
            }
            for i in 0..3 {
                let (a, b) = (tri[i], tri[(i + 1) % 3]);
                keyed.push((a.min(b), a.max(b), (3 * t + i) as u32));
            }
        }
        keyed.sort_unstable();
        let mut this = Self {
            triangles: triangles.to_vec(),
            twin: vec![NONE; triangles.len() * 3],
            edge: vec![NONE; triangles.len() * 3],
            halves: Vec::new(),
            out: vec![NONE; vertices],
        };
        for run in keyed.chunk_by(|x, y| (x.0, x.1) == (y.0, y.1)) {
            let id = this.halves.len() as u32;
            this.halves.push(run[0].2);
            for &(_, _, h) in run {
                this.edge[h as usize] = id;
            }
            match *run {
                [_] => {}
                [(_, _, g), (_, _, h)] if this.from(g) != this.from(h) => {
                    this.twin[g as usize] = h;
                    this.twin[h as usize] = g;
                }
                _ => {
                    return Err(TopologyError::NonManifoldEdge {
                        a: run[0].0,
                        b: run[0].1,
                    });
                }
            }
        }
        this.find_first_halves()?;
        Ok(this)
    }

    fn find_first_halves(&mut self) -> Result<(), TopologyError> {
        let mut corners = vec![0u32; self.out.len()];
        for h in 0..self.twin.len() as u32 {
            let v = self.from(h) as usize;
            corners[v] += 1;
            if self.out[v] == NONE || self.twin[h as usize] == NONE {
                self.out[v] = h;
            }
        }
        for v in 0..self.out.len() as u32 {
            if self.out[v as usize] != NONE && self.fan(v).count() != corners[v as usize] as usize {
                return Err(TopologyError::NonManifoldVertex { vertex: v });
            }
        }
        Ok(())
    }

    /// Number of vertices, used or not.
    #[inline]
    pub fn vertex_count(&self) -> usize {
        self.out.len()
    }

    /// Number of edges.
    #[inline]
    pub fn edge_count(&self) -> usize {
        self.halves.len()
    }

    /// Vertex that a half-edge starts from.
    #[inline]
    pub fn from(&self, half: u32) -> u32 {
        self.triangles.as_flattened()[half as usize]
    }

    /// Vertex that a half-edge runs to.
    #[inline]
    pub fn to(&self, half: u32) -> u32 {
        self.from(self.next(half))
    }

    /// The half-edge on the other side, if there is a triangle.
    #[inline]
    pub fn twin(&self, half: u32) -> Option<u32> {
        let t = self.twin[half as usize];
        (t != NONE).then_some(t)
    }

    /// Following half-edge in the same triangle.
    #[inline]
    pub fn next(&self, half: u32) -> u32 {
        if half % 3 == 2 { half - 2 } else { half + 1 }
    }

    /// Preceding half-edge in the same triangle.
    #[inline]
    pub fn prev(&self, half: u32) -> u32 {
        if half.is_multiple_of(3) {
            half + 2
        } else {
            half - 1
        }
    }

    /// Edge of a half-edge.
    #[inline]
    pub fn edge(&self, half: u32) -> u32 {
        self.edge[half as usize]
    }

    /// One half-edge of an edge.
    #[inline]
    pub fn half_of_edge(&self, edge: u32) -> u32 {
        self.halves[edge as usize]
    }

    /// Both ends of an edge.
    #[inline]
    pub fn ends(&self, edge: u32) -> [u32; 2] {
        let h = self.halves[edge as usize];
        [self.from(h), self.to(h)]
    }

    /// Whether an edge has a triangle on one side only.
    #[inline]
    pub fn is_boundary_edge(&self, edge: u32) -> bool {
        self.twin[self.halves[edge as usize] as usize] == NONE
    }

    /// Whether a vertex lies on a boundary edge.
    #[inline]
    pub fn is_boundary_vertex(&self, vertex: u32) -> bool {
        let h = self.out[vertex as usize];
        h != NONE && self.twin[h as usize] == NONE
    }

    /// Outgoing half-edges with a triangle on their left, anticlockwise; on the
    /// boundary from the boundary edge on.
    #[inline]
    pub fn fan(&self, vertex: u32) -> Fan<'_> {
        let h = self.out[vertex as usize];
        Fan {
            topology: self,
            first: h,
            at: (h != NONE).then_some(h),
        }
    }

    /// Neighbours with their edges, anticlockwise; on the boundary all of them,
    /// the last one across the edge that has no triangle on its left.
    pub fn neighbours(&self, vertex: u32) -> Vec<(u32, u32)> {
        let mut all = Vec::new();
        self.visit_neighbours(vertex, |neighbour, edge| all.push((neighbour, edge)));
        all
    }

    /// The same without a list: `visit(neighbour, edge)`.
    pub fn visit_neighbours(&self, vertex: u32, mut visit: impl FnMut(u32, u32)) {
        let mut last = None;
        for h in self.fan(vertex) {
            visit(self.to(h), self.edge(h));
            last = Some(h);
        }
        if self.is_boundary_vertex(vertex)
            && let Some(last) = last
        {
            let inward = self.prev(last);
            visit(self.from(inward), self.edge(inward));
        }
    }

    /// Half-edge from one vertex to another, if it has a triangle on its left.
    #[inline]
    pub fn half_between(&self, from: u32, to: u32) -> Option<u32> {
        self.fan(from).find(|&h| self.to(h) == to)
    }

    /// Edge between two vertices.
    #[inline]
    pub fn edge_between(&self, a: u32, b: u32) -> Option<u32> {
        self.half_between(a, b)
            .or_else(|| self.half_between(b, a))
            .map(|h| self.edge(h))
    }

    /// V − E + F over the vertices in use.
    pub fn euler_characteristic(&self) -> i64 {
        let used = self.out.iter().filter(|&&h| h != NONE).count() as i64;
        used - self.edge_count() as i64 + self.triangles.len() as i64
    }
}

/// Iterator of [`TriTopology::fan`].
pub struct Fan<'a> {
    topology: &'a TriTopology,
    first: u32,
    at: Option<u32>,
}

impl Iterator for Fan<'_> {
    type Item = u32;

    #[inline]
    fn next(&mut self) -> Option<u32> {
        let now = self.at?;
        self.at = self
            .topology
            .twin(self.topology.prev(now))
            .filter(|&h| h != self.first);
        Some(now)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_fan_of_four_is_walked_anticlockwise() {
        let open = [[0, 1, 2], [0, 2, 3], [0, 3, 4]];
        let topology = TriTopology::new(5, &open).unwrap();
        let around: Vec<u32> = topology.neighbours(0).iter().map(|n| n.0).collect();
        assert_eq!(around, [1, 2, 3, 4]);
        assert!(topology.is_boundary_vertex(0));
        let closed = [[0, 1, 2], [0, 2, 3], [0, 3, 4], [0, 4, 1]];
        let topology = TriTopology::new(5, &closed).unwrap();
        assert_eq!(topology.neighbours(0).len(), 4);
        assert!(!topology.is_boundary_vertex(0));
        assert_eq!(topology.euler_characteristic(), 1);
    }

    #[test]
    fn faults_are_named() {
        let twice = [[0, 1, 2], [0, 1, 3]];
        assert_eq!(
            TriTopology::new(4, &twice).unwrap_err(),
            TopologyError::NonManifoldEdge { a: 0, b: 1 }
        );
        let bow = [[0, 1, 2], [0, 3, 4]];
        assert_eq!(
            TriTopology::new(5, &bow).unwrap_err(),
            TopologyError::NonManifoldVertex { vertex: 0 }
        );
        assert_eq!(
            TriTopology::new(3, &[[0, 1, 1]]).unwrap_err(),
            TopologyError::BadTriangle { triangle: 0 }
        );
    }
}
