//! The thread behind the desk: the newest order wins, and its surfaces are those of a plain run.

// A panic is how a test fails.
#![allow(clippy::unwrap_used)]

mod ball;

use std::sync::mpsc::{Receiver, channel};

use base::Task;
use loopwright_session::{Event, Order, Outcome, Session, Settings, Way, Worker};

use ball::{ring, sculpt, settings};

fn order(stamp: u64, settings: Settings) -> Order {
    Order {
        stamp,
        settings,
        way: Way::default(),
    }
}

fn started() -> (Worker, Receiver<()>) {
    let (sender, bell) = channel();
    let worker = Worker::start(sculpt(), move || {
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
        | Event::Checked { stamp, .. }
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
        assert!(events.iter().any(|e| matches!(e, Event::Checked { .. })));
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
