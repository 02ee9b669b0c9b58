//! Guides proposed for a sculpt, for the artist to keep or drop.
//!
//! ```text
//! sculpt ─▶ light sculpt ─┬▶ distance from each opening or tip ─▶ chains of loops ─▶ limbs
//!                         │      limbs ─▶ bends, steps, roots … ─▶ shortest loops: rings
//!                         ├▶ curvature as quads show it ─▶ creases
//!                         ├▶ walls that meet ─▶ edges of cloth: rings
//!                         └▶ mirror plane, where the job names none ─▶ centre lines
//!            all of them ─▶ the surest first, none too near to another
//!                        ─▶ those that guides and work lay without refusal: proposals
//! ```
//!
//! No other stage needs this one. The same sculpt gives the same proposals, for any number
//! of threads.

mod accept;
mod centre;
mod chains;
mod choose;
mod creases;
mod cut;
mod distance;
mod ground;
mod limbs;
mod names;
mod places;
mod rings;
mod runs;

#[cfg(test)]
mod tests;

use base::{Cancelled, Task};
use numeric::SpdError;
use rayon::prelude::*;
use thiserror::Error;

use crate::model::{Guide, Plane, Sculpt};
use crate::walls;
use crate::work::WorkError;
use chains::Chain;
use choose::Chooser;
use ground::Ground;
use limbs::Limb;

/// What proposals are to fit.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SuggestOptions {
    /// Target edge of the quads, model units.
    pub edge: f64,
    /// The job's mirror plane, if it has one.
    pub plane: Option<Plane>,
}

/// A proposed guide.
#[derive(Clone, Debug, PartialEq)]
pub struct Proposal {
    /// The guide, with points on the sculpt and a name that no other guide has.
    pub guide: Guide,
    /// Why it would be good to have, in plain words.
    pub reason: String,
    /// How sure that is, 0 to 1.
    pub confidence: f64,
}

/// Why nothing can be proposed.
#[derive(Clone, Debug, PartialEq, Error)]
pub enum SuggestError {
    /// The target edge length can't be.
    #[error("the target edge length must be above 0, not {edge}; ask for another number of faces")]
    BadEdge {
        /// The length, model units.
        edge: f64,
    },
    /// The sculpt can't be made light.
    #[error(transparent)]
    Work(#[from] WorkError),
    /// Distances along the sculpt can't be found.
    #[error("no distances along the sculpt: {0}; look for triangles without area in it")]
    Distance(#[from] SpdError),
    /// Stopped from outside.
    #[error(transparent)]
    Cancelled(#[from] Cancelled),
}

/// Tips of a piece without boundaries, each the furthest from those before.
const TIPS: usize = 6;
/// Most boundaries and tips that the sculpt is swept from.
const MOST_SOURCES: usize = 24;

/// Proposes guides for a sculpt that has `guides` already: the surest first.
///
/// # Errors
/// [`SuggestError`].
pub fn run(
    sculpt: &Sculpt,
    guides: &[Guide],
    options: &SuggestOptions,
    task: &Task,
) -> Result<Vec<Proposal>, SuggestError> {
    let edge = options.edge;
    if !(edge.is_finite() && edge > 0.0) {
        return Err(SuggestError::BadEdge { edge });
    }
    task.report("suggest", 0.0)?;
    let ground = Ground::new(sculpt, edge, task)?;
    task.report("suggest", 0.2)?;
    let found = all_limbs(&ground, task)?;
    task.report("suggest", 0.6)?;
    let folds = creases::creases(&ground);
    task.report("suggest", 0.8)?;
    let free_plane = match options.plane {
        Some(_) => None,
        None => centre::find(&ground, task)?,
    };
    task.report("suggest", 0.9)?;
    let mut chooser = Chooser::new(&ground, guides, options.plane);
    // First: where there is a centre line, rings are their own mirror images.
    if let Some(plane) = free_plane {
        chooser.offer_centre_lines(&plane);
    }
    chooser.offer_cloth(walls::edges_of_cloth(sculpt, edge, task)?);
    chooser.offer_limbs(found);
    chooser.offer_creases(&folds);
    let proposals = chooser.choose();
    let proposals = accept::accepted(sculpt, guides, proposals, options, task)?;
    task.report("suggest", 1.0)?;
    Ok(proposals)
}

/// Each limb once, those that fit best first.
fn all_limbs(ground: &Ground<'_>, task: &Task) -> Result<Vec<Limb>, SuggestError> {
    let heat = distance::Heat::new(ground)?;
    let mut sources: Vec<Vec<u32>> = ground.boundaries();
    sources.sort_by_key(|s| std::cmp::Reverse(s.len()));
    sources.truncate(MOST_SOURCES);
    sources.extend(tips(ground, &heat, &sources));
    let mut chains: Vec<Chain> = Vec::new();
    for source in &sources {
        task.checkpoint()?;
        let distance = heat.distance(ground, source);
        chains.extend(chains::chains(ground, &distance));
    }
    task.checkpoint()?;
    let measured: Vec<Option<Limb>> = chains
        .par_iter()
        .map(|chain| limbs::limb(ground, chain))
        .collect();
    let mut order: Vec<(f64, usize)> = measured
        .iter()
        .enumerate()
        .filter_map(|(i, limb)| Some((limb.as_ref()?.lean, i)))
        .collect();
    order.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)));
    let mut taken = vec![false; ground.topology.triangles.len()];
    let mut limbs: Vec<Limb> = Vec::new();
    for (_, i) in order {
        task.checkpoint()?;
        let Some(free) = chains::free_stretch(&chains[i], &taken) else {
            continue;
        };
        let whole = free.loops.len() == chains[i].loops.len();
        let limb = if whole {
            measured[i].clone()
        } else {
            limbs::limb(ground, &free)
        };
        let Some(limb) = limb else { continue };
        limb.triangles
            .iter()
            .for_each(|&t| taken[t as usize] = true);
        limbs.push(limb);
    }
    Ok(limbs)
}

/// On each piece of the sculpt without a boundary: the vertex furthest from any, then those
/// furthest from all before.
fn tips(ground: &Ground<'_>, heat: &distance::Heat, boundaries: &[Vec<u32>]) -> Vec<Vec<u32>> {
    let mut piece = vec![u32::MAX; ground.at.len()];
    let mut all = Vec::new();
    for start in 0..ground.at.len() as u32 {
        if piece[start as usize] != u32::MAX || ground.topology.fan(start).next().is_none() {
            continue;
        }
        let mut of = vec![start];
        piece[start as usize] = start;
        let mut next = 0;
        while let Some(&v) = of.get(next) {
            next += 1;
            for (u, _) in ground.topology.neighbours(v) {
                if piece[u as usize] == u32::MAX {
                    piece[u as usize] = start;
                    of.push(u);
                }
            }
        }
        let open = boundaries
            .iter()
            .flatten()
            .any(|&v| piece[v as usize] == start);
        if open || all.len() + TIPS > MOST_SOURCES {
            continue;
        }
        let furthest = |from: &[u32]| {
            let distance = heat.distance(ground, from);
            let far = |v: &u32| distance[*v as usize];
            of.iter()
                .copied()
                .max_by(|a, b| far(a).total_cmp(&far(b)).then(b.cmp(a)))
        };
        let mut found: Vec<u32> = furthest(&[start]).into_iter().collect();
        while found.len() < TIPS
            && let Some(tip) = furthest(&found)
            && !found.contains(&tip)
        {
            found.push(tip);
        }
        all.extend(found.into_iter().map(|tip| vec![tip]));
    }
    all
}
