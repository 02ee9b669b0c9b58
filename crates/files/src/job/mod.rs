//! The job file: one TOML file a part, kept as text with its comments and order, and
//! read as a [`JobSpec`].
//!
//! ```
//! use loopwright_files::JobFile;
//! let text = r#"
//! job = 1
//! [sculpt]
//! file = "oilskin.ply"
//! "#;
//! let mut job = JobFile::parse("coat.toml".as_ref(), text).unwrap();
//! let mut spec = job.spec().clone();
//! assert_eq!(spec.name, "coat");
//! spec.set_faces(2400).unwrap();
//! job.update(spec).unwrap();
//! assert!(job.text().contains("faces = 2400"));
//! ```

mod edits;
pub(crate) mod error;
mod finish;
mod holds;
mod intent;
mod layers;
pub(crate) mod near;
pub(crate) mod read;
pub(crate) mod spec;
pub(crate) mod table;
mod trims;
mod write;

use std::fs::File;
use std::io::Read as _;
use std::path::{Path, PathBuf};

use toml_edit::DocumentMut;

use crate::write::{WriteError, write_whole};

pub use edits::{ChangeSpec, EditSpec, LARGEST_RELAX};
pub use error::{JobError, JobFault, JobProblem, LineColumn};
pub use finish::{DEFAULT_HARD_ANGLE, HARD_ANGLE, LiningSpec, ShadingSpec};
pub use holds::HoldSpec;
pub use intent::{
    AreaSize, AreaSpec, DENSITY, KeepOutPlace, KeepOutSpec, LOOPS, PinSpec, QUADS, RegionSpec,
};
pub use layers::{LayerSide, LayerSpec};
pub use spec::{
    DEFAULT_ADAPT, DEFAULT_FACES, DEFAULT_UNITS, DensitySpec, FACES, GuideKind, GuideSpec, JobSpec,
    LARGEST_COUNT, PartSpec, PlaneSpec, SculptSpec, Sides, Size, SymmetrySpec, metres_per_unit,
};

pub use trims::{
    FLARE, TRIM_LOOPS, TrimDirection, TrimEdge, TrimEnd, TrimFront, TrimKind, TrimSide, TrimSpec,
};

/// Bytes that a job file may have: some 500,000 drawn points.
const LARGEST_FILE: u64 = 32 << 20;

/// A job file: where it is, its text, and what it asks for.
#[derive(Clone, Debug)]
pub struct JobFile {
    path: PathBuf,
    document: DocumentMut,
    spec: JobSpec,
}

impl JobFile {
    /// Reads a job file.
    ///
    /// # Errors
    /// [`JobError`] with every problem that the file has.
    pub fn read(path: &Path) -> Result<Self, JobError> {
        Self::parse(path, &read_text(path)?)
    }

    /// Reads a job from text; `path` says where it stands or will stand.
    ///
    /// # Errors
    /// As [`JobFile::read`].
    pub fn parse(path: &Path, text: &str) -> Result<Self, JobError> {
        let (document, spec) = read::parse(path, text)?;
        Ok(Self {
            path: path.to_owned(),
            document: document.into_mut(),
            spec,
        })
    }

    /// A new job file, nicely laid out, not yet written.
    ///
    /// # Errors
    /// [`JobError`] if the spec asks for what a job file can't.
    pub fn create(path: &Path, spec: &JobSpec) -> Result<Self, JobError> {
        Self::parse(path, &Self::from_spec(spec))
    }

    /// The text of a new job file for a spec, nicely laid out.
    pub fn from_spec(spec: &JobSpec) -> String {
        write::text_of(spec)
    }

    /// What the job asks for.
    pub fn spec(&self) -> &JobSpec {
        &self.spec
    }

    /// Where the job file stands.
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// The folder of the job file; "." where its path names none.
    pub fn folder(&self) -> &Path {
        let folder = self.path.parent();
        folder
            .filter(|f| !f.as_os_str().is_empty())
            .unwrap_or(Path::new("."))
    }

    fn beside(&self, file: &Path) -> PathBuf {
        self.path.parent().unwrap_or(Path::new("")).join(file)
    }

    /// The sculpt's path: as written if absolute, else beside the job file.
    pub fn sculpt_path(&self) -> PathBuf {
        self.beside(&self.spec.sculpt.file)
    }

    /// The path of a hold's file: as written if absolute, else beside the job file.
    pub fn hold_path(&self, hold: &HoldSpec) -> PathBuf {
        self.beside(&hold.file)
    }

    /// The path of a layer's file: as written if absolute, else beside the job file.
    pub fn layer_path(&self, layer: &LayerSpec) -> PathBuf {
        self.beside(&layer.file)
    }

    /// Line of a key in the text, from 1, as `("sculpt", "file")`; `None` if it isn't there.
    pub fn line_of(&self, table: &str, key: &str) -> Option<usize> {
        let text = self.text();
        let document = toml_edit::Document::parse(text.as_str()).ok()?;
        let table = document.as_table().get(table)?.as_table_like()?;
        let (key, item) = table.get_key_value(key)?;
        let start = key.span().or_else(|| item.span())?.start;
        Some(table::Problems::new(&text).place(start).line)
    }

    /// The text with its comments and order, as it would be saved.
    pub fn text(&self) -> String {
        self.document.to_string()
    }

    /// Writes the text to the job file's path, whole or not at all.
    ///
    /// # Errors
    /// [`WriteError`] if the file can't be written; the old one then stays.
    pub fn save(&self) -> Result<(), WriteError> {
        write_whole(&self.path, self.text().as_bytes())
    }

    /// Changes what the job asks for. Only what differs is written; comments, order and
    /// layout of the rest stay. On an error nothing changes.
    ///
    /// # Errors
    /// [`JobError`] if the new spec asks for what a job file can't; lines are those of
    /// the text that it would have had.
    pub fn update(&mut self, spec: JobSpec) -> Result<(), JobError> {
        let mut document = self.document.clone();
        write::update(&mut document, &self.spec, &spec);
        *self = Self::parse(&self.path, &document.to_string())?;
        Ok(())
    }
}

impl JobFile {
    /// Adds an edit after those that are there; comments, order and layout of the rest stay.
    ///
    /// # Errors
    /// As [`JobFile::update`].
    pub fn append_edit(&mut self, edit: EditSpec) -> Result<(), JobError> {
        let mut spec = self.spec.clone();
        spec.edits.push(edit);
        self.update(spec)
    }
}

/// The text of a job or set file, without a byte order mark.
pub(crate) fn read_text(path: &Path) -> Result<String, JobError> {
    let whole = |fault: JobFault| JobError {
        file: path.to_owned(),
        problems: vec![JobProblem {
            at: None,
            table: String::new(),
            fault,
        }],
    };
    let bytes = read_limited(path).map_err(whole)?;
    String::from_utf8(bytes).map_err(|_| whole(JobFault::NotText))
}

fn read_limited(path: &Path) -> Result<Vec<u8>, JobFault> {
    let about = std::fs::metadata(path)?;
    if !about.is_file() {
        let kind = std::io::ErrorKind::InvalidInput;
        return Err(std::io::Error::new(kind, "it isn't a regular file").into());
    }
    let mut bytes = Vec::new();
    File::open(path)?
        .take(LARGEST_FILE + 1)
        .read_to_end(&mut bytes)?;
    if bytes.len() as u64 > LARGEST_FILE {
        return Err(JobFault::TooLarge {
            bytes: about.len(),
            limit: LARGEST_FILE,
        });
    }
    Ok(bytes)
}

#[cfg(test)]
mod tests;
