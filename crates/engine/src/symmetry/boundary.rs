//! The boundary of a large triangle mesh, without building its topology.

use mesh::TriMesh;

/// Directed boundary edges, with the surface on their left, sorted by start.
///
/// At an inner vertex of an oriented manifold each neighbour follows once and precedes
/// once around the fan, so the sum of a scrambled index over followers minus predecessors
/// is zero; a boundary vertex keeps its first and last neighbour. Only edges between
/// two boundary vertices need to be looked at: linear, and fast enough for every run.
pub(crate) fn boundary_edges(mesh: &TriMesh) -> Vec<[u32; 2]> {
    let mut sums = vec![0u64; mesh.positions.len()];
    for &[a, b, c] in &mesh.triangles {
        for (v, next, prev) in [(a, b, c), (b, c, a), (c, a, b)] {
            sums[v as usize] = sums[v as usize]
                .wrapping_add(scrambled(next))
                .wrapping_sub(scrambled(prev));
        }
    }
    let on_boundary = |v: u32| sums[v as usize] != 0;
    let mut edges: Vec<(u32, u32, bool)> = Vec::new();
    for &[a, b, c] in &mesh.triangles {
        for (from, to) in [(a, b), (b, c), (c, a)] {
            if on_boundary(from) && on_boundary(to) {
                edges.push((from.min(to), from.max(to), from > to));
            }
        }
    }
    edges.sort_unstable();
    let mut found: Vec<[u32; 2]> = edges
        .chunk_by(|x, y| (x.0, x.1) == (y.0, y.1))
        .filter(|run| run.len() == 1)
        .map(|run| {
            if run[0].2 {
                [run[0].1, run[0].0]
            } else {
                [run[0].0, run[0].1]
            }
        })
        .collect();
    found.sort_unstable();
    found
}

/// Vertices of each boundary loop, with the surface on the left, each loop from its
/// lowest vertex on. A vertex where boundaries touch is passed by several loops.
pub(crate) fn boundary_loops(mesh: &TriMesh) -> Vec<Vec<u32>> {
    let edges = boundary_edges(mesh);
    let mut used = vec![false; edges.len()];
    let mut loops = Vec::new();
    for start in 0..edges.len() {
        if used[start] {
            continue;
        }
        let mut one = Vec::new();
        let mut at = Some(start);
        while let Some(e) = at {
            used[e] = true;
            one.push(edges[e][0]);
            let end = edges[e][1];
            let first = edges.partition_point(|edge| edge[0] < end);
            at = (first..edges.len())
                .take_while(|&i| edges[i][0] == end)
                .find(|&i| !used[i]);
            if end == edges[start][0] {
                break;
            }
        }
        if one.len() >= 3 {
            loops.push(one);
        }
    }
    loops
}

/// A bijective scramble (the finaliser of the SplitMix64 generator; Steele, Lea & Flood
/// 2014), so that sums of different neighbours don't cancel.
fn scrambled(v: u32) -> u64 {
    let mut x = u64::from(v).wrapping_add(0x9E37_79B9_7F4A_7C15);
    x = (x ^ (x >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
    x = (x ^ (x >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
    x ^ (x >> 31)
}
