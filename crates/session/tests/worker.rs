//! The thread behind the desk: the newest order wins, and its surfaces are those of a plain run.

// A panic is how a test fails.
#![allow(clippy::unwrap_used)]

mod ball;

use std::sync::mpsc::{Receiver, channel};

use base::Task;
use files::JobFile;
use loopwright_session::{
    Completed, Event, LayerFiles, Order, Outcome, Rest, Session, Settings, Way, Worker,
};

use ball::{ring, sculpt, settings};

fn order(stamp: u64, settings: Settings) -> Order {
    let text = "job = 1\n[sculpt]\nfile = 'ball.ply'\n";
    order_of(
        stamp,
        settings,
        JobFile::parse("ball.toml".as_ref(), text).unwrap(),
    )
}

fn order_of(stamp: u64, settings: Settings, job: JobFile) -> Order {
    Order {
        stamp,
        job,
        settings,
        way: Way::default(),
        reads_layers: false,
    }
}

fn started() -> (Worker, Receiver<()>) {
    let (sender, bell) = channel();
    let worker = Worker::start(sculpt(), LayerFiles::default(), move || {
        // The test may be over.
        let _ = sender.send(());
    });
    (worker.unwrap(), bell)
}

/// All events until the worker has nothing to do.
fn until_idle(worker: &Worker, bell: &Receiver<()>) -> Vec<Event> {
    let mut all = Vec::new();
    loop {
        let busy = worker.is_busy();
        all.extend(worker.poll());
        if !busy {
            return all;
        }
        bell.recv().unwrap();
    }
}

fn stamp_of(event: &Event) -> u64 {
    match event {
        Event::Progress { stamp, .. }
        | Event::Surface { stamp, .. }
        | Event::Layers { stamp, .. }
        | Event::Completed { stamp, .. }
        | Event::Refused { stamp, .. } => *stamp,
    }
}

/// The last surface that isn't only carried along.
fn surface(events: &[Event]) -> &Outcome {
    let mut surfaces = events.iter().rev().filter_map(|event| match event {
        Event::Surface {
            outcome,
            carried: false,
            ..
        } => Some(&**outcome),
        _ => None,
    });
    surfaces.next().unwrap()
}

#[test]
fn surfaces_are_those_of_a_plain_run_whatever_came_before() {
    let (worker, bell) = started();
    for (stamp, height) in [(1, 0.0), (2, 0.4), (3, -3.0)] {
        let settings = settings(vec![ring("belt", height, Some(16))]);
        worker.submit(order(stamp, settings.clone()));
        let events = until_idle(&worker, &bell);
        assert!(events.iter().all(|e| stamp_of(e) == stamp));
        assert!(events.iter().any(|e| matches!(e, Event::Completed { .. })));
        let plain = Session::new(sculpt())
            .run(&settings, &Task::default())
            .unwrap();
        assert_eq!(surface(&events).surface, plain.surface, "{height}");
    }
}

#[test]
fn a_ring_that_moved_a_little_is_followed_before_anything_is_computed_anew() {
    let (worker, bell) = started();
    worker.submit(order(1, settings(vec![ring("belt", 0.0, Some(16))])));
    let before = until_idle(&worker, &bell);
    worker.submit(order(2, settings(vec![ring("belt", 0.3, Some(16))])));
    let events = until_idle(&worker, &bell);
    let carried = events.iter().find_map(|event| match event {
        Event::Surface {
            outcome,
            carried: true,
            ..
        } => Some(outcome),
        _ => None,
    });
    assert_eq!(
        carried.unwrap().surface.quads,
        surface(&before).surface.quads
    );
}

#[test]
fn the_newest_order_wins() {
    let (worker, bell) = started();
    for stamp in 1..=6 {
        let height = stamp as f64 - 3.0;
        worker.submit(order(stamp, settings(vec![ring("belt", height, Some(16))])));
    }
    let events = until_idle(&worker, &bell);
    let surfaces = events.iter().filter(|e| matches!(e, Event::Surface { .. }));
    assert_eq!(surfaces.map(stamp_of).collect::<Vec<_>>(), [6]);
}

#[test]
fn a_refusal_says_why_and_the_next_order_is_served() {
    let (worker, bell) = started();
    worker.submit(order(
        1,
        settings(vec![
            ring("belt", 0.0, Some(7)),
            ring("belt two", 5.0, Some(8)),
        ]),
    ));
    let events = until_idle(&worker, &bell);
    let refused = events.iter().find_map(|event| match event {
        Event::Refused { message, .. } => Some(message.clone()),
        _ => None,
    });
    assert!(refused.unwrap().contains("belt"));
    worker.submit(order(2, settings(vec![ring("belt", 0.0, Some(16))])));
    surface(&until_idle(&worker, &bell));
}

#[test]
fn dropping_it_ends_what_is_under_way() {
    let (worker, bell) = started();
    worker.submit(order(1, settings(vec![ring("belt", 0.0, Some(16))])));
    bell.recv().unwrap();
    drop(worker);
    // The thread is gone, and with it the other end of the bell.
    while bell.recv().is_ok() {}
}

/// A job on the ball: open above a height, with a trim there and a layer under it.
fn garment_job(folder: &std::path::Path, thickness: f64) -> JobFile {
    let brim = ring("brim", 5.0, Some(16));
    let points: Vec<[f64; 3]> = brim.points.iter().map(|p| p.to_array()).collect();
    let text = format!(
        "job = 1\n[sculpt]\nfile = 'ball.ply'\n[density]\nfaces = 300\nadapt = 0\n\
         [[guide]]\nname = 'brim'\nkind = 'opening'\ncount = 16\npoints = {points:?}\n\
         [[trim]]\nname = 'band'\nkind = 'hem'\nside = 'beyond'\nguide = 'brim'\n\
         height = 1.0\nthickness = {thickness}\n\
         [[layer]]\nname = 'lamp'\nfile = 'lamp.ply'\nclearance = 0.1\n"
    );
    JobFile::parse(&folder.join("ball.toml"), &text).unwrap()
}

fn completed(events: &[Event]) -> &Completed {
    let mut all = events.iter().rev().filter_map(|event| match event {
        Event::Completed { done, .. } => Some(&**done),
        _ => None,
    });
    all.next().unwrap()
}

fn has(done: &Completed, code: &str) -> bool {
    done.findings.iter().any(|finding| finding.code == code)
}

#[test]
fn the_end_of_the_job_is_that_of_the_command_line_and_what_cant_be_had_is_told() {
    let folder = std::env::temp_dir().join(format!("loopwright-end-{}", std::process::id()));
    std::fs::create_dir_all(&folder).unwrap();
    let (worker, bell) = started();
    let run = |stamp, job: &JobFile, reads_layers| {
        let settings = loopwright_session::settings_of(job, job.spec()).unwrap();
        worker.submit(Order {
            reads_layers,
            ..order_of(stamp, settings, job.clone())
        });
        until_idle(&worker, &bell)
    };
    // Without its layer's file the surface has its trim and isn't cleared.
    let job = garment_job(&folder, 0.2);
    let events = run(1, &job, false);
    let done = completed(&events);
    let plain = surface(&events).surface.clone();
    assert!(done.surface.quads.len() > plain.quads.len() && done.layered.is_none());
    assert!(has(done, "layer-file") && !done.findings.is_ready());
    // A ball of 10.05 is in its way.
    let mut lamp = demo::sphere(3_000);
    lamp.positions.iter_mut().for_each(|p| *p *= 1.005);
    std::fs::write(folder.join("lamp.ply"), files::ply_bytes(&lamp)).unwrap();
    let events = run(2, &job, true);
    let done = completed(&events);
    assert!(done.layered.is_some() && has(done, "layer-met") && !has(done, "layer-file"));

    let settings = loopwright_session::settings_of(&job, job.spec()).unwrap();
    let outcome = Session::new(sculpt())
        .run(&settings, &Task::default())
        .unwrap();
    let layers = LayerFiles::default().all(&job, job.spec()).unwrap();
    let rest = Rest {
        spec: job.spec(),
        layers: &layers,
        checked: None,
        yardstick: false,
    };
    let mut steps = Vec::new();
    let alone = loopwright_session::completed(
        &outcome,
        &sculpt(),
        &settings,
        &rest,
        &Task::default(),
        |step| steps.push(step),
    );
    assert_eq!(alone.unwrap().surface, done.surface);
    assert_eq!(steps, ["check", "finish", "layers", "check"]);

    // Another trim is woven on the surface that stands: it is the same one, not one like it.
    let stood = |events: &[Event]| {
        let mut surfaces = events.iter().filter_map(|event| match event {
            Event::Surface { outcome, .. } => Some(std::sync::Arc::clone(outcome)),
            _ => None,
        });
        let one = surfaces.next().unwrap();
        assert!(surfaces.next().is_none());
        one
    };
    let one = run(3, &garment_job(&folder, 0.3), false);
    let two = run(4, &garment_job(&folder, 0.25), false);
    assert!(std::sync::Arc::ptr_eq(&stood(&one), &stood(&two)));
    assert_ne!(completed(&one).surface, completed(&two).surface);

    // A trim that can't be had: the plain surface, and why, with its line and place.
    let thick = garment_job(&folder, 30.0);
    let events = run(5, &thick, false);
    let done = completed(&events);
    assert_eq!(done.surface, plain);
    let told = done
        .findings
        .iter()
        .find(|f| f.code == "trim-refused")
        .unwrap();
    let line = thick.spec().trims[0].line;
    let place = format!("ball.toml:{line}: trim 'band'");
    assert!(told.sentence.starts_with(&place), "{}", told.sentence);
    assert_eq!(told.places.len(), 1);
    std::fs::remove_dir_all(&folder).unwrap();
}
