//! Seconds of intake and stages.

use base::Task;
use engine::model::Sculpt;
use session::{Outcome, Session, Settings};

use crate::clock::{line, median, processor, timed};
use crate::coat::Coat;

/// Faces of the everyday job.
const FACES: usize = 1800;

/// Times intake; gives the sculpt.
pub fn intake(coat: &Coat, runs: usize) -> Sculpt {
    let (sculpt, first) = timed(|| coat.sculpt());
    let rest = (1..runs).map(|_| timed(|| coat.sculpt()).1);
    let seconds = median(rest.chain([first]));
    println!(
        "  median of {runs} runs, {:.3} M triangles",
        coat.millions()
    );
    line("intake, weld to index", seconds, "s");
    line(
        "intake, a million triangles",
        seconds / coat.millions(),
        "s",
    );
    sculpt
}

/// A run and its cost.
struct Run {
    outcome: Outcome,
    seconds: f64,
    processor: f64,
}

/// Times every stage, then a changed guide.
pub fn solve(coat: &Coat, sculpt: &Sculpt, runs: usize) {
    println!(
        "  medians of {runs} runs, {:.3} M triangles",
        coat.millions()
    );
    let (settings, changed) = (coat.settings(FACES), coat.changed(FACES));
    let (mut first, mut again, mut carried) = (Vec::new(), Vec::new(), Vec::new());
    for _ in 0..runs {
        let mut session = Session::new(sculpt.clone());
        first.push(run(&mut session, &settings));
        carried.push(carry(&mut session, &changed));
        again.push(run(&mut session, &changed));
    }
    stage_lines(&first);
    sum_lines("guides to finished surface", &first);
    println!("  one ring moved, in the same session:");
    stage_lines(&again);
    sum_lines("changed guide to finished surface", &again);
    println!("  one ring moved, the surface carried along:");
    stage_lines(&carried);
    sum_lines("changed guide to carried surface", &carried);
    println!("  surface: {} faces", first[0].outcome.surface.quads.len());
}

/// With more faces than this the coat's counts would have edges so long that the run is refused.
const COUNTED: usize = 5000;

/// Cost a face at several sizes.
pub fn per_face(coat: &Coat, runs: usize) {
    println!(
        "  medians of {runs} runs, {:.3} M triangles",
        coat.millions()
    );
    let sculpt = coat.sculpt();
    for wanted in [500, 2000, 5000, 20_000] {
        let mut settings = coat.settings(wanted);
        if wanted > COUNTED {
            settings.guides.iter_mut().for_each(|g| g.count = None);
        }
        let results: Vec<Run> = (0..runs)
            .map(|_| run(&mut Session::new(sculpt.clone()), &settings))
            .collect();
        let faces = results[0].outcome.surface.quads.len();
        let [seconds, _] = sum_lines(&format!("{wanted} faces wanted, {faces} made"), &results);
        line("  a face", 1e3 * seconds / faces as f64, "ms");
    }
}

/// Solve time on a small and a large sculpt.
pub fn growth(small: &Coat, large: &Coat, runs: usize) {
    println!("  medians of {runs} runs each");
    let sums = [small, large].map(|coat| {
        let sculpt = coat.sculpt();
        let settings = coat.settings(FACES);
        let results: Vec<Run> = (0..runs)
            .map(|_| run(&mut Session::new(sculpt.clone()), &settings))
            .collect();
        println!("  {:.3} M triangles:", coat.millions());
        stage_lines(&results);
        sum_lines("sum", &results)
    });
    line("ratio", sums[1][0] / sums[0][0], "");
    line("ratio, processor", sums[1][1] / sums[0][1], "");
}

fn run(session: &mut Session, settings: &Settings) -> Run {
    clocked(|| session.run(settings, &Task::default()).expect("a surface"))
}

/// The last surface carried along with a guide; a surface computed anew would be another figure.
fn carry(session: &mut Session, settings: &Settings) -> Run {
    let task = Task::default();
    let run = clocked(|| session.run_keeping(settings, &task).expect("a surface"));
    let kept = run
        .outcome
        .findings
        .iter()
        .any(|f| f.code == "topology-kept");
    assert!(kept, "carried along");
    run
}

fn clocked(work: impl FnOnce() -> Outcome) -> Run {
    let before = processor();
    let (outcome, seconds) = timed(work);
    Run {
        outcome,
        seconds,
        processor: processor() - before,
    }
}

fn stage_lines(runs: &[Run]) {
    for (i, stage) in runs[0].outcome.stages.iter().enumerate() {
        line(
            stage.name,
            median(runs.iter().map(|r| r.outcome.stages[i].seconds)),
            "s",
        );
    }
}

/// Prints and gives medians of the whole: seconds, and seconds of processors.
fn sum_lines(name: &str, runs: &[Run]) -> [f64; 2] {
    let seconds = median(runs.iter().map(|r| r.seconds));
    let processor = median(runs.iter().map(|r| r.processor));
    line(name, seconds, "s");
    line("  of processors", processor, "s");
    [seconds, processor]
}
