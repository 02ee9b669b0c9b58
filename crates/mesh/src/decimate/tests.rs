use std::f64::consts::{PI, TAU};

use proptest::prelude::*;

use super::*;
use crate::{TriTopology, Vec3};

/// A closed or open torus-like grid; `place` maps two turns to space.
fn grid(around: u32, along: u32, closed: bool, place: impl Fn(f64, f64) -> DVec3) -> TriMesh {
    let rows = if closed { along } else { along + 1 };
    let at = |i: u32, j: u32| (j % rows) * around + i % around;
    let mut mesh = TriMesh::default();
    for j in 0..rows {
        for i in 0..around {
            let (u, v) = (
                f64::from(i) / f64::from(around),
                f64::from(j) / f64::from(along),
            );
            mesh.positions.push(place(u * TAU, v * TAU).as_vec3());
        }
    }
    for j in 0..along {
        for i in 0..around {
            let [a, b, c, d] = [at(i, j), at(i + 1, j), at(i + 1, j + 1), at(i, j + 1)];
            mesh.triangles.extend([[a, b, c], [a, c, d]]);
        }
    }
    mesh
}

fn torus(around: u32, along: u32) -> TriMesh {
    grid(around, along, true, |u, v| {
        let r = 3.0 + v.cos();
        DVec3::new(r * u.cos(), r * u.sin(), v.sin())
    })
}

fn tube(around: u32, along: u32) -> TriMesh {
    grid(around, along, false, |u, v| DVec3::new(u.cos(), u.sin(), v))
}

fn euler(mesh: &TriMesh) -> i64 {
    let links = TriTopology::new(mesh.positions.len(), &mesh.triangles).unwrap();
    mesh.positions.len() as i64 - links.edge_count() as i64 + mesh.triangles.len() as i64
}

#[test]
fn a_torus_keeps_its_hole_and_its_area() {
    // Area of a torus: 4π²Rr (handbook mensuration).
    let small = decimate(&torus(200, 100), 500);
    assert_eq!(small.positions.len(), 500);
    assert_eq!(euler(&small), 0);
    assert!((small.area() / (4.0 * PI * PI * 3.0) - 1.0).abs() < 0.02);
}

#[test]
fn passes_take_the_large_share_and_stay_close() {
    let small = decimate(&torus(600, 300), 400);
    assert_eq!(small.positions.len(), 400);
    assert_eq!(euler(&small), 0);
    let off = |p: &Vec3| {
        let p = p.as_dvec3();
        (p.truncate().length() - 3.0).hypot(p.z) - 1.0
    };
    let far = small
        .positions
        .iter()
        .map(|p| off(p).abs())
        .fold(0.0, f64::max);
    assert!(far < 0.03, "{far}");
}

#[test]
fn an_open_tube_keeps_both_ends() {
    let small = decimate(&tube(100, 100), 60);
    assert_eq!(euler(&small), 0);
    let heights = small.positions.iter().map(|p| f64::from(p.z));
    let (low, high) = heights.fold((9.0f64, 0.0f64), |(l, h), z| (l.min(z), h.max(z)));
    assert!(low.abs() < 1e-3 && (high - TAU).abs() < 1e-3);
}

#[test]
fn a_cube_needs_eight_vertices() {
    let n = 9u32;
    let mut mesh = TriMesh::default();
    let mut name = std::collections::BTreeMap::new();
    let mut at = |p: [u32; 3], mesh: &mut TriMesh| {
        *name.entry(p).or_insert_with(|| {
            mesh.positions.push(Vec3::from_array(p.map(|x| x as f32)));
            mesh.positions.len() as u32 - 1
        })
    };
    for axis in 0..3usize {
        for side in [0, n] {
            for (i, j) in (0..n * n).map(|k| (k % n, k / n)) {
                let corner = |di, dj| {
                    let mut p = [0; 3];
                    (p[axis], p[(axis + 1) % 3], p[(axis + 2) % 3]) = (side, i + di, j + dj);
                    p
                };
                let [a, b, c, d] =
                    [(0, 0), (1, 0), (1, 1), (0, 1)].map(|(i, j)| at(corner(i, j), &mut mesh));
                let quad = if side == n {
                    [a, b, c, d]
                } else {
                    [d, c, b, a]
                };
                mesh.triangles
                    .extend([[quad[0], quad[1], quad[2]], [quad[0], quad[2], quad[3]]]);
            }
        }
    }
    let small = decimate(&mesh, 8);
    assert_eq!((small.positions.len(), small.triangles.len()), (8, 12));
    let side = f64::from(n);
    assert!((small.area() - 6.0 * side * side).abs() < 1e-3);
}

#[test]
fn the_smallest_surfaces_stay() {
    let tetrahedron = TriMesh {
        positions: vec![Vec3::ZERO, Vec3::X, Vec3::Y, Vec3::Z],
        triangles: vec![[0, 2, 1], [0, 1, 3], [1, 2, 3], [2, 0, 3]],
    };
    assert_eq!(decimate(&tetrahedron, 0).triangles.len(), 4);
    assert_eq!(decimate(&TriMesh::default(), 5), TriMesh::default());
    assert_eq!(euler(&decimate(&torus(12, 8), 0)), 0);
}

#[test]
fn sweeps_keep_the_kind_of_surface_and_are_farther_off() {
    let mesh = torus(200, 100);
    let plain = decimate_in_sweeps(&mesh, 500);
    assert_eq!(plain.positions.len(), 500);
    assert_eq!(euler(&plain), 0);
    assert!((plain.area() / (4.0 * PI * PI * 3.0) - 1.0).abs() < 0.05);
    let best = decimate(&mesh, 500);
    let off = |small: TriMesh| {
        let index = crate::SurfaceIndex::new(std::sync::Arc::new(small));
        let far = mesh
            .positions
            .iter()
            .map(|p| index.closest(p.as_dvec3()).unwrap().distance.powi(2));
        far.sum::<f64>()
    };
    assert!(off(best) < off(plain));
    assert_eq!(
        decimate_in_sweeps(&TriMesh::default(), 5),
        TriMesh::default()
    );
    let open = decimate_in_sweeps(&tube(60, 40), 50);
    assert_eq!((euler(&open), open.positions.len()), (0, 50));
}

#[test]
fn threads_make_no_difference() {
    let mesh = torus(400, 150);
    let alone = rayon::ThreadPoolBuilder::new()
        .num_threads(1)
        .build()
        .unwrap();
    assert_eq!(decimate(&mesh, 300), alone.install(|| decimate(&mesh, 300)));
}

proptest! {
    #[test]
    fn any_target_leaves_a_manifold_of_the_same_kind(
        around in 5u32..20,
        along in 3u32..12,
        target in 0usize..120,
        bumps in prop::collection::vec(-1.0f32..1.0, 240),
    ) {
        let mut mesh = tube(around, along);
        for (p, bump) in mesh.positions.iter_mut().zip(bumps.iter().cycle()) {
            *p += Vec3::splat(0.1 * bump);
        }
        let small = decimate(&mesh, target);
        prop_assert_eq!(euler(&small), 0);
        prop_assert!(small.positions.len() >= target.min(mesh.positions.len()));
    }
}
