//! Closed curves around limbs, laid before anything else.
//!
//! A limb's rows close on themselves only if a closed curve of the field runs around it. Such curves
//! are cycles in the graph whose nodes are (vertex, quarter turn) (Campen, Bommes & Kobbelt 2012,
//! "Dual loops meshing"): a streamline that comes back near to where it started tells where to look,
//! the shortest cycle there is the curve. It has no corner, so what it cuts off has indices that sum
//! to four times its Euler characteristic: the end of a limb, or what hangs together by a handle.

use std::collections::BinaryHeap;
use std::f64::consts::{FRAC_PI_2, TAU};

use mesh::DVec3;
use rayon::prelude::*;

use super::marks::Marks;
use super::trace::{run_length, walk};
use crate::field::{Field, wrap};
use crate::queue::Cheapest;

/// Places in a region from which rings are looked for.
const SEEDS: usize = 40;
/// Share of its length by which a streamline may miss its start.
const MISS: f64 = 0.2;
/// Steepest step of a cycle against the field, radians.
const STEEPEST: f64 = 0.9;
/// What a step against the field costs: its length is multiplied with 1 + this × sin².
const AGAINST: f64 = 3.0;

/// A cycle along the field.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Ring {
    /// Vertices in order, the first not repeated.
    pub vertices: Vec<u32>,
    /// Model units.
    pub length: f64,
}

/// Looks for rings in a part of the surface.
pub(super) struct Search<'a> {
    field: &'a Field,
    positions: &'a [DVec3],
    /// By node, where its steps begin in `steps`; and where the last one's end.
    first: Vec<u32>,
    /// Steps along the field: where each leads to, and what it costs.
    steps: Vec<(u32, f64)>,
}

/// What one search after another leaves.
struct Costs {
    /// Cost so far of each node, and the round that it is of; the node before.
    best: Vec<(f64, u32, u32)>,
    round: u32,
}

impl<'a> Search<'a> {
    pub fn new(field: &'a Field, positions: &'a [DVec3]) -> Self {
        let topology = &field.topology;
        let mut search = Self {
            field,
            positions,
            first: Vec::with_capacity(4 * positions.len() + 1),
            steps: Vec::new(),
        };
        let mut around: Vec<(u32, f64, i32, f64)> = Vec::new();
        for v in 0..positions.len() as u32 {
            around.clear();
            for (w, edge) in topology.neighbours(v) {
                let Some(half) = topology.half_between(v, w) else {
                    continue;
                };
                let way = field.frames.of_edge(topology, edge, v);
                let length = field.smooth[v as usize].distance(field.smooth[w as usize]);
                around.push((w, way, field.matching(half), length));
            }
            for k in 0..4 {
                search.first.push(search.steps.len() as u32);
                let ahead = field.angle[v as usize] + f64::from(k) * FRAC_PI_2;
                for &(w, way, matching, length) in &around {
                    let off = wrap(way - ahead, TAU);
                    if off.abs() <= STEEPEST {
                        let turned = (k + matching).rem_euclid(4) as u32;
                        let cost = length * (1.0 + AGAINST * off.sin().powi(2));
                        search.steps.push((4 * w + turned, cost));
                    }
                }
            }
        }
        search.first.push(search.steps.len() as u32);
        search
    }

    /// Rings within these triangles, through places spread evenly over them; `quad` is the edge
    /// length of the coming quads.
    pub fn rings(&self, marks: &Marks, triangles: &[u32], quad: f64) -> Vec<Ring> {
        let area: f64 = triangles.iter().map(|&t| self.area(t)).sum();
        let limit = 3.0 * area.sqrt();
        let costs = || Costs {
            best: vec![(0.0, 0, u32::MAX); 4 * self.positions.len()],
            round: 0,
        };
        let found: Vec<[Option<Ring>; 2]> = self
            .seeds(marks, triangles, quad)
            .into_par_iter()
            .map_init(costs, |costs, seed| {
                [0, 1].map(|quarter| {
                    let reach = self.comes_back(marks, seed, quarter, quad, limit)?;
                    self.cycle(marks, costs, seed, quarter, reach)
                        .filter(|ring| ring.vertices.len() >= 6)
                })
            })
            .collect();
        let mut rings: Vec<Ring> = Vec::new();
        for ring in found.into_iter().flatten().flatten() {
            if !rings.contains(&ring) {
                rings.push(ring);
            }
        }
        rings
    }

    fn area(&self, triangle: u32) -> f64 {
        let [a, b, c] =
            self.field.topology.triangles[triangle as usize].map(|v| self.positions[v as usize]);
        (b - a).cross(c - a).length() / 2.0
    }

    /// Unmarked vertices far from each other and from marks.
    fn seeds(&self, marks: &Marks, triangles: &[u32], quad: f64) -> Vec<u32> {
        let (mut free, mut marked) = (Vec::new(), Vec::new());
        let mut all: Vec<u32> = triangles
            .iter()
            .flat_map(|&t| self.field.topology.triangles[t as usize])
            .collect();
        all.sort_unstable();
        all.dedup();
        for v in all {
            if marks.is_marked(v) {
                marked.push(v);
            } else {
                free.push(v);
            }
        }
        let place = |v: u32| self.field.smooth[v as usize];
        // Every few vertices of the marks tell the distance well enough.
        let marked: Vec<DVec3> = marked.iter().step_by(4).map(|&m| place(m)).collect();
        let marked = Nearest::new(marked);
        let mut gap: Vec<f64> = free
            .iter()
            .map(|&v| marked.distance_squared(place(v)))
            .collect();
        let mut seeds = Vec::new();
        while seeds.len() < SEEDS {
            let Some((i, far)) = gap
                .iter()
                .copied()
                .enumerate()
                .max_by(|a, b| a.1.total_cmp(&b.1).then(b.0.cmp(&a.0)))
            else {
                break;
            };
            if far < (1.5 * quad).powi(2) {
                break;
            }
            seeds.push(free[i]);
            for (g, &v) in gap.iter_mut().zip(&free) {
                *g = g.min(place(v).distance_squared(place(free[i])));
            }
        }
        seeds
    }

    /// How far a cycle through a vertex may cost, if the streamline from there comes back near it.
    fn comes_back(
        &self,
        marks: &Marks,
        seed: u32,
        quarter: u8,
        quad: f64,
        limit: f64,
    ) -> Option<f64> {
        let field = self.field;
        let topology = &field.topology;
        let angle = field.angle[seed as usize] + f64::from(quarter) * FRAC_PI_2;
        let line = walk(field, marks, seed, angle, limit)?;
        let home = field.smooth[seed as usize];
        let (mut gone, mut at) = (0.0, home);
        let mut best: Option<(f64, f64)> = None;
        for &(half, share) in &line.crossings {
            let [a, b] = [topology.from(half), topology.to(half)].map(|v| field.smooth[v as usize]);
            let next = a.lerp(b, share);
            gone += at.distance(next);
            at = next;
            let miss = home.distance(at);
            if gone > 4.0 * quad && miss < MISS * gone + 0.5 * quad {
                if best.is_none_or(|b| miss < b.0) {
                    best = Some((miss, gone));
                }
            } else if best.is_some() {
                break;
            }
        }
        // A cycle zigzags by up to a third.
        best.map(|(_, gone)| 1.6 * gone + 2.0 * quad)
    }

    /// The cheapest cycle that leaves a vertex by a quarter and comes back by it.
    fn cycle(
        &self,
        marks: &Marks,
        costs: &mut Costs,
        seed: u32,
        quarter: u8,
        reach: f64,
    ) -> Option<Ring> {
        costs.round += 1;
        let round = costs.round;
        let start = 4 * seed + u32::from(quarter);
        let mut queue = BinaryHeap::from([Cheapest(0.0, start)]);
        let mut first = true;
        while let Some(Cheapest(cost, node)) = queue.pop() {
            if !first && node == start {
                return self.ring_to(&costs.best, start);
            }
            let known = costs.best[node as usize];
            if !first && (known.1 != round || cost > known.0) {
                continue;
            }
            first = false;
            let steps = self.first[node as usize] as usize..self.first[node as usize + 1] as usize;
            for &(to, step) in &self.steps[steps] {
                if marks.is_marked(to / 4) {
                    continue;
                }
                let next = cost + step;
                let entry = &mut costs.best[to as usize];
                if next <= 2.0 * reach && (entry.1 != round || next < entry.0) {
                    *entry = (next, round, node);
                    queue.push(Cheapest(next, to));
                }
            }
        }
        None
    }

    /// Reads a cycle back; `None` if it passes a vertex twice.
    fn ring_to(&self, best: &[(f64, u32, u32)], start: u32) -> Option<Ring> {
        let mut vertices = Vec::new();
        let mut node = start;
        loop {
            vertices.push(node / 4);
            node = best[node as usize].2;
            if node == start {
                break;
            }
            if vertices.len() > self.positions.len() {
                return None;
            }
        }
        vertices.reverse();
        vertices.rotate_right(1);
        let mut sorted = vertices.clone();
        sorted.sort_unstable();
        sorted.dedup();
        if sorted.len() < vertices.len() {
            return None;
        }
        let mut closed = vertices.clone();
        closed.push(vertices[0]);
        Some(Ring {
            length: run_length(self.positions, &closed),
            vertices,
        })
    }
}

/// Points in the order of x, so that only those about as near along x need to be looked at.
struct Nearest {
    points: Vec<DVec3>,
}

impl Nearest {
    fn new(mut points: Vec<DVec3>) -> Self {
        points.sort_by(|a, b| a.x.total_cmp(&b.x));
        Self { points }
    }

    /// Squared distance to the nearest point; infinite where there is none.
    fn distance_squared(&self, from: DVec3) -> f64 {
        let middle = self.points.partition_point(|p| p.x < from.x);
        let mut best = f64::INFINITY;
        let mut look = |point: &DVec3| {
            let along = (point.x - from.x).powi(2) <= best;
            best = best.min(point.distance_squared(from));
            along
        };
        let _ = self.points[middle..].iter().all(&mut look);
        let _ = self.points[..middle].iter().rev().all(&mut look);
        best
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_nearest_point_is_as_far_as_looking_at_all_of_them_tells() {
        // Places of a fixed sequence in a box; some share their x.
        let place = |i: u64| {
            let part = |k: u64| ((i * 2_654_435_761 + k * 40_503) % 1_009) as f64 / 100.0;
            DVec3::new(part(1).round(), part(7), part(31))
        };
        let points: Vec<DVec3> = (0..300).map(place).collect();
        let nearest = Nearest::new(points.clone());
        for from in (1_000..1_400).map(place) {
            let all = points.iter().map(|p| p.distance_squared(from));
            assert_eq!(
                nearest.distance_squared(from),
                all.fold(f64::INFINITY, f64::min)
            );
        }
        assert_eq!(
            Nearest::new(Vec::new()).distance_squared(DVec3::ZERO),
            f64::INFINITY
        );
    }
}
