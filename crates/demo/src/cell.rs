//! One cell of the grid: which of its edges the surface crosses, and how the crossings join.

use mesh::DVec3;

/// Corners of the six faces in cyclic order; a corner's bits are its x, y, z.
pub(crate) const FACES: [[usize; 4]; 6] = [
    [0, 2, 6, 4],
    [1, 3, 7, 5],
    [0, 1, 5, 4],
    [2, 3, 7, 6],
    [0, 1, 3, 2],
    [4, 5, 7, 6],
];
/// Corners of the twelve edges: four along x, four along y, four along z.
pub(crate) const EDGES: [[usize; 2]; 12] = [
    [0, 1],
    [2, 3],
    [4, 5],
    [6, 7],
    [0, 2],
    [1, 3],
    [4, 6],
    [5, 7],
    [0, 4],
    [1, 5],
    [2, 6],
    [3, 7],
];
/// Patch number of an edge that the surface doesn't cross.
pub(crate) const UNCROSSED: u8 = u8::MAX;

pub(crate) fn corner_offset(b: usize) -> DVec3 {
    DVec3::new((b & 1) as f64, (b >> 1 & 1) as f64, (b >> 2) as f64)
}

pub(crate) fn is_ambiguous(pattern: u8, face: usize) -> bool {
    let inside = FACES[face].map(|c| pattern >> c & 1 == 1);
    inside[0] == inside[2] && inside[1] == inside[3] && inside[0] != inside[1]
}

/// Asymptotic decider for all ambiguous faces; `None` if there are none.
pub(crate) fn decide_faces(corners: &[f64; 8]) -> Option<u8> {
    let pattern = (0..8)
        .filter(|&b| corners[b] < 0.0)
        .fold(0u8, |p, b| p | 1 << b);
    let mut joined = 0;
    let mut any = false;
    for (f, face) in FACES.iter().enumerate() {
        if is_ambiguous(pattern, f) {
            any = true;
            let [a, b, c, d] = face.map(|i| corners[i]);
            let (inside, outside) = if a < 0.0 {
                (a * c, b * d)
            } else {
                (b * d, a * c)
            };
            if inside > outside {
                joined |= 1 << f;
            }
        }
    }
    any.then_some(joined)
}

/// The patch of each of a cell's edges, patches numbered by their first edge.
pub(crate) fn patches(pattern: u8, joined: u8) -> [u8; 12] {
    let crossed = |e: usize| (pattern >> EDGES[e][0] ^ pattern >> EDGES[e][1]) & 1 == 1;
    let edge_of = |a: usize, b: usize| {
        EDGES
            .iter()
            .position(|e| *e == [a.min(b), a.max(b)])
            .unwrap_or(0)
    };
    let mut root: [usize; 12] = std::array::from_fn(|e| e);
    let mut unite = |a: usize, b: usize| {
        let (low, high) = (root[a].min(root[b]), root[a].max(root[b]));
        root.iter_mut()
            .filter(|r| **r == high)
            .for_each(|r| *r = low);
    };
    for (f, face) in FACES.iter().enumerate() {
        let sides: [usize; 4] = std::array::from_fn(|i| edge_of(face[i], face[(i + 1) % 4]));
        if is_ambiguous(pattern, f) {
            // Segments cut off the outside corners if the inside ones are joined, and vice versa.
            let cut_inside = joined >> f & 1 == 0;
            let first_inside = pattern >> face[0] & 1 == 1;
            if cut_inside == first_inside {
                unite(sides[3], sides[0]);
                unite(sides[1], sides[2]);
            } else {
                unite(sides[0], sides[1]);
                unite(sides[2], sides[3]);
            }
        } else {
            let mut hit = sides.into_iter().filter(|&s| crossed(s));
            if let (Some(a), Some(b)) = (hit.next(), hit.next()) {
                unite(a, b);
            }
        }
    }
    let mut out = [UNCROSSED; 12];
    let mut roots: Vec<usize> = Vec::new();
    for e in (0..12).filter(|&e| crossed(e)) {
        let number = roots.iter().position(|r| *r == root[e]).unwrap_or_else(|| {
            roots.push(root[e]);
            roots.len() - 1
        });
        out[e] = number as u8;
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_patch_is_a_ring_of_three_edges_or_more() {
        for pattern in 1..255u8 {
            for joined in 0..64u8 {
                let patch = patches(pattern, joined);
                let crossed = patch.iter().filter(|p| **p != UNCROSSED).count();
                let rings = patch
                    .iter()
                    .filter(|p| **p != UNCROSSED)
                    .max()
                    .map_or(0, |p| *p + 1);
                assert!((1..=4).contains(&rings));
                for ring in 0..rings {
                    assert!(
                        patch.iter().filter(|p| **p == ring).count() >= 3,
                        "{pattern} {joined}"
                    );
                }
                assert!(crossed >= 3);
            }
        }
    }
}
