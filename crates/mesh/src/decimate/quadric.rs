//! Error quadrics.

use crate::DVec3;

/// The sum of weighted squared distances to planes: p·A·p + 2 b·p + c.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Quadric {
    /// xx, xy, xz, yy, yz, zz of A.
    a: [f64; 6],
    b: DVec3,
    c: f64,
}

/// A determinant below this share of the cube of A's trace counts as 0.
const SINGULAR: f64 = 1e-9;

impl Quadric {
    /// The plane through `p` with a unit normal.
    pub fn of_plane(p: DVec3, normal: DVec3, weight: f64) -> Self {
        let n = normal;
        let d = -n.dot(p);
        Self {
            a: [
                n.x * n.x,
                n.x * n.y,
                n.x * n.z,
                n.y * n.y,
                n.y * n.z,
                n.z * n.z,
            ]
            .map(|x| x * weight),
            b: weight * d * n,
            c: weight * d * d,
        }
    }

    pub fn plus(mut self, other: &Self) -> Self {
        for (x, y) in self.a.iter_mut().zip(&other.a) {
            *x += y;
        }
        self.b += other.b;
        self.c += other.c;
        self
    }

    fn times(&self, p: DVec3) -> DVec3 {
        let [xx, xy, xz, yy, yz, zz] = self.a;
        DVec3::new(
            xx * p.x + xy * p.y + xz * p.z,
            xy * p.x + yy * p.y + yz * p.z,
            xz * p.x + yz * p.y + zz * p.z,
        )
    }

    /// Sum at a point; rounding never makes it negative.
    pub fn at(&self, p: DVec3) -> f64 {
        (self.times(p).dot(p) + 2.0 * self.b.dot(p) + self.c).max(0.0)
    }

    /// The point with the least sum, unless a whole line or plane has it.
    pub fn least(&self) -> Option<DVec3> {
        let [xx, xy, xz, yy, yz, zz] = self.a;
        let columns = [
            DVec3::new(xx, xy, xz),
            DVec3::new(xy, yy, yz),
            DVec3::new(xz, yz, zz),
        ];
        let det = columns[0].dot(columns[1].cross(columns[2]));
        let trace = xx + yy + zz;
        if det.abs() <= SINGULAR * trace.powi(3) {
            return None;
        }
        // Cramer's rule on A p = -b.
        let r = -self.b;
        let p = DVec3::new(
            r.dot(columns[1].cross(columns[2])),
            columns[0].dot(r.cross(columns[2])),
            columns[0].dot(columns[1].cross(r)),
        );
        Some(p / det)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn three_planes_meet_in_their_corner_and_distances_add_up() {
        let corner = DVec3::new(1.0, -2.0, 3.0);
        let normals = [
            DVec3::X,
            DVec3::new(0.6, 0.8, 0.0),
            DVec3::new(0.0, 0.6, 0.8),
        ];
        let sum = normals
            .iter()
            .map(|&n| Quadric::of_plane(corner, n, 2.0))
            .fold(Quadric::default(), |sum, q| sum.plus(&q));
        assert!(sum.least().unwrap().distance(corner) < 1e-12);
        let p = DVec3::new(0.3, 0.7, -0.2);
        let expected: f64 = normals
            .iter()
            .map(|n| 2.0 * n.dot(p - corner).powi(2))
            .sum();
        assert!((sum.at(p) - expected).abs() < 1e-12);
        assert!(Quadric::of_plane(corner, DVec3::Z, 1.0).least().is_none());
    }
}
