//! Why a guide can't become a curve.

use base::Cancelled;
use thiserror::Error;

/// Why a guide can't become a curve.
#[derive(Clone, Debug, PartialEq, Error)]
pub enum GuideError {
    /// Held quads can't be kept beside the guides.
    #[error(transparent)]
    Hold(#[from] crate::hold::HoldError),
    /// The target edge length can't be.
    #[error("the target edge length must be positive and finite; got {edge}")]
    BadEdge {
        /// As given, model units.
        edge: f64,
    },
    /// A guide has too few points for a curve.
    #[error("guide \"{guide}\" has {got} points; it needs at least {least}")]
    TooFewPoints {
        /// The guide's name.
        guide: String,
        /// How many it needs.
        least: usize,
        /// How many it has.
        got: usize,
    },
    /// Fewer quads than a curve can have.
    #[error(
        "guide \"{guide}\" asks for {count} quads; a closed guide needs at least 3 and an open one at least 1"
    )]
    CountTooSmall {
        /// The guide's name.
        guide: String,
        /// The count asked for.
        count: u32,
    },
    /// A drawn point lies away from the sculpt.
    #[error(
        "point {point} of guide \"{guide}\" is {distance:.3} from the sculpt, more than {limit:.3}; draw it on the sculpt again, or check units and file"
    )]
    OffSculpt {
        /// The guide's name.
        guide: String,
        /// Which point, from 1.
        point: usize,
        /// Its distance, model units.
        distance: f64,
        /// Greatest distance that is snapped, model units.
        limit: f64,
    },
    /// A guide is shorter than a quad.
    #[error(
        "guide \"{guide}\" is {length:.3} long, too short for quads of {edge:.3}; draw it at least {least:.3} long, or ask for {:.0} times as many faces", (least / length).powi(2).ceil()
    )]
    TooShort {
        /// The guide's name.
        guide: String,
        /// Its length, model units.
        length: f64,
        /// The target edge, model units.
        edge: f64,
        /// Least length, model units.
        least: f64,
    },
    /// A guide across the plane with an odd count.
    #[error("guide \"{guide}\" crosses the mirror plane and asks for {count} quads; both halves are alike, so the count must be even: {} or {}", count - 1, count + 1)]
    OddCount {
        /// The guide's name.
        guide: String,
        /// The count asked for.
        count: u32,
    },
    /// A guide that crosses the plane more than twice, with a count.
    #[error(
        "guide \"{guide}\" meets the mirror plane in {parts} pieces, so its count can't be shared out; leave the count out or draw one guide a piece"
    )]
    CountInPieces {
        /// The guide's name.
        guide: String,
        /// How many pieces lie in front.
        parts: usize,
    },
    /// Two guides that are one ask for different counts.
    #[error(
        "guides \"{one}\" and \"{two}\" {how}, but ask for {one_count} and {two_count} quads; make \"{two}\" {one_count} instead of {two_count}, or move it away"
    )]
    CountsDiffer {
        /// First guide's name.
        one: String,
        /// Second guide's name.
        two: String,
        /// Why they are one.
        how: &'static str,
        /// First guide's count.
        one_count: u32,
        /// Second guide's count.
        two_count: u32,
    },
    /// A ring or a closed opening that crosses itself.
    #[error(
        "guide \"{guide}\" crosses itself near ({:.3}, {:.3}, {:.3}), so it can't be one closed run of edges; draw it without that loop, or as two guides that cross there",
        at[0], at[1], at[2]
    )]
    CrossesItself {
        /// The guide's name.
        guide: String,
        /// Where, model units.
        at: [f64; 3],
    },
    /// Two guides side by side with less room than a quad needs.
    #[error(
        "guides \"{one}\" and \"{two}\" run side by side near ({:.3}, {:.3}, {:.3}), {distance:.3} apart at the least, without room for quads between them; move \"{two}\" so that they are at least {room:.3} apart or, to make them one, at most {on:.3}; where they are to meet, let them do so more squarely",
        at[0], at[1], at[2]
    )]
    TooClose {
        /// First guide's name.
        one: String,
        /// Second guide's name.
        two: String,
        /// Where, model units.
        at: [f64; 3],
        /// How far they are apart there, model units.
        distance: f64,
        /// How much room there must be, model units.
        room: f64,
        /// How near they must be to be one, model units.
        on: f64,
    },
    /// Stopped from outside.
    #[error(transparent)]
    Cancelled(#[from] Cancelled),
}
