use std::sync::Arc;

use proptest::prelude::*;

use super::build::{LEAF, STACK};
use super::triangle::{Ray, closest_on_triangle};
use super::*;
use crate::Vec3;

/// Numbers from 0 to 1 (SplitMix64: Steele, Lea & Flood, OOPSLA 2014).
struct Numbers(u64);

impl Numbers {
    fn next(&mut self) -> f64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        ((z ^ (z >> 31)) >> 11) as f64 / (1u64 << 53) as f64
    }

    fn point(&mut self, size: f64) -> DVec3 {
        DVec3::new(self.next(), self.next(), self.next()) * size - size / 2.0
    }
}

/// Triangles of many shapes: `corners` picks few vertices, so that many triangles share some
/// or have two corners in one place.
fn soup(seed: u64, triangles: usize, corners: usize) -> SurfaceIndex {
    let mut numbers = Numbers(seed);
    let positions: Vec<Vec3> = (0..corners)
        .map(|_| numbers.point(10.0).as_vec3())
        .collect();
    let mut pick = || ((numbers.next() * corners as f64) as u32).min(corners as u32 - 1);
    let triangles = (0..triangles).map(|_| [pick(), pick(), pick()]).collect();
    SurfaceIndex::new(Arc::new(TriMesh {
        positions,
        triangles,
    }))
}

/// A sphere of radius 1 by latitude and longitude, its triangles facing out.
fn sphere(around: u32, along: u32) -> TriMesh {
    let mut mesh = TriMesh::default();
    for j in 0..=along {
        for i in 0..around {
            let (u, v) = (
                f64::from(i) / f64::from(around),
                f64::from(j) / f64::from(along),
            );
            let (u, v) = (u * std::f64::consts::TAU, v * std::f64::consts::PI);
            // Exactly 0 at the ends, so that all of a pole's vertices are in one place.
            let radius = if j == 0 || j == along { 0.0 } else { v.sin() };
            let p = DVec3::new(radius * u.sin(), v.cos(), radius * u.cos());
            mesh.positions.push(p.as_vec3());
        }
    }
    for j in 0..along {
        for i in 0..around {
            let at = |i: u32, j: u32| j * around + i % around;
            mesh.triangles
                .push([at(i, j), at(i, j + 1), at(i + 1, j + 1)]);
            mesh.triangles
                .push([at(i, j), at(i + 1, j + 1), at(i + 1, j)]);
        }
    }
    mesh
}

fn brute_closest(
    index: &SurfaceIndex,
    p: DVec3,
    reach: f64,
    accept: impl Fn(u32) -> bool,
) -> Option<Closest> {
    let mut best: Option<Closest> = None;
    for triangle in 0..index.mesh.triangles.len() as u32 {
        let (point, barycentric) = closest_on_triangle(p, index.mesh.corners(triangle as usize));
        let distance = point.distance(p);
        if accept(triangle) && distance <= reach && best.is_none_or(|b| distance < b.distance) {
            best = Some(Closest {
                triangle,
                point,
                distance,
                barycentric,
            });
        }
    }
    best
}

fn brute_ray(
    index: &SurfaceIndex,
    origin: DVec3,
    direction: DVec3,
    far: f64,
) -> Option<(u32, f64)> {
    let ray = Ray::new(origin, direction)?;
    let mut best: Option<(u32, f64)> = None;
    for triangle in 0..index.mesh.triangles.len() as u32 {
        if let Some(distance) = ray.meet(index.mesh.corners(triangle as usize))
            && distance <= far
            && best.is_none_or(|b| distance < b.1)
        {
            best = Some((triangle, distance));
        }
    }
    best
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(96))]

    #[test]
    fn closest_points_agree_with_brute_force(seed: u64, triangles in 1usize..300, corners in 1usize..60, reach in 0.0..4.0) {
        let index = soup(seed, triangles, corners);
        let mut numbers = Numbers(!seed);
        for _ in 0..8 {
            let p = numbers.point(16.0);
            prop_assert_eq!(index.closest(p), brute_closest(&index, p, f64::INFINITY, |_| true));
            prop_assert_eq!(index.closest_within(p, reach), brute_closest(&index, p, reach, |_| true));
            let odd = |t: u32| t % 2 == 1;
            prop_assert_eq!(index.closest_where(p, reach, odd), brute_closest(&index, p, reach, odd));
            // Wherever it starts, even at a triangle that doesn't exist.
            for near in [0, seed as u32 % 300, u32::MAX] {
                let found = index.closest_from(p, reach, Some(near), odd);
                prop_assert_eq!(found, brute_closest(&index, p, reach, odd));
            }
        }
    }

    #[test]
    fn rays_agree_with_brute_force(seed: u64, triangles in 1usize..300, corners in 3usize..200, far in 0.0..20.0) {
        let index = soup(seed, triangles, corners);
        let mut numbers = Numbers(!seed);
        for i in 0..12 {
            let origin = numbers.point(16.0);
            let mut direction = numbers.point(2.0);
            if i % 3 == 0 {
                direction[i / 3 % 3] = 0.0;
            }
            if i % 4 == 0 {
                direction[(i / 3 + 1) % 3] = 0.0;
            }
            let hit = index.ray(origin, direction, far).map(|h| (h.triangle, h.distance));
            prop_assert_eq!(hit, brute_ray(&index, origin, direction, far));
        }
    }

    #[test]
    fn the_nearest_point_is_no_further_than_any_other(seed: u64, flat: bool) {
        let mut numbers = Numbers(seed);
        let [a, b] = [numbers.point(4.0), numbers.point(4.0)];
        let c = if flat { a + (b - a) * (3.0 * numbers.next() - 1.0) } else { numbers.point(4.0) };
        let p = numbers.point(8.0);
        let (point, weights) = closest_on_triangle(p, [a, b, c]);
        prop_assert!(weights.iter().all(|w| (0.0..=1.0).contains(w)), "{:?}", weights);
        prop_assert!((weights.iter().sum::<f64>() - 1.0).abs() < 1e-12);
        let mixed = weights[0] * a + weights[1] * b + weights[2] * c;
        prop_assert!(mixed.distance(point) < 1e-12);
        for i in 0..=10 {
            for j in 0..=10 - i {
                let (u, v) = (f64::from(i) / 10.0, f64::from(j) / 10.0);
                let other = a + u * (b - a) + v * (c - a);
                prop_assert!(point.distance(p) <= other.distance(p) + 1e-12);
            }
        }
    }
}

/// Between two level walls a hundredth apart, nearer to the lower.
#[test]
fn what_stays_close_to_its_wall_is_not_drawn_to_a_nearer_one() {
    let corners = [[-1.0, -1.0], [3.0, -1.0], [-1.0, 3.0]];
    let wall = |z: f32| corners.map(|[x, y]| Vec3::new(x, y, z));
    let index = SurfaceIndex::new(Arc::new(TriMesh {
        positions: [wall(0.0), wall(0.01)].concat(),
        triangles: vec![[0, 1, 2], [3, 4, 5]],
    }));
    let p = DVec3::new(0.2, 0.3, 0.004);
    let asked = |near: Option<u32>, close: f64, p: DVec3, reach: f64| {
        let found = index.closest_staying(p, reach, near, close, |_| true);
        found.map(|found| found.triangle)
    };
    assert_eq!(asked(Some(1), 0.02, p, 1.0), Some(1));
    // Not close, not asked to stay, no such triangle, or out of reach.
    assert_eq!(asked(Some(1), 0.001, p, 1.0), Some(0));
    assert_eq!(asked(None, 0.02, p, 1.0), Some(0));
    assert_eq!(asked(Some(7), 0.02, p, 1.0), Some(0));
    assert_eq!(asked(Some(1), 0.02, p, 0.005), Some(0));
    // Beside the triangle its rim is no foot.
    let beside = DVec3::new(-1.001, 0.3, 0.004);
    assert_eq!(asked(Some(1), 0.02, beside, 1.0), Some(0));
    assert_eq!(asked(Some(1), 0.02, DVec3::NAN, 1.0), None);
    let refused = index.closest_staying(p, 1.0, Some(1), 0.02, |t| t == 0);
    assert_eq!(refused.map(|found| found.triangle), Some(0));
}

/// Distance from a point at radius r to a unit sphere is |r - 1|; the facets lie inside by at
/// most the sagitta 1 - cos(half the step), handbook geometry of the circular segment.
#[test]
fn distances_to_a_sphere_are_those_of_the_formula() {
    let index = SurfaceIndex::new(Arc::new(sphere(256, 128)));
    let step = std::f64::consts::TAU / 256.0;
    let sagitta = 2.0 * (1.0 - (step / 2.0).cos()) + 1e-6;
    let mut numbers = Numbers(7);
    for _ in 0..200 {
        let p = numbers.point(5.0);
        let off = index.closest(p).unwrap().distance - (p.length() - 1.0).abs();
        assert!(off.abs() <= sagitta, "{off} at {p}");
        let hit = index.ray(p.normalize() * 3.0, -p, 10.0).unwrap();
        assert!((hit.distance - 2.0).abs() <= sagitta, "{hit:?}");
        assert!((hit.point.length() - 1.0).abs() <= sagitta);
    }
}

/// Rays at vertices and along meridians of a closed surface never slip through.
#[test]
fn rays_through_shared_sides_and_corners_hit() {
    let index = SurfaceIndex::new(Arc::new(sphere(24, 12)));
    for (i, target) in index.mesh().positions.iter().enumerate() {
        let target = target.as_dvec3();
        let next = index.mesh().positions[(i + 1) % 24].as_dvec3();
        for origin in [DVec3::new(0.1, 0.2, -0.05), target * 5.0] {
            assert!(
                index.ray(origin, target - origin, 10.0).is_some(),
                "vertex {i}"
            );
            assert!(
                index
                    .ray(origin, (target + next) / 2.0 - origin, 10.0)
                    .is_some(),
                "side {i}"
            );
        }
    }
}

#[test]
fn broken_input_is_passed_over() {
    let empty = SurfaceIndex::new(Arc::new(TriMesh::default()));
    assert_eq!(empty.closest(DVec3::ZERO), None);
    assert_eq!(empty.ray(DVec3::ZERO, DVec3::X, 1.0), None);
    let mesh = TriMesh {
        positions: vec![Vec3::ZERO, Vec3::X, Vec3::Y, Vec3::splat(f32::NAN)],
        triangles: vec![[0, 1, 3], [0, 1, 9], [1, 1, 1], [0, 1, 2]],
    };
    let index = SurfaceIndex::new(Arc::new(mesh));
    let p = DVec3::new(0.2, 0.2, 1.0);
    assert_eq!(index.closest(p).unwrap().triangle, 3);
    assert_eq!(index.closest(DVec3::X * 2.0).unwrap().triangle, 2);
    assert_eq!(index.ray(p, -DVec3::Z, 2.0).unwrap().distance, 1.0);
    assert_eq!(index.ray(p, DVec3::ZERO, 2.0), None);
    assert_eq!(index.ray(p, -DVec3::Z, 0.5), None);
    assert_eq!(index.ray(p, -DVec3::Z, f64::NAN), None);
    assert_eq!(index.closest(DVec3::splat(f64::NAN)), None);
    assert_eq!(index.closest_within(p, -1.0), None);
    assert_eq!(index.closest_within(p, 1.0).unwrap().distance, 1.0);
}

/// Many triangles in one place, and sizes that grow without end: both would make a tree
/// without a depth limit as deep as there are triangles.
#[test]
fn the_tree_stays_shallow() {
    let same = TriMesh {
        positions: vec![Vec3::ZERO, Vec3::X, Vec3::Y],
        triangles: vec![[0, 1, 2]; 5000],
    };
    let mut growing = TriMesh::default();
    for i in 0..3000 {
        let size = 1.05_f32.powi(i % 1500 - 900);
        let at = growing.positions.len() as u32;
        growing
            .positions
            .extend([Vec3::ZERO, Vec3::X * size, Vec3::Y * size]);
        growing.triangles.push([at, at + 1, at + 2]);
    }
    for mesh in [same, growing] {
        let count = mesh.triangles.len();
        let index = SurfaceIndex::new(Arc::new(mesh));
        let mut found = vec![0; count];
        let mut waiting = vec![(0usize, 1usize)];
        while let Some((at, depth)) = waiting.pop() {
            assert!(depth < STACK);
            let node = &index.nodes[at];
            if node.count > 0 {
                assert!(node.count as usize <= LEAF);
                let first = node.link as usize;
                index.order[first..first + node.count as usize]
                    .iter()
                    .for_each(|&t| found[t as usize] += 1);
            } else {
                waiting.extend([(at + 1, depth + 1), (at + node.link as usize, depth + 1)]);
            }
        }
        assert!(found.iter().all(|&n| n == 1));
        assert_eq!(
            index.closest(DVec3::new(0.0, 0.0, 1.0)).unwrap().distance,
            1.0
        );
    }
}

#[test]
fn the_tree_is_small_and_the_same_for_any_number_of_threads() {
    let mesh = Arc::new(sphere(400, 100));
    let trees: Vec<String> = [1, 2, 3]
        .map(|threads| {
            let pool = rayon::ThreadPoolBuilder::new()
                .num_threads(threads)
                .build()
                .unwrap();
            let index = pool.install(|| SurfaceIndex::new(mesh.clone()));
            assert!(
                index.bytes() <= 40 * mesh.triangles.len(),
                "{}",
                index.bytes()
            );
            format!("{:?} {:?}", index.nodes, index.order)
        })
        .into();
    assert_eq!(trees[0], trees[1]);
    assert_eq!(trees[0], trees[2]);
}

#[test]
fn near_triangles_are_those_of_brute_force() {
    let index = soup(5, 900, 500);
    let mut numbers = Numbers(17);
    for reach in [0.0, 0.3, 2.0] {
        let (a, b) = (numbers.point(9.0), numbers.point(9.0));
        let (low, high) = (a.min(b), a.max(b).min(a.min(b) + 1.0));
        let mut found = Vec::new();
        index.visit_near((low, high), reach, |t, _| found.push(t));
        found.sort_unstable();
        let apart = |t: u32| {
            let [a, b, c] = index.mesh.corners(t as usize);
            let (from, to) = (a.min(b).min(c), a.max(b).max(c));
            (from - high).max(low - to).max(DVec3::ZERO).length()
        };
        let all = 0..index.mesh.triangles.len() as u32;
        let slow: Vec<u32> = all.filter(|&t| apart(t) <= reach).collect();
        assert!(found == slow && (reach < 2.0 || !slow.is_empty()));
    }
}

/// Around a sphere: 1 inside, 0 outside; around its upper half, the share of directions that
/// end on it: a cap seen from the centre covers one half, from height h below it less
/// (solid angle of a cap, 2 pi (1 - cos)).
#[test]
fn winding_numbers_of_spheres_and_halves() {
    let whole = Winding::new(Arc::new(SurfaceIndex::new(Arc::new(sphere(96, 64)))));
    let mut half = sphere(96, 64);
    half.triangles.truncate(96 * 32 * 2);
    let half = Winding::new(Arc::new(SurfaceIndex::new(Arc::new(half))));
    let mut numbers = Numbers(3);
    for _ in 0..300 {
        let p = numbers.point(3.0);
        let inside = if p.length() < 1.0 { 1.0 } else { 0.0 };
        if (p.length() - 1.0).abs() > 0.02 {
            assert!((whole.number(p) - inside).abs() < 0.05, "{p}");
        }
    }
    for h in [0.0, 0.3, 0.8, 2.0, 5.0] {
        let seen = (1.0 - h / f64::hypot(h, 1.0)) / 2.0;
        let p = DVec3::new(0.0, -h, 0.0);
        assert!(
            (half.number(p) - seen).abs() < 0.02,
            "{h} {}",
            half.number(p)
        );
    }
}
