//! The least distance between two triangles.
//!
//! Of two triangles that don't pass through each other the nearest points are a corner of
//! one and a point of the other, or points of two sides (Ericson, *Real-Time Collision
//! Detection*, 2005, section 5.1.10).

use crate::DVec3;
use crate::crossing::{pass_through, side};
use crate::spatial::closest_on_triangle;

/// Where two triangles are nearest to each other.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Gap {
    /// Their distance, 0 where they touch or pass through each other; model units.
    pub distance: f64,
    /// The place on the first triangle; where they pass through each other, any place.
    pub first: DVec3,
    /// Weights of the first triangle's corners there; each from 0 to 1, sum 1.
    pub weights: [f64; 3],
    /// The place on the second triangle; where they pass through each other, any place.
    pub second: DVec3,
}

/// The least distance between two triangles and where it is; of equal ones the first found.
///
/// ```
/// use loopwright_mesh::{DVec3, gap};
/// let floor = [DVec3::ZERO, DVec3::X * 4.0, DVec3::Y * 4.0];
/// let above = [[1.0, 1.0, 2.0], [2.0, 1.0, 5.0], [1.0, 2.0, 5.0]].map(DVec3::from_array);
/// assert_eq!(gap(floor, above).distance, 2.0);
/// ```
pub fn gap(a: [DVec3; 3], b: [DVec3; 3]) -> Gap {
    let mut best = Gap {
        distance: f64::INFINITY,
        first: a[0],
        weights: [1.0, 0.0, 0.0],
        second: b[0],
    };
    let mut offer = |first: DVec3, weights: [f64; 3], second: DVec3| {
        let squared = first.distance_squared(second);
        if squared < best.distance {
            best = Gap {
                distance: squared,
                first,
                weights,
                second,
            };
        }
    };
    for (i, &corner) in a.iter().enumerate() {
        let mut weights = [0.0; 3];
        weights[i] = 1.0;
        offer(corner, weights, closest_on_triangle(corner, b).0);
    }
    for &corner in &b {
        let (first, weights) = closest_on_triangle(corner, a);
        offer(first, weights, corner);
    }
    for i in 0..3 {
        let side = [a[i], a[(i + 1) % 3]];
        for j in 0..3 {
            let (s, t) = nearest_on_segments(side, [b[j], b[(j + 1) % 3]]);
            let mut weights = [0.0; 3];
            (weights[i], weights[(i + 1) % 3]) = (1.0 - s, s);
            let other = b[j] + t * (b[(j + 1) % 3] - b[j]);
            offer(side[0] + s * (side[1] - side[0]), weights, other);
        }
    }
    best.distance = best.distance.sqrt();
    if best.distance > 0.0 && (pass_through(a, b) || pierces(a, b) || pierces(b, a)) {
        best.distance = 0.0;
    }
    best
}

/// Whether a triangle without area, a segment, goes through another.
fn pierces(segment: [DVec3; 3], other: [DVec3; 3]) -> bool {
    let [a, b, c] = segment;
    if (b - a).cross(c - a) != DVec3::ZERO {
        return false;
    }
    (0..3).any(|i| {
        let (p, q) = (segment[i], segment[(i + 1) % 3]);
        if side(other, p) * side(other, q) >= 0 {
            return false;
        }
        let turns = [0, 1, 2].map(|k| side([p, q, other[k]], other[(k + 1) % 3]));
        turns.iter().all(|&t| t >= 0) || turns.iter().all(|&t| t <= 0)
    })
}

/// Shares along two segments at which they are nearest (Ericson 2005, section 5.1.9).
fn nearest_on_segments(p: [DVec3; 2], q: [DVec3; 2]) -> (f64, f64) {
    let (d, e, r) = (p[1] - p[0], q[1] - q[0], p[0] - q[0]);
    let (a, b, f) = (d.length_squared(), e.length_squared(), e.dot(r));
    let c = d.dot(r);
    if a == 0.0 || b == 0.0 {
        let s = if a > 0.0 {
            (-c / a).clamp(0.0, 1.0)
        } else {
            0.0
        };
        let t = if b > 0.0 {
            (f / b).clamp(0.0, 1.0)
        } else {
            0.0
        };
        return (s, t);
    }
    let along = d.dot(e);
    let size = a * b - along * along;
    // Of parallel segments any point of the first will do to begin with.
    let mut s = if size > 0.0 {
        ((along * f - c * b) / size).clamp(0.0, 1.0)
    } else {
        0.0
    };
    let mut t = (along * s + f) / b;
    if !(0.0..=1.0).contains(&t) {
        t = t.clamp(0.0, 1.0);
        s = ((along * t - c) / a).clamp(0.0, 1.0);
    }
    (s, t)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// Nearest points by going to and fro between the triangles (Cheney & Goldstein 1959:
    /// between convex sets this tends to the least distance).
    fn to_and_fro(a: [DVec3; 3], b: [DVec3; 3]) -> f64 {
        let mut p = a[0];
        let mut least = f64::INFINITY;
        for _ in 0..400 {
            let q = closest_on_triangle(p, b).0;
            p = closest_on_triangle(q, a).0;
            least = least.min(p.distance(q));
        }
        least
    }

    type Whole = [i64; 3];

    fn from(a: Whole, b: Whole) -> Whole {
        [0, 1, 2].map(|k| b[k] - a[k])
    }

    fn cross(a: Whole, b: Whole) -> Whole {
        [0, 1, 2].map(|k| a[(k + 1) % 3] * b[(k + 2) % 3] - a[(k + 2) % 3] * b[(k + 1) % 3])
    }

    /// Whether two triangles with whole corners meet, without rounding: convex sets that are
    /// apart lie on two sides of a plane across the way between their nearest places (the
    /// separating plane theorem: Boyd & Vandenberghe, *Convex Optimization*, 2004, section
    /// 2.5.1), and of triangles those are two corners, a corner and a side, two sides, or a
    /// corner and a face.
    fn meet(a: &[[i8; 3]], b: &[[i8; 3]]) -> bool {
        let whole = |p: &[[i8; 3]]| [0, 1, 2].map(|i| p[i].map(i64::from));
        let (a, b) = (whole(a), whole(b));
        let sides = |p: [Whole; 3]| [0, 1, 2].map(|i| from(p[i], p[(i + 1) % 3]));
        let (of_a, of_b) = (sides(a), sides(b));
        let mut ways = vec![cross(of_a[0], of_a[1]), cross(of_b[0], of_b[1])];
        for w in a.iter().flat_map(|&p| b.map(|q| from(p, q))) {
            ways.push(w);
            ways.extend(of_a.iter().chain(&of_b).map(|&e| cross(cross(e, w), e)));
        }
        ways.extend(of_a.iter().flat_map(|&d| of_b.map(|e| cross(d, e))));
        let apart = |way: Whole| {
            let along = |p: Whole| (0..3).map(|k| way[k] * p[k]).sum::<i64>();
            let (a, b) = (a.map(along), b.map(along));
            a.iter().max() < b.iter().min() || b.iter().max() < a.iter().min()
        };
        !ways.into_iter().any(apart)
    }

    proptest! {
        #[test]
        fn agrees_with_going_to_and_fro(raw in prop::array::uniform6(prop::array::uniform3(-6i8..=6))) {
            let p = raw.map(|c| DVec3::from_array(c.map(f64::from)));
            let (a, b) = ([p[0], p[1], p[2]], [p[3], p[4], p[5]]);
            let (one, two) = (gap(a, b), gap(b, a));
            prop_assert!((one.distance - two.distance).abs() < 1e-12);
            let slow = to_and_fro(a, b);
            prop_assert!(one.distance <= slow + 1e-9, "{} {}", one.distance, slow);
            // It is no less than that either: apart, two places of theirs are as far off, and
            // at 0 they meet by whole numbers. (Going to and fro may take for ever.)
            prop_assert_eq!(one.distance < 1e-6, meet(&raw[..3], &raw[3..]), "{:?}", one);
            let at: DVec3 = (0..3).map(|i| one.weights[i] * a[i]).sum();
            prop_assert!(at.distance(one.first) < 1e-12);
            if one.distance > 0.0 {
                prop_assert!((one.first.distance(one.second) - one.distance).abs() < 1e-12);
            }
        }
    }

    /// Found by the test above: one without area was taken to be off what it goes through.
    #[test]
    fn a_segment_through_a_face_is_no_distance_off() {
        let face = [[2.0, -1.0, -2.0], [0.0, 0.0, 0.0], [0.0, 4.0, 0.0]].map(DVec3::from_array);
        let (p, q) = (DVec3::new(-1.0, -3.0, -5.0), DVec3::new(1.0, 2.0, 0.0));
        for segment in [[p, p, q], [p, q, q], [q, p, q], [p, p.lerp(q, 0.5), q]] {
            assert_eq!(gap(face, segment).distance, 0.0);
            assert_eq!(gap(segment, face).distance, 0.0);
        }
        // Found by the test above, which took the places to be apart by the distance.
        let slanted = [[0.0, 0.0, -5.0], [0.0, -1.0, 0.0], [-3.0, 3.0, -2.0]];
        let (p2, q2) = (DVec3::new(-2.0, 5.0, 1.0), DVec3::new(-1.0, 0.0, -1.0));
        let slanted = slanted.map(DVec3::from_array);
        assert_eq!(gap(slanted, [p2, p2, q2]).distance, 0.0);
        assert!(to_and_fro(slanted, [p2, p2, q2]) < 1e-6);
        // Beside it, and short of it.
        assert!(gap(face, [p, p, p.lerp(q, 0.5)]).distance > 0.1);
        let aside = DVec3::new(3.0, 0.0, 0.0);
        assert!(gap(face, [p + aside, p + aside, q + aside]).distance > 0.1);
    }

    #[test]
    fn sides_that_pass_each_other() {
        // Two crossed sides, 1.5 apart; every corner is further away.
        let a = [[-3.0, 0.0, 0.0], [3.0, 0.0, 0.0], [0.0, 0.0, -4.0]].map(DVec3::from_array);
        let b = [[0.0, -3.0, 1.5], [0.0, 3.0, 1.5], [0.0, 0.0, 7.0]].map(DVec3::from_array);
        let found = gap(a, b);
        assert_eq!(found.distance, 1.5);
        assert_eq!(found.weights, [0.5, 0.5, 0.0]);
    }
}
