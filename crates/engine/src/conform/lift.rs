//! From the work surface to its smoothed copy and back.
//!
//! Both have the same triangles and the same chains, so a place is carried over by its
//! triangle and barycentric coordinates, or by its piece of a chain.

use std::sync::Arc;

use mesh::{DMat3, DVec3, QuadMesh, SurfaceIndex, TriMesh};

use super::Scene;
use super::rails::{self, Rail, Seat};
use crate::field::Field;
use crate::model::{Sculpt, WorkSurface};

/// Most that smoothing is taken to have drawn a place together, or apart.
const MOST_DRAWN: f64 = 4.0;
/// Rounds of averaging the stretch over neighbours.
const ROUNDS: usize = 3;

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

    /// How much longer ways are on the work surface than on its smoothed copy, at each vertex, as a
    /// density and a direction across: see [`crate::layout::Spacing`].
    pub fn stretch(&self) -> Vec<(f64, DVec3)> {
        let [rough, smooth] = [&self.rough, &self.smooth].map(|index| index.mesh());
        let count = smooth.positions.len();
        let mut sums = vec![DMat3::ZERO; count];
        let mut normals = vec![DVec3::ZERO; count];
        let mut areas = vec![0.0; count];
        for (t, corners) in smooth.triangles.iter().enumerate() {
            let normal = smooth.area_normal(t);
            let squared = metric(smooth.corners(t), rough.corners(t));
            for &v in corners {
                sums[v as usize] += squared * normal.length();
                normals[v as usize] += normal;
                areas[v as usize] += normal.length();
            }
        }
        for _ in 0..ROUNDS {
            let mut shared = sums.clone();
            let mut whole = normals.clone();
            let mut area = areas.clone();
            for corners in &smooth.triangles {
                for (i, &v) in corners.iter().enumerate() {
                    let next = corners[(i + 1) % 3] as usize;
                    shared[v as usize] += sums[next];
                    whole[v as usize] += normals[next];
                    area[v as usize] += areas[next];
                    area[next] += areas[v as usize];
                    shared[next] += sums[v as usize];
                    whole[next] += normals[v as usize];
                }
            }
            (sums, normals, areas) = (shared, whole, area);
        }
        let stretch = |((sum, normal), area): ((DMat3, DVec3), f64)| {
            let whole = area.max(f64::MIN_POSITIVE);
            principal(sum * (1.0 / whole), normal.normalize_or_zero())
        };
        sums.into_iter()
            .zip(normals)
            .zip(areas)
            .map(stretch)
            .collect()
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

/// The squared length on one triangle of a unit step along another, as a quadratic form.
fn metric(from: [DVec3; 3], to: [DVec3; 3]) -> DMat3 {
    let [a, b] = [from[1] - from[0], from[2] - from[0]];
    let [there_a, there_b] = [to[1] - to[0], to[2] - to[0]];
    let normal = a.cross(b);
    let area = normal.length_squared().max(f64::MIN_POSITIVE);
    // Of the two, each is square to the other edge, and its product with its own is one.
    let [dual_a, dual_b] = [b.cross(normal) / area, normal.cross(a) / area];
    // The map of both edges onto theirs.
    let map = outer(there_a, dual_a) + outer(there_b, dual_b);
    map.transpose() * map
}

fn outer(a: DVec3, b: DVec3) -> DMat3 {
    DMat3::from_cols(a * b.x, a * b.y, a * b.z)
}

/// Principal stretches of a quadratic form in the plane square to `normal`: the lesser one, and the
/// direction of the greater one as long as [`directed`] needs it.
fn principal(squared: DMat3, normal: DVec3) -> (f64, DVec3) {
    if normal.length_squared() < 0.5 {
        return (1.0, DVec3::ZERO);
    }
    let u = normal.any_orthonormal_vector();
    let w = normal.cross(u);
    let (uu, uw, ww) = (u.dot(squared * u), u.dot(squared * w), w.dot(squared * w));
    let (mean, half) = ((uu + ww) / 2.0, ((uu - ww) / 2.0).hypot(uw));
    let drawn = |squared: f64| {
        let longer = squared.max(0.0).sqrt();
        longer.clamp(1.0 / MOST_DRAWN, MOST_DRAWN)
    };
    let (most, least) = (drawn(mean + half), drawn(mean - half));
    let angle = uw.atan2((uu - ww) / 2.0) / 2.0;
    let along = u * angle.cos() + w * angle.sin();
    (least, along * (most / least - 1.0).sqrt())
}

fn carried(from: &SurfaceIndex, to: &SurfaceIndex, at: DVec3) -> DVec3 {
    from.closest(at)
        .map_or(at, |found| point_on(to, found.triangle, found.barycentric))
}

fn point_on(index: &SurfaceIndex, triangle: u32, barycentric: [f64; 3]) -> DVec3 {
    let corners = index.mesh().corners(triangle as usize);
    (0..3).map(|i| corners[i] * barycentric[i]).sum()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::layout::directed;

    #[test]
    fn a_triangle_drawn_out_has_its_stretch_along_the_way_it_was_drawn() {
        let from = [DVec3::ZERO, DVec3::X, DVec3::new(0.3, 1.0, 0.0)];
        // Three times as long along a slanted axis, half as long across it, and turned into x = 0.
        let (axis, across) = (DVec3::new(0.6, 0.8, 0.0), DVec3::new(-0.8, 0.6, 0.0));
        let drawn = |p: DVec3| DVec3::new(0.0, 3.0 * p.dot(axis), 0.5 * p.dot(across));
        let squared = metric(from, from.map(drawn));
        let (density, along) = principal(squared, DVec3::Z);
        for (way, longer) in [(axis, 3.0), (across, 0.5)] {
            let found = directed(density, along, way);
            assert!((found - longer).abs() < 1e-9, "{found} instead of {longer}");
        }
    }
}
