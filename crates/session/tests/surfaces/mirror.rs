//! A tube that is symmetric about z = 0.

use std::collections::BTreeSet;

use base::{Findings, Task};
use engine::assemble::Sides;
use engine::model::Guide;
use engine::symmetry::PlaneChoice;
use loopwright_session::{Session, Settings};
use mesh::DVec3;

use crate::support::{
    bytes, on_bent_tube, plane_through_origin, sculpt_of, settings, sound, tube_ring,
};

fn mirrored(guides: Vec<Guide>, faces: usize) -> Settings {
    Settings {
        plane: plane_through_origin(DVec3::Z),
        ..settings(guides, faces)
    }
}

fn rings() -> Vec<Guide> {
    vec![
        tube_ring("wrist", 8.0, Some(12)),
        tube_ring("elbow", 27.0, None),
    ]
}

#[test]
fn a_ring_across_the_plane_keeps_its_count_on_the_whole() {
    let sculpt = sculpt_of(demo::bent_tube(12_000));
    let (outcome, measures) = sound(&sculpt, &mirrored(rings(), 320));
    assert_eq!(measures.guides[0].cycle_length, Some(12));
    let mirror = measures.mirror.unwrap();
    assert_eq!((mirror.error, mirror.faces_missing), (0.0, 0));
    let mesh = &outcome.surface;
    let key = |p: DVec3| [p.x, p.y, p.z].map(|c| (c + 0.0).to_bits());
    let all: BTreeSet<_> = mesh.positions.iter().map(|&p| key(p)).collect();
    assert!(
        mesh.positions
            .iter()
            .all(|&p| all.contains(&key(DVec3::new(p.x, p.y, -p.z))))
    );
    // The centre line: two straight runs of edges exactly on the plane, from rim to rim.
    let topology = mesh.topology();
    let on = |v: u32| mesh.positions[v as usize].z == 0.0;
    let edges: Vec<_> = topology
        .edges
        .iter()
        .filter(|e| on(e[0]) && on(e[1]))
        .collect();
    let vertices = (0..mesh.positions.len() as u32).filter(|&v| on(v)).count();
    assert_eq!(edges.len(), vertices - 2, "two open runs");
    let length: f64 = edges
        .iter()
        .map(|e| mesh.positions[e[0] as usize].distance(mesh.positions[e[1] as usize]))
        .sum();
    // Outer and inner bow of the tube: π/2 (R + r) + π/2 (R − r) and the straight pieces.
    let exact = 4.0 * 16.0 + std::f64::consts::PI * 14.0;
    assert!((length / exact - 1.0).abs() < 0.01, "{length} of {exact}");
    assert!(outcome.poles.is_empty(), "{:?}", outcome.poles);
}

#[test]
fn fitted_sides_have_the_mirrors_topology() {
    let sculpt = sculpt_of(demo::bent_tube(12_000));
    let mut session = Session::new(sculpt);
    let exact = mirrored(rings(), 320);
    let task = Task::default();
    let one = session.run(&exact, &task).unwrap();
    let other = session
        .run(
            &Settings {
                sides: Sides::Fit,
                ..exact
            },
            &task,
        )
        .unwrap();
    assert_eq!(one.surface.quads, other.surface.quads);
    // The tube is symmetric, so fitting has little to do.
    for (a, b) in one.surface.positions.iter().zip(&other.surface.positions) {
        assert!(a.distance(*b) < 0.05 * one.edge, "{a} {b}");
    }
}

#[test]
fn a_found_plane_serves_as_a_given_one() {
    let sculpt = sculpt_of(demo::bent_tube(12_000));
    let found = Settings {
        plane: PlaneChoice::Find,
        ..mirrored(rings(), 320)
    };
    let (outcome, measures) = sound(&sculpt, &found);
    assert!(outcome.plane.is_some());
    assert_eq!(measures.guides[0].cycle_length, Some(12));
}

#[test]
fn a_guide_drawn_on_both_sides_counts_once() {
    let sculpt = sculpt_of(demo::bent_tube(12_000));
    let seam = |name: &str, turn: f64| Guide {
        name: name.to_owned(),
        kind: engine::model::GuideKind::Line,
        closed: false,
        count: None,
        points: (0..=20)
            .map(|i| on_bent_tube(8.0 + f64::from(i), turn))
            .collect(),
    };
    let one = [rings(), vec![seam("front seam", 0.25)]].concat();
    let both = [one.clone(), vec![seam("back seam", 0.75)]].concat();
    let task = Task::default();
    let mut session = Session::new(sculpt);
    let mut of = |guides| session.run(&mirrored(guides, 320), &task).unwrap();
    let (a, mut other) = (of(one), of(both));
    // Names of groups and findings differ, the surface doesn't.
    other.surface.groups.clone_from(&a.surface.groups);
    (other.findings, other.poles) = (Findings::default(), a.poles.clone());
    let a = loopwright_session::Outcome {
        findings: Findings::default(),
        ..a
    };
    assert!(bytes(&a) == bytes(&other));
}
