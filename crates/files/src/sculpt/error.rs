//! What can be wrong with a sculpt file, and where.

use std::fmt;
use std::path::PathBuf;

/// A sculpt couldn't be read. Displays as one sentence: file, place, problem, way out.
#[derive(Debug, thiserror::Error)]
#[error("{}{spot}: {problem}", .file.display())]
pub struct ReadError {
    /// The file, as it was named to the reader.
    pub file: PathBuf,
    /// Where in the file.
    pub spot: Spot,
    /// What is wrong there.
    #[source]
    pub problem: ReadProblem,
}

/// A place in a sculpt file.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub enum Spot {
    /// The file as a whole.
    #[default]
    File,
    /// A line of a text file, from 1.
    Line(usize),
    /// An item of a binary file: its kind and its number, from 0.
    Item {
        /// Kind of item, such as `vertex`, `face` or `accessor`.
        kind: String,
        /// Number within its kind, from 0.
        index: u64,
    },
}

impl Spot {
    pub(super) fn item(kind: &str, index: u64) -> Self {
        Self::Item {
            kind: kind.to_owned(),
            index,
        }
    }
}

impl fmt::Display for Spot {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::File => Ok(()),
            Self::Line(line) => write!(f, ", line {line}"),
            Self::Item { kind, index } => write!(f, ", {kind} {index} (counted from 0)"),
        }
    }
}

/// What is wrong with a sculpt file.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum ReadProblem {
    /// The operating system refused.
    #[error("can't be read: {0}. Check the name and the permissions")]
    Io(#[from] std::io::Error),
    /// A folder, a pipe or a device.
    #[error("isn't a regular file. Name a PLY, OBJ, STL, glTF or GLB file")]
    NotAFile,
    /// Neither the name nor the content tells the format.
    #[error("isn't a sculpt format that can be read. Export it as PLY, OBJ, STL, glTF or GLB")]
    UnknownFormat,
    /// The header or a statement breaks the format's rules.
    #[error("breaks the rules of {format}: {what}. Export the sculpt again")]
    Malformed {
        /// Name of the format.
        format: &'static str,
        /// What was found or missing.
        what: String,
    },
    /// The format allows it, this reader doesn't.
    #[error("needs {what}, which can't be read here. Export the sculpt without it")]
    Unsupported {
        /// What is needed.
        what: String,
    },
    /// The file ends too early.
    #[error("the file ends in the middle of {what}. It was cut off: copy or export it again")]
    Truncated {
        /// What was being read.
        what: String,
    },
    /// More is announced than the file has room for.
    #[error(
        "announces {announced} {what}, but there is room for {room} at most. The file was cut off or is damaged: export it again"
    )]
    TooMany {
        /// What is announced.
        what: String,
        /// How many.
        announced: u64,
        /// How many can be there.
        room: u64,
    },
    /// A text that should be a number.
    #[error("'{text}' isn't {wanted}. Correct it or export the sculpt again")]
    Number {
        /// The text, shortened.
        text: String,
        /// What it should be.
        wanted: &'static str,
    },
    /// A coordinate that is infinite, not a number, or too large for 32 bits.
    #[error(
        "a coordinate is infinite, not a number or too large for 32 bits. Delete the vertex in the program that made the sculpt, or export it again"
    )]
    NotFinite,
    /// A face names a vertex that doesn't exist.
    #[error("a face names vertex {index}, but {have}. Export the sculpt again")]
    IndexOutOfRange {
        /// The index as written in the file.
        index: i64,
        /// Which vertices there are.
        have: String,
    },
    /// More vertices or triangles than 32-bit indices can name.
    #[error("has more than {limit} {what}. Split the sculpt into parts")]
    TooLarge {
        /// What there are too many of.
        what: &'static str,
        /// The limit.
        limit: u64,
    },
    /// Nothing to work on.
    #[error(
        "has {vertices} vertices and no triangles. Export the sculpt as a mesh, not as points or curves"
    )]
    NoTriangles {
        /// How many vertices were found.
        vertices: usize,
    },
    /// Not a surface of quads: a face with another number of corners.
    #[error(
        "a face has {corners} corners. Only surfaces of quads can be measured: export it without splitting or joining faces"
    )]
    NotAQuad {
        /// Corners of the face.
        corners: usize,
    },
    /// Not a surface of quads: no faces at all.
    #[error("has no quads. Name an OBJ file with faces of four corners")]
    NoQuads,
    /// Held quads without a rim.
    #[error(
        "has no lines (l) to say where the rest of the surface goes on, so nothing can be laid against its quads. Hold the region again"
    )]
    NoRim,
    /// A file that this file names can't be used.
    #[error(
        "names the buffer '{uri}', which can't be used: {reason}. Put it beside this file or export as GLB"
    )]
    Buffer {
        /// The reference, shortened.
        uri: String,
        /// Why it can't be used.
        reason: String,
    },
    /// The job asks for a part that the file doesn't have.
    #[error("has no part named '{name}'. {}", parts_there_are(.have))]
    NoSuchPart {
        /// The name asked for.
        name: String,
        /// Names that exist.
        have: Vec<String>,
    },
}

fn parts_there_are(have: &[String]) -> String {
    const SHOWN: usize = 12;
    if have.is_empty() {
        return "It has no named parts at all: leave 'part' out, or use \"largest\"".to_owned();
    }
    let names: Vec<String> = have.iter().take(SHOWN).map(|n| format!("'{n}'")).collect();
    let more = if have.len() > SHOWN {
        format!(" and {} more", have.len() - SHOWN)
    } else {
        String::new()
    };
    format!("Use one of {}{more}", names.join(", "))
}

/// A problem and its place; the file's name is added at the rim.
#[derive(Debug)]
pub(super) struct Fault {
    pub spot: Spot,
    pub problem: ReadProblem,
}

pub(super) type Outcome<T> = Result<T, Fault>;

impl From<ReadProblem> for Fault {
    fn from(problem: ReadProblem) -> Self {
        Self {
            spot: Spot::File,
            problem,
        }
    }
}

impl From<std::io::Error> for Fault {
    fn from(error: std::io::Error) -> Self {
        ReadProblem::Io(error).into()
    }
}

impl ReadProblem {
    pub(super) fn at(self, spot: Spot) -> Fault {
        Fault {
            spot,
            problem: self,
        }
    }

    pub(super) fn at_line(self, line: usize) -> Fault {
        self.at(Spot::Line(line))
    }

    pub(super) fn malformed(format: &'static str, what: impl Into<String>) -> Self {
        Self::Malformed {
            format,
            what: what.into(),
        }
    }

    pub(super) fn truncated(what: impl Into<String>) -> Self {
        Self::Truncated { what: what.into() }
    }

    pub(super) fn number(text: &[u8], wanted: &'static str) -> Self {
        Self::Number {
            text: shortened(text),
            wanted,
        }
    }
}

/// At most 40 characters of a text that may be anything.
pub(super) fn shortened(text: &[u8]) -> String {
    const LONGEST: usize = 40;
    let start = &text[..text.len().min(4 * LONGEST)];
    let shown = String::from_utf8_lossy(start);
    let printable = shown
        .chars()
        .map(|c| if c.is_control() { '\u{fffd}' } else { c });
    let mut short: String = printable.take(LONGEST).collect();
    if shown.chars().count() > LONGEST || start.len() < text.len() {
        short.push('…');
    }
    short
}
