//! From the work surface to its smoothed copy and back.
//!
//! Both have the same triangles and the same chains, so a place is carried over by its
//! triangle and barycentric coordinates, or by its piece of a chain.

use std::sync::Arc;

use mesh::{DVec3, QuadMesh, SurfaceIndex, TriMesh};

use super::Scene;
use super::rails::{self, Rail, Seat};
use crate::field::Field;
use crate::model::{Sculpt, WorkSurface};

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
        Self {
            rough: indexed(&surface.positions),
            smooth: indexed(&field.smooth),
            chains_rough: rails::chain_rails(surface, &surface.positions),
        }
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
                    mesh.positions[v] = carried(&self.rough, &self.smooth, mesh.positions[v]);
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
                    let Some(found) = self.smooth.closest(mesh.positions[v]) else {
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

/// Area-weighted normals of the triangles of an index's mesh.
fn sculpt_normals(index: &SurfaceIndex) -> Vec<DVec3> {
    let mesh = index.mesh();
    (0..mesh.triangles.len())
        .map(|t| mesh.area_normal(t))
        .collect()
}

fn carried(from: &SurfaceIndex, to: &SurfaceIndex, at: DVec3) -> DVec3 {
    from.closest(at)
        .map_or(at, |found| point_on(to, found.triangle, found.barycentric))
}

fn point_on(index: &SurfaceIndex, triangle: u32, barycentric: [f64; 3]) -> DVec3 {
    let corners = index.mesh().corners(triangle as usize);
    (0..3).map(|i| corners[i] * barycentric[i]).sum()
}
