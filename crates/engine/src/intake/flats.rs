//! Flat triangles: three corners in line, so that there is an area of nothing.
//!
//! Simply deleting one would leave a slit. Its longest side is flipped instead, which
//! splits the neighbour there at the middle corner.

use mesh::DVec3;

use super::shell::{NONE, Shell, next, previous};

/// Steps of f32 at the largest coordinate by which three points may be out of line.
const STEPS: f64 = 2.0;
/// Flat triangles beside flat triangles need another round.
const ROUNDS: usize = 4;

/// Takes flat triangles away; returns how many were and where the first few lay.
pub(super) fn remove(shell: &mut Shell) -> (usize, Vec<DVec3>) {
    let largest = shell
        .positions
        .iter()
        .fold(0.0f32, |m, p| m.max(p.abs().max_element()));
    let height = STEPS * f64::from(f32::EPSILON) * f64::from(largest);
    let mut flat: Vec<usize> = shell
        .living()
        .filter(|&t| is_flat(shell.corners(t), height))
        .collect();
    let mut places = Vec::new();
    let before = flat.len();
    for _ in 0..ROUNDS {
        if flat.is_empty() {
            break;
        }
        let mut left = Vec::new();
        for &t in &flat {
            let at = shell.centre(t);
            if remove_one(shell, t, height) {
                places.push(at);
            } else {
                left.push(t);
            }
        }
        if left.len() == flat.len() {
            break;
        }
        flat = left;
    }
    let removed = before.saturating_sub(flat.len());
    places.truncate(5);
    (removed, places)
}

fn longest_side(p: [DVec3; 3]) -> (usize, f64) {
    let length = |i: usize| p[i].distance(p[(i + 1) % 3]);
    let mut best = (0, length(0));
    for i in 1..3 {
        if length(i) > best.1 {
            best = (i, length(i));
        }
    }
    best
}

fn is_flat(p: [DVec3; 3], height: f64) -> bool {
    let twice_area = (p[1] - p[0]).cross(p[2] - p[0]).length();
    twice_area <= height * longest_side(p).1
}

fn remove_one(shell: &mut Shell, t: usize, height: f64) -> bool {
    let (side, _) = longest_side(shell.corners(t));
    let h = (3 * t + side) as u32;
    let g = shell.twin[h as usize];
    if g == NONE {
        shell.kill(t);
        return true;
    }
    let (a, b, m, d) = (shell.from(h), shell.to(h), shell.apex(h), shell.apex(g));
    let [pa, pb, pm, pd] = [a, b, m, d].map(|v| shell.point(v));
    if d == m
        || is_flat([pm, pa, pd], height)
        || is_flat([pd, pb, pm], height)
        || are_joined(shell, previous(h), d)
    {
        return false;
    }
    let (bm, ma, ad, db) = (next(h), previous(h), next(g), previous(g));
    let [bm, ma, ad, db] = [bm, ma, ad, db].map(|x| shell.twin[x as usize]);
    let n = g as usize / 3;
    shell.triangles[t] = [m, a, d];
    shell.triangles[n] = [d, b, m];
    let (t, n) = (3 * t as u32, 3 * n as u32);
    for (half, across) in [(t, ma), (t + 1, ad), (n, db), (n + 1, bm)] {
        shell.twin[half as usize] = NONE;
        shell.tie(half, across);
    }
    shell.tie(t + 2, n + 2);
    true
}

/// Whether an edge already joins the start of a half-edge with a vertex.
fn are_joined(shell: &Shell, half: u32, vertex: u32) -> bool {
    let mut at = half;
    loop {
        if shell.to(at) == vertex || shell.apex(at) == vertex {
            return true;
        }
        at = shell.twin[previous(at) as usize];
        if at == half {
            return false;
        }
        if at == NONE {
            break;
        }
    }
    at = half;
    loop {
        let across = shell.twin[at as usize];
        if across == NONE {
            return false;
        }
        at = next(across);
        if shell.to(at) == vertex || shell.apex(at) == vertex {
            return true;
        }
    }
}
