//! The plan nearest to the budget.
//!
//! One program finds a plan, or proves that there is none. From there single steps of the lattice of all
//! plans go on (see [`super::settle`]): by the same costs they find plans that are as cheap as those of
//! programs of a thousand nodes or cheaper, in a hundredth of the time, and the number of faces is
//! simply one cost more. The edge length that the budget means is found by plans that don't mind
//! their number of faces.

use numeric::ProgramError;

use super::costs::{Costs, Weighing};
use super::lattice::Lattice;
use super::model::{self, Asked};
use super::shape::{Cost, Prices, Shape};
use super::{Found, Ground, Plan, QuantiseError, chords};
use crate::layout::ArcUse;

/// Edge lengths tried at most.
const EDGES: usize = 8;
/// Share of the faces wanted within which an edge length means the budget.
const MEANT: f64 = 0.02;
/// Most that the number of faces is taken to differ by at once.
const STRIDE: f64 = 4.0;
/// Rounds of programs with the budget as a row.
const BUDGET_ROUNDS: usize = 4;
/// Share of the budget within which a plan is near enough.
const CLOSE: f64 = 0.01;

impl Ground<'_> {
    /// The plan whose number of faces is nearest to the budget.
    pub(super) fn search(&self, counts: &[model::Promise]) -> Result<Found, QuantiseError> {
        let options = self.options;
        let mut edge = options.quad_edge;
        let mut needed = chords::needed(self.surface, self.layout, edge);
        let mut plan = match self.first(counts, &needed) {
            Ok(plan) => plan,
            Err(ProgramError::Infeasible) => return Ok(Found::Infeasible),
            Err(other) => return Err(QuantiseError::Program(other)),
        };
        let mut lattice: Option<Lattice> = None;
        for round in 1..=EDGES {
            self.task
                .report("quantise", round as f32 / (EDGES + 1) as f32)?;
            let asked = Asked::new(counts, &needed, edge, options, options.search_nodes);
            let shape = Shape::of_program(self, &asked, &plan, lattice.take());
            let Some(mut shape) = shape else {
                break;
            };
            shape.faces = None;
            let next = match shape.cheaper(&plan) {
                Some(next) => next,
                // At another edge length other arcs may vanish.
                None => match model::solve(self.layout, &asked) {
                    Ok(next) => next,
                    Err(_) => break,
                },
            };
            let same = next.arcs == plan.arcs && next.spokes == plan.spokes;
            plan = Plan { edge, ..next };
            let Some(wanted) = options.faces else {
                break;
            };
            let ratio = plan.faces as f64 / wanted.max(1) as f64;
            let meant = (ratio - 1.0).abs() <= MEANT || same && round > 1;
            if meant || round == EDGES {
                shape.faces = Some(wanted);
                if let Some(next) = shape.cheaper(&plan) {
                    plan = Plan { edge, ..next };
                }
                plan = nearer_to_budget(self, counts, &needed, wanted, plan);
                break;
            }
            edge *= ratio.clamp(1.0 / STRIDE, STRIDE).sqrt();
            needed = chords::needed(self.surface, self.layout, edge);
            lattice = Some(shape.lattice);
        }
        Ok(Found::Plan(plan))
    }

    /// Some plan with few pairs of poles that counts force; `needed`: see [`chords::needed`].
    fn first(&self, counts: &[model::Promise], needed: &[u32]) -> Result<Plan, ProgramError> {
        let options = self.options;
        let edge = options.quad_edge;
        let mut asked = Asked::new(counts, needed, edge, options, options.search_nodes);
        // Steps go on from it whatever it was weighed by, and by arcs alone it takes a third of the time.
        asked.weighing = Weighing::Arcs;
        let plan = model::solve(self.layout, &asked)?;
        if plan.forced() == 0 {
            return Ok(plan);
        }
        // Steps keep these pairs, so fewer are worth a longer look; a plan there is.
        asked.nodes = options.nodes;
        asked.needed_at_all = false;
        let longer = model::solve(self.layout, &asked).ok();
        let fewer = longer.filter(|longer| longer.forced() < plan.forced());
        Ok(fewer.unwrap_or(plan))
    }
}

/// Where no steps lead to the budget: the faces' number, made linear about the plan at hand, becomes a row
/// of the program, a few times over. `needed`: see [`chords::needed`], at the plan's edge length.
fn nearer_to_budget(
    ground: &Ground<'_>,
    counts: &[model::Promise],
    needed: &[u32],
    wanted: usize,
    mut plan: Plan,
) -> Plan {
    let miss = |faces: usize| (faces as f64 / wanted as f64 - 1.0).abs();
    for _ in 0..BUDGET_ROUNDS {
        if miss(plan.faces) <= CLOSE {
            break;
        }
        let options = ground.options;
        let budget = model::Budget {
            about: &plan,
            wanted,
            slack: CLOSE,
        };
        let asked = Asked {
            budget: Some(&budget),
            needed_at_all: false,
            ..Asked::new(counts, needed, plan.edge, options, options.nodes)
        };
        match model::solve(ground.layout, &asked) {
            // Poles are never made for the budget's sake.
            Ok(next) if miss(next.faces) < miss(plan.faces) && next.forced() <= plan.forced() => {
                plan = next
            }
            _ => break,
        }
    }
    plan
}

impl<'a> Shape<'a> {
    /// As the program weighs plans with the surplus of this one; `lattice`: that of all plans that keep the
    /// promised counts, from another edge length. `None` where its numbers grow too large.
    fn of_program(
        ground: &Ground<'a>,
        asked: &Asked<'_>,
        like: &Plan,
        lattice: Option<Lattice>,
    ) -> Option<Self> {
        let layout = ground.layout;
        let costs = Costs::new(layout, asked.edge, asked.weighing, asked.adapt);
        let unit = costs.unit();
        let (ratio, quads) = match asked.weighing {
            Weighing::Strips => (1.0, 0.0),
            Weighing::Arcs => (0.0, 1.0),
        };
        let prices = Prices {
            guided: 1.0,
            ratio,
            quads,
            chord: costs.chord() / unit,
            vanished: costs.vanished_spoke() / unit,
            berth: 1.0 / unit,
        };
        let mut shape = Self::priced(ground, asked, &prices);
        let numbers = shape.costs.len() - shape.sums.len();
        let arcs = |side: &[ArcUse]| side.iter().map(|u| u.arc).collect::<Vec<_>>();
        for (p, patch) in layout.patches.iter().enumerate() {
            for (j, (target, weight)) in costs.families(p).into_iter().enumerate() {
                let target = target.max(model::LEAST_WANTED);
                let sum = match patch.sides.len() {
                    4 => arcs(&patch.sides[j]),
                    _ => vec![shape.spoke([p, j])],
                };
                let cost = Cost {
                    target,
                    inverse: weight / target,
                    ratio: weight,
                    ..Cost::default()
                };
                shape.add_sum(sum, cost);
            }
            for (side, least) in model::room(like.surplus[p]) {
                let cost = Cost {
                    least: i64::from(least),
                    ..Cost::default()
                };
                shape.add_sum(arcs(&patch.sides[side]), cost);
            }
        }
        let known = lattice.is_some();
        shape.lattice = match lattice {
            Some(lattice) => lattice,
            None => Lattice::new(numbers, &shape.equations(asked))?,
        };
        for vector in &mut shape.lattice.vectors {
            vector.truncate(numbers);
            for sum in &shape.sums {
                let value = sum.iter().map(|&i| vector[i]).sum();
                vector.push(value);
            }
        }
        // Other edge lengths weigh all numbers alike, or nearly so.
        if !known {
            shape.lattice.reduce(&shape.weights)?;
        }
        Some(shape)
    }
}

#[cfg(test)]
mod tests {
    use base::Task;

    use super::super::QuantiseOptions;
    use super::super::tests::{assert_sound, ground_of};
    use super::*;
    use crate::testing::all_made;

    /// Against programs of 1,500 nodes at the same edge length, by both ways of weighing: the plan by steps
    /// is nowhere much dearer, faces that are missed counted, and programs' plans have what steps hold to.
    #[test]
    fn steps_find_plans_as_cheap_as_long_programs_do() {
        let mut cheaper = 0;
        for made in all_made() {
            let (surface, layout) = (&made.laid.surface, &made.laid.layout);
            for weighing in [Weighing::Strips, Weighing::Arcs] {
                let mut options = QuantiseOptions::new(made.case.edge, made.case.faces);
                options.weighing = weighing;
                let task = Task::default();
                let (ground, counts) = ground_of(made, &options, &task);
                let Found::Plan(plan) = ground.search(&counts).unwrap() else {
                    panic!("{}", made.case.name)
                };
                assert_sound(layout, &plan);
                let needed = chords::needed(surface, layout, plan.edge);
                let asked = Asked::new(&counts, &needed, plan.edge, &options, options.nodes);
                let program = model::solve(layout, &asked).unwrap();
                let wanted = made.case.faces.unwrap();
                let program = nearer_to_budget(&ground, &counts, &needed, wanted, program);
                let shape = Shape::of_program(&ground, &asked, &program, None).unwrap();
                assert!(shape.has_all(&shape.numbers(&program)));
                let pairs = model::SURPLUS_COST;
                let costs =
                    [&plan, &program].map(|p| shape.cost(p) + pairs * f64::from(p.forced()));
                assert!(
                    costs[0] <= 1.05 * costs[1] + 1.0,
                    "{}, {weighing:?}: {costs:?}",
                    made.case.name
                );
                cheaper += usize::from(costs[0] < costs[1] - 1e-9);
            }
        }
        assert!(cheaper > 0);
    }
}
