//! The surface made ready to be measured.

use mesh::{DVec3, QuadMesh, QuadTopology};

use super::CheckError;
use super::space::{Segments, Triangles, mean};

/// A quad mesh with its edges and triangles as searchable shapes.
pub(super) struct Surface<'a> {
    pub mesh: &'a QuadMesh,
    pub topology: QuadTopology,
    /// Edges as segments, in the topology's order.
    pub edges: Segments,
    /// Their lengths, model units.
    pub lengths: Vec<f64>,
    /// Mean edge length, model units; above 0.
    pub mean_edge: f64,
    /// Vertices of two triangles a quad: those of quad q are 2 q and 2 q + 1.
    pub split: Vec<[u32; 3]>,
    /// The same as searchable shapes.
    pub triangles: Triangles,
}

impl<'a> Surface<'a> {
    pub fn new(mesh: &'a QuadMesh) -> Result<Self, CheckError> {
        if mesh.quads.is_empty() {
            return Err(CheckError::Empty);
        }
        let vertices = mesh.positions.len();
        for (quad, corners) in mesh.quads.iter().enumerate() {
            if let Some(&vertex) = corners.iter().find(|&&v| v as usize >= vertices) {
                return Err(CheckError::BadQuad {
                    quad,
                    vertex,
                    vertices,
                });
            }
        }
        if let Some(vertex) = mesh.positions.iter().position(|p| !p.is_finite()) {
            return Err(CheckError::NotFinite { vertex });
        }
        let topology = mesh.topology();
        let at = |v: u32| mesh.positions[v as usize];
        let edges = Segments::new(topology.edges.iter().map(|e| e.map(at)).collect());
        let lengths: Vec<f64> = edges.ends.iter().map(|[a, b]| a.distance(*b)).collect();
        let mean_edge = mean(&lengths);
        if mean_edge == 0.0 {
            return Err(CheckError::NoArea);
        }
        let split: Vec<[u32; 3]> = mesh
            .quads
            .iter()
            .flat_map(|&q| mesh::split_quad(&mesh.positions, q))
            .collect();
        let triangles = Triangles::new(split.iter().map(|t| t.map(at)).collect());
        Ok(Self {
            mesh,
            topology,
            edges,
            lengths,
            mean_edge,
            split,
            triangles,
        })
    }

    pub fn at(&self, vertex: u32) -> DVec3 {
        self.mesh.positions[vertex as usize]
    }

    pub fn corners(&self, quad: usize) -> [DVec3; 4] {
        self.mesh.quads[quad].map(|v| self.at(v))
    }

    /// Area of a quad's two triangles, square model units.
    pub fn area(&self, quad: usize) -> f64 {
        self.triangles.corners[2 * quad..2 * quad + 2]
            .iter()
            .map(|[a, b, c]| (*b - *a).cross(*c - *a).length() / 2.0)
            .sum()
    }

    /// Direction of an edge, not of unit length.
    pub fn direction(&self, edge: usize) -> DVec3 {
        let [a, b] = self.edges.ends[edge];
        b - a
    }

    /// The given edges as searchable shapes of their own.
    pub fn some_edges(&self, edges: impl Iterator<Item = usize>) -> Segments {
        Segments::new(edges.map(|e| self.edges.ends[e]).collect())
    }

    /// Edges with one face.
    pub fn boundary_edges(&self) -> impl Iterator<Item = usize> {
        (0..self.lengths.len()).filter(|&e| self.topology.face_count[e] == 1)
    }

    /// Whether a vertex is an inner pole.
    pub fn is_inner_pole(&self, v: usize) -> bool {
        let valence = self.topology.valence[v];
        valence > 0 && valence != 4 && !self.topology.on_boundary[v]
    }
}
