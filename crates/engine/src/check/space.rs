//! Segments and triangles with nearest-point queries, and a few formulas.

use mesh::DVec3;

use super::tree::{Bounds, BoxTree};

/// Segments between points, with distance queries.
pub(super) struct Segments {
    pub ends: Vec<[DVec3; 2]>,
    boxes: Vec<Bounds>,
    tree: BoxTree,
}

impl Segments {
    pub fn new(ends: Vec<[DVec3; 2]>) -> Self {
        let boxes: Vec<Bounds> = ends.iter().map(|e| Bounds::around(e)).collect();
        let tree = BoxTree::new(&boxes);
        Self { ends, boxes, tree }
    }

    /// Index of the nearest segment and the distance to it; `None` without segments.
    pub fn nearest(&self, p: DVec3) -> Option<(usize, f64)> {
        let squared = |i: u32| self.foot(i as usize, p).distance_squared(p);
        let (i, d) = self.tree.nearest(p, squared)?;
        Some((i as usize, d.sqrt()))
    }

    /// Distance to the nearest segment, infinite without segments.
    pub fn distance(&self, p: DVec3) -> f64 {
        self.nearest(p).map_or(f64::INFINITY, |n| n.1)
    }

    /// The nearest point of any segment (`p` itself without segments).
    pub fn nearest_point(&self, p: DVec3) -> DVec3 {
        self.nearest(p).map_or(p, |n| self.foot(n.0, p))
    }

    /// The point of one segment that is nearest to `p`.
    fn foot(&self, segment: usize, p: DVec3) -> DVec3 {
        let [a, b] = self.ends[segment];
        let along = b - a;
        let length_squared = along.length_squared();
        if length_squared == 0.0 {
            return a;
        }
        a + ((p - a).dot(along) / length_squared).clamp(0.0, 1.0) * along
    }

    /// Segments within `reach` of a point, rising.
    pub fn within(&self, p: DVec3, reach: f64) -> Vec<usize> {
        let around = Bounds {
            low: p - reach,
            high: p + reach,
        };
        let mut found = Vec::new();
        let mut visit = |i: u32| {
            if self.foot(i as usize, p).distance(p) <= reach {
                found.push(i as usize);
            }
        };
        self.tree.meeting(&around, &mut visit, &self.boxes);
        found.sort_unstable();
        found
    }
}

/// Triangles with nearest-point queries and box overlaps.
pub(super) struct Triangles {
    pub corners: Vec<[DVec3; 3]>,
    pub boxes: Vec<Bounds>,
    tree: BoxTree,
}

impl Triangles {
    pub fn new(corners: Vec<[DVec3; 3]>) -> Self {
        let boxes: Vec<Bounds> = corners.iter().map(|c| Bounds::around(c)).collect();
        let tree = BoxTree::new(&boxes);
        Self {
            corners,
            boxes,
            tree,
        }
    }

    /// The nearest point of any triangle; `None` without triangles.
    pub fn nearest_point(&self, p: DVec3) -> Option<DVec3> {
        self.nearest(p).map(|(_, foot)| foot)
    }

    /// The triangle nearest to a point, and its point nearest to it; `None` without triangles.
    pub fn nearest(&self, p: DVec3) -> Option<(usize, DVec3)> {
        let foot = |i: u32| nearest_on_triangle(self.corners[i as usize], p);
        let (i, _) = self.tree.nearest(p, |i| foot(i).distance_squared(p))?;
        Some((i as usize, foot(i)))
    }

    /// Triangles whose boxes meet that of triangle `t` and that come after it, rising.
    pub fn later_neighbours(&self, t: usize) -> Vec<usize> {
        let mut found = Vec::new();
        let mut visit = |i: u32| {
            if i as usize > t {
                found.push(i as usize);
            }
        };
        self.tree.meeting(&self.boxes[t], &mut visit, &self.boxes);
        found.sort_unstable();
        found
    }
}

/// The point of a triangle nearest to `p`: inside if the foot on its plane is inside,
/// else the nearest of the three sides.
pub(super) fn nearest_on_triangle([a, b, c]: [DVec3; 3], p: DVec3) -> DVec3 {
    let normal = (b - a).cross(c - a);
    let size = normal.length_squared();
    if size > 0.0 {
        let weight = |x: DVec3, y: DVec3| (y - x).cross(p - x).dot(normal) / size;
        let [wa, wb, wc] = [weight(b, c), weight(c, a), weight(a, b)];
        if wa >= 0.0 && wb >= 0.0 && wc >= 0.0 {
            return p - (p - a).dot(normal) / size * normal;
        }
    }
    let on_side = |x: DVec3, y: DVec3| {
        let along = y - x;
        let squared = along.length_squared();
        let t = if squared > 0.0 {
            (p - x).dot(along) / squared
        } else {
            0.0
        };
        x + t.clamp(0.0, 1.0) * along
    };
    let mut best = on_side(a, b);
    for q in [on_side(b, c), on_side(c, a)] {
        if q.distance_squared(p) < best.distance_squared(p) {
            best = q;
        }
    }
    best
}

/// Angle between two directions taken as lines, deg; 90 if one has no length.
pub(super) fn line_angle_deg(a: DVec3, b: DVec3) -> f64 {
    // The tangent form keeps small angles, which an arc cosine rounds away.
    let (sine, cosine) = (a.cross(b).length(), a.dot(b).abs());
    if sine == 0.0 && cosine == 0.0 {
        return 90.0;
    }
    sine.atan2(cosine).to_degrees()
}

/// Angle between two vectors, deg; 0 if one has no length.
pub(super) fn angle_deg(a: DVec3, b: DVec3) -> f64 {
    a.cross(b).length().atan2(a.dot(b)).to_degrees()
}

/// The value below which `share` of the values lie, by straight lines between the
/// sorted values (definition 7 of Hyndman & Fan 1996). 0 for no values.
pub(super) fn quantile(values: &mut [f64], share: f64) -> f64 {
    values.sort_unstable_by(f64::total_cmp);
    let Some(last) = values.len().checked_sub(1) else {
        return 0.0;
    };
    let at = share.clamp(0.0, 1.0) * last as f64;
    let low = at.floor() as usize;
    let high = (low + 1).min(last);
    values[low] + (at - low as f64) * (values[high] - values[low])
}

/// Arithmetic mean, 0 for no values.
pub(super) fn mean(values: &[f64]) -> f64 {
    values.iter().sum::<f64>() / values.len().max(1) as f64
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn quantiles_are_those_of_definition_7() {
        // Hyndman & Fan (1996), definition 7, the default of R's quantile():
        // quantile(c(1, 2, 4, 8), c(0.25, 0.5, 0.95)) = 1.75, 3, 7.4.
        let mut values = [8.0, 1.0, 4.0, 2.0];
        let at = [0.25, 0.5, 0.95].map(|share| quantile(&mut values, share));
        for (found, known) in at.iter().zip([1.75, 3.0, 7.4]) {
            assert!((found - known).abs() < 1e-12);
        }
        assert_eq!(quantile(&mut [], 0.5), 0.0);
    }

    #[test]
    fn nearest_points_of_a_triangle_by_region() {
        let t = [DVec3::ZERO, DVec3::X * 2.0, DVec3::Y * 2.0];
        let cases = [
            ([0.5, 0.5, 3.0], [0.5, 0.5, 0.0]),
            ([-1.0, -1.0, 0.0], [0.0, 0.0, 0.0]),
            ([1.0, -2.0, 1.0], [1.0, 0.0, 0.0]),
            ([2.0, 2.0, 0.0], [1.0, 1.0, 0.0]),
            ([5.0, 0.0, 0.0], [2.0, 0.0, 0.0]),
        ];
        for (p, q) in cases.map(|(p, q)| (DVec3::from_array(p), DVec3::from_array(q))) {
            assert!(nearest_on_triangle(t, p).distance(q) < 1e-12, "{p} {q}");
        }
    }

    #[test]
    fn angles_between_lines_ignore_direction() {
        assert!((line_angle_deg(DVec3::X, DVec3::new(-1.0, 1.0, 0.0)) - 45.0).abs() < 1e-12);
        assert_eq!(line_angle_deg(DVec3::X, DVec3::ZERO), 90.0);
        assert!((angle_deg(DVec3::X, DVec3::NEG_X) - 180.0).abs() < 1e-12);
    }
}
