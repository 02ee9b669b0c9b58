//! From the checked surface to the garment: what a job asks for once the surface stands.

use base::{Findings, Task};
use engine::check::{self, CheckError};
use engine::model::Sculpt;
use files::{JobSpec, TrimSpec};
use finish::trims::{self, Placed, Trim, TrimError, TrimInput, Trimmed};
use mesh::QuadMesh;
use thiserror::Error;

use super::checked::mirror;
use super::pipeline::{Outcome, Settings};

/// What is added to a surface.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Finish {
    /// Trims, in the job's order.
    pub trims: Vec<Trim>,
}

impl Finish {
    /// What a job asks for.
    pub fn of(spec: &JobSpec) -> Self {
        Self {
            trims: spec.trims.iter().map(trim).collect(),
        }
    }

    /// Whether nothing is asked for.
    pub fn is_empty(&self) -> bool {
        self.trims.is_empty()
    }
}

/// A surface with what was added.
#[derive(Clone, Debug)]
pub struct Finished {
    /// The plain surface's vertices and quads first, in their order, then those of each trim.
    pub surface: QuadMesh,
    /// Patch of each quad; each trim is one more.
    pub patch_of_quad: Vec<u32>,
    /// Trims, where there are any, as they were woven.
    pub trimmed: Option<Trimmed>,
}

impl Finished {
    /// What was found of what was added, as long as nothing moves it.
    pub fn findings(&self) -> Findings {
        let trimmed = self.trimmed.as_ref();
        trimmed.map(|t| t.findings.clone()).unwrap_or_default()
    }
}

/// Why what is asked for can't be added.
#[derive(Debug, Error)]
pub enum FinishError {
    /// The surface is damaged.
    #[error(transparent)]
    Check(#[from] CheckError),
    /// A trim.
    #[error(transparent)]
    Trim(#[from] TrimError),
}

/// Adds to a run's surface what is asked for.
///
/// # Errors
/// [`FinishError`]: the first thing that can't be had.
pub fn finished(
    outcome: &Outcome,
    sculpt: &Sculpt,
    settings: &Settings,
    finish: &Finish,
    task: &Task,
) -> Result<Finished, FinishError> {
    let mut finished = Finished {
        surface: outcome.surface.clone(),
        patch_of_quad: outcome.patch_of_quad.clone(),
        trimmed: None,
    };
    if finish.trims.is_empty() {
        return Ok(finished);
    }
    let placed = |trim: &Trim| {
        let guide = outcome.guides.iter().find(|g| g.name == trim.guide);
        let run = match guide {
            Some(guide) => check::run_along(&outcome.surface, guide)?,
            None => None,
        };
        let run = run.ok_or_else(|| TrimError::NoRun {
            trim: trim.name.clone(),
            guide: trim.guide.clone(),
        })?;
        Ok(Placed {
            trim: trim.clone(),
            run: run.vertices,
            closed: run.closed,
        })
    };
    let placed = finish.trims.iter().map(placed);
    let placed = placed.collect::<Result<Vec<Placed>, FinishError>>()?;
    let input = TrimInput {
        surface: &outcome.surface,
        plane: mirror(outcome, settings),
        sculpt: Some(sculpt),
    };
    let trimmed = trims::run(&input, &placed, task)?;
    let plain = outcome.surface.groups.len();
    let patches = outcome.patch_of_quad.iter().max().map_or(0, |p| p + 1);
    finished
        .patch_of_quad
        .resize(trimmed.surface.quads.len(), patches);
    for (group, patch) in trimmed.surface.groups.iter().skip(plain).zip(patches..) {
        for &quad in &group.quads {
            finished.patch_of_quad[quad as usize] = patch;
        }
    }
    finished.surface = trimmed.surface.clone();
    finished.trimmed = Some(trimmed);
    Ok(finished)
}

/// A trim as it is woven.
fn trim(spec: &TrimSpec) -> Trim {
    Trim {
        name: spec.name.clone(),
        kind: match spec.kind {
            files::TrimKind::Cuff => trims::TrimKind::Cuff,
            files::TrimKind::Collar => trims::TrimKind::Collar,
            files::TrimKind::Hem => trims::TrimKind::Hem,
        },
        guide: spec.guide.clone(),
        height: spec.height,
        thickness: spec.thickness,
        flare_deg: spec.flare,
        loops: spec.loops,
        edge: match spec.edge {
            files::TrimEdge::Flat => trims::Edge::Flat,
            files::TrimEdge::Rounded => trims::Edge::Rounded,
        },
        front: match spec.front {
            files::TrimFront::Closed => trims::Front::Closed,
            files::TrimFront::Gap => trims::Front::Gap {
                width: spec.front_width,
                at: spec.front_at,
            },
        },
        direction: match spec.direction {
            files::TrimDirection::Axis => trims::Direction::Axis,
            files::TrimDirection::Surface => trims::Direction::Surface,
            files::TrimDirection::Fixed(way) => trims::Direction::Fixed(way),
        },
        side: match spec.side {
            files::TrimSide::Beyond => trims::Side::Beyond,
            files::TrimSide::Within => trims::Side::Within,
        },
        follow: spec.follow,
    }
}
