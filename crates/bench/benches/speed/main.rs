//! Speed on the keeper's coat: `cargo bench -p loopwright-bench`.
//!
//! Prints medians of a few runs on fixed inputs; decides nothing. Results of our spatial
//! queries must agree with the reference library's before either is timed.

// A bench that can't go on says so and stops.
#![allow(clippy::unwrap_used, clippy::expect_used)]

mod clearing;
mod clock;
mod coat;
mod desk;
mod memory;
mod queries;
mod stages;

use clock::heading;

/// Runs of which each figure is the median.
const RUNS: usize = 5;

fn main() {
    // The bench starts itself anew to measure memory in a fresh process.
    let mut args = std::env::args().skip(1);
    if args.next().as_deref() == Some(memory::CHILD) {
        memory::child(&args.next().expect("a file of triangles"));
        return;
    }
    // `cargo bench -p loopwright-bench -- solve` runs what has "solve" in its name alone.
    let wanted: Vec<String> = std::env::args()
        .skip(1)
        .filter(|a| !a.starts_with('-'))
        .collect();
    let chosen = |name: &str| wanted.is_empty() || wanted.iter().any(|w| name.contains(w));
    let threads = std::thread::available_parallelism().map_or(1, usize::from);
    println!("Loopwright, speed on the keeper's coat; {threads} threads.");
    if ["intake", "queries", "solve", "frames", "pen"]
        .into_iter()
        .any(chosen)
    {
        everyday(chosen);
    }
    if ["faces", "growth", "clearing"].into_iter().any(chosen) {
        let small = coat::Coat::new(200_000);
        if chosen("faces") {
            heading("Cost per face, 200 k triangles");
            stages::per_face(&small, RUNS);
        }
        if chosen("clearing") {
            heading("Clearing the coat of a layer, 1,800 faces");
            clearing::clearing(&small, RUNS);
        }
        if chosen("growth") {
            heading("Growth with the sculpt, 1,800 faces");
            stages::growth(&small, &coat::Coat::new(2_000_000), RUNS);
        }
    }
}

/// What is measured on the everyday sculpt.
fn everyday(chosen: impl Fn(&str) -> bool) {
    let coat = coat::Coat::new(1_000_000);
    let sculpt = if chosen("intake") {
        heading("Intake");
        memory::intake(&coat);
        stages::intake(&coat, RUNS)
    } else {
        coat.sculpt()
    };
    if chosen("queries") {
        heading("Closest points and rays");
        queries::compare(&sculpt);
    }
    if chosen("solve") {
        heading("From guides to the finished surface, 1,800 faces");
        stages::solve(&coat, &sculpt, RUNS);
    }
    if chosen("frames") {
        heading("Frames of the desk");
        desk::frames(&sculpt, RUNS);
    }
    if chosen("pen") {
        heading("From pen-up to the new surface, 1,800 faces");
        desk::pen_up(&coat, &sculpt, RUNS);
    }
}
