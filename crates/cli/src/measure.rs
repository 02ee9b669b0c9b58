//! `loopwright measure`: the project's check on any surface of quads.

use std::path::{Path, PathBuf};

use engine::check::{self, CheckInput};
use engine::model::{Guide, Plane, Sculpt};
use engine::symmetry::{self, PlaneChoice};
use files::PlaneSpec;
use mesh::QuadMesh;
use report::PoleView;

use crate::args;
use crate::job::{self, Order};
use crate::output::{self, Finished};
use crate::progress::{Lap, Meter};
use crate::refusal::Refusal;
use crate::sculpt::{self, Source};
use crate::terminal;

/// Reason of a pole that isn't known.
const UNKNOWN: &str = "The file doesn't say.";

/// Measures a surface; answers whether it is ready.
///
/// # Errors
/// [`Refusal`]; nothing was written then.
pub fn run(args: &args::Measure, meter: &Meter) -> Result<bool, Refusal> {
    let order = args.job.as_deref().map(job::read).transpose()?;
    let order = order.map(Order::of);
    let (file, file_place) = sculpt_of(args, order.as_ref());
    if let Some(out) = &args.out {
        let job = order.as_ref().map_or(Path::new(""), |o| o.file.path());
        output::check_folder(out, &[&args.surface, &file, job])?;
    }
    let mut lap = Lap::new(meter);
    let surface = files::read_quads(&args.surface).map_err(|source| Refusal::Read {
        place: String::new(),
        source: source.into(),
    })?;
    let read = lap.end("read surface");
    let guides = order.as_ref().map(|o| session::guides_of(&o.spec));
    let guides: Vec<Guide> = guides.unwrap_or_default();
    let source = Source {
        file: &file,
        file_place,
        part: order.as_ref().and_then(|o| o.spec.sculpt.part.as_ref()),
        part_place: order
            .as_ref()
            .map_or_else(String::new, |o| o.place("sculpt", "part")),
        guides: &guides,
    };
    let intent = order.as_ref().map(|o| session::intent_of(&o.spec));
    let intent = intent.unwrap_or_default();
    let holds = order.as_ref().map(Order::holds).transpose()?;
    let holds = holds.unwrap_or_default();
    let mut taken = sculpt::take_in(&source, meter)?;
    taken.stages.insert(0, read);
    lap.restart();
    let plane = plane_of(args, order.as_ref(), &taken.sculpt, meter)?;
    let input = CheckInput {
        surface: &surface,
        sculpt: &taken.sculpt,
        guides: &guides,
        plane,
        intent: &intent,
        target_faces: order.as_ref().and_then(Order::faces),
        yardstick: args.common.yardstick,
        holds: &holds,
    };
    let checked = check::run(&input, meter.task());
    let (measures, checks) = checked.map_err(|source| Refusal::Check {
        surface: args.surface.display().to_string(),
        source,
    })?;
    taken.findings.append(checks);
    taken.stages.push(lap.end("check"));

    let name = args.surface.file_stem().map(|s| s.to_string_lossy());
    let finished = Finished {
        name: name.as_deref().unwrap_or("surface"),
        units: order.as_ref().map_or("", |o| o.spec.units.as_str()),
        job_text: order.as_ref().map_or("", |o| o.text.as_str()),
        sculpt: &taken.sculpt,
        guides: &guides,
        surface: &surface,
        hard: &[],
        patch_of_quad: &[],
        poles: poles(&surface),
        plane,
        findings: taken.findings,
        measures: &measures,
        stages: taken.stages,
        trims: vec![],
        layers: None,
    };
    let done = match &args.out {
        Some(out) => output::write_findings(finished, out, &args.common, meter)?,
        None => output::in_memory(finished)?,
    };
    meter.clear_line();
    terminal::print(&done, &args.common);
    Ok(done.findings.is_ready())
}

/// The sculpt's file and the place that names it.
fn sculpt_of(args: &args::Measure, order: Option<&Order>) -> (PathBuf, String) {
    match (&args.sculpt, order) {
        (Some(file), _) => (file.clone(), String::new()),
        (None, Some(order)) => (order.file.sculpt_path(), order.place("sculpt", "file")),
        // The command line asks for one of the two.
        (None, None) => (PathBuf::new(), String::new()),
    }
}

/// The plane that the surface is to be symmetric about.
fn plane_of(
    args: &args::Measure,
    order: Option<&Order>,
    sculpt: &Sculpt,
    meter: &Meter,
) -> Result<Option<Plane>, Refusal> {
    let fitted = order.is_some_and(|o| o.spec.symmetry.sides == files::Sides::Fit);
    let from_job = order.filter(|_| !fitted).map(|o| o.spec.symmetry.plane);
    let mut spec = files::JobSpec::new("", "");
    spec.symmetry.plane = from_job.unwrap_or(PlaneSpec::None);
    if let Some(word) = &args.plane {
        spec.set_plane(word).map_err(|fault| Refusal::Option {
            option: "plane",
            fault,
        })?;
    }
    match session::plane_of(spec.symmetry.plane) {
        PlaneChoice::Given(plane) => Ok(Some(plane)),
        PlaneChoice::None => Ok(None),
        PlaneChoice::Find => {
            let (half, _) = symmetry::run(sculpt, PlaneChoice::Find, meter.task())?;
            Ok(half.plane)
        }
    }
}

fn poles(surface: &QuadMesh) -> Vec<PoleView> {
    let topology = surface.topology();
    let inner = topology.poles().into_iter();
    let inner = inner.filter(|&v| !topology.on_boundary[v as usize]);
    inner
        .map(|vertex| PoleView {
            vertex,
            valence: topology.valence[vertex as usize],
            reason: UNKNOWN.to_owned(),
        })
        .collect()
}
