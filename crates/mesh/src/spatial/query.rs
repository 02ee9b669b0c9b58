//! Walks through the tree.

use super::build::{Node, STACK};
use super::triangle::{Ray, closest_on_triangle};
use super::{Closest, RayHit, SurfaceIndex, corner};
use crate::DVec3;

/// A box is passed over only when it is further than the best triangle by more than this
/// share of the coordinates' size: more than rounding can add to a distance.
pub(super) const SLACK: f64 = 1e-14;

/// The better of two candidates: nearer, or as near with a lower triangle.
fn better(distance: f64, triangle: u32, than: (f64, u32)) -> bool {
    distance < than.0 || (distance == than.0 && triangle < than.1)
}

impl SurfaceIndex {
    /// The nearest point of the surface; `None` for an empty mesh or a point that isn't finite.
    pub fn closest(&self, p: DVec3) -> Option<Closest> {
        self.closest_where(p, f64::INFINITY, |_| true)
    }

    /// The nearest point no further than `reach` (model units).
    pub fn closest_within(&self, p: DVec3, reach: f64) -> Option<Closest> {
        self.closest_where(p, reach, |_| true)
    }

    /// The nearest point no further than `reach` (model units) on a triangle that `accept`
    /// says yes to, such as one that faces the right way.
    ///
    /// `accept` is asked only about triangles that would be the best so far.
    pub fn closest_where(
        &self,
        p: DVec3,
        reach: f64,
        accept: impl Fn(u32) -> bool,
    ) -> Option<Closest> {
        self.closest_from(p, reach, None, accept)
    }

    /// As [`SurfaceIndex::closest_where`], with the same answer, found sooner where `near` is a
    /// triangle close to it, such as the answer for a point close by.
    pub fn closest_from(
        &self,
        p: DVec3,
        reach: f64,
        near: Option<u32>,
        accept: impl Fn(u32) -> bool,
    ) -> Option<Closest> {
        if !p.is_finite() || reach.is_nan() || reach < 0.0 {
            return None;
        }
        let slack = SLACK * (self.extent + p.abs().max_element());
        let mut best: Option<Closest> = None;
        let mut bound = (reach, u32::MAX);
        let mut visit = |triangle: u32| {
            let (point, barycentric) = closest_on_triangle(p, self.mesh.corners(triangle as usize));
            let distance = point.distance(p);
            if better(distance, triangle, bound) && accept(triangle) {
                bound = (distance, triangle);
                best = Some(Closest {
                    triangle,
                    point,
                    distance,
                    barycentric,
                });
            }
            (bound.0 + slack).powi(2)
        };
        // Squares order as their roots do, and need no root for each box.
        let mut limit = (reach + slack).powi(2);
        if let Some(triangle) = near.filter(|&t| self.is_usable(t)) {
            limit = visit(triangle);
        }
        self.walk(limit, |node| box_distance_squared(node, p), visit);
        best
    }

    /// As [`SurfaceIndex::closest_from`], but of a point whose foot is inside of `near` and no further than
    /// `close` (model units) that foot is taken, whether or not another part of the surface is nearer still:
    /// what moves by little stays on its wall, without a walk.
    pub fn closest_staying(
        &self,
        p: DVec3,
        reach: f64,
        near: Option<u32>,
        close: f64,
        accept: impl Fn(u32) -> bool,
    ) -> Option<Closest> {
        if p.is_finite()
            && let Some(triangle) = near.filter(|&t| self.is_usable(t))
        {
            let (point, barycentric) = closest_on_triangle(p, self.mesh.corners(triangle as usize));
            let distance = point.distance(p);
            let inside = barycentric.iter().all(|&share| share > 0.0);
            if inside && distance <= close.min(reach) && accept(triangle) {
                return Some(Closest {
                    triangle,
                    point,
                    distance,
                    barycentric,
                });
            }
        }
        self.closest_from(p, reach, near, accept)
    }

    /// Whether a triangle is one that answers may name.
    #[inline]
    fn is_usable(&self, triangle: u32) -> bool {
        let mesh = &self.mesh;
        let usable = |&v: &u32| {
            mesh.positions
                .get(v as usize)
                .is_some_and(|p| p.is_finite())
        };
        mesh.triangles
            .get(triangle as usize)
            .is_some_and(|corners| corners.iter().all(usable))
    }

    /// Where a ray first meets the surface, from either side, no further than
    /// `max_distance` (model units). `direction` needn't be unit; distances are in model units
    /// all the same. `None` for a miss, or a direction without length.
    pub fn ray(&self, origin: DVec3, direction: DVec3, max_distance: f64) -> Option<RayHit> {
        if max_distance.is_nan() || max_distance < 0.0 {
            return None;
        }
        let ray = Ray::new(origin, direction)?;
        let inverse = ray.direction.recip();
        let slack = SLACK * (self.extent + origin.abs().max_element());
        let mut best: Option<RayHit> = None;
        let mut bound = (max_distance, u32::MAX);
        let entry = |node: &Node| box_entry(node, origin, inverse, slack);
        self.walk(max_distance + slack, entry, |triangle| {
            if let Some(distance) = ray.meet(self.mesh.corners(triangle as usize))
                && better(distance, triangle, bound)
            {
                bound = (distance, triangle);
                best = Some(RayHit {
                    triangle,
                    distance,
                    point: origin + distance * ray.direction,
                });
            }
            bound.0 + slack
        });
        best
    }

    /// Visits triangles, nearest boxes first. `entry` gives the least distance at which
    /// anything in a node can be, infinity for never; `limit` is the distance beyond which
    /// nothing matters, and `visit` gives what has become of it. All distances may be squared.
    pub(super) fn walk(
        &self,
        mut limit: f64,
        entry: impl Fn(&Node) -> f64,
        mut visit: impl FnMut(u32) -> f64,
    ) {
        let matters = |near: f64, limit: f64| near < f64::INFINITY && near <= limit;
        let mut waiting = Waiting::default();
        let mut next = self.nodes.first().map(|root| (0, entry(root)));
        while let Some((at, near)) = next.take().or_else(|| waiting.pop()) {
            if !matters(near, limit) {
                continue;
            }
            let node = &self.nodes[at];
            if node.count > 0 {
                for &triangle in self.leaf(node) {
                    limit = visit(triangle);
                }
                continue;
            }
            let (one, two) = (at + 1, at + node.link as usize);
            let (one, two) = (
                (one, entry(&self.nodes[one])),
                (two, entry(&self.nodes[two])),
            );
            let (nearer, further) = if one.1 <= two.1 {
                (one, two)
            } else {
                (two, one)
            };
            if matters(further.1, limit) {
                waiting.push(further);
            }
            next = Some(nearer);
        }
    }

    pub(super) fn leaf(&self, node: &Node) -> &[u32] {
        let first = node.link as usize;
        &self.order[first..first + node.count as usize]
    }
}

/// Nodes still to be seen; its size is bounded by the tree's depth.
struct Waiting {
    nodes: [(usize, f64); STACK],
    count: usize,
}

impl Default for Waiting {
    fn default() -> Self {
        Self {
            nodes: [(0, 0.0); STACK],
            count: 0,
        }
    }
}

impl Waiting {
    fn push(&mut self, entry: (usize, f64)) {
        self.nodes[self.count] = entry;
        self.count += 1;
    }

    fn pop(&mut self) -> Option<(usize, f64)> {
        self.count = self.count.checked_sub(1)?;
        Some(self.nodes[self.count])
    }
}

/// Squared distance from a point to a node's box, 0 inside.
#[inline]
fn box_distance_squared(node: &Node, p: DVec3) -> f64 {
    let (low, high) = (corner(node.low), corner(node.high));
    (low - p).max(p - high).max(DVec3::ZERO).length_squared()
}

/// Distance at which a ray enters a node's box, 0 from inside, infinity for a miss.
///
/// A component of the direction that is 0 gives infinite or undefined quotients; taking
/// the near and far face by sign, and `max`/`min` that ignore undefined values, makes
/// both right. The box is widened by `slack` and the far distance by a few roundings, so that
/// no triangle inside is lost (after Ize, "Robust BVH ray traversal", JCGT 2013).
fn box_entry(node: &Node, origin: DVec3, inverse: DVec3, slack: f64) -> f64 {
    let (mut near, mut far) = (0.0_f64, f64::INFINITY);
    for axis in 0..3 {
        let low = f64::from(node.low[axis]) - slack;
        let high = f64::from(node.high[axis]) + slack;
        let (first, last) = if inverse[axis].is_sign_negative() {
            (high, low)
        } else {
            (low, high)
        };
        near = near.max((first - origin[axis]) * inverse[axis]);
        far = far.min((last - origin[axis]) * inverse[axis]);
    }
    if near <= far * (1.0 + 4.0 * f64::EPSILON) {
        near
    } else {
        f64::INFINITY
    }
}
