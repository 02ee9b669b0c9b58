//! `loopwright hold`: a region of a surface that later runs leave as it is.

use engine::hold::Region;
use engine::model::Plane;
use engine::symmetry::{self, PlaneChoice};
use files::JobFile;
use session::HoldingError;

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
    let ready = session::holding(&file, &surface, &region, plane, name);
    let ready = ready.map_err(|source| match source {
        HoldingError::Taken { path } => Refusal::Taken { path },
        HoldingError::File(problem) => Order::of(file.clone()).hold_refusal(problem),
        HoldingError::Region(source) => of_surface(words, source.into()),
        HoldingError::Together(source) => of_surface(words, source.into()),
    })?;
    let session::Holding {
        spec,
        path,
        text,
        quads,
        rim,
    } = ready;
    file.update(spec)?;
    let job_name = file.path().file_name().map(|n| n.to_string_lossy());
    let job_name = job_name.unwrap_or_default().into_owned();
    let job_text = file.text().into_bytes();
    files::write_all_or_none(
        file.folder(),
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

fn of_surface(words: &args::Hold, source: Box<dyn std::error::Error + Send + Sync>) -> Refusal {
    Refusal::Region {
        surface: words.surface.display().to_string(),
        source,
    }
}
