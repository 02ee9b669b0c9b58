//! Making a path's edges pieces of their curve.

use super::path::Course;
use crate::work::dense::Dense;

/// Gives each vertex of the course an arc length and makes the course's edges part of the
/// rail.
pub(super) fn place(work: &mut Dense<'_>, rail: u32, course: &Course) {
    let closed = work.rails[rail as usize].closed;
    let params = params(work, rail, course);
    let count = course.vertices.len();
    for i in 0..course.edges(closed) {
        let (a, b) = (course.vertices[i], course.vertices[(i + 1) % count]);
        let to = params
            .get(i + 1)
            .copied()
            .unwrap_or(params[0] + work.rails[rail as usize].length());
        if let Some(h) = work.mesh.edge_between(a, b) {
            work.mesh.tag_edge(h, rail, [a, b], [params[i], to]);
        }
    }
}

/// Rising arc lengths near those of the closest points.
fn params(work: &Dense<'_>, rail: u32, course: &Course) -> Vec<f64> {
    let curve = &work.rails[rail as usize];
    let count = course.vertices.len();
    let mut params = vec![0.0; count];
    let pins: Vec<usize> = (0..count).filter(|&i| course.pinned[i].is_some()).collect();
    let pin = |i: usize| course.pinned[i].unwrap_or(0.0);
    for (k, &first) in pins.iter().enumerate() {
        let (last, to) = match pins.get(k + 1) {
            Some(&next) => (next, pin(next)),
            None => (count, pin(pins[0]) + curve.length()),
        };
        let from = pin(first);
        params[first] = from;
        if last == first + 1 || (last == count && !curve.closed) {
            continue;
        }
        let inner = &course.vertices[first + 1..last];
        let wanted: Vec<f64> = inner
            .iter()
            .map(|&v| {
                curve
                    .nearest_between(work.mesh.pos[v as usize], from, to)
                    .param
            })
            .collect();
        params[first + 1..last].copy_from_slice(&rising(&wanted, from, to));
    }
    params
}

/// The rising sequence nearest to `wanted` with gaps of at least a share of the mean one
/// (pool adjacent violators; Ayer et al. 1955, with the gaps taken out first).
fn rising(wanted: &[f64], from: f64, to: f64) -> Vec<f64> {
    let gap = 0.4 * (to - from) / (wanted.len() + 1) as f64;
    let mut pools: Vec<(f64, usize)> = Vec::with_capacity(wanted.len());
    for (k, &w) in wanted.iter().enumerate() {
        pools.push((w - gap * (k + 1) as f64, 1));
        while let [.., (a, n), (b, m)] = pools[..]
            && a > b
        {
            pools.truncate(pools.len() - 2);
            pools.push(((a * n as f64 + b * m as f64) / (n + m) as f64, n + m));
        }
    }
    let highest = to - gap * (wanted.len() + 1) as f64;
    pools
        .iter()
        .flat_map(|&(mean, n)| std::iter::repeat_n(mean.clamp(from, highest), n))
        .enumerate()
        .map(|(k, x)| x + gap * (k + 1) as f64)
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn arc_lengths_rise_and_stay_between() {
        let found = rising(&[0.5, 0.2, 0.9, 0.9, 3.0], 0.0, 1.0);
        let gap = 0.4 / 6.0;
        let mut last = 0.0;
        for x in found.iter().chain([&1.0]) {
            assert!(x - last > 0.99 * gap, "{found:?}");
            last = *x;
        }
    }

    #[test]
    fn rising_values_with_room_are_kept() {
        let wanted = [0.2, 0.45, 0.8];
        assert!(
            rising(&wanted, 0.0, 1.0)
                .iter()
                .zip(wanted)
                .all(|(a, b)| (a - b).abs() < 1e-12)
        );
    }
}
