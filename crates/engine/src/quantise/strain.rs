//! What promised counts do to the shape of the quads and to the number of faces.

use base::{Finding, Findings, Level, Place};
use mesh::DVec3;

use super::chords::strays;
use super::model::Promise;
use super::{Found, Ground, Plan, QuantiseError, list};
use crate::layout::{ArcUse, Layout};
use crate::model::{Guide, WorkSurface};

/// 95th over 5th percentile of edge lengths that the check lets pass.
const EVEN: f64 = 3.5;
/// Share of what the check lets pass that proposals keep to: conforming comes out somewhat
/// worse than planned.
const SAFE: f64 = 0.8;
/// Above this the surface would pass through itself: refused.
const MOST_UNEVEN: f64 = 4.0 * EVEN;
/// Share of the faces asked for that counts may make missed with a warning; beyond it they are
/// refused.
const BUDGET_LOST: f64 = 0.25;
/// Distance of a guide from its edges that the check lets pass, in quad edges.
const NEAR: f64 = 0.15;
/// Vertices go to one side of the guide and the middles of edges to the other, so each
/// strays by half of what chords between points of the guide do.
const STRADDLE: f64 = 0.5;
/// Beyond this many times [`NEAR`] a count is refused.
const FAR: f64 = 2.0;
/// Share of the faces asked for that may be missed.
const BUDGET: f64 = 0.03;

/// A layout, the counts that it is to keep, and how well that goes.
pub(super) struct Strain<'a> {
    pub ground: &'a Ground<'a>,
    pub guides: &'a [Guide],
    pub promises: &'a [Promise],
}

impl Strain<'_> {
    /// Edge of the quads that the budget means, model units.
    pub fn quad_edge(&self) -> f64 {
        self.ground.options.quad_edge
    }

    /// Refuses counts with which edges can't follow their guide.
    pub fn refuse_too_few(&self) -> Result<(), QuantiseError> {
        let few = |p: &&Promise| !self.is_rim(p) && self.away(p, p.count) > FAR * NEAR;
        match self.promises.iter().find(few) {
            None => Ok(()),
            Some(promise) => {
                let set = std::slice::from_ref(promise);
                Err(QuantiseError::TooFew {
                    guides: self.names(set),
                    away: self.away(promise, promise.count),
                    advice: self.advice(set),
                })
            }
        }
    }

    /// Refuses counts that leave no usable quads, or not as many as were asked for; remarks on
    /// others.
    pub fn judge(&self, plan: &Plan) -> Result<Findings, QuantiseError> {
        let mut findings = Findings::default();
        for promise in self.promises {
            let away = self.away(promise, promise.count);
            if away > NEAR && !self.is_rim(promise) {
                let names = self.names(std::slice::from_ref(promise));
                let sentence = format!(
                    "So few quads can't follow {} closely: their edges run some {away:.2} edge lengths away.",
                    list(&names)
                );
                findings.push(warning("count-too-few", sentence, names).measured(away, Some(NEAR)));
            }
        }
        let strained: Vec<Promise> = self.strained().into_iter().cloned().collect();
        let layout = self.ground.layout;
        let uneven = unevenness(along_sides(layout, plan));
        if strained.is_empty() || (uneven <= EVEN && self.miss(plan) <= BUDGET) {
            return Ok(findings);
        }
        let all_over = uneven.min(unevenness(across_strips(layout, plan)));
        if all_over > MOST_UNEVEN || self.miss(plan) > BUDGET_LOST {
            let rest: Vec<Promise> = self
                .promises
                .iter()
                .filter(|p| !strained.contains(p))
                .cloned()
                .collect();
            // Only if it is the counts' doing.
            if self.goodness()(&rest) {
                return Err(QuantiseError::Strained {
                    guides: self.names(&strained),
                    faces: plan.faces,
                    ratio: uneven,
                    advice: self.advice(&strained),
                });
            }
        }
        let names = self.names(&strained);
        let sentence = format!(
            "The counts of {} make edges of very uneven length: long ones are some {uneven:.0} times short ones.",
            list(&names)
        );
        let finding = warning("counts-strain-quads", sentence, names);
        findings.push(finding.measured(uneven, Some(EVEN)));
        Ok(findings)
    }

    /// Tells whether counts leave a surface that is held to be good, or at least one as good as
    /// without any counts.
    pub fn goodness(&self) -> impl Fn(&[Promise]) -> bool {
        let planned = |set: &[Promise]| match self.ground.search(set) {
            Ok(Found::Plan(plan)) => Some(plan),
            _ => None,
        };
        let layout = self.ground.layout;
        let free = planned(&[]);
        let even = free.as_ref().map_or(SAFE * EVEN, |p| {
            unevenness(along_sides(layout, p)).max(SAFE * EVEN)
        });
        let missed = free.as_ref().map_or(BUDGET, |p| self.miss(p).max(BUDGET));
        move |set| {
            set.iter().all(|p| self.is_near(p, p.count))
                && planned(set).is_some_and(|p| {
                    unevenness(along_sides(layout, &p)) <= even && self.miss(&p) <= missed
                })
        }
    }

    fn miss(&self, plan: &Plan) -> f64 {
        let wanted = self.ground.options.faces;
        wanted.map_or(0.0, |w| (plan.faces as f64 / w.max(1) as f64 - 1.0).abs())
    }

    /// Quads that a promise's length alone tells.
    pub fn natural(&self, promise: &Promise) -> f64 {
        let arcs = promise.arcs.iter().map(|&a| &self.ground.layout.arcs[a]);
        let length: f64 = arcs.map(|a| a.length * a.density).sum();
        (length / self.quad_edge()).max(1.0)
    }

    /// Promises that ask for more than half as many quads again as their length tells, or for
    /// less than two thirds.
    pub fn strained(&self) -> Vec<&Promise> {
        let is_strained = |p: &&Promise| {
            let ratio = f64::from(p.count) / self.natural(p);
            !(2.0 / 3.0..=1.5).contains(&ratio)
        };
        self.promises.iter().filter(is_strained).collect()
    }

    /// Whether edges can surely follow a guide with this count as closely as the check asks.
    pub fn is_near(&self, promise: &Promise, count: u32) -> bool {
        self.away(promise, count) <= SAFE * NEAR
    }

    fn away(&self, promise: &Promise, count: u32) -> f64 {
        let Ground {
            surface, layout, ..
        } = *self.ground;
        away(surface, layout, self.quad_edge(), promise, count)
    }
}

/// Whether a promise is less than it takes to follow its curves closely, shared out by length.
pub(super) fn is_short(
    surface: &WorkSurface,
    layout: &Layout,
    quad_edge: f64,
    promise: &Promise,
) -> bool {
    away(surface, layout, quad_edge, promise, promise.count) > NEAR
}

/// How far edges lie from a promise's curves that get as many, shared out by length; in quad edges.
fn away(
    surface: &WorkSurface,
    layout: &Layout,
    quad_edge: f64,
    promise: &Promise,
    count: u32,
) -> f64 {
    let arcs = &layout.arcs;
    let whole: f64 = promise.arcs.iter().map(|&a| arcs[a].length).sum();
    let of = |&a: &usize| {
        let points: Vec<DVec3> = arcs[a]
            .vertices
            .iter()
            .map(|&v| surface.positions[v as usize])
            .collect();
        let share = f64::from(count) * arcs[a].length / whole.max(f64::MIN_POSITIVE);
        strays(&points, (share.round() as u32).max(1))
    };
    let strays = promise.arcs.iter().map(of).fold(0.0, f64::max);
    STRADDLE * strays / quad_edge
}

fn warning(code: &str, sentence: String, names: Vec<String>) -> Finding {
    let finding = Finding::new(code, Level::Warn, sentence);
    names
        .into_iter()
        .fold(finding, |f, name| f.at(Place::Guide { name }))
}

/// Edge lengths with how many quads have them.
type Lengths = Vec<(f64, u64)>;

/// Edges along the sides of patches, as a plan tells them before anything is laid.
fn along_sides(layout: &Layout, plan: &Plan) -> Lengths {
    let mut lengths = Lengths::new();
    for (p, patch) in layout.patches.iter().enumerate() {
        let n = patch.sides.len();
        let quads = |i: usize| u64::from(plan.side(layout, p, i % n));
        for (i, side) in patch.sides.iter().enumerate() {
            // Half the rows run beside this side, half beside the one across.
            let rows = (quads(i + 1) + quads(i + n - 1)).div_ceil(4);
            // A guide that ends within a side has quads of its own length, what goes on from it others.
            let source = |used: &ArcUse| layout.arcs[used.arc].source;
            for run in side.chunk_by(|a, b| source(a) == source(b)) {
                let long: f64 = run.iter().map(|u| layout.arcs[u.arc].length).sum();
                let count: u64 = run.iter().map(|u| u64::from(plan.arcs[u.arc])).sum();
                lengths.push((long / count.max(1) as f64, count * rows.max(1)));
            }
        }
    }
    lengths
}

/// Edges across strips in the mean: what lies on the inside of a bend and is narrow there isn't told.
fn across_strips(layout: &Layout, plan: &Plan) -> Lengths {
    let mut lengths = Lengths::new();
    for p in 0..layout.patches.len() {
        for (i, width) in layout.widths[p].iter().flatten().enumerate() {
            let spokes = &plan.spokes[p];
            let n = layout.patches[p].sides.len();
            let number = |i: usize| match spokes.get(i % n) {
                Some(&spoke) => spoke,
                None => plan.side(layout, p, i % n),
            };
            let strips = number(i);
            // A family of four sides ends at the middle, one round a pole runs from side to side.
            let along = if spokes.is_empty() {
                number(i + 1).div_ceil(2)
            } else {
                number(i + 1) + number(i + n - 1)
            };
            lengths.push((
                width.across / f64::from(strips.max(1)),
                u64::from(strips) * u64::from(along.max(1)),
            ));
        }
    }
    lengths
}

/// 95th over 5th percentile.
fn unevenness(mut lengths: Lengths) -> f64 {
    lengths.sort_by(|a, b| a.0.total_cmp(&b.0));
    let all: u64 = lengths.iter().map(|l| l.1).sum();
    let at = |percent: u64| {
        let mut seen = 0;
        let found = lengths.iter().find(|l| {
            seen += l.1;
            seen * 100 >= all * percent
        });
        found.map_or(0.0, |l| l.0)
    };
    at(95) / at(5).max(f64::MIN_POSITIVE)
}
