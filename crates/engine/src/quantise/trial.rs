//! Trades tried on a plan and taken back again.
//!
//! A layout's trades are told by the ten thousand, so nothing is copied for one, and only what it changes is
//! looked at: arcs on the way of its strips, and the patches beside them.

use super::Plan;
use super::model;
use super::strands::Strand;
use super::unwind::{Market, Trade};

/// Quads more or fewer on an arc up to which the cost is told once for all trades.
const USUAL: i32 = 4;
/// Share of a cost that rounding may add to it or take off, and far more.
const ROUNDED: f64 = 1e-6;

/// A plan with room to try trades on it.
pub(super) struct Trial<'a> {
    market: &'a Market<'a>,
    /// Without a trade.
    before: &'a Plan,
    /// The same between trades, and so is all that follows.
    plan: Plan,
    /// What each arc costs.
    stretches: Vec<f64>,
    /// What each arc costs more with so many quads more, from [`USUAL`] fewer on.
    dearer: Vec<[f64; 2 * USUAL as usize + 1]>,
    /// Faces of each patch, and of all.
    faces: Vec<usize>,
    all_faces: usize,
    /// Share of the budget that the plan misses it by.
    missed: f64,
    /// Groups of arcs that have too few quads in the plan itself.
    few: Vec<u32>,
    change: Change,
    touched: Touched,
}

/// What the trade at hand changed.
#[derive(Default)]
struct Touched {
    spokes: Vec<[usize; 2]>,
    patches: Vec<u32>,
    /// Whether each patch is among them.
    is_among: Vec<bool>,
}

impl Touched {
    fn patch(&mut self, p: u32) {
        if !std::mem::replace(&mut self.is_among[p as usize], true) {
            self.patches.push(p);
        }
    }
}

impl<'a> Trial<'a> {
    pub fn new(market: &'a Market<'a>, plan: &'a Plan) -> Self {
        let layout = market.ground.layout;
        let counts = || plan.arcs.iter().enumerate();
        let stretches: Vec<f64> = counts()
            .map(|(a, &n)| market.stretch(a, f64::from(n)))
            .collect();
        let dearer = counts().map(|(a, &n)| {
            let more = |i: usize| f64::from(n) + f64::from(i as i32 - USUAL);
            std::array::from_fn(|i| market.stretch(a, more(i)) - stretches[a])
        });
        let faces: Vec<usize> = (0..layout.patches.len())
            .map(|p| model::faces_of(layout, plan, p))
            .collect();
        let groups = market.groups.iter().zip(0..);
        let few = groups.filter(|(group, _)| is_few(plan, group));
        Self {
            dearer: dearer.collect(),
            stretches,
            all_faces: faces.iter().sum(),
            touched: Touched {
                is_among: vec![false; faces.len()],
                ..Touched::default()
            },
            faces,
            missed: market.ground.missed(plan),
            few: few.map(|(_, g)| g).collect(),
            change: Change::new(plan.arcs.len()),
            plan: plan.clone(),
            before: plan,
            market,
        }
    }

    /// What the plan costs without a trade.
    pub fn cost(&self) -> f64 {
        self.stretches.iter().sum::<f64>() + model::MISS_COST * self.missed
    }

    /// The plan with a trade carried out and its cost, unless it leaves too few quads somewhere or costs
    /// `most` or more; the plan without costs `now`.
    pub fn of(
        &mut self,
        strands: &[Strand],
        trade: &Trade,
        now: f64,
        most: f64,
    ) -> Option<(f64, Plan)> {
        let (plan, dearer, market) = (&self.plan, &self.dearer, self.market);
        let changed = self.change.of(strands, trade);
        let more: f64 = changed
            .iter()
            .map(|&(a, d)| match dearer[a].get((d + USUAL) as usize) {
                Some(&more) => more,
                None => market.dearer(plan, a, f64::from(d)),
            })
            .sum();
        if more >= most - now + model::MISS_COST * self.missed {
            return None;
        }
        let found = self.put_on(strands, trade);
        let found = found.and_then(|missed| self.cheaper(now + more, missed, most));
        self.take_back(trade, strands);
        found
    }

    /// The plan as it is, if it costs less than `most`; `about` is what it costs but for what misses the
    /// budget and for rounding.
    fn cheaper(&self, about: f64, missed: f64, most: f64) -> Option<(f64, Plan)> {
        let about = about + model::MISS_COST * (missed - self.missed);
        // Rounding is far below: of most trades the sum over all arcs isn't asked for.
        if about > most + ROUNDED * (1.0 + about.abs()) {
            return None;
        }
        let arcs = self.plan.arcs.iter().zip(&self.before.arcs);
        let each = arcs.zip(&self.stretches).enumerate();
        let cost = each.map(|(a, ((&n, before), &stretch))| {
            if n == *before {
                stretch
            } else {
                self.market.stretch(a, f64::from(n))
            }
        });
        let cost = cost.sum::<f64>() + model::MISS_COST * missed;
        (cost < most).then(|| (cost, self.plan.clone()))
    }

    /// Carries out the trade that [`Change`] was last told of; the share of the budget that it misses, unless
    /// it leaves too few quads somewhere. [`Trial::take_back`] comes after, whatever this gives.
    fn put_on(&mut self, strands: &[Strand], trade: &Trade) -> Option<f64> {
        let (market, plan, touched) = (self.market, &mut self.plan, &mut self.touched);
        for &(a, d) in &self.change.changed {
            let n = i32::try_from(plan.arcs[a]).ok()? + d;
            plan.arcs[a] = u32::try_from(n).ok().filter(|&n| n >= 1)?;
        }
        for &(s, sign) in trade {
            for &([p, j], passes) in &strands[s].spokes {
                let y = i32::try_from(plan.spokes[p][j]).ok()? + sign * passes as i32;
                plan.spokes[p][j] = u32::try_from(y).ok()?;
                touched.spokes.push([p, j]);
                touched.patch(p as u32);
            }
        }
        let is_emptied =
            |&[p, j]: &[usize; 2]| plan.spokes[p][j] == 0 && self.before.spokes[p][j] > 0;
        if touched.spokes.iter().any(is_emptied) {
            return None;
        }
        let changed = || self.change.changed.iter().map(|c| c.0);
        let groups = changed().flat_map(|a| &market.groups_at[a]);
        let few = |&g: &u32| is_few(plan, &market.groups[g as usize]);
        if groups.chain(&self.few).any(few) {
            return None;
        }
        for a in changed() {
            for &p in &market.patches_at[a] {
                touched.patch(p);
            }
        }
        let layout = market.ground.layout;
        let mut faces = self.all_faces;
        for &p in &touched.patches {
            // Added before it is taken off, for whole numbers without a sign.
            faces += model::faces_of(layout, plan, p as usize);
            faces -= self.faces[p as usize];
        }
        plan.faces = faces;
        let missed = market.ground.missed(plan);
        (missed <= self.missed.max(super::unwind::DRIFT)).then_some(missed)
    }

    /// Leaves the plan as it was before the trade.
    fn take_back(&mut self, trade: &Trade, strands: &[Strand]) {
        for &(a, _) in &self.change.changed {
            self.plan.arcs[a] = self.before.arcs[a];
        }
        for &(s, _) in trade {
            for &([p, j], _) in &strands[s].spokes {
                self.plan.spokes[p][j] = self.before.spokes[p][j];
            }
        }
        for p in self.touched.patches.drain(..) {
            self.touched.is_among[p as usize] = false;
        }
        self.touched.spokes.clear();
        self.plan.faces = self.before.faces;
    }
}

/// Whether arcs that need three quads together have fewer.
fn is_few(plan: &Plan, group: &[usize]) -> bool {
    group.iter().map(|&a| plan.arcs[a]).sum::<u32>() < 3
}

/// How a trade changes the numbers of arcs; kept from one to the next.
struct Change {
    /// For each arc; 0 between trades.
    by_arc: Vec<i32>,
    /// Arcs that a trade's strips pass, a bit each: in order without sorting. None between trades.
    passed: Vec<u64>,
    /// Arcs that the trade at hand changes, in rising order, with by how much.
    changed: Vec<(usize, i32)>,
}

impl Change {
    fn new(arcs: usize) -> Self {
        Self {
            by_arc: vec![0; arcs],
            passed: vec![0; arcs.div_ceil(64)],
            changed: Vec::new(),
        }
    }

    fn of(&mut self, strands: &[Strand], trade: &Trade) -> &[(usize, i32)] {
        self.changed.clear();
        for &(s, sign) in trade {
            for &(arc, passes) in &strands[s].arcs {
                self.by_arc[arc] += sign * passes as i32;
                self.passed[arc / 64] |= 1 << (arc % 64);
            }
        }
        for (word, bits) in self.passed.iter_mut().enumerate() {
            let mut left = std::mem::take(bits);
            while left != 0 {
                let arc = 64 * word + left.trailing_zeros() as usize;
                left &= left - 1;
                let by = std::mem::take(&mut self.by_arc[arc]);
                if by != 0 {
                    self.changed.push((arc, by));
                }
            }
        }
        &self.changed
    }
}

#[cfg(test)]
mod tests {
    use base::Task;

    use super::super::model::Asked;
    use super::super::strands::{Rings, strands};
    use super::super::tests::ground_of;
    use super::super::unwind::DRIFT;
    use super::super::{QuantiseOptions, chords};
    use super::*;
    use crate::testing::all_made;

    /// A trade carried out on a copy of the plan, every rule told from all of it.
    fn plainly(
        market: &Market<'_>,
        plan: &Plan,
        strands: &[Strand],
        trade: &Trade,
        most: f64,
    ) -> Option<(f64, Plan)> {
        let layout = market.ground.layout;
        let cost = |plan: &Plan| {
            let arcs = plan.arcs.iter().enumerate();
            arcs.map(|(a, &n)| market.stretch(a, f64::from(n)))
                .sum::<f64>()
                + model::MISS_COST * market.ground.missed(plan)
        };
        let mut next = plan.clone();
        let mut arcs: Vec<i32> = plan.arcs.iter().map(|&n| n as i32).collect();
        for &(s, sign) in trade {
            for &(a, passes) in &strands[s].arcs {
                arcs[a] += sign * passes as i32;
            }
            for &([p, j], passes) in &strands[s].spokes {
                let y = next.spokes[p][j] as i32 + sign * passes as i32;
                next.spokes[p][j] = u32::try_from(y).ok()?;
            }
        }
        for (a, n) in arcs.into_iter().enumerate() {
            next.arcs[a] = n.try_into().ok().filter(|&n| n >= 1 || n == plan.arcs[a])?;
        }
        let spokes = plan
            .spokes
            .iter()
            .flatten()
            .zip(next.spokes.iter().flatten());
        if spokes.into_iter().any(|(&old, &new)| old > 0 && new == 0)
            || market.groups.iter().any(|group| is_few(&next, group))
        {
            return None;
        }
        let each = (0..layout.patches.len()).map(|p| model::faces_of(layout, &next, p));
        next.faces = each.sum();
        let [missed, before] = [&next, plan].map(|plan| market.ground.missed(plan));
        let cost = cost(&next);
        (missed <= before.max(DRIFT) && cost < most).then_some((cost, next))
    }

    /// What is told of a trade from what it changes is what all of the plan tells, to the bit, and nothing is
    /// left of it after.
    #[test]
    fn a_trade_tried_is_the_trade_carried_out_on_a_copy() {
        let (mut tried, mut taken) = (0, 0);
        for made in all_made() {
            let (layout, plan) = (&made.laid.layout, &made.plan);
            let (surface, curves) = (&made.laid.surface, &made.laid.curves);
            let options = QuantiseOptions::new(made.case.edge, made.case.faces);
            let task = Task::default();
            let (ground, counts) = ground_of(made, &options, &task);
            let rings = Rings::new(surface, layout, curves);
            let needed = chords::needed(surface, layout, plan.edge);
            let asked = Asked::new(&counts, &needed, plan.edge, &options, 0);
            let market = Market::new(&ground, &asked, &rings);
            let strands = strands(layout, plan, &rings);
            let mut trial = Trial::new(&market, plan);
            let now = trial.cost();
            let n = strands.len().min(24);
            let trades = (0..n).flat_map(|i| (0..n).map(move |j| [i, j]));
            for [i, j] in trades {
                for trade in [
                    vec![(i, -1), (j, 1)],
                    vec![(i, -1), (j, -1), ((i + j) % n, 1)],
                ] {
                    for most in [now + 1e9, now + 2.0] {
                        let wanted = plainly(&market, plan, &strands, &trade, most);
                        let found = trial.of(&strands, &trade, now, most);
                        assert_eq!(found, wanted, "{} {trade:?}", made.case.name);
                        assert_eq!(&trial.plan, plan);
                        tried += 1;
                        taken += usize::from(found.is_some());
                    }
                }
            }
        }
        assert!(taken > 20 && taken < tried / 2, "{taken} of {tried}");
    }

    /// Against sums told one after another: arcs in rising order, those that nothing changes left out, and
    /// nothing of a trade left over for the next.
    #[test]
    fn a_change_is_the_sum_of_what_a_trades_strips_pass() {
        let strand = |arcs: &[(usize, u32)]| Strand {
            arcs: arcs.to_vec(),
            ..Strand::default()
        };
        let strands = [
            strand(&[(1, 1), (4, 2)]),
            strand(&[(0, 1), (4, 1)]),
            strand(&[(1, 1), (2, 3), (4, 1), (63, 1), (64, 2), (129, 1)]),
        ];
        let mut change = Change::new(130);
        let trade = vec![(0, -1), (1, 1), (2, 1)];
        let all = [(0, 1), (2, 3), (63, 1), (64, 2), (129, 1)];
        assert_eq!(change.of(&strands, &trade), all);
        assert_eq!(change.of(&strands, &vec![(1, -1)]), [(0, -1), (4, -1)]);
    }
}
