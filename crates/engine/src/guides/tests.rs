//! The stage as a whole, on tubes made by formula.

use std::f64::consts::{PI, TAU};

use mesh::DVec3;

use super::*;
use crate::symmetry::fixtures::{line, on_tube, pleat, pleated_tube, ring, tube};

const EDGE: f64 = 0.4;
const X: Plane = Plane {
    origin: DVec3::ZERO,
    normal: DVec3::X,
};

fn made(guides: &[Guide], plane: Option<Plane>) -> Result<GuideCurves, GuideError> {
    let options = GuideOptions::for_edge(EDGE);
    run(guides, &tube(160, 100), plane, &options, &Task::default()).map(|made| made.0)
}

fn one(guides: &[Guide], plane: Option<Plane>) -> Curve {
    let mut curves = made(guides, plane).unwrap().curves;
    assert_eq!(curves.len(), 1);
    curves.remove(0)
}

fn length(curve: &Curve) -> f64 {
    let line = Polyline {
        points: curve.points.clone(),
        closed: curve.closed,
    };
    line.length()
}

fn counted(mut guide: Guide, count: u32) -> Guide {
    guide.count = Some(count);
    guide
}

/// A small ring on the tube's side, around `turn`, at height 2.
fn patch(name: &str, turn: f64) -> Guide {
    let at = |i: u32| f64::from(i) / 24.0 * TAU;
    Guide {
        name: name.to_owned(),
        kind: GuideKind::Ring,
        closed: true,
        count: None,
        points: (0..24)
            .map(|i| on_tube(1.0, turn + 0.08 * at(i).cos(), 2.0 + 0.5 * at(i).sin()))
            .collect(),
    }
}

#[test]
fn a_sparse_ring_is_filled_and_stays_on_the_sculpt() {
    let curve = one(&[ring("ring", GuideKind::Ring, 7, |_| 2.0)], None);
    assert!(curve.closed);
    // Circumference 2 π r; the sculpt's own polygon is a hair shorter.
    assert!(
        (length(&curve) / TAU - 1.0).abs() < 0.01,
        "{}",
        length(&curve)
    );
    let spacing = EDGE / 8.0;
    for i in 0..curve.points.len() {
        let (a, b) = (curve.points[i], curve.points[(i + 1) % curve.points.len()]);
        assert!(a.distance(b) < 2.0 * spacing);
        assert!(
            (a.x.hypot(a.z) - 1.0).abs() < 0.002 && (a.y - 2.0).abs() < 0.01,
            "{a}"
        );
    }
}

#[test]
fn a_line_through_the_air_goes_over_the_sculpt_instead() {
    let far = Guide {
        points: vec![on_tube(1.0, 0.0, 1.0), on_tube(1.0, 0.49, 1.4)],
        ..line("far", GuideKind::Line, 0.0, 1.0, 2.0)
    };
    let curve = one(&[far], None);
    // The shortest way on a cylinder unrolls to a straight line: √(arc² + rise²).
    let straight = (0.98 * PI).hypot(0.4);
    assert!(
        length(&curve) > 0.98 * straight && length(&curve) < 1.1 * straight,
        "{}",
        length(&curve)
    );
    assert!(
        curve
            .points
            .iter()
            .all(|p| (p.x.hypot(p.z) - 1.0).abs() < 0.01)
    );
}

#[test]
fn jitter_goes_and_the_drawing_stays() {
    let mut guide = ring("ring", GuideKind::Ring, 126, |turn| {
        2.0 + 0.3 * (turn * TAU).sin()
    });
    for (i, p) in guide.points.iter_mut().enumerate() {
        p.y += if i % 2 == 0 { 0.1 * EDGE } else { -0.1 * EDGE };
    }
    let curve = one(&[guide], None);
    for p in &curve.points {
        let turn = (-p.z).atan2(p.x) / TAU;
        let off = p.y - 2.0 - 0.3 * (turn * TAU).sin();
        assert!(off.abs() < 0.05 * EDGE, "{p} {off}");
    }
}

#[test]
fn what_cannot_be_a_curve_is_refused_by_name() {
    let good = || ring("ring", GuideKind::Ring, 20, |_| 2.0);
    let mut away = good();
    away.points[4] *= DVec3::new(3.0, 1.0, 3.0);
    assert!(
        matches!(made(&[away], None), Err(GuideError::OffSculpt { guide, point: 5, .. }) if guide == "ring")
    );
    let mut short = good();
    short.points.truncate(2);
    assert!(matches!(
        made(&[short], None),
        Err(GuideError::TooFewPoints {
            least: 3,
            got: 2,
            ..
        })
    ));
    assert!(matches!(
        made(&[counted(good(), 2)], None),
        Err(GuideError::CountTooSmall { count: 2, .. })
    ));
    let dot = Guide {
        points: vec![on_tube(1.0, 0.0, 1.0), on_tube(1.0, 0.01, 1.0)],
        ..line("dot", GuideKind::Line, 0.0, 1.0, 2.0)
    };
    assert!(matches!(
        made(&[dot], None),
        Err(GuideError::TooShort { .. })
    ));
    let options = GuideOptions::for_edge(0.0);
    let refused = run(&[good()], &tube(20, 10), None, &options, &Task::default());
    assert!(matches!(refused, Err(GuideError::BadEdge { .. })));
    let task = Task::default();
    task.cancel();
    let refused = run(
        &[good()],
        &tube(20, 10),
        None,
        &GuideOptions::for_edge(EDGE),
        &task,
    );
    assert!(matches!(refused, Err(GuideError::Cancelled(_))));
}

#[test]
fn a_ring_across_the_plane_is_halved() {
    let across = || ring("ring", GuideKind::Ring, 40, |_| 2.0);
    let curve = one(&[counted(across(), 12)], Some(X));
    assert_eq!(
        (curve.closed, curve.ends, curve.count),
        (false, [CurveEnd::Plane; 2], Some(6))
    );
    assert!((length(&curve) / PI - 1.0).abs() < 0.01);
    let [first, last] = [curve.points[0], curve.points[curve.points.len() - 1]];
    assert_eq!((first.x, last.x), (0.0, 0.0));
    assert!(curve.points.iter().all(|p| p.x >= 0.0));
    let refused = made(&[counted(across(), 13)], Some(X));
    let Err(error @ GuideError::OddCount { .. }) = refused else {
        panic!("{refused:?}")
    };
    assert!(error.to_string().contains("12 or 14"), "{error}");
}

#[test]
fn two_drawings_of_one_thing_become_one_curve() {
    // Turns 0.1 and 0.4 are mirror images about x = 0.
    let pair = || [patch("left", 0.1), patch("right", 0.4)];
    let curves = made(&pair(), Some(X)).unwrap();
    assert_eq!(curves.curves.len(), 1);
    assert_eq!(curves.curves[0].guides, vec![0, 1]);
    assert!(curves.curves[0].points.iter().all(|p| p.x > 0.0));
    let [left, right] = pair();
    let curve = one(&[left.clone(), counted(right.clone(), 8)], Some(X));
    assert_eq!(curve.count, Some(8));
    let refused = made(&[counted(left, 8), counted(right.clone(), 10)], Some(X));
    assert!(
        matches!(&refused, Err(GuideError::CountsDiffer { one, two, .. }) if one == "left" && two == "right"),
        "{refused:?}"
    );
    // Alone behind the plane it is mirrored to the front.
    let curve = one(&[right], Some(X));
    assert!(
        curve
            .points
            .iter()
            .all(|p| p.x > 0.0 && (p.x.hypot(p.z) - 1.0).abs() < 0.002)
    );
}

#[test]
fn a_line_on_the_plane_is_the_centre_line() {
    let curves = made(&[line("seam", GuideKind::Line, 0.252, 1.0, 3.0)], Some(X)).unwrap();
    assert!(curves.curves.is_empty());
    assert_eq!(curves.on_plane, vec![0]);
}

/// Found by the robustness corpus: an opening drawn with few points round a sheet's edge cut its
/// corners, so that it was no longer taken for the edge once quads were small.
#[test]
fn an_opening_drawn_sparsely_on_the_boundary_is_the_boundary() {
    let rim = made(&[ring("rim", GuideKind::Opening, 50, |_| 4.0)], None).unwrap();
    assert_eq!(rim.on_boundary, [true]);
    // Five chords round a tube of radius 1 lie 0.19 off it: many edges of 0.01.
    let five = [ring("rim", GuideKind::Opening, 5, |_| 4.0)];
    let options = GuideOptions::for_edge(0.01);
    let sculpt = tube(160, 100);
    let sparse = run(&five, &sculpt, None, &options, &Task::default()).unwrap();
    assert_eq!(sparse.0.on_boundary, [true]);
    assert_eq!(sparse.0.curves[0].points.len(), rim.curves[0].points.len());
    let mut backward = five;
    backward[0].points.reverse();
    let turned = run(&backward, &sculpt, None, &options, &Task::default()).unwrap();
    let mut points = turned.0.curves[0].points.clone();
    points.reverse();
    assert_eq!(points, sparse.0.curves[0].points);
}

#[test]
fn an_opening_beside_the_boundary_is_the_boundary() {
    let near = |turn: f64| 4.0 - 0.5 * EDGE * (3.0 * turn * TAU).sin().abs();
    let curves = made(&[ring("rim", GuideKind::Opening, 50, near)], None).unwrap();
    assert_eq!(curves.on_boundary, vec![true]);
    let curve = &curves.curves[0];
    assert_eq!(curve.points.len(), 160);
    assert!(curve.closed && curve.points.iter().all(|p| p.y == 4.0));
    // In the direction in which it was drawn: rising turns.
    let turn = |p: &DVec3| (-p.z).atan2(p.x);
    let step = (turn(&curve.points[1]) - turn(&curve.points[0])).rem_euclid(TAU);
    assert!(step < PI);
    // Further away it isn't.
    let far = made(
        &[ring("rim", GuideKind::Opening, 50, |_| 4.0 - 0.8 * EDGE)],
        None,
    )
    .unwrap();
    assert_eq!(far.on_boundary, vec![false]);
    // Only a piece of it.
    let arc = Guide {
        closed: false,
        points: (0..=20)
            .map(|i| on_tube(1.0, 0.9 + f64::from(i) * 0.01, 3.95))
            .collect(),
        ..ring("arc", GuideKind::Opening, 3, |_| 4.0)
    };
    let curves = made(&[arc], None).unwrap();
    assert_eq!(curves.on_boundary, vec![true]);
    assert!((length(&curves.curves[0]) / (0.2 * TAU) - 1.0).abs() < 0.02);
}

#[test]
fn ends_that_nearly_reach_something_reach_it() {
    let guides = [
        ring("ring", GuideKind::Ring, 40, |_| 2.0),
        line("seam", GuideKind::Line, 0.1, 1.0, 2.0 - 0.3 * EDGE),
    ];
    let curves = made(&guides, None).unwrap();
    let end = curves.curves[1].points[curves.curves[1].points.len() - 1];
    assert!((end.y - 2.0).abs() < 0.01, "{end}");
    // And the plane: turn 0.25 is on it, 0.25 − 0.02 is 0.126 away.
    let across = Guide {
        closed: false,
        points: (0..=20)
            .map(|i| on_tube(1.0, 0.05 + f64::from(i) * 0.009, 2.0))
            .collect(),
        ..ring("across", GuideKind::Line, 3, |_| 2.0)
    };
    let curve = one(&[across], Some(X));
    assert_eq!(curve.ends, [CurveEnd::Free, CurveEnd::Plane]);
    assert_eq!(curve.points[curve.points.len() - 1].x, 0.0);
}

/// An opening beside the rim of a pleated cloth, drawn with two points a pleat: the straight pieces
/// between them run under the crests, through both walls.
#[test]
fn a_sparse_opening_on_pleats_stays_on_the_outer_wall() {
    let sculpt = pleated_tube(240, 160);
    let mut hem = ring("hem", GuideKind::Opening, 12, |_| 0.0);
    hem.points = (0..12)
        .map(|i| (f64::from(i / 2) + if i % 2 == 0 { -0.22 } else { 0.27 }) / 6.0)
        .map(|turn| on_tube(pleat(turn), turn, 0.1 + 0.05 * (5.0 * turn * TAU).sin()))
        .collect();
    for edge in [0.4, 0.15, 0.08, 0.04] {
        let options = GuideOptions::for_edge(edge);
        let guides = std::slice::from_ref(&hem);
        let (curves, _) = run(guides, &sculpt, None, &options, &Task::default()).unwrap();
        for p in &curves.curves[0].points {
            let turn = (-p.z).atan2(p.x) / TAU;
            // The walls are 0.08 apart along the radius.
            let off = pleat(turn) - p.x.hypot(p.z);
            assert!(
                off < 0.02,
                "{off} inside of the outer wall at {p}, edge {edge}"
            );
        }
    }
}

#[test]
fn a_ring_drawn_otherwise_on_the_other_side_is_aimed_between_both_drawings() {
    // 0.1 higher at x = 1 than at the plane, 0.1 lower at x = -1.
    let tilted = ring("tilted", GuideKind::Ring, 24, |turn| {
        2.0 + 0.1 * (turn * TAU).cos()
    });
    let tilted = [tilted];
    assert!(one(&tilted, None).aims.is_empty());
    let curve = one(&tilted, Some(X));
    assert_eq!(curve.aims.len(), curve.points.len());
    let highest = curve.points.iter().map(|p| p.y).fold(0.0, f64::max);
    assert!(highest > 2.09, "{highest}");
    for aim in &curve.aims {
        assert!((aim.y - 2.0).abs() < 0.01, "{aim}");
        // Along the sculpt, not down to the drawn chords: their sagitta is 0.0086.
        assert!((aim.x.hypot(aim.z) - 1.0).abs() < 0.004, "{aim}");
        assert!(aim.x >= 0.0, "{aim}");
    }
}

#[test]
fn two_rings_that_are_one_by_symmetry_are_aimed_between_both() {
    let mut other = patch("right", 0.5);
    other.points.iter_mut().for_each(|p| p.y += 0.1);
    let curve = one(&[patch("left", 0.0), other], Some(X));
    let least = |of: &[DVec3]| of.iter().map(|p| p.y).fold(f64::INFINITY, f64::min);
    let most = |of: &[DVec3]| of.iter().map(|p| p.y).fold(0.0, f64::max);
    for (found, expected) in [
        (least(&curve.points), 1.5),
        (most(&curve.points), 2.5),
        (least(&curve.aims), 1.55),
        (most(&curve.aims), 2.55),
    ] {
        assert!((found - expected).abs() < 0.012, "{found} {expected}");
    }
}

#[test]
fn a_boundary_drawn_about_as_finely_as_quads_is_aimed_at_its_drawing() {
    let drawn = ring("hem", GuideKind::Opening, 16, |_| 0.0);
    let line = Polyline {
        points: drawn.points.clone(),
        closed: true,
    };
    let off = |of: &[DVec3]| {
        let each = of.iter().filter_map(|&p| line.nearest(p));
        each.map(|n| n.distance).fold(0.0, f64::max)
    };
    let curve = one(&[drawn], None);
    // Sagitta of a chord over a 16th of a circle of radius 1 (handbook mensuration): 1 - cos(π / 16).
    let sagitta = 1.0 - (PI / 16.0).cos();
    assert!((off(&curve.points) / sagitta - 1.0).abs() < 0.1);
    assert!(off(&curve.aims) < 0.05 * sagitta, "{}", off(&curve.aims));
    // Drawn with pieces of more than two quads, it says nothing about what lies between.
    assert!(
        one(&[ring("hem", GuideKind::Opening, 7, |_| 0.0)], None)
            .aims
            .is_empty()
    );
}
