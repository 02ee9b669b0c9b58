//! A glove in few quads.

// A panic is how a test fails.
#![allow(clippy::unwrap_used)]

use loopwright_corpus::cases::{Given, RunSpec};
use loopwright_corpus::record::Ending;
use loopwright_corpus::{run, study::wardrobe::wardrobe};

/// Singular places at a finger's tip and at its root, eight quads apart or less, were taken out as serving
/// nothing: up to all five fingers were left bare, with no failing check.
#[test]
fn quads_reach_the_tips_of_all_fingers() {
    let cases = wardrobe(20_000).unwrap();
    let glove = cases.iter().find(|c| c.name.contains("glove")).unwrap();
    for faces in [400, 600] {
        let given = Given::None;
        let record = run::run(glove, RunSpec { given, faces }, |_| {});
        assert!(record.failing.is_empty(), "{faces}: {:?}", record.failing);
        assert_eq!(record.ending, Ending::Ready, "{}", record.text);
    }
}
