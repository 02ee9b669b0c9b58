//! Closest points on triangles, for carrying a coarse drape over to a fine wall.

use mesh::DVec3;

/// The nearest point of a triangle and its barycentric coordinates
/// (Ericson, "Real-time collision detection", 2005, section 5.1.5).
pub(crate) fn closest_on_triangle(p: DVec3, [a, b, c]: [DVec3; 3]) -> (DVec3, [f64; 3]) {
    let (ab, ac, ap) = (b - a, c - a, p - a);
    let (d1, d2) = (ab.dot(ap), ac.dot(ap));
    let bp = p - b;
    let (d3, d4) = (ab.dot(bp), ac.dot(bp));
    let cp = p - c;
    let (d5, d6) = (ab.dot(cp), ac.dot(cp));
    let (va, vb, vc) = (d3 * d6 - d5 * d4, d5 * d2 - d1 * d6, d1 * d4 - d3 * d2);
    let weights = if d1 <= 0.0 && d2 <= 0.0 {
        [1.0, 0.0, 0.0]
    } else if d3 >= 0.0 && d4 <= d3 {
        [0.0, 1.0, 0.0]
    } else if d6 >= 0.0 && d5 <= d6 {
        [0.0, 0.0, 1.0]
    } else if vc <= 0.0 && d1 >= 0.0 && d3 <= 0.0 {
        let t = d1 / (d1 - d3);
        [1.0 - t, t, 0.0]
    } else if vb <= 0.0 && d2 >= 0.0 && d6 <= 0.0 {
        let t = d2 / (d2 - d6);
        [1.0 - t, 0.0, t]
    } else if va <= 0.0 && d4 >= d3 && d5 >= d6 {
        let t = (d4 - d3) / ((d4 - d3) + (d5 - d6));
        [0.0, 1.0 - t, t]
    } else {
        let sum = va + vb + vc;
        [va / sum, vb / sum, vc / sum]
    };
    (a * weights[0] + b * weights[1] + c * weights[2], weights)
}
