//! Speed on the keeper's coat: `cargo bench -p loopwright-bench`.
//!
//! Prints medians of a few runs on fixed inputs; decides nothing. Results of our spatial
//! queries must agree with the reference library's before either is timed.

// A bench that can't go on says so and stops.
#![allow(clippy::unwrap_used, clippy::expect_used)]

mod clock;
mod coat;
mod memory;
mod queries;
mod stages;

use clock::heading;

fn main() {
    // The bench starts itself anew to measure memory in a fresh process.
    let mut args = std::env::args().skip(1);
    if args.next().as_deref() == Some(memory::CHILD) {
        memory::child(&args.next().expect("a file of triangles"));
        return;
    }
    let threads = std::thread::available_parallelism().map_or(1, usize::from);
    println!("Loopwright, speed on the keeper's coat; {threads} threads.");
    let small = coat::Coat::new(200_000);
    let everyday = coat::Coat::new(1_000_000);
    heading("Intake");
    let sculpt = stages::intake(&everyday, 5);
    memory::intake(&everyday);
    heading("Closest points and rays");
    queries::compare(&sculpt);
    heading("From guides to the finished surface, 1,800 faces");
    stages::solve(&everyday, sculpt, 3);
    heading("Cost per face, 200 k triangles");
    stages::per_face(&small, 3);
    heading("Growth with the sculpt, 1,800 faces");
    let large = coat::Coat::new(2_000_000);
    stages::growth(&small, &large, 3);
}
