//! How much of one quad mesh another one keeps.

use crate::{DVec3, QuadMesh};

/// For each quad of `old`, whether `new` has it: whether the vertices of `new` nearest to its
/// corners, each within `reach` (model units), are the corners of one quad of `new` in the same
/// order round. The share of such quads says how much of the topology stayed where it was.
///
/// Cost: vertices × vertices.
pub fn kept_quads(old: &QuadMesh, new: &QuadMesh, reach: f64) -> Vec<bool> {
    let mut sorted: Vec<[u32; 4]> = new.quads.iter().map(|&q| from_lowest(q)).collect();
    sorted.sort_unstable();
    let image: Vec<Option<u32>> = old
        .positions
        .iter()
        .map(|&p| nearest(&new.positions, p, reach))
        .collect();
    old.quads
        .iter()
        .map(|quad| {
            let [Some(a), Some(b), Some(c), Some(d)] = quad.map(|v| image[v as usize]) else {
                return false;
            };
            sorted.binary_search(&from_lowest([a, b, c, d])).is_ok()
        })
        .collect()
}

fn nearest(positions: &[DVec3], p: DVec3, reach: f64) -> Option<u32> {
    let squared = |&i: &u32| positions[i as usize].distance_squared(p);
    let best = (0..positions.len() as u32).min_by(|i, j| squared(i).total_cmp(&squared(j)))?;
    (squared(&best) <= reach * reach).then_some(best)
}

/// The same quad from its lowest vertex on.
fn from_lowest(quad: [u32; 4]) -> [u32; 4] {
    let least = (0..4).fold(0, |l, i| if quad[i] < quad[l] { i } else { l });
    std::array::from_fn(|i| quad[(least + i) % 4])
}

#[cfg(test)]
mod tests {
    use super::*;

    fn grid(columns: u32, rows: u32, step: f64) -> QuadMesh {
        let at = |i: u32, j: u32| j * (columns + 1) + i;
        QuadMesh {
            positions: (0..=rows)
                .flat_map(|j| (0..=columns).map(move |i| (i, j)))
                .map(|(i, j)| DVec3::new(step * f64::from(i), f64::from(j), 0.0))
                .collect(),
            quads: (0..rows)
                .flat_map(|j| (0..columns).map(move |i| (i, j)))
                .map(|(i, j)| [at(i, j), at(i + 1, j), at(i + 1, j + 1), at(i, j + 1)])
                .collect(),
            groups: vec![],
        }
    }

    #[test]
    fn a_mesh_keeps_all_of_itself_however_it_is_numbered() {
        let one = grid(5, 4, 1.0);
        let mut other = one.clone();
        let n = one.positions.len() as u32;
        other.positions.reverse();
        for quad in &mut other.quads {
            *quad = quad.map(|v| n - 1 - v);
            quad.rotate_left(1);
        }
        other.quads.reverse();
        assert!(kept_quads(&one, &other, 0.4).iter().all(|&kept| kept));
    }

    #[test]
    fn what_is_cut_otherwise_or_gone_isnt_kept() {
        let one = grid(6, 2, 1.0);
        // The first three columns stay, the last are stretched beyond reach.
        let mut other = one.clone();
        for p in other.positions.iter_mut().filter(|p| p.x > 3.5) {
            p.x += 0.5;
        }
        let kept = kept_quads(&one, &other, 0.4);
        assert_eq!(kept.iter().filter(|&&k| k).count(), 6);
        assert!(kept_quads(&one, &grid(3, 2, 2.0), 0.4).iter().all(|&k| !k));
        // Turned over: the same places in the other order.
        let mut flipped = one.clone();
        flipped.quads.iter_mut().for_each(|quad| quad.reverse());
        assert!(kept_quads(&one, &flipped, 0.4).iter().all(|&k| !k));
    }
}
