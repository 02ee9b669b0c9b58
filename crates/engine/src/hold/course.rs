//! The course of a guide along held edges.

use std::cmp::Reverse;
use std::collections::BinaryHeap;

use mesh::DVec3;

use super::Held;

/// A path this far beside its guide costs twice its length, in held edges.
const HUG: f64 = 0.15;

/// A run of held edges that stands for a stretch of a guide.
#[derive(Clone, Debug, PartialEq)]
pub struct Course {
    /// Held vertices in order; a closed one repeats the first.
    pub vertices: Vec<u32>,
    /// Greatest distance between it and the stretch, model units.
    pub off: f64,
    /// Where that is, model units.
    pub at: DVec3,
}

impl Held {
    /// The nearest held vertex, or the nearest on the rim; none if there is none.
    pub fn nearest_vertex(&self, p: DVec3, on_rim: bool) -> Option<u32> {
        let all: Vec<u32> = if on_rim {
            self.rim.iter().flatten().copied().collect()
        } else {
            (0..self.mesh.positions.len() as u32).collect()
        };
        let distance = |v: &u32| self.mesh.positions[*v as usize].distance_squared(p);
        all.into_iter()
            .min_by(|a, b| distance(a).total_cmp(&distance(b)).then(a.cmp(b)))
    }

    /// The run of held edges that hugs a line through given vertices in order; none if held quads
    /// don't hang together between them.
    pub fn course(&self, line: &[DVec3], through: &[u32]) -> Option<Course> {
        let mut vertices = vec![*through.first()?];
        for pair in through.windows(2) {
            vertices.extend(self.way(line, pair[0], pair[1])?);
        }
        let at = |v: u32| self.mesh.positions[v as usize];
        let path: Vec<DVec3> = vertices.iter().map(|&v| at(v)).collect();
        let mut course = Course {
            vertices,
            off: 0.0,
            at: path[0],
        };
        let mut look = |p: DVec3, other: &[DVec3]| {
            let distance = distance_to(other, p);
            if distance > course.off {
                (course.off, course.at) = (distance, p);
            }
        };
        for w in path.windows(2) {
            for share in [0.0, 0.5, 1.0] {
                look(w[0].lerp(w[1], share), line);
            }
        }
        for &p in line {
            look(p, &path);
        }
        Some(course)
    }

    /// Vertices after the first of the cheapest path (Dijkstra), edges away from the line costing
    /// more.
    fn way(&self, line: &[DVec3], from: u32, to: u32) -> Option<Vec<u32>> {
        if from == to {
            return Some(Vec::new());
        }
        let n = self.mesh.positions.len();
        let mut around: Vec<Vec<u32>> = vec![Vec::new(); n];
        for &[a, b] in &self.topology.edges {
            around[a as usize].push(b);
            around[b as usize].push(a);
        }
        let mut cost = vec![f64::INFINITY; n];
        let mut before = vec![u32::MAX; n];
        // Costs aren't negative, so their bits rise with them.
        let mut queue = BinaryHeap::from([Reverse((0u64, from))]);
        cost[from as usize] = 0.0;
        while let Some(Reverse((bits, v))) = queue.pop() {
            let here = f64::from_bits(bits);
            if here > cost[v as usize] {
                continue;
            }
            if v == to {
                break;
            }
            for &u in &around[v as usize] {
                let [a, b] = [v, u].map(|x| self.mesh.positions[x as usize]);
                let off = [a.midpoint(b), b].map(|p| distance_to(line, p) / (HUG * self.edge));
                let hug = 1.0 + off.iter().map(|o| o * o).sum::<f64>();
                let there = here + a.distance(b) * hug;
                if there < cost[u as usize] {
                    cost[u as usize] = there;
                    before[u as usize] = v;
                    queue.push(Reverse((there.to_bits(), u)));
                }
            }
        }
        let mut path = vec![to];
        let mut at = to;
        while at != from {
            at = *before.get(at as usize)?;
            path.push(at);
        }
        path.pop();
        path.reverse();
        Some(path)
    }
}

/// Distance from a point to a polyline, or to its only point.
fn distance_to(line: &[DVec3], p: DVec3) -> f64 {
    let pieces = line.windows(2).map(|w| {
        let d = w[1] - w[0];
        let t = ((p - w[0]).dot(d) / d.length_squared().max(1e-300)).clamp(0.0, 1.0);
        p.distance(w[0] + d * t)
    });
    let first = line.first().map_or(f64::INFINITY, |q| p.distance(*q));
    pieces.fold(first, f64::min)
}
