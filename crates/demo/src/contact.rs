//! What keeps the cloth out of the wearer and out of itself.

use mesh::DVec3;
use rayon::prelude::*;

use crate::sdf::Shape;

/// Distance kept between cloth and wearer, cm.
const THICKNESS: f64 = 0.45;
/// Share of the sliding way that is taken back where cloth rests on the wearer.
const FRICTION: f64 = 0.7;
/// Beyond this distance a vertex is not looked at until the next refresh, cm.
const NEAR: f64 = 3.0;

/// Tangent planes of the wearer near each vertex.
#[derive(Default)]
pub(crate) struct Contact {
    planes: Vec<Option<(DVec3, f64)>>,
}

impl Contact {
    /// Takes new tangent planes at these places.
    pub(crate) fn refresh(&mut self, at: &[DVec3], wearer: &dyn Shape) {
        self.planes = at
            .par_iter()
            .map(|p| {
                let d = wearer.distance(*p);
                if d > NEAR {
                    return None;
                }
                let (value, gradient) = wearer.with_gradient(*p);
                let length = gradient.length().max(1e-6);
                let normal = gradient / length;
                Some((normal, p.dot(normal) - value / length + THICKNESS))
            })
            .collect();
    }

    /// Moves vertices out of the wearer; what touches is slowed.
    pub(crate) fn keep_out(&self, at: &mut [DVec3], before: &[DVec3], inverse_mass: &[f64]) {
        for v in 0..at.len() {
            let Some((normal, level)) = self.planes[v] else {
                continue;
            };
            let depth = level - at[v].dot(normal);
            if depth > 0.0 && inverse_mass[v] > 0.0 {
                at[v] += depth * normal;
                let way = at[v] - before[v];
                at[v] -= FRICTION * (way - way.dot(normal) * normal);
            }
        }
    }
}

/// Pairs of vertices that are far apart in the cloth but near in space.
pub(crate) struct SelfContact {
    rest: Vec<DVec3>,
    distance: f64,
    pairs: Vec<[u32; 2]>,
}

impl SelfContact {
    /// Keeps vertices `distance` apart that are three times as far from each other at rest.
    pub(crate) fn new(rest: &[DVec3], distance: f64) -> Self {
        Self {
            rest: rest.to_vec(),
            distance,
            pairs: Vec::new(),
        }
    }

    /// Finds the pairs that may touch soon.
    pub(crate) fn refresh(&mut self, at: &[DVec3]) {
        let reach = 1.5 * self.distance;
        let key = |p: DVec3| ((p + 512.0) / reach).to_array().map(|c| c.max(0.0) as u32);
        let mut order: Vec<([u32; 3], u32)> = (0..at.len() as u32)
            .map(|v| (key(at[v as usize]), v))
            .collect();
        order.sort_unstable();
        self.pairs = order
            .par_iter()
            .flat_map_iter(|&(cell, v)| {
                let p = at[v as usize];
                let mut found = Vec::new();
                for dx in 0..3 {
                    for dy in 0..3 {
                        let row = [
                            (cell[0] + dx).wrapping_sub(1),
                            (cell[1] + dy).wrapping_sub(1),
                        ];
                        let first = [row[0], row[1], cell[2].saturating_sub(1)];
                        let start = order.partition_point(|o| o.0 < first);
                        for &(other, u) in &order[start..] {
                            if other[..2] != row || other[2] > cell[2] + 1 {
                                break;
                            }
                            let near = at[u as usize].distance_squared(p) < reach * reach;
                            let apart = self.rest[u as usize].distance(self.rest[v as usize])
                                > 3.0 * self.distance;
                            if u > v && near && apart {
                                found.push([v, u]);
                            }
                        }
                    }
                }
                found
            })
            .collect();
    }

    /// Parts the pairs that are too near; nothing of the half crosses the mirror plane.
    pub(crate) fn part(&self, at: &mut [DVec3], inverse_mass: &[f64]) {
        for pair in &self.pairs {
            let [a, b] = pair.map(|v| v as usize);
            let along = at[b] - at[a];
            let length = along.length();
            let weight = inverse_mass[a] + inverse_mass[b];
            if length < self.distance && length > 1e-9 && weight > 0.0 {
                let push = along * (0.5 * (self.distance - length) / (length * weight));
                at[a] -= inverse_mass[a] * push;
                at[b] += inverse_mass[b] * push;
            }
        }
        for v in 0..at.len() {
            let least = (0.5 * self.rest[v].x).min(0.5 * self.distance);
            if at[v].x < least && inverse_mass[v] > 0.0 {
                at[v].x = least;
            }
        }
    }
}
