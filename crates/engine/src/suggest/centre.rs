//! Centre lines: where the sculpt is its own mirror image, but the job names no plane.

use base::Task;
use mesh::{DVec3, runs};

use super::SuggestError;
use super::cut;
use super::ground::Ground;
use crate::model::Plane;
use crate::symmetry::{self, PlaneChoice, SymmetryError};

/// A centre line as it could be drawn.
#[derive(Clone, Debug)]
pub(super) struct CentreLine {
    /// Points on the sculpt, model units.
    pub points: Vec<DVec3>,
    pub closed: bool,
}

/// The plane about which the sculpt is its own mirror image, if there is one.
pub(super) fn find(ground: &Ground<'_>, task: &Task) -> Result<Option<Plane>, SuggestError> {
    match symmetry::run(ground.sculpt, PlaneChoice::Find, task) {
        Ok((half, _)) => Ok(half.plane),
        Err(SymmetryError::Cancelled(cancelled)) => Err(cancelled.into()),
        Err(_) => Ok(None),
    }
}

/// The lines in which a plane cuts the sculpt, longest first.
pub(super) fn lines(ground: &Ground<'_>, plane: &Plane) -> Vec<CentreLine> {
    let mut all: Vec<CentreLine> = cut::section(ground, plane.origin, plane.normal)
        .into_iter()
        .map(|run| {
            let mut points = runs::even(&run.points, run.closed, 0.5 * ground.edge);
            runs::smooth(&mut points, run.closed, 1);
            CentreLine {
                points: ground.onto_sculpt(&points),
                closed: run.closed,
            }
        })
        .collect();
    all.sort_by(|a, b| {
        let long = |l: &CentreLine| runs::length(&l.points, l.closed);
        long(b).total_cmp(&long(a))
    });
    all
}
