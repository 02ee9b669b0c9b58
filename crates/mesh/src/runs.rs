//! Runs of points: length, even spacing, smoothing. Points in model units; a closed run doesn't
//! repeat its first point.

use crate::DVec3;

/// Pieces between points, as index pairs.
pub fn pieces(count: usize, closed: bool) -> impl Iterator<Item = (usize, usize)> {
    let last = if closed {
        count
    } else {
        count.saturating_sub(1)
    };
    (0..last).map(move |i| (i, (i + 1) % count))
}

/// The point of the straight piece from `a` to `b` that is nearest to a point.
pub fn nearest_on_piece(p: DVec3, a: DVec3, b: DVec3) -> DVec3 {
    let ab = b - a;
    let share = ((p - a).dot(ab) / ab.length_squared().max(f64::MIN_POSITIVE)).clamp(0.0, 1.0);
    a + ab * share
}

/// Length, model units.
pub fn length(points: &[DVec3], closed: bool) -> f64 {
    pieces(points.len(), closed)
        .map(|(i, j)| points[i].distance(points[j]))
        .sum()
}

/// Mean of a run's points, weighted by length.
pub fn centroid(points: &[DVec3], closed: bool) -> DVec3 {
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

/// A place on a run: `share` of the way from one of its points to the next.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct OnRun {
    /// Indices of the points at both ends of the piece.
    pub between: [usize; 2],
    /// 0 at the first, 1 at the second.
    pub share: f64,
}

impl OnRun {
    /// What lies there of something that each point of the run has.
    pub fn of(&self, at_points: &[DVec3]) -> DVec3 {
        let [a, b] = self.between;
        at_points[a].lerp(at_points[b], self.share)
    }
}

/// Places on a run that are `spacing` apart or a little less; those of an open one end with its last
/// point.
pub fn even_places(points: &[DVec3], closed: bool, spacing: f64) -> Vec<OnRun> {
    let total = length(points, closed);
    let least = if closed { 3.0 } else { 1.0 };
    let count = (total / spacing).ceil().clamp(least, 1e6) as usize;
    let step = total / count as f64;
    let mut out = Vec::with_capacity(count + 1);
    let (mut next, mut sum) = (0.0, 0.0);
    for (i, j) in pieces(points.len(), closed) {
        let long = points[i].distance(points[j]);
        while out.len() < count && next <= sum + long && long > 0.0 {
            out.push(OnRun {
                between: [i, j],
                share: (next - sum) / long,
            });
            next = step * out.len() as f64;
        }
        sum += long;
    }
    if !closed && let Some(last) = points.len().checked_sub(1) {
        out.push(OnRun {
            between: [last; 2],
            share: 0.0,
        });
    }
    out
}

/// The same run with points `spacing` apart or a little less; ends stay.
pub fn even(points: &[DVec3], closed: bool, spacing: f64) -> Vec<DVec3> {
    let places = even_places(points, closed, spacing);
    places.iter().map(|place| place.of(points)).collect()
}

/// Rounds of averaging with both neighbours; an open run's ends stay.
pub fn smooth(points: &mut [DVec3], closed: bool, rounds: usize) {
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
