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

mod chords;
mod model;
mod parity;
#[cfg(test)]
mod tests;

use base::{Finding, Findings, Level, Place, Task};
use numeric::ProgramError;
use thiserror::Error;

use crate::layout::{ArcSource, Layout};
use crate::model::{ChainSource, Curve, Guide, WorkSurface};

/// Programs solved at most to meet the budget.
const SEARCHES: usize = 14;
/// Rounds of programs with the budget as a row.
const BUDGET_ROUNDS: usize = 4;
/// Share of the budget within which the search stops.
const CLOSE: f64 = 0.01;

/// Options of the plan.
#[derive(Clone, Copy, Debug, PartialEq)]
#[non_exhaustive]
pub struct QuantiseOptions {
    /// Wanted edge length of the quads, model units; the start of the search for the budget.
    pub quad_edge: f64,
    /// Wanted faces within the work surface (the half, with symmetry); `None`: by `quad_edge` alone.
    pub faces: Option<usize>,
    /// Branch-and-bound nodes for each program of the search for the budget.
    pub search_nodes: u64,
    /// Branch-and-bound nodes for the final program.
    pub nodes: u64,
}

impl QuantiseOptions {
    /// Options for this edge length (model units) and budget.
    pub fn new(quad_edge: f64, faces: Option<usize>) -> Self {
        Self {
            quad_edge,
            faces,
            search_nodes: 150,
            nodes: 1500,
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
    /// The program failed for another reason.
    #[error("no whole numbers of quads were found: {0}; try another budget or draw one more ring")]
    Program(ProgramError),
    /// Cancelled from outside.
    #[error(transparent)]
    Cancelled(#[from] base::Cancelled),
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
    /// Quads along each arc, >= 1.
    pub arcs: Vec<u32>,
    /// For each patch of three, five or six sides, the quads on each spoke; else empty.
    pub spokes: Vec<Vec<u32>>,
    /// For each four-sided patch, half the surplus of side 0 over side 2 and of side 1 over
    /// side 3; zero elsewhere.
    pub surplus: Vec<[i32; 2]>,
    /// Faces that the plan makes.
    pub faces: usize,
}

impl Plan {
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
    let counts = promised(surface, layout, curves);
    if parity::contradict(layout, &counts) {
        return Err(clash(
            layout,
            curves,
            guides,
            &counts,
            options.quad_edge,
            options,
        ));
    }
    let mut edge = options.quad_edge;
    let mut best: Option<(f64, f64, Plan)> = None;
    // Edge lengths known to give too many and too few faces.
    let (mut too_short, mut too_long) = (None::<f64>, None::<f64>);
    for round in 0..SEARCHES {
        task.report("quantise", round as f32 / SEARCHES as f32)?;
        let needed = chords::needed(surface, layout, edge);
        let plan = match model::solve(layout, &counts, &needed, edge, None, options.search_nodes) {
            Ok(plan) => plan,
            Err(ProgramError::Infeasible) => {
                return Err(clash(layout, curves, guides, &counts, edge, options));
            }
            Err(other) => match best {
                Some(_) => break,
                None => return Err(QuantiseError::Program(other)),
            },
        };
        let Some(wanted) = options.faces else {
            best = Some((0.0, edge, plan));
            break;
        };
        let ratio = plan.faces as f64 / wanted as f64;
        let miss = (ratio - 1.0).abs();
        if best.as_ref().is_none_or(|b| miss < b.0) {
            best = Some((miss, edge, plan));
        }
        if miss < CLOSE {
            break;
        }
        if ratio > 1.0 {
            too_short = Some(too_short.map_or(edge, |e: f64| e.max(edge)));
        } else {
            too_long = Some(too_long.map_or(edge, |e: f64| e.min(edge)));
        }
        let guess = edge * ratio.sqrt();
        edge = match (too_short, too_long) {
            (Some(low), Some(high)) if low < high => {
                if round < 4 && low < guess && guess < high {
                    guess
                } else {
                    (low * high).sqrt()
                }
            }
            // Whole numbers jump, so the bounds can cross: go on from here in smaller steps.
            (Some(_), Some(_)) => edge * ratio.powf(0.2),
            _ => guess,
        };
    }
    let Some((miss, edge, mut plan)) = best else {
        return Err(QuantiseError::Program(ProgramError::Exhausted {
            nodes: options.search_nodes,
        }));
    };
    // The edge length is found; now a longer look for a better plan at it.
    let needed = chords::needed(surface, layout, edge);
    if let Ok(longer) = model::solve(layout, &counts, &needed, edge, None, options.nodes) {
        let near = |faces: usize| {
            options
                .faces
                .is_none_or(|w| (faces as f64 / w as f64 - 1.0).abs() <= miss.max(0.02))
        };
        if near(longer.faces) {
            plan = longer;
        }
    }
    if let Some(wanted) = options.faces {
        plan = nearer_to_budget(layout, &counts, &needed, edge, wanted, plan, options);
    }
    let findings = findings(layout, curves, guides, surface, &plan);
    task.report("quantise", 1.0)?;
    Ok((plan, findings))
}

/// Where the plans of neighbouring edge lengths jump over the budget: the faces' number, made linear
/// about the plan at hand, becomes a row of the program, a few times over.
fn nearer_to_budget(
    layout: &Layout,
    counts: &[model::Promise],
    needed: &[u32],
    edge: f64,
    wanted: usize,
    mut plan: Plan,
    options: &QuantiseOptions,
) -> Plan {
    let miss = |faces: usize| (faces as f64 / wanted as f64 - 1.0).abs();
    // Poles are never made for the budget's sake.
    let forced = |plan: &Plan| {
        plan.surplus
            .iter()
            .flatten()
            .map(|s| s.unsigned_abs())
            .sum::<u32>()
    };
    for _ in 0..BUDGET_ROUNDS {
        if miss(plan.faces) <= CLOSE {
            break;
        }
        let budget = model::Budget {
            about: &plan,
            wanted,
            slack: CLOSE,
        };
        match model::solve(layout, counts, needed, edge, Some(&budget), options.nodes) {
            Ok(next) if miss(next.faces) < miss(plan.faces) && forced(&next) <= forced(&plan) => {
                plan = next
            }
            _ => break,
        }
    }
    plan
}

/// Arcs of each curve that promises a count.
fn promised(surface: &WorkSurface, layout: &Layout, curves: &[Curve]) -> Vec<model::Promise> {
    curves
        .iter()
        .enumerate()
        .filter_map(|(c, curve)| {
            let arcs: Vec<usize> = layout
                .arcs
                .iter()
                .enumerate()
                .filter(|(_, a)| match a.source {
                    ArcSource::Chain(i) => surface.chains[i].source == ChainSource::Curve(c),
                    ArcSource::Laid(_) => false,
                })
                .map(|(i, _)| i)
                .collect();
            let count = curve.count?;
            (!arcs.is_empty()).then_some(model::Promise {
                curve: c,
                count,
                arcs,
            })
        })
        .collect()
}

/// Names a smallest set of promises that can't be kept together, by dropping one at a time.
fn clash(
    layout: &Layout,
    curves: &[Curve],
    guides: &[Guide],
    promises: &[model::Promise],
    edge: f64,
    options: &QuantiseOptions,
) -> QuantiseError {
    let fails = |set: &[model::Promise]| {
        let none = vec![0; layout.arcs.len()];
        parity::contradict(layout, set)
            || matches!(
                model::solve(layout, set, &none, edge, None, options.nodes),
                Err(ProgramError::Infeasible)
            )
    };
    let mut set = promises.to_vec();
    if !fails(&[]) {
        let mut i = 0;
        while i < set.len() {
            let mut fewer = set.clone();
            fewer.remove(i);
            if fails(&fewer) {
                set = fewer;
            } else {
                i += 1;
            }
        }
    } else {
        set.clear();
    }
    let names = set
        .iter()
        .flat_map(|p| {
            curves[p.curve]
                .guides
                .iter()
                .map(|&g| guides[g].name.clone())
        })
        .collect();
    let advice = match set.first() {
        Some(first) => format!(
            "change the count of one of them by one or two ({} to {} or {}), or leave one open",
            first.count,
            first.count.saturating_sub(1).max(1),
            first.count + 1
        ),
        None => {
            "the patches themselves allow no whole numbers; draw one more ring or line".to_owned()
        }
    };
    QuantiseError::Clash {
        guides: names,
        advice,
    }
}

fn findings(
    layout: &Layout,
    curves: &[Curve],
    guides: &[Guide],
    surface: &WorkSurface,
    plan: &Plan,
) -> Findings {
    let mut findings = Findings::default();
    for (p, surplus) in plan.surplus.iter().enumerate() {
        for (axis, &half) in surplus.iter().enumerate() {
            if half == 0 {
                continue;
            }
            let mut names: Vec<String> = Vec::new();
            for side in [axis, axis + 2] {
                for used in &layout.patches[p].sides[side] {
                    if let ArcSource::Chain(i) = layout.arcs[used.arc].source
                        && let ChainSource::Curve(c) = surface.chains[i].source
                    {
                        names.extend(curves[c].guides.iter().map(|&g| guides[g].name.clone()));
                    }
                }
            }
            names.sort();
            names.dedup();
            let mut finding = Finding::new(
                "counts-force-poles",
                Level::Note,
                format!(
                    "The counts of {} differ across one patch by {}; {} pairs of poles take up the difference.",
                    list(&names),
                    2 * half.abs(),
                    2 * half.abs()
                ),
            );
            for name in names {
                finding = finding.at(Place::Guide { name });
            }
            findings.push(finding);
        }
    }
    findings
}
