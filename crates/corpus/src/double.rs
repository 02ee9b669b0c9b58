//! A sculpt's front half with its mirror image: what a mirrored surface is a surface of.
//!
//! Connectivity alone; shares no code with the engine's own cut.

use std::collections::BTreeMap;

use base::Tolerances;
use engine::model::Plane;
use mesh::TriMesh;

/// A vertex of the doubled half.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
enum Corner {
    /// A vertex of the sculpt in front of the plane, or its image.
    Vertex { of: u32, image: bool },
    /// A vertex of the sculpt on the plane.
    On(u32),
    /// Where the plane cuts an edge.
    Cut(u32, u32),
}

/// Triangles of the half with height >= 0 and of its image, sharing what lies on the plane.
pub fn doubled(mesh: &TriMesh, plane: Plane) -> Vec<[u32; 3]> {
    let tolerance = Tolerances::of_diagonal(mesh.diagonal()).plane;
    let side = |v: u32| {
        let height = plane.height(mesh.positions[v as usize].as_dvec3());
        if height.abs() <= tolerance {
            0
        } else if height > 0.0 {
            1
        } else {
            -1
        }
    };
    let mut ids: BTreeMap<Corner, u32> = BTreeMap::new();
    let mut out = Vec::new();
    for corners in &mesh.triangles {
        let sides = corners.map(side);
        if sides.iter().all(|&s| s <= 0) {
            continue;
        }
        for image in [false, true] {
            let mut part = Vec::with_capacity(4);
            for i in 0..3 {
                let (v, next) = (corners[i], corners[(i + 1) % 3]);
                match sides[i] {
                    0 => part.push(Corner::On(v)),
                    1 => part.push(Corner::Vertex { of: v, image }),
                    _ => {}
                }
                if sides[i] * sides[(i + 1) % 3] < 0 {
                    part.push(Corner::Cut(v.min(next), v.max(next)));
                }
            }
            if image {
                part.reverse();
            }
            let part: Vec<u32> = part
                .iter()
                .map(|&corner| {
                    let next = ids.len() as u32;
                    *ids.entry(corner).or_insert(next)
                })
                .collect();
            out.extend((1..part.len() - 1).map(|i| [part[0], part[i], part[i + 1]]));
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use mesh::{DVec3, Vec3};

    use super::*;
    use crate::verify::Counts;

    /// An octahedron around the origin, with the triangles that `kept` says yes to.
    fn octahedron(kept: impl Fn(usize) -> bool) -> TriMesh {
        let (x, y, z) = (Vec3::X, Vec3::Y, Vec3::Z);
        let faces = [
            [0, 1, 2],
            [1, 3, 2],
            [3, 4, 2],
            [4, 0, 2],
            [1, 0, 5],
            [3, 1, 5],
            [4, 3, 5],
            [0, 4, 5],
        ];
        let faces = faces.into_iter().enumerate().filter(|f| kept(f.0));
        TriMesh {
            positions: vec![x, y, z, -x, -y, -z],
            triangles: faces.map(|f| f.1).collect(),
        }
    }

    #[test]
    fn a_half_and_its_image_close_and_have_the_front_s_holes_twice() {
        for shift in [0.0, 0.25] {
            let plane = Plane {
                origin: DVec3::new(shift, 0.0, 0.0),
                normal: DVec3::X,
            };
            let whole = Counts::of(&doubled(&octahedron(|_| true), plane));
            assert_eq!((whole.euler, whole.loops, whole.pieces), (2, 0, 1));
            assert_eq!(whole.heavy_edges + whole.twisted_edges, 0);
            // A hole behind the plane alone has no part in it; one in front has, twice, and
            // where the plane cuts it both are one.
            let behind = Counts::of(&doubled(&octahedron(|t| t != 2), plane));
            assert_eq!((behind.euler, behind.loops), (2, 0));
            let front = Counts::of(&doubled(&octahedron(|t| t != 0), plane));
            assert_eq!((front.euler, front.loops), (1, 1));
        }
    }
}
