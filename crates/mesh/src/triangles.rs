//! A dense triangle mesh: positions in f32, triangles as index triples.

use crate::{DVec3, Vec3};

/// Dense triangles, 24 bytes a triangle for a closed mesh.
///
/// Triangles wind anticlockwise seen from outside. Positions are in model units.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct TriMesh {
    /// Vertex positions, model units.
    pub positions: Vec<Vec3>,
    /// Vertex indices of each triangle.
    pub triangles: Vec<[u32; 3]>,
}

impl TriMesh {
    /// The three corners of a triangle in f64.
    ///
    /// # Panics
    /// If `triangle` is out of range.
    #[inline]
    pub fn corners(&self, triangle: usize) -> [DVec3; 3] {
        // Written out: the innermost step of every query, and `map` is a call here.
        let [a, b, c] = self.triangles[triangle];
        let at = |v: u32| self.positions[v as usize].as_dvec3();
        [at(a), at(b), at(c)]
    }

    /// Area-weighted normal of a triangle; its length is twice the area.
    ///
    /// # Panics
    /// If `triangle` is out of range.
    #[inline]
    pub fn area_normal(&self, triangle: usize) -> DVec3 {
        let [a, b, c] = self.corners(triangle);
        (b - a).cross(c - a)
    }

    /// Lowest and highest corner of the bounding box of all vertices; `None` for no vertices.
    pub fn bounds(&self) -> Option<(DVec3, DVec3)> {
        let first = *self.positions.first()?;
        let (low, high) = self
            .positions
            .iter()
            .fold((first, first), |(low, high), p| (low.min(*p), high.max(*p)));
        Some((low.as_dvec3(), high.as_dvec3()))
    }

    /// Length of the bounding box's diagonal (model units), 0 for no vertices.
    pub fn diagonal(&self) -> f64 {
        self.bounds()
            .map_or(0.0, |(low, high)| (high - low).length())
    }

    /// Total area, square model units.
    pub fn area(&self) -> f64 {
        (0..self.triangles.len())
            .map(|t| self.area_normal(t).length() / 2.0)
            .sum()
    }

    /// Unit vertex normals, weighted by area; zero where a vertex has no triangle.
    pub fn vertex_normals(&self) -> Vec<Vec3> {
        let mut sums = vec![Vec3::ZERO; self.positions.len()];
        for (t, corners) in self.triangles.iter().enumerate() {
            let normal = self.area_normal(t).as_vec3();
            for &v in corners {
                sums[v as usize] += normal;
            }
        }
        sums.iter().map(|n| n.normalize_or_zero()).collect()
    }
}
