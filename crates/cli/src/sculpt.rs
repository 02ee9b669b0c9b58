//! From a sculpt file to the sculpt that stages work on.

use std::path::Path;

use base::{Finding, Findings, Level};
use engine::intake::{self, IntakeOptions, Part, RawPart, RawTriangles};
use engine::model::{Guide, GuideKind, Sculpt};
use files::{PartSpec, RawSculpt, ReadNotes};
use report::StageView;

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
    meter.task().report("read", 0.0)?;
    let raw = files::read_sculpt(source.file).map_err(|error| Refusal::Read {
        place: source.file_place.clone(),
        source: error.into(),
    })?;
    let mut findings = reading_findings(&raw.notes);
    let mut stages = vec![lap.end("read")];
    let options = IntakeOptions {
        part: source.part.map(|part| match part {
            PartSpec::Largest => Part::Largest,
            PartSpec::Named(name) => Part::Named(name.clone()),
        }),
        keep_open: opening_points(source.guides),
        ..IntakeOptions::default()
    };
    let raw = raw_triangles(raw);
    let (sculpt, report) =
        intake::run(&raw, &options, meter.task()).map_err(|error| Refusal::Intake {
            place: match error {
                intake::IntakeError::NoSuchPart { .. } => source.part_place.clone(),
                _ => source.file_place.clone(),
            },
            file: source.file.to_owned(),
            source: error,
        })?;
    drop(raw);
    findings.append(report.findings);
    stages.push(lap.end("intake"));
    Ok(Taken {
        sculpt,
        findings,
        stages,
    })
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
