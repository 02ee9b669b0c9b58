//! A small coat, end to end.

use base::Task;
use demo::DemoOptions;
use engine::model::{Guide, GuideKind, Sculpt};
use loopwright_session::{Session, Settings};
use mesh::DVec3;

use crate::support::{bytes, checked, failing, plane_through_origin, sculpt_of, settings};

const FACES: usize = 1_000;

pub fn coat() -> (Sculpt, Settings) {
    let options = DemoOptions {
        triangles: 60_000,
        ..DemoOptions::default()
    };
    let coat = demo::coat(&options, &Task::default()).unwrap();
    let guides = coat.guides.iter().map(|g| Guide {
        name: g.name.clone(),
        kind: match g.kind {
            "ring" => GuideKind::Ring,
            "opening" => GuideKind::Opening,
            _ => GuideKind::Line,
        },
        closed: g.closed,
        count: g.count,
        points: g.points.clone(),
    });
    let settings = Settings {
        plane: plane_through_origin(DVec3::X),
        ..settings(guides.collect(), FACES)
    };
    (sculpt_of(coat.mesh), settings)
}

fn with_threads<T: Send>(threads: usize, work: impl FnOnce() -> T + Send) -> T {
    rayon::ThreadPoolBuilder::new()
        .num_threads(threads)
        .build()
        .unwrap()
        .install(work)
}

#[test]
fn a_coat_passes_its_checks_and_is_the_same_each_time() {
    let (sculpt, settings) = coat();
    let task = Task::default();
    let (once, again) = with_threads(2, || {
        let mut session = Session::new(sculpt.clone());
        let once = session.run(&settings, &task).unwrap();
        (once, session.run(&settings, &task).unwrap())
    });
    assert!(bytes(&once) == bytes(&again), "a second run differs");
    let alone = with_threads(1, || {
        Session::new(sculpt.clone()).run(&settings, &task).unwrap()
    });
    assert!(bytes(&once) == bytes(&alone), "one thread and two differ");

    let (measures, findings) = checked(&sculpt, &settings, &once);
    assert_eq!(failing(&findings), Vec::<String>::new());
    assert_eq!(failing(&once.findings), Vec::<String>::new());
    assert_eq!(measures.counts.quad_share, 1.0);
    assert_eq!(measures.strips.spirals, 0);
    assert_eq!(measures.mirror.as_ref().map(|m| m.error), Some(0.0));
    for (guide, measured) in settings.guides.iter().zip(&measures.guides) {
        if guide.count.is_some() && guide.closed {
            assert_eq!(
                measured.cycle_length,
                guide.count.map(|n| n as usize),
                "{}",
                guide.name
            );
        }
        if guide.kind == GuideKind::Ring {
            assert_eq!(measured.poles, 0, "{}", guide.name);
        }
    }
    for pole in &once.poles {
        assert!(pole.reason.len() > 20, "{pole:?}");
    }
}
