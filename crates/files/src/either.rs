//! A job file or a set file, told by what it says.

use std::path::Path;

use toml_edit::Document;

use crate::figure::FigureFile;
use crate::job::{JobError, JobFile, read_text};

/// What a file asks for: one part, or the parts of a figure.
#[derive(Clone, Debug)]
pub enum JobOrSet {
    /// A job file.
    Job(Box<JobFile>),
    /// A set file.
    Set(FigureFile),
}

impl JobOrSet {
    /// Reads a file: a set if it says `figure` or has `[[part]]` tables and doesn't say `job`, else a job.
    ///
    /// # Errors
    /// [`JobError`] with every problem that the file has, as a job or as a set.
    pub fn read(path: &Path) -> Result<Self, JobError> {
        let text = read_text(path)?;
        if is_set(&text) {
            return Ok(Self::Set(FigureFile::parse(path, &text)?));
        }
        Ok(Self::Job(JobFile::parse(path, &text)?.into()))
    }
}

/// Whether a text is that of a set. One that isn't TOML is neither: both readers say the same of it.
fn is_set(text: &str) -> bool {
    let text = text.strip_prefix('\u{feff}').unwrap_or(text);
    let Ok(document) = Document::parse(text) else {
        return false;
    };
    let says = |key| document.as_table().contains_key(key);
    !says("job") && (says("figure") || says("part"))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn sets_are_told_from_jobs_by_what_they_say() {
        for set in ["figure = 1", "\u{feff}figure = 2", "[[part]]\nname = 'hat'"] {
            assert!(is_set(set), "{set}");
        }
        for job in [
            "job = 1",
            "job = 1\nfigure = 1",
            "",
            "figure = ",
            "# figure = 1",
        ] {
            assert!(!is_set(job), "{job}");
        }
    }
}
