//! Why there is no surface, in words for people: what, where, what to do.

use std::path::PathBuf;

use base::Cancelled;
use engine::check::CheckError;
use engine::intake::IntakeError;
use engine::suggest::SuggestError;
use engine::symmetry::SymmetryError;
use files::{EncodeError, JobError, JobFault, ReadError, WriteError};
use report::ReportError;
use session::{FinishError, SessionError};
use thiserror::Error;

/// Why there is no surface; nothing was written.
#[derive(Debug, Error)]
pub enum Refusal {
    /// The job file.
    #[error(transparent)]
    Job(#[from] JobError),
    /// An option on the command line.
    #[error("--{option}: {fault}")]
    Option {
        /// Its name without dashes.
        option: &'static str,
        /// What is wrong with it.
        fault: JobFault,
    },
    /// An option that stands above a job's own value, with a set file.
    #[error(
        "--{option}: '{}' is a set file, whose jobs say that for themselves. Leave the option out", set.display()
    )]
    OfJob {
        /// Its name without dashes.
        option: &'static str,
        /// The set file.
        set: PathBuf,
    },
    /// The sculpt or surface file; `place` names the job file and line that name it.
    #[error("{place}{source}")]
    Read {
        /// `coat.toml:7: ` or nothing.
        place: String,
        /// What is wrong.
        source: Box<ReadError>,
    },
    /// What a set file asks of a part can't be asked of its job.
    #[error("{place}{fault}")]
    Set {
        /// `keeper.toml:9: `.
        place: String,
        /// What is wrong.
        fault: Box<JobFault>,
    },
    /// A part in another unit than those before it.
    #[error(
        "{place}part '{part}' is in {units}, but others are in {others}. A figure has one unit: write all jobs in it"
    )]
    UnitsDiffer {
        /// `keeper.toml:9: `.
        place: String,
        /// The part.
        part: String,
        /// Its job's unit.
        units: String,
        /// The unit of the first part.
        others: String,
    },
    /// A job's layer that the figure adds too.
    #[error(
        "{place}layer '{layer}' is called as a part that the figure lays this one over. Take it out of the job, or give it another name"
    )]
    LayerTwice {
        /// `coat.toml:40: `.
        place: String,
        /// The layer.
        layer: String,
    },
    /// A part of a figure can't be made.
    #[error("{place}part '{part}': {source}")]
    Part {
        /// `keeper.toml:9: `.
        place: String,
        /// The part.
        part: String,
        /// What is wrong with it.
        source: Box<Refusal>,
    },
    /// Results that were written can't be read back.
    #[error("{}: can't be read back: {source}. Look at the disk, and run it again", path.display())]
    Results {
        /// The file.
        path: PathBuf,
        /// What the system says.
        source: std::io::Error,
    },
    /// A layer's file; `place` names the job file and line that name it.
    #[error("{place}{source}")]
    Layer {
        /// `coat.toml:7: `.
        place: String,
        /// What is wrong.
        source: Box<session::LayerFileError>,
    },
    /// The surface can't be cleared of layers.
    #[error("{file}: {source}")]
    Clear {
        /// The job file.
        file: String,
        /// What is wrong.
        source: Box<session::ClearError>,
    },
    /// The sculpt's content.
    #[error("{place}{}: {source}", file.display())]
    Intake {
        /// `coat.toml:7: ` or nothing.
        place: String,
        /// The sculpt file.
        file: PathBuf,
        /// What is wrong.
        source: IntakeError,
    },
    /// More quads than can be made.
    #[error(
        "{place}edges of {edge} would make some {quads:.0} quads of this sculpt; at most {limit} can be asked for. Give a longer edge, or check the units"
    )]
    TooFine {
        /// `coat.toml:14: ` or `--edge: `.
        place: String,
        /// The edge length asked for, model units.
        edge: f64,
        /// Quads that it would make.
        quads: f64,
        /// The most that can be asked for.
        limit: u32,
    },
    /// A stage can't go on.
    #[error("{place}{source}")]
    Stage {
        /// `coat.toml:12: `: the job file and the first guide that the message names.
        place: String,
        /// What is wrong.
        source: Box<SessionError>,
    },
    /// What is asked for beside the surface can't be added.
    #[error("{place}{source}")]
    Finish {
        /// `coat.toml:40: `: the job file and the first thing that the message names.
        place: String,
        /// What is wrong.
        source: Box<FinishError>,
    },
    /// Nothing can be proposed.
    #[error("{file}: {source}")]
    Suggest {
        /// The job file.
        file: String,
        /// What is wrong.
        source: Box<SuggestError>,
    },
    /// No mirror plane to measure against.
    #[error(transparent)]
    Symmetry(#[from] SymmetryError),
    /// A region of a surface that can't be held.
    #[error("{surface}: {source}")]
    Region {
        /// The surface.
        surface: String,
        /// What is wrong.
        source: Box<dyn std::error::Error + Send + Sync>,
    },
    /// A hold's file would replace another.
    #[error(
        "'{}' is there already and belongs to no hold of this name. Give the hold another name, or move the file away", path.display()
    )]
    Taken {
        /// The file.
        path: PathBuf,
    },
    /// The surface can't be checked.
    #[error("{surface}: {source}")]
    Check {
        /// Which surface.
        surface: String,
        /// What is wrong.
        source: CheckError,
    },
    /// The report.
    #[error(transparent)]
    Report(#[from] ReportError),
    /// The GLB file.
    #[error("surface.glb: {0}")]
    Encode(#[from] EncodeError),
    /// A result would replace an input.
    #[error(
        "'{}' is an input and a result would replace it. Choose another folder with --out", path.display()
    )]
    Overwrites {
        /// The file.
        path: PathBuf,
    },
    /// The results can't be written.
    #[error(transparent)]
    Write(#[from] WriteError),
    /// The results can't be put into words.
    #[error("the findings can't be written as JSON: {0}")]
    Json(#[from] serde_json::Error),
    /// No threads.
    #[error("no threads to work with: {0}. Ask for fewer with --threads")]
    Threads(rayon::ThreadPoolBuildError),
    /// No thread to look at files.
    #[error("no thread to watch the files with: {0}. End other programs, or use 'run'")]
    Thread(std::io::Error),
    /// The program itself failed.
    #[error(
        "there is a fault in Loopwright: this job ended the run. Take the last change back and go on, and please send us the job"
    )]
    Fault,
    /// Cancelled from outside.
    #[error(transparent)]
    Cancelled(#[from] Cancelled),
}

impl Refusal {
    /// As that of a part of a figure; to be cancelled is no part's fault.
    pub fn of_part(self, place: String, part: &str) -> Self {
        match self {
            Self::Cancelled(cancelled) => Self::Cancelled(cancelled),
            source => Self::Part {
                place,
                part: part.to_owned(),
                source: source.into(),
            },
        }
    }
}
