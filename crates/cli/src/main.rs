//! `loopwright`: from a dense sculpt and drawn guides to a light, all-quad, checked surface.

mod args;
mod demo;
mod output;
mod progress;
mod run;

use std::process::ExitCode;

use clap::Parser;

/// Exit status when the surface was made and every check holds.
const READY: u8 = 0;
/// Exit status when the surface was made and a check fails.
const NOT_READY: u8 = 1;
/// Exit status when there is no surface: bad input, a refusal, or a file that can't be written.
const REFUSED: u8 = 2;

fn main() -> ExitCode {
    let args = args::Args::parse();
    let threads = args.common().threads;
    let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build();
    let outcome = match pool {
        Ok(pool) => pool.install(|| match &args.verb {
            args::Verb::Run(run) => run::run(run),
            args::Verb::Demo(demo) => demo::run(demo),
        }),
        Err(problem) => Err(Box::from(problem)),
    };
    match outcome {
        Ok(true) => ExitCode::from(READY),
        Ok(false) => ExitCode::from(NOT_READY),
        Err(problem) => {
            eprintln!("loopwright: {problem}");
            if args.common().json {
                println!("{}", serde_json::json!({ "ready": false, "refused": problem.to_string() }));
            }
            ExitCode::from(REFUSED)
        }
    }
}
