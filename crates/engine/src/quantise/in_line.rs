//! Brings poles into line until no strip spirals.
//!
//! Each place where a strip crosses itself gives a sum that must come to nothing (see
//! [`super::aligned`]). Which of them the shape wants is not known beforehand, so plans are searched
//! best first: the plan with the fewest such places is brought to one sum more, the tightest
//! ways round first: a limb's own rows before those of what lies around it. The best plans are then
//! taken on by single steps of the lattice, judged by what they do to spirals and shape; where some
//! spirals stay, the search begins again from there.

use std::collections::BTreeSet;

use base::Cancelled;
use rayon::prelude::*;

use super::Plan;
use super::aligned::{Sum, Walks};
use super::lattice::Lattice;
use super::model::Asked;
use super::shape::Shape;
use super::strands::{strands, strands_of_arcs};
use super::unwind::Market;

/// Searches at most, each from the best plan that the ones before came to.
const ROUNDS: usize = 2;
/// Plans settled at most in a search.
const PLANS: usize = 300;
/// Plans in a row that may bring nothing better.
const PATIENCE: usize = 120;
/// Plans settled at most once one without spirals is found.
const FURTHER: usize = 30;
/// Plans settled from one at most.
const FROM_ONE: usize = 6;
/// Plans settled beside each other: a fixed number, so that the answer hangs on no machine.
const BESIDE: usize = 2;
/// Plans that are taken on by steps: so many of the fewest crossings, and of the least cost.
const TAKEN_ON: usize = 3;
/// Plans weighed at most for each.
const WEIGHED: usize = 1500;
/// Plans weighed at a time: the best of them is taken if any is better.
const AT_A_TIME: usize = 100;
/// Cost of a spiral: a surface with one fails its check, so more than any shape is worth.
const SPIRAL: f64 = 300.0;
/// Cost of each quad in which a strip crosses itself, while steps are taken.
const CROSSING: f64 = 3.0;

/// Gain from which on a step is taken.
const GAIN: f64 = 1e-6;

/// A plan, and what it comes to.
#[derive(Clone)]
struct Judged {
    plan: Plan,
    /// Quads in which strips cross themselves.
    crossings: usize,
    /// Strips that spiral.
    spirals: usize,
    /// What its shape and its spirals cost.
    cost: f64,
}

impl Judged {
    /// What the search goes by: 0 without spirals.
    fn score(&self) -> usize {
        self.crossings + self.spirals
    }
}

/// A plan on the way.
struct Tried {
    judged: Judged,
    /// Sums that it has at nothing.
    none: Vec<Sum>,
    /// All plans that have, too; `None` until one is settled from it.
    lattice: Option<Lattice>,
    /// Sums that aren't tried yet, the last first.
    left: Vec<Sum>,
}

impl Market<'_> {
    /// The plan, or the one found whose spirals, shape and missed faces cost least.
    pub(super) fn in_line(&self, asked: &Asked<'_>, plan: Plan) -> Result<Plan, Cancelled> {
        let Some(shape) = Shape::new(self.ground, asked) else {
            return Ok(plan);
        };
        let mut best = self.judged(&shape, plan.clone());
        let mut starts = vec![plan];
        let mut reached: Vec<Judged> = Vec::new();
        for round in 0..ROUNDS {
            let all = self.searched(&shape, starts[round].clone())?;
            let taken_on: Result<Vec<Judged>, Cancelled> = promising(&all)
                .into_par_iter()
                .map(|t| self.taken_on(&shape, &t.judged.plan))
                .collect();
            reached.extend(taken_on?);
            for found in all
                .into_iter()
                .map(|t| t.judged)
                .chain(reached.iter().cloned())
            {
                if found.cost < best.cost {
                    best = found;
                }
            }
            // Once more from the best plan that wasn't started from.
            reached.sort_by(|a, b| a.cost.total_cmp(&b.cost));
            let next = reached.iter().find(|r| !starts.contains(&r.plan));
            match next {
                Some(next) if best.spirals > 0 => starts.push(next.plan.clone()),
                _ => break,
            }
        }
        Ok(best.plan)
    }

    /// What a plan comes to.
    fn judged(&self, shape: &Shape<'_>, plan: Plan) -> Judged {
        let all = strands(self.ground.layout, &plan, self.rings);
        let spirals = all.iter().filter(|s| s.spirals).count();
        Judged {
            crossings: all.iter().map(|s| s.crossings).sum(),
            spirals,
            cost: shape.cost(&plan) + SPIRAL * spirals as f64,
            plan,
        }
    }

    /// Plans found best first, that to start from among them.
    fn searched(&self, shape: &Shape<'_>, start: Plan) -> Result<Vec<Tried>, Cancelled> {
        let first = self.tried(shape, start, Vec::new());
        let mut least = first.judged.score();
        let mut all = vec![first];
        let (mut settled, mut patience) = (0, PATIENCE);
        while settled < PLANS && patience > 0 {
            self.ground.task.checkpoint()?;
            let open = all.iter().enumerate().filter(|(_, t)| !t.left.is_empty());
            let Some((i, _)) = open.min_by_key(|(i, t)| (t.judged.score(), *i)) else {
                break;
            };
            let from = &mut all[i];
            let sums: Vec<Sum> = (0..BESIDE).filter_map(|_| from.left.pop()).collect();
            settled += sums.len();
            patience = patience.saturating_sub(sums.len());
            // Lattices are large, so a plan has its own only while others are settled from it.
            let kept = from.lattice.take().or_else(|| shape.with_none(&from.none));
            let Some(lattice) = kept else {
                continue;
            };
            let from = &all[i];
            let next: Vec<Option<Tried>> = sums
                .into_par_iter()
                .map(|sum| self.next(shape, &lattice, from, sum))
                .collect();
            all[i].lattice = Some(lattice).filter(|_| !all[i].left.is_empty());
            for next in next.into_iter().flatten() {
                if all.iter().any(|t| t.judged.plan == next.judged.plan) {
                    continue;
                }
                let score = next.judged.score();
                if score < least {
                    // Once there are no spirals, a few more for one of better shape.
                    patience = if score > 0 { PATIENCE } else { FURTHER };
                    least = score;
                }
                all.push(next);
            }
        }
        Ok(all)
    }

    /// What comes of bringing one sum more to nothing; `lattice`: all plans like `from`.
    fn next(&self, shape: &Shape<'_>, lattice: &Lattice, from: &Tried, sum: Sum) -> Option<Tried> {
        let equation = shape.equation(&sum);
        let (plan, _) = shape.brought_to(lattice, &from.judged.plan, &equation, 0)?;
        let mut none = from.none.clone();
        none.push(sum);
        Some(self.tried(shape, plan, none))
    }

    fn tried(&self, shape: &Shape<'_>, plan: Plan, none: Vec<Sum>) -> Tried {
        let layout = self.ground.layout;
        let strips = strands_of_arcs(layout, &plan);
        let walks = Walks::new(layout, &plan);
        let mut ways = Vec::new();
        for (s, strand) in strands(layout, &plan, self.rings).iter().enumerate() {
            if strand.crossings > 0 {
                ways.extend(walks.rounds(&strips, s));
            }
            for ring in self.rings.passed_too_often(strand) {
                ways.extend(walks.between(&strips, s, ring));
            }
        }
        ways.sort_by_key(|w: &(usize, _)| w.0);
        let mut left: Vec<Sum> = Vec::new();
        for sum in ways.iter().filter_map(|&(_, way)| walks.sum(way)) {
            if !left.contains(&sum) && !none.contains(&sum) {
                left.push(sum);
            }
            if left.len() == FROM_ONE {
                break;
            }
        }
        left.reverse();
        Tried {
            judged: self.judged(shape, plan),
            none,
            lattice: None,
            left,
        }
    }

    /// The plan at the end of steps that make spirals and shape together cheaper.
    fn taken_on(&self, shape: &Shape<'_>, plan: &Plan) -> Result<Judged, Cancelled> {
        let whole = |j: &Judged| j.cost + CROSSING * j.crossings as f64;
        let mut now = self.judged(shape, plan.clone());
        let mut left = WEIGHED;
        loop {
            self.ground.task.checkpoint()?;
            let mut beside = shape.beside(&now.plan);
            // Spirals and crossings only add to it.
            beside.retain(|n| n.0 < whole(&now) - GAIN);
            let mut best: Option<Judged> = None;
            for some in beside.chunks(AT_A_TIME) {
                for (_, next) in some.iter().take(left) {
                    left -= 1;
                    let next = self.judged(shape, next.clone());
                    let least = best.as_ref().map_or(whole(&now) - GAIN, whole);
                    if whole(&next) < least {
                        best = Some(next);
                    }
                }
                if best.is_some() {
                    break;
                }
            }
            match best {
                Some(next) => now = next,
                None => return Ok(now),
            }
        }
    }
}

/// The plans with the fewest crossings, and those of the least cost.
fn promising(all: &[Tried]) -> Vec<&Tried> {
    let mut order: Vec<usize> = (0..all.len()).collect();
    order.sort_by_key(|&i| (all[i].judged.score(), i));
    let mut taken: BTreeSet<usize> = order.iter().copied().take(TAKEN_ON).collect();
    order.sort_by(|&i, &j| {
        all[i]
            .judged
            .cost
            .total_cmp(&all[j].judged.cost)
            .then(i.cmp(&j))
    });
    taken.extend(order.iter().take(TAKEN_ON));
    taken.into_iter().map(|i| &all[i]).collect()
}
