//! What a plan's numbers cost: quads longer or shorter than the shape asks for, poles out of place.

use std::sync::LazyLock;

use numeric::{Program, Relation, Variable};

use super::model::{LEAST_WANTED, SURPLUS_COST};
use crate::layout::{Layout, Width};

/// By what a plan is weighed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Weighing {
    /// By arcs, and by how wide patches are between them: strips that lay many quads weigh more.
    Strips,
    /// By the lengths of arcs alone, whatever lies between them.
    Arcs,
}

/// Cost of a quad edge along an arc, or along a strip of usual length, that is e times too long or
/// too short.
const STRETCH: f64 = 8.0;
/// Usual quads along a strip, over the square root of all quads: about as many as between two
/// guides of a coat.
const USUAL: f64 = 0.19;
/// Least and most that a strip's length makes it weigh.
const LIGHTEST: f64 = 0.25;
const HEAVIEST: f64 = 4.0;
/// Square root of the number of quads from which the cost of a pair of poles that counts force grows
/// with it, as that of all stretch does: none is made for the sake of evenness.
const SURPLUS_SIZE: f64 = 30.0;
/// Cost of a pole on a side, over the square root of all quads.
const VANISHED_SPOKE: f64 = 2.0;
/// Cost of each quad that a guide lacks to be followed closely, and by how much more where size is to
/// follow curvature altogether: a hem with folds takes more columns than the cloth above it.
const CHORD: f64 = 24.0;
const FOLLOWING: f64 = 5.5;
/// Costs where arcs are weighed. A pole on a side has quads that are less square than around a pole
/// inside.
pub(super) const VANISHED_SPOKE_BY_ARCS: f64 = 4.0;
pub(super) const CHORD_BY_ARCS: f64 = 4.5;
/// Ratios between which the cost of stretch runs straight.
const RATIOS: [f64; 7] = [1.0, 1.15, 1.35, 1.65, 2.1, 2.8, 4.0];

/// The costs of plans of one layout at one edge length.
pub(super) struct Costs<'a> {
    layout: &'a Layout,
    edge: f64,
    weighing: Weighing,
    /// How far size follows curvature, 0 to 1.
    adapt: f64,
    /// Square root of the quads that the whole layout is worth.
    size: f64,
}

impl<'a> Costs<'a> {
    pub fn new(layout: &'a Layout, edge: f64, weighing: Weighing, adapt: f64) -> Self {
        // Each place lies in two families of strips.
        let all = layout.widths.iter().flatten().flatten();
        let area: f64 = all.map(|w| w.across * w.along).sum::<f64>() / 2.0;
        Self {
            layout,
            edge,
            weighing,
            adapt: adapt.clamp(0.0, 1.0),
            size: area.sqrt() / edge,
        }
    }

    /// Cost of a pair of poles that counts force.
    pub fn surplus(&self) -> f64 {
        match self.weighing {
            Weighing::Strips => STRETCH * SURPLUS_COST * (self.size / SURPLUS_SIZE).max(1.0),
            Weighing::Arcs => SURPLUS_COST,
        }
    }

    /// Cost of a pole that isn't where it was asked for outright: as many times its cost where arcs are
    /// weighed as stretch costs more.
    pub fn out_of_place(&self, by_arcs: f64) -> f64 {
        match self.weighing {
            Weighing::Strips => STRETCH * by_arcs,
            Weighing::Arcs => by_arcs,
        }
    }

    /// Cost of a pole on a side.
    pub fn vanished_spoke(&self) -> f64 {
        match self.weighing {
            Weighing::Strips => VANISHED_SPOKE * self.size,
            Weighing::Arcs => VANISHED_SPOKE_BY_ARCS,
        }
    }

    /// Cost of each quad that a guide lacks to be followed closely.
    pub fn chord(&self) -> f64 {
        match self.weighing {
            Weighing::Strips => CHORD * (1.0 + FOLLOWING * self.adapt),
            Weighing::Arcs => CHORD_BY_ARCS,
        }
    }

    /// Cost of an edge that is e times too long or too short, where arcs are weighed 1: what other costs
    /// are measured in where plans are made cheaper step by step.
    pub fn unit(&self) -> f64 {
        match self.weighing {
            Weighing::Strips => STRETCH,
            Weighing::Arcs => 1.0,
        }
    }

    /// What strips of the families of a patch should number, and what that weighs beside an arc; nothing
    /// where arcs are weighed.
    pub fn families(&self, patch: usize) -> Vec<(f64, f64)> {
        if self.weighing == Weighing::Arcs {
            return Vec::new();
        }
        let widths = self.layout.widths[patch].iter().flatten();
        let of = |&Width { across, along }: &Width| {
            let length = along / self.edge / (USUAL * self.size);
            (across / self.edge, length.clamp(LIGHTEST, HEAVIEST))
        };
        widths.map(of).collect()
    }

    /// Adds what an arc costs that has other than `target` quads.
    pub fn arc(&self, program: &mut Program, arc: Variable, target: f64) {
        let terms = vec![(arc, 1.0)];
        match self.weighing {
            Weighing::Strips => by_ratio(program, terms, target, STRETCH),
            Weighing::Arcs => by_quads(program, terms, target, 1.0),
        }
    }

    /// Adds what a spoke to a pinned pole costs that has other than `target` quads.
    pub fn spoke(&self, program: &mut Program, spoke: Variable, target: f64) {
        by_quads(program, vec![(spoke, 1.0)], target, self.out_of_place(1.0));
    }

    /// Adds what the strips of a patch cost that are wider or narrower than they should be; `number`:
    /// how many strips a family has.
    pub fn strips(
        &self,
        program: &mut Program,
        patch: usize,
        number: impl Fn(usize) -> Vec<(Variable, f64)>,
    ) {
        for (i, (target, weight)) in self.families(patch).into_iter().enumerate() {
            by_ratio(program, number(i), target, STRETCH * weight);
        }
    }
}

/// The straight pieces of the cost of stretch, from none on: slope, and width as a share of what is
/// wanted; of too many, and of too few.
static PIECES: LazyLock<[Vec<(f64, f64)>; 2]> = LazyLock::new(|| {
    [true, false].map(|more| {
        let ratio = |r: f64| if more { r } else { 1.0 / r };
        let cost = |r: f64| ratio(r).max(1.0) * r.ln().powi(2);
        let mut steepest = 0.0;
        let piece = |(i, pair): (usize, &[f64])| {
            let width = (ratio(pair[1]) - ratio(pair[0])).abs();
            steepest = f64::max(steepest, (cost(pair[1]) - cost(pair[0])) / width);
            let last = i + 2 == RATIOS.len();
            (steepest, if last { f64::INFINITY } else { width })
        };
        RATIOS.windows(2).enumerate().map(piece).collect()
    })
});

/// What so many cost by [`by_ratio`], but for the weight.
pub(super) fn stretch(n: f64, target: f64) -> f64 {
    along(&PIECES[usize::from(n < target)], n, target)
}

/// The cost along straight pieces from `target` to `n`.
fn along(pieces: &[(f64, f64)], n: f64, target: f64) -> f64 {
    let mut left = (n / target - 1.0).abs();
    let mut cost = 0.0;
    for &(slope, width) in pieces {
        cost += slope * left.min(width);
        left = (left - width).max(0.0);
    }
    cost * target
}

/// Adds a convex piecewise linear cost near ln² (n / t) for each quad that is there or wanted,
/// whichever are more, but for a weight.
fn by_ratio(program: &mut Program, mut terms: Vec<(Variable, f64)>, target: f64, weight: f64) {
    let target = target.max(LEAST_WANTED);
    for (pieces, sign) in PIECES.iter().zip([-1.0, 1.0]) {
        for &(slope, width) in pieces {
            terms.push((program.real(weight * slope, width * target), sign));
        }
    }
    program.row(&terms, Relation::Equal, target);
}

/// The straight pieces of the cost by quads: slope, and width as a share of what is wanted.
const STEPS: [(f64, f64); 3] = [(0.2, 0.2), (0.8, 0.4), (2.0, f64::INFINITY)];
/// Too few quads stretch as much as too many squeeze, but cost a little more: a squeezed strip can be
/// thinned, a stretched one can't be seen around.
const TOO_FEW: f64 = 1.05;

/// What so many cost by [`by_quads`], but for the weight.
pub(super) fn missing(n: f64, target: f64) -> f64 {
    along(&STEPS, n, target) * if n < target { TOO_FEW } else { 1.0 }
}

/// Adds a convex piecewise linear cost near (n − t)² / t, but for a weight.
fn by_quads(program: &mut Program, mut terms: Vec<(Variable, f64)>, target: f64, weight: f64) {
    let target = target.max(LEAST_WANTED);
    for (slope, width) in STEPS {
        let most = width * target;
        terms.push((program.real(weight * slope, most), -1.0));
        terms.push((program.real(weight * slope * TOO_FEW, most), 1.0));
    }
    program.row(&terms, Relation::Equal, target);
}

#[cfg(test)]
mod tests {
    use numeric::ProgramLimits;

    use super::*;

    fn cost(n: f64, target: f64, add: impl Fn(&mut Program, Vec<(Variable, f64)>, f64)) -> f64 {
        let mut program = Program::default();
        let number = program.whole(0.0, 0, 1000);
        program.row(&[(number, 1.0)], Relation::Equal, n);
        add(&mut program, vec![(number, 1.0)], target);
        let limits = ProgramLimits { nodes: 1, gap: 0.0 };
        program.solve(limits, false).unwrap().cost
    }

    /// The logarithm is met at the ends of each straight piece, and nowhere far from it.
    #[test]
    fn stretch_costs_the_square_of_its_logarithm() {
        let by_ratio = |p: &mut Program, t: Vec<(Variable, f64)>, target: f64| {
            by_ratio(p, t, target, 1.0);
        };
        for n in [5.0, 7.0, 10.0, 12.0, 20.0, 28.0, 40.0, 56.0] {
            let found = cost(n, 20.0, by_ratio);
            let exact = f64::max(n, 20.0) * (n / 20.0_f64).ln().powi(2);
            assert!(
                (found - exact).abs() <= 0.25 + 0.06 * exact,
                "{n}: {found} {exact}"
            );
        }
        assert_eq!(cost(20.0, 20.0, by_ratio), 0.0);
        // Far beyond, each further quad costs more than one that is only twice too many: a budget
        // is met by all strips, not by crowding one.
        let step = |n: f64| cost(n + 1.0, 20.0, by_ratio) - cost(n, 20.0, by_ratio);
        assert!(step(100.0) > 2.0 * step(30.0));
    }

    #[test]
    fn steps_count_what_the_program_counts() {
        for n in [1.0, 3.0, 5.0, 9.0, 19.0, 20.0, 22.0, 33.0, 80.0, 200.0] {
            let ratio = cost(n, 20.0, |p, terms, target| by_ratio(p, terms, target, 1.0));
            assert!((stretch(n, 20.0) - ratio).abs() < 1e-6, "{n}");
            let quads = cost(n, 20.0, |p, terms, target| by_quads(p, terms, target, 1.0));
            assert!((missing(n, 20.0) - quads).abs() < 1e-6, "{n}");
        }
    }
}
