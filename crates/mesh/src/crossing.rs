//! Whether two triangles pass through each other.
//!
//! Signs decide, so they are exact: adaptive predicates (Shewchuk 1997), and the test of
//! two triangles by Guigue & Devillers (2003), taken strictly: mere contact is no cut.

use robust::{Coord, Coord3D, orient2d, orient3d};

use crate::DVec3;

type Triangle = [DVec3; 3];

/// Sign of the volume of a tetrahedron: the side of plane abc on which d lies.
pub(crate) fn side([a, b, c]: Triangle, d: DVec3) -> i8 {
    let [a, b, c, d] = [a, b, c, d].map(|p| Coord3D {
        x: p.x,
        y: p.y,
        z: p.z,
    });
    sign(orient3d(a, b, c, d))
}

fn sign(x: f64) -> i8 {
    i8::from(x > 0.0) - i8::from(x < 0.0)
}

/// Whether the insides of two triangles have a point in common; exact for all finite corners.
/// Triangles that only touch don't pass through each other, nor does one without area.
///
/// ```
/// use loopwright_mesh::{DVec3, pass_through};
/// let floor = [DVec3::ZERO, DVec3::X * 4.0, DVec3::Y * 4.0];
/// let post = |low: f64| [[1.0, 1.0, low], [2.0, 1.0, low], [1.0, 1.0, 3.0]].map(DVec3::from_array);
/// assert!(pass_through(floor, post(-1.0)));
/// assert!(!pass_through(floor, post(0.0)));
/// ```
pub fn pass_through(a: Triangle, b: Triangle) -> bool {
    let of_b = b.map(|p| side(a, p));
    let of_a = a.map(|p| side(b, p));
    if of_a == [0; 3] && of_b == [0; 3] {
        return overlap_in_plane(a, b);
    }
    let straddles = |s: [i8; 3]| s.contains(&1) && s.contains(&-1);
    if !straddles(of_a) || !straddles(of_b) {
        return false;
    }
    // Both triangles cut the line in which their planes meet; compare the two stretches.
    let (p, p_side) = apex_first(a, of_a);
    let (q, q_side) = apex_first(b, of_b);
    // With each apex on the positive side of the other plane, all signs have one meaning.
    let p = if q_side > 0 { p } else { [p[0], p[2], p[1]] };
    let q = if p_side > 0 { q } else { [q[0], q[2], q[1]] };
    side([p[0], p[1], q[0]], q[1]) < 0 && side([p[0], p[2], q[2]], q[0]) < 0
}

/// Turns a triangle so that its first corner is alone on its side, and tells that side.
fn apex_first(t: Triangle, sides: [i8; 3]) -> (Triangle, i8) {
    let alone = |i: usize| {
        sides[i] != 0 && sides[(i + 1) % 3] != sides[i] && sides[(i + 2) % 3] != sides[i]
    };
    let i = (0..3).find(|&i| alone(i)).unwrap_or(0);
    ([t[i], t[(i + 1) % 3], t[(i + 2) % 3]], sides[i])
}

/// Triangles in one plane overlap unless a side of one has the other one beyond it.
fn overlap_in_plane(a: Triangle, b: Triangle) -> bool {
    // Seen along the axis that the plane faces most, so that no triangle collapses.
    let facing = (a[1] - a[0]).cross(a[2] - a[0]).abs();
    let flat = |p: DVec3| match facing {
        n if n.z == n.max_element() => Coord { x: p.x, y: p.y },
        n if n.y == n.max_element() => Coord { x: p.z, y: p.x },
        _ => Coord { x: p.y, y: p.z },
    };
    let (a, b) = (a.map(flat), b.map(flat));
    let turn = |[p, q, r]: [Coord<f64>; 3]| sign(orient2d(p, q, r));
    let (turn_a, turn_b) = (turn(a), turn(b));
    if turn_a == 0 || turn_b == 0 {
        return false;
    }
    let parts = |t: [Coord<f64>; 3], own: i8, other: [Coord<f64>; 3]| {
        (0..3).any(|i| {
            let beyond = |r| turn([t[i], t[(i + 1) % 3], r]) * own <= 0;
            other.into_iter().all(beyond)
        })
    };
    !parts(a, turn_a, b) && !parts(b, turn_b, a)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn t(raw: [[f64; 3]; 3]) -> Triangle {
        raw.map(DVec3::from_array)
    }

    #[test]
    fn contact_is_no_cut() {
        let floor = t([[0.0, 0.0, 0.0], [4.0, 0.0, 0.0], [0.0, 4.0, 0.0]]);
        let through = t([[1.0, 1.0, -1.0], [1.0, 1.0, 1.0], [2.0, 1.0, 1.0]]);
        let standing = t([[1.0, 1.0, 0.0], [1.0, 1.0, 1.0], [2.0, 1.0, 1.0]]);
        let beside = t([[5.0, 1.0, -1.0], [5.0, 1.0, 1.0], [6.0, 1.0, 1.0]]);
        let on_rim = t([[2.0, 0.0, -1.0], [2.0, 0.0, 1.0], [2.0, -2.0, 0.5]]);
        for (other, cut) in [
            (through, true),
            (standing, false),
            (beside, false),
            (on_rim, false),
        ] {
            assert_eq!(pass_through(floor, other), cut, "{other:?}");
            assert_eq!(pass_through(other, floor), cut, "{other:?}");
        }
    }

    #[test]
    fn triangles_in_one_plane_overlap_by_area_only() {
        let one = t([[0.0, 0.0, 1.0], [4.0, 0.0, 1.0], [0.0, 4.0, 1.0]]);
        let inside = t([[1.0, 1.0, 1.0], [2.0, 1.0, 1.0], [1.0, 2.0, 1.0]]);
        let along = t([[0.0, 0.0, 1.0], [4.0, 0.0, 1.0], [0.0, -4.0, 1.0]]);
        assert!(pass_through(one, inside) && pass_through(inside, one));
        assert!(!pass_through(one, along) && !pass_through(along, one));
    }

    /// Whether a segment pierces the inside of a triangle, by solving three equations
    /// (Cramer's rule) in whole numbers, which f64 holds exactly here.
    fn pierces([p, q]: [DVec3; 2], [a, b, c]: Triangle) -> bool {
        let (u, v, w) = (b - a, c - a, p - q);
        let det = u.cross(v).dot(w);
        let r = p - a;
        let [s, t, x] =
            [r.cross(v).dot(w), u.cross(r).dot(w), u.cross(v).dot(r)].map(|n| n * det.signum());
        let size = det.abs();
        det != 0.0 && s > 0.0 && t > 0.0 && s + t < size && x > 0.0 && x < size
    }

    /// A fraction in lowest terms, its denominator above 0.
    #[derive(Clone, Copy, Debug, PartialEq, Eq)]
    struct Ratio(i128, i128);

    impl Ratio {
        fn new(top: i128, bottom: i128) -> Self {
            let (mut a, mut b) = (top.unsigned_abs(), bottom.unsigned_abs());
            while b != 0 {
                (a, b) = (b, a % b);
            }
            let by = a as i128 * bottom.signum();
            Self(top / by, bottom / by)
        }

        fn less(self, other: Self) -> bool {
            self.0 * other.1 < other.0 * self.1
        }

        fn add(self, other: Self) -> Self {
            Self::new(self.0 * other.1 + other.0 * self.1, self.1 * other.1)
        }

        fn times(self, other: Self) -> Self {
            Self::new(self.0 * other.0, self.1 * other.1)
        }
    }

    type Whole = [i128; 3];

    fn minus(a: Whole, b: Whole) -> Whole {
        [a[0] - b[0], a[1] - b[1], a[2] - b[2]]
    }

    fn cross(a: Whole, b: Whole) -> Whole {
        let at = |i: usize, j: usize| a[i] * b[j] - a[j] * b[i];
        [at(1, 2), at(2, 0), at(0, 1)]
    }

    fn dot(a: Whole, b: Whole) -> i128 {
        a[0] * b[0] + a[1] * b[1] + a[2] * b[2]
    }

    fn normal(t: [Whole; 3]) -> Whole {
        cross(minus(t[1], t[0]), minus(t[2], t[0]))
    }

    /// The stretch of a line along `along` in which a triangle straddles a plane: both ends
    /// where sides cross it, in fractions (the intervals of Moller 1997, without rounding).
    fn stretch(t: [Whole; 3], heights: [i128; 3], along: Whole) -> Option<[Ratio; 2]> {
        if !(heights.iter().any(|&h| h > 0) && heights.iter().any(|&h| h < 0)) {
            return None;
        }
        let mut met = Vec::new();
        for i in 0..3 {
            let (j, p, q) = ((i + 1) % 3, dot(along, t[i]), dot(along, t[(i + 1) % 3]));
            let (a, b) = (heights[i], heights[j]);
            if a == 0 {
                met.push(Ratio::new(p, 1));
            } else if a.signum() * b.signum() < 0 {
                met.push(Ratio::new(p * b - q * a, b - a));
            }
        }
        let low = met
            .iter()
            .copied()
            .reduce(|x, y| if y.less(x) { y } else { x })?;
        let high = met
            .iter()
            .copied()
            .reduce(|x, y| if x.less(y) { y } else { x })?;
        Some([low, high])
    }

    /// Whether two flat triangles share area: one clipped by the other's sides in fractions
    /// (Sutherland & Hodgman 1974), then its area.
    fn share_area(a: [[i128; 2]; 3], mut b: [[i128; 2]; 3]) -> bool {
        let turn = |t: [[i128; 2]; 3]| {
            (t[1][0] - t[0][0]) * (t[2][1] - t[0][1]) - (t[1][1] - t[0][1]) * (t[2][0] - t[0][0])
        };
        if turn(a) == 0 || turn(b) == 0 {
            return false;
        }
        if turn(b) < 0 {
            b.swap(0, 1);
        }
        let mut left: Vec<[Ratio; 2]> = a.iter().map(|p| p.map(|x| Ratio::new(x, 1))).collect();
        for i in 0..3 {
            let (p, q) = (b[i], b[(i + 1) % 3]);
            let height = |r: [Ratio; 2]| {
                let [x, y] = [Ratio::new(p[1] - q[1], 1), Ratio::new(q[0] - p[0], 1)];
                let own = Ratio::new(-(p[1] - q[1]) * p[0] - (q[0] - p[0]) * p[1], 1);
                x.times(r[0]).add(y.times(r[1])).add(own)
            };
            let mut clipped = Vec::new();
            for k in 0..left.len() {
                let (r, s) = (left[k], left[(k + 1) % left.len()]);
                let (hr, hs) = (height(r), height(s));
                if hr.0 >= 0 {
                    clipped.push(r);
                }
                if hr.0.signum() * hs.0.signum() < 0 {
                    // r + (s - r) hr / (hr - hs)
                    let whole = hr.add(Ratio::new(-hs.0, hs.1));
                    let t = Ratio::new(hr.0 * whole.1, hr.1 * whole.0);
                    let between = |i: usize| {
                        let step = s[i].add(Ratio::new(-r[i].0, r[i].1));
                        r[i].add(t.times(step))
                    };
                    clipped.push([between(0), between(1)]);
                }
            }
            left = clipped;
        }
        let mut area = Ratio::new(0, 1);
        for k in 0..left.len() {
            let (r, s) = (left[k], left[(k + 1) % left.len()]);
            let less = s[0].times(r[1]);
            area = area.add(r[0].times(s[1])).add(Ratio::new(-less.0, less.1));
        }
        area.0 != 0
    }

    /// Whether insides meet, in fractions of whole numbers alone.
    fn meet_exactly(a: [Whole; 3], b: [Whole; 3]) -> bool {
        let (na, nb) = (normal(a), normal(b));
        if na == [0; 3] || nb == [0; 3] {
            return false;
        }
        let (of_a, of_b) = (
            a.map(|p| dot(nb, minus(p, b[0]))),
            b.map(|p| dot(na, minus(p, a[0]))),
        );
        let along = cross(na, nb);
        if along == [0; 3] {
            let k = (0..3).find(|&k| na[k] != 0).unwrap();
            let flat = |p: Whole| [p[(k + 1) % 3], p[(k + 2) % 3]];
            return of_a == [0; 3] && share_area(a.map(flat), b.map(flat));
        }
        match (stretch(a, of_a, along), stretch(b, of_b, along)) {
            (Some(one), Some(two)) => one[0].less(two[1]) && two[0].less(one[1]),
            _ => false,
        }
    }

    fn agree(raw: [[i8; 3]; 6]) -> Result<bool, TestCaseError> {
        let whole = |i: usize| raw[i].map(i128::from);
        let near = |i: usize| DVec3::from_array(raw[i].map(f64::from));
        let exact = meet_exactly(
            [whole(0), whole(1), whole(2)],
            [whole(3), whole(4), whole(5)],
        );
        let mut a = [near(0), near(1), near(2)];
        let mut b = [near(3), near(4), near(5)];
        for _ in 0..2 {
            for _ in 0..3 {
                prop_assert_eq!(pass_through(a, b), exact, "{:?} {:?}", a, b);
                prop_assert_eq!(pass_through(b, a), exact, "{:?} {:?}", b, a);
                a.rotate_left(1);
                b.rotate_left(2);
            }
            a.swap(0, 1);
        }
        Ok(exact)
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(4096))]

        /// Few coordinates: corners and sides in common, triangles in one plane, mere contact,
        /// no area.
        #[test]
        fn agrees_with_fractions_on_degenerate_pairs(raw in prop::array::uniform6(prop::array::uniform3(-2i8..=2))) {
            agree(raw)?;
        }

        #[test]
        fn agrees_with_fractions_in_one_plane(raw in prop::array::uniform6(prop::array::uniform3(-4i8..=4)), tilt in prop::array::uniform2(-2i8..=2)) {
            // All corners in the plane z = tilt . (x, y).
            agree(raw.map(|[x, y, _]| [x, y, tilt[0] * x + tilt[1] * y]))?;
        }

        /// A side in common, or a corner.
        #[test]
        fn agrees_with_fractions_on_neighbours(raw in prop::array::uniform6(prop::array::uniform3(-9i8..=9)), shared in 1usize..3) {
            let mut pair = raw;
            pair[3..3 + shared].copy_from_slice(&raw[..shared]);
            agree(pair)?;
        }

        #[test]
        fn agrees_with_fractions_on_random_pairs(raw in prop::array::uniform6(prop::array::uniform3(-60i8..=60))) {
            agree(raw)?;
        }

        /// In general position two triangles meet exactly where a side of one pierces the other.
        #[test]
        fn agrees_with_sides_that_pierce(raw in prop::array::uniform6(prop::array::uniform3(-20i8..20))) {
            let p = raw.map(|c| DVec3::from_array(c.map(f64::from)));
            let (a, b) = ([p[0], p[1], p[2]], [p[3], p[4], p[5]]);
            let general = a.iter().all(|&x| side(b, x) != 0) && b.iter().all(|&x| side(a, x) != 0);
            prop_assume!(general);
            let sides = |t: Triangle| [[t[0], t[1]], [t[1], t[2]], [t[2], t[0]]];
            let slow = sides(a).iter().any(|&s| pierces(s, b)) || sides(b).iter().any(|&s| pierces(s, a));
            prop_assert_eq!(pass_through(a, b), slow);
            prop_assert_eq!(pass_through(b, a), slow);
        }
    }
}
