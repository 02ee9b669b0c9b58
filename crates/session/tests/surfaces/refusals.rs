//! What input can make a run refuse: one case for each stage's errors that reach the session.

use base::Task;
use engine::guides::GuideError;
use engine::model::{Guide, GuideKind};
use engine::quantise::QuantiseError;
use engine::symmetry::{PlaneChoice, SymmetryError};
use engine::work::WorkError;
use loopwright_session::{Session, SessionError, Settings, Size};
use mesh::DVec3;

use crate::support::{on_bent_tube, plane_through_origin, run, sculpt_of, settings, tube_ring};

fn tube() -> engine::model::Sculpt {
    sculpt_of(demo::bent_tube(6_000))
}

fn refused(guides: Vec<Guide>, faces: usize) -> SessionError {
    run(&tube(), &settings(guides, faces)).unwrap_err()
}

#[test]
fn clashing_counts_are_named() {
    let error = refused(
        vec![
            tube_ring("wrist", 8.0, Some(12)),
            tube_ring("shoulder", 46.0, Some(15)),
        ],
        320,
    );
    let SessionError::Quantise(QuantiseError::Clash { guides, .. }) = &error else {
        panic!("{error}")
    };
    assert_eq!(guides, &["wrist", "shoulder"]);
    assert!(error.to_string().contains("'wrist', 'shoulder'"), "{error}");
}

#[test]
fn a_guide_off_the_sculpt_is_named() {
    let mut guide = tube_ring("wrist", 8.0, None);
    guide.points[3] += DVec3::new(30.0, 0.0, 30.0);
    let error = refused(vec![guide], 320);
    assert!(
        matches!(&error, SessionError::Guides(GuideError::OffSculpt { guide, .. }) if guide == "wrist"),
        "{error}"
    );
}

#[test]
fn an_odd_count_across_the_plane_is_named() {
    let settings = Settings {
        plane: plane_through_origin(DVec3::Z),
        ..settings(vec![tube_ring("wrist", 8.0, Some(11))], 320)
    };
    let error = run(&tube(), &settings).unwrap_err();
    assert!(
        matches!(
            &error,
            SessionError::Guides(GuideError::OddCount { count: 11, .. })
        ),
        "{error}"
    );
}

#[test]
fn a_plane_beside_the_sculpt_is_refused() {
    let plane = engine::model::Plane {
        origin: DVec3::new(0.0, 1e3, 0.0),
        normal: DVec3::Y,
    };
    let settings = Settings {
        plane: PlaneChoice::Given(plane),
        ..settings(vec![], 320)
    };
    let error = run(&tube(), &settings).unwrap_err();
    assert!(
        matches!(
            error,
            SessionError::Symmetry(SymmetryError::NothingInFront { .. })
        ),
        "{error}"
    );
}

#[test]
fn an_opening_that_parts_nothing_is_named() {
    let opening = Guide {
        name: "slit".to_owned(),
        kind: GuideKind::Opening,
        closed: false,
        count: None,
        points: (0..=12)
            .map(|i| on_bent_tube(10.0 + f64::from(i), 0.25))
            .collect(),
    };
    let error = refused(vec![opening], 320);
    assert!(
        matches!(&error, SessionError::Work(WorkError::OpeningPartsNothing { guide, .. }) if guide == "slit"),
        "{error}"
    );
}

#[test]
fn an_edge_that_is_no_length_is_refused() {
    let mut settings = settings(vec![], 320);
    for edge in [0.0, -1.0, f64::NAN, f64::INFINITY] {
        settings.size = Size::Edge(edge);
        let error = run(&tube(), &settings).unwrap_err();
        assert!(matches!(error, SessionError::NoArea), "{edge}: {error}");
    }
}

#[test]
fn cancelling_ends_the_run() {
    let task = Task::default();
    task.cancel();
    let error = Session::new(tube())
        .run(&settings(vec![], 320), &task)
        .unwrap_err();
    assert!(error.is_cancelled(), "{error}");
}

#[test]
fn cancelling_is_heard_in_every_stage() {
    let sculpt = tube();
    let settings = Settings {
        plane: plane_through_origin(DVec3::Z),
        ..settings(vec![tube_ring("wrist", 8.0, Some(12))], 200)
    };
    for stage in [
        "symmetry", "guides", "work", "field", "layout", "quantise", "fill", "conform",
    ] {
        // A task hears its own cancelling through the handle that its progress holds.
        let handle = std::sync::Arc::new(std::sync::OnceLock::<Task>::new());
        let held = std::sync::Arc::clone(&handle);
        let task = Task::with_progress(move |name, _| {
            if name == stage
                && let Some(task) = held.get()
            {
                task.cancel();
            }
        });
        assert!(handle.set(task.clone()).is_ok());
        let outcome = Session::new(sculpt.clone()).run(&settings, &task);
        let error = outcome
            .err()
            .unwrap_or_else(|| panic!("stage {stage} was not stopped"));
        assert!(error.is_cancelled(), "{stage}: {error}");
    }
}
