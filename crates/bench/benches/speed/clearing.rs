//! What it takes to clear the coat of what is worn beneath.

use base::Task;
use demo::DemoOptions;
use files::{JobSpec, LayerSpec};
use session::{Layer, LayerSide, Rest, Session};

use crate::clock::{line, median, processor};
use crate::coat::Coat;

/// Faces of the everyday job.
const FACES: usize = 1800;
/// Triangles of the layer.
const LAYER: usize = 200_000;
/// Least distance to it, cm.
const CLEARANCE: f64 = 0.3;

/// Times the step of a run that clears the surface of a jersey for which it has too little room.
pub fn clearing(coat: &Coat, runs: usize) {
    let task = Task::default();
    let options = DemoOptions {
        triangles: LAYER,
        ..DemoOptions::default()
    };
    let jersey = demo::jersey(&options, &task).expect("a jersey");
    let layer = Layer::new("jersey", &jersey, LayerSide::Under, CLEARANCE);
    let mut spec = JobSpec::new("oilskin coat", "oilskin.ply");
    spec.layers = vec![LayerSpec::new(&layer.name, "jersey.ply", CLEARANCE)];
    let settings = coat.settings(FACES);
    let mut session = Session::new(coat.sculpt());
    let outcome = session.run(&settings, &task).expect("a surface");
    let rest = Rest {
        spec: &spec,
        layers: std::slice::from_ref(&layer),
        yardstick: false,
        checked: None,
    };
    println!(
        "  medians of {runs} runs, {:.3} M triangles beneath",
        jersey.triangles.len() as f64 / 1e6
    );
    let (mut clocks, mut processors) = (Vec::new(), Vec::new());
    let mut before_after = [0, 0];
    for _ in 0..runs {
        let mut at = (std::time::Instant::now(), processor());
        let lap = |step: &'static str| {
            let now = (std::time::Instant::now(), processor());
            if step == "layers" {
                clocks.push((now.0 - at.0).as_secs_f64());
                processors.push(now.1 - at.1);
            }
            at = now;
        };
        let done = session::completed(&outcome, session.sculpt(), &settings, &rest, &task, lap);
        let done = done.unwrap_or_else(|stopped| panic!("{}", stopped.problem));
        let cleared = done.layered.expect("a layer").cleared;
        before_after = [&cleared.before, &cleared.after].map(|s| s[0].crossings.len());
    }
    line("clearing, clock", median(clocks), "s");
    line("clearing, of processors", median(processors), "s");
    println!(
        "  pairs that go through: {} before, {} after",
        before_after[0], before_after[1]
    );
}
