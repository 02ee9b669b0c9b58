//! What is run: made shapes, folders of sculpts with guides, folders of meshes without.

use std::path::{Path, PathBuf};

use engine::model::{Guide, GuideKind};
use engine::symmetry::PlaneChoice;
use mesh::Vec3;

use crate::guide_file;
use crate::make;
use crate::recipe;

/// Faces asked for where nothing else is said.
pub const BUDGETS: [usize; 3] = [300, 1_500, 5_000];

/// Which of a case's guides a run is given.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Given {
    /// None.
    None,
    /// Openings, and the first ring.
    Few,
    /// All.
    Full,
}

impl Given {
    /// Its name in tables.
    pub fn name(self) -> &'static str {
        match self {
            Self::None => "none",
            Self::Few => "few",
            Self::Full => "full",
        }
    }

    /// The guides that are given.
    pub fn of(self, guides: &[Guide]) -> Vec<Guide> {
        let ring = guides.iter().position(|g| g.kind == GuideKind::Ring);
        let stays = |(i, g): &(usize, &Guide)| match self {
            Self::None => false,
            Self::Few => g.kind == GuideKind::Opening || Some(*i) == ring,
            Self::Full => true,
        };
        let guides = guides.iter().enumerate().filter(stays);
        guides.map(|(_, g)| g.clone()).collect()
    }
}

/// A sculpt with its guides.
#[derive(Clone, Debug)]
pub struct Case {
    /// Unique name.
    pub name: String,
    /// Kind.
    pub class: String,
    /// Names of its defects; none for clean input.
    pub defects: Vec<String>,
    /// Vertices, cm.
    pub positions: Vec<Vec3>,
    /// Triangles as a file would have them.
    pub triangles: Vec<[u32; 3]>,
    /// All its guides.
    pub guides: Vec<Guide>,
    /// Its mirror plane.
    pub plane: PlaneChoice,
    /// How many guides cut a disk off; `None` where that has to be found out.
    pub cuts: Option<usize>,
}

/// Where a case comes from.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Origin {
    /// Made: its number.
    Made(usize),
    /// A file with guides beside it.
    Guided(PathBuf),
    /// A file alone.
    Bare(PathBuf),
}

/// A case by name, not yet loaded.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Entry {
    /// Unique name.
    pub name: String,
    /// Where it comes from.
    pub origin: Origin,
}

/// One run of a case.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct RunSpec {
    /// Guides that it is given.
    pub given: Given,
    /// Faces asked for.
    pub faces: usize,
}

/// Why a case isn't there.
#[derive(Debug, thiserror::Error)]
pub enum CaseError {
    /// A folder can't be listed.
    #[error("can't list {folder}: {source}")]
    Folder {
        /// The folder.
        folder: String,
        /// Why.
        source: std::io::Error,
    },
    /// A guide file can't be read.
    #[error("can't read {file}: {source}")]
    Guides {
        /// The file.
        file: String,
        /// Why.
        source: std::io::Error,
    },
    /// A guide file isn't as it should be.
    #[error("{file} is no guide file: {source}")]
    Format {
        /// The file.
        file: String,
        /// Why.
        source: serde_json::Error,
    },
    /// A mesh can't be read.
    #[error(transparent)]
    Read(#[from] files::ReadError),
    /// A shape can't be made.
    #[error(transparent)]
    Make(#[from] make::MakeError),
}

/// What to run.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Selection {
    /// Made shapes from this number ...
    pub from: usize,
    /// ... and so many of them.
    pub shapes: usize,
    /// Folder of `NAME.ply` with `NAME.guides.json`.
    pub sculpts: Option<PathBuf>,
    /// Folder of meshes without guides.
    pub open: Option<PathBuf>,
    /// Faces asked for, one run each.
    pub faces: Vec<usize>,
    /// Runs whose id (`NAME/GUIDES/FACES`) contains this text only.
    pub only: Option<String>,
}

impl Selection {
    /// All cases, made shapes first, files by name.
    ///
    /// # Errors
    /// [`CaseError::Folder`].
    pub fn entries(&self) -> Result<Vec<Entry>, CaseError> {
        let numbers = self.from..(self.from + self.shapes).min(recipe::SHAPES);
        let mut entries: Vec<Entry> = numbers
            .map(|n| Entry {
                name: recipe::recipe(n, 0).name,
                origin: Origin::Made(n),
            })
            .collect();
        if let Some(folder) = &self.sculpts {
            entries.extend(listed(folder, &["ply"], Origin::Guided)?);
        }
        if let Some(folder) = &self.open {
            entries.extend(listed(folder, &["obj", "ply", "stl", "glb"], Origin::Bare)?);
        }
        entries.retain(|e| !self.runs(e).is_empty());
        Ok(entries)
    }

    /// The runs of a case.
    pub fn runs(&self, entry: &Entry) -> Vec<RunSpec> {
        let given: &[Given] = match entry.origin {
            Origin::Made(_) => &[Given::None, Given::Full],
            Origin::Guided(_) => &[Given::None, Given::Few, Given::Full],
            Origin::Bare(_) => &[Given::None],
        };
        let all = given.iter().flat_map(|&given| {
            let faces = self.faces.iter();
            faces.map(move |&faces| RunSpec { given, faces })
        });
        all.filter(|run| {
            let id = run.id(&entry.name);
            self.only.as_ref().is_none_or(|only| id.contains(only))
        })
        .collect()
    }
}

impl RunSpec {
    /// Name of the run of a case.
    pub fn id(&self, case: &str) -> String {
        format!("{case}/{}/{}", self.given.name(), self.faces)
    }
}

fn listed(
    folder: &Path,
    kinds: &[&str],
    origin: impl Fn(PathBuf) -> Origin,
) -> Result<Vec<Entry>, CaseError> {
    let failed = |source| CaseError::Folder {
        folder: folder.display().to_string(),
        source,
    };
    let mut paths = Vec::new();
    for entry in std::fs::read_dir(folder).map_err(failed)? {
        let path = entry.map_err(failed)?.path();
        let kind = path.extension().and_then(|e| e.to_str());
        if kind.is_some_and(|kind| kinds.contains(&kind.to_lowercase().as_str())) {
            paths.push(path);
        }
    }
    paths.sort();
    let name = |path: &Path| {
        let stem = path.file_stem().map(|s| s.to_string_lossy().into_owned());
        stem.unwrap_or_default()
    };
    Ok(paths
        .into_iter()
        .map(|path| Entry {
            name: name(&path),
            origin: origin(path),
        })
        .collect())
}

impl Entry {
    /// Makes or reads the case.
    ///
    /// # Errors
    /// [`CaseError`].
    pub fn load(&self) -> Result<Case, CaseError> {
        let (path, class) = match &self.origin {
            Origin::Made(number) => return Ok(make::made(*number)?),
            Origin::Guided(path) => (path, "sculpt"),
            Origin::Bare(path) => (path, "foreign"),
        };
        let raw = files::read_sculpt(path)?;
        let mut case = Case {
            name: self.name.clone(),
            class: class.to_owned(),
            // Nobody vouches for a file: none counts as clean but those that were made.
            defects: vec!["unknown".to_owned()],
            positions: raw.positions,
            triangles: raw.triangles,
            guides: vec![],
            plane: PlaneChoice::None,
            cuts: None,
        };
        if matches!(self.origin, Origin::Guided(_)) {
            let file = path.with_extension("guides.json");
            let shown = file.display().to_string();
            let text = std::fs::read_to_string(&file).map_err(|source| CaseError::Guides {
                file: shown.clone(),
                source,
            })?;
            let (guides, plane) = guide_file::read(&text).map_err(|source| CaseError::Format {
                file: shown,
                source,
            })?;
            (case.guides, case.plane) = (guides, plane);
        }
        Ok(case)
    }
}
