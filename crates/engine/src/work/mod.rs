//! From the half sculpt and its curves to the work surface.
//!
//! Lay each curve among the half sculpt's edges, cut away what lies beyond openings, reduce
//! to triangles of about a quarter of a quad with the curves held, and even them out. Everything after runs on this mesh, so its cost doesn't depend on the
//! sculpt's size.

mod boundary;
mod chains;
mod dense;
pub mod dump;
mod edit;
mod embed;
mod error;
mod grid;
mod light;
mod project;
mod rail;
mod reduce;
mod remesh;
mod trim;
mod validate;

#[cfg(test)]
mod tests;

use std::sync::Arc;

use base::{Finding, Findings, Level, Place, Task};

use crate::guides::GuideCurves;
use crate::model::{ChainSource, Plane, Sculpt, WorkSurface};
use crate::symmetry::Half;
use dense::Dense;
use remesh::Remesher;

pub use error::WorkError;
pub use light::LightHalf;

/// What the work surface should be like.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct WorkOptions {
    /// Target edge of the quads, model units.
    pub edge: f64,
    /// Edge of the work surface over that of the quads.
    pub ratio: f64,
}

/// Default of [`WorkOptions::ratio`]: three to four triangles' edges a quad's edge.
pub const DEFAULT_RATIO: f64 = 0.28;

impl WorkOptions {
    /// Options for quads of this edge, model units.
    pub fn for_edge(edge: f64) -> Self {
        Self {
            edge,
            ratio: DEFAULT_RATIO,
        }
    }
}

/// Rounds of evening out.
const ROUNDS: usize = 5;

/// Makes the work surface.
///
/// # Errors
/// [`WorkError`].
pub fn run(
    half: &Half,
    sculpt: &Sculpt,
    curves: &GuideCurves,
    options: &WorkOptions,
    task: &Task,
) -> Result<(WorkSurface, Findings), WorkError> {
    lay(&LightHalf::whole(half)?, sculpt, curves, options, task)?.finish(curves, task)
}

/// A half with the curves among its edges, and what lies beyond openings cut away.
pub struct Laid<'a> {
    dense: Dense<'a>,
    trimmed: trim::Trimmed,
    plane: Option<Plane>,
    under: Option<Arc<Sculpt>>,
}

impl Laid<'_> {
    /// Area that openings leave, square model units.
    pub fn area(&self) -> f64 {
        let mesh = &self.dense.mesh;
        let alive = (0..mesh.tri.len()).filter(|&t| mesh.alive(t));
        alive.map(|t| mesh.area_normal(t).length() / 2.0).sum()
    }

    /// Makes the work surface. `curves` are those that were laid.
    ///
    /// # Errors
    /// [`WorkError`].
    pub fn finish(
        self,
        curves: &GuideCurves,
        task: &Task,
    ) -> Result<(WorkSurface, Findings), WorkError> {
        finish_laid(self, curves, task)
    }
}

fn finish_laid(
    laid: Laid<'_>,
    curves: &GuideCurves,
    task: &Task,
) -> Result<(WorkSurface, Findings), WorkError> {
    let Laid {
        mut dense,
        trimmed,
        plane,
        under,
    } = laid;
    let (edge, sculpt) = (dense.edge, dense.sculpt);
    dense.pin_corners();
    task.report("work", 0.3)?;
    reduce::reduce(&mut dense.mesh, &dense.rails, 0.8 * edge, task)?;
    dense.snap_to_rails();
    task.report("work", 0.6)?;
    let ground = under.as_deref().unwrap_or(sculpt);
    let mut work = Remesher::new(dense.mesh, dense.rails, ground, plane, edge);
    for _ in 0..ROUNDS {
        work.set_sizes();
        work.unfold();
        work.round()?;
        task.checkpoint()?;
    }
    finish(&mut work, sculpt)?;
    let surface = WorkSurface {
        positions: work.mesh.pos.clone(),
        triangles: work.mesh.tri.clone(),
        chains: chains::chains(&work.mesh, &work.rails),
        edge,
    };
    surface.validate().map_err(WorkError::Broken)?;
    let mut findings = Findings::default();
    report(&work, &surface, curves, &trimmed, &mut findings);
    task.report("work", 1.0)?;
    Ok((surface, findings))
}

/// Lays curves among the edges of a half that was made light before, and cuts away what lies
/// beyond openings: the first part of [`run`].
///
/// # Errors
/// [`WorkError`].
pub fn lay<'a>(
    half: &LightHalf,
    sculpt: &'a Sculpt,
    curves: &GuideCurves,
    options: &WorkOptions,
    task: &Task,
) -> Result<Laid<'a>, WorkError> {
    let edge = options.edge * options.ratio;
    if !(edge.is_finite() && options.edge > 0.0 && options.ratio > 0.0) {
        return Err(WorkError::BadOptions {
            edge: options.edge,
            ratio: options.ratio,
        });
    }
    task.report("work", 0.0)?;
    let whole = || {
        let mut mesh = half.mesh.clone();
        let height = |p| half.plane.map(|plane| plane.height(p));
        let rails = boundary::tag(&mut mesh, height, curves, sculpt.mesh.diagonal());
        Dense::new(mesh, rails, sculpt, edge)
    };
    let mut dense = whole();
    match dense.split_long() {
        Err(WorkError::TooFine { .. }) => {
            dense = whole();
            dense.split_needles(task)?;
        }
        done => done?,
    }
    embed::embed(&mut dense, curves, task)?;
    let trimmed = trim::trim(&mut dense, curves)?;
    Ok(Laid {
        dense,
        trimmed,
        plane: half.plane,
        under: half.under.clone(),
    })
}

/// Room beside rails, better angles, nothing folded, and no gaps in the arrays.
fn finish<'a>(work: &mut Remesher<'a>, sculpt: &'a Sculpt) -> Result<(), WorkError> {
    for _ in 0..3 {
        let split = work.split_joining_edges()?;
        work.flip_to_delaunay();
        work.relax();
        if split == 0 {
            break;
        }
    }
    if work.settle_on(sculpt) {
        work.relax();
    }
    work.flip_to_delaunay();
    work.remove_slivers();
    work.compact();
    Ok(())
}

fn report(
    work: &Remesher<'_>,
    surface: &WorkSurface,
    curves: &GuideCurves,
    trimmed: &trim::Trimmed,
    findings: &mut Findings,
) {
    findings.push(Finding::new(
        "work-surface",
        Level::Note,
        format!("Work surface of {} triangles.", surface.triangles.len()),
    ));
    if trimmed.beyond > 0.0 {
        let percent = 100.0 * trimmed.beyond;
        let sentence = format!(
            "{percent:.1} % of the area lies beyond openings or in crumbs and was left out."
        );
        findings.push(
            Finding::new("beyond-openings", Level::Note, sentence).measured(trimmed.beyond, None),
        );
    }
    for (i, opening, gone) in &trimmed.cut {
        let name = &curves.names[*i];
        let sentence = format!(
            "{:.0} % of guide \"{name}\" lies beyond opening \"{opening}\" and isn't followed.",
            100.0 * gone
        );
        findings.push(
            Finding::new("guide-cut", Level::Warn, sentence)
                .measured(*gone, None)
                .at(Place::Guide { name: name.clone() }),
        );
    }
    if trimmed.crumbs > 0 {
        let sentence = format!(
            "{} loose parts smaller than two quads were left out.",
            trimmed.crumbs
        );
        findings.push(Finding::new("crumbs", Level::Note, sentence));
    }
    for (i, name) in curves.names.iter().enumerate() {
        if surface
            .chains
            .iter()
            .all(|c| c.source != ChainSource::Curve(i))
        {
            let sentence =
                format!("Guide \"{name}\" lies wholly beyond an opening and has no effect.");
            findings.push(
                Finding::new("guide-cut-away", Level::Warn, sentence)
                    .at(Place::Guide { name: name.clone() }),
            );
        }
    }
    let folded = work.folded();
    let finding = if folded.is_empty() {
        Finding::new(
            "work-folds",
            Level::Pass,
            "No triangle of the work surface is turned over.",
        )
    } else {
        let mut finding = Finding::new(
            "work-folds",
            Level::Warn,
            format!(
                "{} triangles of the work surface are turned over.",
                folded.len()
            ),
        );
        for &t in folded.iter().take(5) {
            let at = work.mesh.centre(t as usize);
            finding = finding.at(Place::Point { at: at.to_array() });
        }
        finding
    };
    findings.push(finding.measured(folded.len() as f64, Some(0.0)));
}
