//! `loopwright`: from a dense sculpt and drawn guides to a light, all-quad, checked surface.
//!
//! ```text
//! words ─▶ job ─▶ sculpt ─▶ session ─▶ check ─▶ pictures ─▶ files, all or none
//! ```

mod args;
mod demo;
mod edit;
mod figure;
mod hold;
mod job;
mod measure;
mod output;
mod progress;
mod refusal;
mod run;
mod sculpt;
mod stamp;
mod suggest;
mod tables;
mod terminal;
mod watch;

use std::process::ExitCode;

use clap::Parser as _;

use args::{Args, Verb};
use progress::Meter;
use refusal::Refusal;

/// Exit status when the surface was made and every check holds.
const READY: u8 = 0;
/// Exit status when the surface was made and a check fails.
const NOT_READY: u8 = 1;
/// Exit status when there is no surface: bad input, a refusal, or a file that can't be written.
const REFUSED: u8 = 2;
/// Exit status when cancelled: 128 and the number of the interrupt signal, as shells have it.
const CANCELLED: u8 = 130;
/// Stack of each thread, bytes: that of a main thread on common systems.
const STACK: usize = 8 << 20;

fn main() -> ExitCode {
    let args = Args::parse();
    let common = match &args.verb {
        Verb::Run(run) | Verb::Watch(run) => &run.common,
        Verb::Figure(figure) => &figure.common,
        Verb::Demo(demo) => &demo.common,
        Verb::Suggest(suggest) => &suggest.common,
        Verb::Measure(measure) => &measure.common,
        Verb::Hold(hold) => &hold.common,
        Verb::Edit(words) => return appended(words),
    };
    let meter = Meter::new(common.quiet);
    cancel_on_interrupt(&meter);
    let pool = rayon::ThreadPoolBuilder::new()
        .num_threads(usize::from(common.threads))
        .stack_size(STACK)
        .build();
    let outcome = match pool {
        Ok(pool) => pool.install(|| match &args.verb {
            Verb::Run(run) => run::run(run, &meter),
            Verb::Watch(run) => watch::run(run, &meter).map(|never| match never {}),
            Verb::Figure(words) => figure::run(words, &meter),
            Verb::Demo(demo) => demo::run(demo, &meter),
            Verb::Suggest(suggest) => suggest::run(suggest, &meter),
            Verb::Measure(measure) => measure::run(measure, &meter),
            Verb::Hold(words) => hold::run(words, &meter),
            // Done above.
            Verb::Edit(_) => Ok(true),
        }),
        Err(problem) => Err(Refusal::Threads(problem)),
    };
    meter.clear_line();
    let status = match outcome {
        Ok(true) => READY,
        Ok(false) => NOT_READY,
        Err(_) if meter.task().checkpoint().is_err() => {
            terminal::complain(match &args.verb {
                Verb::Watch(_) => {
                    "ended; the results of the last whole run stay, and parts of a figure that were done since"
                }
                Verb::Figure(_) => "cancelled; parts that were done by then are written",
                _ => "cancelled; nothing was written",
            });
            CANCELLED
        }
        Err(refusal) => {
            terminal::complain(&refusal.to_string());
            if common.json {
                terminal::refused_json(&refusal.to_string());
            }
            REFUSED
        }
    };
    ExitCode::from(status)
}

/// Appends an edit to a job: no work that takes threads or could be cancelled.
fn appended(words: &args::Edit) -> ExitCode {
    match edit::run(words) {
        Ok(()) => ExitCode::from(READY),
        Err(refusal) => {
            terminal::complain(&refusal.to_string());
            ExitCode::from(REFUSED)
        }
    }
}

/// The first interrupt asks the work to stop at its next checkpoint, the second stops at once.
fn cancel_on_interrupt(meter: &Meter) {
    let task = meter.task().clone();
    let handler = move || {
        if task.checkpoint().is_err() {
            std::process::exit(i32::from(CANCELLED));
        }
        task.cancel();
    };
    // Where no handler can be set, an interrupt ends the program, which leaves files whole too.
    let _ = ctrlc::set_handler(handler);
}
