//! What a plan's numbers cost: quads longer or shorter than the shape asks for, poles out of place.

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
        if self.weighing == Weighing::Arcs {
            return;
        }
        for (i, &Width { across, along }) in self.layout.widths[patch].iter().flatten().enumerate()
        {
            let length = along / self.edge / (USUAL * self.size);
            let weight = STRETCH * length.clamp(LIGHTEST, HEAVIEST);
            by_ratio(program, number(i), across / self.edge, weight);
        }
    }
}

/// Adds a convex piecewise linear cost near ln² (n / t) for each quad that is there or wanted,
/// whichever are more, but for a weight.
fn by_ratio(program: &mut Program, mut terms: Vec<(Variable, f64)>, target: f64, weight: f64) {
    let target = target.max(LEAST_WANTED);
    for more in [true, false] {
        let ratio = |r: f64| if more { r } else { 1.0 / r };
        let cost = |r: f64| ratio(r).max(1.0) * r.ln().powi(2);
        let mut steepest = 0.0;
        for (i, pair) in RATIOS.windows(2).enumerate() {
            let width = (ratio(pair[1]) - ratio(pair[0])).abs();
            steepest = f64::max(steepest, (cost(pair[1]) - cost(pair[0])) / width);
            let most = if i + 2 == RATIOS.len() {
                f64::INFINITY
            } else {
                width * target
            };
            let sign = if more { -1.0 } else { 1.0 };
            terms.push((program.real(weight * steepest, most), sign));
        }
    }
    program.row(&terms, Relation::Equal, target);
}

/// Adds a convex piecewise linear cost near (n − t)² / t, but for a weight.
fn by_quads(program: &mut Program, mut terms: Vec<(Variable, f64)>, target: f64, weight: f64) {
    let target = target.max(LEAST_WANTED);
    let steps = [
        (0.2 * target, 0.2),
        (0.4 * target, 0.8),
        (f64::INFINITY, 2.0),
    ];
    for (width, slope) in steps {
        terms.push((program.real(weight * slope, width), -1.0));
        // Too few quads stretch as much as too many squeeze, but cost a little more: a
        // squeezed strip can be thinned, a stretched one can't be seen around.
        terms.push((program.real(weight * slope * 1.05, width), 1.0));
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
}
