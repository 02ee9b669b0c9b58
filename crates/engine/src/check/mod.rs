//! From a finished surface to measures and findings.
//!
//! Takes the surface, the sculpt and the guides alone: nothing that an earlier stage
//! says about them is believed. Every measure is deterministic; samples are the same
//! points each time.
//!
//! ```text
//! surface ─▶ elements, poles ─▶ rings ─▶ strips, guides ─▶ mirror ─▶ fit both ways
//!         ─▶ sizes, shapes ─▶ cuts ─▶ (yardstick) ─▶ findings
//! ```

mod along;
mod bare;
mod cuts;
mod elements;
mod error;
mod faults;
mod findings;
mod fit;
mod guides;
mod held;
mod intent;
mod limits;
mod measures;
mod mirror;
mod rings;
mod sampling;
mod shape;
mod slant;
mod space;
mod strips;
mod surface;
mod table;
#[cfg(test)]
mod tests;
mod tree;
mod yardstick;

use base::{Findings, Task};
use mesh::QuadMesh;

use crate::model::{Guide, Hold, Intent, Plane, Sculpt};
pub use along::{GuideRun, run_along};
pub use error::CheckError;
pub use faults::{Faults, faults};
use guides::{Following, Track};
pub use measures::{
    AreaMeasures, Counts, FitMeasures, GuideMeasures, KeepOutMeasures, LoopMeasures, Measures,
    MirrorMeasures, PinMeasures, PoleMeasures, ReverseMeasures, ShapeMeasures, SizeMeasures,
    StripMeasures, YardstickMeasures,
};
use rings::Cycle;
use surface::Surface;
pub use table::MeasureTable;

/// What is to be checked.
#[derive(Clone, Copy, Debug)]
pub struct CheckInput<'a> {
    /// The finished surface.
    pub surface: &'a QuadMesh,
    /// The sculpt that it was laid over.
    pub sculpt: &'a Sculpt,
    /// The guides as drawn, both sides of a mirrored job.
    pub guides: &'a [Guide],
    /// The mirror plane, if the surface is to be symmetric.
    pub plane: Option<Plane>,
    /// What was asked for beside guides and their counts.
    pub intent: &'a Intent,
    /// Quads that are to be there bit for bit.
    pub holds: &'a [Hold],
    /// Faces asked for.
    pub target_faces: Option<u32>,
    /// Whether to decimate the sculpt and hold the fit against that: seconds on a large sculpt.
    pub yardstick: bool,
}

/// Points at which distances are measured, each way.
const SAMPLES: usize = 50_000;

/// Measures a surface and says how it came out. Cost: some 0.2 s for 2,000 faces.
///
/// # Errors
/// [`CheckError`] for an empty or damaged surface, a guide that is no curve, or cancelling.
/// A poor surface is no error: it gets findings that fail.
pub fn run(input: &CheckInput, task: &Task) -> Result<(Measures, Findings), CheckError> {
    task.report("check", 0.0)?;
    let surface = Surface::new(input.surface)?;
    let elements = elements::measure(&surface);
    let tracks = input
        .guides
        .iter()
        .map(|g| Track::new(g, surface.mean_edge));
    let tracks = tracks.collect::<Result<Vec<Track>, _>>()?;
    let find_cycle = |t: &Track| {
        if t.is_cycle() {
            rings::find(t, &surface)
        } else {
            None
        }
    };
    let cycles: Vec<Option<Cycle>> = tracks.iter().map(find_cycle).collect();
    task.report("check", 0.2)?;
    let closed = tracks.iter().zip(&cycles).filter(|(t, _)| t.is_cycle());
    let rings: Vec<(&Track, Option<&Cycle>)> = closed.map(|(t, c)| (t, c.as_ref())).collect();
    let strips = strips::measure(&surface, &rings, &tracks);
    let following: Vec<Following> = tracks.iter().map(|t| guides::follow(t, &surface)).collect();
    let followed = tracks.iter().zip(&cycles).zip(&following);
    let followed =
        followed.map(|((t, c), f)| measure_guide(t, c.as_ref(), f, &surface, input.sculpt));
    let followed: Vec<GuideMeasures> = followed.collect();
    let mirror = input
        .plane
        .as_ref()
        .map(|plane| mirror::measure(&surface, plane));
    let met = intent::measure(input, &surface, &tracks, &cycles);
    task.report("check", 0.4)?;
    let forward = fit::forward(&surface, input.sculpt, SAMPLES)?;
    let cover = fit::Cover::new(&surface);
    let rows = fit::reverse(&cover, input.sculpt, SAMPLES);
    let bare = bare::find(&cover, input.sculpt, &rows);
    task.report("check", 0.8)?;
    let shapes = shape::shapes(&surface);
    let cuts = cuts::pairs(&surface);
    let yardstick = if input.yardstick {
        yardstick::measure(&surface, &cover, input.sculpt, &rows, task)?
    } else {
        None
    };
    let measures = Measures {
        counts: elements.counts.clone(),
        poles: elements.poles.clone(),
        strips: strips.measures.clone(),
        guides: followed,
        mirror: mirror.as_ref().map(|m| m.measures.clone()),
        fit: forward,
        reverse: fit::sum_up(&rows, input.sculpt),
        size: shape::sizes(&surface, input.target_faces),
        shape: shapes.measures.clone(),
        self_intersections: cuts.len(),
        loops: met.loops.clone(),
        areas: met.areas.clone(),
        pins: met.pins.clone(),
        keep_outs: met.keep_outs.clone(),
        yardstick,
    };
    let spots = findings::Spots {
        elements: &elements,
        strips: &strips.at_fault,
        drawn: &strips.drawn,
        mirror: mirror.as_ref().map_or(&[], |m| &m.faces),
        jacobians: &shapes.jacobians,
        cuts: &cuts,
        cycles: &cycles,
        following: &following,
        met: &met,
        bare: bare.as_ref(),
        kept: &held::measure(input),
    };
    let findings = findings::list(input, &surface, &measures, &spots);
    task.report("check", 1.0)?;
    Ok((measures, findings))
}

/// Pairs of quads that pass through each other, by two triangles each.
///
/// # Errors
/// [`CheckError`] for an empty or damaged surface.
pub fn crossings(surface: &QuadMesh) -> Result<Vec<[u32; 2]>, CheckError> {
    Ok(crossing_quads(&Surface::new(surface)?))
}

fn crossing_quads(surface: &Surface) -> Vec<[u32; 2]> {
    let pairs = cuts::pairs(surface).into_iter();
    pairs.map(|pair| pair.map(|t| t / 2)).collect()
}

/// What holds of any surface, whatever it was laid over.
#[derive(Clone, Debug)]
pub struct Soundness {
    /// Elements and defects.
    pub counts: Counts,
    /// How exact the mirror image is, if there is to be one.
    pub mirror: Option<MirrorMeasures>,
    /// Pairs of quads that pass through each other.
    pub crossings: Vec<[u32; 2]>,
}

/// Measures what holds of any surface.
///
/// # Errors
/// [`CheckError`] for an empty or damaged surface.
pub fn soundness(mesh: &QuadMesh, plane: Option<Plane>) -> Result<Soundness, CheckError> {
    let surface = Surface::new(mesh)?;
    Ok(Soundness {
        counts: elements::measure(&surface).counts,
        mirror: plane.map(|plane| mirror::measure(&surface, &plane).measures),
        crossings: crossing_quads(&surface),
    })
}

fn measure_guide(
    track: &Track,
    cycle: Option<&Cycle>,
    following: &Following,
    surface: &Surface,
    sculpt: &Sculpt,
) -> GuideMeasures {
    let on_boundary = if track.guide.closed {
        cycle.is_some_and(|c| {
            let faces = c
                .edges
                .iter()
                .map(|&e| surface.topology.face_count[e as usize]);
            faces.into_iter().all(|n| n == 1)
        })
    } else {
        let rim = surface.some_edges(surface.boundary_edges());
        track.is_covered(&rim, rings::BANDS[0] * surface.mean_edge)
    };
    GuideMeasures {
        name: track.guide.name.clone(),
        distance_p95: following.distance_p95,
        angle_p95_deg: following.angle_p95_deg,
        count: track.guide.count,
        cycle_length: cycle.map(|c| c.edges.len()),
        on_boundary,
        poles: cycle.map_or(0, |c| poles_on(c, surface).count()),
        slant_deg: slant::of(track, sculpt),
    }
}

fn poles_on<'a>(cycle: &'a Cycle, surface: &'a Surface) -> impl Iterator<Item = u32> + 'a {
    let vertices = cycle.vertices.iter().copied();
    vertices.filter(|&v| surface.is_inner_pole(v as usize))
}
