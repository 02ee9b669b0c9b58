//! Quads cut into triangles so that mirror images stay mirror images.

use std::collections::BTreeMap;

use mesh::{DVec3, QuadMesh};

/// A plane that a surface is symmetric about.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct MirrorPlane {
    /// A point on the plane, model units.
    pub origin: DVec3,
    /// Direction across the plane, of any length but zero.
    pub normal: DVec3,
}

/// Vertices count as mirror images within this share of the bounding box's diagonal.
const SAME: f64 = 1e-6;

/// Two triangles a quad, in the order of the quads, winding as they do: along the
/// shorter diagonal, unless that folds the quad. The diagonals of a quad and of its mirror
/// image about `plane` are images of each other, whatever the rounding and also where both
/// diagonals are equally long.
///
/// Vertices beyond the end of `positions` count as the origin. Cost: n log n.
pub fn symmetric_triangles(mesh: &QuadMesh, plane: Option<MirrorPlane>) -> Vec<[u32; 3]> {
    let firsts = first_diagonals(mesh, plane);
    let halves = mesh
        .quads
        .iter()
        .zip(firsts)
        .flat_map(|(&[a, b, c, d], first)| {
            if first {
                [[a, b, c], [a, c, d]]
            } else {
                [[a, b, d], [b, c, d]]
            }
        });
    halves.collect()
}

/// Whether each quad is cut from corner 0 to corner 2.
fn first_diagonals(mesh: &QuadMesh, plane: Option<MirrorPlane>) -> Vec<bool> {
    let images = plane
        .map(|plane| images(&mesh.positions, plane))
        .unwrap_or_default();
    let image = |v: u32| images.get(v as usize).copied().flatten();
    let quad_of: BTreeMap<[u32; 4], usize> = mesh
        .quads
        .iter()
        .enumerate()
        .map(|(number, corners)| (sorted(*corners), number))
        .collect();
    let mut firsts: Vec<bool> = Vec::with_capacity(mesh.quads.len());
    for (number, corners) in mesh.quads.iter().enumerate() {
        let reflected = match corners.map(image) {
            [Some(a), Some(b), Some(c), Some(d)] => quad_of.get(&sorted([a, b, c, d])).copied(),
            _ => None,
        };
        // The quad with the lower number decides for both.
        let decided = reflected.filter(|&other| other < number).map(|other| {
            let [a, b, c, d] = mesh.quads[other];
            let ends = if firsts[other] { [a, c] } else { [b, d] };
            let ends = ends.map(image);
            let mine = [Some(corners[0]), Some(corners[2])];
            ends == mine || ends == [mine[1], mine[0]]
        });
        firsts.push(
            decided.unwrap_or_else(|| first_is_better(corners.map(|v| at(&mesh.positions, v)))),
        );
    }
    firsts
}

fn at(positions: &[DVec3], v: u32) -> DVec3 {
    positions.get(v as usize).copied().unwrap_or_default()
}

fn sorted(mut corners: [u32; 4]) -> [u32; 4] {
    corners.sort_unstable();
    corners
}

fn first_is_better([a, b, c, d]: [DVec3; 4]) -> bool {
    let folds = |n1: DVec3, n2: DVec3| n1.dot(n2) < 0.0;
    let first_folds = folds((b - a).cross(c - a), (c - a).cross(d - a));
    let second_folds = folds((b - a).cross(d - a), (c - b).cross(d - b));
    if first_folds != second_folds {
        return second_folds;
    }
    a.distance_squared(c) <= b.distance_squared(d)
}

/// The mirror image of each vertex among the vertices, where there is one and it is mutual.
fn images(positions: &[DVec3], plane: MirrorPlane) -> Vec<Option<u32>> {
    let low = positions
        .iter()
        .copied()
        .reduce(DVec3::min)
        .unwrap_or_default();
    let high = positions
        .iter()
        .copied()
        .reduce(DVec3::max)
        .unwrap_or_default();
    let reach = SAME * (high - low).length();
    let cell_size = if reach > 0.0 && reach.is_finite() {
        4.0 * reach
    } else {
        1.0
    };
    let normal = plane.normal.normalize_or_zero();
    // Rounding to cells saturates far out, which costs time and nothing else.
    let cell = |p: DVec3| (p / cell_size).floor().to_array().map(|c| c as i64);
    let mut cells: BTreeMap<[i64; 3], Vec<u32>> = BTreeMap::new();
    for (v, p) in positions.iter().enumerate() {
        cells.entry(cell(*p)).or_default().push(v as u32);
    }
    let nearest = |p: DVec3| {
        let (from, to) = (cell(p - reach), cell(p + reach));
        let mut best: Option<(f64, u32)> = None;
        for x in from[0]..=to[0] {
            for y in from[1]..=to[1] {
                for z in from[2]..=to[2] {
                    for &v in cells.get(&[x, y, z]).into_iter().flatten() {
                        let distance = p.distance(positions[v as usize]);
                        if distance <= reach && best.is_none_or(|b| (distance, v) < b) {
                            best = Some((distance, v));
                        }
                    }
                }
            }
        }
        best.map(|(_, v)| v)
    };
    let one_way: Vec<Option<u32>> = positions
        .iter()
        .map(|&p| nearest(p - 2.0 * (p - plane.origin).dot(normal) * normal))
        .collect();
    let mutual = |(v, image): (usize, &Option<u32>)| {
        image.filter(|&i| one_way[i as usize] == Some(v as u32))
    };
    one_way.iter().enumerate().map(mutual).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// A grid of quads on both sides of x = 0, mirrored by changing the sign, its right half's
    /// corners rotated so that index order gives no hint.
    fn grid(columns: u32, rows: u32, bumps: &[f64]) -> QuadMesh {
        let bump = |i: u32, j: u32| {
            if bumps.is_empty() {
                0.0
            } else {
                bumps[((i * 7 + j * 3) as usize) % bumps.len()]
            }
        };
        let right = |i: u32, j: u32| {
            let x = if i == 0 {
                0.0
            } else {
                f64::from(i) + bump(i, j)
            };
            DVec3::new(x, f64::from(j) + bump(j, i + 1), bump(i + 2, j))
        };
        let (mut positions, mut quads) = (Vec::new(), Vec::new());
        for side in [1.0, -1.0] {
            for i in u32::from(side < 0.0)..=columns {
                positions.extend((0..=rows).map(|j| right(i, j) * DVec3::new(side, 1.0, 1.0)));
            }
        }
        let half = columns * (rows + 1);
        let at = |i: u32, j: u32| i * (rows + 1) + j;
        for i in 0..columns {
            for j in 0..rows {
                quads.push([at(i, j), at(i + 1, j), at(i + 1, j + 1), at(i, j + 1)]);
            }
        }
        for (turn, mut quad) in quads.clone().into_iter().enumerate() {
            // The centre line is shared; other vertices have images.
            quad = quad.map(|v| if v <= rows { v } else { v + half });
            quad.reverse();
            quad.rotate_left(turn % 4);
            quads.push(quad);
        }
        QuadMesh {
            positions,
            quads,
            groups: vec![],
        }
    }

    fn sorted_triangles(triangles: impl Iterator<Item = [DVec3; 3]>) -> Vec<[[u64; 3]; 3]> {
        let bits = |p: DVec3| (p + DVec3::ZERO).to_array().map(f64::to_bits);
        let mut all: Vec<[[u64; 3]; 3]> = triangles
            .map(|t| {
                let mut corners = t.map(bits);
                corners.sort_unstable();
                corners
            })
            .collect();
        all.sort_unstable();
        all
    }

    fn assert_symmetric(mesh: &QuadMesh) {
        let plane = MirrorPlane {
            origin: DVec3::ZERO,
            normal: DVec3::X,
        };
        let triangles = symmetric_triangles(mesh, Some(plane));
        assert_eq!(triangles.len(), 2 * mesh.quads.len());
        let points = |t: &[u32; 3]| t.map(|v| mesh.positions[v as usize]);
        let here = sorted_triangles(triangles.iter().map(points));
        let there = triangles
            .iter()
            .map(|t| points(t).map(|p| p * DVec3::new(-1.0, 1.0, 1.0)));
        assert_eq!(here, sorted_triangles(there));
    }

    #[test]
    fn ties_are_cut_symmetrically() {
        let mesh = grid(3, 4, &[]);
        assert_symmetric(&mesh);
        // Without the plane the same mesh isn't: the corners' order decides.
        let triangles = symmetric_triangles(&mesh, None);
        let points = |t: &[u32; 3]| t.map(|v| mesh.positions[v as usize]);
        let here = sorted_triangles(triangles.iter().map(points));
        let there = triangles
            .iter()
            .map(|t| points(t).map(|p| p * DVec3::new(-1.0, 1.0, 1.0)));
        assert_ne!(here, sorted_triangles(there));
    }

    #[test]
    fn a_dart_is_cut_through_its_dent() {
        let positions = [[0., 0.], [4., -1.], [1., 0.], [4., 1.]]
            .map(|[x, y]| DVec3::new(x, y, 0.0))
            .to_vec();
        let mesh = QuadMesh {
            positions,
            quads: vec![[0, 1, 2, 3]],
            groups: vec![],
        };
        assert_eq!(symmetric_triangles(&mesh, None), [[0, 1, 2], [0, 2, 3]]);
    }

    proptest! {
        #[test]
        fn any_mirrored_mesh_is_cut_symmetrically(
            columns in 1u32..5,
            rows in 1u32..5,
            bumps in prop::collection::vec(prop::sample::select(vec![0.0, 0.25, -0.25, 0.1]), 1..6),
        ) {
            assert_symmetric(&grid(columns, rows, &bumps));
        }

        /// About a slanted plane images agree only up to rounding.
        #[test]
        fn slanted_planes_keep_the_pairs(bumps in prop::collection::vec(-0.2f64..0.2, 1..6), angle in 0.1f64..1.4) {
            let flat = grid(3, 3, &bumps);
            let rotation = glam::DMat3::from_rotation_z(angle);
            let shift = DVec3::new(3.0, -2.0, 7.0);
            let mut slanted = flat.clone();
            slanted.positions.iter_mut().for_each(|p| *p = rotation * *p + shift);
            let straight = MirrorPlane { origin: DVec3::ZERO, normal: DVec3::X };
            let plane = MirrorPlane { origin: shift, normal: rotation * DVec3::X * 3.0 };
            let expected = images(&flat.positions, straight);
            prop_assert!(expected.iter().all(Option::is_some));
            prop_assert_eq!(images(&slanted.positions, plane), expected);
        }
    }
}
