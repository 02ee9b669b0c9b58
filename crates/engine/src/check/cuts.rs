//! Where the surface passes through itself.
//!
//! Signs decide, so they are exact: adaptive predicates (Shewchuk 1997), and the test of
//! two triangles by Guigue & Devillers (2003), taken strictly: mere contact is no cut.

use mesh::DVec3;
use rayon::prelude::*;
use robust::{Coord, Coord3D, orient2d, orient3d};

use super::surface::Surface;

/// Pairs of triangles without a common vertex that pass through each other.
pub(super) fn pairs(surface: &Surface) -> Vec<[u32; 2]> {
    let triangles = &surface.triangles;
    (0..triangles.corners.len())
        .into_par_iter()
        .flat_map_iter(|t| {
            let apart = move |&n: &usize| {
                let [one, two] = [surface.split[t], surface.split[n]];
                !one.iter().any(|v| two.contains(v))
            };
            let near = triangles.later_neighbours(t).into_iter().filter(apart);
            near.filter(move |&n| pass_through(triangles.corners[t], triangles.corners[n]))
                .map(move |n| [t as u32, n as u32])
        })
        .collect()
}

type Triangle = [DVec3; 3];

/// Sign of the volume of a tetrahedron: the side of plane abc on which d lies.
fn side([a, b, c]: Triangle, d: DVec3) -> i8 {
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

/// Whether the insides of two triangles have a point in common.
fn pass_through(a: Triangle, b: Triangle) -> bool {
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

    proptest! {
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
