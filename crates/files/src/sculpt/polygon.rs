//! Faces with more than three corners, cut into triangles.
//!
//! Four corners: the shorter diagonal that doesn't fold the face. More: a fan
//! when the polygon is convex, else ear clipping (G. H. Meisters, "Polygons have
//! ears", American Mathematical Monthly 82, 1975; from memory).

use glam::{DVec2, DVec3};
use mesh::Vec3;

/// Point-in-ear tests that one file may cost before concave polygons are fanned instead:
/// some ten seconds' work, reached only by files made to hang a reader.
const WORK_LIMIT: u64 = 4_000_000_000;

/// How a polygon was cut.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Cut {
    /// Every triangle lies inside the polygon, as far as it is flat and doesn't cross itself.
    Clean,
    /// No such cut was found: the polygon crosses itself, is degenerate or too large.
    Forced,
}

/// Cuts polygons; keeps its scratch space.
#[derive(Default)]
pub(super) struct Splitter {
    flat: Vec<DVec2>,
    next: Vec<u32>,
    previous: Vec<u32>,
    reflex: Vec<u32>,
    work: u64,
}

impl Splitter {
    /// Adds the triangles of a polygon to `out`; they wind as the polygon does.
    ///
    /// `corners` has at least four entries, all within `positions`.
    pub fn split(&mut self, corners: &[u32], positions: &[Vec3], out: &mut Vec<[u32; 3]>) -> Cut {
        let at = |i: usize| positions[corners[i] as usize].as_dvec3();
        if let [a, b, c, d] = *corners {
            let (first, cut) = first_diagonal([at(0), at(1), at(2), at(3)]);
            out.extend(if first {
                [[a, b, c], [a, c, d]]
            } else {
                [[a, b, d], [b, c, d]]
            });
            return cut;
        }
        // Newell's normal: robust for polygons that aren't quite flat.
        let origin = at(0);
        let normal = (0..corners.len())
            .map(|i| (at(i) - origin).cross(at((i + 1) % corners.len()) - origin))
            .sum::<DVec3>();
        let (u, v) = plane_axes(normal);
        self.flat.clear();
        self.flat.extend((0..corners.len()).map(|i| {
            let p = at(i) - origin;
            DVec2::new(p.dot(u), p.dot(v))
        }));
        if normal != DVec3::ZERO && self.fans_well() {
            fan(corners, out);
            return Cut::Clean;
        }
        if normal == DVec3::ZERO || self.work > WORK_LIMIT {
            fan(corners, out);
            return Cut::Forced;
        }
        self.clip_ears(corners, out)
    }

    /// Whether the fan from corner 0 has only triangles of positive area.
    ///
    /// That is weaker than convex and just what a fan needs.
    fn fans_well(&self) -> bool {
        let origin = self.flat[0];
        let mut turned = 0.0;
        for pair in self.flat[1..].windows(2) {
            let (a, b) = (pair[0] - origin, pair[1] - origin);
            let area = a.perp_dot(b);
            if area <= 0.0 {
                return false;
            }
            turned += area.atan2(a.dot(b));
        }
        turned < std::f64::consts::TAU
    }

    fn clip_ears(&mut self, corners: &[u32], out: &mut Vec<[u32; 3]>) -> Cut {
        let n = corners.len() as u32;
        self.next.clear();
        self.next.extend((0..n).map(|i| (i + 1) % n));
        self.previous.clear();
        self.previous.extend((0..n).map(|i| (i + n - 1) % n));
        self.reflex.clear();
        self.reflex.extend((0..n).filter(|&i| {
            let [a, b, c] = [(i + n - 1) % n, i, (i + 1) % n].map(|k| self.flat[k as usize]);
            (b - a).perp_dot(c - b) <= 0.0
        }));
        let (mut left, mut at, mut misses, mut cut) = (n, 0u32, 0u32, Cut::Clean);
        while left > 3 {
            let (before, after) = (self.previous[at as usize], self.next[at as usize]);
            let forced = misses > left || self.work > WORK_LIMIT;
            if !forced && !self.is_ear(before, at, after) {
                misses += 1;
                at = after;
                continue;
            }
            if forced {
                cut = Cut::Forced;
            }
            out.push([before, at, after].map(|i| corners[i as usize]));
            self.next[before as usize] = after;
            self.previous[after as usize] = before;
            left -= 1;
            misses = 0;
            // Step on, so that ears come from all round instead of making a fan of slivers.
            at = self.next[after as usize];
        }
        let (before, after) = (self.previous[at as usize], self.next[at as usize]);
        out.push([before, at, after].map(|i| corners[i as usize]));
        cut
    }

    /// Whether the corner is convex and no reflex corner lies in its triangle. Corners that
    /// were reflex at the start are tested even when clipping has made them convex or
    /// has taken them away: a clipped corner lies outside what is left, or on its rim.
    fn is_ear(&mut self, before: u32, at: u32, after: u32) -> bool {
        let [a, b, c] = [before, at, after].map(|i| self.flat[i as usize]);
        if (b - a).perp_dot(c - b) <= 0.0 {
            return false;
        }
        self.work += self.reflex.len() as u64;
        !self.reflex.iter().any(|&r| {
            let p = self.flat[r as usize];
            let is_corner = p == a || p == b || p == c;
            !is_corner
                && (b - a).perp_dot(p - a) >= 0.0
                && (c - b).perp_dot(p - b) >= 0.0
                && (a - c).perp_dot(p - c) >= 0.0
        })
    }
}

/// Whether a quad is cut from corner 0 to 2, and how well.
fn first_diagonal([a, b, c, d]: [DVec3; 4]) -> (bool, Cut) {
    let folded = |n1: DVec3, n2: DVec3| n1.dot(n2) < 0.0;
    let first_folds = folded((b - a).cross(c - a), (c - a).cross(d - a));
    let second_folds = folded((b - a).cross(d - a), (c - b).cross(d - b));
    match (first_folds, second_folds) {
        (false, true) => (true, Cut::Clean),
        (true, false) => (false, Cut::Clean),
        (both, _) => {
            let first = a.distance_squared(c) <= b.distance_squared(d);
            (first, if both { Cut::Forced } else { Cut::Clean })
        }
    }
}

/// Two axes that span the plane across `normal`, turning anticlockwise seen against it.
fn plane_axes(normal: DVec3) -> (DVec3, DVec3) {
    let n = normal.normalize_or(DVec3::Z);
    let away = if n.x.abs() < 0.6 { DVec3::X } else { DVec3::Y };
    let u = away.cross(n).normalize();
    (u, n.cross(u))
}

fn fan(corners: &[u32], out: &mut Vec<[u32; 3]>) {
    out.extend(
        corners[1..]
            .windows(2)
            .map(|pair| [corners[0], pair[0], pair[1]]),
    );
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn signed_area(points: &[Vec3], corners: &[u32]) -> f64 {
        let at = |i: usize| points[corners[i % corners.len()] as usize].as_dvec3();
        (0..corners.len())
            .map(|i| at(i).cross(at(i + 1)).z / 2.0)
            .sum()
    }

    fn split(points: &[Vec3]) -> (Vec<[u32; 3]>, Cut) {
        let corners: Vec<u32> = (0..points.len() as u32).collect();
        let mut out = Vec::new();
        let cut = Splitter::default().split(&corners, points, &mut out);
        (out, cut)
    }

    /// Triangles of positive area that add up to the polygon's: with n − 2 of them
    /// they tile it.
    fn assert_tiles(points: &[Vec3]) {
        let (triangles, cut) = split(points);
        assert_eq!(triangles.len(), points.len() - 2);
        assert_eq!(cut, Cut::Clean);
        let areas: Vec<f64> = triangles.iter().map(|t| signed_area(points, t)).collect();
        assert!(areas.iter().all(|&a| a >= 0.0), "{areas:?}");
        let corners: Vec<u32> = (0..points.len() as u32).collect();
        let whole = signed_area(points, &corners);
        assert!((areas.iter().sum::<f64>() - whole).abs() < 1e-9 * whole.abs());
    }

    fn flat(points: &[[f32; 2]]) -> Vec<Vec3> {
        points.iter().map(|p| Vec3::new(p[0], p[1], 0.0)).collect()
    }

    #[test]
    fn a_concave_quad_is_cut_through_its_dent() {
        for turn in 0..4 {
            let mut dart = flat(&[[0., 0.], [2., 0.], [0.2, 0.2], [0., 2.]]);
            dart.rotate_left(turn);
            assert_tiles(&dart);
        }
    }

    #[test]
    fn concave_polygons_are_tiled_whatever_the_first_corner() {
        let comb = flat(&[
            [0., 0.],
            [6., 0.],
            [6., 3.],
            [5., 1.],
            [4., 3.],
            [3., 1.],
            [2., 3.],
            [1., 1.],
            [0., 3.],
        ]);
        for turn in 0..comb.len() {
            let mut turned = comb.clone();
            turned.rotate_left(turn);
            assert_tiles(&turned);
        }
    }

    #[test]
    fn degenerate_polygons_end_in_some_cut() {
        for points in [
            vec![Vec3::ONE; 7],
            flat(&[[0., 0.], [1., 0.], [2., 0.], [3., 0.], [4., 0.]]),
        ] {
            let (triangles, cut) = split(&points);
            assert_eq!((triangles.len(), cut), (points.len() - 2, Cut::Forced));
        }
        let bow = flat(&[[0., 0.], [4., 3.], [4., 0.], [0., 3.], [-1., 2.]]);
        assert_eq!(split(&bow).0.len(), 3);
    }

    proptest! {
        /// Star-shaped polygons around the origin don't cross themselves.
        #[test]
        fn star_shaped_polygons_are_tiled(radii in prop::collection::vec(0.2f32..4.0, 5..60)) {
            let n = radii.len() as f32;
            let points: Vec<Vec3> = radii.iter().enumerate().map(|(i, r)| {
                let angle = std::f32::consts::TAU * i as f32 / n;
                Vec3::new(r * angle.cos(), r * angle.sin(), 0.0)
            }).collect();
            assert_tiles(&points);
        }
    }
}
