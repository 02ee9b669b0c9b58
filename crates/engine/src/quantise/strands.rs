//! The strips of quads that a plan makes, told from its whole numbers before any quad is there.
//!
//! A strip enters a patch at a place of a side and leaves it by a fixed other place: opposite in a
//! patch of four, else past the spoke that it crosses (`fill` lays the quads so). With
//! y quads on the spokes of a patch, quad k of spoke j belongs to the strip from side j + 1, place
//! k, to side j − 1, the k-th place from its end; strips over neighbouring spokes cross, each
//! with each. A strip that crosses itself, or a ring more often than twice, is a spiral.
//!
//! On a half, a strip that reaches the mirror plane goes on as its own image, so one half tells
//! which strips of the whole cross themselves.

use std::collections::BTreeMap;

use super::Plan;
use crate::layout::{ArcSource, ArcUse, Layout};
use crate::model::{ChainSource, Curve, GuideKind, WorkSurface};

/// A strip passes the edges of a ring at most this often: once in, once out.
const MOST_PASSES: u32 = 2;

/// Closed curves whose crossings count, and where strips meet the mirror plane.
pub(super) struct Rings {
    /// Arcs of each, and whether its other half is beyond the mirror plane.
    rings: Vec<(Vec<usize>, bool)>,
    /// Whether each arc lies on the mirror plane.
    on_plane: Vec<bool>,
}

impl Rings {
    pub fn new(surface: &WorkSurface, layout: &Layout, curves: &[Curve]) -> Self {
        let mut rings = vec![(Vec::new(), false); curves.len()];
        let mut on_plane = vec![false; layout.arcs.len()];
        for (a, arc) in layout.arcs.iter().enumerate() {
            let ArcSource::Chain(chain) = arc.source else {
                continue;
            };
            match surface.chains[chain].source {
                ChainSource::Curve(c) if curves[c].kind != GuideKind::Line => {
                    rings[c].0.push(a);
                    rings[c].1 = !curves[c].closed;
                }
                ChainSource::Plane => on_plane[a] = true,
                _ => {}
            }
        }
        rings.retain(|r| !r.0.is_empty());
        Self { rings, on_plane }
    }

    /// Arcs of each ring that a strip passes more often than in and out.
    pub fn passed_too_often<'a>(&'a self, strand: &'a Strand) -> impl Iterator<Item = &'a [usize]> {
        let reaches_plane = strand.arcs.iter().any(|a| self.on_plane[a.0]);
        let too_often = move |(arcs, is_half): &&(Vec<usize>, bool)| {
            let on_ring = |a: &&(usize, u32)| arcs.contains(&a.0);
            let passes: u32 = strand.arcs.iter().filter(on_ring).map(|a| a.1).sum();
            passes * if *is_half && reaches_plane { 2 } else { 1 } > MOST_PASSES
        };
        self.rings.iter().filter(too_often).map(|ring| &ring.0[..])
    }
}

/// One strip.
#[derive(Clone, Debug, Default, PartialEq)]
pub(super) struct Strand {
    /// Arcs that it passes, and how often.
    pub arcs: Vec<(usize, u32)>,
    /// Spokes that it crosses, by patch and number, and how often.
    pub spokes: Vec<([usize; 2], u32)>,
    /// Whether it spirals.
    pub spirals: bool,
    /// Quads in which it crosses itself.
    pub crossings: usize,
    /// Whether it goes through a patch that takes a surplus up, where this file loses it.
    pub is_lost: bool,
}

/// All strips of a plan, by the first place that each passes.
pub(super) fn strands(layout: &Layout, plan: &Plan, rings: &Rings) -> Vec<Strand> {
    let mut places = Places::new(layout, plan);
    let crossed = places.joined();
    let of_place = places.numbered();
    let count = of_place.iter().max().map_or(0, |last| last + 1);
    let mut strands = vec![Strand::default(); count];
    for (arc, &n) in plan.arcs.iter().enumerate() {
        for k in 0..n as usize {
            add(&mut strands[of_place[places.first[arc] + k]].arcs, arc);
        }
    }
    for (p, across) in crossed.iter().enumerate() {
        let Some(across) = across else {
            for side in &layout.patches[p].sides {
                for place in places.along(side) {
                    strands[of_place[place]].is_lost = true;
                }
            }
            continue;
        };
        let over: Vec<Vec<usize>> = across
            .iter()
            .map(|ends| ends.iter().map(|[a, _]| of_place[*a]).collect())
            .collect();
        for (j, here) in over.iter().enumerate() {
            if over.len() > 2 {
                here.iter()
                    .for_each(|&s| add(&mut strands[s].spokes, [p, j]));
            }
            let mut next = over[(j + 1) % over.len()].clone();
            next.sort_unstable();
            // In a patch of four each pair of ways comes up twice.
            if over.len() > 2 || j == 0 {
                for &s in here {
                    let crossed =
                        next.partition_point(|&n| n <= s) - next.partition_point(|&n| n < s);
                    strands[s].crossings += crossed;
                    strands[s].spirals |= crossed > 0;
                }
            }
        }
    }
    for strand in &mut strands {
        let recrosses = rings.passed_too_often(strand).next().is_some();
        strand.spirals |= recrosses;
    }
    strands
}

/// The strip of each place of each arc, numbered as [`strands`] lists them.
pub(super) fn strands_of_arcs(layout: &Layout, plan: &Plan) -> Vec<Vec<usize>> {
    let mut places = Places::new(layout, plan);
    places.joined();
    let of_place = places.numbered();
    let arcs = places.first.iter().zip(&plan.arcs);
    arcs.map(|(&first, &n)| of_place[first..first + n as usize].to_vec())
        .collect()
}

/// Counts one more of `what`, which rises from call to call.
fn add<T: PartialEq>(counts: &mut Vec<(T, u32)>, what: T) {
    match counts.last_mut() {
        Some(last) if last.0 == what => last.1 += 1,
        _ => counts.push((what, 1)),
    }
}

/// The places at which strips pass arcs, joined into strips.
struct Places<'a> {
    layout: &'a Layout,
    plan: &'a Plan,
    /// Number of the first place of each arc.
    first: Vec<usize>,
    /// Parent of each place, its own number at the root.
    parent: Vec<usize>,
}

impl<'a> Places<'a> {
    fn new(layout: &'a Layout, plan: &'a Plan) -> Self {
        let mut first = Vec::with_capacity(plan.arcs.len());
        let mut places = 0;
        for &n in &plan.arcs {
            first.push(places);
            places += n as usize;
        }
        Self {
            layout,
            plan,
            first,
            parent: (0..places).collect(),
        }
    }

    /// Places along a side in its order.
    fn along(&self, side: &[ArcUse]) -> Vec<usize> {
        let mut places = Vec::new();
        for used in side {
            let first = self.first[used.arc];
            let here = first..first + self.plan.arcs[used.arc] as usize;
            if used.forward {
                places.extend(here);
            } else {
                places.extend(here.rev());
            }
        }
        places
    }

    /// The two ends of each strip within one patch, by spoke; in a patch of four, by the two
    /// ways across. `None` where a surplus is taken up: strips turn aside there.
    fn across(&self, patch: usize) -> Option<Vec<Vec<[usize; 2]>>> {
        let sides = &self.layout.patches[patch].sides;
        let sides: Vec<Vec<usize>> = sides.iter().map(|s| self.along(s)).collect();
        let n = sides.len();
        let facing = |from: &[usize], to: &[usize], count: usize| -> Vec<[usize; 2]> {
            let ends = from.iter().zip(to.iter().rev()).take(count);
            ends.map(|(&a, &b)| [a, b]).collect()
        };
        if n == 4 {
            let way = |axis: usize| facing(&sides[axis], &sides[axis + 2], sides[axis].len());
            return (self.plan.surplus[patch] == [0, 0]).then(|| vec![way(0), way(1)]);
        }
        let over = |(j, &y): (usize, &u32)| {
            facing(&sides[(j + 1) % n], &sides[(j + n - 1) % n], y as usize)
        };
        Some(
            self.plan.spokes[patch]
                .iter()
                .enumerate()
                .map(over)
                .collect(),
        )
    }

    /// Joins all places into strips; the ends that were joined, by patch.
    fn joined(&mut self) -> Vec<Option<Vec<Vec<[usize; 2]>>>> {
        let crossed: Vec<Option<Vec<Vec<[usize; 2]>>>> = (0..self.layout.patches.len())
            .map(|p| self.across(p))
            .collect();
        for [a, b] in crossed.iter().flatten().flatten().flatten() {
            self.join(*a, *b);
        }
        crossed
    }

    /// The strip of each place; strips are numbered by the first place that each passes.
    fn numbered(&self) -> Vec<usize> {
        let mut number: BTreeMap<usize, usize> = BTreeMap::new();
        let places = 0..self.parent.len();
        let strip = places.map(|place| {
            let next = number.len();
            *number.entry(self.root(place)).or_insert(next)
        });
        strip.collect()
    }

    fn root(&self, mut place: usize) -> usize {
        while self.parent[place] != place {
            place = self.parent[place];
        }
        place
    }

    fn join(&mut self, a: usize, b: usize) {
        let root = self.root(a).min(self.root(b));
        // Both ways are made short for the next question.
        for mut place in [a, b] {
            while place != root {
                let next = self.parent[place];
                self.parent[place] = root;
                if next == place {
                    break;
                }
                place = next;
            }
        }
    }
}
