//! Runs of points: length, even spacing, smoothing.

use mesh::DVec3;

/// Pieces between points, as index pairs.
pub(super) fn pieces(count: usize, closed: bool) -> impl Iterator<Item = (usize, usize)> {
    let last = if closed {
        count
    } else {
        count.saturating_sub(1)
    };
    (0..last).map(move |i| (i, (i + 1) % count))
}

/// Length, model units.
pub(super) fn length(points: &[DVec3], closed: bool) -> f64 {
    pieces(points.len(), closed)
        .map(|(i, j)| points[i].distance(points[j]))
        .sum()
}

/// Mean of a run's points, weighted by length.
pub(super) fn centroid(points: &[DVec3], closed: bool) -> DVec3 {
    let (mut sum, mut weight) = (DVec3::ZERO, 0.0);
    for (i, j) in pieces(points.len(), closed) {
        let long = points[i].distance(points[j]);
        sum += long * (points[i] + points[j]) / 2.0;
        weight += long;
    }
    if weight > 0.0 {
        sum / weight
    } else {
        points.first().copied().unwrap_or(DVec3::ZERO)
    }
}

/// The same run with points `spacing` apart or a little less; ends stay.
pub(super) fn even(points: &[DVec3], closed: bool, spacing: f64) -> Vec<DVec3> {
    let total = length(points, closed);
    let least = if closed { 3.0 } else { 1.0 };
    let count = (total / spacing).ceil().clamp(least, 1e5) as usize;
    let step = total / count as f64;
    let mut out = Vec::with_capacity(count + 1);
    let (mut next, mut sum) = (0.0, 0.0);
    for (i, j) in pieces(points.len(), closed) {
        let long = points[i].distance(points[j]);
        while out.len() < count && next <= sum + long && long > 0.0 {
            out.push(points[i].lerp(points[j], (next - sum) / long));
            next = step * out.len() as f64;
        }
        sum += long;
    }
    if !closed && let Some(&last) = points.last() {
        out.push(last);
    }
    out
}

/// Rounds of averaging with both neighbours; an open run's ends stay.
pub(super) fn smooth(points: &mut [DVec3], closed: bool, rounds: usize) {
    let count = points.len();
    if count < 3 {
        return;
    }
    for _ in 0..rounds {
        let old = points.to_vec();
        for i in 0..count {
            if !closed && (i == 0 || i + 1 == count) {
                continue;
            }
            let around = old[(i + count - 1) % count] + old[(i + 1) % count];
            points[i] = old[i] / 2.0 + around / 4.0;
        }
    }
}

/// Values averaged with a bell of this width (in samples); fewer samples count at the ends.
pub(super) fn blurred<T>(values: &[T], width: f64) -> Vec<T>
where
    T: Copy + std::ops::Mul<f64, Output = T> + std::ops::Add<Output = T>,
{
    let reach = (3.0 * width).ceil() as usize;
    let weight = |d: usize| (-0.5 * (d as f64 / width.max(1e-9)).powi(2)).exp();
    (0..values.len())
        .map(|i| {
            // As far to both sides, so that the ends aren't drawn inwards.
            let reach = reach.min(i).min(values.len() - 1 - i);
            let mut sum = values[i];
            let mut total = 1.0;
            for d in 1..=reach {
                sum = sum + (values[i - d] + values[i + d]) * weight(d);
                total += 2.0 * weight(d);
            }
            sum * (1.0 / total)
        })
        .collect()
}
