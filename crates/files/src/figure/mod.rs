//! The set file: the parts of a figure, each with its job or as the image of another, what they
//! share, and which lies over which.
//!
//! ```
//! use loopwright_files::FigureFile;
//! let text = r#"
//! figure = 1
//! [symmetry]
//! plane = "x"
//! [budget]
//! faces = 4000
//! [layers]
//! clearance = 0.4
//! [[part]]
//! name = "left glove"
//! job = "glove.toml"
//! [[part]]
//! name = "right glove"
//! image_of = "left glove"
//! [[part]]
//! name = "coat"
//! job = "coat.toml"
//! share = 2
//! over = ["left glove", "right glove"]
//! "#;
//! let figure = FigureFile::parse("keeper.toml".as_ref(), text).unwrap();
//! assert_eq!(figure.spec().faces(), [Some(1000), Some(1000), Some(2000)]);
//! ```

mod read;

use std::path::{Path, PathBuf};

use crate::job::{JobError, PlaneSpec, read_text};

/// A set file: where it is, and what it asks for.
#[derive(Clone, Debug)]
pub struct FigureFile {
    path: PathBuf,
    text: String,
    spec: FigureSpec,
}

/// A figure: its parts from the inside out.
#[derive(Clone, Debug, PartialEq)]
pub struct FigureSpec {
    /// Name of the figure. Default: the set file's name without extension.
    pub name: String,
    /// The plane that parts and pairs of parts are symmetric about; never to be found.
    pub plane: Option<PlaneSpec>,
    /// Quads of the whole figure, without trims. Default: what the jobs say.
    pub budget: Option<u32>,
    /// Parts, from the inside out; names are unique.
    pub parts: Vec<FigurePart>,
}

/// A part of a figure.
#[derive(Clone, Debug, PartialEq)]
pub struct FigurePart {
    /// Unique name.
    pub name: String,
    /// Where its surface comes from.
    pub from: PartFrom,
    /// Its share of the budget.
    pub share: Share,
    /// Whether it is symmetric about the figure's plane. Default: unless it is or has an image.
    pub symmetric: bool,
    /// Parts that it lies over, by their numbers in the figure, all less than its own.
    pub over: Vec<usize>,
    /// Least distance to each of them, model units, above 0 where there are any.
    pub clearance: f64,
    /// Line of its table in the set file, from 1.
    pub line: usize,
}

/// Where a part's surface comes from.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum PartFrom {
    /// A job file as written in the set file: relative to it, or absolute.
    Job(PathBuf),
    /// The mirror image of another part, which has a job: its number in the figure.
    Image(usize),
}

/// A part's share of a figure's budget.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Share {
    /// So many quads.
    Faces(u32),
    /// Of what is left, in the ratio of these numbers, above 0. Default: 1.
    Weight(f64),
}

impl FigurePart {
    /// Name of the folder of its results: small letters and digits of its name with hyphens
    /// between; unique in a figure that was read.
    pub fn folder(&self) -> String {
        let mut folder = String::new();
        for c in self.name.chars() {
            if c.is_alphanumeric() {
                folder.extend(c.to_lowercase());
            } else if !folder.is_empty() && !folder.ends_with('-') {
                folder.push('-');
            }
        }
        folder.truncate(folder.trim_end_matches('-').len());
        if folder.is_empty() {
            folder.push_str("part");
        }
        folder
    }
}

impl FigureSpec {
    /// Quads of each part's plain surface; `None` where its job says how many. Images have as
    /// many as what they are images of, and each counts.
    pub fn faces(&self) -> Vec<Option<u32>> {
        let Some(budget) = self.budget else {
            let fixed = |part: usize| match self.parts[self.made(part)].share {
                Share::Faces(faces) => Some(faces),
                Share::Weight(_) => None,
            };
            return (0..self.parts.len()).map(fixed).collect();
        };
        let shares = (0..self.parts.len()).map(|part| self.parts[self.made(part)].share);
        let (mut left, mut weights) = (f64::from(budget), 0.0);
        for share in shares.clone() {
            match share {
                Share::Faces(faces) => left -= f64::from(faces),
                Share::Weight(weight) => weights += weight,
            }
        }
        let of = |share| match share {
            Share::Faces(faces) => faces,
            // Saturates at 0, which no job takes.
            Share::Weight(weight) => (left * weight / weights).round() as u32,
        };
        shares.map(|share| Some(of(share))).collect()
    }

    /// The part with the job that a part's surface comes from: itself, or what it is the image of.
    pub fn made(&self, part: usize) -> usize {
        match self.parts[part].from {
            PartFrom::Job(_) => part,
            PartFrom::Image(of) => of,
        }
    }
}

impl FigureFile {
    /// Reads a set file.
    ///
    /// # Errors
    /// [`JobError`] with every problem that the file has.
    pub fn read(path: &Path) -> Result<Self, JobError> {
        Self::parse(path, &read_text(path)?)
    }

    /// Reads a figure from text; `path` says where it stands or will stand.
    ///
    /// # Errors
    /// As [`FigureFile::read`].
    pub fn parse(path: &Path, text: &str) -> Result<Self, JobError> {
        let spec = read::parse(path, text)?;
        Ok(Self {
            path: path.to_owned(),
            text: text.to_owned(),
            spec,
        })
    }

    /// What the figure asks for.
    pub fn spec(&self) -> &FigureSpec {
        &self.spec
    }

    /// Where the set file stands.
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// Its text.
    pub fn text(&self) -> &str {
        &self.text
    }

    /// The path of a job file: as written if absolute, else beside the set file.
    pub fn job_path(&self, job: &Path) -> PathBuf {
        self.path.parent().unwrap_or(Path::new("")).join(job)
    }
}

#[cfg(test)]
mod tests;
