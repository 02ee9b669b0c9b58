//! What of the sculpt no quad lies over yet: points spread over the sculpt, each with the place on a quad
//! that is nearest to it.
//!
//! Points on the quads only see what a quad points at. An ear or the ground of a pocket, which the rows
//! pass by, pulls at nothing then; as seen from the sculpt it is far from every quad. The way from the
//! quad's place is straight to the point, so free vertices slide towards it as well as rise
//! (iterated closest points: Besl & McKay 1992).

use std::sync::Arc;

use mesh::{DVec3, QuadMesh, SurfaceIndex, TriMesh, split_quad};
use rayon::prelude::*;

use super::Scene;
use super::shape;
use super::volume::Sample;
use crate::model::Plane;
use crate::spread::{self, ANOTHER};

/// Points on the sculpt for an area of a quad's edge squared, and most of them.
const DENSE: f64 = 6.0;
const MOST: f64 = 1e6;
/// Furthest that a quad may be from a point, in quad edges: what is beyond belongs to none.
const FURTHEST: f64 = 3.0;
/// Share of a corner below which a place isn't off the side across from it.
const ASIDE: f64 = 1e-6;

/// A point of the sculpt.
struct Place {
    at: DVec3,
    normal: DVec3,
    /// Triangle of the quads that was nearest to it when last asked: where the next search starts.
    near: Option<u32>,
}

/// Points spread over the sculpt, on the mesh's side of the mirror plane.
pub(super) struct Reach {
    places: Vec<Place>,
}

impl Reach {
    /// On a sculpt, for quads of this edge length (model units).
    pub fn new(under: &TriMesh, plane: Option<Plane>, edge: f64) -> Self {
        let count = |area: f64| (DENSE * area / edge.powi(2)).min(MOST) as usize;
        let here = |at: DVec3| plane.is_none_or(|plane| plane.height(at) >= 0.0);
        let samples = spread::on_sculpt(under, count).into_iter();
        let place = |sample: spread::SculptSample| Place {
            at: sample.at,
            normal: under
                .area_normal(sample.triangle as usize)
                .normalize_or_zero(),
            near: None,
        };
        let places = samples.filter(|s| here(s.at)).map(place).collect();
        Self { places }
    }

    /// For each point that lies over a quad, or beyond one, the way to it. What is nearest to the mesh's
    /// rim lies beside the mesh.
    pub fn samples(&mut self, mesh: &QuadMesh, scene: &Scene) -> Vec<Sample> {
        let rim = rim_of(mesh, scene);
        let split: Vec<[u32; 3]> = mesh
            .quads
            .iter()
            .flat_map(|&q| split_quad(&mesh.positions, q))
            .collect();
        let index = SurfaceIndex::new(Arc::new(TriMesh {
            positions: mesh.positions.iter().map(|p| p.as_vec3()).collect(),
            triangles: split.clone(),
        }));
        let facing = shape::facing(mesh);
        let furthest = FURTHEST * scene.edge;
        let of = |place: &mut Place| {
            let (at, normal) = (place.at, place.normal);
            let same_wall = |t: u32| facing[t as usize / 2].dot(normal) > ANOTHER;
            let found = index.closest_from(at, furthest, place.near, same_wall)?;
            place.near = Some(found.triangle);
            let corners = split[found.triangle as usize];
            let borne: Vec<u32> = (0..3)
                .filter(|&k| found.barycentric[k] > ASIDE)
                .map(|k| corners[k])
                .collect();
            if borne.len() < 3 && borne.iter().all(|&v| rim[v as usize]) {
                return None;
            }
            let quad = mesh.quads[found.triangle as usize / 2];
            let weights = quad.map(|v| {
                let corner = corners.iter().position(|&c| c == v);
                corner.map_or(0.0, |k| found.barycentric[k])
            });
            let foot: DVec3 = (0..4)
                .map(|k| mesh.positions[quad[k] as usize] * weights[k])
                .sum();
            let way = at - foot;
            let length = way.length();
            // So near, rounding alone says which way it goes.
            let (normal, gap) = if length > 1e-3 * scene.edge {
                (way / length, length)
            } else {
                (normal, way.dot(normal))
            };
            Some(Sample {
                corners: quad,
                weights,
                weight: 1.0,
                normal,
                gap: gap.min(scene.edge),
            })
        };
        let found: Vec<Option<Sample>> = self.places.par_iter_mut().map(of).collect();
        found.into_iter().flatten().collect()
    }
}

/// For each vertex, whether it is on the mesh's boundary and not on the mirror plane.
fn rim_of(mesh: &QuadMesh, scene: &Scene) -> Vec<bool> {
    let on_plane = |v: usize| {
        scene
            .plane
            .is_some_and(|plane| plane.height(mesh.positions[v]).abs() < 1e-9 * scene.edge)
    };
    let topology = mesh.topology();
    (0..mesh.positions.len())
        .map(|v| topology.on_boundary[v] && !on_plane(v))
        .collect()
}

#[cfg(test)]
mod tests {
    use base::Task;
    use mesh::Vec3;

    use super::super::tests::{bare_scene, reach_of};
    use super::super::{ConformOptions, settle};
    use super::*;

    /// A level sheet of 8 by 8 quads of edge 1, its middle at the origin.
    fn sheet() -> QuadMesh {
        let at = |i: u32| DVec3::new(f64::from(i % 9) - 4.0, f64::from(i / 9) - 4.0, 0.0);
        let quads = (0..64u32).map(|q| q % 8 + q / 8 * 9);
        QuadMesh {
            positions: (0..81).map(at).collect(),
            quads: quads.map(|a| [a, a + 1, a + 10, a + 9]).collect(),
            groups: vec![],
        }
    }

    /// A surface over x and y from -`half` to `half`, by its heights, facing up.
    fn ground(half: f32, height: impl Fn(f32, f32) -> f32) -> TriMesh {
        const SIDE: u32 = 160;
        let place = |i: u32| half * (2.0 * i as f32 / SIDE as f32 - 1.0);
        let mut mesh = TriMesh::default();
        for i in 0..(SIDE + 1) * (SIDE + 1) {
            let (x, y) = (place(i % (SIDE + 1)), place(i / (SIDE + 1)));
            mesh.positions.push(Vec3::new(x, y, height(x, y)));
        }
        for (y, x) in (0..SIDE).flat_map(|y| (0..SIDE).map(move |x| (y, x))) {
            let a = y * (SIDE + 1) + x;
            mesh.triangles
                .extend([[a, a + 1, a + SIDE + 2], [a, a + SIDE + 2, a + SIDE + 1]]);
        }
        mesh
    }

    /// A thin lobe that stands off between two rows was passed by: no quad's points lay near its walls.
    #[test]
    fn rows_reach_a_lobe_that_stands_off_between_them() {
        let lobe = |x: f32, y: f32| {
            let across = ((x - 0.5) / 0.35).powi(2) + (y / 1.6).powi(2);
            2.2 * (1.0 - across).max(0.0).sqrt()
        };
        let mut mesh = sheet();
        let mut scene = bare_scene(&mesh, ground(4.0, lobe));
        for v in 0..mesh.positions.len() {
            if mesh.positions[v].abs().max_element() > 3.9 {
                scene.seats[v] = super::super::rails::Seat::Pinned;
            }
        }
        let facing = shape::facing(&mesh);
        let options = ConformOptions::for_edge(1.0);
        let mut reach = reach_of(&scene);
        let task = Task::default();
        let index = Arc::clone(&scene.index);
        let on = [&index, &index];
        settle(
            &mut mesh, &mut scene, on, &mut reach, &facing, &options, &task,
        )
        .unwrap();
        let highest = mesh.positions.iter().map(|p| p.z).fold(0.0, f64::max);
        assert!(highest > 1.0, "{highest}");
        let each = mesh.quads.iter();
        let each = each.map(|q| shape::scaled_jacobian(q.map(|v| mesh.positions[v as usize])));
        assert!(each.fold(f64::INFINITY, f64::min) > 0.3);
    }

    #[test]
    fn neither_the_other_wall_of_cloth_nor_what_lies_beside_the_mesh_pulls() {
        let mut cloth = ground(9.0, |_, _| 0.0);
        let inner = ground(9.0, |_, _| -0.2);
        let first = cloth.positions.len() as u32;
        cloth.positions.extend(inner.positions);
        let turned = inner.triangles.iter().map(|t| [t[0], t[2], t[1]]);
        cloth.triangles.extend(turned.map(|t| t.map(|v| v + first)));
        let mesh = sheet();
        let scene = bare_scene(&mesh, cloth);
        let samples = reach_of(&scene).samples(&mesh, &scene);
        // Of the outer wall what lies over the sheet.
        let wanted = DENSE * 64.0;
        assert!((samples.len() as f64 - wanted).abs() < 0.05 * wanted);
        assert!(samples.iter().all(|s| s.gap.abs() < 1e-6));
    }
}
