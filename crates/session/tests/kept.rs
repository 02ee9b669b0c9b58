//! What a session keeps between runs must not show in its results.

// A panic is how a test fails.
#![allow(clippy::unwrap_used)]

use base::Task;
use engine::assemble::Sides;
use engine::intake::{self, IntakeOptions, RawTriangles};
use engine::model::{Guide, GuideKind, Plane, Sculpt};
use engine::symmetry::PlaneChoice;
use loopwright_session::{Outcome, Session, Settings, Size};
use mesh::DVec3;

fn sculpt() -> Sculpt {
    let mesh = demo::sphere(12_000);
    let raw = RawTriangles {
        positions: mesh.positions,
        triangles: mesh.triangles,
        parts: vec![],
    };
    intake::run(&raw, &IntakeOptions::default(), &Task::default())
        .unwrap()
        .0
}

/// A ring around the ball at a height, cm.
fn ring(height: f64) -> Guide {
    let radius = (100.0 - height * height).sqrt();
    let point = |i: u32| {
        let turn = std::f64::consts::TAU * f64::from(i) / 48.0;
        DVec3::new(radius * turn.cos(), height, radius * turn.sin())
    };
    Guide {
        name: "ring".to_owned(),
        kind: GuideKind::Ring,
        closed: true,
        count: None,
        points: (0..48).map(point).collect(),
    }
}

fn settings(height: f64, faces: usize, plane: bool) -> Settings {
    let x = Plane {
        origin: DVec3::ZERO,
        normal: DVec3::X,
    };
    Settings {
        guides: vec![ring(height)],
        plane: if plane {
            PlaneChoice::Given(x)
        } else {
            PlaneChoice::None
        },
        sides: Sides::Mirror,
        size: Size::Faces(faces),
        adapt: 0.0,
        edits: vec![],
        intent: Default::default(),
        holds: Vec::new(),
    }
}

/// Everything in an outcome but the times, to the bit.
fn all(outcome: &Outcome) -> (Vec<[u64; 3]>, String) {
    let bits = outcome
        .surface
        .positions
        .iter()
        .map(|p| p.to_array().map(f64::to_bits));
    let Outcome {
        surface,
        patch_of_quad,
        poles,
        findings,
        plane,
        edge,
        ..
    } = outcome;
    let rest = (
        &surface.quads,
        &surface.groups,
        patch_of_quad,
        poles,
        findings,
        plane,
        edge.to_bits(),
    );
    (bits.collect(), format!("{rest:?}"))
}

#[test]
fn runs_after_other_runs_are_as_runs_from_scratch() {
    let sculpt = sculpt();
    let task = Task::default();
    let mut session = Session::new(sculpt.clone());
    // A guide moved, another size, no plane, and back: each finds other work kept.
    let each = [
        settings(1.0, 200, true),
        settings(1.5, 200, true),
        settings(1.5, 300, true),
        settings(1.5, 300, false),
        settings(1.0, 200, true),
    ];
    for (i, settings) in each.iter().enumerate() {
        let kept = session.run(settings, &task).unwrap();
        let fresh = Session::new(sculpt.clone()).run(settings, &task).unwrap();
        assert!(all(&kept) == all(&fresh), "run {i} differs");
        assert!(!kept.surface.quads.is_empty());
    }
}
