//! From the checked surface to the garment: what a job asks for once the surface stands.

use base::{Findings, Task};
use engine::check::{self, CheckError};
use engine::model::Sculpt;
use files::{JobSpec, TrimSpec};
use finish::edges::{self, Asked, Hard};
use finish::lining::{self, Lined, LiningError};
use finish::trims::{self, Placed, Trim, TrimError, TrimInput, Trimmed};
use mesh::{DVec3, QuadMesh};
use thiserror::Error;

use super::checked::mirror;
use super::pipeline::{Outcome, Settings};

/// What is added to a surface.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Finish {
    /// Trims, in the job's order.
    pub trims: Vec<Trim>,
    /// Thickness of a lining, model units.
    pub lining: Option<f64>,
}

impl Finish {
    /// What a job asks for.
    pub fn of(spec: &JobSpec) -> Self {
        Self {
            trims: spec.trims.iter().map(trim).collect(),
            lining: spec.lining.map(|lining| lining.thickness),
        }
    }

    /// Whether nothing is asked for.
    pub fn is_empty(&self) -> bool {
        self.trims.is_empty() && self.lining.is_none()
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
    /// The lining, if there is one.
    pub lined: Option<Lined>,
}

impl Finished {
    /// What was found of what was added, as long as nothing moves it.
    pub fn findings(&self) -> Findings {
        let mut findings = Findings::default();
        let trims = self.trimmed.iter().map(|t| &t.findings);
        for more in trims.chain(self.lined.iter().map(|l| &l.findings)) {
            findings.append(more.clone());
        }
        findings
    }

    /// Pairs of vertices of which the first goes where the second does.
    pub fn tied(&self) -> Vec<[u32; 2]> {
        let trims = self.trimmed.iter().flat_map(Trimmed::tied);
        trims
            .chain(self.lined.iter().flat_map(Lined::tied))
            .collect()
    }

    /// Positions with what was added laid anew behind a surface that has moved.
    pub fn relaid(&self, moved: &[DVec3]) -> Vec<DVec3> {
        let trims = self.trimmed.as_ref();
        let mut positions = trims.map_or_else(|| moved.to_vec(), |t| t.relaid(moved));
        if let Some(lined) = &self.lined {
            positions = lined.relaid(&positions);
        }
        positions
    }

    /// What is found of what was added once vertices are elsewhere.
    ///
    /// # Errors
    /// [`FinishError`].
    pub fn findings_at(&self, positions: &[DVec3], task: &Task) -> Result<Findings, FinishError> {
        let mut findings = Findings::default();
        if let Some(trimmed) = &self.trimmed {
            let own = trimmed.surface.positions.len();
            findings.append(trimmed.at(positions[..own].to_vec(), task)?.findings);
        }
        if let Some(lined) = &self.lined {
            findings.append(lined.at(positions.to_vec())?.findings);
        }
        Ok(findings)
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
    /// The lining.
    #[error(transparent)]
    Lining(#[from] LiningError),
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
        lined: None,
    };
    if !finish.trims.is_empty() {
        let trimmed = trimmed(outcome, sculpt, settings, finish, task)?;
        finished.surface = trimmed.surface.clone();
        finished.trimmed = Some(trimmed);
    }
    if let Some(thickness) = finish.lining {
        let trimmed = finished.trimmed.as_ref();
        let plane = mirror(outcome, settings);
        let lined = lining::run(&outcome.surface, trimmed, plane, thickness, task)?;
        finished.surface = lined.surface.clone();
        finished.lined = Some(lined);
    }
    let plain = outcome.surface.groups.len();
    let patches = outcome.patch_of_quad.iter().max().map_or(0, |p| p + 1);
    finished
        .patch_of_quad
        .resize(finished.surface.quads.len(), patches);
    for (group, patch) in finished.surface.groups.iter().skip(plain).zip(patches..) {
        for &quad in &group.quads {
            finished.patch_of_quad[quad as usize] = patch;
        }
    }
    Ok(finished)
}

/// The hard edges of a job's delivered surface.
///
/// # Errors
/// [`CheckError`] for a damaged surface.
pub fn hard_edges(
    finished: &Finished,
    outcome: &Outcome,
    surface: &QuadMesh,
    spec: &JobSpec,
) -> Result<Hard, CheckError> {
    let mut asked = Asked {
        angle_deg: spec.shading.hard_angle,
        ..Asked::default()
    };
    let is_hard = |name: &str| spec.guides.iter().any(|g| g.hard && g.name == name);
    for guide in outcome.guides.iter().filter(|g| is_hard(&g.name)) {
        if let Some(run) = check::run_along(&outcome.surface, guide)? {
            asked.runs.push((run.vertices, run.closed));
        }
    }
    if let Some(trimmed) = &finished.trimmed {
        asked.trims = trimmed.corners();
    }
    Ok(edges::run(surface, &asked))
}

fn trimmed(
    outcome: &Outcome,
    sculpt: &Sculpt,
    settings: &Settings,
    finish: &Finish,
    task: &Task,
) -> Result<Trimmed, FinishError> {
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
    Ok(trims::run(&input, &placed, task)?)
}

/// A trim as it is woven.
fn trim(spec: &TrimSpec) -> Trim {
    Trim {
        name: spec.name.clone(),
        kind: match spec.kind {
            files::TrimKind::Cuff => trims::TrimKind::Cuff,
            files::TrimKind::Collar => trims::TrimKind::Collar,
            files::TrimKind::Hem => trims::TrimKind::Hem,
            files::TrimKind::Band => trims::TrimKind::Band,
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
            files::TrimFront::Overlap => trims::Front::Overlap {
                width: spec.front_width,
                at: spec.front_at,
                lap: spec.lap,
                upper: match spec.upper {
                    files::TrimEnd::Left => trims::End::Left,
                    files::TrimEnd::Right => trims::End::Right,
                },
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
            files::TrimSide::Upon => trims::Side::Upon,
        },
        follow: spec.follow,
        hard: spec.hard,
    }
}
