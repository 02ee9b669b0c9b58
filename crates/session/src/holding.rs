//! A part of a surface made ready to be held: the job that asks for it, and the file with its quads.

use std::path::{Path, PathBuf};

use engine::hold::{Held, HoldError, Region, RegionError, grow};
use engine::model::{Hold, Plane};
use files::{HoldSpec, JobFile, JobSpec};
use mesh::QuadMesh;
use thiserror::Error;

use crate::job::{HoldFileError, holds_of};

/// What is to be written for a hold.
#[derive(Clone, Debug, PartialEq)]
pub struct Holding {
    /// The job with the hold.
    pub spec: JobSpec,
    /// File of the held quads, beside the job: its name.
    pub path: PathBuf,
    /// The file's content.
    pub text: Vec<u8>,
    /// Quads held, of the half that is computed.
    pub quads: usize,
    /// Edges at which the rest of the surface goes on.
    pub rim: usize,
}

/// Why a part can't be held.
#[derive(Debug, Error)]
pub enum HoldingError {
    /// What is marked can't be.
    #[error(transparent)]
    Region(#[from] RegionError),
    /// It doesn't go together with what is held already.
    #[error(transparent)]
    Together(#[from] HoldError),
    /// A file of what is held already can't be used.
    #[error(transparent)]
    File(#[from] HoldFileError),
    /// Its file would replace another.
    #[error(
        "'{}' is there already and belongs to no hold of this name. Give the hold another name, or move the file away", path.display()
    )]
    Taken {
        /// The file.
        path: PathBuf,
    },
}

/// Makes a part of a surface ready to be held under a name by the job; nothing is written. `plane` is
/// the mirror plane in use. A hold of this name is replaced.
///
/// # Errors
/// [`HoldingError`].
pub fn holding(
    file: &JobFile,
    surface: &QuadMesh,
    region: &Region,
    plane: Option<Plane>,
    name: &str,
) -> Result<Holding, HoldingError> {
    let hold = grow(surface, region, plane, name)?;
    let path = stored(file, name)?;
    let text = files::held_text(&mesh_of(&hold), &hold.rim, &header(file, name));
    let (quads, rim) = (hold.quads.len(), hold.rim.len());
    // The holds of the job must go together.
    let mut others = file.spec().clone();
    others.holds.retain(|h| h.name != name);
    let mut holds = holds_of(file, &others)?;
    holds.push(hold);
    Held::new(&holds, plane)?;
    Ok(Holding {
        spec: spec_with(file, name, &path),
        path,
        text,
        quads,
        rim,
    })
}

/// The name of the hold's file beside the job; a file that belongs to something else is left alone.
fn stored(file: &JobFile, name: &str) -> Result<PathBuf, HoldingError> {
    let known = file.spec().holds.iter().find(|h| h.name == name);
    let word: String = name
        .chars()
        .map(|c| if c.is_alphanumeric() { c } else { '_' })
        .collect();
    let stem = file.path().file_stem().map(|s| s.to_string_lossy());
    let path = PathBuf::from(format!("{}.{word}.obj", stem.unwrap_or_default()));
    let spec = HoldSpec {
        name: name.to_owned(),
        file: path.clone(),
        line: 0,
    };
    let full = file.hold_path(&spec);
    if known.is_none_or(|h| h.file != path) && full.exists() {
        return Err(HoldingError::Taken { path: full });
    }
    Ok(path)
}

fn spec_with(file: &JobFile, name: &str, path: &Path) -> JobSpec {
    let mut spec = file.spec().clone();
    match spec.holds.iter_mut().find(|h| h.name == name) {
        Some(hold) => hold.file = path.to_owned(),
        None => spec.holds.push(HoldSpec {
            name: name.to_owned(),
            file: path.to_owned(),
            line: 0,
        }),
    }
    spec
}

fn mesh_of(hold: &Hold) -> QuadMesh {
    QuadMesh {
        positions: hold.positions.clone(),
        quads: hold.quads.clone(),
        groups: Vec::new(),
    }
}

fn header(file: &JobFile, name: &str) -> String {
    format!(
        "Hold '{name}' of the job {}: quads that runs leave bit for bit as they are.\n\
         Units: {}. Lines (l) are edges at which the rest of the surface goes on.",
        file.spec().name,
        file.spec().units
    )
}
