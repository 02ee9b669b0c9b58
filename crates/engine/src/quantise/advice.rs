//! Which counts clash, and the smallest change that makes them fit.
//!
//! A set of promises that can't be kept is made smaller one by one until each member is needed.
//! Then counts near those asked for are tried, the nearest first. Only what has been planned
//! whole, and came out as good as the same surface without counts, is proposed.

use numeric::ProgramError;

use super::model::{self, Asked, Promise};
use super::strain::Strain;
use super::{Plan, QuantiseError, list, parity};
use crate::model::GuideKind;

/// Furthest that a proposed count lies from the one asked for, in quads of the half.
const FURTHEST: u32 = 64;
/// Single programs solved at most in search of a proposal, and searches for the budget.
const TRIES: [usize; 2] = [32, 6];
/// What is said where no change was looked for.
const UNADVISED: &str = "change these counts, or leave them out";
/// Steps from the counts asked for to those that the lengths alone tell.
const STEPS: u32 = 8;

impl Strain<'_> {
    /// Whether some promises can't be kept together; a search that ran out of nodes doesn't say so.
    fn fails(&self, set: &[Promise]) -> bool {
        parity::contradict(self.ground.layout, set)
            || matches!(self.solved(set), Err(ProgramError::Infeasible))
    }

    fn solved(&self, set: &[Promise]) -> Result<Plan, ProgramError> {
        let layout = self.ground.layout;
        let none = vec![0; layout.arcs.len()];
        let asked = Asked::new(
            set,
            &none,
            self.quad_edge(),
            self.ground.options,
            self.ground.options.nodes,
        );
        model::solve(layout, &asked)
    }

    /// The plan for some promises that can be kept together, if there is one.
    fn holds(&self, set: &[Promise]) -> Option<Plan> {
        let odd = parity::contradict(self.ground.layout, set);
        if odd { None } else { self.solved(set).ok() }
    }

    /// The refusal for promises that can't all be kept.
    pub fn clash(&self) -> QuantiseError {
        if !self.ground.options.advise {
            return QuantiseError::Clash {
                guides: self.names(self.promises),
                advice: UNADVISED.to_owned(),
            };
        }
        if self.fails(&[]) {
            return QuantiseError::Clash {
                guides: Vec::new(),
                advice: "the patches themselves allow no whole numbers; draw one more ring or line"
                    .to_owned(),
            };
        }
        let mut set = self.promises.to_vec();
        let mut i = 0;
        while i < set.len() {
            let mut fewer = set.clone();
            fewer.remove(i);
            if self.fails(&fewer) {
                set = fewer;
            } else {
                i += 1;
            }
        }
        QuantiseError::Clash {
            guides: self.names(&set),
            advice: self.advice(&set),
        }
    }

    /// The smallest change of some promises' counts that does.
    pub fn advice(&self, set: &[Promise]) -> String {
        if !self.ground.options.advise {
            return UNADVISED.to_owned();
        }
        let good = self.goodness();
        if let Some((one, count)) = self.change_of_one(set, &good) {
            return format!("make {}", self.proposal(&one, count));
        }
        // All that are far from what their lengths tell, together.
        let mut all: Vec<Promise> = set.to_vec();
        all.extend(
            self.strained()
                .into_iter()
                .filter(|p| !set.contains(p))
                .cloned(),
        );
        // What is held can't be changed.
        all.retain(|p| !self.is_rim(p));
        for step in 1..=2 * STEPS {
            // Steps keep what fits modulo 2; where nothing does, the first guide's count is one more.
            let (share, lift) = (
                f64::from(step.div_ceil(2)) / f64::from(STEPS),
                step % 2 == 0,
            );
            let stepped =
                |p: &Promise| self.towards_natural(p, share) + u32::from(lift && *p == all[0]);
            let changed: Vec<&Promise> = all.iter().filter(|p| stepped(p) != p.count).collect();
            let with = self.with(|p| all.contains(p).then(|| stepped(p)));
            if !changed.is_empty() && self.holds(&with).is_some() && good(&with) {
                let parts = changed.iter().map(|p| self.proposal(p, stepped(p)));
                return format!("make {}", parts.collect::<Vec<_>>().join(" and "));
            }
        }
        let without = |left_out: &[Promise]| -> Vec<Promise> {
            let kept = self.promises.iter().filter(|p| !left_out.contains(p));
            kept.cloned().collect()
        };
        let open = all
            .chunks(1)
            .chain([set, &all[..]])
            .find(|left_out| good(&without(left_out)));
        let open: Vec<Promise> = open.unwrap_or(&all).to_vec();
        let (rims, counts): (Vec<Promise>, Vec<Promise>) =
            open.into_iter().partition(|p| self.is_rim(p));
        let held = set.iter().any(|p| self.is_rim(p));
        match (counts.as_slice(), held || !rims.is_empty()) {
            ([], _) => "release the hold, or hold a part with a straighter rim".to_owned(),
            (_, false) => format!("leave out the count of {}", list(&self.names(&counts))),
            (_, true) => format!(
                "leave out the count of {}, or release the hold",
                list(&self.names(&counts))
            ),
        }
    }

    /// The nearest count of one of the set with which all promises can be kept; of equally near
    /// ones the one that forces the fewest poles, even ones first.
    fn change_of_one(
        &self,
        set: &[Promise],
        good: &dyn Fn(&[Promise]) -> bool,
    ) -> Option<(Promise, u32)> {
        let [mut programs, mut searches] = TRIES;
        for step in 1..=FURTHEST {
            let mut found: Vec<(u32, Promise, u32)> = Vec::new();
            for one in set {
                if self.is_rim(one) {
                    continue;
                }
                for count in [one.count + step, one.count.saturating_sub(step)] {
                    let with = self.with(|p| (p == one).then_some(count));
                    if count < one.least
                        || !self.is_near(one, count)
                        || parity::contradict(self.ground.layout, &with)
                    {
                        continue;
                    }
                    programs = programs.checked_sub(1)?;
                    if let Some(plan) = self.holds(&with) {
                        found.push((plan.forced(), one.clone(), count));
                    }
                }
            }
            found.sort_by_key(|(forced, _, count)| (*forced, count % 2));
            for (_, one, count) in found {
                searches = searches.checked_sub(1)?;
                if good(&self.with(|p| (*p == one).then_some(count))) {
                    return Some((one, count));
                }
            }
        }
        None
    }

    /// The promises with some counts changed.
    fn with(&self, count: impl Fn(&Promise) -> Option<u32>) -> Vec<Promise> {
        let changed = self.promises.iter().map(|p| Promise {
            count: count(p).unwrap_or(p.count),
            ..p.clone()
        });
        changed.collect()
    }

    /// A share of the way from a count to the one that the length alone tells, an even step away:
    /// what fits modulo 2 goes on fitting.
    fn towards_natural(&self, p: &Promise, share: f64) -> u32 {
        let asked = f64::from(p.count);
        let count = (asked * (self.natural(p) / asked).powf(share)).round() as u32;
        (count + (count ^ p.count) % 2).max(p.least)
    }

    /// "'left elbow' 12 instead of 10", in quads of the whole guide.
    fn proposal(&self, promise: &Promise, count: u32) -> String {
        let counted = promise.guides.iter().filter_map(|&g| {
            let guide = &self.guides[g];
            let asked = guide.count?;
            if promise.partly_held {
                let way = if count > promise.count {
                    "higher"
                } else {
                    "lower"
                };
                return Some(format!("the count of '{}' {way} than {asked}", guide.name));
            }
            // A guide across the plane has twice its half's quads.
            let new = u64::from(count) * u64::from(asked) / u64::from(promise.count.max(1));
            Some(format!("'{}' {new} instead of {asked}", guide.name))
        });
        counted.collect::<Vec<_>>().join(" and ")
    }

    /// Whether a promise is that of held quads.
    pub fn is_rim(&self, promise: &Promise) -> bool {
        let mut guides = promise.guides.iter().filter_map(|&g| self.guides.get(g));
        guides.any(|g| g.kind == GuideKind::Hold)
    }

    /// Names of the guides of promises, each once.
    pub fn names(&self, set: &[Promise]) -> Vec<String> {
        let mut names: Vec<String> = Vec::new();
        for &g in set.iter().flat_map(|p| &p.guides) {
            if !names.contains(&self.guides[g].name) {
                names.push(self.guides[g].name.clone());
            }
        }
        names
    }
}
