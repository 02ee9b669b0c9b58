//! What the artist does, whether by pen, key or button.

mod files;
mod garment;
mod guides;
mod keys;
mod places;
mod strokes;

pub(crate) use garment::round_length;

use ::files::{JobError, JobSpec};

use crate::desk::Desk;

impl Desk {
    /// Changes the job as one step; says why if a job can't be so.
    pub(crate) fn change(
        &mut self,
        label: impl Into<String>,
        edit: impl FnOnce(&mut JobSpec),
    ) -> bool {
        let Some(job) = &mut self.job else {
            return false;
        };
        let changed = job.document.change(label, edit);
        self.done(changed)
    }

    /// As [`Desk::change`], one step with those of the same key.
    pub(crate) fn change_on(
        &mut self,
        key: &str,
        label: impl Into<String>,
        edit: impl FnOnce(&mut JobSpec),
    ) {
        if let Some(job) = &mut self.job {
            let changed = job.document.change_on(key, label, edit);
            self.done(changed);
        }
    }

    fn done(&mut self, changed: Result<bool, JobError>) -> bool {
        match changed {
            Ok(changed) => {
                if changed {
                    self.word = None;
                    self.view.guides_changed();
                }
                changed
            }
            Err(problem) => {
                let first = problem.problems.first().map(|p| p.fault.to_string());
                self.word = Some((first.unwrap_or_else(|| problem.to_string()), true));
                false
            }
        }
    }

    pub(crate) fn pick(&mut self, name: Option<String>) {
        if self.picked != name {
            self.picked = name;
            self.renaming = None;
            self.view.guides_changed();
        }
    }

    pub(crate) fn undo(&mut self) {
        self.back_and_forth(|document| document.undo());
    }

    pub(crate) fn redo(&mut self) {
        self.back_and_forth(|document| document.redo());
    }

    fn back_and_forth(&mut self, step: impl FnOnce(&mut session::Document) -> bool) {
        if let Some(job) = &mut self.job {
            step(&mut job.document);
            let gone = |name: &String| job.document.spec().guides.iter().all(|g| g.name != *name);
            if self.picked.as_ref().is_some_and(gone) {
                self.picked = None;
            }
            self.word = None;
            self.view.guides_changed();
        }
    }
}
