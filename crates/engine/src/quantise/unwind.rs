//! Plans without spirals.
//!
//! Three ways, the cheap one first. *Trades*: a spiral is taken out whole and other strips are
//! doubled in its stead, such that every promise is kept. A plan's numbers say how often strips
//! pass each arc and spoke and so fix all strips (as normal coordinates fix a curve: Haken 1961), which is
//! why a trade leaves all other strips as they were. *Poles in line* (see [`super::in_line`]), where
//! that is asked for: some hundred plans. *Nudges*: one arc on the way of a spiral is given one quad
//! more or fewer, and the rest settles around it.

use std::collections::{BTreeMap, BTreeSet};

use super::model::{self, Asked, Promise};
use super::shape::Shape;
use super::strands::{Rings, Strand, strands};
use super::trial::Trial;
use super::{Ground, Plan, chords};
use crate::model::Curve;
use base::Cancelled;

/// Spirals traded at most.
const TRADES: usize = 64;
/// Strips weighed at most of those that pass the same promises.
const ALIKE: usize = 12;
/// Plans settled at most for nudges.
const TRIES: usize = 24;
/// Spirals up to which nudges are tried: more come from the field, not from single counts.
const NUDGED: usize = 4;
/// Share of the budget that may be missed for a spiral less.
pub(super) const DRIFT: f64 = 0.02;
/// Cost in stretched strips that a spiral less is worth: that of a pair of poles.
const WORTH: f64 = model::SURPLUS_COST;

impl Ground<'_> {
    /// The plan, or one near it with fewer strips that spiral; `in_line`: by way of a long search.
    pub(super) fn unwound(
        &self,
        promises: &[Promise],
        curves: &[Curve],
        plan: Plan,
        in_line: bool,
    ) -> Result<Plan, Cancelled> {
        let rings = Rings::new(self.surface, self.layout, curves);
        let needed = chords::needed(self.surface, self.layout, plan.edge);
        let asked = Asked::new(
            promises,
            &needed,
            plan.edge,
            self.options,
            self.options.search_nodes,
        );
        let market = Market::new(self, &asked, &rings);
        let mut plan = market.traded(plan)?;
        if in_line {
            plan = market.in_line(&asked, plan)?;
        }
        market.nudged(&asked, plan)
    }

    /// Share of the budget that a plan misses it by; 0 without one.
    pub(super) fn missed(&self, plan: &Plan) -> f64 {
        let of = |wanted: usize| (plan.faces as f64 / wanted.max(1) as f64 - 1.0).abs();
        self.options.faces.map_or(0.0, of)
    }
}

/// What trades go by.
pub(super) struct Market<'a> {
    pub ground: &'a Ground<'a>,
    promises: &'a [Promise],
    pub rings: &'a Rings,
    /// Quads that each arc should have.
    wanted: Vec<f64>,
    /// Arcs that need three quads together.
    pub groups: Vec<Vec<usize>>,
    /// Numbers of the groups that each arc is of, and of the patches beside it.
    pub groups_at: Vec<Vec<u32>>,
    pub patches_at: Vec<Vec<u32>>,
}

/// Strips to double (+) and to take out (−), by number.
pub(super) type Trade = Vec<(usize, i32)>;

impl<'a> Market<'a> {
    pub fn new(ground: &'a Ground<'a>, asked: &Asked<'a>, rings: &'a Rings) -> Self {
        let layout = ground.layout;
        let groups = model::sharing_ends(&layout.arcs);
        let at_arc = |all: &mut dyn Iterator<Item = (usize, u32)>| {
            let mut at = vec![Vec::new(); layout.arcs.len()];
            all.for_each(|(arc, of)| at[arc].push(of));
            at
        };
        let of_groups = groups.iter().zip(0u32..);
        let groups_at =
            at_arc(&mut of_groups.flat_map(|(arcs, g)| arcs.iter().map(move |&a| (a, g))));
        let of_patches = layout.patches.iter().zip(0u32..);
        let patches_at = at_arc(&mut of_patches.flat_map(|(patch, p)| {
            let uses = patch.sides.iter().flatten();
            uses.map(move |used| (used.arc, p))
        }));
        Self {
            ground,
            promises: asked.promises,
            rings,
            wanted: model::wanted(layout, asked),
            groups,
            groups_at,
            patches_at,
        }
    }

    /// The plan, or one with fewer spirals in which a few arcs on their way have one quad more or
    /// fewer.
    fn nudged(&self, asked: &Asked<'_>, mut plan: Plan) -> Result<Plan, Cancelled> {
        let spirals_of = |plan: &Plan| {
            let mut all = strands(self.ground.layout, plan, self.rings);
            all.retain(|s| s.spirals);
            all
        };
        let mut spirals = spirals_of(&plan);
        if spirals.is_empty() || spirals.len() > NUDGED {
            return Ok(plan);
        }
        let Some(shape) = Shape::new(self.ground, asked) else {
            return Ok(plan);
        };
        let mut lattice = shape.lattice.clone();
        let mut tries = 0;
        'better: while !spirals.is_empty() {
            for (arc, count) in self.nudges(&plan, &spirals) {
                if tries == TRIES {
                    break 'better;
                }
                self.ground.task.checkpoint()?;
                tries += 1;
                let nudged = shape.brought_to(&lattice, &plan, &vec![(arc, 1)], count);
                let Some((next, held)) = nudged else {
                    continue;
                };
                let next = self.traded(next)?;
                let near = self.ground.missed(&next) <= self.ground.missed(&plan).max(DRIFT);
                let left = spirals_of(&next);
                if near && left.len() < spirals.len() {
                    (plan, lattice, spirals) = (next, held, left);
                    continue 'better;
                }
            }
            break;
        }
        Ok(plan)
    }

    /// The plan after all trades that are worth it.
    fn traded(&self, mut plan: Plan) -> Result<Plan, Cancelled> {
        for _ in 0..TRADES {
            self.ground.task.checkpoint()?;
            let strands = strands(self.ground.layout, &plan, self.rings);
            match self.best_trade(&plan, &strands) {
                Some(next) => plan = next,
                None => break,
            }
        }
        Ok(plan)
    }

    /// The cheapest plan with a spiral less, if it is worth its cost.
    fn best_trade(&self, plan: &Plan, strands: &[Strand]) -> Option<Plan> {
        // Offers are pairs of strips: not worth listing where nothing is to be taken out.
        if !strands.iter().any(|s| s.spirals && !s.is_lost) {
            return None;
        }
        let profiles: Vec<Vec<u32>> = strands.iter().map(|s| self.profile(s)).collect();
        let goods = distinct(strands, |s| !s.spirals);
        let put_in = self.cheapest(plan, strands, &profiles, &goods, 1.0);
        let taken_out = self.cheapest(plan, strands, &profiles, &goods, -1.0);
        // What can be put in, by the promises that it adds to.
        let mut offers: BTreeMap<Vec<u32>, Vec<Vec<usize>>> = BTreeMap::new();
        offers
            .entry(vec![0; self.promises.len()])
            .or_default()
            .push(Vec::new());
        for (i, &a) in put_in.iter().enumerate() {
            offers.entry(profiles[a].clone()).or_default().push(vec![a]);
            for &b in &put_in[i..] {
                offers
                    .entry(sum(&profiles[a], &profiles[b]))
                    .or_default()
                    .push(vec![a, b]);
            }
        }
        let mut trial = Trial::new(self, plan);
        let now = trial.cost();
        let mut best: Option<(f64, Plan)> = None;
        for out in distinct(strands, |s| s.spirals) {
            let alone = [(out, None)];
            let with = taken_out.iter().map(|&c| (out, Some(c)));
            for (out, also) in alone.into_iter().chain(with) {
                let mut asked = profiles[out].clone();
                if let Some(c) = also {
                    asked = sum(&asked, &profiles[c]);
                }
                for offer in offers.get(&asked).into_iter().flatten() {
                    if also.is_some_and(|c| offer.contains(&c)) {
                        continue;
                    }
                    let mut trade: Trade = vec![(out, -1)];
                    trade.extend(also.map(|c| (c, -1)));
                    trade.extend(offer.iter().map(|&a| (a, 1)));
                    let most = best.as_ref().map_or(now + WORTH, |b| b.0);
                    best = trial.of(strands, &trade, now, most).or(best);
                }
            }
        }
        best.map(|b| b.1)
    }

    /// Of strips that pass the same promises, the few that one more (`sign` +1) or one fewer (−1)
    /// costs least. Trades are triples of strips, so this is what bounds their number: without
    /// promises, all strips pass the same ones.
    fn cheapest(
        &self,
        plan: &Plan,
        strands: &[Strand],
        profiles: &[Vec<u32>],
        of: &[usize],
        sign: f64,
    ) -> Vec<usize> {
        let cost = |s: &usize| -> f64 {
            let arcs = strands[*s].arcs.iter();
            arcs.map(|&(a, passes)| self.dearer(plan, a, sign * f64::from(passes)))
                .sum()
        };
        let mut ranked: Vec<(f64, usize)> = of.iter().map(|s| (cost(s), *s)).collect();
        ranked.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)));
        let mut taken: BTreeMap<&[u32], usize> = BTreeMap::new();
        ranked.retain(|&(_, s)| {
            let so_far = taken.entry(&profiles[s]).or_default();
            *so_far += 1;
            *so_far <= ALIKE
        });
        ranked.into_iter().map(|r| r.1).collect()
    }

    /// How often a strip passes the arcs of each promise.
    fn profile(&self, strand: &Strand) -> Vec<u32> {
        let passes = |promise: &Promise| {
            let on = strand.arcs.iter().filter(|a| promise.arcs.contains(&a.0));
            on.map(|a| a.1).sum()
        };
        self.promises.iter().map(passes).collect()
    }

    /// What so many quads more on an arc cost.
    pub fn dearer(&self, plan: &Plan, arc: usize, more: f64) -> f64 {
        let n = f64::from(plan.arcs[arc]);
        self.stretch(arc, n + more) - self.stretch(arc, n)
    }

    pub fn stretch(&self, arc: usize, n: f64) -> f64 {
        let target = self.wanted[arc].max(model::LEAST_WANTED);
        (n - target).powi(2) / target
    }

    /// Arcs on the way of spirals with one quad more or fewer, the cheapest first.
    fn nudges(&self, plan: &Plan, spirals: &[Strand]) -> Vec<(usize, i64)> {
        let arcs = spirals.iter().flat_map(|s| &s.arcs).map(|a| a.0);
        let arcs: BTreeSet<usize> = arcs.collect();
        let mut nudges: Vec<(f64, usize, i64)> = Vec::new();
        for arc in arcs {
            for more in [1.0, -1.0] {
                let count = i64::from(plan.arcs[arc]) + more as i64;
                if count >= 1 {
                    nudges.push((self.dearer(plan, arc, more), arc, count));
                }
            }
        }
        nudges.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)));
        nudges.into_iter().map(|n| (n.1, n.2)).collect()
    }
}

/// One strip of each set that runs beside each other all the way, of those wanted.
fn distinct(strands: &[Strand], wanted: impl Fn(&Strand) -> bool) -> Vec<usize> {
    let mut seen = BTreeSet::new();
    (0..strands.len())
        .filter(|&s| !strands[s].is_lost && wanted(&strands[s]))
        .filter(|&s| seen.insert((&strands[s].arcs, &strands[s].spokes)))
        .collect()
}

fn sum(a: &[u32], b: &[u32]) -> Vec<u32> {
    a.iter().zip(b).map(|(a, b)| a + b).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A hand with six rings and no counts took minutes: every strip could be traded for every
    /// pair of strips, and strips that run beside each other were each tried.
    #[test]
    fn strips_beside_each_other_are_weighed_once() {
        let strand = |arc: usize, spirals: bool, is_lost: bool| Strand {
            arcs: vec![(arc, 1)],
            spokes: Vec::new(),
            spirals,
            is_lost,
            crossings: 0,
        };
        let strands = [
            strand(0, false, false),
            strand(0, false, false),
            strand(1, true, false),
            strand(2, false, true),
            strand(3, false, false),
            strand(0, false, false),
        ];
        assert_eq!(distinct(&strands, |s| !s.spirals), [0, 4]);
        assert_eq!(distinct(&strands, |s| s.spirals), [2]);
    }
}
