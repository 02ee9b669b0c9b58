//! The study of quality: sculpts of our own with no, few and all guides, every measure of the
//! check, and how the stages do when they go about it in other ways.
//!
//! ```text
//! wardrobe ─▶ runs (sculpt × guides × way) ─▶ tables ─┬─▶ docs/quality.md, between its marks
//!                                            pictures ─┴─▶ docs/quality/*.png
//! ```
//!
//! Nothing in it depends on the clock or the machine: the same commit writes the same bytes.

pub mod page;
mod tables;
pub mod wardrobe;

use base::{Level, Task};
use engine::check::{self, CheckInput, Measures};
use engine::quantise::Weighing;
use rayon::prelude::*;
use report::{GuideView, PoleView, ReportError, ReportInput};
use session::Way;

use crate::cases::{Case, Given, RunSpec};
use crate::run::{self, Made};
use crate::verify::{Counts, faults};
pub use tables::text;

/// Faces asked for.
pub const FACES: usize = 1_500;
/// Triangles of the sculpts.
pub const TRIANGLES: usize = 80_000;
/// Greatest height and width of a picture, pixels.
const PICTURE_PX: u32 = 300;
/// Which of the report's pictures is shown.
const PICTURE: &str = "surface-above";

/// Sets of guides, in the order of the table.
pub const SETS: [Given; 3] = [Given::None, Given::Few, Given::Full];

/// A choice of how stages go about it.
#[derive(Clone, Debug, PartialEq)]
pub struct Choice {
    /// What differs, in words.
    pub name: &'static str,
    /// All of it.
    pub way: Way,
}

/// The default way, then each other way: one thing differs.
pub fn choices() -> Vec<Choice> {
    let way = Way::default();
    let choice = |name, way| Choice { name, way };
    vec![
        choice("the default", way),
        choice(
            "layout: no closed curves around limbs first",
            Way {
                rings_first: false,
                ..way
            },
        ),
        choice(
            "field: not drawn along bends (curvature 0)",
            Way {
                curvature: 0.0,
                ..way
            },
        ),
        choice(
            "field: no singular places taken out (within 0 quads)",
            Way {
                cancel_quads: 0.0,
                ..way
            },
        ),
        choice(
            "plan: arcs weighed alone, not the strips between them",
            Way {
                weighing: Weighing::Arcs,
                ..way
            },
        ),
        choice(
            "conform: every vertex on the sculpt (no straddling)",
            Way {
                straddle: false,
                ..way
            },
        ),
    ]
}

/// What came of one run.
#[derive(Clone, Debug)]
pub struct Row {
    /// Name of the sculpt.
    pub sculpt: String,
    /// Guides that it was given.
    pub given: Given,
    /// Number of the way in [`choices`].
    pub choice: usize,
    /// The figures, or who refuses and why.
    pub result: Result<Figures, String>,
}

/// Figures of one surface.
#[derive(Clone, Debug)]
pub struct Figures {
    /// All of the check's.
    pub measures: Measures,
    /// Fewest inner poles that its topology and its boundary's corners ask for, by `verify`.
    pub pole_need: u64,
    /// What `verify` finds wrong.
    pub faults: Vec<String>,
    /// Codes of findings that fail.
    pub failing: Vec<String>,
}

/// A picture and its file's name.
pub type Picture = (String, Vec<u8>);

/// Runs every sculpt with every set of guides in every way; `tell` is given each row as it comes.
/// Pictures and the comparison with decimation are made for the default way alone.
///
/// # Errors
/// [`ReportError`] where a picture can't be made.
pub fn rows(
    cases: &[Case],
    faces: usize,
    tell: impl Fn(&Row) + Sync,
) -> Result<(Vec<Row>, Vec<Picture>), ReportError> {
    let choices = choices();
    let sets = |case| SETS.into_iter().map(move |given| (case, given));
    let jobs: Vec<(usize, &Case, Given)> = (0..choices.len())
        .flat_map(|choice| {
            let runs = cases.iter().flat_map(sets);
            runs.map(move |(case, given)| (choice, case, given))
        })
        .collect();
    // Side by side, for a run uses one processor most of the time; the order stays.
    let made: Vec<(Row, Option<Picture>)> = jobs
        .into_par_iter()
        .map(|(choice, case, given)| {
            let (row, picture) = row(case, RunSpec { given, faces }, choice, choices[choice].way)?;
            tell(&row);
            Ok((row, picture))
        })
        .collect::<Result<_, ReportError>>()?;
    let (rows, pictures): (Vec<Row>, Vec<Option<Picture>>) = made.into_iter().unzip();
    Ok((rows, pictures.into_iter().flatten().collect()))
}

fn row(
    case: &Case,
    spec: RunSpec,
    choice: usize,
    way: Way,
) -> Result<(Row, Option<Picture>), ReportError> {
    let task = Task::default();
    let made = run::surface(case, spec, way, &task);
    let png = match &made {
        Ok(made) if choice == 0 => picture(made, &task)?,
        _ => None,
    };
    let result = made.and_then(|made| figures(&made, spec.faces, choice == 0, &task));
    let row = Row {
        sculpt: case.name.clone(),
        given: spec.given,
        choice,
        result: result.map_err(|(stage, text)| format!("{stage}: {text}")),
    };
    let name = picture_name(&case.name, spec.given);
    Ok((row, png.map(|png| (name, png))))
}

fn figures(
    made: &Made,
    faces: usize,
    yardstick: bool,
    task: &Task,
) -> Result<Figures, (&'static str, String)> {
    let surface = &made.outcome.surface;
    let input = CheckInput {
        surface,
        sculpt: made.session.sculpt(),
        guides: &made.settings.guides,
        plane: made.outcome.plane,
        intent: &made.settings.intent,
        target_faces: u32::try_from(faces).ok(),
        yardstick,
        holds: &[],
    };
    let (measures, findings) = check::run(&input, task).map_err(|e| ("check", e.to_string()))?;
    let all = made.outcome.findings.iter().chain(findings.iter());
    let mut failing: Vec<String> = all
        .filter(|f| f.level == Level::Fail)
        .map(|f| f.code.clone())
        .collect();
    failing.sort_unstable();
    failing.dedup();
    Ok(Figures {
        measures,
        pole_need: Counts::of(&surface.quads).pole_need(),
        faults: faults(&surface.positions, &surface.quads, made.wanted),
        failing,
    })
}

/// Small letters, and hyphens for everything else.
fn picture_name(sculpt: &str, given: Given) -> String {
    let plain = |c: char| {
        if c.is_ascii_alphanumeric() {
            c.to_ascii_lowercase()
        } else {
            '-'
        }
    };
    let stem: String = sculpt.replace('\'', "").chars().map(plain).collect();
    format!("{stem}-{}.png", given.name())
}

/// The surface from three-quarter above; smaller where it is wider than high.
fn picture(made: &Made, task: &Task) -> Result<Option<Vec<u8>>, ReportError> {
    let guides: Vec<GuideView> = vec![];
    let poles: Vec<PoleView> = vec![];
    let findings = base::Findings::default();
    let at = |picture_px: u32| -> Result<Option<Vec<u8>>, ReportError> {
        let input = ReportInput {
            title: "",
            sculpt: &made.session.sculpt().index,
            surface: &made.outcome.surface,
            guides: &guides,
            poles: &poles,
            patch_of_quad: &[],
            trims: &[],
            layers: None,
            findings: &findings,
            stages: &[],
            tables: &[],
            job_text: "",
            picture_px,
        };
        let all = report::pictures(&input, task)?;
        Ok(all.into_iter().find(|p| p.name == PICTURE).map(|p| p.png))
    };
    let png = at(PICTURE_PX)?;
    match png.as_deref().and_then(width) {
        Some(width) if width > PICTURE_PX => at(PICTURE_PX * PICTURE_PX / width),
        _ => Ok(png),
    }
}

/// Width of a picture: the first number of its first chunk (PNG specification, 11.2.1 IHDR).
fn width(png: &[u8]) -> Option<u32> {
    let bytes = png.get(16..20)?;
    Some(u32::from_be_bytes(bytes.try_into().ok()?))
}
