//! Places on the parallel wall, and how thick cloth can get before that wall folds.
//!
//! The wall's planes are those of the cloth's quads, moved by the thickness; a place where planes
//! meet goes where the moved ones meet (in two dimensions: the mitre, 1 over the cosine of half
//! the turn). Where more than three planes meet there is no such place in general: least squares.

use mesh::DVec3;

/// Directions with less than this share of the normals' weight are left alone: cloth that is flat
/// there says nothing of them.
const FLAT: f64 = 1e-3;
/// A wall may be moved by this share of the local radius.
pub(crate) const SHARE: f64 = 0.8;

/// The least vector `o` with `o · n = −1` for unit normals `n`, in the sense of least squares.
pub(crate) fn offset(normals: &[DVec3]) -> DVec3 {
    let mean = normals.iter().sum::<DVec3>().normalize_or_zero();
    if mean == DVec3::ZERO {
        return DVec3::ZERO;
    }
    // Solved by conjugate gradients from the plain offset: three steps are exact in three
    // dimensions, and directions in which nothing is asked are never entered.
    let apply = |x: DVec3| normals.iter().map(|n| *n * n.dot(x)).sum::<DVec3>();
    let right = -normals.iter().sum::<DVec3>();
    let mut x = -mean;
    let mut r = right - apply(x);
    let mut p = r;
    let enough = FLAT * normals.len() as f64;
    for _ in 0..3 {
        let along = apply(p);
        let bend = p.dot(along);
        if bend <= enough * p.length_squared() || p.length_squared() < 1e-24 {
            break;
        }
        let step = r.length_squared() / bend;
        x += step * p;
        let next = r - step * along;
        p = next + p * (next.length_squared() / r.length_squared());
        r = next;
    }
    x
}

/// The radius of the largest ball that touches the cloth at `at` from within and holds none of the
/// other places: the lesser of its radius of bending and half its width there. `inward` is unit.
pub(crate) fn radius(at: DVec3, inward: DVec3, others: impl Iterator<Item = DVec3>) -> f64 {
    others.fold(f64::INFINITY, |least, other| {
        let way = other - at;
        let height = way.dot(inward);
        // A place this near the tangent plane bends nothing: rounding, not cloth.
        if height <= 1e-6 * way.length() {
            return least;
        }
        least.min(way.length_squared() / (2.0 * height))
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::f64::consts::PI;

    /// Two planes at an angle: the mitre, 1 / cos of half the turn (elementary geometry).
    #[test]
    fn two_planes_meet_at_the_mitre() {
        for half in [0.1, 0.5, 1.0] {
            let n = [half, -half].map(|a: f64| DVec3::new(a.sin(), 0.0, a.cos()));
            let o = offset(&n);
            assert!(o.distance(DVec3::NEG_Z / half.cos()) < 1e-9, "{o}");
        }
    }

    #[test]
    fn three_planes_meet_at_the_corner_and_flat_cloth_goes_straight_in() {
        let o = offset(&[DVec3::X, DVec3::Y, DVec3::Z]);
        assert!(o.distance(-DVec3::ONE) < 1e-9, "{o}");
        assert_eq!(offset(&[DVec3::Y; 4]), DVec3::NEG_Y);
        assert_eq!(offset(&[DVec3::X, DVec3::NEG_X]), DVec3::ZERO);
    }

    /// On a circle the ball is the circle; between lines it is half the distance.
    #[test]
    fn the_ball_is_the_circles_and_half_the_width() {
        let on = |a: f64| 3.0 * DVec3::new(a.cos(), a.sin(), 0.0);
        let all = (1..12).map(|i| on(f64::from(i) * PI / 6.0));
        assert!((radius(on(0.0), DVec3::NEG_X, all) - 3.0).abs() < 1e-12);
        let wall = (-20..20).map(|i| DVec3::new(2.0, 0.1 * f64::from(i), 0.0));
        assert!((radius(DVec3::ZERO, DVec3::X, wall) - 1.0).abs() < 1e-12);
    }
}
