//! `loopwright run`: job file in, surface and report out.

use std::path::{Path, PathBuf};

use files::{JobSpec, TrimSpec};
use mesh::{Group, QuadMesh};
use report::{StageView, TrimView};
use session::{Outcome, Rest, Session, Way};

use crate::args;
use crate::job::{self, Order};
use crate::output::{self, Done, Finished, LayerView};
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

/// Runs a job, writes its results and says how it went; answers whether the surface is ready.
///
/// # Errors
/// [`Refusal`]; nothing was written then.
pub fn run_order(
    order: &Order,
    out: &Path,
    common: &args::Common,
    meter: &Meter,
) -> Result<bool, Refusal> {
    let done = results(order, out, common, meter)?;
    meter.clear_line();
    terminal::print(&done, common);
    Ok(done.findings.is_ready())
}

/// Runs a job and writes its results.
///
/// # Errors
/// [`Refusal`]; nothing was written then.
pub fn results(
    order: &Order,
    out: &Path,
    common: &args::Common,
    meter: &Meter,
) -> Result<Done, Refusal> {
    let sculpt_file = order.file.sculpt_path();
    let inputs = order.sources();
    let inputs: Vec<&Path> = inputs.iter().map(PathBuf::as_path).collect();
    output::check_folder(out, &inputs)?;
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
    let layers = order.layers()?;
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

    let plane = session::mirror(&outcome, &settings);
    let mut lap = Lap::new(meter);
    let sculpt = session.sculpt();
    let rest = Rest {
        spec: &order.spec,
        layers: &layers,
        checked: None,
        yardstick: common.yardstick,
    };
    let done = session::completed(&outcome, sculpt, &settings, &rest, meter.task(), |step| {
        stages.push(lap.end(step));
    });
    let done = done.map_err(|stopped| order.complete_refusal(stopped.problem))?;
    findings.append(done.findings);

    let layered = done.layered.as_ref();
    let before = layered.map(|layered| QuadMesh {
        positions: layered.before.clone(),
        ..done.surface.clone()
    });
    let finished = Finished {
        name: &order.spec.name,
        units: &order.spec.units,
        job_text: &order.text,
        sculpt,
        guides: &settings.guides,
        surface: &done.surface,
        hard: &done.hard,
        patch_of_quad: &done.patch_of_quad,
        poles: output::poles_of(&outcome.poles),
        plane,
        findings,
        measures: &done.measures,
        stages,
        trims: trim_views(&order.spec, &done.surface, outcome.surface.groups.len()),
        layers: layered
            .zip(before.as_ref())
            .map(|(layered, before)| LayerView {
                layers: &layers,
                before,
                layered,
            }),
    };
    output::write_surface(finished, out, common, meter)
}

/// The quads of each trim, by its group; those of trims come after the surface's own.
fn trim_views(spec: &JobSpec, surface: &QuadMesh, own: usize) -> Vec<TrimView> {
    let view = |trim: &TrimSpec| {
        let word = Group::word(&trim.name);
        // Where another group was called so, more was added to the name.
        let is_its = |group: &&Group| {
            let rest = group.name.strip_prefix(&word);
            rest.is_some_and(|rest| rest.split("_trim").all(str::is_empty))
        };
        let guide = spec.guides.iter().position(|g| g.name == trim.guide)?;
        let group = surface.groups.iter().skip(own).find(is_its)?;
        Some(TrimView {
            name: trim.name.clone(),
            guide,
            quads: group.quads.clone(),
        })
    };
    spec.trims.iter().filter_map(view).collect()
}

fn session_stages<'a>(
    outcome: &'a Outcome,
    meter: &'a Meter,
) -> impl Iterator<Item = StageView> + 'a {
    let stages = outcome.stages.iter();
    stages.map(|stage| meter.stage(stage.name, stage.seconds))
}
