//! What the numbers of a plan cost, one by one.
//!
//! Numbers are a plan's arcs and spokes in a row, and after them sums of arcs that must not come to less
//! than one or three. Each has a convex cost of its own; beside them only the number of faces and
//! poles that would be one vertex cost anything. All plans that keep the promised counts differ
//! by vectors of one lattice.

use std::collections::BTreeMap;

use super::aligned::Sum;
use super::lattice::{Equation, Lattice};
use super::model::{self, Asked};
use super::{Ground, Plan, costs};
use crate::layout::{ArcSource, ArcUse, Layout, Patch};

/// Cost of each quad that is lacking where a number must not be less: more than any plan is worth.
const LACK: f64 = 400.0;
/// Weight of a spoke in the norm of the lattice: small beside an arc's, as it costs nothing itself.
const SPOKE_WEIGHT: f64 = 0.05;
/// How much more it costs along a guide: uneven edges stray from it.
const GUIDED: f64 = 3.0;
/// Cost of two poles of a kind that would be one vertex, of two edges or of six.
pub(super) const TOGETHER: f64 = 150.0;

/// What a number costs.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Cost {
    /// What is wanted.
    pub target: f64,
    /// Weight of the square of the difference to it, where that is small.
    pub inverse: f64,
    /// Weights of its stretch and of the quads that it is off by, as programs have them (see
    /// [`costs::stretch`] and [`costs::missing`]); where there is one, it stands for the square.
    pub ratio: f64,
    pub quads: f64,
    /// Number below which each one less costs `few`.
    pub below: f64,
    pub few: f64,
    /// Cost of none at all.
    pub none: f64,
    /// What it must not be less than.
    pub least: i64,
}

impl Cost {
    /// How far a number is from what is wanted; nothing where nothing is.
    pub fn off(&self, n: i64) -> f64 {
        if self.inverse > 0.0 {
            n as f64 - self.target
        } else {
            0.0
        }
    }

    /// What so many cost.
    pub fn of(&self, n: i64) -> f64 {
        let lack = LACK * (self.least - n).max(0) as f64;
        let none = if n <= 0 { self.none } else { 0.0 };
        let n = n as f64;
        let rest = self.few * (self.below - n).max(0.0) + none + lack;
        if self.ratio > 0.0 {
            return self.ratio * costs::stretch(n, self.target) + rest;
        }
        if self.quads > 0.0 {
            return self.quads * costs::missing(n, self.target) + rest;
        }
        let off = n - self.target;
        // Long edges cut corners off: too few are weighed by how many there are.
        let long = if n < self.target {
            self.target / n.max(model::LEAST_WANTED)
        } else {
            1.0
        };
        off * off * self.inverse * long + rest
    }
}

/// What costs are where they aren't the same for all uses.
pub(super) struct Prices {
    /// How much more an arc along a guide weighs.
    pub guided: f64,
    /// Weights of arcs' stretch and of the quads that they are off by, as [`Cost`] has them.
    pub ratio: f64,
    pub quads: f64,
    /// Cost of each quad that a guide lacks to be followed closely.
    pub chord: f64,
    /// Cost of a pole on a side.
    pub vanished: f64,
    /// Factor of the cost of a pole too near a side that it keeps from by default.
    pub berth: f64,
}

/// What the numbers of plans on a layout cost.
pub(super) struct Shape<'a> {
    pub layout: &'a Layout,
    /// Number of the first spoke of each patch.
    first: Vec<usize>,
    pub costs: Vec<Cost>,
    /// Of each number's square in the norm of lattices.
    pub weights: Vec<f64>,
    /// The sums: numbers of each.
    pub sums: Vec<Vec<usize>>,
    pub faces: Option<usize>,
    /// How all plans that keep the promised counts differ.
    pub lattice: Lattice,
}

impl<'a> Shape<'a> {
    /// As spirals are searched: by arcs, those along guides more. `None` where numbers of the lattice
    /// grow too large.
    pub fn new(ground: &Ground<'a>, asked: &Asked<'_>) -> Option<Self> {
        let prices = Prices {
            guided: GUIDED,
            ratio: 0.0,
            quads: 0.0,
            chord: costs::CHORD_BY_ARCS,
            vanished: costs::VANISHED_SPOKE_BY_ARCS,
            berth: 1.0,
        };
        let mut shape = Self::priced(ground, asked, &prices);
        let numbers = shape.costs.len() - shape.sums.len();
        let mut equations = shape.equations(asked);
        for (s, sum) in shape.sums.iter().enumerate() {
            let mut equation: Equation = sum.iter().map(|&a| (a, 1)).collect();
            equation.push((numbers + s, -1));
            equations.push(equation);
        }
        shape.lattice = Lattice::new(shape.costs.len(), &equations)?;
        shape.lattice.reduce(&shape.weights)?;
        Some(shape)
    }

    /// What patches and promises ask of numbers.
    pub fn equations(&self, asked: &Asked<'_>) -> Vec<Equation> {
        let mut equations = equations(self.layout, &self.first);
        for promise in asked.promises {
            equations.push(promise.arcs.iter().map(|&a| (a, 1)).collect());
        }
        equations
    }

    /// Adds what a sum of numbers costs.
    pub fn add_sum(&mut self, sum: Vec<usize>, cost: Cost) {
        self.weights.push(cost.inverse);
        self.costs.push(cost);
        self.sums.push(sum);
    }

    /// What numbers cost; the lattice is left empty.
    pub fn priced(ground: &Ground<'a>, asked: &Asked<'_>, prices: &Prices) -> Self {
        let layout = ground.layout;
        let vanishing = model::may_vanish(layout, asked.edge);
        let arc = |(a, target): (usize, f64)| {
            let (target, needed) = (target.max(model::LEAST_WANTED), f64::from(asked.needed[a]));
            let guided = matches!(layout.arcs[a].source, ArcSource::Chain(_));
            Cost {
                target,
                inverse: if guided { prices.guided } else { 1.0 } / target,
                ratio: prices.ratio,
                quads: prices.quads,
                below: needed,
                few: if needed > target { prices.chord } else { 0.0 },
                least: i64::from(!vanishing[a]),
                ..Cost::default()
            }
        };
        let wanted = model::wanted(layout, asked);
        let mut costs: Vec<Cost> = wanted.into_iter().enumerate().map(arc).collect();
        let mut first = Vec::with_capacity(layout.patches.len());
        for (p, patch) in layout.patches.iter().enumerate() {
            first.push(costs.len());
            if patch.sides.len() == 4 {
                continue;
            }
            let pin = layout.pins.iter().find(|pin| pin.patch == p);
            for (j, side) in patch.sides.iter().enumerate() {
                let way = pin.map(|pin| (pin.ways[j] / asked.edge).max(1.0));
                let (below, outright) = model::berth(layout, side).unwrap_or_default();
                costs.push(Cost {
                    target: way.unwrap_or(0.0),
                    inverse: way.map_or(0.0, |way| 1.0 / way),
                    ratio: 0.0,
                    quads: 0.0,
                    below: f64::from(below),
                    few: model::berth_cost(outright) * if outright { 1.0 } else { prices.berth },
                    none: prices.vanished,
                    least: i64::from(!model::is_laid(layout, side)),
                });
            }
        }
        let mut weights: Vec<f64> = costs.iter().map(|c| c.inverse.max(SPOKE_WEIGHT)).collect();
        let mut sums = model::sharing_ends(&layout.arcs);
        let three = sums.len();
        let sides = layout.patches.iter().flat_map(|p| &p.sides);
        let may_be_none = |side: &&Vec<ArcUse>| side.iter().all(|u| vanishing[u.arc]);
        let sides = sides.filter(may_be_none);
        sums.extend(sides.map(|side| side.iter().map(|u| u.arc).collect()));
        costs.extend((0..sums.len()).map(|s| Cost {
            least: if s < three { 3 } else { 1 },
            ..Cost::default()
        }));
        weights.resize(costs.len(), 0.0);
        Self {
            layout,
            first,
            costs,
            weights,
            sums,
            faces: ground.options.faces,
            lattice: Lattice::default(),
        }
    }

    /// All plans with these sums at nothing; `None` where numbers grow too large.
    pub fn with_none(&self, sums: &[Sum]) -> Option<Lattice> {
        let mut lattice = self.lattice.clone();
        for sum in sums {
            lattice.restrict(&self.equation(sum))?;
        }
        lattice.reduce(&self.weights)?;
        Some(lattice)
    }

    /// A sum as an equation.
    pub fn equation(&self, sum: &Sum) -> Equation {
        let arcs = sum.arcs.iter().map(|(&a, &f)| (a, f));
        let spokes = sum.spokes.iter();
        let spokes = spokes.map(|(&spoke, &f)| (self.spoke(spoke), f));
        arcs.chain(spokes).collect()
    }

    /// The number of a spoke of a patch.
    pub fn spoke(&self, [patch, spoke]: [usize; 2]) -> usize {
        self.first[patch] + spoke
    }

    /// The numbers of a plan.
    pub fn numbers(&self, plan: &Plan) -> Vec<i64> {
        let all = plan.arcs.iter().chain(plan.spokes.iter().flatten());
        let mut numbers: Vec<i64> = all.map(|&n| i64::from(n)).collect();
        for sum in &self.sums {
            numbers.push(sum.iter().map(|&a| numbers[a]).sum());
        }
        numbers
    }

    /// The plan of numbers, if there is one within what programs may have; `like`: a plan with the
    /// same surplus.
    pub fn plan(&self, numbers: &[i64], like: &Plan) -> Option<Plan> {
        let mut plan = like.clone();
        let all = plan.arcs.iter_mut().chain(plan.spokes.iter_mut().flatten());
        for (n, &number) in all.zip(numbers) {
            *n = u32::try_from(number)
                .ok()
                .filter(|n| *n <= model::MOST as u32)?;
        }
        plan.faces = (0..self.layout.patches.len())
            .map(|p| model::faces_of(self.layout, &plan, p))
            .sum();
        Some(plan)
    }

    /// What a plan costs.
    pub fn cost(&self, plan: &Plan) -> f64 {
        let numbers = self.numbers(plan);
        let alone: f64 = self.costs.iter().zip(numbers).map(|(c, n)| c.of(n)).sum();
        alone + self.miss(plan.faces as f64) + TOGETHER * self.together(plan).len() as f64
    }

    /// What so many faces cost.
    pub fn miss(&self, faces: f64) -> f64 {
        let of = |wanted: usize| (faces / wanted.max(1) as f64 - 1.0).abs();
        model::MISS_COST * self.faces.map_or(0.0, of)
    }

    /// Faces of numbers, which may be no plan: a patch whose sides disagree counts by their means.
    pub fn faces(&self, numbers: &[i64]) -> f64 {
        let of = |(p, patch): (usize, &Patch)| {
            let n = patch.sides.len();
            if n == 4 {
                let long = |axis: usize| -> i64 {
                    let sides = patch.sides[axis].iter().chain(&patch.sides[axis + 2]);
                    sides.map(|u| numbers[u.arc]).sum()
                };
                return (long(0) * long(1)) as f64 / 4.0;
            }
            let y = |i: usize| numbers[self.first[p] + i % n];
            (0..n).map(|i| (y(i) * y(i + 1)) as f64).sum()
        };
        self.layout.patches.iter().enumerate().map(of).sum()
    }

    /// By how much the number of faces changes with each number, to first order.
    pub fn slopes(&self, numbers: &[i64]) -> Vec<f64> {
        let mut slopes = vec![0.0; numbers.len()];
        for (p, patch) in self.layout.patches.iter().enumerate() {
            let n = patch.sides.len();
            if n == 4 {
                for axis in 0..2 {
                    let sides = |a: usize| patch.sides[a].iter().chain(&patch.sides[a + 2]);
                    let across: i64 = sides(1 - axis).map(|u| numbers[u.arc]).sum();
                    for used in sides(axis) {
                        slopes[used.arc] += across as f64 / 4.0;
                    }
                }
                continue;
            }
            let y = |i: usize| numbers[self.first[p] + i % n] as f64;
            for i in 0..n {
                slopes[self.first[p] + i] += y(i + n - 1) + y(i + 1);
            }
        }
        slopes
    }

    /// Pairs of poles of a kind that would be one vertex, by their vanished spokes.
    pub fn together(&self, plan: &Plan) -> Vec<[[usize; 2]; 2]> {
        let merged = plan.merged_nodes(self.layout);
        let mut seen: BTreeMap<(bool, Spot), [usize; 2]> = BTreeMap::new();
        let mut pairs = Vec::new();
        for (p, y) in plan.spokes.iter().enumerate() {
            for j in (0..y.len()).filter(|&j| y[j] == 0) {
                let side = &self.layout.patches[p].sides[j];
                let before = y[(j + y.len() - 1) % y.len()];
                let spot = spot(self.layout, plan, &merged, side, before);
                let kind = y.len() > 4;
                let other = spot.and_then(|spot| seen.insert((kind, spot), [p, j]));
                pairs.extend(other.map(|other| [other, [p, j]]));
            }
        }
        pairs
    }
}

/// The equations of the patches, as differences of plans meet them: what a surplus takes up stays.
fn equations(layout: &Layout, first: &[usize]) -> Vec<Equation> {
    let mut equations = Vec::new();
    for (patch, &first) in layout.patches.iter().zip(first) {
        let n = patch.sides.len();
        let along = |side: usize, factor: i32| {
            let side = patch.sides[side].iter();
            side.map(move |u| (u.arc, factor))
        };
        if n == 4 {
            equations
                .extend((0..2).map(|axis| along(axis, 1).chain(along(axis + 2, -1)).collect()));
            continue;
        }
        for i in 0..n {
            let spokes = [(i + n - 1) % n, (i + 1) % n].map(|j| (first + j, -1));
            equations.push(along(i, 1).chain(spokes).collect());
        }
    }
    equations
}

/// A vertex of the quads on a side.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
enum Spot {
    /// A node, by the vertex that stands for it.
    Node(u32),
    /// On an arc, so many quads from its first end.
    On(usize, u32),
}

/// The vertex so many quads along a side.
fn spot(
    layout: &Layout,
    plan: &Plan,
    merged: &BTreeMap<u32, u32>,
    side: &[ArcUse],
    along: u32,
) -> Option<Spot> {
    let mut left = along;
    for used in side {
        let (n, arc) = (plan.arcs[used.arc], &layout.arcs[used.arc]);
        if left > n {
            left -= n;
            continue;
        }
        let k = if used.forward { left } else { n - left };
        let node = match k {
            0 => arc.vertices.first(),
            k if k == n => arc.vertices.last(),
            k => return Some(Spot::On(used.arc, k)),
        };
        return node.map(|v| Spot::Node(*merged.get(v).unwrap_or(v)));
    }
    None
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::testing::all_made;

    /// Poles on a side of their patch are told as one vertex from both patches of an arc, and as two
    /// elsewhere on it.
    #[test]
    fn a_spot_is_the_same_from_both_sides_of_an_arc() {
        let mut met = 0;
        for made in all_made() {
            let (layout, plan) = (&made.laid.layout, &made.plan);
            let merged = plan.merged_nodes(layout);
            let mut seen: BTreeMap<Spot, usize> = BTreeMap::new();
            for patch in &layout.patches {
                for side in &patch.sides {
                    let n: u32 = side.iter().map(|u| plan.arcs[u.arc]).sum();
                    let mut last = None;
                    for along in 0..=n {
                        let spot = spot(layout, plan, &merged, side, along).unwrap();
                        assert_ne!(Some(spot), last);
                        if matches!(spot, Spot::On(..)) {
                            *seen.entry(spot).or_default() += 1;
                        }
                        last = Some(spot);
                    }
                    assert_eq!(spot(layout, plan, &merged, side, n + 1), None);
                }
            }
            assert!(seen.values().all(|&n| n <= 2));
            met += seen.values().filter(|&&n| n == 2).count();
        }
        assert!(met > 100, "{met}");
    }

    /// (n − t)² / n below t quads, (n − t)² / t above.
    #[test]
    fn long_edges_cost_more_than_short_ones() {
        let cost = Cost {
            target: 6.0,
            inverse: 1.0 / 6.0,
            ..Cost::default()
        };
        assert_eq!(cost.of(6), 0.0);
        assert!((cost.of(9) - 1.5).abs() < 1e-12 && (cost.of(3) - 3.0).abs() < 1e-12);
        assert!(cost.of(1) > cost.of(2) && cost.of(-1) > cost.of(0));
    }
}
