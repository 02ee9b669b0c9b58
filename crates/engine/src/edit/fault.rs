//! Why an edit isn't played.

use thiserror::Error;

/// Why edits stopped altogether.
#[derive(Clone, Debug, PartialEq, Error)]
pub enum EditError {
    /// Cancelled from outside.
    #[error(transparent)]
    Cancelled(#[from] base::Cancelled),
}

/// Why one edit isn't played.
#[derive(Clone, Debug, PartialEq, Error)]
#[non_exhaustive]
pub enum EditFault {
    /// Nothing of the surface is near.
    #[error(
        "the nearest {what} is {distance:.3} from its point, more than the {limit:.3} of one edge; give it a new point, or remove the edit"
    )]
    NoPlace {
        /// Quad, vertex, or edge that runs its way.
        what: &'static str,
        /// How far away it is, model units; infinite if there is none.
        distance: f64,
        /// How near it must be, model units.
        limit: f64,
    },
    /// The direction doesn't run along the surface.
    #[error(
        "its direction stands square on the surface, so it names no loop; give the direction in which the loop runs"
    )]
    NoDirection,
    /// A strip that passes one quad twice can't be split.
    #[error(
        "the strip there crosses itself near ({:.2}, {:.2}, {:.2}), so one loop can't split it; draw a ring that closes it, or name another strip", at[0], at[1], at[2]
    )]
    StripCrosses {
        /// The quad that is passed twice, model units.
        at: [f64; 3],
    },
    /// A loop that passes one vertex twice can't go.
    #[error(
        "the loop there crosses itself near ({:.2}, {:.2}, {:.2}); name another loop", at[0], at[1], at[2]
    )]
    LoopCrosses {
        /// The vertex that is passed twice, model units.
        at: [f64; 3],
    },
    /// The loop is there because something in the job asks for it.
    #[error(
        "the loop carries {names}, which the surface must follow; name another loop, or change {names} in the job"
    )]
    Carries {
        /// Guides by name, the centre line, or the sculpt's edge.
        names: String,
    },
    /// A guide ends on the loop.
    #[error("{names} ends on the loop; name another loop, or draw {names} on from there")]
    EndsHere {
        /// Guides by name.
        names: String,
    },
    /// A loop that ends at a pole has no strip on both sides all along.
    #[error(
        "the loop ends at a pole near ({:.2}, {:.2}, {:.2}), so the strips beside it can't be merged; name a loop that closes or ends at openings", at[0], at[1], at[2]
    )]
    EndsAtPole {
        /// The pole, model units.
        at: [f64; 3],
    },
    /// Held quads would change.
    #[error(
        "it would change quads within {rim}, which stay as they are; remove the edit, or release the hold"
    )]
    InHold {
        /// Name of the hold's rim.
        rim: String,
    },
    /// The surface would no longer be one.
    #[error(
        "without the loop the surface would fold onto itself: too few loops are left there; name another loop"
    )]
    Folds,
    /// A vertex that may not move.
    #[error(
        "the vertex is held by {names}, which meet or end there; change them in the job instead"
    )]
    Held {
        /// Guides by name, the centre line, or the sculpt's edge.
        names: String,
    },
    /// A share that isn't between its limits.
    #[error("its share is {share}; it must be above {low} and below {high}")]
    Share {
        /// As given.
        share: f64,
        /// Lower limit, exclusive.
        low: f64,
        /// Upper limit, exclusive.
        high: f64,
    },
}

impl EditFault {
    /// Whether the edit's place is what it lacks.
    pub fn is_place(&self) -> bool {
        matches!(self, Self::NoPlace { .. } | Self::NoDirection)
    }
}
