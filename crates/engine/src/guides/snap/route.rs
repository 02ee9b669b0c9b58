//! Ways over the sculpt where the straight piece between two drawn points leaves it.

use std::cmp::Reverse;
use std::collections::{BTreeMap, BinaryHeap};

use mesh::DVec3;

use super::{Snapped, snapped_like};
use crate::model::Sculpt;

/// A way counts for its length, and for up to this many times as much where the sculpt doesn't face
/// like both ends: around the edge of a cloth to its other wall is short, but isn't meant.
const ASIDE: f64 = 8.0;
/// Unit normals whose sum is shorter than this face apart: by 150° or more.
const AGREE: f64 = 0.5;

/// Finds shortest ways along the sculpt's edges; its neighbour lists are built on first use.
#[derive(Debug, Default)]
pub(in crate::guides) struct Router {
    first: Vec<u32>,
    neighbour: Vec<u32>,
}

impl Router {
    /// Points of a way from a to b over the sculpt, without both ends; none if there is no
    /// way. It keeps to where the sculpt faces like the ends if it can. A* over vertices with the
    /// straight distance, then shortened by averaging.
    pub fn route(&mut self, a: Snapped, b: Snapped, sculpt: &Sculpt) -> Vec<Snapped> {
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
        let (Some(start), Some(end)) = (corner(a.point), corner(b.point)) else {
            return Vec::new();
        };
        // Ends that face apart say nothing of what lies between.
        let facing = a.normal + b.normal;
        let facing = if facing.length() < AGREE {
            DVec3::ZERO
        } else {
            facing.normalize()
        };
        let Some(path) = self.search(start, end, facing, sculpt) else {
            return Vec::new();
        };
        let at = |&v: &u32| Snapped {
            point: position(v),
            normal: sculpt.normals[v as usize].as_dvec3(),
        };
        let mut way: Vec<Snapped> = std::iter::once(a)
            .chain(path.iter().map(at))
            .chain([b])
            .collect();
        straighten(&mut way, sculpt);
        way[1..way.len() - 1].to_vec()
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

    fn search(&self, start: u32, end: u32, facing: DVec3, sculpt: &Sculpt) -> Option<Vec<u32>> {
        let position = |v: u32| sculpt.mesh.positions[v as usize].as_dvec3();
        let normal = |v: u32| sculpt.normals[v as usize].as_dvec3();
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
                let aside = if facing == DVec3::ZERO {
                    0.0
                } else {
                    (1.0 - (normal(u) + normal(v)).dot(facing) / 2.0) / 2.0
                };
                let total = cost + (1.0 + ASIDE * aside) * position(u).distance(position(v));
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

/// Shortens a way along edges on the surface: averages of neighbours, put back on it where it
/// faces as it did under the point and both its neighbours, so that none goes through to the other
/// wall of a cloth. Under the point alone wouldn't do: on a sharp crest one side's outer wall and
/// the other side's inner wall face alike.
fn straighten(way: &mut [Snapped], sculpt: &Sculpt) {
    const ROUNDS: usize = 40;
    for _ in 0..ROUNDS {
        for i in 1..way.len().saturating_sub(1) {
            let [before, here, after] = [way[i - 1].point, way[i].point, way[i + 1].point];
            let middle = (before + after) / 2.0;
            let reach = before.distance(after) + here.distance(middle);
            let facing = way[i - 1].normal + way[i].normal + way[i + 1].normal;
            if let Some(found) = snapped_like(sculpt, middle, facing, reach) {
                way[i] = found;
            }
        }
    }
}
