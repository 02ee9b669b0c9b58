//! A glove in few quads.

// A panic is how a test fails.
#![allow(clippy::unwrap_used)]

use base::{Level, Task};
use engine::check::{self, CheckInput};
use loopwright_corpus::cases::{Given, RunSpec};
use loopwright_corpus::{run, study::wardrobe::wardrobe};
use session::Way;

/// Singular places at a finger's tip and at its root, eight quads apart or less, were taken out as serving
/// nothing: up to all five fingers were left bare, with no failing check.
#[test]
fn quads_reach_the_tips_of_all_fingers() {
    let cases = wardrobe(20_000).unwrap();
    let glove = cases.iter().find(|c| c.name.contains("glove")).unwrap();
    for faces in [400, 600] {
        let given = Given::None;
        let task = Task::default();
        let made = run::surface(glove, RunSpec { given, faces }, Way::default(), &task).unwrap();
        let input = CheckInput {
            surface: &made.outcome.surface,
            sculpt: made.session.sculpt(),
            guides: &[],
            plane: made.outcome.plane,
            intent: &made.settings.intent,
            target_faces: u32::try_from(faces).ok(),
            yardstick: false,
            holds: &[],
        };
        let (_, findings) = check::run(&input, &task).unwrap();
        let failing: Vec<&str> = findings
            .iter()
            .filter(|f| f.level == Level::Fail)
            .map(|f| f.code.as_str())
            .collect();
        assert!(failing.is_empty(), "{faces}: {failing:?}");
    }
}
