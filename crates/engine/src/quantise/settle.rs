//! Steps to cheaper plans.
//!
//! A plan is made cheaper by one or two vectors of a lattice at a time, for as long as that gains
//! anything: augmentation along a test set (Graver 1975, from memory), with short vectors for the set, so
//! that what is found is cheap, not proved to be cheapest. It takes milliseconds where a program
//! takes a tenth of a second, and as much from numbers that are no plan.

use super::lattice::{Equation, Lattice};
use super::shape::{Cost, Shape, TOGETHER};
use super::{Plan, model};

/// Steps at most from one plan.
const MOST_STEPS: usize = 400;
/// Gain from which on a step is taken.
const GAIN: f64 = 1e-6;
/// A step that costs more than this alone is not tried with another one, nor are two that
/// cost more by their squares alone.
const ALONE: f64 = 25.0;
const BY_SQUARES: f64 = 6.0;
/// Times that the number of faces is made linear anew, and poles on one vertex are parted.
const ROUNDS: usize = 4;
/// Counts whose costs are looked up.
const TABLE: usize = 40;
/// Plans listed at most beside one, and cost of one or two steps up to which they are.
const BESIDE: usize = 600;
const DEARER: f64 = 40.0;

/// Numbers that a vector changes, and by how much.
type Change = Vec<(usize, i64)>;

impl Shape<'_> {
    /// A plan in which an equation comes to what is asked, and the lattice of those like it;
    /// `None` where there is none or none was found.
    pub fn brought_to(
        &self,
        lattice: &Lattice,
        plan: &Plan,
        equation: &Equation,
        to: i64,
    ) -> Option<(Plan, Lattice)> {
        let mut lattice = lattice.clone();
        let mut numbers = self.numbers(plan);
        let terms = equation.iter();
        let now: i64 = terms.map(|&(i, f)| i64::from(f) * numbers[i]).sum();
        let step = lattice.restrict(equation)??;
        if (now - to) % step.value != 0 {
            return None;
        }
        lattice.reduce(&self.weights)?;
        let times = (now - to) / step.value;
        for (n, &s) in numbers.iter_mut().zip(&step.vector) {
            *n -= times * i64::from(s);
        }
        Some((self.settled(&lattice, &numbers, plan)?, lattice))
    }

    /// The plan at the end of all steps that gain from a plan, or from what is nearest to the numbers that
    /// are wanted; `None` where neither is sound.
    pub fn cheaper(&self, plan: &Plan) -> Option<Plan> {
        let found = self.settled(&self.lattice, &self.numbers(plan), plan);
        found.filter(|plan| model::crowded(self.layout, plan).is_empty())
    }

    /// A cheap plan among those that differ from numbers, which may lie anywhere, by vectors of a
    /// lattice; `like`: a plan with the same surplus.
    fn settled(&self, lattice: &Lattice, numbers: &[i64], like: &Plan) -> Option<Plan> {
        let off = |(&n, cost): (&i64, &Cost)| cost.off(n);
        let rest: Vec<f64> = numbers.iter().zip(&self.costs).map(off).collect();
        let taken = lattice.nearest(rest, &self.weights);
        let near: Vec<i64> = numbers.iter().zip(&taken).map(|(n, t)| n - t).collect();
        let steps = Steps::new(self, lattice);
        let ends = [numbers.to_vec(), near].into_iter();
        let ends = ends.filter_map(|start| self.descended(&steps, start, like));
        ends.min_by(|a, b| a.0.total_cmp(&b.0)).map(|end| end.1)
    }

    /// The plan at the end of all steps that gain, and its cost.
    fn descended(&self, steps: &Steps, mut numbers: Vec<i64>, like: &Plan) -> Option<(f64, Plan)> {
        let mut costs = self.costs.clone();
        let mut left = MOST_STEPS;
        let mut best: Option<(f64, Plan)> = None;
        for _ in 0..ROUNDS {
            let faces = self.faces(&numbers);
            let slopes = self.slopes(&numbers);
            let descent = Descent::new(self, steps, &costs, &slopes);
            descent.run(&mut numbers, faces, &mut left);
            let Some(plan) = self.plan(&numbers, like) else {
                continue;
            };
            let mut done = true;
            for a in plan.overmerged(self.layout) {
                costs[a].least = 1;
                done = false;
            }
            for spoke in self.corner_poles(&plan) {
                costs[spoke].least = 1;
                done = false;
            }
            let sound = done && self.has_all(&numbers);
            if sound {
                let cost = self.cost(&plan);
                if best.as_ref().is_none_or(|b| cost < b.0) {
                    best = Some((cost, plan.clone()));
                }
            }
            for spoke in self.together(&plan).into_iter().flatten() {
                costs[self.spoke(spoke)].none += TOGETHER / 2.0;
                done = false;
            }
            if done && (self.faces(&numbers) - faces).abs() < 1.0 {
                break;
            }
        }
        best
    }

    /// Whether no number is less than it must be.
    pub fn has_all(&self, numbers: &[i64]) -> bool {
        numbers.iter().zip(&self.costs).all(|(&n, c)| n >= c.least)
    }

    /// Spokes of patches of which more than one have vanished.
    fn corner_poles(&self, plan: &Plan) -> Vec<usize> {
        let spokes = plan.spokes.iter().enumerate();
        let many = spokes.filter(|(_, y)| y.iter().filter(|y| **y == 0).count() > 1);
        many.flat_map(|(p, y)| (0..y.len()).map(move |j| self.spoke([p, j])))
            .collect()
    }

    /// Plans one or two steps away, the cheapest first, with what they cost.
    pub fn beside(&self, plan: &Plan) -> Vec<(f64, Plan)> {
        let numbers = self.numbers(plan);
        let steps = Steps::new(self, &self.lattice);
        let slopes = vec![0.0; numbers.len()];
        let descent = Descent::new(self, &steps, &self.costs, &slopes);
        let single = descent.single(&numbers);
        let mut ways: Vec<(f64, [Option<Signed>; 2])> = Vec::new();
        let mut there = numbers.clone();
        for (a, &(cost, one)) in single.iter().enumerate() {
            if cost < DEARER {
                ways.push((cost, [Some(one), None]));
            }
            if cost > DEARER + ALONE {
                continue;
            }
            steps.take(&mut there, one);
            for &(alone, two) in &single[a + 1..] {
                if one.step == two.step || steps.by_squares(cost + alone, one, two) > DEARER {
                    continue;
                }
                let cost = cost + descent.cost(&there, two);
                if cost < DEARER {
                    ways.push((cost, [Some(one), Some(two)]));
                }
            }
            steps.take(&mut there, one.back());
        }
        ways.sort_by(|a, b| a.0.total_cmp(&b.0));
        ways.truncate(BESIDE);
        let mut plans: Vec<(f64, Plan)> = Vec::new();
        for (_, way) in ways {
            let mut there = numbers.clone();
            for step in way.into_iter().flatten() {
                steps.take(&mut there, step);
            }
            let next = self.plan(&there, plan).filter(|_| self.has_all(&there));
            let sound =
                |p: &Plan| self.corner_poles(p).is_empty() && p.overmerged(self.layout).is_empty();
            if let Some(next) = next.filter(sound) {
                plans.push((self.cost(&next), next));
            }
        }
        plans.sort_by(|a, b| a.0.total_cmp(&b.0));
        plans
    }
}

/// A step forwards (1) or backwards (−1).
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
struct Signed {
    step: usize,
    sign: i64,
}

impl Signed {
    fn back(self) -> Self {
        Self {
            sign: -self.sign,
            ..self
        }
    }
}

/// The vectors of a lattice, as steps.
struct Steps {
    changes: Vec<Change>,
    /// What two steps together cost more than each alone by the squares of the costs, by pairs.
    mixed: Vec<Vec<f64>>,
}

impl Steps {
    fn new(shape: &Shape<'_>, lattice: &Lattice) -> Self {
        let change = |v: &Vec<i32>| -> Change {
            let all = v.iter().enumerate().filter(|(_, n)| **n != 0);
            all.map(|(i, &n)| (i, i64::from(n))).collect()
        };
        let changes: Vec<Change> = lattice.vectors.iter().map(change).collect();
        let mixed = |change: &Change| {
            let of = |other: &Vec<i32>| {
                let terms = change.iter();
                terms
                    .map(|&(i, d)| 2.0 * shape.costs[i].inverse * d as f64 * f64::from(other[i]))
                    .sum()
            };
            lattice.vectors.iter().map(of).collect()
        };
        Self {
            mixed: changes.iter().map(mixed).collect(),
            changes,
        }
    }

    fn take(&self, numbers: &mut [i64], Signed { step, sign }: Signed) {
        for &(i, d) in &self.changes[step] {
            numbers[i] += sign * d;
        }
    }

    /// What two steps cost that cost so much alone, but for what isn't a square.
    fn by_squares(&self, alone: f64, one: Signed, two: Signed) -> f64 {
        alone + (one.sign * two.sign) as f64 * self.mixed[one.step][two.step]
    }
}

/// The way to cheaper numbers.
struct Descent<'a> {
    shape: &'a Shape<'a>,
    steps: &'a Steps,
    costs: &'a [Cost],
    /// What the least counts of each number cost, one after another.
    table: Vec<f64>,
    /// By how much each step changes the number of faces.
    faces: Vec<f64>,
}

impl<'a> Descent<'a> {
    fn new(shape: &'a Shape<'a>, steps: &'a Steps, costs: &'a [Cost], slopes: &[f64]) -> Self {
        let faces = |change: &Change| change.iter().map(|&(i, d)| slopes[i] * d as f64).sum();
        Self {
            shape,
            steps,
            costs,
            table: costs
                .iter()
                .flat_map(|c| (0..TABLE as i64).map(|n| c.of(n)))
                .collect(),
            faces: steps.changes.iter().map(faces).collect(),
        }
    }

    /// What so many of a number cost.
    fn price(&self, number: usize, n: i64) -> f64 {
        match usize::try_from(n) {
            Ok(at) if at < TABLE => self.table[number * TABLE + at],
            _ => self.costs[number].of(n),
        }
    }

    /// What a step costs, but for faces.
    fn cost(&self, numbers: &[i64], Signed { step, sign }: Signed) -> f64 {
        let changes = self.steps.changes[step].iter();
        let dearer = |&(i, d): &(usize, i64)| {
            let n = numbers[i];
            self.price(i, n + sign * d) - self.price(i, n)
        };
        changes.map(dearer).sum()
    }

    fn more_faces(&self, Signed { step, sign }: Signed) -> f64 {
        sign as f64 * self.faces[step]
    }

    /// All steps, with what they cost but for faces.
    fn single(&self, numbers: &[i64]) -> Vec<(f64, Signed)> {
        let steps = 0..self.steps.changes.len();
        let signed = steps.flat_map(|step| [1, -1].map(|sign| Signed { step, sign }));
        signed.map(|s| (self.cost(numbers, s), s)).collect()
    }

    /// Takes steps that gain most; where none gains, the first pairs that do.
    fn run(&self, numbers: &mut [i64], mut faces: f64, left: &mut usize) {
        while *left > 0 {
            *left -= 1;
            let miss = |more: f64| self.shape.miss(faces + more) - self.shape.miss(faces);
            let single = self.single(numbers);
            let whole = single
                .iter()
                .map(|&(cost, s)| (cost + miss(self.more_faces(s)), s));
            let cheapest = whole.min_by(|a, b| a.0.total_cmp(&b.0));
            let taken = match cheapest {
                Some((gain, step)) if gain < -GAIN => [Some(step), None],
                _ => match self.pair(numbers, &single, miss) {
                    Some([one, two]) => [Some(one), Some(two)],
                    None => break,
                },
            };
            for step in taken.into_iter().flatten() {
                faces += self.more_faces(step);
                self.steps.take(numbers, step);
            }
        }
    }

    /// Of the first step that gains with another one, the pair that gains most.
    fn pair(
        &self,
        numbers: &[i64],
        single: &[(f64, Signed)],
        miss: impl Fn(f64) -> f64,
    ) -> Option<[Signed; 2]> {
        let mut there = numbers.to_vec();
        for (a, &(cost, one)) in single.iter().enumerate() {
            if cost > ALONE {
                continue;
            }
            self.steps.take(&mut there, one);
            let mut best = (-GAIN, None);
            for &(alone, two) in &single[a + 1..] {
                if one.step == two.step {
                    continue;
                }
                let missed = miss(self.more_faces(one) + self.more_faces(two));
                if self.steps.by_squares(cost + alone, one, two) + missed > BY_SQUARES {
                    continue;
                }
                let gain = cost + self.cost(&there, two) + missed;
                if gain < best.0 {
                    best = (gain, Some([one, two]));
                }
            }
            if best.1.is_some() {
                return best.1;
            }
            self.steps.take(&mut there, one.back());
        }
        None
    }
}

#[cfg(test)]
mod tests {
    use super::super::model::Asked;
    use super::super::tests::ground_of;
    use super::super::{QuantiseOptions, chords};
    use super::*;
    use crate::testing::all_made;

    /// Every arc of every case with one quad more: what comes out meets all that plans must, and
    /// counts too; the lattice leaves the arc as it is.
    #[test]
    fn an_arc_is_brought_to_one_quad_more_and_the_rest_settles() {
        let mut brought = 0;
        for made in all_made() {
            let (layout, plan) = (&made.laid.layout, &made.plan);
            let surface = &made.laid.surface;
            let options = QuantiseOptions::new(made.case.edge, Some(plan.faces));
            let task = base::Task::default();
            let (ground, counts) = ground_of(made, &options, &task);
            let needed = chords::needed(surface, layout, plan.edge);
            let asked = Asked::new(&counts, &needed, plan.edge, &options, 0);
            let shape = Shape::new(&ground, &asked).unwrap();
            let sums = |plan: &Plan| -> Vec<u32> {
                let of =
                    |p: &super::super::model::Promise| p.arcs.iter().map(|&a| plan.arcs[a]).sum();
                counts.iter().map(of).collect()
            };
            for arc in 0..layout.arcs.len() {
                let count = i64::from(plan.arcs[arc]) + 1;
                let next = shape.brought_to(&shape.lattice, plan, &vec![(arc, 1)], count);
                let Some((next, lattice)) = next else {
                    continue;
                };
                super::super::tests::assert_sound(layout, &next);
                assert_eq!(i64::from(next.arcs[arc]), count);
                assert_eq!(sums(&next), sums(plan));
                assert!(lattice.vectors.len() < shape.lattice.vectors.len());
                assert!(lattice.vectors.iter().all(|v| v[arc] == 0));
                brought += 1;
            }
        }
        assert!(brought > 50, "{brought}");
    }
}
