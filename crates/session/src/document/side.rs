//! The side file: what isn't saved of a job, kept beside it.
//!
//! A hidden file of the job's name, written whole or not at all after each step and removed when the
//! job is saved. Its first line says what it is; the rest is the job's text to the byte.

use std::path::{Path, PathBuf};
use std::time::SystemTime;

/// First line of each side file.
const HEAD: &str = "# What isn't saved of the job beside this file. Loopwright offers it when the job is opened.\n";

/// What an earlier program left unsaved.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Recovery {
    /// The job's text.
    pub text: String,
    /// When it was kept.
    pub kept_at: Option<SystemTime>,
}

/// Where the side file of a job is; `None` for a path without a file name.
pub(super) fn path_of(job: &Path) -> Option<PathBuf> {
    let name = job.file_name()?.to_string_lossy();
    Some(job.with_file_name(format!(".{name}.unsaved")))
}

/// What is kept; `None` if there is nothing, or it isn't ours.
pub(super) fn read(side: &Path) -> Option<Recovery> {
    let kept = std::fs::read_to_string(side).ok()?;
    Some(Recovery {
        text: kept.strip_prefix(HEAD)?.to_owned(),
        kept_at: std::fs::metadata(side).and_then(|m| m.modified()).ok(),
    })
}

/// Keeps a text. That a disk is full or a folder is read-only must not stop the artist: saving says so.
pub(super) fn write(side: &Path, text: &str) {
    let _ = files::write_whole(side, format!("{HEAD}{text}").as_bytes());
}

/// Removes what is kept.
pub(super) fn remove(side: &Path) {
    let _ = std::fs::remove_file(side);
}
