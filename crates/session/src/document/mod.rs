//! An open job: what the artist changed, how to take it back, and how nothing of it gets lost.
//!
//! Every change is a step of a history without end; each step keeps the job's whole text, so that
//! taking all steps back gives the file as it was, byte for byte. After each step the text goes into
//! a side file beside the job ([`side`]), and a later [`Document::open`] offers it if the program
//! ended without saving. The job file itself changes only by [`Document::save`].

mod lookout;
mod outside;
mod side;

#[cfg(test)]
mod tests;

use std::path::{Path, PathBuf};
use std::sync::Arc;

use files::{JobError, JobFile, JobSpec, WriteError};
use thiserror::Error;

pub use lookout::Lookout;
pub use outside::{Changed, Watched};
pub use side::Recovery;

/// A state of the job.
#[derive(Clone, Debug)]
struct State {
    /// What made it of the one before, as menus name it.
    label: String,
    text: Arc<str>,
}

/// A job under work.
#[derive(Debug)]
pub struct Document {
    file: JobFile,
    /// States from the first to the last that can be done again.
    states: Vec<State>,
    /// The current one.
    now: usize,
    /// What the file holds, if there is one.
    saved: Option<Arc<str>>,
    /// The run of changes that goes on as one step.
    going_on: Option<String>,
    side: Option<PathBuf>,
}

/// Why a document can't do what it was asked for.
#[derive(Debug, Error)]
pub enum DocumentError {
    /// The job has problems, or would have.
    #[error(transparent)]
    Job(#[from] JobError),
    /// A file can't be written; the old one stays.
    #[error(transparent)]
    Write(#[from] WriteError),
}

impl Document {
    /// Opens a job file; what an earlier program left unsaved comes beside it.
    ///
    /// # Errors
    /// [`JobError`] with every problem of the file.
    pub fn open(path: &Path) -> Result<(Self, Option<Recovery>), JobError> {
        let file = JobFile::read(path)?;
        let text: Arc<str> = file.text().into();
        let document = Self::of(file, Some(text));
        let left = document.side.as_deref().and_then(side::read);
        let recovery = left.filter(|left| left.text != *document.text());
        Ok((document, recovery))
    }

    /// A new job for a sculpt, beside it and of its name; nothing is written yet.
    ///
    /// # Errors
    /// [`JobError`] if no job can be named so.
    pub fn for_sculpt(sculpt: &Path) -> Result<(Self, Option<Recovery>), JobError> {
        let stem = sculpt.file_stem().unwrap_or(sculpt.as_os_str());
        let name = stem.to_string_lossy().into_owned();
        let own = PathBuf::from(sculpt.file_name().unwrap_or(sculpt.as_os_str()));
        let path = free_name(&sculpt.with_extension("toml"));
        let file = JobFile::create(&path, &JobSpec::new(name, own))?;
        let document = Self::of(file, None);
        let recovery = document.side.as_deref().and_then(side::read);
        Ok((document, recovery))
    }

    fn of(file: JobFile, saved: Option<Arc<str>>) -> Self {
        let text: Arc<str> = file.text().into();
        let side = side::path_of(file.path());
        Self {
            states: vec![State {
                label: String::new(),
                text,
            }],
            now: 0,
            saved,
            going_on: None,
            side,
            file,
        }
    }

    /// What the job asks for.
    pub fn spec(&self) -> &JobSpec {
        self.file.spec()
    }

    /// The job file as it would be saved.
    pub fn file(&self) -> &JobFile {
        &self.file
    }

    /// Where the job file stands, or will.
    pub fn path(&self) -> &Path {
        self.file.path()
    }

    /// The job's text.
    pub fn text(&self) -> &str {
        &self.states[self.now].text
    }

    /// Whether the file holds what is here.
    pub fn is_saved(&self) -> bool {
        self.saved.as_deref() == Some(self.text())
    }

    /// Whether the job file holds what this document wrote or read last: if not, another program has
    /// written it.
    pub fn is_as_written(&self) -> bool {
        let text = std::fs::read_to_string(self.path());
        text.is_ok_and(|text| self.saved.as_deref() == Some(text.as_str()))
    }

    /// Changes what the job asks for, as one step; `label` is what menus call it. Answers whether
    /// anything changed.
    ///
    /// # Errors
    /// [`JobError`] if a job can't ask for it; nothing changes then.
    pub fn change(
        &mut self,
        label: impl Into<String>,
        edit: impl FnOnce(&mut JobSpec),
    ) -> Result<bool, JobError> {
        self.settle();
        let changed = self.step(label.into(), edit)?;
        if changed {
            self.keep();
        }
        Ok(changed)
    }

    /// As [`Document::change`], but changes with the same key that follow each other, such as those of
    /// one drag, are one step until [`Document::settle`]. The side file waits until then.
    ///
    /// # Errors
    /// As [`Document::change`].
    pub fn change_on(
        &mut self,
        key: &str,
        label: impl Into<String>,
        edit: impl FnOnce(&mut JobSpec),
    ) -> Result<bool, JobError> {
        if self.going_on.as_deref() != Some(key) {
            self.settle();
            let changed = self.step(label.into(), edit)?;
            self.going_on = changed.then(|| key.to_owned());
            return Ok(changed);
        }
        let mut spec = self.file.spec().clone();
        edit(&mut spec);
        self.file.update(spec)?;
        let text = self.file.text();
        let changed = *text != *self.states[self.now].text;
        self.states[self.now].text = text.into();
        Ok(changed)
    }

    /// Ends a step that goes on.
    pub fn settle(&mut self) {
        if self.going_on.take().is_some() {
            self.keep();
        }
    }

    fn step(&mut self, label: String, edit: impl FnOnce(&mut JobSpec)) -> Result<bool, JobError> {
        let mut spec = self.file.spec().clone();
        edit(&mut spec);
        if spec == *self.file.spec() {
            return Ok(false);
        }
        let mut file = self.file.clone();
        file.update(spec)?;
        let text: Arc<str> = file.text().into();
        self.file = file;
        self.states.truncate(self.now + 1);
        self.states.push(State { label, text });
        self.now += 1;
        Ok(true)
    }

    /// What [`Document::undo`] takes back.
    pub fn undo_label(&self) -> Option<&str> {
        (self.now > 0).then(|| self.states[self.now].label.as_str())
    }

    /// What [`Document::redo`] does again.
    pub fn redo_label(&self) -> Option<&str> {
        let next = self.states.get(self.now + 1)?;
        Some(next.label.as_str())
    }

    /// Takes the last step back; answers whether there was one.
    pub fn undo(&mut self) -> bool {
        self.settle();
        self.now > 0 && self.go_to(self.now - 1)
    }

    /// Does the step that was taken back last again; answers whether there was one.
    pub fn redo(&mut self) -> bool {
        self.settle();
        self.now + 1 < self.states.len() && self.go_to(self.now + 1)
    }

    fn go_to(&mut self, state: usize) -> bool {
        // Each text came from a job file that could be read.
        let Ok(file) = JobFile::parse(self.file.path(), &self.states[state].text) else {
            return false;
        };
        self.file = file;
        self.now = state;
        self.keep();
        true
    }

    /// Takes what an earlier program left, as one step that can be taken back.
    ///
    /// # Errors
    /// [`JobError`] if what was left is no job; nothing changes then.
    pub fn recover(&mut self, recovery: &Recovery) -> Result<(), JobError> {
        self.settle();
        self.become_text("Take up what was kept", &recovery.text)
    }

    /// Reads the job file anew, as one step that can be taken back.
    ///
    /// # Errors
    /// [`JobError`] with every problem of the file; nothing changes then.
    pub fn reload(&mut self) -> Result<(), JobError> {
        self.settle();
        let text = JobFile::read(self.path())?.text();
        self.become_text("Read the job file anew", &text)?;
        self.saved = Some(Arc::clone(&self.states[self.now].text));
        self.keep();
        Ok(())
    }

    fn become_text(&mut self, label: &str, text: &str) -> Result<(), JobError> {
        self.file = JobFile::parse(self.file.path(), text)?;
        if *text != *self.states[self.now].text {
            self.states.truncate(self.now + 1);
            self.states.push(State {
                label: label.to_owned(),
                text: text.into(),
            });
            self.now += 1;
        }
        self.keep();
        Ok(())
    }

    /// Writes the job file, whole or not at all; the side file goes.
    ///
    /// # Errors
    /// [`WriteError`]; the old file stays.
    pub fn save(&mut self) -> Result<(), WriteError> {
        self.settle();
        self.file.save()?;
        self.saved = Some(Arc::clone(&self.states[self.now].text));
        self.keep();
        Ok(())
    }

    /// Writes the job to another file, which is the document's from then on. Files that the job names
    /// beside it are named so that they are still found.
    ///
    /// # Errors
    /// [`DocumentError`]; nothing changes then.
    pub fn save_as(&mut self, path: &Path) -> Result<(), DocumentError> {
        self.settle();
        let mut file = self.file.clone();
        if folder(path) != folder(self.path()) {
            let mut spec = file.spec().clone();
            spec.sculpt.file = absolute(&file.sculpt_path());
            for hold in &mut spec.holds {
                hold.file = absolute(&file.hold_path(hold));
            }
            for layer in &mut spec.layers {
                layer.file = absolute(&file.layer_path(layer));
            }
            file.update(spec)?;
        }
        let file = JobFile::parse(path, &file.text())?;
        file.save()?;
        self.drop_kept();
        let text: Arc<str> = file.text().into();
        self.file = file;
        self.side = side::path_of(path);
        if *text != *self.states[self.now].text {
            self.states.truncate(self.now + 1);
            let label = "Save in another folder".to_owned();
            let text = Arc::clone(&text);
            self.states.push(State { label, text });
            self.now += 1;
        }
        self.saved = Some(text);
        self.keep();
        Ok(())
    }

    /// Removes the side file: what isn't saved is given up.
    pub fn drop_kept(&self) {
        if let Some(side) = &self.side {
            side::remove(side);
        }
    }

    /// Where what isn't saved is kept.
    pub fn side_path(&self) -> Option<&Path> {
        self.side.as_deref()
    }

    /// Brings the side file in line with the document.
    fn keep(&self) {
        let Some(side) = &self.side else {
            return;
        };
        if self.is_saved() {
            side::remove(side);
        } else {
            side::write(side, self.text());
        }
    }
}

/// The path, or one with a number where that is taken.
fn free_name(path: &Path) -> PathBuf {
    let stem = path.file_stem().unwrap_or_default().to_string_lossy();
    let numbered = (2..1000).map(|n| path.with_file_name(format!("{stem} {n}.toml")));
    std::iter::once(path.to_owned())
        .chain(numbered)
        .find(|path| !path.exists())
        .unwrap_or_else(|| path.to_owned())
}

fn folder(path: &Path) -> PathBuf {
    absolute(path.parent().unwrap_or(Path::new("")))
}

fn absolute(path: &Path) -> PathBuf {
    let path = if path.as_os_str().is_empty() {
        Path::new(".")
    } else {
        path
    };
    std::path::absolute(path).unwrap_or_else(|_| path.to_owned())
}
