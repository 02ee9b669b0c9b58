//! `loopwright figure`: the parts of a set file in order, each into a folder of its own, and the
//! whole of them with one report.
//!
//! ```text
//! set ─▶ plan: each part's job, with what the figure shares and the parts beneath as layers
//!     ─▶ in order: made, or kept where nothing changed (stamp) ─▶ whole: checks, files, report
//! ```

mod made;
mod plan;
mod whole;

use std::path::Path;

use files::{FigureFile, PartFrom};

use crate::args;
use crate::output::{self, Done};
use crate::progress::Meter;
use crate::refusal::Refusal;
use crate::terminal;

pub use made::Made;
use plan::Plan;

/// Runs a set file; answers whether the whole figure is ready.
///
/// # Errors
/// [`Refusal`]; results of parts before the one that is refused may be written by then, each
/// whole, the figure's own aren't.
pub fn run(args: &args::Figure, meter: &Meter) -> Result<bool, Refusal> {
    let figure = FigureFile::read(&args.set)?;
    run_figure(&figure, &args.out, args.anew, &args.common, meter)
}

/// Runs a figure, writes its results and says how it went; answers whether it is ready.
///
/// # Errors
/// As [`run`].
pub fn run_figure(
    figure: &FigureFile,
    out: &Path,
    anew: bool,
    common: &args::Common,
    meter: &Meter,
) -> Result<bool, Refusal> {
    let tell = |name: &str, part: &Made| {
        meter.clear_line();
        terminal::print_part(name, part, common);
    };
    let done = results(figure, out, anew, common, meter, tell)?;
    meter.clear_line();
    terminal::print(&done, common);
    Ok(done.findings.is_ready())
}

/// Runs a figure and writes its results; each part is told once it is done.
///
/// # Errors
/// As [`run`].
pub fn results(
    figure: &FigureFile,
    out: &Path,
    anew: bool,
    common: &args::Common,
    meter: &Meter,
    tell: impl Fn(&str, &Made),
) -> Result<Done, Refusal> {
    let spec = figure.spec();
    let plan = Plan::of(figure, out)?;
    output::check_folder(out, &plan.inputs())?;
    let mut parts: Vec<Made> = Vec::new();
    for (number, part) in spec.parts.iter().enumerate() {
        let made = match part.from {
            PartFrom::Job(_) => made::by_job(&plan, number, &parts, anew, common, meter),
            PartFrom::Image(of) => made::image(&plan, number, &parts[of], meter),
        };
        let made = made.map_err(|source| source.of_part(plan.place(part), &part.name))?;
        tell(&part.name, &made);
        parts.push(made);
    }
    whole::finish(&plan, &parts, common, meter)
}
