//! From a sculpt file to the sculpt that stages work on.

use std::path::Path;

use base::{Cancelled, Finding, Findings, Level, Task};
use engine::intake::{self, IntakeError, IntakeOptions, Part, RawPart, RawTriangles};
use engine::model::{Guide, GuideKind, Sculpt};
use files::{PartSpec, RawSculpt, ReadError, ReadNotes};
use thiserror::Error;

/// Why a sculpt can't be taken in.
#[derive(Debug, Error)]
pub enum TakeError {
    /// The file.
    #[error(transparent)]
    Read(Box<ReadError>),
    /// What is in it.
    #[error(transparent)]
    Intake(IntakeError),
    /// Cancelled from outside.
    #[error(transparent)]
    Cancelled(#[from] Cancelled),
}

/// Reads a sculpt and takes it in: the part asked for, or everything; openings of `guides` aren't
/// filled as holes. `lap` hears of each of the two steps, `read` and `intake`, when it is done.
///
/// # Errors
/// [`TakeError`].
pub fn take_in(
    file: &Path,
    part: Option<&PartSpec>,
    guides: &[Guide],
    task: &Task,
    mut lap: impl FnMut(&'static str),
) -> Result<(Sculpt, Findings), TakeError> {
    task.report("read", 0.0)?;
    let raw = files::read_sculpt(file).map_err(|error| TakeError::Read(error.into()))?;
    let mut findings = reading_findings(&raw.notes);
    lap("read");
    let options = IntakeOptions {
        part: part.map(|part| match part {
            PartSpec::Largest => Part::Largest,
            PartSpec::Named(name) => Part::Named(name.clone()),
        }),
        keep_open: opening_points(guides),
        ..IntakeOptions::default()
    };
    let raw = raw_triangles(raw);
    let (sculpt, report) = intake::run(&raw, &options, task).map_err(TakeError::Intake)?;
    findings.append(report.findings);
    lap("intake");
    Ok((sculpt, findings))
}

fn raw_triangles(raw: RawSculpt) -> RawTriangles {
    let part = |part: files::RawPart| RawPart {
        name: part.name,
        triangles: part.triangles,
    };
    RawTriangles {
        positions: raw.positions,
        triangles: raw.triangles,
        parts: raw.parts.into_iter().map(part).collect(),
    }
}

fn opening_points(guides: &[Guide]) -> Vec<mesh::DVec3> {
    let openings = guides.iter().filter(|g| g.kind == GuideKind::Opening);
    openings.flat_map(|g| g.points.iter().copied()).collect()
}

/// What the reader left out or guessed, in words.
fn reading_findings(notes: &ReadNotes) -> Findings {
    let mut findings = Findings::default();
    let mut note = |code: &str, level: Level, count: u64, sentence: &str| {
        if count > 0 {
            let sentence = sentence.replace('#', &count.to_string());
            findings.push(Finding::new(code, level, sentence).measured(count as f64, None));
        }
    };
    note(
        "polygons-split",
        Level::Note,
        notes.polygons_split as u64,
        "Polygons with more than three corners, split into triangles: #.",
    );
    note(
        "polygons-forced",
        Level::Warn,
        notes.polygons_forced as u64,
        "Polygons that cross themselves, so that their triangles are a guess: #.",
    );
    note(
        "faces-skipped",
        Level::Warn,
        notes.faces_skipped as u64,
        "Faces with fewer than three corners, left out: #.",
    );
    note(
        "items-skipped",
        Level::Note,
        notes.items_skipped as u64,
        "Points, lines and other statements without surface, left out: #.",
    );
    note(
        "skins-ignored",
        Level::Warn,
        notes.skins_ignored as u64,
        "Skinned nodes, read in the pose in which they are stored: #.",
    );
    note(
        "trailing-bytes",
        Level::Warn,
        notes.trailing_bytes,
        "Bytes after the end of the sculpt's data, ignored: #.",
    );
    findings
}
