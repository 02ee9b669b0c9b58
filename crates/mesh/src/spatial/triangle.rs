//! One triangle against one point or one ray, in f64.

use crate::DVec3;

/// A triangle whose doubled area is below this share of its longest side squared
/// is treated as its three sides: its plane means nothing in f64 any more.
const FLAT: f64 = 1e-12;

/// Nearest point of a triangle and its barycentric weights.
///
/// Ericson, *Real-Time Collision Detection*, 2005, section 5.1.5; triangles
/// without area fall back to their sides.
pub(crate) fn closest_on_triangle(p: DVec3, [a, b, c]: [DVec3; 3]) -> (DVec3, [f64; 3]) {
    let (ab, ac) = (b - a, c - a);
    let longest = ab
        .length_squared()
        .max(ac.length_squared())
        .max((c - b).length_squared());
    if ab.cross(ac).length_squared() <= (FLAT * longest).powi(2) {
        return closest_on_sides(p, [a, b, c]);
    }
    let ap = p - a;
    let (d1, d2) = (ab.dot(ap), ac.dot(ap));
    if d1 <= 0.0 && d2 <= 0.0 {
        return (a, [1.0, 0.0, 0.0]);
    }
    let bp = p - b;
    let (d3, d4) = (ab.dot(bp), ac.dot(bp));
    if d3 >= 0.0 && d4 <= d3 {
        return (b, [0.0, 1.0, 0.0]);
    }
    let vc = d1 * d4 - d3 * d2;
    if vc <= 0.0 && d1 >= 0.0 && d3 <= 0.0 {
        let v = share(d1, d1 - d3);
        return (a + v * ab, [1.0 - v, v, 0.0]);
    }
    let cp = p - c;
    let (d5, d6) = (ab.dot(cp), ac.dot(cp));
    if d6 >= 0.0 && d5 <= d6 {
        return (c, [0.0, 0.0, 1.0]);
    }
    let vb = d5 * d2 - d1 * d6;
    if vb <= 0.0 && d2 >= 0.0 && d6 <= 0.0 {
        let w = share(d2, d2 - d6);
        return (a + w * ac, [1.0 - w, 0.0, w]);
    }
    let va = d3 * d6 - d5 * d4;
    if va <= 0.0 && d4 >= d3 && d5 >= d6 {
        let w = share(d4 - d3, (d4 - d3) + (d5 - d6));
        return (b + w * (c - b), [0.0, 1.0 - w, w]);
    }
    let sum = va + vb + vc;
    if !(va > 0.0 && vb > 0.0 && vc > 0.0 && sum.is_finite()) {
        return closest_on_sides(p, [a, b, c]);
    }
    let (v, w) = (vb / sum, vc / sum);
    (a + v * ab + w * ac, [va / sum, v, w])
}

/// `part / whole`, kept from 0 to 1.
fn share(part: f64, whole: f64) -> f64 {
    if whole > 0.0 {
        (part / whole).clamp(0.0, 1.0)
    } else {
        0.0
    }
}

fn closest_on_sides(p: DVec3, corners: [DVec3; 3]) -> (DVec3, [f64; 3]) {
    let mut best = (f64::INFINITY, corners[0], [1.0, 0.0, 0.0]);
    for i in 0..3 {
        let j = (i + 1) % 3;
        let side = corners[j] - corners[i];
        let t = share(side.dot(p - corners[i]), side.length_squared());
        let point = corners[i] + t * side;
        let distance = point.distance_squared(p);
        if distance < best.0 {
            let mut weights = [0.0; 3];
            weights[i] = 1.0 - t;
            weights[j] = t;
            best = (distance, point, weights);
        }
    }
    (best.1, best.2)
}

/// A ray with unit direction, made ready for the watertight test of Woop, Benthin &
/// Wald, "Watertight ray/triangle intersection", JCGT 2013: a ray through a shared
/// side never slips between the two triangles.
#[derive(Clone, Copy)]
pub(super) struct Ray {
    pub origin: DVec3,
    pub direction: DVec3,
    /// Axes, the last one along the ray's greatest component.
    axes: [usize; 3],
    shear: [f64; 3],
}

impl Ray {
    /// `None` for a direction without length or anything that isn't finite.
    pub fn new(origin: DVec3, direction: DVec3) -> Option<Self> {
        let direction = direction.try_normalize()?;
        if !(origin.is_finite() && direction.is_finite()) {
            return None;
        }
        let size = direction.abs();
        let z = if size.x >= size.y && size.x >= size.z {
            0
        } else if size.y >= size.z {
            1
        } else {
            2
        };
        let axes = [(z + 1) % 3, (z + 2) % 3, z];
        let along = direction[z];
        let shear = [
            direction[axes[0]] / along,
            direction[axes[1]] / along,
            1.0 / along,
        ];
        Some(Self {
            origin,
            direction,
            axes,
            shear,
        })
    }

    /// Distance to a triangle, from either side; `None` where it is missed, lies
    /// behind or has no area seen along the ray.
    pub fn meet(&self, corners: [DVec3; 3]) -> Option<f64> {
        let [kx, ky, kz] = self.axes;
        let [sx, sy, sz] = self.shear;
        let [a, b, c] = corners.map(|p| p - self.origin);
        let flat = |p: DVec3| (p[kx] - sx * p[kz], p[ky] - sy * p[kz]);
        let ((ax, ay), (bx, by), (cx, cy)) = (flat(a), flat(b), flat(c));
        let u = cx * by - cy * bx;
        let v = ax * cy - ay * cx;
        let w = bx * ay - by * ax;
        let (negative, positive) = (u < 0.0 || v < 0.0 || w < 0.0, u > 0.0 || v > 0.0 || w > 0.0);
        let sum = u + v + w;
        if (negative && positive) || sum == 0.0 {
            return None;
        }
        let distance = (u * a[kz] + v * b[kz] + w * c[kz]) * sz / sum;
        (distance >= 0.0).then_some(distance)
    }
}
