//! A field with its quarter turns held as whole numbers, so that singular places can be moved.
//!
//! Along each edge the direction at one end, carried to the other, differs from the one there by a
//! whole number of quarter turns (the edge's *period jump*) and a small rest. The jumps around a
//! triangle are its index; with the jumps given, the smoothest directions are the least squares of
//! the rests: one linear system, whose matrix doesn't depend on the jumps (Bommes, Zimmer & Kobbelt
//! 2009, "Mixed-integer quadrangulation", section 3). Adding a turn to the jumps of all edges that a
//! walk from triangle to triangle crosses takes index from where it starts to where it ends, and
//! changes no other triangle (Crane, Desbrun & Schröder 2010, "Trivial connections on discrete
//! surfaces"). So pairs of opposite index can be cancelled and poles sent elsewhere, exactly.

use std::collections::{BTreeMap, BinaryHeap};
use std::f64::consts::FRAC_PI_2;

use mesh::{DVec3, TriTopology};
use numeric::{Spd, SpdError};
use rayon::prelude::*;

use super::curvature::Pull;
use super::frames::{Frames, wrap};
use crate::queue::Cheapest;

/// Rest, in radians, that an edge may carry: beyond an eighth of a turn another jump would be
/// nearer, and the field would have other singular places than the jumps say.
const MOST_REST: f64 = 0.97 * FRAC_PI_2 / 2.0;

/// Walks that are tried with one pass over the factors.
const AT_ONCE: usize = 8;

/// The linear system of a field, which doesn't depend on its directions: so it can be factored while they are
/// looked for.
pub(super) struct System {
    /// By edge, along its first half-edge: start, end, and what is added to an angle that is carried.
    edges: Vec<(u32, u32, f64)>,
    /// Row of each vertex in the system; `usize::MAX` where the direction is given.
    row: Vec<usize>,
    /// Rows of the system.
    rows: usize,
    factors: Option<Spd>,
}

/// Directions and whole quarter turns of a field in the making.
pub(super) struct Periods<'a> {
    topology: &'a TriTopology,
    system: System,
    pull: &'a Pull,
    /// By edge, along its first half-edge.
    jump: Vec<i32>,
    /// By vertex, radians in its frame; not wrapped, so that the jumps stay true.
    pub angle: Vec<f64>,
}

impl System {
    /// Where `fixed` gives a direction it stays.
    ///
    /// # Errors
    /// If the system can't be factored.
    pub fn new(
        topology: &TriTopology,
        frames: &Frames,
        fixed: &[Option<f64>],
        pull: &Pull,
    ) -> Result<Self, SpdError> {
        let mut row = vec![usize::MAX; topology.vertex_count()];
        let mut rows = 0;
        // A field without a given direction may be turned as a whole: one vertex holds it.
        let mut held = fixed.iter().any(Option::is_some);
        for v in 0..topology.vertex_count() {
            if fixed[v].is_none() && topology.fan(v as u32).next().is_some() {
                if held {
                    row[v] = rows;
                    rows += 1;
                }
                held = true;
            }
        }
        let mut entries = Vec::with_capacity(rows * 8);
        for (v, &r) in row.iter().enumerate() {
            if r != usize::MAX {
                // Pieces that touch no given direction would make the matrix singular.
                entries.push((r, r, 1e-9 + pull.weight[v]));
            }
        }
        let edges: Vec<(u32, u32, f64)> = (0..topology.edge_count() as u32)
            .map(|edge| {
                let h = topology.half_of_edge(edge);
                (topology.from(h), topology.to(h), frames.transport(h))
            })
            .collect();
        for &(a, b, _) in &edges {
            let (a, b) = (a as usize, b as usize);
            for (one, other) in [(a, b), (b, a)] {
                if row[one] != usize::MAX {
                    entries.push((row[one], row[one], 1.0));
                    if one < other && row[other] != usize::MAX {
                        entries.push((row[one], row[other], -1.0));
                    }
                }
            }
        }
        let factors = match rows {
            0 => None,
            _ => Some(Spd::factor(rows, &entries)?),
        };
        Ok(Self {
            edges,
            row,
            rows,
            factors,
        })
    }
}

impl<'a> Periods<'a> {
    /// Takes over a field's directions.
    pub fn new(topology: &'a TriTopology, system: System, pull: &'a Pull, angle: Vec<f64>) -> Self {
        let nearest = |&(a, b, carried): &(u32, u32, f64)| {
            let turn = angle[b as usize] - angle[a as usize] - carried;
            ((wrap(turn, FRAC_PI_2) - turn) / FRAC_PI_2).round() as i32
        };
        let jump = system.edges.iter().map(nearest).collect();
        Self {
            topology,
            system,
            pull,
            jump,
            angle,
        }
    }

    /// What an edge's directions differ by, beside its jump; radians, along its first half-edge.
    fn rest(&self, edge: usize, jump: &[i32], angle: &[f64]) -> f64 {
        let (a, b, carried) = self.system.edges[edge];
        angle[b as usize] - angle[a as usize] - carried + f64::from(jump[edge]) * FRAC_PI_2
    }

    /// How much the field turns beside its jumps: sum over edges of the squares of the rests, and
    /// how far it is from where it is pulled.
    pub fn energy(&self) -> f64 {
        self.energy_of(&self.jump, &self.angle)
    }

    fn energy_of(&self, jump: &[i32], angle: &[f64]) -> f64 {
        let edges = 0..self.system.edges.len();
        let turning: f64 = edges.map(|e| self.rest(e, jump, angle).powi(2)).sum();
        let pulled =
            |v: usize| self.pull.weight[v] * wrap(self.pull.angle[v] - angle[v], FRAC_PI_2).powi(2);
        turning + (0..angle.len()).map(pulled).sum::<f64>()
    }

    /// Whether every edge's nearest jump is its own, so that the field has the singular places
    /// that the jumps say.
    pub fn is_true(&self) -> bool {
        self.is_true_of(&self.jump, &self.angle)
    }

    fn is_true_of(&self, jump: &[i32], angle: &[f64]) -> bool {
        let free = |v: u32| self.system.row[v as usize] != usize::MAX;
        self.system.edges.iter().enumerate().all(|(e, &(a, b, _))| {
            (!free(a) && !free(b)) || self.rest(e, jump, angle).abs() <= MOST_REST
        })
    }

    /// Takes `quarters` of index along a walk of half-edges, each in the triangle that is left.
    pub fn carry(&mut self, walk: &[u32], quarters: i32) {
        for &h in walk {
            let edge = self.topology.edge(h);
            self.jump[edge as usize] += self.change(h, quarters);
        }
    }

    /// What taking `quarters` of index across a half-edge adds to its edge's jump.
    fn change(&self, half: u32, quarters: i32) -> i32 {
        if self.topology.half_of_edge(self.topology.edge(half)) == half {
            -quarters
        } else {
            quarters
        }
    }

    /// Finds the smoothest directions for the jumps as they are.
    pub fn solve(&mut self) {
        // Which of the four directions pulls depends on the direction at hand, so twice.
        self.solve_once();
        self.solve_once();
    }

    /// As [`Self::solve`], with each vertex pulled to the one of four directions nearest to its own
    /// before.
    pub fn solve_once(&mut self) {
        let Some(system) = &self.system.factors else {
            return;
        };
        let found = system.solve(&self.right_side(&self.jump, &self.angle));
        for (v, &r) in self.system.row.iter().enumerate() {
            if r != usize::MAX {
                self.angle[v] = found[r];
            }
        }
    }

    /// For each walk the energy that the field would have if `quarters` of index were taken along
    /// it and the directions found anew, `rounds` times (see [`Self::solve`]); `None` where it
    /// wouldn't be true to its jumps. Nothing changes.
    pub fn tries(&self, walks: &[&[u32]], quarters: i32, rounds: u32) -> Vec<Option<f64>> {
        let some: Vec<Vec<Option<f64>>> = walks
            .par_chunks(AT_ONCE)
            .map(|some| self.tries_at_once(some, quarters, rounds))
            .collect();
        some.concat()
    }

    fn tries_at_once(&self, walks: &[&[u32]], quarters: i32, rounds: u32) -> Vec<Option<f64>> {
        let mut fields: Vec<(Vec<i32>, Vec<f64>)> = walks
            .iter()
            .map(|walk| {
                let mut jump = self.jump.clone();
                for &h in *walk {
                    jump[self.topology.edge(h) as usize] += self.change(h, quarters);
                }
                (jump, self.angle.clone())
            })
            .collect();
        let mut open: Vec<usize> = (0..fields.len()).collect();
        for _ in 0..rounds {
            let Some(system) = &self.system.factors else {
                break;
            };
            let rights: Vec<Vec<f64>> = open
                .iter()
                .map(|&i| self.right_side(&fields[i].0, &fields[i].1))
                .collect();
            let found = system.solve_many(&rights);
            // Where each vertex is pulled to the direction that it was pulled to before, nothing
            // would come of another round.
            let mut turned = Vec::new();
            for (&i, found) in open.iter().zip(&found) {
                if self.takes(&mut fields[i].1, found) {
                    turned.push(i);
                }
            }
            open = turned;
        }
        fields
            .iter()
            .map(|(jump, angle)| {
                let holds = self.is_true_of(jump, angle);
                holds.then(|| self.energy_of(jump, angle))
            })
            .collect()
    }

    /// Takes over what was found; answers whether another direction now pulls anywhere.
    fn takes(&self, angle: &mut [f64], found: &[f64]) -> bool {
        let mut turned = false;
        for (v, &r) in self.system.row.iter().enumerate() {
            if r != usize::MAX {
                let pulls = |at: f64| ((self.pull.angle[v] - at) / FRAC_PI_2).round();
                turned |= self.pull.weight[v] > 0.0 && pulls(angle[v]) != pulls(found[r]);
                angle[v] = found[r];
            }
        }
        turned
    }

    /// Right-hand side of the system for these jumps, pulled from these directions.
    fn right_side(&self, jump: &[i32], angle: &[f64]) -> Vec<f64> {
        let mut right = vec![0.0; self.system.rows];
        for (edge, &(a, b, carried)) in self.system.edges.iter().enumerate() {
            let (a, b) = (a as usize, b as usize);
            // Wanted: angle[b] − angle[a] = turn.
            let turn = carried - f64::from(jump[edge]) * FRAC_PI_2;
            match (self.system.row[a], self.system.row[b]) {
                (usize::MAX, usize::MAX) => {}
                (i, usize::MAX) => right[i] += angle[b] - turn,
                (usize::MAX, j) => right[j] += angle[a] + turn,
                (i, j) => {
                    right[i] -= turn;
                    right[j] += turn;
                }
            }
        }
        for (v, &r) in self.system.row.iter().enumerate() {
            if r != usize::MAX {
                let off = wrap(self.pull.angle[v] - angle[v], FRAC_PI_2);
                right[r] += self.pull.weight[v] * (angle[v] + off);
            }
        }
        right
    }

    /// Whether a walk may cross an edge: not where both ends' directions are given.
    fn may_cross(&self, edge: u32) -> bool {
        let [a, b] = self.topology.ends(edge);
        self.system.row[a as usize] != usize::MAX || self.system.row[b as usize] != usize::MAX
    }

    /// Shortest walks from a triangle to others no further than `reach` (length of the way between
    /// the triangles' middles), nearest first: where each ends, its length and the half-edges crossed.
    pub fn walks(
        &self,
        middles: &[DVec3],
        from: u32,
        goals: &[u32],
        reach: f64,
    ) -> Vec<(u32, f64, Vec<u32>)> {
        let mut best: BTreeMap<u32, (f64, Option<u32>)> = BTreeMap::from([(from, (0.0, None))]);
        let mut queue = BinaryHeap::from([Cheapest(0.0, from)]);
        let mut found = Vec::new();
        while let Some(Cheapest(length, t)) = queue.pop() {
            if best.get(&t).is_some_and(|b| length > b.0) {
                continue;
            }
            if t != from && goals.contains(&t) {
                let mut walk = Vec::new();
                let mut at = t;
                while let Some(&(_, Some(h))) = best.get(&at) {
                    walk.push(h);
                    at = h / 3;
                }
                walk.reverse();
                found.push((t, length, walk));
            }
            for h in 3 * t..3 * t + 3 {
                let Some(across) = self.topology.twin(h) else {
                    continue;
                };
                if !self.may_cross(self.topology.edge(h)) {
                    continue;
                }
                let next = across / 3;
                let way = length + middles[t as usize].distance(middles[next as usize]);
                if way <= reach && best.get(&next).is_none_or(|b| way < b.0) {
                    best.insert(next, (way, Some(h)));
                    queue.push(Cheapest(way, next));
                }
            }
        }
        found
    }

    /// Jumps and directions, to go back to.
    pub fn state(&self) -> (Vec<i32>, Vec<f64>) {
        (self.jump.clone(), self.angle.clone())
    }

    /// Goes back.
    pub fn restore(&mut self, state: (Vec<i32>, Vec<f64>)) {
        (self.jump, self.angle) = state;
    }
}
