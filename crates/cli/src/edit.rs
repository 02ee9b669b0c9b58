//! `loopwright edit`: one more edit in the job file.

use files::{ChangeSpec, EditSpec, JobFile};

use crate::args;
use crate::args::EditChange;
use crate::job;
use crate::refusal::Refusal;
use crate::terminal;

/// Appends an edit and saves the job file, whole or not at all.
///
/// # Errors
/// [`Refusal::Job`] for an edit that a job can't have; [`Refusal::Write`]. The file is as it was
/// then.
pub fn run(words: &args::Edit) -> Result<(), Refusal> {
    let mut file: JobFile = job::read(&words.job)?;
    file.append_edit(spec_of(&words.change))?;
    file.save()?;
    let edits = &file.spec().edits;
    let line = edits.last().map_or(0, |edit| edit.line);
    terminal::say(&format!(
        "{}:{line}: edit {} added; the next run plays it\n",
        words.job.display(),
        edits.len()
    ));
    Ok(())
}

fn spec_of(words: &EditChange) -> EditSpec {
    let (change, recount) = match words {
        EditChange::Insert {
            place,
            share,
            recount,
        } => {
            let change = ChangeSpec::Insert {
                at: place.at,
                along: place.along,
                share: *share,
            };
            (change, *recount)
        }
        EditChange::Remove { place, recount } => {
            let change = ChangeSpec::Remove {
                at: place.at,
                along: place.along,
            };
            (change, *recount)
        }
        EditChange::Slide { place, share } => {
            let change = ChangeSpec::Slide {
                at: place.at,
                along: place.along,
                share: *share,
            };
            (change, false)
        }
        EditChange::Move { at, to, relax } => {
            let change = ChangeSpec::Move {
                at: *at,
                to: *to,
                relax: *relax,
            };
            (change, false)
        }
    };
    EditSpec {
        change,
        recount,
        line: 0,
    }
}
