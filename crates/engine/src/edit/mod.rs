//! Edit: what the artist changes by hand after a run, kept in the job and played at each run.
//!
//! Takes the assembled surface and a list of edits, gives the surface with all edits played that
//! find their place, and a finding for each. Holds: quads only, manifold and oriented as before,
//! the same Euler characteristic, every vertex that stays keeps its valence; new and moved vertices
//! lie on their guide, on the centre line, or as far off the sculpt as their neighbours, on the
//! side that faces the same way; a mirrored surface stays an exact image.
//!
//! Loops and strips are named by a point and a direction, not by number, so that an edit finds its
//! place again after the sculpt, a guide or the density has changed. One that doesn't is refused by
//! itself; the others still play.
//!
//! A strip of quads is a curve of the surface's dual, and a loop the run of edges between two
//! strips. Inserting a loop doubles a dual curve; removing one merges two (Borden, Benzley &
//! Shepherd, "Hexahedral sheet extraction", 2002; in quads Daniels, Silva, Shepherd & Cohen,
//! "Quadrilateral mesh simplification", 2008: polychords). Either leaves V − E + F alone: a closed
//! loop of n edges adds n vertices, 2n edges and n quads, an open one n + 1, 2n + 1 and n.
//!
//! ```text
//! assembled ─▶ draft (the half, its guides' edges) ─▶ edit after edit ─▶ doubled again
//! ```

mod draft;
mod fault;
mod find;
mod insert;
mod place;
mod remove;
mod retrace;
mod shift;
mod sound;
#[cfg(test)]
mod tests;
mod walk;

use base::{Finding, Findings, Level, Place, Task};
use mesh::DVec3;

use crate::assemble::{Assembled, Parts};
use crate::model::{Guide, Plane};
use draft::Draft;
pub use fault::{EditError, EditFault};
pub use retrace::{Anew, Retraced, retrace};

/// One edit of a job.
#[derive(Clone, Debug, PartialEq)]
pub struct Edit {
    /// Its number among the job's edits, from 1.
    pub number: usize,
    /// Line of its table in the job file, from 1; 0 for one that isn't in a file.
    pub line: usize,
    /// What it does.
    pub change: Change,
    /// Whether guides whose count it changes promise the new count from then on.
    pub recount: bool,
}

/// What an edit does.
#[derive(Clone, Debug, PartialEq)]
pub enum Change {
    /// Splits a strip of quads with a new loop.
    Insert {
        /// The strip: that of the nearest quad, in the direction that the loop is to run.
        place: LoopPlace,
        /// Where the loop crosses the strip: 0 at its right edge, seen along `place`, 1 at its
        /// left; exclusive.
        share: f64,
    },
    /// Takes a loop out: the strips on both sides become one.
    Remove {
        /// The loop.
        place: LoopPlace,
    },
    /// Moves a loop over the sculpt, towards its neighbour on the left (above 0, seen along
    /// `place`) or on the right (below 0).
    Slide {
        /// The loop.
        place: LoopPlace,
        /// Share of the way to the neighbour, −1 to 1, exclusive.
        share: f64,
    },
    /// Moves a vertex over the sculpt.
    Move {
        /// The vertex: the nearest one; model units.
        from: DVec3,
        /// Where to, model units.
        to: DVec3,
        /// Vertices up to so many edges around it are evened out; 0 leaves them.
        relax: u32,
    },
}

/// A loop or strip, named so that it is found again.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LoopPlace {
    /// A point on or near the surface, model units.
    pub at: DVec3,
    /// The direction in which the loop runs there, of any length but zero.
    pub along: DVec3,
}

/// What edits made of a surface.
#[derive(Clone, Debug)]
pub struct Edited {
    /// The surface.
    pub whole: Assembled,
    /// Guides with the counts that they promise from now on.
    pub guides: Vec<Guide>,
    /// Quads that edits added to the whole surface, less those that they took.
    pub added_quads: i64,
    /// One finding for each edit at least.
    pub findings: Findings,
}

/// Plays edits in order.
///
/// # Errors
/// [`EditError::Cancelled`]. An edit that can't be played is a finding that fails.
pub fn run(
    parts: &Parts<'_>,
    whole: &Assembled,
    edits: &[Edit],
    task: &Task,
) -> Result<Edited, EditError> {
    task.report("edit", 0.0)?;
    let mut draft = Draft::new(parts, whole);
    let quads = whole.mesh.quads.len() as i64;
    let mut guides = parts.guides.to_vec();
    let mut findings = Findings::default();
    for (i, edit) in edits.iter().enumerate() {
        task.report("edit", i as f32 / edits.len() as f32)?;
        match play(&mut draft, edit) {
            Ok(played) => {
                findings.push(said(edit, &played));
                recount(edit, &played, &mut guides, &mut findings);
            }
            Err(fault) => findings.push(refused(edit, &fault)),
        }
    }
    let whole = draft.finish(parts);
    let added_quads = whole.mesh.quads.len() as i64 - quads;
    task.report("edit", 1.0)?;
    Ok(Edited {
        whole,
        guides,
        added_quads,
        findings,
    })
}

/// What one edit did to the half.
#[derive(Clone, Debug, Default, PartialEq)]
struct Played {
    /// Vertices made, removed or moved.
    vertices: usize,
    /// Quads split or merged.
    quads: usize,
    /// By how much the count of each guide changed: guide of the job, difference.
    counts: Vec<(usize, i64)>,
    /// Vertices under which no sculpt was found that faces the same way.
    unplaced: usize,
}

/// Plays one edit; on an error the draft is as it was.
fn play(draft: &mut Draft<'_>, edit: &Edit) -> Result<Played, EditFault> {
    if !draft.has_held() {
        return play_anywhere(draft, edit);
    }
    let before = draft.clone();
    let played = play_anywhere(draft, edit)?;
    match draft.held_changed(&before) {
        None => Ok(played),
        Some(rim) => {
            *draft = before;
            Err(EditFault::InHold { rim })
        }
    }
}

/// As [`play`], whether or not held quads change.
fn play_anywhere(draft: &mut Draft<'_>, edit: &Edit) -> Result<Played, EditFault> {
    match edit.change {
        Change::Insert { place, share } => {
            let (place, share) = match on_kept_side(draft.plane, place) {
                (place, false) => (place, share),
                // Seen in the mirror, right is left.
                (place, true) => (place, 1.0 - share),
            };
            insert::play(draft, place, share)
        }
        Change::Remove { place } => remove::play(draft, on_kept_side(draft.plane, place).0),
        Change::Slide { place, share } => {
            let (place, share) = match on_kept_side(draft.plane, place) {
                (place, false) => (place, share),
                (place, true) => (place, -share),
            };
            shift::slide(draft, place, share)
        }
        Change::Move { from, to, relax } => {
            let kept = |p: DVec3| match draft.plane {
                Some(plane) if plane.height(from) < 0.0 => plane.mirror(p),
                _ => p,
            };
            let (from, to) = (kept(from), kept(to));
            shift::shift(draft, from, to, relax)
        }
    }
}

/// A place on the half that edits work on, and whether that is the mirror image of the given one.
fn on_kept_side(plane: Option<Plane>, place: LoopPlace) -> (LoopPlace, bool) {
    match plane {
        Some(plane) if plane.height(place.at) < 0.0 => {
            let at = plane.mirror(place.at);
            let along = plane.mirror(place.at + place.along) - at;
            (LoopPlace { at, along }, true)
        }
        _ => (place, false),
    }
}

impl Change {
    /// The word for it.
    pub fn word(&self) -> &'static str {
        match self {
            Self::Insert { .. } => "insert",
            Self::Remove { .. } => "remove",
            Self::Slide { .. } => "slide",
            Self::Move { .. } => "move",
        }
    }

    /// Where it applies, model units.
    pub fn at(&self) -> DVec3 {
        match *self {
            Self::Insert { place, .. } | Self::Remove { place } | Self::Slide { place, .. } => {
                place.at
            }
            Self::Move { from, .. } => from,
        }
    }
}

impl Edit {
    /// How findings name it: `Edit 2 (insert, line 41)`.
    pub fn label(&self) -> String {
        let (number, word) = (self.number, self.change.word());
        match self.line {
            0 => format!("Edit {number} ({word})"),
            line => format!("Edit {number} ({word}, line {line})"),
        }
    }
}

fn place_of(edit: &Edit) -> Place {
    Place::Point {
        at: edit.change.at().to_array(),
    }
}

fn refused(edit: &Edit, fault: &EditFault) -> Finding {
    let code = if fault.is_place() {
        "edit-no-place"
    } else {
        "edit-refused"
    };
    let sentence = format!("{} was not played: {fault}.", edit.label());
    Finding::new(code, Level::Fail, sentence).at(place_of(edit))
}

fn said(edit: &Edit, played: &Played) -> Finding {
    let did = match edit.change {
        Change::Insert { .. } => format!("split {} quads", played.quads),
        Change::Remove { .. } => format!("merged {} pairs of quads", played.quads),
        Change::Slide { .. } | Change::Move { .. } => match played.vertices {
            1 => "moved 1 vertex".to_owned(),
            n => format!("moved {n} vertices"),
        },
    };
    let off = match played.unplaced {
        0 => String::new(),
        n => format!("; under {n} vertices no sculpt faces the same way, so they stay on chords"),
    };
    let level = if played.unplaced == 0 {
        Level::Note
    } else {
        Level::Warn
    };
    let sentence = format!("{} {did}{off}.", edit.label());
    Finding::new("edit-played", level, sentence).at(place_of(edit))
}

/// Says which promised counts an edit changes, and lets the promises follow if it says so.
fn recount(edit: &Edit, played: &Played, guides: &mut [Guide], findings: &mut Findings) {
    for &(g, difference) in &played.counts {
        let Some((guide, count)) = guides
            .get_mut(g)
            .and_then(|guide| guide.count.map(|count| (guide, count)))
        else {
            continue;
        };
        let (label, name) = (edit.label(), &guide.name);
        let now = i64::from(count) + difference;
        let sentence = if edit.recount {
            guide.count = u32::try_from(now).ok();
            format!(
                "{label} changes the count of guide '{name}' from {count} to {now}, as it says."
            )
        } else {
            let by = if difference > 0 { "adds" } else { "takes" };
            let n = difference.abs();
            format!(
                "{label} {by} {n} where it crosses guide '{name}', whose promised count of {count} is broken by that. Change the count, or say recount = true in the edit."
            )
        };
        let level = if edit.recount {
            Level::Note
        } else {
            Level::Warn
        };
        let finding = Finding::new("edit-count", level, sentence)
            .measured(now as f64, Some(f64::from(count)))
            .at(Place::Guide { name: name.clone() });
        findings.push(finding);
    }
}
