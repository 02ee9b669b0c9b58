//! Ways over the sculpt where the straight piece between two drawn points leaves it.

use std::cmp::Reverse;
use std::collections::{BTreeMap, BinaryHeap};

use mesh::DVec3;

use crate::model::Sculpt;

/// Finds shortest ways along the sculpt's edges; its neighbour lists are built on first use.
#[derive(Debug, Default)]
pub(in crate::guides) struct Router {
    first: Vec<u32>,
    neighbour: Vec<u32>,
}

impl Router {
    /// Points of a way from a to b over the sculpt, without both ends; none if there is no
    /// way. A* over vertices with the straight distance, then shortened by averaging.
    pub fn route(&mut self, a: DVec3, b: DVec3, sculpt: &Sculpt) -> Vec<DVec3> {
        if self.first.is_empty() {
            self.build(sculpt);
        }
        let position = |v: u32| sculpt.mesh.positions[v as usize].as_dvec3();
        let corner = |p: DVec3| {
            let triangle = sculpt.index.closest(p)?.triangle as usize;
            let corners = sculpt.mesh.triangles.get(triangle)?;
            corners
                .iter()
                .copied()
                .min_by(|&x, &y| position(x).distance(p).total_cmp(&position(y).distance(p)))
        };
        let (Some(start), Some(end)) = (corner(a), corner(b)) else {
            return Vec::new();
        };
        let Some(path) = self.search(start, end, &position) else {
            return Vec::new();
        };
        let mut points: Vec<DVec3> = std::iter::once(a)
            .chain(path.iter().map(|&v| position(v)))
            .chain([b])
            .collect();
        straighten(&mut points, sculpt);
        points[1..points.len() - 1].to_vec()
    }

    fn build(&mut self, sculpt: &Sculpt) {
        let mesh = &sculpt.mesh;
        let mut first = vec![0u32; mesh.positions.len() + 1];
        for t in &mesh.triangles {
            for &v in t {
                first[v as usize + 1] += 2;
            }
        }
        for v in 1..first.len() {
            first[v] += first[v - 1];
        }
        let mut fill = first.clone();
        let mut neighbour = vec![0u32; mesh.triangles.len() * 6];
        for t in &mesh.triangles {
            for i in 0..3 {
                for j in [1, 2] {
                    let slot = &mut fill[t[i] as usize];
                    neighbour[*slot as usize] = t[(i + j) % 3];
                    *slot += 1;
                }
            }
        }
        self.first = first;
        self.neighbour = neighbour;
    }

    fn search(&self, start: u32, end: u32, position: &impl Fn(u32) -> DVec3) -> Option<Vec<u32>> {
        let goal = position(end);
        let mut best: BTreeMap<u32, (f64, u32)> = BTreeMap::new();
        let mut queue: BinaryHeap<Reverse<(u64, u32)>> = BinaryHeap::new();
        best.insert(start, (0.0, start));
        // Bits of a positive float rise with it.
        queue.push(Reverse((position(start).distance(goal).to_bits(), start)));
        while let Some(Reverse((estimate, v))) = queue.pop() {
            if v == end {
                break;
            }
            let &(cost, _) = best.get(&v)?;
            if (cost + position(v).distance(goal)).to_bits() < estimate {
                continue;
            }
            let of = self.first[v as usize] as usize..self.first[v as usize + 1] as usize;
            for &u in &self.neighbour[of] {
                let total = cost + position(u).distance(position(v));
                if best.get(&u).is_none_or(|&(old, _)| total < old) {
                    best.insert(u, (total, v));
                    queue.push(Reverse(((total + position(u).distance(goal)).to_bits(), u)));
                }
            }
        }
        let mut path = vec![end];
        let mut at = end;
        while at != start {
            at = best.get(&at)?.1;
            path.push(at);
        }
        path.reverse();
        Some(path)
    }
}

/// Shortens a way along edges on the surface: averages of neighbours, put back on it.
fn straighten(points: &mut [DVec3], sculpt: &Sculpt) {
    const ROUNDS: usize = 40;
    for _ in 0..ROUNDS {
        for i in 1..points.len().saturating_sub(1) {
            let middle = (points[i - 1] + points[i + 1]) / 2.0;
            let reach = points[i - 1].distance(points[i + 1]) + points[i].distance(middle);
            if let Some(found) = sculpt.index.closest_within(middle, reach) {
                points[i] = found.point;
            }
        }
    }
}
