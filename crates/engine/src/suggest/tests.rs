//! Proposals on exact shapes, against closed forms.

use std::f64::consts::{FRAC_PI_2, TAU};

use base::Task;
use mesh::{DVec3, TriMesh};

use super::*;
use crate::model::GuideKind;
use crate::symmetry::fixtures::{grid, sculpt_of};

fn proposed(mesh: TriMesh, edge: f64, guides: &[Guide], plane: Option<Plane>) -> Vec<Proposal> {
    let options = SuggestOptions { edge, plane };
    run(&sculpt_of(mesh), guides, &options, &Task::default()).unwrap()
}

/// A surface of revolution around y, open at both ends.
fn turned(radius: impl Fn(f64) -> f64, height: f64) -> TriMesh {
    grid(64, 200, [true, false], |u, v| {
        let (r, a) = (radius(v * height), TAU * u);
        DVec3::new(r * a.cos(), v * height, -r * a.sin())
    })
}

const STRAIGHT: f64 = 16.0;
const BEND: f64 = 14.0;
const RADIUS: f64 = 4.0;

/// An open tube along a quarter turn between two straight pieces, in the plane z = 0.
fn bent_tube() -> TriMesh {
    let total = 2.0 * STRAIGHT + BEND * FRAC_PI_2;
    grid(48, 120, [true, false], |u, v| {
        let s = v * total;
        let angle = ((s - STRAIGHT) / BEND).clamp(0.0, FRAC_PI_2);
        let along = DVec3::new(angle.sin(), angle.cos(), 0.0);
        let out = DVec3::new(-angle.cos(), angle.sin(), 0.0);
        let straight = s.min(STRAIGHT) * DVec3::Y + (s - STRAIGHT - BEND * angle).max(0.0) * along;
        let a = TAU * u;
        straight + BEND * (DVec3::X + out) + RADIUS * (a.cos() * out + a.sin() * DVec3::Z)
    })
}

fn length(p: &Proposal) -> f64 {
    mesh::runs::length(&p.guide.points, p.guide.closed)
}

fn middle(p: &Proposal) -> DVec3 {
    mesh::runs::centroid(&p.guide.points, p.guide.closed)
}

fn named<'a>(all: &'a [Proposal], word: &str) -> Vec<&'a Proposal> {
    all.iter().filter(|p| p.guide.name.contains(word)).collect()
}

/// What holds for every sculpt: names, counts, confidences, points on the sculpt, distances.
fn sound(all: &[Proposal], sculpt: &TriMesh, edge: f64) {
    let index = mesh::SurfaceIndex::new(std::sync::Arc::new(sculpt.clone()));
    for (i, p) in all.iter().enumerate() {
        assert!((0.0..=1.0).contains(&p.confidence) && !p.reason.is_empty());
        for &q in &p.guide.points {
            assert!(index.closest(q).unwrap().distance < 1e-5 * edge.max(1.0));
        }
        if p.guide.kind == GuideKind::Ring {
            let count = p.guide.count.unwrap();
            assert!(p.guide.closed && count.is_multiple_of(2) && count >= 4);
        }
        for other in &all[..i] {
            assert_ne!(p.guide.name, other.guide.name);
            if p.guide.kind == GuideKind::Ring && other.guide.kind == GuideKind::Ring {
                let near = |q: &DVec3| {
                    let all = other.guide.points.iter().map(|r| r.distance(*q));
                    all.fold(f64::INFINITY, f64::min)
                };
                // On these shapes no two rings are nearer through space than along the surface.
                let nearest = p
                    .guide
                    .points
                    .iter()
                    .map(near)
                    .fold(f64::INFINITY, f64::min);
                assert!(
                    nearest > 2.5 * edge,
                    "{} and {}: {nearest}",
                    p.guide.name,
                    other.guide.name
                );
            }
        }
    }
}

#[test]
fn a_bent_tube_gets_a_ring_at_its_bend() {
    let (tube, edge) = (bent_tube(), 1.5);
    let plane = Plane {
        origin: DVec3::ZERO,
        normal: DVec3::Z,
    };
    for plane in [None, Some(plane)] {
        let all = proposed(tube.clone(), edge, &[], plane);
        sound(&all, &tube, edge);
        let bends = named(&all, "bend");
        assert_eq!(bends.len(), 1, "{all:?}");
        // The middle line's curvature is 1/14 on the quarter turn and 0 elsewhere.
        let at = middle(bends[0]) - DVec3::new(BEND, STRAIGHT, 0.0);
        let (across, up) = (-at.x, at.y);
        assert!(across > -edge && up > -edge, "{at}");
        assert!((across.hypot(up) - BEND).abs() < 0.1 * RADIUS, "{at}");
        // A circle across a torus: 2πr.
        let exact = TAU * RADIUS;
        assert!(
            (length(bends[0]) / exact - 1.0).abs() < 0.01,
            "{}",
            length(bends[0])
        );
        let count = f64::from(bends[0].guide.count.unwrap());
        assert!((count - exact / edge).abs() <= 1.0, "{count}");
    }
}

#[test]
fn a_straight_cylinder_has_no_bends_and_no_steps() {
    let tube = turned(|_| 3.0, 30.0);
    let all = proposed(tube.clone(), 1.2, &[], None);
    sound(&all, &tube, 1.2);
    for word in ["bend", "step", "narrowest", "widest", "root"] {
        assert!(named(&all, word).is_empty(), "{word}: {all:?}");
    }
    // Behind both openings, 3 to 4 quads inside, and square to the axis: 2πr long.
    let cuffs = named(&all, "behind opening");
    assert_eq!(cuffs.len(), 2);
    for cuff in cuffs {
        let y = middle(cuff).y;
        let inside = y.min(30.0 - y) / 1.2;
        assert!((2.7..4.5).contains(&inside), "{inside}");
        assert!((length(cuff) / (TAU * 3.0) - 1.0).abs() < 0.01);
    }
}

#[test]
fn a_stepped_cylinder_gets_rings_at_its_step() {
    // Radius 3 below, 4.2 above, over a way of 1.2.
    let radius = |y: f64| 3.0 + 1.2 * ((y - 14.4) / 1.2).clamp(0.0, 1.0);
    let tube = turned(radius, 30.0);
    let all = proposed(tube.clone(), 1.0, &[], None);
    sound(&all, &tube, 1.0);
    let steps = named(&all, "step");
    assert!(!steps.is_empty(), "{all:?}");
    for step in steps {
        let y = middle(step).y;
        assert!((13.4..16.6).contains(&y), "{y}");
    }
}

#[test]
fn an_hourglass_gets_a_ring_at_its_waist() {
    // Narrowest at 15 with radius 3.
    let tube = turned(
        |y| 3.0 + 1.5 * (1.0 - (TAU * y / 30.0).cos().mul_add(-0.5, 0.5)),
        30.0,
    );
    let all = proposed(tube.clone(), 1.2, &[], None);
    sound(&all, &tube, 1.2);
    let waist = named(&all, "narrowest");
    assert_eq!(waist.len(), 1, "{all:?}");
    assert!((middle(waist[0]).y - 15.0).abs() < 1.2);
    assert!((length(waist[0]) / (TAU * 3.0) - 1.0).abs() < 0.01);
}

#[test]
fn a_torus_gets_a_ring_around_its_tube() {
    let torus = grid(120, 48, [true; 2], |u, v| {
        let (u, v) = (TAU * u, TAU * v);
        let r = 10.0 + 4.0 * v.cos();
        DVec3::new(r * u.cos(), r * u.sin(), 4.0 * v.sin())
    });
    let all = proposed(torus.clone(), 1.5, &[], None);
    sound(&all, &torus, 1.5);
    let rings: Vec<_> = all
        .iter()
        .filter(|p| p.guide.kind == GuideKind::Ring)
        .collect();
    assert!(!rings.is_empty(), "{all:?}");
    for ring in rings {
        // The shortest loop around the tube: 2πr.
        assert!(
            (length(ring) / (TAU * 4.0) - 1.0).abs() < 0.01,
            "{}",
            length(ring)
        );
    }
}

#[test]
fn a_ball_gets_no_rings_and_no_creases() {
    let all = proposed(crate::testing::ball(5), 0.15, &[], None);
    let stray = |p: &&Proposal| !p.guide.name.starts_with("centre line");
    assert!(!all.iter().any(|p| stray(&p)), "{all:?}");
}

/// A long wedge: a roof of two slopes, open below.
fn roof(height: f64) -> TriMesh {
    grid(80, 120, [false; 2], |u, v| {
        let x = 20.0 * u - 10.0;
        DVec3::new(x, 30.0 * v, height * (1.0 - x.abs() / 10.0))
    })
}

#[test]
fn a_wedge_gets_a_crease_along_its_edge() {
    let wedge = roof(10.0);
    let all = proposed(wedge.clone(), 1.0, &[], None);
    sound(&all, &wedge, 1.0);
    let ridges = named(&all, "ridge");
    assert!(!ridges.is_empty(), "{all:?}");
    for p in ridges {
        assert!(p.guide.points.iter().all(|q| q.x.abs() < 0.25), "{p:?}");
    }
    let x = Plane {
        origin: DVec3::new(-3.0, 0.0, 0.0),
        normal: DVec3::X,
    };
    // With a mirror plane elsewhere there is no other line to part it.
    let all = proposed(wedge, 1.0, &[], Some(x));
    let ridges = named(&all, "ridge");
    assert_eq!(ridges.len(), 1, "{all:?}");
    assert!(ridges[0].guide.points.iter().all(|q| q.x.abs() < 0.25));
    // All of it but the openings' neighbourhood.
    assert!(
        length(ridges[0]) > 30.0 - 2.0 * 3.0,
        "{}",
        length(ridges[0])
    );
    // And the roof turned over has a valley.
    let all = proposed(roof(-10.0), 1.0, &[], Some(x));
    assert_eq!(named(&all, "valley").len(), 1, "{all:?}");
    // A flat one has nothing.
    assert!(proposed(roof(0.5), 1.0, &[], Some(x)).is_empty());
}

#[test]
fn a_drawn_guide_is_not_proposed_again() {
    let tube = bent_tube();
    let first = proposed(tube.clone(), 1.5, &[], None);
    let drawn: Vec<Guide> = first.iter().map(|p| p.guide.clone()).collect();
    let again = proposed(tube.clone(), 1.5, &drawn, None);
    for p in &again {
        assert!(drawn.iter().all(|g| g.name != p.guide.name));
        for q in &p.guide.points {
            for g in &drawn {
                let near = g
                    .points
                    .iter()
                    .map(|r| r.distance(*q))
                    .fold(f64::INFINITY, f64::min);
                assert!(
                    p.guide.kind == GuideKind::Line || near > 2.5 * 1.5,
                    "{}",
                    p.guide.name
                );
            }
        }
    }
    assert!(named(&again, "bend").is_empty(), "{again:?}");
}

#[test]
fn one_thread_and_three_propose_the_same() {
    let with = |threads: usize| {
        let pool = rayon::ThreadPoolBuilder::new()
            .num_threads(threads)
            .build()
            .unwrap();
        pool.install(|| proposed(bent_tube(), 1.5, &[], None))
    };
    assert_eq!(with(1), with(3));
}

#[test]
fn an_edge_that_cannot_be_and_a_cancelled_task_are_refused() {
    let sculpt = sculpt_of(bent_tube());
    let mut options = SuggestOptions {
        edge: 0.0,
        plane: None,
    };
    let task = Task::default();
    let refused = run(&sculpt, &[], &options, &task);
    assert_eq!(refused, Err(SuggestError::BadEdge { edge: 0.0 }));
    options.edge = 1.5;
    task.cancel();
    let refused = run(&sculpt, &[], &options, &task);
    assert_eq!(refused, Err(SuggestError::Cancelled(Cancelled)));
}
