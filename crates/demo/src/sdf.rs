//! Distance functions: the tools that shapes are put together from.
//!
//! Values are lengths in cm, negative inside. They are first-order distances: exact to
//! first order on the zero set, within a factor of about 1.6 of the true distance elsewhere.

use mesh::DVec3;

/// A solid given by a distance function.
pub trait Shape: Sync {
    /// Signed distance, negative inside, cm.
    fn distance(&self, p: DVec3) -> f64;

    /// Value and gradient by differences at the corners of a tetrahedron.
    fn with_gradient(&self, p: DVec3) -> (f64, DVec3) {
        const STEP: f64 = 2e-3;
        let corners = [
            DVec3::new(1.0, -1.0, -1.0),
            DVec3::new(-1.0, -1.0, 1.0),
            DVec3::new(-1.0, 1.0, -1.0),
            DVec3::new(1.0, 1.0, 1.0),
        ];
        let mut gradient = DVec3::ZERO;
        let mut sum = 0.0;
        for c in corners {
            let value = self.distance(p + STEP * c);
            gradient += value * c;
            sum += value;
        }
        (sum / 4.0, gradient / (4.0 * STEP))
    }

    /// One Newton step towards the zero set, at most `limit` long, and the unit normal.
    fn project(&self, p: DVec3, limit: f64) -> (DVec3, DVec3) {
        let (value, gradient) = self.with_gradient(p);
        let squared = gradient.length_squared().max(1e-12);
        let step = -value * gradient / squared;
        let length = step.length();
        let step = if length > limit {
            step * (limit / length)
        } else {
            step
        };
        (p + step, gradient / squared.sqrt())
    }
}

/// Smooth minimum with a blend of width `k` (quadratic, after Quilez' polynomial minimum).
pub fn blend_min(a: f64, b: f64, k: f64) -> f64 {
    let h = (k - (a - b).abs()).max(0.0) / k;
    a.min(b) - h * h * k * 0.25
}

/// Smooth maximum with a blend of width `k`.
pub fn blend_max(a: f64, b: f64, k: f64) -> f64 {
    -blend_min(-a, -b, k)
}

/// Smooth step from 0 at `a` to 1 at `b`.
pub(crate) fn smooth_step(a: f64, b: f64, x: f64) -> f64 {
    let t = ((x - a) / (b - a)).clamp(0.0, 1.0);
    t * t * (3.0 - 2.0 * t)
}

/// A smooth function through knots: cubic Hermite with monotone slopes
/// (Fritsch & Carlson 1980, harmonic-mean form), constant outside.
#[derive(Clone, Debug)]
pub(crate) struct Profile {
    knots: Vec<(f64, f64, f64)>,
}

impl Profile {
    /// Knots (place, value) by rising place.
    pub(crate) fn new(points: &[(f64, f64)]) -> Self {
        let secant = |i: usize| (points[i + 1].1 - points[i].1) / (points[i + 1].0 - points[i].0);
        let knots = (0..points.len())
            .map(|i| {
                let slope = if i == 0 || i + 1 == points.len() {
                    0.0
                } else {
                    let (before, after) = (secant(i - 1), secant(i));
                    if before * after > 0.0 {
                        2.0 * before * after / (before + after)
                    } else {
                        0.0
                    }
                };
                (points[i].0, points[i].1, slope)
            })
            .collect();
        Self { knots }
    }

    /// Value and slope.
    pub(crate) fn at(&self, x: f64) -> (f64, f64) {
        let (first, last) = (self.knots[0], self.knots[self.knots.len() - 1]);
        if x <= first.0 {
            return (first.1, 0.0);
        }
        if x >= last.0 {
            return (last.1, 0.0);
        }
        let i = self.knots.partition_point(|k| k.0 <= x) - 1;
        let ((x0, y0, m0), (x1, y1, m1)) = (self.knots[i], self.knots[i + 1]);
        let width = x1 - x0;
        let t = (x - x0) / width;
        let (t2, u) = (t * t, 1.0 - t);
        let value =
            y0 * (1.0 + 2.0 * t) * u * u + width * m0 * t * u * u + y1 * t2 * (3.0 - 2.0 * t)
                - width * m1 * t2 * u;
        let slope =
            6.0 * t * u * (y1 - y0) / width + m0 * u * (1.0 - 3.0 * t) + m1 * t * (3.0 * t - 2.0);
        (value, slope)
    }
}

/// A vertical column with superelliptic sections (exponent 2.5) that vary with height.
#[derive(Clone, Debug)]
pub(crate) struct Column {
    /// Half width (along x) by height.
    pub(crate) width: Profile,
    /// Half depth (along z) by height.
    pub(crate) depth: Profile,
    /// z of the centre by height.
    pub(crate) centre: Profile,
}

impl Column {
    /// First-order distance: value over gradient length.
    pub(crate) fn distance(&self, p: DVec3) -> f64 {
        let (a, da) = self.width.at(p.y);
        let (b, db) = self.depth.at(p.y);
        let (c, dc) = self.centre.at(p.y);
        let dz = p.z - c;
        let (qx, qz) = ((p.x / a).abs(), (dz / b).abs());
        let (sx, sz) = (qx * qx.sqrt(), qz * qz.sqrt());
        let sum = (sx * qx + sz * qz).max(1e-9);
        let m = sum.powf(0.4);
        // ∂m/∂q = (q/m)^1.5
        let scale = 1.0 / (m * m.sqrt());
        let (gx, gz) = (sx * scale, sz * scale);
        let along_y = gx * qx * da / a + gz * (qz * db / b + dz.signum() * dc / b);
        let gradient = ((gx / a).powi(2) + (gz / b).powi(2) + along_y.powi(2)).sqrt();
        (m - 1.0) / gradient.max(1e-6)
    }
}

/// A curve of two straight pieces joined by a circular arc: the axis of a sleeve.
#[derive(Clone, Debug)]
pub(crate) struct BentAxis {
    start: DVec3,
    first: DVec3,
    second: DVec3,
    arc_start: DVec3,
    arc_end: DVec3,
    arc_centre: DVec3,
    /// Towards the inside of the bend at the arc's start.
    inward: DVec3,
    radius: f64,
    angle_rad: f64,
    before: f64,
    /// Length from start to the far end.
    pub(crate) length: f64,
    /// Unit normal of the plane of the bend.
    pub(crate) side: DVec3,
}

/// Where a point lies relative to a [`BentAxis`].
#[derive(Clone, Copy, Debug)]
pub(crate) struct AxisPlace {
    /// Length along the axis from its start, cm; below 0 and over its length beyond the ends.
    pub(crate) along: f64,
    /// Nearest point on the (prolonged) axis.
    pub(crate) foot: DVec3,
    /// Unit tangent there.
    pub(crate) tangent: DVec3,
    /// Distance to the axis.
    pub(crate) distance: f64,
}

impl BentAxis {
    /// From `start` along `first` to a corner at `to_corner`, on along `second` for
    /// `after_corner`, the corner rounded with `radius`.
    pub(crate) fn new(
        start: DVec3,
        first: DVec3,
        to_corner: f64,
        second: DVec3,
        after_corner: f64,
        radius: f64,
    ) -> Self {
        let (first, second) = (first.normalize(), second.normalize());
        let side = first.cross(second).normalize();
        let angle_rad = first.dot(second).clamp(-1.0, 1.0).acos();
        let trim = radius * (angle_rad / 2.0).tan();
        let corner = start + to_corner * first;
        let inward = side.cross(first);
        let arc_start = corner - trim * first;
        Self {
            start,
            first,
            second,
            arc_start,
            arc_end: corner + trim * second,
            arc_centre: arc_start + radius * inward,
            inward,
            radius,
            angle_rad,
            before: to_corner - trim,
            length: to_corner + after_corner - 2.0 * trim + radius * angle_rad,
            side,
        }
    }

    /// Length at the middle of the bend.
    pub(crate) fn bend(&self) -> f64 {
        self.before + 0.5 * self.radius * self.angle_rad
    }

    /// Point and tangent at a length along the axis.
    pub(crate) fn at(&self, along: f64) -> (DVec3, DVec3) {
        let arc = self.radius * self.angle_rad;
        if along < self.before {
            (self.start + along * self.first, self.first)
        } else if along < self.before + arc {
            let angle = (along - self.before) / self.radius;
            let tangent = angle.cos() * self.first + angle.sin() * self.inward;
            let out = angle.sin() * self.first - angle.cos() * self.inward;
            (self.arc_centre + self.radius * out, tangent)
        } else {
            (
                self.arc_end + (along - self.before - arc) * self.second,
                self.second,
            )
        }
    }

    /// The nearest place on the axis; straight pieces go on for ever.
    pub(crate) fn place(&self, p: DVec3) -> AxisPlace {
        let from_centre = p - self.arc_centre;
        let angle = (from_centre.dot(self.first)).atan2(-from_centre.dot(self.inward));
        let along = if angle <= 0.0
            || from_centre.dot(self.inward) > 0.0 && (p - self.arc_start).dot(self.first) < 0.0
        {
            ((p - self.start).dot(self.first)).min(self.before)
        } else if angle < self.angle_rad {
            self.before + self.radius * angle
        } else {
            let arc = self.radius * self.angle_rad;
            self.before + arc + ((p - self.arc_end).dot(self.second)).max(0.0)
        };
        let (foot, tangent) = self.at(along);
        AxisPlace {
            along,
            foot,
            tangent,
            distance: p.distance(foot),
        }
    }

    /// Angle around the axis in radians: 0 towards the inside of the bend, rising towards `side`.
    pub(crate) fn around(&self, p: DVec3, place: &AxisPlace) -> f64 {
        let inward = self.side.cross(place.tangent);
        let offset = p - place.foot;
        offset.dot(self.side).atan2(offset.dot(inward))
    }
}

/// A cone with round ends from `a` (radius `ra`) to `b` (radius `rb`), first-order.
pub fn round_cone(p: DVec3, a: DVec3, ra: f64, b: DVec3, rb: f64) -> f64 {
    let axis = b - a;
    let t = ((p - a).dot(axis) / axis.length_squared()).clamp(0.0, 1.0);
    p.distance(a + t * axis) - (ra + (rb - ra) * t)
}

/// An ellipsoid with half axes `r`, first-order.
pub fn ellipsoid(p: DVec3, centre: DVec3, r: DVec3) -> f64 {
    let q = (p - centre) / r;
    let k0 = q.length();
    let k1 = (q / r).length();
    if k1 < 1e-9 {
        -r.min_element()
    } else {
        k0 * (k0 - 1.0) / k1
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_bent_axis_is_smooth_and_finds_its_own_points() {
        let axis = BentAxis::new(
            DVec3::ZERO,
            DVec3::X,
            30.0,
            DVec3::new(1.0, 0.5, 0.0),
            25.0,
            14.0,
        );
        for i in 0..=60 {
            let along = axis.length * f64::from(i) / 60.0;
            let (at, tangent) = axis.at(along);
            let found = axis.place(at + 3.0 * axis.side);
            assert!((found.along - along).abs() < 1e-9, "{along} {found:?}");
            assert!((found.distance - 3.0).abs() < 1e-9);
            assert!((found.tangent - tangent).length() < 1e-9);
        }
    }

    #[test]
    fn a_profile_meets_its_knots_and_its_slope_is_its_derivative() {
        let profile = Profile::new(&[(0.0, 1.0), (2.0, 3.0), (5.0, 3.5), (6.0, 1.0)]);
        assert_eq!(profile.at(2.0).0, 3.0);
        for i in 1..58 {
            let x = 0.1 * f64::from(i) + 0.013;
            let numeric = (profile.at(x + 1e-5).0 - profile.at(x - 1e-5).0) / 2e-5;
            assert!((numeric - profile.at(x).1).abs() < 1e-4, "{x}");
        }
    }

    #[test]
    fn column_distance_is_exact_on_its_axes() {
        let flat = |v| Profile::new(&[(0.0, v), (1.0, v)]);
        let column = Column {
            width: flat(20.0),
            depth: flat(12.0),
            centre: flat(0.0),
        };
        assert!((column.distance(DVec3::new(25.0, 3.0, 0.0)) - 5.0).abs() < 1e-9);
        assert!((column.distance(DVec3::new(0.0, 3.0, 10.0)) + 2.0).abs() < 1e-9);
    }
}
