//! Sharp folds: vertices onto their crest, edges along it.
//!
//! Even triangles with vertices at random beside a knife-edged fold cut it into teeth, and
//! teeth would be read as curvature. So a vertex whose neighbours lie on two planes that
//! meet sharply and nearby goes to where they meet, and edges are flipped so that the
//! surface bends least (total absolute mean curvature; Dyn, Hormann, Kim & Levin 2001,
//! "Optimizing 3D triangulations using discrete curvature analysis").

use mesh::DVec3;

use super::{Remesher, angle_measure};
use crate::work::edit::NONE;

/// Cosine between the sculpt's normals on both sides of what counts as a crest (55°).
const SHARP: f64 = 0.57;
/// Cosine within which normals belong to one side (35°).
const ALIKE: f64 = 0.82;
/// Vertices this close to a crest go onto it, in target edges.
const CATCH: f64 = 0.45;
/// Cosine between neighbouring triangles from which bending is looked at (25°).
const BENT: f64 = 0.9;
/// A flip for other reasons may add this much bending, in radians times target edges.
const BEND_SLACK: f64 = 0.2;

/// A plane through the mean of some points.
#[derive(Default)]
struct Side {
    point: DVec3,
    normal: DVec3,
    count: f64,
}

impl Side {
    fn add(&mut self, point: DVec3, normal: DVec3) {
        self.point += point;
        self.normal += normal;
        self.count += 1.0;
    }
}

impl Remesher<'_> {
    /// Where the crest next to a vertex is, if there is one within reach of `p`.
    pub(super) fn crest(&self, v: u32, p: DVec3) -> Option<DVec3> {
        let own = (self.mesh.pos[v as usize], self.normals[v as usize]);
        let around: Vec<(DVec3, DVec3)> = self
            .mesh
            .neighbours(v)
            .map(|u| (self.mesh.pos[u as usize], self.normals[u as usize]))
            .chain([own])
            .collect();
        let mut seeds = (SHARP, DVec3::ZERO, DVec3::ZERO);
        for (i, &(_, a)) in around.iter().enumerate() {
            for &(_, b) in &around[..i] {
                if a.dot(b) < seeds.0 {
                    seeds = (a.dot(b), a, b);
                }
            }
        }
        let (_, a, b) = seeds;
        if a == DVec3::ZERO {
            return None;
        }
        let (mut one, mut two) = (Side::default(), Side::default());
        for &(point, normal) in &around {
            let (like_a, like_b) = (normal.dot(a), normal.dot(b));
            if like_a.max(like_b) >= ALIKE {
                if like_a >= like_b { &mut one } else { &mut two }.add(point, normal);
            }
        }
        let met = meet(&one, &two, p)?;
        let size = self.sizes[v as usize];
        // A rail along the crest is its edge already, and no second one fits beside it.
        let railed = |u: u32| {
            self.mesh.on_rail[u as usize] && self.mesh.pos[u as usize].distance(met) < 0.7 * size
        };
        let free = !self.mesh.neighbours(v).any(railed);
        (free && met.distance(p) < CATCH * size).then_some(met)
    }

    /// Flips edges where that makes the surface bend less.
    pub(super) fn flip_to_unbend(&mut self) {
        self.flip_until_settled(4, Self::flip_unbends);
    }

    pub(super) fn flip_unbends(&self, h: u32) -> bool {
        let mesh = &self.mesh;
        let Some(g) = mesh.twin_of(h) else {
            return false;
        };
        let (c, d) = (mesh.apex(h), mesh.apex(g));
        if mesh.segment_of(h).is_some() || (mesh.on_rail[c as usize] && mesh.on_rail[d as usize]) {
            return false;
        }
        let [before, after] = self.bending(h, g);
        if after > before - 0.5 * BEND_SLACK * self.edge || !mesh.can_flip(h) {
            return false;
        }
        let [pa, pb, pc, pd] = [mesh.from(h), mesh.to(h), c, d].map(|v| mesh.pos[v as usize]);
        angle_measure(pa, pd, pc).min(angle_measure(pd, pb, pc)) > 0.2
    }

    /// Whether a flip bends the surface hardly more than it is bent.
    pub(super) fn flip_keeps_bending(&self, h: u32, g: u32) -> bool {
        let [before, after] = self.bending(h, g);
        after <= before + BEND_SLACK * self.edge
    }

    /// Sum of length times angle over the five edges of two triangles, before and after a
    /// flip of the edge between; both 0 where nothing bends.
    fn bending(&self, h: u32, g: u32) -> [f64; 2] {
        let mesh = &self.mesh;
        let corners = [mesh.from(h), mesh.to(h), mesh.apex(h), mesh.apex(g)];
        let [a, b, c, d] = corners.map(|v| mesh.pos[v as usize]);
        let normal = |x: DVec3, y: DVec3, z: DVec3| (y - x).cross(z - x).normalize_or_zero();
        let [abc, bad, adc, dbc] = [
            normal(a, b, c),
            normal(b, a, d),
            normal(a, d, c),
            normal(d, b, c),
        ];
        if abc.dot(bad) > BENT && adc.dot(dbc) > BENT {
            return [0.0; 2];
        }
        // Outer sides bc, ca, ad, db, with the triangle inside before and after.
        let next = super::EditMesh::next;
        let prev = super::EditMesh::prev;
        let sides = [
            (next(h), b.distance(c), abc, dbc),
            (prev(h), c.distance(a), abc, adc),
            (next(g), a.distance(d), bad, adc),
            (prev(g), d.distance(b), bad, dbc),
        ];
        let angle = |x: DVec3, y: DVec3| x.dot(y).clamp(-1.0, 1.0).acos();
        let mut sums = [
            a.distance(b) * angle(abc, bad),
            c.distance(d) * angle(adc, dbc),
        ];
        for (side, length, old, new) in sides {
            let across = mesh.twin[side as usize];
            if across != NONE {
                let outer = mesh.area_normal((across / 3) as usize).normalize_or_zero();
                sums[0] += length * angle(old, outer);
                sums[1] += length * angle(new, outer);
            }
        }
        sums
    }
}

/// The point nearest to `p` on the line where two planes meet.
fn meet(one: &Side, two: &Side, p: DVec3) -> Option<DVec3> {
    if one.count == 0.0 || two.count == 0.0 {
        return None;
    }
    let (n, m) = (one.normal.try_normalize()?, two.normal.try_normalize()?);
    let along = n.dot(m);
    let spread = 1.0 - along * along;
    if spread < 1e-3 {
        return None;
    }
    // Least change p + x n + y m that lies on both planes.
    let (r, s) = (
        (one.point / one.count - p).dot(n),
        (two.point / two.count - p).dot(m),
    );
    let (x, y) = ((r - along * s) / spread, (s - along * r) / spread);
    Some(p + n * x + m * y)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn two_planes_meet_in_a_line() {
        let side = |point, normal| Side {
            point,
            normal,
            count: 1.0,
        };
        let (floor, wall) = (
            side(DVec3::new(3.0, 1.0, 0.0), DVec3::Z),
            side(DVec3::new(2.0, 5.0, 4.0), DVec3::X),
        );
        let met = meet(&floor, &wall, DVec3::new(1.5, 7.0, 0.3)).unwrap();
        assert!(met.distance(DVec3::new(2.0, 7.0, 0.0)) < 1e-12);
        assert!(meet(&floor, &side(DVec3::ZERO, DVec3::Z), DVec3::ONE).is_none());
    }
}
