//! Points spread over a sculpt, the same each time.

use mesh::{DVec3, TriMesh};

/// About `count` points spread evenly by area: a step along the running sum of areas,
/// placed in the triangle by a two-dimensional low-discrepancy sequence (the golden
/// ratio's generalisation by Roberts 2018, "R2").
pub(super) fn spread(mesh: &TriMesh, count: usize) -> Vec<DVec3> {
    let step = mesh.area() / count as f64;
    let mut points = Vec::with_capacity(count + 1);
    if step <= 0.0 || !step.is_finite() {
        return points;
    }
    let (mut sum, mut next) = (0.0, step / 2.0);
    for t in 0..mesh.triangles.len() {
        sum += mesh.area_normal(t).length() / 2.0;
        while next < sum && points.len() <= count {
            let k = points.len() as f64;
            let (mut u, mut v) = (
                (k * 0.754_877_666_246_692_7).fract(),
                (k * 0.569_840_290_998_053_2).fract(),
            );
            if u + v > 1.0 {
                (u, v) = (1.0 - u, 1.0 - v);
            }
            let [a, b, c] = mesh.corners(t);
            points.push(a + (b - a) * u + (c - a) * v);
            next += step;
        }
    }
    points
}

/// The value below which this share of the values lies; 0 for none.
pub(super) fn percentile(values: &[f64], share: f64) -> f64 {
    let mut sorted = values.to_vec();
    sorted.sort_unstable_by(f64::total_cmp);
    let at = (share * sorted.len() as f64).ceil() as usize;
    sorted
        .get(at.saturating_sub(1).min(sorted.len().saturating_sub(1)))
        .copied()
        .unwrap_or(0.0)
}
