//! From a sculpt to the part of it that is computed: one side of the mirror plane,
//! cut exactly on it.
//!
//! The plane is given, found (`find`) or absent. Triangles that cross it are parted;
//! vertices nearer than the plane tolerance are moved onto it, so that no sliver comes
//! of a sculpt whose centre line is almost on the plane. Cost: linear, plus a few
//! thousand closest-point questions.

mod boundary;
mod cut;
mod find;
mod samples;

#[cfg(test)]
pub(crate) mod fixtures;
#[cfg(test)]
mod tests;

use base::{Cancelled, Finding, Findings, Level, Place, Task, Tolerances};
use mesh::{DVec3, TriMesh};
use thiserror::Error;

use crate::model::{Plane, Sculpt};

pub(crate) use boundary::{boundary_edges, boundary_loops};

/// Where the mirror plane comes from.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub enum PlaneChoice {
    /// The sculpt is computed whole.
    #[default]
    None,
    /// The artist names it. The normal needn't have unit length.
    Given(Plane),
    /// Look for it.
    Find,
}

/// The part of the sculpt that is computed.
#[derive(Clone, Debug)]
pub struct Half {
    /// Triangles with no corner below the plane; the whole sculpt if there is no plane.
    pub mesh: TriMesh,
    /// For each vertex of `mesh`: whether it is on the boundary that the plane cut, or on
    /// a boundary that already lay on the plane.
    pub on_plane: Vec<bool>,
    /// The plane, its normal towards `mesh`.
    pub plane: Option<Plane>,
}

/// Why no half can be given.
#[derive(Clone, Debug, PartialEq, Error)]
pub enum SymmetryError {
    /// The sculpt has no triangles.
    #[error(
        "the sculpt has no triangles, so there is nothing to mirror; choose another part or file"
    )]
    Empty,
    /// The plane's normal has no direction, or a number of it isn't finite.
    #[error("the mirror plane's origin and normal must be finite, and the normal not zero")]
    BadPlane,
    /// Nothing lies on the side that is computed.
    #[error(
        "the whole sculpt lies behind the mirror plane (highest point {highest:.4} over it); turn the plane's normal round or move its origin"
    )]
    NothingInFront {
        /// Greatest signed height of a vertex, model units.
        highest: f64,
    },
    /// No plane mirrors the sculpt well enough.
    #[error(
        "no mirror plane found: the best candidate leaves mirrored points {residual:.4} off the sculpt (95th percentile; at most {limit:.4} would do); give the plane, or choose no symmetry"
    )]
    NoPlane {
        /// 95th percentile of the mirrored points' distances, model units.
        residual: f64,
        /// Greatest that is accepted, model units.
        limit: f64,
    },
    /// Stopped from outside.
    #[error(transparent)]
    Cancelled(#[from] Cancelled),
}

/// A sculpt further than this share of its diagonal from its mirror image gets a warning.
const NOTABLE_ASYMMETRY: f64 = 0.01;

/// Finds or takes the plane and cuts the sculpt on it.
///
/// # Errors
/// [`SymmetryError`].
pub fn run(
    sculpt: &Sculpt,
    choice: PlaneChoice,
    task: &Task,
) -> Result<(Half, Findings), SymmetryError> {
    let mut findings = Findings::default();
    if sculpt.mesh.triangles.is_empty() {
        return Err(SymmetryError::Empty);
    }
    task.report("symmetry", 0.0)?;
    let plane = match choice {
        PlaneChoice::None => {
            let mesh = sculpt.mesh.as_ref().clone();
            let on_plane = vec![false; mesh.positions.len()];
            return Ok((
                Half {
                    mesh,
                    on_plane,
                    plane: None,
                },
                findings,
            ));
        }
        PlaneChoice::Given(plane) => unit(plane)?,
        PlaneChoice::Find => {
            let plane = find::find(sculpt, task)?;
            findings.push(found(&plane));
            plane
        }
    };
    task.report("symmetry", 0.5)?;
    findings.push(asymmetry(sculpt, &plane));
    if let Some(unlike) = unlike_rims(sculpt, &plane) {
        findings.push(unlike);
    }
    let tolerance = Tolerances::of_diagonal(sculpt.mesh.diagonal()).plane;
    let half = cut::cut(&sculpt.mesh, plane, tolerance)?;
    task.report("symmetry", 1.0)?;
    Ok((half, findings))
}

/// The plane with a unit normal, exact for a coordinate axis.
fn unit(plane: Plane) -> Result<Plane, SymmetryError> {
    let length = plane.normal.length();
    if !plane.origin.is_finite() || !length.is_finite() || length <= 0.0 {
        return Err(SymmetryError::BadPlane);
    }
    Ok(Plane {
        origin: plane.origin,
        normal: plane.normal / length,
    })
}

fn found(plane: &Plane) -> Finding {
    let (n, o) = (plane.normal, plane.origin);
    Finding::new(
        "mirror-plane-found",
        Level::Note,
        format!(
            "Mirror plane found: normal ({:.4}, {:.4}, {:.4}) through ({:.4}, {:.4}, {:.4}).",
            n.x, n.y, n.z, o.x, o.y, o.z
        ),
    )
    .at(Place::Point { at: o.to_array() })
}

/// How far the sculpt is from its own mirror image.
fn asymmetry(sculpt: &Sculpt, plane: &Plane) -> Finding {
    let diagonal = sculpt.mesh.diagonal();
    let points = samples::spread(&sculpt.mesh, 2000);
    let off = find::residuals(sculpt, plane, &points);
    let limit = NOTABLE_ASYMMETRY * diagonal;
    let value = samples::percentile(&off, 0.95);
    let worst = off.iter().enumerate().max_by(|a, b| a.1.total_cmp(b.1));
    let place = worst.map_or(plane.origin, |(i, _)| {
        points.get(i).copied().unwrap_or(DVec3::ZERO)
    });
    let level = if value > limit {
        Level::Warn
    } else {
        Level::Pass
    };
    let sentence = if value > limit {
        "The sculpt is not a mirror image of itself; the side behind the plane will differ from its sculpt."
    } else {
        "The sculpt is close to its own mirror image."
    };
    Finding::new("sculpt-symmetry", level, sentence)
        .measured(value, Some(limit))
        .at(Place::Point {
            at: place.to_array(),
        })
}

/// Boundary loops that only one side of the plane has: both sides of the surface get those of the
/// side that is computed.
fn unlike_rims(sculpt: &Sculpt, plane: &Plane) -> Option<Finding> {
    // Loops of each side, and the middle of the last one.
    let mut sides = [(0usize, DVec3::ZERO); 2];
    for rim in boundary::boundary_loops(&sculpt.mesh) {
        let points = rim
            .iter()
            .map(|&v| sculpt.mesh.positions[v as usize].as_dvec3());
        let behind = points.clone().filter(|&p| plane.height(p) < 0.0).count();
        if behind != 0 && behind != rim.len() {
            continue;
        }
        let side = &mut sides[usize::from(behind > 0)];
        *side = (side.0 + 1, points.sum::<DVec3>() / rim.len() as f64);
    }
    let [front, back] = sides;
    if front.0 == back.0 {
        return None;
    }
    let more = if front.0 > back.0 { front.1 } else { back.1 };
    let sentence = format!(
        "The sculpt has {} before the mirror plane and {} behind it; both sides of the surface get those before it.",
        openings(front.0),
        openings(back.0)
    );
    let finding = Finding::new("unlike-openings", Level::Warn, sentence);
    Some(finding.at(Place::Point {
        at: more.to_array(),
    }))
}

fn openings(count: usize) -> String {
    match count {
        0 => "no opening".to_owned(),
        1 => "one opening".to_owned(),
        n => format!("{n} openings"),
    }
}
