//! The sculpt and the surface, made ready for drawing.

use std::borrow::Cow;

use mesh::{DVec3, QuadMesh, TriMesh, Vec3};
use rayon::prelude::*;

use crate::camera::Camera;

/// Vertices, triangles and normals of something to draw, in f32 as it is only seen.
pub(crate) struct Solid<'a> {
    pub positions: Cow<'a, [Vec3]>,
    pub triangles: Cow<'a, [[u32; 3]]>,
    /// Unit, weighted by area; zero where there is no triangle.
    pub normals: Vec<Vec3>,
}

impl<'a> Solid<'a> {
    /// A sculpt; triangles with corners that don't exist or aren't finite are left out.
    pub fn of_sculpt(mesh: &'a TriMesh) -> Self {
        let sound = |t: &&[u32; 3]| {
            t.iter().all(|&v| {
                mesh.positions
                    .get(v as usize)
                    .is_some_and(|p| p.is_finite())
            })
        };
        let triangles = if mesh.triangles.par_iter().all(|t| sound(&t)) {
            Cow::from(&mesh.triangles)
        } else {
            mesh.triangles.iter().filter(sound).copied().collect()
        };
        Self::new(Cow::from(&mesh.positions), triangles)
    }

    fn new(positions: Cow<'a, [Vec3]>, triangles: Cow<'a, [[u32; 3]]>) -> Self {
        let mut normals = vec![Vec3::ZERO; positions.len()];
        for corners in triangles.iter() {
            let [a, b, c] = corners.map(|v| positions[v as usize]);
            let normal = (b - a).cross(c - a);
            for &v in corners {
                normals[v as usize] += normal;
            }
        }
        for normal in &mut normals {
            *normal = normal.normalize_or_zero();
        }
        Self {
            positions,
            triangles,
            normals,
        }
    }

    /// Vertices that have a place.
    pub fn places(&self) -> impl Iterator<Item = DVec3> {
        self.positions
            .iter()
            .filter(|p| p.is_finite())
            .map(|p| p.as_dvec3())
    }

    /// Corners of all vertices in the picture.
    pub fn project(&self, camera: &Camera) -> Vec<[f32; 3]> {
        self.positions
            .par_iter()
            .map(|p| camera.project(p.as_dvec3()))
            .collect()
    }
}

/// The quad surface, split into triangles for drawing: two a quad, in order.
pub(crate) struct Surface<'a> {
    pub mesh: &'a QuadMesh,
    pub solid: Solid<'a>,
    /// For each side of each quad, whether no other quad is there.
    pub on_boundary: Vec<[bool; 4]>,
    /// For each side of each quad, the quad beyond it.
    pub beyond: Vec<[Option<u32>; 4]>,
    /// Mean length of all edges, model units; 0 without quads.
    pub mean_edge: f64,
}

impl<'a> Surface<'a> {
    /// `mesh` must have been checked.
    pub fn new(mesh: &'a QuadMesh) -> Self {
        let triangles = mesh
            .quads
            .iter()
            .flat_map(|quad| split_of(mesh, quad).map(|t| t.map(|corner| quad[corner])))
            .collect();
        let topology = mesh.topology();
        let corner = |q: usize, i: usize| 4 * q + i;
        let sides = |q: usize| [0, 1, 2, 3].map(|i| corner(q, i));
        let on_boundary = (0..mesh.quads.len())
            .map(|q| {
                sides(q).map(|c| topology.face_count[topology.edge_of_corner[c] as usize] == 1)
            })
            .collect();
        let beyond = (0..mesh.quads.len())
            .map(|q| sides(q).map(|c| topology.twin[c].map(|twin| twin / 4)))
            .collect();
        let length: f64 = topology
            .edges
            .iter()
            .map(|&[a, b]| mesh.positions[a as usize].distance(mesh.positions[b as usize]))
            .sum();
        Self {
            mesh,
            solid: Solid::new(
                mesh.positions.iter().map(|p| p.as_vec3()).collect(),
                triangles,
            ),
            on_boundary,
            beyond,
            mean_edge: length / topology.edges.len().max(1) as f64,
        }
    }

    /// Corners, by their number in the quad, of one of the triangles.
    pub fn corners_of(&self, triangle: u32) -> [usize; 3] {
        let quad = &self.mesh.quads[triangle as usize / 2];
        split_of(self.mesh, quad)[triangle as usize % 2]
    }

    /// The point at (u, v) of a quad: corners 0 to 3 are at (0,0), (1,0), (1,1), (0,1), and
    /// each of its two triangles is flat.
    pub fn point_at(&self, quad: usize, uv: [f64; 2]) -> DVec3 {
        let corners = &self.mesh.quads[quad];
        let place = |corner: usize| self.mesh.positions[corners[corner] as usize];
        let [u, v] = uv;
        let [a, b, c, d] = [0, 1, 2, 3].map(place);
        if split_of(self.mesh, corners)[0][2] == 2 {
            if u >= v {
                a + (u - v) * (b - a) + v * (c - a)
            } else {
                a + u * (c - a) + (v - u) * (d - a)
            }
        } else if u + v <= 1.0 {
            a + u * (b - a) + v * (d - a)
        } else {
            c + (1.0 - u) * (d - c) + (1.0 - v) * (b - c)
        }
    }
}

/// Corners of a quad's two triangles, along the shorter diagonal.
fn split_of(mesh: &QuadMesh, quad: &[u32; 4]) -> [[usize; 3]; 2] {
    let [a, b, c, d] = quad.map(|v| mesh.positions[v as usize]);
    if a.distance_squared(c) <= b.distance_squared(d) {
        [[0, 1, 2], [0, 2, 3]]
    } else {
        [[0, 1, 3], [1, 2, 3]]
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::testing;

    #[test]
    fn a_quad_is_flat_on_each_side_of_its_diagonal() {
        for mesh in [testing::tube(8, 3, 0.3), testing::tube(8, 3, -0.3)] {
            let surface = Surface::new(&mesh);
            for quad in 0..mesh.quads.len() {
                for (corner, uv) in [[0.0, 0.0], [1.0, 0.0], [1.0, 1.0], [0.0, 1.0]]
                    .into_iter()
                    .enumerate()
                {
                    let want = mesh.positions[mesh.quads[quad][corner] as usize];
                    assert!(surface.point_at(quad, uv).distance(want) < 1e-12);
                }
                let [a, c] = [0, 2].map(|i| mesh.positions[mesh.quads[quad][i] as usize]);
                let [b, d] = [1, 3].map(|i| mesh.positions[mesh.quads[quad][i] as usize]);
                let middle = if a.distance(c) <= b.distance(d) {
                    (a + c) / 2.0
                } else {
                    (b + d) / 2.0
                };
                assert!(surface.point_at(quad, [0.5, 0.5]).distance(middle) < 1e-12);
            }
        }
    }

    #[test]
    fn boundary_sides_are_known() {
        let mesh = testing::tube(10, 4, 0.0);
        let surface = Surface::new(&mesh);
        assert_eq!(
            surface.on_boundary.iter().flatten().filter(|&&b| b).count(),
            20
        );
        assert_eq!(
            surface
                .beyond
                .iter()
                .flatten()
                .filter(|b| b.is_none())
                .count(),
            20
        );
    }

    #[test]
    fn a_sculpt_with_broken_triangles_loses_only_those() {
        let mut mesh = testing::sphere(8, 4);
        let count = mesh.triangles.len();
        mesh.triangles.push([0, 1, 9999]);
        assert_eq!(Solid::of_sculpt(&mesh).triangles.len(), count);
    }
}
