//! Why held quads can't be kept.

use thiserror::Error;

/// Why held quads can't be kept, and the smallest change that lets the run go on.
#[derive(Clone, Debug, PartialEq, Error)]
pub enum HoldError {
    /// The stored quads are damaged.
    #[error("hold '{hold}' {what}; hold the region again, or release the hold")]
    Broken {
        /// The hold.
        hold: String,
        /// What is wrong with it.
        what: &'static str,
    },
    /// Quads touch in a corner or share an edge three times.
    #[error(
        "hold '{hold}' touches itself or another hold near ({:.2}, {:.2}, {:.2}), so its rim is no curve; hold the regions together under one name, or release one",
        at[0], at[1], at[2]
    )]
    Touches {
        /// The hold.
        hold: String,
        /// Where, model units.
        at: [f64; 3],
    },
    /// There is nothing left to lay.
    #[error(
        "hold '{hold}' leaves nothing to lay: it covers the whole surface; hold a part of it, or release the hold"
    )]
    Everything {
        /// The hold.
        hold: String,
    },
    /// Held vertices lie on the other side of the mirror plane.
    #[error(
        "hold '{hold}' doesn't end on the mirror plane any more: near ({:.2}, {:.2}, {:.2}) it lies behind it; hold the region again, or put the plane back",
        at[0], at[1], at[2]
    )]
    BehindPlane {
        /// The hold.
        hold: String,
        /// Where, model units.
        at: [f64; 3],
    },
    /// More quads are held than are asked for.
    #[error("{} {kept} quads of the {wanted} that are asked for, which leaves none for the rest; ask for more faces, or release a hold", keep(.holds))]
    Budget {
        /// Names of the holds.
        holds: Vec<String>,
        /// Quads held in the whole surface.
        kept: usize,
        /// Quads asked for.
        wanted: usize,
    },
    /// The rim lies away from the sculpt.
    #[error(
        "the rim of hold '{hold}' lies {distance:.3} from the sculpt near ({:.2}, {:.2}, {:.2}), more than {limit:.3}, so the rest can't go on from it; hold the region again, or release the hold",
        at[0], at[1], at[2]
    )]
    OffSculpt {
        /// The hold.
        hold: String,
        /// Greatest distance, model units.
        distance: f64,
        /// Greatest distance that can be bridged, model units.
        limit: f64,
        /// Where, model units.
        at: [f64; 3],
    },
    /// A guide runs through the held quads where they have no run of edges for it.
    #[error(
        "guide '{guide}' runs through hold '{hold}' up to {distance:.3} beside its edges, near ({:.2}, {:.2}, {:.2}); release the hold, or draw the guide along held edges or outside of it",
        at[0], at[1], at[2]
    )]
    Guide {
        /// The guide.
        guide: String,
        /// The hold.
        hold: String,
        /// How far off the held edges, model units.
        distance: f64,
        /// Where, model units.
        at: [f64; 3],
    },
    /// A guide's count can't be reached with the held quads on it.
    #[error(
        "guide '{guide}' promises {count} quads, but hold '{hold}' keeps {kept} of them{}; give it count = {advice}, or release the hold",
        if *.whole { ", the whole of it" } else { "" }
    )]
    Count {
        /// The guide.
        guide: String,
        /// The hold.
        hold: String,
        /// The promise.
        count: u32,
        /// Quads that are held.
        kept: u32,
        /// Whether the whole guide is held.
        whole: bool,
        /// The nearest count that can be.
        advice: u32,
    },
    /// The surface was to end where held quads end, and no longer does.
    #[error(
        "the surface ended at hold '{hold}' near ({:.2}, {:.2}, {:.2}), but no opening or edge of the sculpt is there now; put the opening back, or release the hold",
        at[0], at[1], at[2]
    )]
    NoEnd {
        /// The hold.
        hold: String,
        /// Where, model units.
        at: [f64; 3],
    },
    /// The new quads don't meet the rim.
    #[error(
        "internal fault: along the rim of hold '{hold}' {found} edges were laid where {wanted} are held; release the hold"
    )]
    Rim {
        /// The hold.
        hold: String,
        /// Edges laid.
        found: usize,
        /// Edges held.
        wanted: usize,
    },
}

fn keep(holds: &[String]) -> String {
    match holds {
        [one] => format!("hold '{one}' keeps"),
        all => {
            let names: Vec<String> = all.iter().map(|n| format!("'{n}'")).collect();
            format!("holds {} keep", names.join(", "))
        }
    }
}
