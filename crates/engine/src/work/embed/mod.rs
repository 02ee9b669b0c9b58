//! Laying curves among the edges of the mesh.
//!
//! One curve after another: nodes where it meets what was laid before, then shortest
//! paths along edges that hug it ([`path`]), then the paths' edges become pieces of it
//! ([`place`]). Nodes come first, so curves that cross share a vertex there and nothing
//! else; and a path never uses a vertex of another curve, so it can't change sides.

mod meet;
mod nodes;
mod path;
mod place;

use base::Task;
use mesh::DVec3;

use super::dense::Dense;
use super::error::WorkError;
use super::grid::Grid;
use super::rail::Rail;
use crate::guides::GuideCurves;
use crate::model::ChainSource;

use path::{Care, Course, Scratch};

/// A vertex that a curve must pass, and where on the curve.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Stop {
    /// Arc length on the curve's rail, model units.
    pub param: f64,
    /// The vertex.
    pub vertex: u32,
}

/// Lays every curve that isn't part of the boundary already.
pub(super) fn embed(
    work: &mut Dense<'_>,
    curves: &GuideCurves,
    task: &Task,
) -> Result<(), WorkError> {
    let mut grid = Grid::of(&work.mesh, work.edge, |_| true);
    let mut scratch = Scratch::default();
    for (i, curve) in curves.curves.iter().enumerate() {
        if curves.on_boundary.get(i).copied().unwrap_or(false) {
            continue;
        }
        task.checkpoint()?;
        let Some(rail) = Rail::new(ChainSource::Curve(i), curve.closed, &curve.points) else {
            continue;
        };
        let id = work.rails.len() as u32;
        work.rails.push(rail);
        lay(work, id, curves, &mut grid, &mut scratch)?;
    }
    Ok(())
}

/// Lays one curve; where it finds no way the mesh is refined, and after that the curve may
/// be left a little.
fn lay(
    work: &mut Dense<'_>,
    rail: u32,
    curves: &GuideCurves,
    grid: &mut Grid,
    scratch: &mut Scratch,
) -> Result<(), WorkError> {
    let stops = nodes::stops(work, rail, grid)?;
    let mut obstacle = None;
    for care in [Care::Strict, Care::Strict, Care::Lenient, Care::Lenient] {
        match path::course(work, rail, &stops, grid, care, scratch) {
            Ok(course) => {
                place::place(work, rail, &course);
                return Ok(());
            }
            Err(lost) => {
                path::refine(work, rail, &lost)?;
                *grid = Grid::of(&work.mesh, work.edge, |_| true);
                obstacle = Some(lost);
            }
        }
    }
    let lost = obstacle.unwrap_or_default();
    Err(WorkError::NoWay {
        guide: name_of(work, rail, curves),
        other: other_near(work, rail, lost.at).map(|r| name_of(work, r, curves)),
        at: lost.at.to_array(),
    })
}

/// What a rail is called in messages.
pub(super) fn name_of(work: &Dense<'_>, rail: u32, curves: &GuideCurves) -> String {
    match work.rails[rail as usize].source {
        ChainSource::Curve(i) => curves.names.get(i).cloned().unwrap_or_default(),
        ChainSource::Plane => "the mirror plane".to_owned(),
        ChainSource::Boundary => "the sculpt's boundary".to_owned(),
    }
}

/// The laid rail that is nearest to a point, other than `rail`.
fn other_near(work: &Dense<'_>, rail: u32, at: DVec3) -> Option<u32> {
    let mut best = None;
    for segment in work
        .mesh
        .segments
        .iter()
        .filter(|s| s.rail != super::edit::NONE && s.rail != rail)
    {
        let distance = work.mesh.pos[segment.ends[0] as usize].distance(at);
        if distance < 2.0 * work.edge && best.is_none_or(|(least, _)| distance < least) {
            best = Some((distance, segment.rail));
        }
    }
    best.map(|(_, rail)| rail)
}

impl Course {
    /// Number of edges.
    pub fn edges(&self, closed: bool) -> usize {
        if closed {
            self.vertices.len()
        } else {
            self.vertices.len() - 1
        }
    }
}
