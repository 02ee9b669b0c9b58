//! Seconds of intake and stages.

use base::Task;
use engine::model::Sculpt;
use session::{Outcome, Session, Settings};

use crate::clock::{line, median, timed};
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

/// Times every stage, then a changed guide.
pub fn solve(coat: &Coat, sculpt: Sculpt, runs: usize) {
    println!(
        "  medians of {runs} runs, {:.3} M triangles",
        coat.millions()
    );
    let (settings, changed) = (coat.settings(FACES), coat.changed(FACES));
    let mut all = Vec::new();
    let mut again = Vec::new();
    let mut again_stages = Vec::new();
    for _ in 0..runs {
        let mut session = Session::new(sculpt.clone());
        let (outcome, seconds) = run(&mut session, &settings);
        all.push((outcome, seconds));
        let (outcome, seconds) = run(&mut session, &changed);
        again.push(seconds);
        again_stages.push(outcome);
    }
    stage_lines(&all.iter().map(|x| &x.0).collect::<Vec<_>>());
    line(
        "guides to finished surface, sum",
        median(all.iter().map(|x| x.1)),
        "s",
    );
    println!("  one ring moved, in the same session:");
    stage_lines(&again_stages.iter().collect::<Vec<_>>());
    line("changed guide to finished surface, sum", median(again), "s");
    println!("  surface: {} faces", all[0].0.surface.quads.len());
}

/// Cost a face at several sizes.
pub fn per_face(coat: &Coat, runs: usize) {
    println!(
        "  medians of {runs} runs, {:.3} M triangles",
        coat.millions()
    );
    let sculpt = coat.sculpt();
    for wanted in [500, 2000, 5000] {
        let settings = coat.settings(wanted);
        let results: Vec<(usize, f64)> = (0..runs)
            .map(|_| {
                let (outcome, seconds) = run(&mut Session::new(sculpt.clone()), &settings);
                (outcome.surface.quads.len(), seconds)
            })
            .collect();
        let seconds = median(results.iter().map(|r| r.1));
        let faces = results[0].0;
        line(
            &format!("{wanted} faces wanted, {faces} made"),
            seconds,
            "s",
        );
        line("  a face", 1e3 * seconds / faces as f64, "ms");
    }
}

/// Solve time on a small and a large sculpt.
pub fn growth(small: &Coat, large: &Coat, runs: usize) {
    println!("  medians of {runs} runs each");
    let mut seconds = [0.0; 2];
    for (coat, seconds) in [small, large].into_iter().zip(&mut seconds) {
        let sculpt = coat.sculpt();
        let settings = coat.settings(FACES);
        let results: Vec<(Outcome, f64)> = (0..runs)
            .map(|_| run(&mut Session::new(sculpt.clone()), &settings))
            .collect();
        println!("  {:.3} M triangles:", coat.millions());
        stage_lines(&results.iter().map(|r| &r.0).collect::<Vec<_>>());
        *seconds = median(results.iter().map(|r| r.1));
        line("sum", *seconds, "s");
    }
    line("ratio", seconds[1] / seconds[0], "");
}

fn run(session: &mut Session, settings: &Settings) -> (Outcome, f64) {
    timed(|| session.run(settings, &Task::default()).expect("a surface"))
}

fn stage_lines(outcomes: &[&Outcome]) {
    for (i, stage) in outcomes[0].stages.iter().enumerate() {
        let seconds = median(outcomes.iter().map(|o| o.stages[i].seconds));
        line(stage.name, seconds, "s");
    }
}
