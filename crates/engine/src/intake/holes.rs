//! Boundary loops; the small ones are filled.

use mesh::DVec3;

use super::IntakeOptions;
use super::shell::{NONE, Shell, next, previous};

/// A hole with more edges than this isn't small.
pub(super) const MOST_EDGES: usize = 64;
/// A hole longer around than this share of the sculpt's diagonal isn't small...
pub(super) const LONGEST_AROUND: f64 = 0.02;
/// ...unless it has so few edges that it is a few missing triangles,
pub(super) const FEW_EDGES: usize = 24;
/// and is no longer around than this share (common practice, no source).
pub(super) const FEW_AROUND: f64 = 0.06;

/// What was found along the boundary.
#[derive(Default)]
pub(super) struct Holes {
    /// Small holes that were filled, with their number of edges.
    pub filled: Vec<(DVec3, usize)>,
    /// Small holes that were left: filling was not wanted or not possible.
    pub left: Vec<(DVec3, usize)>,
    /// Loops that are no small holes.
    pub openings: usize,
    /// Six times the volume that fans over the loops left open would add (about the origin).
    pub cap_volume: f64,
}

/// Finds the boundary loops and, if wanted, fills the small ones with triangles of the
/// least total area (dynamic programming over the loop: Barequet & Sharir 1995).
///
/// A loop that one of the points in `keep_open` lies at is no hole, however small.
pub(super) fn close_small(shell: &mut Shell, diagonal: f64, options: &IntakeOptions) -> Holes {
    let fill = options.fill_holes;
    let mut holes = Holes::default();
    for around in loops(shell) {
        let points: Vec<DVec3> = around.iter().map(|&h| shell.point(shell.from(h))).collect();
        let count = points.len();
        let centre = points.iter().sum::<DVec3>() / count as f64;
        let length: f64 = (0..count)
            .map(|i| points[i].distance(points[(i + 1) % count]))
            .sum();
        let short = count <= MOST_EDGES && length < LONGEST_AROUND * diagonal;
        let few = count <= FEW_EDGES && length < FEW_AROUND * diagonal;
        let small = (short || few) && !is_named(&points, length, &options.keep_open);
        if small && fill && fill_one(shell, &around, &points) {
            holes.filled.push((centre, count));
            continue;
        }
        if small {
            holes.left.push((centre, count));
        } else {
            holes.openings += 1;
        }
        for i in 0..count {
            // The cap's triangles run against the boundary.
            holes.cap_volume += points[(i + 1) % count].dot(points[i].cross(centre));
        }
    }
    holes
}

/// Whether a point that was to stay open lies at a loop: nearer than about half its radius.
fn is_named(around: &[DVec3], length: f64, keep_open: &[DVec3]) -> bool {
    let reach = length / (4.0 * std::f64::consts::PI);
    keep_open
        .iter()
        .any(|k| around.iter().any(|p| p.distance(*k) <= reach))
}

/// Boundary half-edges of each loop, in their own direction, the surface on the left.
fn loops(shell: &Shell) -> Vec<Vec<u32>> {
    let mut seen = vec![false; shell.twin.len()];
    let mut loops = Vec::new();
    for t in shell.living() {
        for start in 3 * t as u32..3 * t as u32 + 3 {
            if shell.twin[start as usize] != NONE || seen[start as usize] {
                continue;
            }
            let mut around = Vec::new();
            let mut at = start;
            while !seen[at as usize] {
                seen[at as usize] = true;
                around.push(at);
                at = next(at);
                while shell.twin[at as usize] != NONE {
                    at = next(shell.twin[at as usize]);
                }
            }
            loops.push(around);
        }
    }
    loops
}

fn fill_one(shell: &mut Shell, around: &[u32], points: &[DVec3]) -> bool {
    let vertices: Vec<u32> = around.iter().map(|&h| shell.from(h)).collect();
    let taken: Vec<Vec<u32>> = around.iter().map(|&h| neighbours(shell, h)).collect();
    let Some(triangles) = least_area(points, |i, j| taken[i].contains(&vertices[j])) else {
        return false;
    };
    for [i, j, k] in triangles {
        // Against the boundary's direction, so that the winding agrees.
        shell
            .triangles
            .push([vertices[k], vertices[j], vertices[i]]);
        shell.dead.push(false);
        // Nothing after this stage asks for twins across a filling.
        shell.twin.extend([NONE; 3]);
    }
    true
}

/// Vertices that share an edge with the start of a boundary half-edge.
fn neighbours(shell: &Shell, boundary: u32) -> Vec<u32> {
    let mut found = Vec::new();
    let mut at = boundary;
    loop {
        found.extend([shell.to(at), shell.apex(at)]);
        at = shell.twin[previous(at) as usize];
        if at == NONE || at == boundary {
            return found;
        }
    }
}

/// Triangles over a closed polygon with the least sum of areas, as rising index triples;
/// `None` if every choice needs a diagonal that is taken.
fn least_area(
    points: &[DVec3],
    is_taken: impl Fn(usize, usize) -> bool,
) -> Option<Vec<[usize; 3]>> {
    let n = points.len();
    let at = |i: usize, j: usize| i * n + j;
    let mut cost = vec![0.0f64; n * n];
    let mut via = vec![0usize; n * n];
    for span in 2..n {
        for i in 0..n - span {
            let j = i + span;
            let is_side = span == n - 1;
            let mut best = (f64::INFINITY, 0);
            if is_side || !is_taken(i, j) {
                for k in i + 1..j {
                    let area = (points[k] - points[i])
                        .cross(points[j] - points[i])
                        .length();
                    let sum = cost[at(i, k)] + cost[at(k, j)] + area;
                    if sum < best.0 {
                        best = (sum, k);
                    }
                }
            }
            (cost[at(i, j)], via[at(i, j)]) = best;
        }
    }
    if n < 3 || !cost[at(0, n - 1)].is_finite() {
        return None;
    }
    let mut triangles = Vec::with_capacity(n - 2);
    let mut stack = vec![(0, n - 1)];
    while let Some((i, j)) = stack.pop() {
        if j - i < 2 {
            continue;
        }
        let k = via[at(i, j)];
        triangles.push([i, k, j]);
        stack.push((i, k));
        stack.push((k, j));
    }
    Some(triangles)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_regular_polygon_is_filled_with_its_own_area() {
        // Area of a regular n-gon in the unit circle: n/2 · sin(2π/n) (handbook mensuration).
        for n in [3usize, 5, 12, 64] {
            let points: Vec<DVec3> = (0..n)
                .map(|i| std::f64::consts::TAU * i as f64 / n as f64)
                .map(|a| DVec3::new(a.cos(), a.sin(), 0.0))
                .collect();
            let triangles = least_area(&points, |_, _| false).unwrap();
            assert_eq!(triangles.len(), n - 2);
            let area: f64 = triangles
                .iter()
                .map(|&[i, j, k]| (points[j] - points[i]).cross(points[k] - points[i]).z / 2.0)
                .sum();
            let exact = n as f64 / 2.0 * (std::f64::consts::TAU / n as f64).sin();
            assert!((area - exact).abs() < 1e-12, "{n}: {area} {exact}");
        }
    }

    #[test]
    fn taken_diagonals_are_avoided_or_refused() {
        let square = [DVec3::ZERO, DVec3::X, DVec3::new(1.0, 1.0, 0.0), DVec3::Y];
        let other = least_area(&square, |i, j| (i, j) == (0, 2)).unwrap();
        assert_eq!(other.len(), 2);
        assert!(other.iter().all(|t| t.contains(&1) && t.contains(&3)));
        assert_eq!(least_area(&square, |_, _| true), None);
        assert_eq!(least_area(&square[..2], |_, _| false), None);
    }
}
