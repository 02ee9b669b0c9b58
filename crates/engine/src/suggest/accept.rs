//! Whether the stages that lay curves take the proposals: what they refuse isn't proposed.

use base::Task;

use super::{Proposal, SuggestError, SuggestOptions};
use crate::guides::{self, GuideError, GuideOptions};
use crate::model::{Guide, Sculpt};
use crate::symmetry::{self, Half, PlaneChoice};
use crate::work::{self, LightHalf, WorkError, WorkOptions};

/// Takes away proposals that a stage refuses by name, one refusal after the other.
pub(super) fn accepted(
    sculpt: &Sculpt,
    drawn: &[Guide],
    mut proposals: Vec<Proposal>,
    options: &SuggestOptions,
    task: &Task,
) -> Result<Vec<Proposal>, SuggestError> {
    let choice = options.plane.map_or(PlaneChoice::None, PlaneChoice::Given);
    // A half that can't be made is for a run to report: it isn't due to proposals.
    let Ok((half, _)) = symmetry::run(sculpt, choice, task) else {
        task.checkpoint()?;
        return Ok(proposals);
    };
    let fine = options.edge * WorkOptions::for_edge(options.edge).ratio;
    let light = LightHalf::new(&half, sculpt, fine, task)?;
    while !proposals.is_empty() {
        let guides: Vec<Guide> = drawn
            .iter()
            .chain(proposals.iter().map(|p| &p.guide))
            .cloned()
            .collect();
        let Some(refusal) = refusal(sculpt, &half, &light, &guides, options, task)? else {
            break;
        };
        let named = |p: &Proposal| refusal.contains(&format!("\"{}\"", p.guide.name));
        // The least sure of those named; the rest may then fit.
        let Some(last) = proposals.iter().rposition(named) else {
            break;
        };
        proposals.remove(last);
    }
    Ok(proposals)
}

/// What guides and work surface say against these guides, if anything.
fn refusal(
    sculpt: &Sculpt,
    half: &Half,
    light: &LightHalf,
    guides: &[Guide],
    options: &SuggestOptions,
    task: &Task,
) -> Result<Option<String>, SuggestError> {
    let curves = GuideOptions::for_edge(options.edge);
    let curves = match guides::run(guides, sculpt, half.plane, &curves, task) {
        Ok((curves, _)) => curves,
        Err(GuideError::Cancelled(cancelled)) => return Err(cancelled.into()),
        Err(error) => return Ok(Some(error.to_string())),
    };
    let surface = WorkOptions::for_edge(options.edge);
    let laid = work::lay(light, sculpt, &curves, &surface, task);
    match laid.and_then(|laid| laid.finish(&curves, task)) {
        Ok(_) => Ok(None),
        Err(WorkError::Cancelled(cancelled)) => Err(cancelled.into()),
        Err(error) => Ok(Some(error.to_string())),
    }
}
