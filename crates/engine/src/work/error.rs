//! Why there is no work surface.

use base::Cancelled;
use thiserror::Error;

/// Why there is no work surface.
#[derive(Clone, Debug, PartialEq, Error)]
pub enum WorkError {
    /// Length or ratio that can't be.
    #[error(
        "the target edge length and the work surface's ratio to it must be positive and finite; got {edge} and {ratio}"
    )]
    BadOptions {
        /// Target quad edge, model units.
        edge: f64,
        /// Work edge over quad edge.
        ratio: f64,
    },
    /// The sculpt isn't an oriented manifold.
    #[error(
        "the sculpt has an edge with more than two triangles, or triangles that face different ways, near ({:.3}, {:.3}, {:.3}); repair it on intake",
        at[0], at[1], at[2]
    )]
    NotManifold {
        /// Where, model units.
        at: [f64; 3],
    },
    /// The work surface would be larger than its area explains.
    #[error(
        "the work surface needs more than {vertices} vertices; ask for fewer faces or a longer edge"
    )]
    TooFine {
        /// The limit.
        vertices: usize,
    },
    /// A curve can't be laid among the edges.
    #[error(
        "guide \"{guide}\" can't be followed near ({:.3}, {:.3}, {:.3}){}; move it, or ask for more faces",
        at[0], at[1], at[2],
        other.as_ref().map(|o| format!(", where it is too close to {o}")).unwrap_or_default()
    )]
    NoWay {
        /// The guide's curve, by name of its first guide.
        guide: String,
        /// What is in its way.
        other: Option<String>,
        /// Where, model units.
        at: [f64; 3],
    },
    /// A guide's end lies where no vertex is free for it.
    #[error(
        "no room for the end of a guide near ({:.3}, {:.3}, {:.3}); move it away from other guides",
        at[0], at[1], at[2]
    )]
    NoRoom {
        /// Where, model units.
        at: [f64; 3],
    },
    /// Cutting along an opening leaves both of its sides joined.
    #[error(
        "opening \"{guide}\" doesn't part the surface near ({:.3}, {:.3}, {:.3}): both of its sides hang together; close the opening, or add the one that is missing",
        at[0], at[1], at[2]
    )]
    OpeningPartsNothing {
        /// The opening's curve, by name of its first guide.
        guide: String,
        /// Where, model units.
        at: [f64; 3],
    },
    /// Guides lie on both sides of an opening.
    #[error(
        "guides \"{one}\" and \"{two}\" lie on the two sides of opening \"{guide}\" near ({:.3}, {:.3}, {:.3}), and only one side can stay; leave out \"{two}\", or the opening",
        at[0], at[1], at[2]
    )]
    GuidesOnBothSides {
        /// The opening.
        guide: String,
        /// The longest guide on the larger side.
        one: String,
        /// The longest guide on the other side.
        two: String,
        /// Where, model units.
        at: [f64; 3],
    },
    /// An opening cuts a guide whose whole length is promised.
    #[error(
        "opening \"{opening}\" cuts {what} \"{guide}\" near ({:.3}, {:.3}, {:.3}): {gone:.0} % of it lies beyond, so {}; draw \"{guide}\" where the surface stays, or {}",
        at[0], at[1], at[2], promise(*count), way_out(what)
    )]
    OpeningCuts {
        /// The opening.
        opening: String,
        /// "ring" or "line".
        what: &'static str,
        /// The guide that it cuts.
        guide: String,
        /// Percent of the guide beyond the opening.
        gone: f64,
        /// Quads that it promises in the half.
        count: Option<u32>,
        /// Where, model units.
        at: [f64; 3],
    },
    /// A bug in this stage: its result breaks its own promise.
    #[error("the work surface came out broken ({0}); please report it with the job and the sculpt")]
    Broken(String),
    /// Stopped from outside.
    #[error(transparent)]
    Cancelled(#[from] Cancelled),
}

/// What a guide that is cut can't keep.
fn promise(count: Option<u32>) -> String {
    match count {
        Some(_) => "its count can't be kept".to_owned(),
        None => "it can't close".to_owned(),
    }
}

/// What else would do for a guide that is cut.
fn way_out(what: &str) -> &'static str {
    if what == "ring" {
        "make it a line without a count that ends at the opening"
    } else {
        "leave out its count"
    }
}
