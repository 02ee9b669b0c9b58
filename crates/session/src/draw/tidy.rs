//! Guides made simple, split, joined and named.

use mesh::{DVec3, runs};

/// As few of a curve's points as keep within `tolerance` of it: Ramer 1972; Douglas & Peucker 1973. At
/// least three of a closed curve, two of an open one.
pub fn simplified(points: &[DVec3], closed: bool, tolerance: f64) -> Vec<DVec3> {
    let count = points.len();
    if count < 4 || !closed && count < 3 {
        return points.to_vec();
    }
    if !closed {
        return thinned(points, tolerance);
    }
    // A closed curve is cut at its first point and at the one farthest from it.
    let far = (0..count)
        .rev()
        .max_by(|&a, &b| {
            let distance = |i: usize| points[i].distance_squared(points[0]);
            distance(a).total_cmp(&distance(b))
        })
        .unwrap_or(count / 2);
    let back: Vec<DVec3> = points[far..].iter().chain(&points[..1]).copied().collect();
    let mut kept = thinned(&points[..=far], tolerance);
    kept.pop();
    kept.extend(thinned(&back, tolerance));
    kept.pop();
    if kept.len() < 3 {
        return runs::even(points, true, runs::length(points, true) / 3.0);
    }
    kept
}

fn thinned(points: &[DVec3], tolerance: f64) -> Vec<DVec3> {
    let mut keep = vec![false; points.len()];
    let last = points.len() - 1;
    (keep[0], keep[last]) = (true, true);
    let mut open = vec![(0, last)];
    while let Some((a, b)) = open.pop() {
        let farthest = (a + 1..b)
            .map(|i| (distance_to_piece(points[i], points[a], points[b]), i))
            .max_by(|x, y| x.0.total_cmp(&y.0).then(y.1.cmp(&x.1)));
        if let Some((distance, i)) = farthest
            && distance > tolerance
        {
            keep[i] = true;
            open.extend([(a, i), (i, b)]);
        }
    }
    let kept = points.iter().zip(keep);
    kept.filter(|(_, keep)| *keep).map(|(p, _)| *p).collect()
}

/// Distance of a point to a straight piece.
pub(super) fn distance_to_piece(p: DVec3, a: DVec3, b: DVec3) -> f64 {
    p.distance(runs::nearest_on_piece(p, a, b))
}

/// An open curve cut at a place of a piece: both parts share the place. `None` at an end.
pub fn split_open(points: &[DVec3], piece: usize, at: DVec3) -> Option<[Vec<DVec3>; 2]> {
    let (before, after) = points.split_at_checked(piece + 1)?;
    let mut first = before.to_vec();
    if first.last() != Some(&at) {
        first.push(at);
    }
    let mut second = after.to_vec();
    if second.first() != Some(&at) {
        second.insert(0, at);
    }
    (first.len() >= 2 && second.len() >= 2).then_some([first, second])
}

/// A closed curve cut open at a place of a piece: it begins and ends there.
pub fn split_closed(points: &[DVec3], piece: usize, at: DVec3) -> Vec<DVec3> {
    let next = (piece + 1) % points.len().max(1);
    let mut open = vec![at];
    open.extend(
        points[next..]
            .iter()
            .chain(&points[..next])
            .filter(|p| **p != at),
    );
    open.push(at);
    open
}

/// Two open curves joined where their ends are nearest, within `reach`; `None` if no ends are.
pub fn joined(a: &[DVec3], b: &[DVec3], reach: f64) -> Option<Vec<DVec3>> {
    let turned = |points: &[DVec3], turn: bool| -> Vec<DVec3> {
        let mut points = points.to_vec();
        if turn {
            points.reverse();
        }
        points
    };
    let ways = [(false, false), (false, true), (true, false), (true, true)];
    let best = ways
        .into_iter()
        .map(|(ta, tb)| (turned(a, ta), turned(b, tb)))
        .filter_map(|(a, b)| Some((a.last()?.distance(*b.first()?), a, b)))
        .min_by(|x, y| x.0.total_cmp(&y.0))?;
    let (gap, mut first, second) = best;
    if gap > reach {
        return None;
    }
    let skip = usize::from(gap == 0.0);
    first.extend(second.into_iter().skip(skip));
    Some(first)
}

/// `base` with the first number that makes it a name not yet taken: "ring 3".
pub fn free_name<'a>(base: &str, taken: impl Iterator<Item = &'a str> + Clone) -> String {
    let numbered = |n: u32| format!("{base} {n}");
    (1..u32::MAX)
        .map(numbered)
        .find(|name| taken.clone().all(|other| other != name))
        .unwrap_or_else(|| base.to_owned())
}
