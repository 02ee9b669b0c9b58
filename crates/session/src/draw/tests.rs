// A panic is how a test fails.
#![allow(clippy::unwrap_used)]

use std::f64::consts::TAU;

use base::Task;
use engine::intake::{self, IntakeOptions, RawTriangles};
use mesh::{QuadMesh, runs};

use super::*;

fn taken(mesh: mesh::TriMesh) -> Pen {
    let raw = RawTriangles {
        positions: mesh.positions,
        triangles: mesh.triangles,
        parts: vec![],
    };
    let options = IntakeOptions {
        fill_holes: false,
        ..IntakeOptions::default()
    };
    let (sculpt, _) = intake::run(&raw, &options, &Task::default()).unwrap();
    Pen::new(sculpt).unwrap()
}

/// An open tube along y: radius 3, from y = −10 to 10.
fn tube() -> Pen {
    let (around, along) = (160u32, 100u32);
    let mut mesh = mesh::TriMesh::default();
    for j in 0..=along {
        for i in 0..around {
            let turn = TAU * f64::from(i) / f64::from(around);
            let y = -10.0 + 20.0 * f64::from(j) / f64::from(along);
            let p = DVec3::new(3.0 * turn.cos(), y, 3.0 * turn.sin());
            mesh.positions.push(p.as_vec3());
        }
    }
    for j in 0..along {
        for i in 0..around {
            let next = (i + 1) % around;
            let at = |i: u32, j: u32| j * around + i;
            mesh.triangles
                .push([at(i, j), at(i, j + 1), at(next, j + 1)]);
            mesh.triangles
                .push([at(i, j), at(next, j + 1), at(next, j)]);
        }
    }
    taken(mesh)
}

/// Parallel rays along −z through points of the view.
fn stroke(from: [f64; 2], to: [f64; 2]) -> Vec<Ray> {
    (0..=20)
        .map(|i| {
            let share = f64::from(i) / 20.0;
            let [x, y] = [0, 1].map(|k| from[k] + (to[k] - from[k]) * share);
            Ray {
                origin: DVec3::new(x, y, 50.0),
                direction: DVec3::NEG_Z,
            }
        })
        .collect()
}

/// Girth of a cylinder cut at a slant: Ramanujan's second approximation of an ellipse's circumference
/// (1914), exact to nine digits here.
fn ellipse(a: f64, b: f64) -> f64 {
    let h = ((a - b) / (a + b)).powi(2);
    std::f64::consts::PI * (a + b) * (1.0 + 3.0 * h / (10.0 + (4.0 - 3.0 * h).sqrt()))
}

#[test]
fn a_straight_stroke_across_a_tube_is_the_ellipse_of_its_slant() {
    let pen = tube();
    for slope in [0.0f64, 0.3, 0.7] {
        // From air to air.
        let drawn = pen
            .ring(
                &stroke([-4.0, -4.0 * slope], [4.0, 4.0 * slope]),
                None,
                1e-2,
            )
            .unwrap();
        assert!(drawn.closed);
        let expected = ellipse(3.0 * (1.0 + slope * slope).sqrt(), 3.0);
        let length = runs::length(&drawn.points, true);
        assert!(
            (length / expected - 1.0).abs() < 5e-3,
            "{slope}: {length} {expected}"
        );
        for p in &drawn.points {
            assert!((p.y - slope * p.x).abs() < 0.05, "{slope}: {p}");
            assert!((p.x.hypot(p.z) - 3.0).abs() < 2e-2);
        }
        assert!(drawn.points.len() < 90, "{}", drawn.points.len());
    }
}

#[test]
fn a_bent_stroke_is_followed_where_it_was_seen() {
    let pen = tube();
    let mut bent = stroke([-2.6, 0.0], [2.6, 0.0]);
    for ray in &mut bent {
        ray.origin.y = 0.8 * (1.0 - (ray.origin.x / 2.6).powi(2));
    }
    let drawn = pen.ring(&bent, None, 1e-3).unwrap();
    let front = drawn.points.iter().filter(|p| p.z > 2.9);
    assert!(front.clone().count() > 2);
    for p in front {
        assert!((p.y - 0.8).abs() < 0.1, "{p}");
    }
    let back = drawn.points.iter().filter(|p| p.z < -2.0);
    let mean = 0.8 * 2.0 / 3.0;
    for p in back {
        assert!((p.y - mean).abs() < 0.15, "{p}");
    }
}

#[test]
fn strokes_that_are_no_ring_say_why() {
    let pen = tube();
    let missed = pen.ring(&stroke([-4.0, 20.0], [4.0, 20.0]), None, 1e-3);
    assert_eq!(missed, Err(DrawError::Missed));
    let along = pen.ring(&stroke([0.0, -5.0], [0.0, 5.0]), None, 1e-3);
    assert_eq!(along, Err(DrawError::Open));
    let short = pen.ring(&stroke([-0.2, 0.0], [0.2, 0.0]), None, 1e-3);
    assert_eq!(short, Err(DrawError::NotAcross));
}

#[test]
fn a_ring_over_the_plane_is_its_own_image_to_the_bit() {
    let pen = tube();
    let plane = Plane {
        origin: DVec3::ZERO,
        normal: DVec3::X,
    };
    let drawn = pen
        .ring(&stroke([-4.0, -1.0], [4.0, 0.7]), Some(plane), 1e-3)
        .unwrap();
    for p in &drawn.points {
        let image = plane.mirror(*p);
        let found = drawn.points.contains(&image);
        assert!(found || p.x == 0.0, "{p}");
    }
    assert!(drawn.points.iter().filter(|p| p.x.abs() < 1e-12).count() >= 2);
    // No kink where the image meets it: a slanted stroke is squared to the plane.
    for p in &drawn.points {
        assert!((p.y - drawn.points[0].y).abs() < 0.05, "{p}");
    }
    assert!(pen.twin(&drawn.points, plane, 1e-3).is_none());
}

#[test]
fn a_line_lies_on_the_sculpt_and_keeps_its_ends() {
    let pen = tube();
    let drawn = pen
        .line(&stroke([-1.0, -6.0], [1.5, 6.0]), 0.5, 1e-3)
        .unwrap();
    assert!(!drawn.closed);
    let (first, last) = (drawn.points[0], drawn.points[drawn.points.len() - 1]);
    assert!((first.y + 6.0).abs() < 1e-6 && (last.x - 1.5).abs() < 1e-6);
    for p in &drawn.points {
        assert!((p.x.hypot(p.z) - 3.0).abs() < 5e-3);
    }
}

#[test]
fn a_boundary_is_picked_whole() {
    let pen = tube();
    let rim = pen
        .boundary_near(DVec3::new(3.0, 9.6, 0.0), 1.0, 1e-3)
        .unwrap();
    assert!((runs::length(&rim.points, true) / (TAU * 3.0) - 1.0).abs() < 2e-3);
    assert!(rim.points.iter().all(|p| (p.y - 10.0).abs() < 1e-5));
    let none = pen.boundary_near(DVec3::new(3.0, 0.0, 0.0), 1.0, 1e-3);
    assert_eq!(none, Err(DrawError::NoBoundary));
}

#[test]
fn rings_slide_along_their_limb_and_stop_at_its_end() {
    let pen = tube();
    let ring = pen
        .ring(&stroke([-4.0, 0.0], [4.0, 0.0]), None, 1e-3)
        .unwrap();
    let up = pen
        .slid(&ring.points, DVec3::new(0.5, 2.0, 0.0), None, 1e-3)
        .unwrap();
    assert!(up.iter().all(|p| (p.y - 2.0).abs() < 0.02));
    let beyond = pen.slid(&ring.points, DVec3::new(0.0, 12.0, 0.0), None, 1e-3);
    assert_eq!(beyond, Err(DrawError::LimbEnds));
}

#[test]
fn a_bend_moves_what_is_near_and_nothing_else() {
    let pen = tube();
    let line = pen
        .line(&stroke([0.0, -8.0], [0.0, 8.0]), 0.0, 1e-4)
        .unwrap();
    let from = DVec3::new(0.0, 0.0, 3.0);
    let to = pen.onto(DVec3::new(1.0, 0.0, 3.0));
    let bent = pen.bent(&line.points, false, from, to, 3.0, 1e-3);
    assert!(bent.iter().any(|p| p.distance(to) < 0.1));
    let far = bent.iter().filter(|p| p.y.abs() > 3.2);
    assert!(far.clone().count() >= 2);
    for p in far {
        assert!(p.x.abs() < 1e-3, "{p}");
    }
}

#[test]
fn points_are_drawn_to_ends_before_guides_before_the_centre_before_edges() {
    let pen = tube();
    let plane = Plane {
        origin: DVec3::ZERO,
        normal: DVec3::X,
    };
    let line = [DVec3::new(0.0, 0.0, 3.0), DVec3::new(0.0, 5.0, 3.0)];
    let guides = || std::iter::once((&line[..], false));
    let to = |p: DVec3| pen.snap(p, guides(), Some(plane), 0.5).map(|s| s.to);
    assert_eq!(to(DVec3::new(0.1, 0.2, 3.0)), Some(SnapTo::End(0)));
    assert_eq!(to(DVec3::new(0.1, 2.5, 3.0)), Some(SnapTo::Guide(0)));
    assert_eq!(to(DVec3::new(0.1, -4.0, 3.0)), Some(SnapTo::Centre));
    assert_eq!(to(DVec3::new(3.0, 9.8, 0.0)), Some(SnapTo::Boundary));
    assert_eq!(to(DVec3::new(3.0, 4.0, 0.0)), None);
}

#[test]
fn hidden_guides_arent_under_the_pen() {
    let pen = tube();
    let ring = pen
        .ring(&stroke([-4.0, 1.0], [4.0, 1.0]), None, 1e-3)
        .unwrap();
    let back = [DVec3::new(-1.0, -2.0, -2.83), DVec3::new(1.0, -2.0, -2.83)];
    let guides = || [(&ring.points[..], true), (&back[..], false)].into_iter();
    let ray = |y: f64| Ray {
        origin: DVec3::new(0.3, y, 50.0),
        direction: DVec3::NEG_Z,
    };
    let found = guide_under(&pen, &ray(1.1), guides(), 0.3).unwrap();
    assert_eq!(found.guide, 0);
    assert!(found.at.z > 2.5 && (found.distance - 0.1).abs() < 0.02);
    assert_eq!(guide_under(&pen, &ray(-2.0), guides(), 0.3), None);
}

#[test]
fn the_quad_corner_and_edge_under_a_ray() {
    let surface = QuadMesh {
        positions: vec![DVec3::ZERO, DVec3::X, DVec3::new(1.0, 1.0, 0.0), DVec3::Y],
        quads: vec![[0, 1, 2, 3]],
        groups: vec![],
    };
    let ray = |x: f64, y: f64| Ray {
        origin: DVec3::new(x, y, 5.0),
        direction: DVec3::NEG_Z,
    };
    let index = QuadIndex::new(&surface);
    let found = index.under(&ray(0.9, 0.6)).unwrap();
    assert_eq!((found.quad, found.vertex, found.side), (0, 2, 1));
    assert!(index.under(&ray(1.1, 0.5)).is_none());
    assert_eq!(
        index.under_all(&[ray(0.1, 0.2), ray(2.0, 0.0), ray(0.9, 0.6)]),
        [0]
    );
}

#[test]
fn splitting_and_joining_undo_each_other() {
    let points: Vec<DVec3> = (0..5).map(|i| DVec3::X * f64::from(i)).collect();
    let at = DVec3::X * 2.5;
    let [a, b] = split_open(&points, 2, at).unwrap();
    assert_eq!((a.len(), b.len()), (4, 3));
    let turned: Vec<DVec3> = b.iter().rev().copied().collect();
    assert_eq!(joined(&a, &turned, 0.1).unwrap().len(), 6);
    assert!(joined(&a[..2], &b, 0.1).is_none());
    let ring = [DVec3::X, DVec3::Y, DVec3::NEG_X, DVec3::NEG_Y];
    let open = split_closed(&ring, 1, DVec3::Y.lerp(DVec3::NEG_X, 0.5));
    assert_eq!(open.len(), 6);
    assert_eq!(open[0], open[5]);
    let names = ["ring 1", "ring 2"];
    assert_eq!(free_name("ring", names.into_iter()), "ring 3");
}

mod any {
    use proptest::prelude::*;

    use super::*;

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(24))]
        /// Simplified curves keep within the tolerance, on points that they had.
        #[test]
        fn simplified_curves_stay_near(ys in prop::collection::vec(-1.0f64..1.0, 4..60), closed: bool) {
            let points: Vec<DVec3> = ys.iter().zip(0u32..)
                .map(|(y, i)| {
                    let turn = TAU * f64::from(i) / ys.len() as f64;
                    DVec3::new((3.0 + y) * turn.cos(), *y, (3.0 + y) * turn.sin())
                })
                .collect();
            let kept = simplified(&points, closed, 0.2);
            let line = Polyline { points: kept, closed };
            for p in &points {
                prop_assert!(line.nearest(*p).unwrap().distance <= 0.2 + 1e-9);
            }
        }

        /// Straight strokes from air to air across a ball are circles through the stroke.
        #[test]
        fn strokes_across_a_ball(angle in 0.0..TAU, offset in -4.0f64..4.0) {
            thread_local!(static BALL: Pen = taken(demo::sphere(8_000)));
            BALL.with(|pen| {
                let (along, across) = ([angle.cos(), angle.sin()], [-angle.sin(), angle.cos()]);
                let at = |s: f64| [0, 1].map(|k| across[k] * offset + along[k] * s);
                let drawn = pen.ring(&stroke(at(-12.0), at(12.0)), None, 1e-3).unwrap();
                let radius = (100.0 - offset * offset).sqrt();
                let length = runs::length(&drawn.points, true);
                prop_assert!((length / (TAU * radius) - 1.0).abs() < 0.01);
                for p in &drawn.points {
                    prop_assert!((p.length() - 10.0).abs() < 0.05);
                    let off = p.x * across[0] + p.y * across[1] - offset;
                    prop_assert!(off.abs() < 0.1, "{}", off);
                }
                Ok(())
            })?;
        }
    }
}

/// A ray along −z through a pixel of a view whose pixels are hundredths of a unit.
fn pixel(at: glam::DVec2) -> Ray {
    Ray {
        origin: (at / 100.0).extend(50.0),
        direction: DVec3::NEG_Z,
    }
}

#[test]
fn a_dab_is_a_circle_of_the_brush_and_a_stroke_its_sweep() {
    use glam::DVec2;
    let pen = tube();
    let dab = pen
        .painted(&[DVec2::new(0.0, 100.0)], 80.0, pixel, 1e-3)
        .unwrap();
    assert!(dab.outline.closed);
    for p in &dab.outline.points {
        let from_middle = p.truncate().distance(DVec2::new(0.0, 1.0));
        // Half a cell inside the rim, and less by smoothing.
        assert!((0.6..=0.8).contains(&from_middle), "{p}");
        assert!(p.z > 2.8);
    }
    // Up and down, and up again over itself: a stadium, whose outline has length 2 l + 2 π r.
    let path = [-300.0, 300.0, -300.0].map(|y| DVec2::new(0.0, y));
    let swept = pen.painted(&path, 80.0, pixel, 1e-3).unwrap();
    let flat: Vec<DVec3> = swept.outline.points.iter().map(|p| p.with_z(0.0)).collect();
    let expected = 2.0 * 6.0 + TAU * 0.7;
    let length = runs::length(&flat, true);
    assert!(
        (length / expected - 1.0).abs() < 0.05,
        "{length} {expected}"
    );
    assert!(swept.rays.len() > dab.rays.len());
}

#[test]
fn paint_stays_on_the_limb_that_the_stroke_began_on() {
    use glam::DVec2;
    // A sheet that falls off steeply at x = 2.
    let mut mesh = mesh::TriMesh::default();
    for (x, z) in [(-9.0, 0.0), (2.0, 0.0), (2.01, -30.0), (9.0, -30.0)] {
        let ends = [-9.0, 9.0].map(|y| DVec3::new(x, y, z).as_vec3());
        mesh.positions.extend(ends);
    }
    for i in [0, 2, 4] {
        mesh.triangles
            .extend([[i, i + 2, i + 3], [i, i + 3, i + 1]]);
    }
    let pen = taken(mesh);
    let path = [0.0, 100.0, 200.0, 300.0, 400.0].map(|x| DVec2::new(x, 0.0));
    let painted = pen.painted(&path, 60.0, pixel, 1e-3).unwrap();
    for p in &painted.outline.points {
        assert!(p.z > -3.0, "{p}");
    }
    let missed = pen.painted(&[DVec2::new(9000.0, 0.0)], 60.0, pixel, 1e-3);
    assert_eq!(missed, Err(DrawError::Missed));
}
