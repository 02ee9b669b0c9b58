//! From a surface that stands to the end of the job: checked, trims woven on, cleared of layers. The
//! command line and the desk go this one way, in this one order.

use base::{Findings, Task};
use engine::check::{CheckError, Measures};
use engine::model::Sculpt;
use files::JobSpec;
use finish::layers::Layer;
use mesh::QuadMesh;
use thiserror::Error;

use super::checked::{checked, mirror};
use super::finish::{Finish, FinishError, finished, hard_edges};
use super::layers::{ClearError, Layered, cleared, shape_again};
use super::pipeline::{Outcome, Settings};

/// What a job asks for once its surface stands.
#[derive(Clone, Copy)]
pub struct Rest<'a> {
    /// The job.
    pub spec: &'a JobSpec,
    /// Its layers, in its order; empty to leave them out.
    pub layers: &'a [Layer],
    /// What the check gave, if it was made before.
    pub checked: Option<&'a (Measures, Findings)>,
    /// Whether plain decimation is measured beside the surface, which takes seconds on a large sculpt.
    pub yardstick: bool,
}

/// A surface at the end of its job, or as far as it came.
#[derive(Clone, Debug)]
pub struct Completed {
    /// The run's own vertices and quads first, in their order, then those of each trim.
    pub surface: QuadMesh,
    /// Patch of each quad; each trim is one more.
    pub patch_of_quad: Vec<u32>,
    /// What was measured.
    pub measures: Measures,
    /// What the check found, and what was found of trims and layers; not what the run found.
    pub findings: Findings,
    /// Its hard edges: both ends, lower first, sorted.
    pub hard: Vec<[u32; 2]>,
    /// What became of the surface beside its layers, where there are any.
    pub layered: Option<Layered>,
}

/// Why a surface doesn't come to the end of its job.
#[derive(Debug, Error)]
pub enum CompleteError {
    /// The check.
    #[error(transparent)]
    Check(#[from] CheckError),
    /// What is added to the surface.
    #[error(transparent)]
    Finish(#[from] FinishError),
    /// Clearing it of layers.
    #[error(transparent)]
    Layers(#[from] ClearError),
}

/// A job that came to no end.
#[derive(Debug)]
pub struct Stopped {
    /// Why.
    pub problem: CompleteError,
    /// How far it came: what was done before the step that failed. `None` if it couldn't be checked.
    pub so_far: Option<Box<Completed>>,
}

/// Brings a run's surface to the end of its job. `lap` hears of each step when it is done.
///
/// # Errors
/// [`Stopped`] at the first step that can't be done, or when cancelled.
pub fn completed(
    outcome: &Outcome,
    sculpt: &Sculpt,
    settings: &Settings,
    rest: &Rest<'_>,
    task: &Task,
    mut lap: impl FnMut(&'static str),
) -> Result<Completed, Stopped> {
    let stopped = |problem: CompleteError| Stopped {
        problem,
        so_far: None,
    };
    let (measures, findings) = match rest.checked {
        Some(before) => before.clone(),
        None => {
            let now = checked(outcome, sculpt, settings, rest.yardstick, task);
            let now = now.map_err(|problem| stopped(problem.into()))?;
            lap("check");
            now
        }
    };
    let mut done = Completed {
        surface: outcome.surface.clone(),
        patch_of_quad: outcome.patch_of_quad.clone(),
        measures,
        findings,
        hard: Vec::new(),
        layered: None,
    };
    match beyond(&mut done, outcome, sculpt, settings, rest, task, &mut lap) {
        Ok(()) => Ok(done),
        Err(problem) => Err(Stopped {
            problem,
            so_far: Some(Box::new(done)),
        }),
    }
}

/// What comes after the check; each step is taken into `done` whole or not at all.
fn beyond(
    done: &mut Completed,
    outcome: &Outcome,
    sculpt: &Sculpt,
    settings: &Settings,
    rest: &Rest<'_>,
    task: &Task,
    lap: &mut impl FnMut(&'static str),
) -> Result<(), CompleteError> {
    let finish = Finish::of(rest.spec);
    let added = finished(outcome, sculpt, settings, &finish, task)?;
    let plain = done.findings.clone();
    done.surface.clone_from(&added.surface);
    done.patch_of_quad.clone_from(&added.patch_of_quad);
    done.findings.append(added.findings());
    if !finish.is_empty() {
        lap("finish");
    }
    if !rest.layers.is_empty() {
        let layered = cleared(&added, outcome, rest.spec, rest.layers, settings, task)?;
        lap("layers");
        // What was added is measured where it ends.
        let (mut measures, mut findings) = (done.measures.clone(), plain);
        let both = (&mut measures, &mut findings);
        let plane = mirror(outcome, settings);
        shape_again(&layered, &outcome.surface, sculpt, plane, both, task)?;
        findings.append(layered.added.clone());
        findings.append(layered.findings.clone());
        (done.measures, done.findings) = (measures, findings);
        done.surface.clone_from(&layered.surface);
        done.layered = Some(layered);
        lap("check");
    }
    let hard = hard_edges(&added, outcome, &done.surface, rest.spec)?;
    done.findings
        .append(::finish::facing::findings(&done.surface));
    done.findings.append(hard.findings);
    done.hard = hard.edges;
    Ok(())
}
