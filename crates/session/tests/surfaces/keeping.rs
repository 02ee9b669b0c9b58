//! What stays where it was when a guide moves.

use std::collections::BTreeSet;

use base::{Findings, Level, Task};
use engine::edit::{Change, Edit, LoopPlace};
use loopwright_session::{Outcome, Session, Settings};
use mesh::{DVec3, QuadMesh, kept_quads};

use crate::coat::coat;
use crate::support::{checked, failing};

/// Share of the first surface's quads that the second has, corners within half an edge.
fn share(one: &Outcome, two: &Outcome) -> f64 {
    let kept = kept_quads(&one.surface, &two.surface, 0.5 * one.edge);
    kept.iter().filter(|&&k| k).count() as f64 / kept.len() as f64
}

/// Vertices in the same place to the bit.
fn unmoved(one: &QuadMesh, two: &QuadMesh) -> usize {
    let pairs = one.positions.iter().zip(&two.positions);
    pairs.filter(|(p, q)| p == q).count()
}

/// The settings with the guides whose name has a part moved.
fn moved(settings: &Settings, part: &str, by: DVec3) -> Settings {
    let mut settings = settings.clone();
    let mut found = 0;
    for guide in settings.guides.iter_mut().filter(|g| g.name.contains(part)) {
        let side = if guide.points[0].x < 0.0 { -1.0 } else { 1.0 };
        for p in &mut guide.points {
            *p += DVec3::new(side * by.x, by.y, by.z);
        }
        found += 1;
    }
    assert!(found > 0, "a guide has '{part}' in its name");
    settings
}

fn said(outcome: &Outcome, code: &str) -> Option<String> {
    let finding = outcome.findings.iter().find(|f| f.code == code);
    finding.map(|f| f.sentence.clone())
}

#[test]
fn a_guide_that_moves_a_little_leaves_the_topology_as_it_was() {
    let (sculpt, settings) = coat();
    let task = Task::default();
    let mut session = Session::new(sculpt.clone());
    let first = session.run(&settings, &task).unwrap();
    let (_, before) = checked(&sculpt, &settings, &first);
    for (part, by) in [
        ("elbow", DVec3::new(0.8, -0.6, 0.0)),
        ("waist", DVec3::new(0.0, 1.0, 0.0)),
    ] {
        let changed = moved(&settings, part, by);
        let anew = Session::new(sculpt.clone()).run(&changed, &task).unwrap();
        session.run(&settings, &task).unwrap();
        let kept = session.run_keeping(&changed, &task).unwrap();
        eprintln!(
            "{part}: {:.3} of the quads kept when computed anew, {:.3} when carried along, \
             {} of {} vertices to the bit; {:?} {:?}; fails: {:?}",
            share(&first, &anew),
            share(&first, &kept),
            unmoved(&first.surface, &kept.surface),
            first.surface.positions.len(),
            said(&kept, "topology-kept"),
            said(&kept, "topology-anew"),
            failing(&checked(&sculpt, &changed, &kept).1),
        );
        assert!(kept.surface.quads == first.surface.quads, "{part}");
        assert!(kept.surface.groups == first.surface.groups);
        // Where a pole is said to be may change with the guide; where it is in the mesh doesn't.
        let poles = |of: &Outcome| -> Vec<[u32; 2]> {
            of.poles.iter().map(|p| [p.vertex, p.valence]).collect()
        };
        assert_eq!(poles(&kept), poles(&first));
        let still = unmoved(&first.surface, &kept.surface);
        assert!(2 * still > first.surface.positions.len(), "{part}: {still}");
        assert!(share(&first, &kept) >= share(&first, &anew));
        // Nothing fails that didn't fail before the guide moved.
        let codes = |findings: &Findings| {
            let fails = findings.iter().filter(|f| f.level == Level::Fail);
            fails.map(|f| f.code.clone()).collect::<BTreeSet<_>>()
        };
        let (_, after) = checked(&sculpt, &changed, &kept);
        assert!(
            codes(&after).is_subset(&codes(&before)),
            "{:?}",
            failing(&after)
        );
        // To the same bytes a second time.
        session.run(&settings, &task).unwrap();
        let again = session.run_keeping(&changed, &task).unwrap();
        assert!(again.surface == kept.surface);
    }
}

#[test]
fn what_cant_be_carried_along_is_computed_anew_and_says_why() {
    let (sculpt, settings) = coat();
    let task = Task::default();
    let mut session = Session::new(sculpt.clone());
    let anew = |outcome: &Outcome, part: &str| {
        let sentence = said(outcome, "topology-anew").unwrap();
        assert!(sentence.contains(part), "{sentence}");
    };
    let first = session.run_keeping(&settings, &task).unwrap();
    anew(&first, "no surface yet");
    let far = moved(&settings, "elbow", DVec3::new(9.0, -9.0, 0.0));
    match session.run_keeping(&far, &task) {
        Ok(outcome) => anew(&outcome, "two edge lengths"),
        // The drawn points may come to lie off the sculpt, too.
        Err(problem) => assert!(problem.to_string().contains("elbow"), "{problem}"),
    }
    let mut other = settings.clone();
    other.adapt = 0.5;
    let outcome = session.run_keeping(&other, &task).unwrap();
    anew(&outcome, "more than the points");
    let plain = Session::new(sculpt).run(&other, &task).unwrap();
    assert!(outcome.surface == plain.surface);
}

#[test]
fn edits_are_played_on_what_was_carried_along() {
    let (sculpt, mut settings) = coat();
    let task = Task::default();
    let elbow = settings
        .guides
        .iter()
        .find(|g| g.name.contains("elbow"))
        .unwrap();
    let (at, next) = (elbow.points[0], elbow.points[1]);
    settings.edits = vec![Edit {
        number: 1,
        line: 0,
        change: Change::Insert {
            place: LoopPlace {
                at: at + DVec3::new(0.0, 0.0, 0.2),
                along: next - at,
            },
            share: 0.5,
        },
        recount: true,
    }];
    let mut session = Session::new(sculpt);
    let first = session.run(&settings, &task).unwrap();
    assert!(first.added_quads > 0);
    let changed = moved(&settings, "elbow", DVec3::new(0.2, -0.15, 0.0));
    let kept = session.run_keeping(&changed, &task).unwrap();
    assert!(said(&kept, "topology-kept").is_some());
    assert_eq!(kept.added_quads, first.added_quads);
}
