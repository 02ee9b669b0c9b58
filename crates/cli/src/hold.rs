//! `loopwright hold`: a region of a surface that later runs leave as it is.

use std::path::PathBuf;

use engine::hold::{Held, Region, grow};
use engine::model::{Hold, Plane};
use engine::symmetry::{self, PlaneChoice};
use files::{HoldSpec, JobFile};
use mesh::QuadMesh;

use crate::args;
use crate::job::{self, Order};
use crate::progress::Meter;
use crate::refusal::Refusal;
use crate::sculpt::{self, Source};
use crate::terminal;

/// Stores the region's quads beside the job and names them in it, both or neither.
///
/// # Errors
/// [`Refusal`]; job and folder are as they were then.
pub fn run(words: &args::Hold, meter: &Meter) -> Result<bool, Refusal> {
    let mut file: JobFile = job::read(&words.job)?;
    let surface = files::read_grouped_quads(&words.surface).map_err(|source| Refusal::Read {
        place: String::new(),
        source: source.into(),
    })?;
    let plane = plane_of(&file, meter)?;
    let region = match (words.at, words.reach) {
        (Some(at), Some(reach)) => Region::Around { at, reach },
        _ => Region::Groups(words.group.clone()),
    };
    let name = words.name.trim();
    let hold = grow(&surface, &region, plane, name).map_err(|source| Refusal::Region {
        surface: words.surface.display().to_string(),
        source: source.into(),
    })?;
    let path = stored(&file, name)?;
    let spec = spec_with(&file, name, &path);
    let (quads, rim) = (hold.quads.len(), hold.rim.len());
    let text = files::held_text(&mesh_of(&hold), &hold.rim, &header(&file, name));
    // The holds of the job must go together.
    let mut order = Order::of(file.clone());
    order.spec.holds.retain(|h| h.name != name);
    let mut holds = order.holds()?;
    holds.push(hold);
    Held::new(&holds, plane).map_err(|source| Refusal::Region {
        surface: words.surface.display().to_string(),
        source: source.into(),
    })?;
    file.update(spec)?;
    let folder = file
        .path()
        .parent()
        .map_or_else(PathBuf::new, PathBuf::from);
    let folder = if folder.as_os_str().is_empty() {
        PathBuf::from(".")
    } else {
        folder
    };
    let job_name = file.path().file_name().map(|n| n.to_string_lossy());
    let job_name = job_name.unwrap_or_default().into_owned();
    let job_text = file.text().into_bytes();
    files::write_all_or_none(
        &folder,
        &[
            (path.to_string_lossy().as_ref(), text.as_slice()),
            (job_name.as_str(), job_text.as_slice()),
        ],
    )?;
    let line = file.spec().holds.iter().find(|h| h.name == name);
    terminal::say(&format!(
        "{}:{}: hold '{name}' keeps {quads} quads with a rim of {rim} edges, in {}; later runs leave them as they are\n",
        words.job.display(),
        line.map_or(0, |h| h.line),
        path.display(),
    ));
    Ok(true)
}

/// The plane about which the job is mirrored, as a run has it.
fn plane_of(file: &JobFile, meter: &Meter) -> Result<Option<Plane>, Refusal> {
    let choice = session::plane_of(file.spec().symmetry.plane);
    match choice {
        PlaneChoice::None => Ok(None),
        PlaneChoice::Given(plane) => Ok(Some(plane)),
        PlaneChoice::Find => {
            let order = Order::of(file.clone());
            let guides = session::guides_of(&order.spec);
            let source = Source {
                file: &file.sculpt_path(),
                file_place: order.place("sculpt", "file"),
                part: order.spec.sculpt.part.as_ref(),
                part_place: order.place("sculpt", "part"),
                guides: &guides,
            };
            let taken = sculpt::take_in(&source, meter)?;
            let (half, _) = symmetry::run(&taken.sculpt, choice, meter.task())?;
            Ok(half.plane)
        }
    }
}

/// The name of the hold's file beside the job; a file that belongs to something else is left alone.
fn stored(file: &JobFile, name: &str) -> Result<PathBuf, Refusal> {
    let known = file.spec().holds.iter().find(|h| h.name == name);
    let word: String = name
        .chars()
        .map(|c| if c.is_alphanumeric() { c } else { '_' })
        .collect();
    let stem = file.path().file_stem().map(|s| s.to_string_lossy());
    let path = PathBuf::from(format!("{}.{word}.obj", stem.unwrap_or_default()));
    let spec = HoldSpec {
        name: name.to_owned(),
        file: path.clone(),
        line: 0,
    };
    let full = file.hold_path(&spec);
    if known.is_none_or(|h| h.file != path) && full.exists() {
        return Err(Refusal::Taken { path: full });
    }
    Ok(path)
}

fn spec_with(file: &JobFile, name: &str, path: &std::path::Path) -> files::JobSpec {
    let mut spec = file.spec().clone();
    match spec.holds.iter_mut().find(|h| h.name == name) {
        Some(hold) => hold.file = path.to_owned(),
        None => spec.holds.push(HoldSpec {
            name: name.to_owned(),
            file: path.to_owned(),
            line: 0,
        }),
    }
    spec
}

fn mesh_of(hold: &Hold) -> QuadMesh {
    QuadMesh {
        positions: hold.positions.clone(),
        quads: hold.quads.clone(),
        groups: Vec::new(),
    }
}

fn header(file: &JobFile, name: &str) -> String {
    format!(
        "Hold '{name}' of the job {}: quads that runs leave bit for bit as they are.\n\
         Units: {}. Lines (l) are edges at which the rest of the surface goes on.",
        file.spec().name,
        file.spec().units
    )
}
