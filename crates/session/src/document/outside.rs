//! Noticing that other programs changed the job or the files that it names.

use std::collections::BTreeMap;
use std::hash::{DefaultHasher, Hasher};
use std::io::Read as _;
use std::path::{Path, PathBuf};
use std::time::SystemTime;

use super::Document;

/// What changed outside.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Changed {
    /// The job file.
    Job,
    /// The sculpt.
    Sculpt,
    /// A file of held quads.
    Hold,
}

/// How a file was when it was looked at.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
struct Seen {
    length: u64,
    modified: Option<SystemTime>,
    /// Of the whole content.
    hash: u64,
}

/// Files that are watched, as they were when last taken note of.
#[derive(Clone, Debug, Default)]
pub struct Watched {
    files: BTreeMap<PathBuf, (Changed, Option<Seen>)>,
}

impl Watched {
    /// Takes note of the files of a document as they are.
    pub fn of(document: &Document) -> Self {
        let mut watched = Self::default();
        let file = document.file();
        watched.note(file.path(), Changed::Job);
        watched.note(&file.sculpt_path(), Changed::Sculpt);
        for hold in &file.spec().holds {
            watched.note(&file.hold_path(hold), Changed::Hold);
        }
        watched
    }

    /// Takes note of the job file, and of files that the job names and that weren't watched: this
    /// program wrote or named them.
    pub fn wrote(&mut self, document: &Document) {
        let fresh = |path: &Path| !self.files.contains_key(path);
        let file = document.file();
        let holds: Vec<PathBuf> = file
            .spec()
            .holds
            .iter()
            .map(|h| file.hold_path(h))
            .collect();
        let sculpt = Some(file.sculpt_path()).filter(|path| fresh(path));
        let holds: Vec<PathBuf> = holds.into_iter().filter(|path| fresh(path)).collect();
        self.note(file.path(), Changed::Job);
        if let Some(path) = sculpt {
            self.note(&path, Changed::Sculpt);
        }
        for path in holds {
            self.note(&path, Changed::Hold);
        }
    }

    fn note(&mut self, path: &Path, what: Changed) {
        self.files.insert(path.to_owned(), (what, seen(path, None)));
    }

    /// What changed in content since it was last taken note of, and takes note of it. Files whose
    /// length and time are the same aren't read. A file that is gone isn't a change: programs that
    /// write by renaming make it come back.
    pub fn look(&mut self) -> Vec<Changed> {
        let mut changed = Vec::new();
        for (path, (what, was)) in &mut self.files {
            let Some(now) = seen(path, *was) else {
                continue;
            };
            if was.is_none_or(|was| (was.length, was.hash) != (now.length, now.hash)) {
                changed.push(*what);
            }
            *was = Some(now);
        }
        changed.sort_unstable();
        changed.dedup();
        changed
    }
}

fn seen(path: &Path, was: Option<Seen>) -> Option<Seen> {
    let about = std::fs::metadata(path).ok().filter(|m| m.is_file())?;
    let (length, modified) = (about.len(), about.modified().ok());
    if let Some(was) = was
        && (was.length, was.modified) == (length, modified)
        && modified.is_some()
    {
        return Some(was);
    }
    Some(Seen {
        length,
        modified,
        hash: hash(path).ok()?,
    })
}

fn hash(path: &Path) -> std::io::Result<u64> {
    let mut file = std::fs::File::open(path)?;
    let mut hasher = DefaultHasher::new();
    let mut block = vec![0; 1 << 20];
    loop {
        match file.read(&mut block)? {
            0 => return Ok(hasher.finish()),
            // A stream's hash doesn't depend on how it comes in pieces.
            n => hasher.write(block.get(..n).unwrap_or_default()),
        }
    }
}
