//! What can be wrong with a job file, where, and the way out.

use std::fmt;
use std::path::PathBuf;

/// A job file can't be used. Displays every problem, one a line:
/// `coat.toml:12:1: guide 'left wrist': …`.
#[derive(Debug, thiserror::Error)]
#[error("{}", lines(self))]
pub struct JobError {
    /// The job file.
    pub file: PathBuf,
    /// All problems in the order of the file; at least one.
    pub problems: Vec<JobProblem>,
}

/// One problem of a job file.
#[derive(Debug)]
pub struct JobProblem {
    /// Where in the text; `None` for the file as a whole.
    pub at: Option<LineColumn>,
    /// The table or guide: `[density]`, `guide 'left wrist'`; empty at the top.
    pub table: String,
    /// What is wrong and what to do.
    pub fault: JobFault,
}

/// A place in a text.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct LineColumn {
    /// Line, from 1.
    pub line: usize,
    /// Character in the line, from 1.
    pub column: usize,
}

/// What is wrong in a job file. Displays as what, and what to do.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum JobFault {
    /// The operating system refused.
    #[error("can't be read: {0}. Check the name and the permissions")]
    Io(#[from] std::io::Error),
    /// Too large to be a job file.
    #[error(
        "has {bytes} bytes, more than the {limit} of any job file. Name a job file, not a sculpt"
    )]
    TooLarge {
        /// Its size.
        bytes: u64,
        /// The limit.
        limit: u64,
    },
    /// Not text.
    #[error("isn't UTF-8 text. Save it as UTF-8, or name a job file instead of a sculpt")]
    NotText,
    /// Not TOML.
    #[error("isn't valid TOML here: {message}")]
    Syntax {
        /// What the parser says.
        message: String,
    },
    /// A key or table that the format doesn't have.
    #[error("unknown key '{key}'. {}", did_you_mean(.nearest, .known))]
    UnknownKey {
        /// The key.
        key: String,
        /// The key that was probably meant.
        nearest: Option<String>,
        /// Keys that can stand here.
        known: Vec<&'static str>,
    },
    /// A table that a later version of the format may have.
    #[error(
        "this version doesn't know the table '{table}' yet. Remove it, or use a later version of Loopwright"
    )]
    LaterTable {
        /// The table.
        table: String,
    },
    /// A value of the wrong type.
    #[error("'{key}' must be {wanted}, but is {found}. Write for example {example}")]
    WrongType {
        /// The key.
        key: String,
        /// The type it must have.
        wanted: &'static str,
        /// The type that it has.
        found: &'static str,
        /// A line that would do.
        example: &'static str,
    },
    /// A key that must be there.
    #[error("'{key}' is missing. Add for example {example}")]
    Missing {
        /// The key.
        key: String,
        /// A line that would do.
        example: &'static str,
    },
    /// Made for another version of the format.
    #[error(
        "the file has format version {found}; this version of Loopwright reads version 1. Write {key} = 1, or use the version that the file was made with"
    )]
    Version {
        /// The key that says so.
        key: &'static str,
        /// The version in the file.
        found: i64,
    },
    /// A number outside of its range.
    #[error("'{key}' is {value}; it must be {range}")]
    OutOfRange {
        /// The key.
        key: String,
        /// The value.
        value: String,
        /// What it can be.
        range: String,
    },
    /// A word that means nothing here.
    #[error("'{key}' is \"{word}\". {}", did_you_mean(.nearest, .known))]
    UnknownWord {
        /// The key.
        key: String,
        /// The word.
        word: String,
        /// Words that can stand here.
        known: Vec<&'static str>,
        /// The word that was probably meant.
        nearest: Option<String>,
    },
    /// Faces and edge exclude each other.
    #[error(
        "'faces' and 'edge' are both given, but one follows from the other. Remove one of them"
    )]
    BothSizes,
    /// A text that is empty.
    #[error("'{key}' is empty. Give it a text, or remove it")]
    Empty {
        /// The key.
        key: String,
    },
    /// Too few points for a curve.
    #[error("has {have} points; {} needs at least {need}. Draw more points or remove the guide", curve(.closed))]
    TooFewPoints {
        /// How many there are.
        have: usize,
        /// How many there must be.
        need: usize,
        /// Whether the guide is closed.
        closed: bool,
    },
    /// A point that isn't three numbers.
    #[error(
        "point {index} of '{key}' isn't [x, y, z] with three finite numbers. Correct or remove it"
    )]
    Point {
        /// The key.
        key: String,
        /// Its number, from 1.
        index: usize,
    },
    /// Two tables of a list with one name.
    #[error(
        "the {what} of line {first_line} has this name too. Give each {what} a name of its own"
    )]
    DuplicateName {
        /// What has the name: a guide, an area.
        what: String,
        /// Line of the first one with this name.
        first_line: usize,
    },
    /// A loop along no direction.
    #[error("'along' has no length, so it points nowhere. Write for example along = [0, 1, 0]")]
    ZeroDirection,
    /// Extra loops beside something that isn't a closed ring.
    #[error(
        "'loops' asks for closed loops beside a closed ring, but this is none. Remove it, or make the guide kind = \"ring\" with closed = true"
    )]
    LoopsBesideNoRing,
    /// One of several ways of saying a thing is needed, and only one.
    #[error("must have either {wanted}. Add the one and remove the other")]
    EitherOr {
        /// The ways, in words.
        wanted: &'static str,
    },
    /// A guide that the job doesn't have.
    #[error(
        "there is no guide '{guide}'{}. Name a guide of this job", near_name(.nearest)
    )]
    UnknownGuide {
        /// The name.
        guide: String,
        /// The guide that was probably meant.
        nearest: Option<String>,
    },
    /// A part of a figure that there isn't, or not yet.
    #[error(
        "there is no part '{part}' before this one{}. Name a part that stands before it: parts are run from the inside out", near_name(.nearest)
    )]
    UnknownPart {
        /// The name.
        part: String,
        /// The part that was probably meant.
        nearest: Option<String>,
    },
    /// An image of what is an image itself.
    #[error("'{part}' is itself an image. Name the part that has a job")]
    ImageOfImage {
        /// The name.
        part: String,
    },
    /// An image about no plane.
    #[error(
        "is an image, but the figure has no plane. Add [symmetry] with plane = \"x\", or give the part a job"
    )]
    ImageWithoutPlane,
    /// Parts whose results would be in one folder.
    #[error(
        "its results would be in the folder '{folder}', as those of '{other}'. Give it a name that differs in letters or digits"
    )]
    SameFolder {
        /// The folder.
        folder: String,
        /// The part that has it.
        other: String,
    },
    /// A budget that leaves a part too little.
    #[error(
        "the budget leaves it {faces} quads; a part has at least {least}. Raise [budget] faces, or give fixed parts fewer"
    )]
    BudgetTooSmall {
        /// What is left.
        faces: i64,
        /// The least of a job.
        least: u32,
    },
    /// A trim headed nowhere.
    #[error(
        "'direction' has no length, so it points nowhere. Write for example direction = [0, -1, 0]"
    )]
    NowhereTo,
    /// A plane across no direction.
    #[error("'normal' has no length, so it points nowhere. Write for example normal = [1, 0, 0]")]
    ZeroNormal,
}

fn did_you_mean(nearest: &Option<String>, known: &[&'static str]) -> String {
    let all = known
        .iter()
        .map(|k| format!("'{k}'"))
        .collect::<Vec<_>>()
        .join(", ");
    match nearest {
        Some(word) => format!("Did you mean '{word}'? Possible are {all}"),
        None => format!("Possible are {all}"),
    }
}

fn near_name(nearest: &Option<String>) -> String {
    nearest
        .as_ref()
        .map_or_else(String::new, |name| format!(" (did you mean '{name}'?)"))
}

fn curve(closed: &bool) -> &'static str {
    if *closed {
        "a closed guide"
    } else {
        "an open guide"
    }
}

fn lines(error: &JobError) -> String {
    let file = error.file.display();
    let line = |problem: &JobProblem| format!("{file}{problem}");
    error
        .problems
        .iter()
        .map(line)
        .collect::<Vec<_>>()
        .join("\n")
}

impl fmt::Display for JobProblem {
    /// All but the file's name: `:line:column: table: fault`.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if let Some(LineColumn { line, column }) = self.at {
            write!(f, ":{line}:{column}")?;
        }
        if !self.table.is_empty() {
            write!(f, ": {}", self.table)?;
        }
        write!(f, ": {}", self.fault)
    }
}
