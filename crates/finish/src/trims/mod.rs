//! Trims: cloth with thickness: a cuff, a collar or a hem at an opening, a band along a loop.
//!
//! Takes the finished surface and for each trim the run of vertices along its guide, gives the
//! surface with the trims woven on. Holds: the surface's own vertices and quads come first, in
//! their order and to the bit; quads only, manifold, oriented, facing out; on a mirrored surface
//! every trim but the lap of one that overlaps at the plane is its own image to the bit; walls are
//! parallel planes, `thickness` apart, and pass through nothing. A trim for which that can't be had is refused by name.
//!
//! ```text
//! run ─▶ cloth (rows of places) ─▶ parallel wall ─▶ rim between ─▶ quads ─▶ findings
//! ```
//!
//! What is laid upon the surface is in `band`, the end that lies over the other one in `lap`.
//!
//! Seen across the run, a trim that goes on beyond its opening and one that is turned in:
//!
//! ```text
//!      opening                        opening
//! ════════╪───────────╮          ══════════╪─╮
//!         ·           │ rim         ───────·─╯ rim
//!         └───────────╯
//! ```

mod band;
mod built;
mod cloth;
mod error;
pub(crate) mod findings;
pub(crate) mod fit;
mod follow;
mod lap;
pub(crate) mod parallel;
pub(crate) mod profile;
mod relay;
#[cfg(test)]
pub(crate) mod tests;
mod tries;
pub(crate) mod weave;

use std::collections::BTreeSet;

use base::{Findings, Task};
use engine::model::{Plane, Sculpt};
use mesh::{DVec3, QuadMesh};

pub use error::TrimError;

/// What a trim is called by the trade. It changes words alone, not the shape.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum TrimKind {
    /// At the end of a sleeve or a leg.
    Cuff,
    /// Around the neck.
    Collar,
    /// Along the lower edge.
    Hem,
    /// A belt, a strap, a strip sewn on.
    Band,
}

impl TrimKind {
    /// The word for it.
    pub fn word(self) -> &'static str {
        match self {
            Self::Cuff => "cuff",
            Self::Collar => "collar",
            Self::Hem => "hem",
            Self::Band => "band",
        }
    }
}

/// Which way the cloth of a trim goes from its guide.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Side {
    /// On, beyond the opening.
    Beyond,
    /// Back, inside: the outer wall is the surface's own last rows.
    Within,
    /// To both sides of a loop within the surface, on top of it.
    Upon,
}

/// Where a trim that goes on is headed.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Direction {
    /// Along the axis of the limb: through the middles of the loops before the opening.
    Axis,
    /// As the surface runs at each vertex.
    Surface,
    /// One direction, of any length but zero.
    Fixed(DVec3),
}

/// The form of a trim's edge.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Edge {
    /// A flat rim with a loop beside each of its corners, which holds it when the mesh is smoothed.
    Flat,
    /// Half round.
    Rounded,
}

/// The front of a closed trim.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Front {
    /// It goes all around.
    Closed,
    /// It leaves out the front vertex, and those within half of `width` (model units) of it, and
    /// has an end wall on either side.
    Gap {
        /// How wide it is at the opening, as far as vertices allow.
        width: f64,
        /// Where the front is; else, of the vertices on the mirror plane, the one furthest to +z.
        at: Option<DVec3>,
    },
    /// As a gap, over which one end goes on and lies on the other.
    Overlap {
        /// How wide the gap is at the opening, as far as vertices allow.
        width: f64,
        /// Where the front is, as of a gap.
        at: Option<DVec3>,
        /// How far the one end lies over the other, model units, above 0.
        lap: f64,
        /// Which end lies over the other.
        upper: End,
    },
}

/// An end of a gap, seen from outside with the surface below and the trim's edge up.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum End {
    /// To the left of the gap.
    Left,
    /// To the right of it: of a collar, the wearer's left.
    Right,
}

impl Front {
    /// Of a front that opens, the width of its gap and where it is.
    pub(crate) fn gap(&self) -> Option<(f64, Option<DVec3>)> {
        match *self {
            Self::Closed => None,
            Self::Gap { width, at } | Self::Overlap { width, at, .. } => Some((width, at)),
        }
    }
}

/// A trim as it is asked for.
#[derive(Clone, Debug, PartialEq)]
pub struct Trim {
    /// Its name, unique among trims.
    pub name: String,
    /// What it is called.
    pub kind: TrimKind,
    /// Name of the guide whose run it is at.
    pub guide: String,
    /// How far its cloth reaches from the opening, or from edge to edge upon the surface; model units,
    /// above 0.
    pub height: f64,
    /// From wall to wall, model units, above 0.
    pub thickness: f64,
    /// How far it leans outward from its direction, degrees; below 0 inward.
    pub flare_deg: f64,
    /// Loops across the height between opening and edge, beside those that hold corners.
    pub loops: u32,
    /// Form of the edge.
    pub edge: Edge,
    /// The front.
    pub front: Front,
    /// Where it is headed.
    pub direction: Direction,
    /// Which way it goes.
    pub side: Side,
    /// Whether it follows the sculpt where that goes on beyond the opening.
    pub follow: bool,
    /// Whether the corners between its walls and its rim are hard; else by angle.
    pub hard: Option<bool>,
}

/// A trim with its place on the surface.
#[derive(Clone, Debug, PartialEq)]
pub struct Placed {
    /// What is asked for.
    pub trim: Trim,
    /// Vertices of the surface along its guide, each joined to the next by an edge.
    pub run: Vec<u32>,
    /// Whether the last is joined to the first.
    pub closed: bool,
}

/// What trims are woven on.
#[derive(Clone, Copy)]
pub struct TrimInput<'a> {
    /// The finished surface.
    pub surface: &'a QuadMesh,
    /// The plane about which it is its own exact image, if there is one.
    pub plane: Option<Plane>,
    /// The sculpt, where trims may follow it.
    pub sculpt: Option<&'a Sculpt>,
}

/// A surface with trims.
#[derive(Clone, Debug)]
pub struct Trimmed {
    /// The surface's own quads, then each trim's; a group for each trim.
    pub surface: QuadMesh,
    /// How each trim came out.
    pub findings: Findings,
    woven: weave::Woven,
    asked: Vec<Placed>,
    plane: Option<Plane>,
    /// Quads of the surface without trims.
    own: u32,
    /// Whether trims could follow a sculpt.
    sculpted: bool,
}

impl Trimmed {
    /// Pairs of vertices of which the first goes where the second does: what lies behind the outer
    /// wall, and the edge, with that wall.
    pub fn tied(&self) -> Vec<[u32; 2]> {
        self.woven.tied()
    }

    /// What trims cover of the surface's inside: pairs of a vertex of the surface and the one that
    /// stands behind it where a trim's inner wall ends, and vertices with cloth behind them already.
    pub fn behind(&self) -> (Vec<[u32; 2]>, Vec<u32>) {
        self.woven.behind()
    }

    /// Vertices of end walls between the walls, with those on the outer and the inner wall and the
    /// share of the way.
    pub fn end_seams(&self) -> Vec<([u32; 3], f64)> {
        self.woven.end_seams()
    }

    /// Of each trim that says so, whether the edges between its walls and its rim are hard, and those
    /// edges.
    pub fn corners(&self) -> Vec<(bool, Vec<[u32; 2]>)> {
        let topology = self.surface.topology();
        let edges = |quads: &[u32]| -> BTreeSet<u32> {
            let corners = quads.iter().flat_map(|q| 4 * q..4 * q + 4);
            corners
                .map(|c| topology.edge_of_corner[c as usize])
                .collect()
        };
        let of = |(number, walls): &(usize, weave::Walls)| {
            let hard = self.asked[*number].trim.hard?;
            let rim = edges(&walls.rim);
            let both: Vec<u32> = walls.outer.iter().chain(&walls.inner).copied().collect();
            let mut shared: BTreeSet<u32> = rim.intersection(&edges(&both)).copied().collect();
            // Of cloth without an outer wall of its own, the rim begins at the surface.
            let own: Vec<u32> = (0..self.own).collect();
            shared.extend(rim.intersection(&edges(&own)));
            let ends = shared.into_iter().map(|e| topology.edges[e as usize]);
            Some((hard, ends.collect()))
        };
        self.woven.made.iter().filter_map(of).collect()
    }

    /// Quads that have no mirror image though the surface has a plane, rising: those of laps across
    /// it. A finding names them.
    pub fn unpaired(&self) -> &[u32] {
        &self.woven.unpaired
    }

    /// Thicknesses of the trims at openings, model units.
    pub fn thicknesses(&self) -> impl Iterator<Item = f64> {
        self.woven.edges().map(|laid| laid.thickness)
    }

    /// Positions with every trim's walls laid anew behind its outer wall, whose vertices are at
    /// `moved` as the surface's own are.
    pub fn relaid(&self, moved: &[DVec3]) -> Vec<DVec3> {
        self.woven.relaid(moved)
    }

    /// The same trims, measured anew, with vertices elsewhere.
    ///
    /// # Errors
    /// [`TrimError`] for positions that make no surface, or when cancelled.
    pub fn at(&self, positions: Vec<DVec3>, task: &Task) -> Result<Self, TrimError> {
        let mut moved = self.clone();
        moved.surface.positions = positions;
        moved.findings = moved.measured(task)?;
        Ok(moved)
    }

    fn measured(&self, task: &Task) -> Result<Findings, TrimError> {
        let measured = findings::Measured {
            surface: &self.surface,
            own: self.own,
            plane: self.plane,
            sculpted: self.sculpted,
            unpaired: &self.woven.unpaired,
        };
        findings::of(&measured, &self.asked, &self.woven, task)
    }
}

/// Weaves trims on a surface.
///
/// # Errors
/// [`TrimError`]: the first trim that can't be had as asked, by name, or cancelling.
pub fn run(input: &TrimInput<'_>, trims: &[Placed], task: &Task) -> Result<Trimmed, TrimError> {
    task.report("trims", 0.0)?;
    let woven = tries::all(input, trims, task)?;
    let mut trimmed = Trimmed {
        surface: woven.mesh.clone(),
        findings: Findings::default(),
        woven,
        asked: trims.to_vec(),
        plane: input.plane,
        own: input.surface.quads.len() as u32,
        sculpted: input.sculpt.is_some(),
    };
    trimmed.findings = trimmed.measured(task)?;
    task.report("trims", 1.0)?;
    Ok(trimmed)
}
