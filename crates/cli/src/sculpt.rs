//! From a sculpt file to the sculpt that stages work on.

use std::path::Path;

use base::Findings;
use engine::intake::IntakeError;
use engine::model::{Guide, Sculpt};
use files::PartSpec;
use report::StageView;
use session::TakeError;

use crate::progress::{Lap, Meter};
use crate::refusal::Refusal;

/// What is to be taken in, and who asked for it.
pub struct Source<'a> {
    /// The file.
    pub file: &'a Path,
    /// Place of the file's name in a job: `coat.toml:7: `, or nothing.
    pub file_place: String,
    /// The part, if one is asked for.
    pub part: Option<&'a PartSpec>,
    /// Place of the part's name in a job, or nothing.
    pub part_place: String,
    /// Guides, whose openings aren't to be filled as holes.
    pub guides: &'a [Guide],
}

/// A sculpt that was taken in.
pub struct Taken {
    /// The sculpt.
    pub sculpt: Sculpt,
    /// What reading and intake found.
    pub findings: Findings,
    /// What they cost.
    pub stages: Vec<StageView>,
}

/// Reads a sculpt and takes it in.
///
/// # Errors
/// [`Refusal::Read`] and [`Refusal::Intake`].
pub fn take_in(source: &Source<'_>, meter: &Meter) -> Result<Taken, Refusal> {
    let mut lap = Lap::new(meter);
    let mut stages = Vec::new();
    let taken = session::take_in(
        source.file,
        source.part,
        source.guides,
        meter.task(),
        |stage| stages.push(lap.end(stage)),
    );
    let (sculpt, findings) = taken.map_err(|error| match error {
        TakeError::Read(error) => Refusal::Read {
            place: source.file_place.clone(),
            source: error,
        },
        TakeError::Intake(error) => Refusal::Intake {
            place: match error {
                IntakeError::NoSuchPart { .. } => source.part_place.clone(),
                _ => source.file_place.clone(),
            },
            file: source.file.to_owned(),
            source: error,
        },
        TakeError::Cancelled(cancelled) => cancelled.into(),
    })?;
    Ok(Taken {
        sculpt,
        findings,
        stages,
    })
}
