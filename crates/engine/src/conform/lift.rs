//! From the work surface to its smoothed copy and back.
//!
//! Both have the same triangles and the same chains, so a place is carried over by its
//! triangle and barycentric coordinates, or by its piece of a chain.

use std::sync::Arc;

use mesh::{Closest, DVec3, QuadMesh, SurfaceIndex, TriMesh};
use rayon::prelude::*;

use super::Scene;
use super::rails::{self, Rail, Seat};
use crate::field::Field;
use crate::model::{Sculpt, WorkSurface};

/// Most that smoothing is taken to have drawn a place together, or apart.
const MOST_DRAWN: f64 = 20.0;
/// Steps in which the way between two vertices is looked up.
const STEPS: usize = 4;

/// The work surface and its smoothed copy, both with an index.
pub(super) struct Lift {
    rough: Arc<SurfaceIndex>,
    smooth: Arc<SurfaceIndex>,
    chains_rough: Vec<Rail>,
}

impl Lift {
    pub fn new(surface: &WorkSurface, field: &Field) -> Self {
        let indexed = |positions: &[DVec3]| {
            let mesh = TriMesh {
                positions: positions.iter().map(|p| p.as_vec3()).collect(),
                triangles: surface.triangles.clone(),
            };
            Arc::new(SurfaceIndex::new(Arc::new(mesh)))
        };
        let (rough, smooth) =
            rayon::join(|| indexed(&surface.positions), || indexed(&field.smooth));
        Self {
            rough,
            smooth,
            chains_rough: rails::chain_rails(surface, &surface.positions),
        }
    }

    /// For each vertex and each of its neighbours, how much longer the way between them is on the work
    /// surface than the straight line between their places on the copy, where `mesh` lies.
    pub fn ways(&self, mesh: &QuadMesh, scene: &Scene) -> Vec<Vec<f64>> {
        let longer = |v: usize, n: usize| {
            let [a, b] = [v, n].map(|v| mesh.positions[v]);
            ratio(length(&self.course(mesh, scene, v, n)), a.distance(b))
        };
        self.of_neighbours(&scene.around, longer)
    }

    /// The same over the straight line on the work surface, for `mesh` once it is raised.
    pub fn raised_ways(&self, mesh: &QuadMesh, scene: &Scene) -> Vec<Vec<f64>> {
        let longer = |v: usize, n: usize| {
            let course = self.course(mesh, scene, v, n);
            let [Some(first), Some(last)] = [course.first(), course.last()] else {
                return 1.0;
            };
            ratio(length(&course), first.distance(*last))
        };
        self.of_neighbours(&scene.around, longer)
    }

    /// The way between two vertices on the copy, on the work surface. Looking starts at the feet that the
    /// scene knows, which doesn't change what is found.
    fn course(&self, mesh: &QuadMesh, scene: &Scene, v: usize, n: usize) -> Vec<DVec3> {
        let [a, b] = [v, n].map(|v| mesh.positions[v]);
        let mut near = scene.feet[v].or(scene.feet[n]);
        let wall = scene.wall(v) + scene.wall(n);
        let mut place = |i: usize| {
            let at = a.lerp(b, i as f64 / STEPS as f64);
            let found = closest_on_wall(&self.smooth, at, near, wall)?;
            near = Some(found.triangle);
            Some(point_on(&self.rough, found.triangle, found.barycentric))
        };
        (0..=STEPS).filter_map(&mut place).collect()
    }

    /// What is told of each vertex and each neighbour, asked once for both.
    fn of_neighbours(
        &self,
        around: &[Vec<u32>],
        told: impl Fn(usize, usize) -> f64 + Sync,
    ) -> Vec<Vec<f64>> {
        let ahead = |(v, beside): (usize, &Vec<u32>)| -> Vec<f64> {
            let one = |&n: &u32| {
                if v < n as usize {
                    told(v, n as usize)
                } else {
                    1.0
                }
            };
            beside.iter().map(one).collect()
        };
        let mut all: Vec<Vec<f64>> = around.par_iter().enumerate().map(ahead).collect();
        for (v, beside) in around.iter().enumerate() {
            for (i, &n) in beside.iter().enumerate() {
                let n = n as usize;
                let back = around[n].iter().position(|&w| w as usize == v);
                if let Some(back) = back.filter(|_| n < v) {
                    all[v][i] = all[n][back];
                }
            }
        }
        all
    }

    pub fn smooth_index(&self) -> Arc<SurfaceIndex> {
        Arc::clone(&self.smooth)
    }

    /// Moves the filled mesh from the work surface onto its smoothed copy. `real` are the rails
    /// that the scene's seats are measured on; they are measured on the scene's rails after.
    pub fn flatten(&self, mesh: &mut QuadMesh, scene: &mut Scene, real: &[Rail]) {
        for v in 0..mesh.positions.len() {
            match scene.seats[v] {
                Seat::On { rail, s } => {
                    let chain = &self.chains_rough[rail];
                    let piece = chain.piece(chain.nearest(real[rail].at(s), None));
                    let s = scene.rails[rail].length_at(piece);
                    scene.seats[v] = Seat::On { rail, s };
                    mesh.positions[v] = scene.rails[rail].at(s);
                }
                Seat::Free | Seat::Pinned => {
                    if let Some(found) = self.rough.closest(mesh.positions[v]) {
                        scene.feet[v] = Some(found.triangle);
                        mesh.positions[v] =
                            point_on(&self.smooth, found.triangle, found.barycentric);
                    }
                }
            }
        }
    }

    /// Moves the mesh from the smoothed copy to the sculpt, and the scene with it: `real` rails,
    /// seats measured on them; pinned vertices go back to where they were pinned.
    pub fn raise(
        &self,
        mesh: &mut QuadMesh,
        scene: &mut Scene,
        real: Vec<Rail>,
        pinned: &[(Seat, DVec3)],
        sculpt: &Sculpt,
    ) {
        let normals = sculpt_normals(&self.rough);
        for v in 0..mesh.positions.len() {
            match (scene.seats[v], pinned[v].0) {
                (_, Seat::Pinned) => {
                    scene.seats[v] = Seat::Pinned;
                    mesh.positions[v] = pinned[v].1;
                }
                (Seat::On { rail, s }, _) => {
                    let piece = scene.rails[rail].piece(s);
                    let chain = &self.chains_rough[rail];
                    let at = chain.at(chain.length_at(piece));
                    let s = real[rail].nearest(at, None);
                    scene.seats[v] = Seat::On { rail, s };
                    mesh.positions[v] = real[rail].aim(s);
                }
                _ => {
                    let (at, near) = (mesh.positions[v], scene.feet[v]);
                    let wall = scene.wall(v);
                    let found = closest_on_wall(&self.smooth, at, near, wall);
                    let Some(found) = found else {
                        continue;
                    };
                    let at = point_on(&self.rough, found.triangle, found.barycentric);
                    let normal = normals[found.triangle as usize];
                    let facing = |t: u32| sculpt.mesh.area_normal(t as usize).dot(normal) > 0.0;
                    mesh.positions[v] = sculpt
                        .index
                        .closest_where(at, scene.edge, facing)
                        .map_or(at, |c| c.point);
                }
            }
        }
        scene.rails = real;
        scene.feet.fill(None);
        scene.index = Arc::clone(&sculpt.index);
    }
}

/// The closest point on the wall that faces as `wall` does; on any where that is zero. `near` is where
/// looking starts.
pub(super) fn closest_on_wall(
    index: &SurfaceIndex,
    at: DVec3,
    near: Option<u32>,
    wall: DVec3,
) -> Option<Closest> {
    let mesh = index.mesh();
    let faces = |t: u32| wall == DVec3::ZERO || mesh.area_normal(t as usize).dot(wall) > 0.0;
    index.closest_from(at, f64::INFINITY, near, faces)
}

/// Area-weighted normals of the triangles of an index's mesh.
fn sculpt_normals(index: &SurfaceIndex) -> Vec<DVec3> {
    let mesh = index.mesh();
    (0..mesh.triangles.len())
        .map(|t| mesh.area_normal(t))
        .collect()
}

fn length(course: &[DVec3]) -> f64 {
    course.windows(2).map(|w| w[0].distance(w[1])).sum()
}

/// How many times as long one length is as another, within bounds.
fn ratio(longer: f64, straight: f64) -> f64 {
    let ratio = longer / straight.max(f64::MIN_POSITIVE);
    ratio.clamp(1.0 / MOST_DRAWN, MOST_DRAWN)
}

fn point_on(index: &SurfaceIndex, triangle: u32, barycentric: [f64; 3]) -> DVec3 {
    let corners = index.mesh().corners(triangle as usize);
    (0..3).map(|i| corners[i] * barycentric[i]).sum()
}

#[cfg(test)]
mod tests {
    use super::super::tests::bare_scene;
    use super::*;

    #[test]
    fn the_way_over_a_ridge_is_longer_than_the_line_across_its_flattened_copy() {
        // Slopes of 45° on the work surface, level ground on the copy: 2 across is 2 √2 over the ridge.
        let indexed = |height: f32| {
            let at = |x: f32, y: f32| mesh::Vec3::new(x, y, height * (1.0 - x.abs()));
            let positions = [-1.0, 0.0, 1.0].map(|x| [at(x, 0.0), at(x, 1.0)]);
            Arc::new(SurfaceIndex::new(Arc::new(TriMesh {
                positions: positions.concat(),
                triangles: vec![[0, 2, 3], [0, 3, 1], [2, 4, 5], [2, 5, 3]],
            })))
        };
        let lift = Lift {
            rough: indexed(1.0),
            smooth: indexed(0.0),
            chains_rough: Vec::new(),
        };
        let corner = |x: f64, y: f64| DVec3::new(x, y, 0.0);
        let mesh = QuadMesh {
            positions: vec![
                corner(-1.0, 0.0),
                corner(1.0, 0.0),
                corner(1.0, 1.0),
                corner(-1.0, 1.0),
            ],
            quads: vec![[0, 1, 2, 3]],
            groups: vec![],
        };
        let mut scene = bare_scene(&mesh, TriMesh::clone(lift.smooth.mesh()));
        scene.around = vec![vec![1, 3], vec![0, 2], vec![1, 3], vec![0, 2]];
        let near = |told: &[Vec<f64>], over: f64| {
            // Over the ridge, and along its foot.
            let wanted = [[over, 1.0], [over, 1.0], [1.0, over], [1.0, over]];
            let pairs = told.iter().flatten().zip(wanted.iter().flatten());
            for (&told, &wanted) in pairs {
                assert!((told - wanted).abs() < 1e-6, "{told} {wanted}");
            }
        };
        near(&lift.ways(&mesh, &scene), 2f64.sqrt());
        near(&lift.raised_ways(&mesh, &scene), 2f64.sqrt());
    }
}
