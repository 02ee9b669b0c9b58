//! Brings a wall closer to parallel where quads are bent.
//!
//! Where more than three planes meet, a vertex of the parallel wall has no exact place
//! (`parallel.rs`), and of bent quads the middle is no more off than the corners are. So places of
//! both walls are measured to the other one, and the inner wall's vertices moved by what makes all of
//! these as thick as asked in the sense of least squares (Gauss-Newton, damped: Levenberg 1944).

use engine::check;
use mesh::{DVec3, QuadMesh};
use numeric::Spd;

use super::findings::{index, opposite, place_of, samples};

/// Walls that are as thick as asked on this share of them needn't be touched.
pub(crate) const FINE: f64 = 0.995;
/// Rounds of measuring and moving.
const ROUNDS: usize = 4;
/// Damping beside some eight places a vertex.
const DAMPING: f64 = 0.3;
/// Nothing moves further in a round than this share of the thickness.
const STEP: f64 = 0.3;

/// Times that vertices of quads which would cut something go back to where they were.
const RETREATS: usize = 4;

/// Positions with the free vertices of the inner wall moved so that both walls are `asked` apart;
/// where that would make new cuts, they stay.
pub(crate) fn fitted(
    mesh: &QuadMesh,
    (outer, inner): (&[u32], &[u32]),
    asked: f64,
    free: &[bool],
) -> Vec<DVec3> {
    let mut moved = mesh.clone();
    let mut number = vec![None; mesh.positions.len()];
    let mut count = 0;
    for &v in inner.iter().flat_map(|&q| &mesh.quads[q as usize]) {
        if free[v as usize] && number[v as usize].is_none() {
            number[v as usize] = Some(count);
            count += 1;
        }
    }
    let index_outer = index(mesh, outer);
    for _ in 0..ROUNDS {
        let index_inner = index(&moved, inner);
        let mut lower: Vec<(usize, usize, f64)> = Vec::new();
        let mut right = vec![0.0; 3 * count];
        let mut add = |quad: u32, weights: [f64; 4], way: DVec3| {
            let distance = way.length();
            let Some(along) = way.try_normalize() else {
                return;
            };
            let corners = mesh.quads[quad as usize].map(|v| number[v as usize]);
            for (a, x) in corners.iter().zip(weights) {
                let Some(a) = *a else { continue };
                for i in 0..3 {
                    right[3 * a + i] += x * along[i] * (asked - distance);
                    for (b, y) in corners.iter().zip(weights) {
                        let Some(b) = *b else { continue };
                        for j in 0..3 {
                            if 3 * a + i >= 3 * b + j {
                                let value = x * y * along[i] * along[j];
                                lower.push((3 * a + i, 3 * b + j, value));
                            }
                        }
                    }
                }
            }
        };
        for &q in inner {
            for sample in samples(&moved, q) {
                if let Some(hit) = opposite(&sample, &index_outer) {
                    add(q, sample.weights, sample.at - hit.point);
                }
            }
        }
        for &q in outer {
            for sample in samples(&moved, q) {
                if let Some(hit) = opposite(&sample, &index_inner) {
                    let (at, weights) = place_of(&hit);
                    add(inner[at], weights, hit.point - sample.at);
                }
            }
        }
        lower.extend((0..3 * count).map(|i| (i, i, DAMPING)));
        let Ok(system) = Spd::factor(3 * count, &lower) else {
            break;
        };
        let ways = system.solve(&right);
        for (position, number) in moved.positions.iter_mut().zip(&number) {
            if let Some(at) = number {
                let way = DVec3::from_slice(&ways[3 * at..3 * at + 3]);
                *position += way.clamp_length_max(STEP * asked);
            }
        }
    }
    retreat(mesh, &mut moved, inner, free);
    moved.positions
}

/// Puts vertices back at quads that pass through others and didn't before, each time with a ring of
/// quads more.
fn retreat(before: &QuadMesh, moved: &mut QuadMesh, inner: &[u32], free: &[bool]) {
    // What can't be looked at is told by those who look at the whole.
    let Ok(old) = check::crossings(before) else {
        return;
    };
    let mut back = vec![false; free.len()];
    for _ in 0..RETREATS {
        let new = check::crossings(moved).unwrap_or_default();
        let new = new.into_iter().filter(|pair| !old.contains(pair));
        let touched: Vec<u32> = new.flatten().collect();
        if touched.is_empty() {
            break;
        }
        for q in touched {
            for v in moved.quads[q as usize] {
                back[v as usize] = true;
            }
        }
        let ring = inner.iter().map(|&q| moved.quads[q as usize]);
        let ring: Vec<u32> = ring
            .filter(|quad| quad.iter().any(|&v| back[v as usize]))
            .flatten()
            .collect();
        ring.iter().for_each(|&v| back[v as usize] = true);
        for v in (0..free.len()).filter(|&v| back[v] && free[v]) {
            moved.positions[v] = before.positions[v];
        }
    }
}
