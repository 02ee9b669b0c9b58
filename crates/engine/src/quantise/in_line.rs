//! Brings poles into line until no strip spirals.
//!
//! Each place where a strip crosses itself gives a sum that must come to nothing (see
//! [`super::aligned`]). Which of them the shape wants is not known beforehand, so plans are searched
//! best first: from the plan with the fewest such places, the program is solved anew near
//! it with one sum more, the tightest ways round first: a limb's own rows before those of what lies
//! around it.

use base::Cancelled;
use rayon::prelude::*;

use super::Plan;
use super::aligned::{Sum, Walks};
use super::model::{self, Asked};
use super::strands::{Strand, strands, strands_of_arcs};
use super::unwind::Market;

/// Programs solved at most.
const PROGRAMS: usize = 240;
/// Programs in a row that may bring nothing better.
const PATIENCE: usize = 90;
/// Programs solved from one plan at most.
const FROM_ONE: usize = 6;
/// Programs solved beside each other: a fixed number, so that the answer hangs on no machine.
const BESIDE: usize = 2;
/// Branch-and-bound nodes for each.
const NODES: u64 = 500;
/// By how much each number of a plan may change at once.
const CHANGE: u32 = 5;
/// Share of its cost by which a plan may miss the best one: others are tried anyway.
const GAP: f64 = 0.03;
/// Share of the budget that may be missed meanwhile.
const SLACK: f64 = 0.05;
/// Shares that may be missed by a plan without spirals, tried one after another.
const CLOSER: [f64; 3] = [0.01, 0.02, 0.03];

/// A plan on the way.
struct Tried {
    plan: Plan,
    /// Sums that it has at nothing.
    none: Vec<Sum>,
    /// Sums that aren't tried yet, the last first.
    left: Vec<Sum>,
    /// Quads in which strips cross themselves, and strips that spiral.
    score: usize,
}

impl Market<'_> {
    /// The plan, or the one found whose spirals, stretched strips and missed faces cost least.
    pub(super) fn in_line(&self, asked: &Asked<'_>, plan: Plan) -> Result<Plan, Cancelled> {
        let cost = |tried: &Tried| self.cost(&tried.plan) + self.faults(&tried.plan);
        let first = self.tried(plan, Vec::new());
        let mut least = first.score;
        let mut best = (cost(&first), first.plan.clone());
        let mut all = vec![first];
        let (mut programs, mut since) = (0, 0);
        while programs < PROGRAMS && since < PATIENCE {
            self.ground.task.checkpoint()?;
            let open = all.iter().enumerate().filter(|(_, t)| !t.left.is_empty());
            let Some((i, _)) = open.min_by_key(|(i, t)| (t.score, *i)) else {
                break;
            };
            let from = &mut all[i];
            let sums: Vec<Sum> = (0..BESIDE).filter_map(|_| from.left.pop()).collect();
            programs += sums.len();
            since += sums.len();
            let from = &all[i];
            let found: Vec<Option<Tried>> = sums
                .into_par_iter()
                .map(|sum| {
                    let mut none = from.none.clone();
                    none.push(sum);
                    let next = self.near(asked, &none, &from.plan, SLACK)?;
                    Some(self.tried(next, none))
                })
                .collect();
            for mut next in found.into_iter().flatten() {
                if all.iter().any(|t| t.plan == next.plan) {
                    continue;
                }
                if next.score == 0 {
                    self.to_budget(asked, &mut next);
                }
                if next.score < least {
                    (least, since) = (next.score, 0);
                }
                let cost = cost(&next);
                if cost < best.0 {
                    best = (cost, next.plan.clone());
                }
                all.push(next);
            }
            if self.faults(&best.1) == 0.0 {
                break;
            }
        }
        Ok(best.1)
    }

    fn tried(&self, plan: Plan, none: Vec<Sum>) -> Tried {
        let layout = self.ground.layout;
        let all = strands(layout, &plan, self.rings);
        let score = |s: &Strand| s.crossings + usize::from(s.spirals);
        let strips = strands_of_arcs(layout, &plan);
        let walks = Walks::new(layout, &plan);
        let mut ways = Vec::new();
        for (s, strand) in all.iter().enumerate() {
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
            score: all.iter().map(score).sum(),
            plan,
            none,
            left,
        }
    }

    /// The plan nearest to what is asked for, near another one and with these sums at nothing; `slack`:
    /// share of the budget that it may miss.
    fn near(&self, asked: &Asked<'_>, none: &[Sum], plan: &Plan, slack: f64) -> Option<Plan> {
        let budget = model::Budget {
            about: plan,
            wanted: self.ground.options.faces.unwrap_or(plan.faces),
            slack,
        };
        let asked = Asked {
            budget: Some(&budget),
            none,
            near: Some((plan, CHANGE)),
            gap: GAP,
            nodes: NODES,
            ..*asked
        };
        let next = model::solve(self.ground.layout, &asked).ok()?;
        (next.forced() <= plan.forced()).then_some(next)
    }

    /// Brings a plan without spirals nearer to the budget, as long as it stays without.
    fn to_budget(&self, asked: &Asked<'_>, tried: &mut Tried) {
        for slack in CLOSER.into_iter().cycle().take(2 * CLOSER.len()) {
            if self.ground.missed(&tried.plan) <= slack {
                continue;
            }
            let Some(next) = self.near(asked, &tried.none, &tried.plan, slack) else {
                continue;
            };
            let left = strands(self.ground.layout, &next, self.rings);
            let nearer = self.ground.missed(&next) < self.ground.missed(&tried.plan);
            if nearer && left.iter().all(|s| !s.spirals) {
                tried.plan = next;
            }
        }
    }
}
