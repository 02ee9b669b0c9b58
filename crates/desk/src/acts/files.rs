//! Files: saving, reading anew, opening.

use std::path::Path;

use session::Changed;

use crate::desk::Desk;
use crate::opening::Start;

impl Desk {
    pub(crate) fn save(&mut self) {
        if let Some(job) = &mut self.job {
            match job.document.save() {
                Ok(()) => {
                    self.word = Some((
                        format!("Saved as {}.", job.document.path().display()),
                        false,
                    ));
                }
                Err(problem) => self.word = Some((problem.to_string(), true)),
            }
        }
    }

    /// Writes the job to another file, which is the job's from then on.
    pub(crate) fn save_as(&mut self, path: &Path) {
        if let Some(job) = &mut self.job {
            match job.document.save_as(path) {
                Ok(()) => {
                    if let Some(lookout) = &job.lookout {
                        lookout.follow(job.document.file());
                    }
                    let words = format!("Saved as {}.", job.document.path().display());
                    self.word = Some((words, false));
                }
                Err(problem) => self.word = Some((problem.to_string(), true)),
            }
        }
    }

    /// Takes up what changed outside.
    pub(crate) fn reload(&mut self) {
        let Some(job) = &mut self.job else {
            return;
        };
        let changed = std::mem::take(&mut job.outside);
        if changed.contains(&Changed::Sculpt) {
            let path = job.document.path().to_owned();
            return self.open_file(&path);
        }
        job.ordered.clear();
        job.reads_layers = changed.contains(&Changed::Layer);
        if changed.contains(&Changed::Job)
            && let Err(problem) = job.document.reload()
        {
            self.word = Some((problem.to_string(), true));
        }
    }

    pub(crate) fn open_file(&mut self, path: &Path) {
        self.open(Start::of_file(path));
    }
}
