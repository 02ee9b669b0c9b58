//! What a session keeps between runs must not show in its results.

// A panic is how a test fails.
#![allow(clippy::unwrap_used)]

mod ball;

use base::Task;
use engine::model::Plane;
use engine::symmetry::PlaneChoice;
use loopwright_session::{Outcome, Session, Settings, Size};
use mesh::DVec3;

use ball::{ring, sculpt};

fn settings(height: f64, faces: usize, plane: bool) -> Settings {
    let x = Plane {
        origin: DVec3::ZERO,
        normal: DVec3::X,
    };
    Settings {
        plane: if plane {
            PlaneChoice::Given(x)
        } else {
            PlaneChoice::None
        },
        size: Size::Faces(faces),
        ..ball::settings(vec![ring("ring", height, None)])
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
