//! What holds a vertex: nothing, a rail that it slides along, or a pin.

use std::collections::BTreeMap;
use std::ops::Range;

use mesh::DVec3;

use super::step::Step;
use crate::field::Field;
use crate::fill::{Filled, Origin};
use crate::layout::{ArcSource, Layout, Spacing};
use crate::model::{ChainSource, Curve, GuideKind, Plane, WorkSurface};

/// How far from where a curve's corner was found its tip may be, and over how much of the curve its
/// turn is told, in quad edges.
const TIP_REACH: f64 = 0.75;
const TIP_WINDOW: f64 = 0.4;
/// Share of the way to the next pinned vertex that it may go: those between need their room.
const TIP_ROOM: f64 = 0.3;
/// Places looked at on either side.
const TIP_STEPS: i32 = 24;
/// Least share of a rail's length that counts, however short the line that vertices should lie on is
/// there: so that each place has a length of its own.
const LEAST_LEFT: f64 = 0.02;
/// Most that a vertex where curves meet an opening's is off the opening's drawing, in quad edges: so that
/// the drawing is still followed there.
const MOST_LEFT: f64 = 0.25;
/// Places between two vertices at which the density of a rail is looked up.
const BEND_PLACES: usize = 8;

/// A curve that vertices slide along.
#[derive(Clone, Debug)]
pub struct Rail {
    points: Vec<DVec3>,
    /// Length from the first point to each point, as vertices should lie; one more entry than points if
    /// closed.
    along: Vec<f64>,
    /// Way from each point to where vertices should lie; empty for the points themselves.
    off: Vec<DVec3>,
    /// For each piece, how much nearer to each other vertices should lie; empty for evenly.
    bends: Vec<f64>,
    /// Whether it closes on itself.
    pub closed: bool,
    /// Whether it is the cut along the mirror plane.
    pub on_plane: bool,
}

/// Length from the first point of a line to each point, and around a closed one.
fn lengths(points: &[DVec3], closed: bool) -> Vec<f64> {
    let n = points.len();
    let mut along = vec![0.0];
    for i in 1..n + usize::from(closed) {
        along.push(along[i - 1] + points[i - 1].distance(points[i % n]));
    }
    along
}

impl Rail {
    pub fn new(points: Vec<DVec3>, closed: bool, on_plane: bool) -> Self {
        Self {
            along: lengths(&points, closed),
            points,
            off: Vec::new(),
            bends: Vec::new(),
            closed,
            on_plane,
        }
    }

    /// The same rail, whose vertices should lie where those of a curve should.
    fn aimed(mut self, curve: &Curve) -> Self {
        if curve.aims.len() != curve.points.len() {
            return self;
        }
        let line = Rail::new(curve.points.clone(), curve.closed, false);
        let off = |&p: &DVec3| {
            let (i, t) = line.piece(line.nearest(p, None));
            let off = |i: usize| curve.aims[i] - curve.points[i];
            off(i).lerp(off((i + 1) % curve.points.len()), t)
        };
        self.off = self.points.iter().map(off).collect();
        // Lengths are those of the line that vertices lie on: a spike that the drawing leaves out has none
        // to speak of, and holds no vertices.
        let aims: Vec<DVec3> = self
            .points
            .iter()
            .zip(&self.off)
            .map(|(p, o)| *p + *o)
            .collect();
        let own = std::mem::take(&mut self.along);
        let there = lengths(&aims, self.closed);
        self.along.push(0.0);
        for i in 1..own.len() {
            let [piece, aimed] = [&own, &there].map(|along| along[i] - along[i - 1]);
            self.along
                .push(self.along[i - 1] + aimed.max(LEAST_LEFT * piece));
        }
        self
    }

    /// Where a vertex at a length from the start should lie.
    pub fn aim(&self, s: f64) -> DVec3 {
        let (i, t) = self.piece(s);
        let next = (i + 1) % self.points.len();
        let at = self.points[i].lerp(self.points[next], t);
        if self.off.is_empty() {
            return at;
        }
        at + self.off[i].lerp(self.off[next], t)
    }

    /// Vertices are to lie on the rail itself.
    pub fn forget_aims(&mut self) {
        self.off.clear();
        self.along = lengths(&self.points, self.closed);
    }

    /// How dense vertices should be, on the mean, along a way from a length on.
    pub fn bend(&self, s: f64, way: f64) -> f64 {
        if self.bends.is_empty() {
            return 1.0;
        }
        let step = way / BEND_PLACES as f64;
        let at = |i: usize| self.bends[self.piece(s + (i as f64 + 0.5) * step).0];
        (0..BEND_PLACES).map(at).sum::<f64>() / BEND_PLACES as f64
    }

    /// Whole length, model units.
    pub fn length(&self) -> f64 {
        self.along.last().copied().unwrap_or(0.0)
    }

    /// Point at a length from the start; closed rails wrap around.
    pub fn at(&self, s: f64) -> DVec3 {
        let (i, t) = self.piece(s);
        self.points[i].lerp(self.points[(i + 1) % self.points.len()], t)
    }

    /// Length at which the rail is nearest to a point, looking only within `reach` of `near`
    /// (everywhere with `None`).
    pub fn nearest(&self, p: DVec3, near: Option<(f64, f64)>) -> f64 {
        let mut best = (f64::INFINITY, near.map_or(0.0, |n| n.0));
        for i in self.pieces_near(near).into_iter().flatten() {
            let (a, b) = (self.points[i], self.points[(i + 1) % self.points.len()]);
            let d = b - a;
            let t = ((p - a).dot(d) / d.length_squared().max(1e-300)).clamp(0.0, 1.0);
            let distance = p.distance_squared(a + d * t);
            if distance < best.0 {
                best = (
                    distance,
                    self.along[i] + t * (self.along[i + 1] - self.along[i]),
                );
            }
        }
        best.1
    }

    /// Pieces within `reach` of a length, all with `None`, in rising order; those near the start
    /// of a closed rail may come from both sides of it.
    fn pieces_near(&self, near: Option<(f64, f64)>) -> [Range<usize>; 2] {
        let n = self.along.len() - 1;
        let whole = self.length();
        let between = |low: f64, high: f64| {
            let first = self.along[1..].partition_point(|&end| end < low);
            let last = self.along[..n].partition_point(|&start| start <= high);
            first..last.max(first)
        };
        match near {
            Some((s, reach)) if !self.closed => [between(s - reach, s + reach), n..n],
            Some((s, reach)) if 2.0 * reach < whole => {
                let s = s.rem_euclid(whole);
                let (low, high) = (s - reach, s + reach);
                let [one, two] = if low < 0.0 {
                    [between(0.0, high), between(low + whole, whole)]
                } else if high > whole {
                    [between(0.0, high - whole), between(low, whole)]
                } else {
                    [between(low, high), n..n]
                };
                // One long piece may reach both ways around.
                [one.clone(), two.start.max(one.end)..two.end]
            }
            _ => [0..n, n..n],
        }
    }
}

impl Rail {
    /// Which piece of the polyline a length lies on, and the share of the way along it.
    pub fn piece(&self, s: f64) -> (usize, f64) {
        let whole = self.length();
        let s = if self.closed && whole > 0.0 {
            s.rem_euclid(whole)
        } else {
            s.clamp(0.0, whole)
        };
        let i = self
            .along
            .partition_point(|&a| a <= s)
            .clamp(1, self.along.len() - 1)
            - 1;
        let (a, b) = (self.along[i], self.along[i + 1]);
        (
            i,
            if b > a {
                ((s - a) / (b - a)).clamp(0.0, 1.0)
            } else {
                0.0
            },
        )
    }

    /// Length within `reach` of another at which the line that vertices should lie on turns most, as
    /// seen over `window` on both sides: the tip of a corner that is rounded off.
    fn sharpest(&self, near: f64, reach: f64, window: f64) -> f64 {
        let turn = |s: f64| {
            let here = self.aim(s);
            let (before, after) = (here - self.aim(s - window), self.aim(s + window) - here);
            let turn = before.angle_between(after);
            if turn.is_finite() { turn } else { 0.0 }
        };
        let steps =
            (-TIP_STEPS..=TIP_STEPS).map(|k| near + reach * f64::from(k) / f64::from(TIP_STEPS));
        // Of equal ones the nearest, so that a round bend keeps its middle.
        let best = steps.map(|s| (turn(s), s)).max_by(|a, b| {
            let nearer = || (b.1 - near).abs().total_cmp(&(a.1 - near).abs());
            a.0.total_cmp(&b.0).then_with(nearer)
        });
        best.map_or(near, |b| b.1)
    }

    /// How far a place is from one on the rail: along it, or off it where that is more.
    fn way(&self, s: f64, place: DVec3) -> f64 {
        let there = self.nearest(place, None);
        let along = (there - s).abs();
        let along = if self.closed {
            along.min(self.length() - along)
        } else {
            along
        };
        along.max(self.at(there).distance(place))
    }

    /// Length at a share of the way along a piece.
    pub fn length_at(&self, (i, t): (usize, f64)) -> f64 {
        self.along[i] + t * (self.along[i + 1] - self.along[i])
    }
}

/// One rail a chain, on the smoothed work surface, with as many pieces as the chain has edges.
pub(super) fn smooth_rails(surface: &WorkSurface, field: &Field, spacing: &Spacing) -> Vec<Rail> {
    let mut rails = chain_rails(surface, &field.smooth);
    for (rail, bends) in rails.iter_mut().zip(&spacing.bends) {
        rail.bends.clone_from(bends);
    }
    rails
}

/// One rail a chain, through its vertices at these positions.
pub(super) fn chain_rails(surface: &WorkSurface, positions: &[DVec3]) -> Vec<Rail> {
    surface
        .chains
        .iter()
        .map(|chain| {
            let points = chain
                .vertices
                .iter()
                .map(|&v| positions[v as usize])
                .collect();
            Rail::new(points, chain.closed, chain.source == ChainSource::Plane)
        })
        .collect()
}

/// How one vertex is held.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Seat {
    /// Anywhere on the sculpt.
    Free,
    /// At a length along a rail.
    On {
        /// Index of the rail.
        rail: usize,
        /// Length from the rail's start, model units.
        s: f64,
    },
    /// Where curves cross, end or turn a corner: it doesn't move.
    Pinned,
}

/// One rail a chain, and the seat of every vertex of the filled mesh.
pub(crate) fn seats_of(
    filled: &Filled,
    surface: &WorkSurface,
    layout: &Layout,
    curves: &[Curve],
    plane: Option<Plane>,
) -> (Vec<Rail>, Vec<Seat>) {
    let rails: Vec<Rail> = surface
        .chains
        .iter()
        .map(|chain| {
            let vertices: Vec<DVec3> = chain
                .vertices
                .iter()
                .map(|&v| surface.positions[v as usize])
                .collect();
            match chain.source {
                // The drawn curve itself where the chain is the whole of it, else the chain.
                ChainSource::Curve(c)
                    if curves[c].closed == chain.closed && covers(&curves[c], &vertices) =>
                {
                    Rail::new(curves[c].points.clone(), chain.closed, false).aimed(&curves[c])
                }
                ChainSource::Curve(c) => Rail::new(vertices, chain.closed, false).aimed(&curves[c]),
                ChainSource::Plane => {
                    let on = |p: &DVec3| plane.map_or(*p, |plane| plane.project(*p));
                    Rail::new(vertices.iter().map(on).collect(), chain.closed, true)
                }
                ChainSource::Boundary => Rail::new(vertices, chain.closed, false),
            }
        })
        .collect();
    // Chains through each node, and whether the node ends one of them.
    let mut chains_at: BTreeMap<u32, Vec<usize>> = BTreeMap::new();
    let mut ends = BTreeMap::new();
    for (c, chain) in surface.chains.iter().enumerate() {
        for (i, &v) in chain.vertices.iter().enumerate() {
            chains_at.entry(v).or_default().push(c);
            if !chain.closed && (i == 0 || i + 1 == chain.vertices.len()) {
                ends.insert(v, ());
            }
        }
    }
    let corner = layout.chain_corners();
    let seats = filled
        .origin
        .iter()
        .zip(&filled.mesh.positions)
        .zip(&filled.held)
        .map(|((origin, &at), held)| match *origin {
            _ if held.is_some() => Seat::Pinned,
            Origin::Held { .. } => Seat::Pinned,
            Origin::Inside { .. } => Seat::Free,
            Origin::Arc { arc, .. } => match layout.arcs[arc].source {
                ArcSource::Laid(_) => Seat::Free,
                ArcSource::Chain(c) => Seat::On {
                    rail: c,
                    s: rails[c].nearest(at, None),
                },
            },
            Origin::Node { vertex } => match chains_at.get(&vertex).map(Vec::as_slice) {
                None | Some([]) => Seat::Free,
                Some(&[c]) if !ends.contains_key(&vertex) && !corner.contains(&vertex) => {
                    Seat::On {
                        rail: c,
                        s: rails[c].nearest(at, None),
                    }
                }
                Some(_) => Seat::Pinned,
            },
        })
        .collect();
    (rails, seats)
}

/// A pinned vertex of an opening.
pub(super) struct Aimed {
    /// Where it lies.
    pub place: DVec3,
    /// Where on the opening's curve it belongs.
    pub home: DVec3,
    /// What that is along each rail of the opening.
    pub steps: Vec<Step>,
}

/// Vertices where other curves meet an opening's, each with a place half way or more to where the
/// opening's drawing asks for it: pinned where the curves meet they would pull the opening off its drawing, and all
/// the way they would bend the others' ends aside. What lies on the mirror plane stays on it. Where an
/// opening turns a corner of its own the place is that corner's tip, which the work surface may round off.
pub(super) fn aimed_nodes(
    filled: &Filled,
    surface: &WorkSurface,
    layout: &Layout,
    curves: &[Curve],
    rails: &[Rail],
    seats: &[Seat],
    plane: Option<Plane>,
    edge: f64,
) -> Vec<(usize, Aimed)> {
    let corners = layout.chain_corners();
    let pinned = (0..seats.len()).filter(|&v| seats[v] == Seat::Pinned);
    let stays: Vec<(usize, DVec3)> = pinned
        .clone()
        .map(|v| (v, filled.mesh.positions[v]))
        .collect();
    let is_opening = |&c: &usize| match surface.chains[c].source {
        ChainSource::Curve(curve) => curves[curve].kind == GuideKind::Opening,
        ChainSource::Plane | ChainSource::Boundary => false,
    };
    let place = |v: usize| {
        let Origin::Node { vertex } = filled.origin[v] else {
            return None;
        };
        let through = (0..rails.len()).filter(|&c| surface.chains[c].vertices.contains(&vertex));
        let (openings, others): (Vec<usize>, Vec<usize>) = through.partition(is_opening);
        let at = filled.mesh.positions[v];
        let turns = others.is_empty() && corners.contains(&vertex);
        let (mut home, mut sum) = (at, DVec3::ZERO);
        let mut steps = Vec::new();
        for (c, rail) in openings.iter().map(|&c| (c, &rails[c])) {
            let was = rail.nearest(at, None);
            let mut s = was;
            if turns {
                let others = stays.iter().filter(|(w, _)| *w != v);
                let room = others.map(|(_, there)| rail.way(s, *there));
                let room = room.fold(f64::INFINITY, f64::min);
                let reach = (TIP_REACH * edge).min(TIP_ROOM * room);
                s = rail.sharpest(s, reach, TIP_WINDOW * edge);
                home = rail.at(s);
            }
            steps.push(Step {
                rail: c,
                was,
                is: s,
            });
            sum += rail.aim(s);
        }
        let aim = (!openings.is_empty()).then(|| sum / openings.len() as f64)?;
        let left = if others.is_empty() { 0.0 } else { 0.5 };
        let place = aim + ((at - aim) * left).clamp_length_max(MOST_LEFT * edge);
        let plane = plane.filter(|_| others.iter().any(|&c| rails[c].on_plane));
        let place = plane.map_or(place, |plane| plane.project(place));
        Some(Aimed { place, home, steps })
    };
    let loose = pinned.filter(|&v| filled.held[v].is_none());
    loose.filter_map(|v| Some((v, place(v)?))).collect()
}

/// Whether the chain's ends are the curve's ends.
fn covers(curve: &Curve, chain: &[DVec3]) -> bool {
    if curve.closed {
        return true;
    }
    match (
        curve.points.first(),
        curve.points.last(),
        chain.first(),
        chain.last(),
    ) {
        (Some(a), Some(b), Some(p), Some(q)) => {
            let whole: f64 = curve.points.windows(2).map(|w| w[0].distance(w[1])).sum();
            (a.distance(*p) + b.distance(*q)).min(a.distance(*q) + b.distance(*p)) < 0.02 * whole
        }
        _ => false,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::model::CurveEnd;

    #[test]
    fn a_closed_rail_wraps_and_finds_its_nearest() {
        let square = vec![DVec3::ZERO, DVec3::X, DVec3::new(1.0, 1.0, 0.0), DVec3::Y];
        let rail = Rail::new(square, true, false);
        assert_eq!(rail.length(), 4.0);
        assert_eq!(rail.at(4.5), DVec3::new(0.5, 0.0, 0.0));
        assert!((rail.nearest(DVec3::new(-0.2, 0.25, 0.0), None) - 3.75).abs() < 1e-12);
    }

    #[test]
    fn pieces_within_reach_are_those_that_a_look_at_each_finds() {
        let points: Vec<DVec3> = (0..23u32)
            .map(|i| {
                let turn = std::f64::consts::TAU * (f64::from(i) / 23.0).powf(1.3);
                DVec3::new(turn.cos(), turn.sin(), 0.3 * (3.0 * turn).sin())
            })
            .collect();
        for closed in [false, true] {
            let rail = Rail::new(points.clone(), closed, false);
            let whole = rail.length();
            for step in 0..60 {
                let s = whole * f64::from(step) / 59.0;
                for reach in [0.0, 0.01, 0.4, 1.7, 0.49 * whole, whole] {
                    let found: Vec<usize> = rail
                        .pieces_near(Some((s, reach)))
                        .into_iter()
                        .flatten()
                        .collect();
                    let gap = |i: usize| {
                        let [a, b] = [rail.along[i], rail.along[i + 1]];
                        let turns = if closed {
                            [-whole, 0.0, whole]
                        } else {
                            [0.0; 3]
                        };
                        let apart = |t: f64| (a + t - s).max(s - b - t).max(0.0);
                        turns.map(apart).into_iter().fold(f64::INFINITY, f64::min)
                    };
                    // Pieces that only just touch the reach may go either way by rounding.
                    let rounding = 1e-9 * whole;
                    for i in 0..rail.along.len() - 1 {
                        if (gap(i) - reach).abs() > rounding {
                            assert_eq!(found.contains(&i), gap(i) <= reach, "{i} at {s}");
                        }
                    }
                    assert!(found.is_sorted_by(|a, b| a < b));
                }
            }
        }
    }

    /// A square corner whose drawing leaves out a spike at one end: its tip is found from beside it, and
    /// what is left out has next to no length.
    #[test]
    fn the_tip_of_a_corner_is_found_and_a_spike_left_out_has_no_length() {
        let at = |x: f64, y: f64| DVec3::new(x, y, 0.0);
        let points: Vec<DVec3> = (0..=20)
            .map(|i| at(0.0, 2.0 - 0.1 * f64::from(i)))
            .chain((1..=20).map(|i| at(0.1 * f64::from(i), 0.0)))
            .collect();
        let rail = Rail::new(points, false, false);
        for near in [1.6, 2.0, 2.5] {
            let tip = rail.sharpest(near, 0.75, 0.4);
            assert!((tip - 2.0).abs() < 0.05, "{tip}");
        }
        // On a straight piece all places are alike, and it stays.
        assert_eq!(rail.sharpest(1.0, 0.3, 0.2), 1.0);
        let spike = vec![
            at(0.0, 0.0),
            at(1.0, 0.0),
            at(1.5, 3.0),
            at(2.0, 0.0),
            at(3.0, 0.0),
        ];
        let mut aims = spike.clone();
        aims[2] = at(1.5, 0.0);
        let curve = Curve {
            guides: vec![],
            kind: GuideKind::Opening,
            closed: false,
            ends: [CurveEnd::Free; 2],
            count: None,
            shares: vec![],
            partly_held: false,
            side: None,
            points: spike.clone(),
            aims,
        };
        let aimed = Rail::new(spike, false, false).aimed(&curve);
        assert!((aimed.length() - 3.0).abs() < 1e-12, "{}", aimed.length());
        assert!(aimed.aim(1.5).distance(at(1.5, 0.0)) < 1e-12);
    }
}
