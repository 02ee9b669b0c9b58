//! Why a trim can't be had, and the way out.

use base::Cancelled;
use engine::check::CheckError;
use thiserror::Error;

use crate::told::at_most;

/// A trim can't be made.
#[derive(Debug, Error)]
pub enum TrimError {
    /// Cancelled from outside.
    #[error(transparent)]
    Cancelled(#[from] Cancelled),
    /// The surface is damaged.
    #[error(transparent)]
    Check(#[from] CheckError),
    /// No run of edges along the guide.
    #[error(
        "trim '{trim}': the surface has no whole run of edges along guide '{guide}'. Look at what the check says of that guide first"
    )]
    NoRun {
        /// The trim.
        trim: String,
        /// Its guide.
        guide: String,
    },
    /// The run isn't a boundary.
    #[error(
        "trim '{trim}': the surface doesn't end at guide '{guide}', near {}. Give the guide kind = \"opening\", name another guide, or lay the trim upon the surface with side = \"upon\"",
        place(.at)
    )]
    NotAnOpening {
        /// The trim.
        trim: String,
        /// Its guide.
        guide: String,
        /// A vertex with surface on both sides, model units.
        at: [f64; 3],
    },
    /// The surface ends where a band is to be laid upon it.
    #[error(
        "trim '{trim}' is to lie upon the surface, which ends at guide '{guide}', near {}. Name a guide within the surface, or say side = \"beyond\" or \"within\"",
        place(.at)
    )]
    AtAnEnd {
        /// The trim.
        trim: String,
        /// Its guide.
        guide: String,
        /// A vertex at the surface's end, model units.
        at: [f64; 3],
    },
    /// Two trims at one guide.
    #[error(
        "trim '{trim}' and trim '{other}' are at one guide or share a part of it. Remove one of them, or, if they are each other's mirror image, give both the same numbers"
    )]
    Twice {
        /// The later one.
        trim: String,
        /// The earlier one.
        other: String,
    },
    /// A number that can't be.
    #[error("trim '{trim}': {what} is {value}; it must be {range}")]
    Number {
        /// The trim.
        trim: String,
        /// Which number.
        what: &'static str,
        /// Its value.
        value: f64,
        /// What it may be.
        range: &'static str,
    },
    /// Its direction runs back into the surface or along the loop.
    #[error(
        "trim '{trim}': its direction doesn't lead away from the surface near {}. Choose direction = \"surface\" or \"axis\", or another vector",
        place(.at)
    )]
    Direction {
        /// The trim.
        trim: String,
        /// Where, model units.
        at: [f64; 3],
    },
    /// Too thick for the place.
    #[error(
        "trim '{trim}': a thickness of {thickness} is too much near {}, where cloth bends within {radius:.3}; at most {} goes there (0.8 times that). Ask for less, or open the place up",
        place(.at), at_most(*.most)
    )]
    TooThick {
        /// The trim.
        trim: String,
        /// As asked for, model units.
        thickness: f64,
        /// Local radius, model units.
        radius: f64,
        /// Greatest thickness that would go, model units.
        most: f64,
        /// Where, model units.
        at: [f64; 3],
    },
    /// Walls pass through each other or the surface.
    #[error(
        "trim '{trim}': its cloth would pass through {what} near {}{}",
        place(.at), way_out(.most)
    )]
    Crosses {
        /// The trim.
        trim: String,
        /// What it would pass through.
        what: String,
        /// Where, model units.
        at: [f64; 3],
        /// A thickness that goes, model units, if one does.
        most: Option<f64>,
    },
    /// Deeper than rows of quads go.
    #[error(
        "trim '{trim}': {height} is deeper than the rows of quads beside its guide go unbroken, near {}; at most {most:.3} goes. Ask for less height",
        place(.at)
    )]
    TooDeep {
        /// The trim.
        trim: String,
        /// As asked for, model units.
        height: f64,
        /// How deep rows go, model units.
        most: f64,
        /// Where they end, model units.
        at: [f64; 3],
    },
    /// No front.
    #[error(
        "trim '{trim}': there is no telling where its front is, for its opening doesn't cross the mirror plane. Say front_at = [x, y, z]"
    )]
    NoFront {
        /// The trim.
        trim: String,
    },
    /// An overlap of what has no free ends at its front.
    #[error(
        "trim '{trim}': only what goes on beyond its opening can overlap at the front. Say side = \"beyond\", or front = \"gap\" or \"closed\""
    )]
    NoLap {
        /// The trim.
        trim: String,
    },
    /// A gap without two ends.
    #[error(
        "trim '{trim}': its front, near {}, has no end on either side of which one could lie over the other. Say front_at = [x, y, z] further from where its guide ends, or front = \"gap\"",
        place(.at)
    )]
    OneEnd {
        /// The trim.
        trim: String,
        /// Where its front is, model units.
        at: [f64; 3],
    },
    /// An overlap that is too long.
    #[error(
        "trim '{trim}': a lap of {lap} is more than half of its cloth; at most {most:.3} goes. Ask for less"
    )]
    LapTooLong {
        /// The trim.
        trim: String,
        /// As asked for, model units.
        lap: f64,
        /// Greatest that would go, model units.
        most: f64,
    },
    /// A gap too narrow for one end to rise over the other.
    #[error(
        "trim '{trim}': one end can't rise over the other in a gap of {width:.3}; cloth {thickness} thick needs {least:.3}. Ask for front_width = {least:.3} or more, or for a thickness of {most:.3} or less"
    )]
    LapTooSteep {
        /// The trim.
        trim: String,
        /// From end to end, model units.
        width: f64,
        /// As asked for, model units.
        thickness: f64,
        /// Least width that would go, model units.
        least: f64,
        /// Greatest thickness that would go, model units.
        most: f64,
    },
    /// Nothing left beside the gap.
    #[error("trim '{trim}': a gap of {width} leaves nothing of it. Ask for a narrower front_width")]
    AllGap {
        /// The trim.
        trim: String,
        /// As asked for, model units.
        width: f64,
    },
}

impl TrimError {
    /// Where it can't be made, model units, where that is known.
    pub fn at(&self) -> Option<[f64; 3]> {
        match self {
            Self::NotAnOpening { at, .. }
            | Self::AtAnEnd { at, .. }
            | Self::Direction { at, .. }
            | Self::TooThick { at, .. }
            | Self::Crosses { at, .. }
            | Self::TooDeep { at, .. } => Some(*at),
            _ => None,
        }
    }
}

fn place(at: &[f64; 3]) -> String {
    format!("({:.2}, {:.2}, {:.2})", at[0], at[1], at[2])
}

fn way_out(most: &Option<f64>) -> String {
    match most {
        Some(most) => format!(
            "; a thickness of {} goes. Ask for that, or for less height",
            at_most(*most)
        ),
        None => ", whatever its thickness. Ask for less height, another direction, or smaller quads there"
            .to_owned(),
    }
}
