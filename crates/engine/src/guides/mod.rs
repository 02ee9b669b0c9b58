//! From drawn guides to curves on the sculpt, in the half that is computed.
//!
//! Drawn points are snapped to the sculpt, stretches between them are filled so that
//! points lie about an eighth of a quad apart, drawing jitter is smoothed away. A guide
//! close to the sculpt's boundary becomes that boundary. Where guides share a stretch, that stretch
//! is one curve for both. With a mirror plane, guides behind it are
//! mirrored to the front, the two drawings of one thing become one curve, and what crosses
//! the plane is cut on it.

mod aims;
mod ends;
mod error;
mod halve;
mod held;
mod rim;
mod shared;
mod snap;

#[cfg(test)]
mod tests;

use std::collections::BTreeSet;

use base::{Finding, Findings, Level, Place, Task};
use mesh::{DVec3, Polyline};

use crate::hold::{Held, Run};
use crate::model::{Curve, CurveEnd, Guide, GuideKind, Plane, Sculpt, Share};

pub use error::GuideError;
pub use rim::Rims;

/// What curves should be like.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct GuideOptions {
    /// Target edge of the quads, model units; distances below are shares of it.
    pub edge: f64,
    /// Whether each side of a held region's rim has its own count, or only all of them together,
    /// which is kept more easily.
    pub rim_corners: bool,
}

impl GuideOptions {
    /// Options for quads of this edge length (model units).
    pub fn for_edge(edge: f64) -> Self {
        Self {
            edge,
            rim_corners: true,
        }
    }
}

/// The curves of a job in the half that is computed.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct GuideCurves {
    /// Curves, in the order of the first guide that each stands for.
    pub curves: Vec<Curve>,
    /// For each curve: whether it is a piece of the sculpt's own boundary, point by point.
    pub on_boundary: Vec<bool>,
    /// For each curve: what messages call it (the names of its guides).
    pub names: Vec<String>,
    /// Guides that lie on the mirror plane: the centre line stands for them.
    pub on_plane: Vec<usize>,
    /// Curves that are runs of held quads' rims, by index, with the run.
    pub held: Vec<(usize, Run)>,
}

/// A guide on the way to being a curve.
#[derive(Clone, Debug)]
struct Drawn {
    guides: Vec<usize>,
    kind: GuideKind,
    count: Option<u32>,
    /// Counts that it keeps together with other pieces.
    shares: Vec<Share>,
    line: Polyline,
    ends: [CurveEnd; 2],
    rim: bool,
    /// Whether it was drawn behind the plane.
    mirrored: bool,
    /// Whether held quads have a part of it.
    partly_held: bool,
}

/// What guides are laid on.
struct Ground<'a> {
    sculpt: &'a Sculpt,
    /// The sculpt's boundary loops.
    rims: &'a Rims,
    /// Target edge of the quads, model units.
    edge: f64,
    /// The sculpt's diagonal, model units.
    diagonal: f64,
    router: snap::Router,
}

impl Ground<'_> {
    /// Wanted distance between points of a curve, model units.
    fn spacing(&self) -> f64 {
        self.edge / DENSITY
    }
}

/// Points along a curve per target edge.
const DENSITY: f64 = 8.0;

/// Least length of a closed guide in target edges: four quads around, each of three quarters of
/// the length.
const CLOSED_LEAST: f64 = 3.0;

/// Makes curves of guides.
///
/// # Errors
/// [`GuideError`], with the guide's name and what to do.
pub fn run(
    guides: &[Guide],
    sculpt: &Sculpt,
    plane: Option<Plane>,
    options: &GuideOptions,
    task: &Task,
) -> Result<(GuideCurves, Findings), GuideError> {
    run_beside(
        &Rims::of(sculpt),
        None,
        guides,
        sculpt,
        plane,
        options,
        task,
    )
}

/// As [`run`], with the sculpt's rims found before, and against held quads. The last of `guides` are
/// then [`stand_ins`] for the holds.
///
/// # Errors
/// As [`run`].
pub fn run_beside(
    rims: &Rims,
    held: Option<&Held>,
    guides: &[Guide],
    sculpt: &Sculpt,
    plane: Option<Plane>,
    options: &GuideOptions,
    task: &Task,
) -> Result<(GuideCurves, Findings), GuideError> {
    let edge = options.edge;
    if !(edge.is_finite() && edge > 0.0) {
        return Err(GuideError::BadEdge { edge });
    }
    let mut findings = Findings::default();
    let mut ground = Ground {
        sculpt,
        rims,
        edge,
        diagonal: sculpt.mesh.diagonal(),
        router: snap::Router::default(),
    };
    let mut out = GuideCurves::default();
    let mut drawn: Vec<Drawn> = Vec::new();
    let of_job = guides.iter().filter(|g| g.kind != GuideKind::Hold).count();
    for (i, guide) in guides.iter().enumerate().take(of_job) {
        task.report("guides", i as f32 / guides.len() as f32)?;
        let (line, rim) = trace(guide, &mut ground)?;
        if let Some(plane) = &plane
            && line
                .points
                .iter()
                .all(|&p| plane.height(p).abs() <= 0.3 * edge)
        {
            out.on_plane.push(i);
            findings.push(centre_line(guide));
            continue;
        }
        let whole = Drawn {
            guides: vec![i],
            kind: guide.kind,
            count: guide.count,
            shares: Vec::new(),
            line,
            ends: [CurveEnd::Free; 2],
            rim,
            mirrored: false,
            partly_held: false,
        };
        match &plane {
            None => drawn.push(whole),
            Some(plane) => drawn.extend(halve::halve(whole, guide, plane, &mut ground)?),
        }
    }
    halve::merge(&mut drawn, guides, edge, &mut findings)?;
    let mut landings = BTreeSet::new();
    if let Some(held) = held {
        landings = held::part(&mut drawn, guides, held, plane.as_ref(), &ground)?;
    }
    shared::part(&mut drawn, guides, &ground)?;
    if let Some(held) = held {
        let runs = held.runs(&landings, options.rim_corners);
        let rims = held::rims(&runs, of_job, held, plane.as_ref(), &ground)?;
        // Laid first, so that guides end on them.
        drawn.splice(0..0, rims);
        out.held = runs.into_iter().enumerate().collect();
    }
    ends::snap_ends(
        &mut drawn,
        guides,
        plane.as_ref(),
        sculpt,
        edge,
        &mut findings,
    );
    for one in drawn {
        out.names.push(name_of(&one.guides, guides));
        out.on_boundary.push(one.rim);
        let aims = aims::aims(&one, guides, plane.as_ref(), &ground);
        out.curves.push(Curve {
            guides: one.guides,
            kind: one.kind,
            closed: one.line.closed,
            ends: one.ends,
            count: one.count,
            shares: one.shares,
            side: None,
            partly_held: one.partly_held,
            points: one.line.points,
            aims,
        });
    }
    if options.rim_corners {
        for (curve, run) in &out.held {
            if let Some(curve) = out.curves.get_mut(*curve) {
                curve.side = Some(run.quarters);
            }
        }
    }
    task.report("guides", 1.0)?;
    Ok((out, findings))
}

/// The whole guide on the sculpt, and whether it is the sculpt's boundary.
fn trace(guide: &Guide, ground: &mut Ground<'_>) -> Result<(Polyline, bool), GuideError> {
    let (sculpt, edge) = (ground.sculpt, ground.edge);
    let least = if guide.closed { 3 } else { 2 };
    if guide.points.len() < least {
        return Err(GuideError::TooFewPoints {
            guide: guide.name.clone(),
            least,
            got: guide.points.len(),
        });
    }
    if guide
        .count
        .is_some_and(|n| n < if guide.closed { 3 } else { 1 })
    {
        return Err(GuideError::CountTooSmall {
            guide: guide.name.clone(),
            count: guide.count.unwrap_or(0),
        });
    }
    let snapped = snap::snap(guide, ground)?;
    if guide.kind == GuideKind::Opening && guide.closed {
        let drawn: Vec<DVec3> = snapped.iter().map(|s| s.point).collect();
        if let Some(loop_around) = rim::around(&drawn, ground.rims, edge) {
            return Ok((loop_around, true));
        }
    }
    let way = snap::fill(&snapped, guide.closed, ground);
    let line = snap::line_of(&way, guide.closed);
    let least = edge * if guide.closed { CLOSED_LEAST } else { 1.0 };
    if line.length() < least {
        return Err(GuideError::TooShort {
            guide: guide.name.clone(),
            length: line.length(),
            edge,
            least,
        });
    }
    if let Some(along) = rim::along(&line, guide.kind, ground.rims, edge) {
        return Ok((along, true));
    }
    Ok((snap::smooth(&way, guide.closed, sculpt, edge), false))
}

/// A guide for each hold, by which the curves of its rim are known.
pub fn stand_ins(held: &Held) -> Vec<Guide> {
    let stand_in = |name: &String| Guide {
        name: format!("rim of hold {name}"),
        kind: GuideKind::Hold,
        closed: false,
        count: None,
        points: Vec::new(),
    };
    held.names.iter().map(stand_in).collect()
}

fn centre_line(guide: &Guide) -> Finding {
    let at = guide.points.first().copied().unwrap_or(DVec3::ZERO);
    Finding::new(
        "guide-on-plane",
        Level::Note,
        format!(
            "Guide \"{}\" lies on the mirror plane: the centre line stands for it.",
            guide.name
        ),
    )
    .at(Place::Guide {
        name: guide.name.clone(),
    })
    .at(Place::Point { at: at.to_array() })
}

/// Names of guides joined for a message.
fn name_of(of: &[usize], guides: &[Guide]) -> String {
    let names: Vec<&str> = of
        .iter()
        .filter_map(|&g| guides.get(g))
        .map(|g| g.name.as_str())
        .collect();
    names.join("\" and \"")
}
