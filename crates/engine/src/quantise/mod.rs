//! Quantise: a whole number of quads for every arc.
//!
//! Takes the layout, lengths and promised counts; gives a plan. Holds: opposite
//! sides of four-sided patches agree or differ by an even number that the counts
//! forced; patches of three, five or six sides split through one pole; counts are
//! kept to the quad; the face total is as near to the budget as whole strips allow.
//!
//! A linear program in whole numbers. In a patch around a pole, y_i quads lie on the
//! spoke from side i to the pole and side i = y_{i−1} + y_{i+1}. Lengths enter
//! by a convex, piecewise linear cost near (n − t)² / t, t the wanted number.

mod advice;
mod aligned;
mod chords;
mod costs;
mod in_line;
mod lattice;
mod merged;
mod model;
mod nearest;
mod parity;
mod settle;
mod shape;
mod strain;
mod strands;
#[cfg(test)]
mod tests;
mod trial;
mod unwind;

use base::{Finding, Findings, Level, Place, Task};
use numeric::ProgramError;
use thiserror::Error;

use crate::layout::{ArcSource, Layout};
use crate::model::{ChainSource, Curve, Guide, GuideKind, WorkSurface};
pub use costs::Weighing;
use model::Asked;

/// Share of the budget beyond which the number of faces counts as missed.
const REACHED: f64 = 0.03;
/// Doublings of the edge length tried to see how far the number of faces can go.
const REACH_STEPS: i32 = 4;

/// Options of the plan.
#[derive(Clone, Copy, Debug, PartialEq)]
#[non_exhaustive]
pub struct QuantiseOptions {
    /// Wanted edge length of the quads, model units; the start of the search for the budget.
    pub quad_edge: f64,
    /// Wanted faces within the work surface (the half, with symmetry); `None`: by `quad_edge` alone.
    pub faces: Option<usize>,
    /// Branch-and-bound nodes for the program that finds a plan.
    pub search_nodes: u64,
    /// Branch-and-bound nodes where a longer look is taken.
    pub nodes: u64,
    /// By what plans are weighed; default [`Weighing::Strips`].
    pub weighing: Weighing,
    /// How far the size of the quads follows curvature, 0 (even) to 1; default 0.
    pub adapt: f64,
    /// Whether a refusal for counts looks for the guides that have a part in it and for the smallest
    /// change that would do, for which dozens of programs are solved; default `true`.
    pub advise: bool,
}

impl QuantiseOptions {
    /// Options for this edge length (model units) and budget.
    pub fn new(quad_edge: f64, faces: Option<usize>) -> Self {
        Self {
            quad_edge,
            faces,
            search_nodes: 150,
            nodes: 1500,
            weighing: Weighing::Strips,
            adapt: 0.0,
            advise: true,
        }
    }
}

/// Why there is no plan.
#[derive(Clone, Debug, PartialEq, Error)]
pub enum QuantiseError {
    /// Promised counts contradict each other.
    #[error(
        "the counts of {} can't all be kept on an all-quad surface: {advice}",
        list(guides)
    )]
    Clash {
        /// Names of a smallest set of guides that clash.
        guides: Vec<String>,
        /// The smallest change that would do.
        advice: String,
    },
    /// A guide has fewer quads than it takes to follow it.
    #[error(
        "so few quads can't follow {}: their edges would run {away:.2} edge lengths away from it; {advice}",
        list(guides)
    )]
    TooFew {
        /// Names of the guides with this count.
        guides: Vec<String>,
        /// How far, in edges of the quads.
        away: f64,
        /// The smallest change that would do.
        advice: String,
    },
    /// Counts that leave no usable quads, or not as many as were asked for.
    #[error(
        "the counts of {} don't go with the number of faces: {} in the part that is computed, long edges {ratio:.0} times short ones; {advice}",
        list(guides),
        faces
    )]
    Strained {
        /// Names of the guides whose counts are far from what their lengths tell.
        guides: Vec<String>,
        /// Faces that the counts make, within the half.
        faces: usize,
        /// Long edges over short ones.
        ratio: f64,
        /// The smallest change that would do.
        advice: String,
    },
    /// The program failed for another reason.
    #[error("no whole numbers of quads were found: {0}; try another budget or draw one more ring")]
    Program(ProgramError),
    /// Cancelled from outside.
    #[error(transparent)]
    Cancelled(#[from] base::Cancelled),
}

impl QuantiseError {
    /// Whether it is a refusal for counts, of which [`QuantiseOptions::advise`] makes more.
    pub fn takes_advice(&self) -> bool {
        matches!(
            self,
            Self::Clash { .. } | Self::TooFew { .. } | Self::Strained { .. }
        )
    }
}

fn list(names: &[String]) -> String {
    names
        .iter()
        .map(|n| format!("'{n}'"))
        .collect::<Vec<_>>()
        .join(", ")
}

/// Whole numbers for a layout.
#[derive(Clone, Debug, PartialEq)]
pub struct Plan {
    /// Quads along each arc; 0 where its ends are one vertex.
    pub arcs: Vec<u32>,
    /// For each patch of three, five or six sides, the quads on each spoke; else empty.
    pub spokes: Vec<Vec<u32>>,
    /// For each four-sided patch, half the surplus of side 0 over side 2 and of side 1 over
    /// side 3; zero elsewhere.
    pub surplus: Vec<[i32; 2]>,
    /// Faces that the plan makes.
    pub faces: usize,
    /// Edge length that it was made for, model units.
    pub edge: f64,
}

impl Plan {
    /// Pairs of poles that counts force.
    fn forced(&self) -> u32 {
        let surplus = self.surplus.iter().flatten();
        surplus.map(|s| s.unsigned_abs()).sum()
    }

    /// Quads along a side of a patch.
    pub fn side(&self, layout: &Layout, patch: usize, side: usize) -> u32 {
        layout.patches[patch].sides[side]
            .iter()
            .map(|u| self.arcs[u.arc])
            .sum()
    }
}

/// Finds the plan.
///
/// # Errors
/// [`QuantiseError`] names guides whose counts clash, or says that no plan was found.
pub fn run(
    surface: &WorkSurface,
    layout: &Layout,
    curves: &[Curve],
    guides: &[Guide],
    options: &QuantiseOptions,
    task: &Task,
) -> Result<(Plan, Findings), QuantiseError> {
    task.report("quantise", 0.0)?;
    let counts = promised(surface, layout, curves, guides, options.quad_edge);
    let ground = Ground {
        surface,
        layout,
        options,
        task,
    };
    let strain = ground.strain(guides, &counts);
    strain.refuse_too_few()?;
    if parity::contradict(layout, &counts) {
        return Err(strain.clash());
    }
    let plan = match ground.search(&counts)? {
        Found::Plan(plan) => ground.unwound(&counts, curves, plan, false)?,
        Found::Infeasible => return Err(strain.clash()),
    };
    ground.judged(plan, curves, guides, &counts)
}

/// The plan, or one near it without spirals: poles are brought into line, which takes a second or two.
///
/// # Errors
/// [`QuantiseError`] names guides whose counts clash, or says that no plan was found.
pub fn in_line(
    surface: &WorkSurface,
    layout: &Layout,
    curves: &[Curve],
    guides: &[Guide],
    options: &QuantiseOptions,
    plan: Plan,
    task: &Task,
) -> Result<(Plan, Findings), QuantiseError> {
    task.report("quantise", 0.0)?;
    let counts = promised(surface, layout, curves, guides, options.quad_edge);
    let ground = Ground {
        surface,
        layout,
        options,
        task,
    };
    let plan = ground.unwound(&counts, curves, plan, true)?;
    ground.judged(plan, curves, guides, &counts)
}

/// What plans are searched on.
struct Ground<'a> {
    surface: &'a WorkSurface,
    layout: &'a Layout,
    options: &'a QuantiseOptions,
    task: &'a Task,
}

/// What a search came to.
enum Found {
    /// The plan.
    Plan(Plan),
    /// There is none: proved.
    Infeasible,
}

impl Ground<'_> {
    fn strain<'a>(
        &'a self,
        guides: &'a [Guide],
        promises: &'a [model::Promise],
    ) -> strain::Strain<'a> {
        strain::Strain {
            ground: self,
            guides,
            promises,
        }
    }

    /// The plan with what is to be said about it, unless its counts strain the quads too much.
    fn judged(
        &self,
        plan: Plan,
        curves: &[Curve],
        guides: &[Guide],
        counts: &[model::Promise],
    ) -> Result<(Plan, Findings), QuantiseError> {
        let more = self.strain(guides, counts).judge(&plan)?;
        let mut findings = findings(self.layout, curves, guides, self.surface, &plan);
        findings.append(more);
        findings.append(self.out_of_reach(counts, &plan));
        self.task.report("quantise", 1.0)?;
        Ok((plan, findings))
    }

    /// Says so where no plan is near the budget, with the number of faces that is as near as
    /// whole strips and promised counts allow.
    fn out_of_reach(&self, counts: &[model::Promise], plan: &Plan) -> Findings {
        let mut findings = Findings::default();
        let Some(wanted) = self.options.faces else {
            return findings;
        };
        if (plan.faces as f64 / wanted.max(1) as f64 - 1.0).abs() <= REACHED {
            return findings;
        }
        let fewer = plan.faces > wanted;
        let mut furthest = plan.faces;
        for step in 1..=REACH_STEPS {
            let factor = 2f64.powi(if fewer { step } else { -step });
            let edge = self.options.quad_edge * factor;
            let none = vec![0; self.layout.arcs.len()];
            // Only told: where a short look finds nothing, the others say how far it goes.
            let asked = Asked {
                needed_at_all: false,
                ..Asked::new(counts, &none, edge, self.options, self.options.search_nodes)
            };
            if let Ok(other) = model::solve(self.layout, &asked) {
                furthest = if fewer {
                    furthest.min(other.faces)
                } else {
                    furthest.max(other.faces)
                };
            }
        }
        let (most, more) = if fewer {
            ("fewest", "fewer")
        } else {
            ("most", "more")
        };
        let sentence = format!(
            "Of the {wanted} faces asked for in the part that is computed, {} are made; the {most} found with these guides and counts are {furthest}. Ask for {more} quads along guides, or leave counts out.",
            plan.faces
        );
        let finding = Finding::new("faces-out-of-reach", Level::Note, sentence);
        findings.push(finding.measured(furthest as f64, Some(wanted as f64)));
        findings
    }
}

/// Arcs of each curve that promises a count, and of each guide whose count several curves share.
fn promised(
    surface: &WorkSurface,
    layout: &Layout,
    curves: &[Curve],
    guides: &[Guide],
    quad_edge: f64,
) -> Vec<model::Promise> {
    let arcs_of = |on: &dyn Fn(usize) -> bool| -> Vec<usize> {
        let is_on = |a: &crate::layout::Arc| match a.source {
            ArcSource::Chain(i) => {
                matches!(surface.chains[i].source, ChainSource::Curve(c) if on(c))
            }
            ArcSource::Laid(_) => false,
        };
        let arcs = layout.arcs.iter().enumerate();
        arcs.filter(|(_, a)| is_on(a)).map(|(i, _)| i).collect()
    };
    let mut promises = Vec::new();
    for (c, curve) in curves.iter().enumerate() {
        let Some(count) = curve.count else { continue };
        promises.push(model::Promise {
            guides: curve.guides.clone(),
            count,
            partly_held: curve.partly_held,
            is_short: false,
            least: if curve.closed { 3 } else { 1 },
            arcs: arcs_of(&|on| on == c),
        });
    }
    let mut shares: Vec<crate::model::Share> =
        curves.iter().flat_map(|c| &c.shares).copied().collect();
    shares.sort_by_key(|s| (s.guide, s.count));
    shares.dedup();
    for share in shares {
        promises.push(model::Promise {
            guides: vec![share.guide],
            count: share.count,
            partly_held: curves
                .iter()
                .any(|c| c.partly_held && c.shares.contains(&share)),
            is_short: false,
            least: 1,
            arcs: arcs_of(&|on| curves[on].shares.contains(&share)),
        });
    }
    promises.retain(|p| !p.arcs.is_empty());
    // Along an opening edges slide more freely: nothing lies beyond.
    let is_ring = |&g: &usize| guides.get(g).is_some_and(|g| g.kind == GuideKind::Ring);
    for promise in &mut promises {
        promise.is_short = promise.guides.iter().all(is_ring)
            && strain::is_short(surface, layout, quad_edge, promise);
    }
    promises
}

fn findings(
    layout: &Layout,
    curves: &[Curve],
    guides: &[Guide],
    surface: &WorkSurface,
    plan: &Plan,
) -> Findings {
    let mut findings = Findings::default();
    // Names and counts of the guides along some sides of a patch.
    let along = |p: usize, sides: &[usize]| {
        let mut names: Vec<(String, Option<u32>)> = Vec::new();
        for used in sides.iter().flat_map(|&s| &layout.patches[p].sides[s]) {
            if let ArcSource::Chain(i) = layout.arcs[used.arc].source
                && let ChainSource::Curve(c) = surface.chains[i].source
            {
                let of = curves[c].guides.iter().map(|&g| &guides[g]);
                names.extend(of.map(|g| (g.name.clone(), g.count)));
            }
        }
        names.sort();
        names.dedup();
        names
    };
    let mut forced = |sentence: String, names: Vec<String>| {
        let mut finding = Finding::new("counts-force-poles", Level::Note, sentence);
        for name in names {
            finding = finding.at(Place::Guide { name });
        }
        findings.push(finding);
    };
    for (p, surplus) in plan.surplus.iter().enumerate() {
        let n = layout.patches[p].sides.len();
        if n != 4 {
            let all: Vec<usize> = (0..n).collect();
            let mut counted = along(p, &all);
            counted.retain(|(_, count)| count.is_some());
            if counted.iter().any(|c| c.1 != counted[0].1) {
                let names: Vec<String> = counted.into_iter().map(|(name, _)| name).collect();
                let sentence = format!(
                    "The counts of {} differ across a patch of {n} sides; the pole that the shape puts there takes up the difference, and lies off the middle for it.",
                    list(&names)
                );
                forced(sentence, names);
            }
            continue;
        }
        for (axis, &half) in surplus.iter().enumerate() {
            if half == 0 {
                continue;
            }
            let names: Vec<String> = along(p, &[axis, axis + 2])
                .into_iter()
                .map(|(name, _)| name)
                .collect();
            let of = if names.is_empty() {
                "guides further off".to_owned()
            } else {
                list(&names)
            };
            let sentence = format!(
                "The counts of {of} differ across one patch by {}; {} pairs of poles take up the difference.",
                2 * half.abs(),
                2 * half.abs()
            );
            forced(sentence, names);
        }
    }
    findings
}
