//! Fields against topology (Poincaré–Hopf; H. Hopf 1926) and against known fields.

use std::collections::BTreeMap;

use base::Task;
use mesh::DVec3;

use super::*;
use crate::intent::{Aims, PinAim};
use crate::model::{Chain, ChainSource, WorkSurface};

/// A sphere of radius 1 from an icosahedron, each face cut in four `rounds` times.
fn sphere(rounds: usize) -> WorkSurface {
    let g = (1.0 + 5f64.sqrt()) / 2.0;
    let mut positions: Vec<DVec3> = [
        [-1.0, g, 0.0],
        [1.0, g, 0.0],
        [-1.0, -g, 0.0],
        [1.0, -g, 0.0],
        [0.0, -1.0, g],
        [0.0, 1.0, g],
        [0.0, -1.0, -g],
        [0.0, 1.0, -g],
        [g, 0.0, -1.0],
        [g, 0.0, 1.0],
        [-g, 0.0, -1.0],
        [-g, 0.0, 1.0],
    ]
    .map(|p| DVec3::from_array(p).normalize())
    .to_vec();
    let mut triangles: Vec<[u32; 3]> = vec![
        [0, 11, 5],
        [0, 5, 1],
        [0, 1, 7],
        [0, 7, 10],
        [0, 10, 11],
        [1, 5, 9],
        [5, 11, 4],
        [11, 10, 2],
        [10, 7, 6],
        [7, 1, 8],
        [3, 9, 4],
        [3, 4, 2],
        [3, 2, 6],
        [3, 6, 8],
        [3, 8, 9],
        [4, 9, 5],
        [2, 4, 11],
        [6, 2, 10],
        [8, 6, 7],
        [9, 8, 1],
    ];
    for _ in 0..rounds {
        let mut middle: BTreeMap<(u32, u32), u32> = BTreeMap::new();
        let mut finer = Vec::with_capacity(triangles.len() * 4);
        for t in &triangles {
            let m = [0, 1, 2].map(|i| {
                let (a, b) = (t[i].min(t[(i + 1) % 3]), t[i].max(t[(i + 1) % 3]));
                *middle.entry((a, b)).or_insert_with(|| {
                    positions.push((positions[a as usize] + positions[b as usize]).normalize());
                    positions.len() as u32 - 1
                })
            });
            finer.extend([
                [t[0], m[0], m[2]],
                [m[0], t[1], m[1]],
                [m[2], m[1], t[2]],
                [m[0], m[1], m[2]],
            ]);
        }
        triangles = finer;
    }
    WorkSurface {
        positions,
        triangles,
        chains: vec![],
        edge: 0.1,
    }
}

/// A torus of radii 3 and 1.
fn torus(around: u32, across: u32) -> WorkSurface {
    let mut surface = WorkSurface {
        edge: 0.3,
        ..WorkSurface::default()
    };
    let tau = std::f64::consts::TAU;
    for i in 0..around {
        for j in 0..across {
            let (u, v) = (
                tau * f64::from(i) / f64::from(around),
                tau * f64::from(j) / f64::from(across),
            );
            let r = 3.0 + v.cos();
            surface
                .positions
                .push(DVec3::new(r * u.cos(), r * u.sin(), v.sin()));
        }
    }
    let at = |i: u32, j: u32| (i % around) * across + j % across;
    for i in 0..around {
        for j in 0..across {
            surface
                .triangles
                .push([at(i, j), at(i + 1, j), at(i + 1, j + 1)]);
            surface
                .triangles
                .push([at(i, j), at(i + 1, j + 1), at(i, j + 1)]);
        }
    }
    surface
}

fn field_of(surface: &WorkSurface) -> Field {
    run(
        surface,
        &Aims::none(surface.positions.len()),
        &FieldOptions {
            smoothing_rounds: 0,
            curvature: 0.0,
            ..FieldOptions::default()
        },
        &Task::default(),
    )
    .unwrap()
    .0
}

#[test]
fn a_sphere_has_eight_three_poles() {
    // Eight indices of +1/4 sum to the sphere's Euler characteristic 2 (Poincaré–Hopf), and are
    // the smoothest field's singularities (Knöppel et al. 2013, figure 1, from memory).
    let field = field_of(&sphere(3));
    assert_eq!(field.singularities.len(), 8);
    assert!(field.singularities.iter().all(|s| s.quarters == 1));
}

#[test]
fn indices_on_a_torus_sum_to_nought() {
    // The torus has Euler characteristic 0 (Poincaré–Hopf).
    let field = field_of(&torus(60, 24));
    assert_eq!(
        field.singularities.iter().map(|s| s.quarters).sum::<i32>(),
        0
    );
}

#[test]
fn a_square_plate_follows_its_sides() {
    let n = 20u32;
    let mut surface = WorkSurface {
        edge: 1.0 / f64::from(n),
        ..WorkSurface::default()
    };
    for j in 0..=n {
        for i in 0..=n {
            surface
                .positions
                .push(DVec3::new(f64::from(i), f64::from(j), 0.0) / f64::from(n));
        }
    }
    let at = |i: u32, j: u32| j * (n + 1) + i;
    for j in 0..n {
        for i in 0..n {
            surface
                .triangles
                .push([at(i, j), at(i + 1, j), at(i + 1, j + 1)]);
            surface
                .triangles
                .push([at(i, j), at(i + 1, j + 1), at(i, j + 1)]);
        }
    }
    let sides: [Vec<u32>; 4] = [
        (0..=n).map(|i| at(i, 0)).collect(),
        (0..=n).map(|j| at(n, j)).collect(),
        (0..=n).rev().map(|i| at(i, n)).collect(),
        (0..=n).rev().map(|j| at(0, j)).collect(),
    ];
    for vertices in sides {
        surface.chains.push(Chain {
            source: ChainSource::Boundary,
            closed: false,
            vertices,
        });
    }
    let field = field_of(&surface);
    assert!(field.singularities.is_empty());
    // At every inner vertex one of the four directions runs along the edge to the right.
    for j in 1..n {
        for i in 1..n {
            let h = field.topology.half_between(at(i, j), at(i + 1, j)).unwrap();
            let off = wrap(
                field.angle[at(i, j) as usize] - field.frames.outgoing(h),
                std::f64::consts::FRAC_PI_2,
            );
            assert!(off.abs() < 0.02, "vertex {i} {j}: {off}");
        }
    }
}

#[test]
fn a_surface_that_is_not_manifold_is_refused() {
    let mut surface = sphere(1);
    surface.triangles.push(surface.triangles[0]);
    let error = run(
        &surface,
        &Aims::none(surface.positions.len()),
        &FieldOptions::default(),
        &Task::default(),
    )
    .unwrap_err();
    assert!(
        matches!(
            error,
            FieldError::Surface(mesh::TopologyError::NonManifoldEdge { .. })
        ),
        "{error}"
    );
    assert!(error.to_string().contains("not manifold"));
}

#[test]
fn cancelling_stops_the_field() {
    let task = Task::default();
    task.cancel();
    let error = run(&sphere(1), &Aims::none(0), &FieldOptions::default(), &task).unwrap_err();
    assert_eq!(error, FieldError::Cancelled(base::Cancelled));
}

/// The torus with one ring around its tube: the shortest field has needless pairs.
fn ringed_torus() -> WorkSurface {
    let (around, across) = (60, 24);
    let mut surface = torus(around, across);
    surface.chains.push(Chain {
        vertices: (0..across).collect(),
        closed: true,
        source: ChainSource::Curve(0),
    });
    surface
}

#[test]
fn pairs_that_serve_nothing_are_taken_out() {
    let surface = ringed_torus();
    let plain = field_of(&surface);
    let options = FieldOptions {
        smoothing_rounds: 0,
        curvature: 0.0,
        cancel_reach: 10.0,
        cancel_price: 20.0,
    };
    let (field, _) = run(
        &surface,
        &Aims::none(surface.positions.len()),
        &options,
        &Task::default(),
    )
    .unwrap();
    assert!(!plain.singularities.is_empty(), "nothing to take out");
    // χ = 0, and a torus has fields without singular places (Poincaré–Hopf).
    assert_eq!(field.singularities, []);
    // The ring still has its direction.
    for v in 0..24 {
        let turn = wrap(field.angle[v] - plain.angle[v], std::f64::consts::FRAC_PI_2);
        assert!(turn.abs() < 1e-9);
    }
}

#[test]
fn a_walk_takes_index_from_its_start_to_its_end() {
    let surface = sphere(3);
    let field = field_of(&surface);
    let middles: Vec<DVec3> = surface
        .triangles
        .iter()
        .map(|t| {
            t.iter()
                .map(|&v| surface.positions[v as usize])
                .sum::<DVec3>()
                / 3.0
        })
        .collect();
    let fixed = vec![None; surface.positions.len()];
    let pull = Pull::of_curvature(&field.topology, &field.frames, &field.smooth, 0.0);
    for start in 0..4 {
        let from = field.singularities[start];
        let system = System::new(&field.topology, &field.frames, &fixed, &pull).unwrap();
        let angle = field.angle.clone();
        let mut periods = Periods::new(&field.topology, system, &pull, angle);
        // Its walks to triangles a little away, two rings of triangles off.
        let goals: Vec<u32> = (0..surface.triangles.len() as u32)
            .filter(|&t| {
                let way = middles[t as usize].distance(middles[from.triangle as usize]);
                way > 0.15 && way < 0.3
            })
            .collect();
        let (to, _, walk) = periods.walks(&middles, from.triangle, &goals, 0.5)[0].clone();
        periods.carry(&walk, from.quarters);
        periods.solve();
        assert!(periods.is_true());
        let mut moved = field.clone();
        moved.angle = periods.angle.clone();
        moved.find_singularities();
        let mut wanted: Vec<(u32, i32)> = field
            .singularities
            .iter()
            .map(|s| {
                (
                    if s.triangle == from.triangle {
                        to
                    } else {
                        s.triangle
                    },
                    s.quarters,
                )
            })
            .collect();
        wanted.sort_unstable();
        let found: Vec<(u32, i32)> = moved
            .singularities
            .iter()
            .map(|s| (s.triangle, s.quarters))
            .collect();
        assert_eq!(found, wanted);
    }
}

/// A sphere of radius 1, its field with these aims, and the sum of its indices.
fn steered(aims: &Aims) -> (WorkSurface, Field, i32) {
    let surface = sphere(4);
    let options = FieldOptions {
        smoothing_rounds: 0,
        ..FieldOptions::default()
    };
    let (field, _) = run(&surface, aims, &options, &Task::default()).unwrap();
    let sum = field.singularities.iter().map(|s| s.quarters).sum();
    (surface, field, sum)
}

fn middle_of(surface: &WorkSurface, triangle: u32) -> DVec3 {
    let corners = surface.triangles[triangle as usize].map(|v| surface.positions[v as usize]);
    corners.iter().sum::<DVec3>() / 3.0
}

#[test]
fn a_pole_comes_to_its_pin() {
    let count = sphere(4).positions.len();
    for (pin, quarters) in [
        (DVec3::new(1.0, 2.0, 3.0), 1),
        (DVec3::new(-2.0, 1.0, 0.5), -1),
    ] {
        let mut aims = Aims::none(count);
        aims.quad = 0.2;
        aims.pins.push(PinAim {
            pin: 0,
            at: pin.normalize(),
            quarters,
        });
        let (surface, field, sum) = steered(&aims);
        let there = field.pinned[0].unwrap();
        assert!(middle_of(&surface, there).distance(pin.normalize()) < 0.5 * aims.quad);
        assert!(field.singularities.contains(&Singularity {
            triangle: there,
            quarters,
        }));
        // χ = 2: eight quarter turns, however many poles there are (Poincaré–Hopf).
        assert_eq!(sum, 8);
        // A sphere has no pole of five by itself: it comes with one of three.
        assert_eq!(
            field.singularities.len(),
            if quarters == 1 { 8 } else { 10 }
        );
    }
}

#[test]
fn poles_leave_a_keep_out() {
    let (surface, plain, _) = steered(&Aims::none(sphere(4).positions.len()));
    let place = middle_of(&surface, plain.singularities[0].triangle);
    let mut aims = Aims::none(surface.positions.len());
    aims.quad = 0.15;
    for (barred, p) in aims.barred.iter_mut().zip(&surface.positions) {
        *barred = p.distance(place) < 0.4;
    }
    let (_, field, sum) = steered(&aims);
    assert_eq!((sum, field.singularities.len()), (8, 8));
    for one in &field.singularities {
        let corners = surface.triangles[one.triangle as usize];
        assert!(!corners.iter().any(|&v| aims.barred[v as usize]), "{one:?}");
    }
}
