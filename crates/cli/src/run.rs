//! `loopwright run`: job file in, surface and report out.

use std::path::Path;

use base::{Finding, Findings, Level, Place};
use engine::assemble::Sides;
use engine::check::{self, CheckInput, Measures};
use report::StageView;
use session::{Outcome, Session, Way};

use crate::args;
use crate::job::{self, Order};
use crate::output::{self, Finished};
use crate::progress::{Lap, Meter};
use crate::refusal::Refusal;
use crate::sculpt::{self, Source, Taken};
use crate::terminal;

/// Runs a job; answers whether the surface is ready.
///
/// # Errors
/// [`Refusal`]; nothing was written then.
pub fn run(args: &args::Run, meter: &Meter) -> Result<bool, Refusal> {
    let order = Order::with_overrides(job::read(&args.job)?, args)?;
    run_order(&order, &args.out, &args.common, meter)
}

/// Runs a job and writes its results.
///
/// # Errors
/// [`Refusal`]; nothing was written then.
pub fn run_order(
    order: &Order,
    out: &Path,
    common: &args::Common,
    meter: &Meter,
) -> Result<bool, Refusal> {
    let sculpt_file = order.file.sculpt_path();
    output::check_folder(out, &[order.file.path(), &sculpt_file])?;
    let settings = order.settings()?;
    let source = Source {
        file: &sculpt_file,
        file_place: order.place("sculpt", "file"),
        part: order.spec.sculpt.part.as_ref(),
        part_place: order.place("sculpt", "part"),
        guides: &settings.guides,
    };
    let Taken {
        sculpt,
        mut findings,
        mut stages,
    } = sculpt::take_in(&source, meter)?;
    order.check_edge(sculpt.mesh.area())?;
    let mut session = Session::new(sculpt);
    session.set_way(Way {
        straddle: order.spec.density.straddle,
        ..Way::default()
    });
    let outcome = session
        .run(&settings, meter.task())
        .map_err(|problem| order.stage_refusal(problem))?;
    stages.extend(session_stages(&outcome, meter));
    findings.append(outcome.findings.clone());

    let plane = outcome.plane.filter(|_| settings.sides == Sides::Mirror);
    let input = CheckInput {
        surface: &outcome.surface,
        sculpt: session.sculpt(),
        guides: &outcome.guides,
        // Sides that are fitted each to its own surface are no mirror images.
        plane,
        intent: &settings.intent,
        target_faces: target_faces(order, &outcome),
        yardstick: common.yardstick,
        holds: &settings.holds,
    };
    let mut lap = Lap::new(meter);
    let name = order.file.path().display().to_string();
    let (measures, checks) = checked(&input, name, meter)?;
    findings.append(checks);
    findings.append(pole_findings(&outcome));
    stages.push(lap.end("check"));

    let finished = Finished {
        name: &order.spec.name,
        units: &order.spec.units,
        job_text: &order.text,
        sculpt: session.sculpt(),
        guides: &settings.guides,
        surface: &outcome.surface,
        patch_of_quad: &outcome.patch_of_quad,
        poles: output::poles_of(&outcome.poles),
        plane,
        findings,
        measures: &measures,
        stages,
    };
    let written = output::write_surface(finished, out, common, meter)?;
    meter.clear_line();
    terminal::print(&written, common);
    Ok(written.findings.is_ready())
}

/// The faces asked for, with those that the job's edits ask for besides.
fn target_faces(order: &Order, outcome: &Outcome) -> Option<u32> {
    let asked = i64::from(order.faces()?) + outcome.added_quads;
    u32::try_from(asked).ok()
}

/// Measures a surface; `name` says in a refusal which one.
///
/// # Errors
/// [`Refusal::Check`].
pub fn checked(
    input: &CheckInput<'_>,
    name: String,
    meter: &Meter,
) -> Result<(Measures, Findings), Refusal> {
    check::run(input, meter.task()).map_err(|source| Refusal::Check {
        surface: name,
        source,
    })
}

fn session_stages<'a>(
    outcome: &'a Outcome,
    meter: &'a Meter,
) -> impl Iterator<Item = StageView> + 'a {
    let stages = outcome.stages.iter();
    stages.map(|stage| meter.stage(stage.name, stage.seconds))
}

/// Where each pole is and why.
fn pole_findings(outcome: &Outcome) -> Findings {
    let mut findings = Findings::default();
    for pole in &outcome.poles {
        let mut finding = Finding::new("pole", Level::Note, pole.reason.clone())
            .measured(f64::from(pole.valence), None);
        if let Some(at) = outcome.surface.positions.get(pole.vertex as usize) {
            finding = finding.at(Place::Vertex {
                id: pole.vertex,
                at: at.to_array(),
            });
        }
        findings.push(finding);
    }
    findings
}
