//! Inner vertices of two edges.
//!
//! Poles of two patches may come to lie on the same vertex of the arc between them, each having its
//! spoke of no length there. That vertex has two edges then, and its two quads lie on one another:
//!
//! ```text
//! a ─────── b               a ─────── b
//! │ ╲       │               │         │
//! │   v     │       ─▶      │         │
//! │     ╲   │               │         │
//! c ─────── d               c ─────── d
//! ```
//!
//! Both quads are made one, and the ends of both edges have an edge less. A curve that goes over the vertex
//! by one of its edges would be cut, so one on a chain stays.

use std::collections::BTreeSet;

use mesh::QuadTopology;

use super::Filled;

/// Two quads that lie on one another.
struct Pair {
    /// Their common corner of two edges.
    vertex: u32,
    quads: [usize; 2],
    /// Each one's three other corners, from the vertex on.
    corners: [[u32; 3]; 2],
}

/// Makes one of both quads at each inner vertex of two edges, but at `kept` ones, and gives the topology after
/// that. An arc that ran over the vertex runs over one of the quad's other two corners instead.
pub(super) fn merge(filled: &mut Filled, kept: &BTreeSet<u32>) -> QuadTopology {
    loop {
        let topology = filled.mesh.topology();
        let Some(pair) = candidate(filled, &topology, kept) else {
            return topology;
        };
        let ([one, two], [first, second]) = (pair.quads, pair.corners);
        let replaced = first[1].min(second[1]);
        filled.mesh.quads[one] = [first[0], first[1], first[2], second[1]];
        filled.mesh.quads.remove(two);
        filled.patch_of_quad.remove(two);
        let on_arcs = filled.arcs.iter_mut().flatten();
        for vertex in on_arcs.filter(|u| **u == pair.vertex) {
            *vertex = replaced;
        }
        remove(filled, pair.vertex);
    }
}

/// The pair at the lowest vertex that can go: without it, both neighbours keep the edges that a vertex needs.
fn candidate(filled: &Filled, topology: &QuadTopology, kept: &BTreeSet<u32>) -> Option<Pair> {
    let is_inner = |v: u32| !topology.on_boundary[v as usize];
    let edges = |v: u32| topology.valence[v as usize];
    let spare = |v: u32| edges(v) > if is_inner(v) { 3 } else { 2 };
    let vertices = 0..filled.mesh.positions.len() as u32;
    let mut two = vertices.filter(|&v| is_inner(v) && edges(v) == 2 && !kept.contains(&v));
    two.find_map(|vertex| {
        let beside = filled.mesh.quads.iter().enumerate();
        let mut beside = beside.filter(|(_, quad)| quad.contains(&vertex));
        let quads = [beside.next()?.0, beside.next()?.0];
        let corners = quads.map(|q| after(filled, q, vertex));
        let [first, second] = corners;
        let goes = first[1] != second[1] && spare(first[0]) && spare(first[2]);
        goes.then_some(Pair {
            vertex,
            quads,
            corners,
        })
    })
}

/// A quad's three other corners in its order.
fn after(filled: &Filled, quad: usize, v: u32) -> [u32; 3] {
    let quad = filled.mesh.quads[quad];
    let k = quad.iter().position(|&u| u == v).unwrap_or(0);
    [1, 2, 3].map(|i| quad[(k + i) % 4])
}

/// Takes a vertex without quads out; those behind it move up.
fn remove(filled: &mut Filled, v: u32) {
    filled.mesh.positions.remove(v as usize);
    filled.origin.remove(v as usize);
    let quads = filled.mesh.quads.iter_mut().flatten();
    for vertex in quads.chain(filled.arcs.iter_mut().flatten()) {
        *vertex -= u32::from(*vertex > v);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::fill::Origin;
    use mesh::{DVec3, QuadMesh};

    /// Three by three quads of which the middle one has its diagonal as two edges; an arc runs along it.
    fn doubled() -> Filled {
        let at = |i: u32| DVec3::new(f64::from(i % 4), f64::from(i / 4), 0.0);
        let mut positions: Vec<DVec3> = (0..16).map(at).collect();
        positions.insert(3, DVec3::new(1.5, 1.5, 0.0));
        let id = |i: u32| i + u32::from(i >= 3);
        let mut quads = Vec::new();
        for corner in [0, 1, 2, 4, 6, 8, 9, 10] {
            quads.push([corner, corner + 1, corner + 5, corner + 4].map(id));
        }
        quads.push([id(5), id(6), id(10), 3]);
        quads.push([id(10), id(9), id(5), 3]);
        let vertices = positions.len();
        Filled {
            patch_of_quad: (0..quads.len() as u32).collect(),
            mesh: QuadMesh {
                positions,
                quads,
                ..QuadMesh::default()
            },
            origin: vec![Origin::Inside { patch: 0 }; vertices],
            arcs: vec![vec![id(0), id(5), 3, id(10), id(15)]],
            held: Vec::new(),
        }
    }

    /// Merges, and tells how many pairs became one.
    fn merged(filled: &mut Filled, kept: &BTreeSet<u32>) -> usize {
        let before = filled.mesh.quads.len();
        let topology = merge(filled, kept);
        assert_eq!(topology.valence, filled.mesh.topology().valence);
        before - filled.mesh.quads.len()
    }

    #[test]
    fn both_quads_become_one() {
        let mut filled = doubled();
        let quads = filled.mesh.quads.len();
        assert_eq!(merged(&mut filled, &BTreeSet::new()), 1);
        assert_eq!(filled.mesh.quads.len(), quads - 1);
        assert_eq!(filled.patch_of_quad, [0, 1, 2, 3, 4, 5, 6, 7, 8]);
        assert_eq!((filled.mesh.positions.len(), filled.origin.len()), (16, 16));
        let topology = filled.mesh.topology();
        let inner = (0..16).filter(|&v| !topology.on_boundary[v]);
        assert!(inner.clone().all(|v| topology.valence[v] == 4));
        assert_eq!(inner.count(), 4);
        // As it was, around the middle: every edge of the arc but its ends' is one of the quads'.
        assert_eq!(filled.arcs, [[0, 5, 6, 10, 15]]);
        let area = |q: &[u32; 4]| {
            let [a, b, c, d] = q.map(|v| filled.mesh.positions[v as usize]);
            0.5 * (c - a).cross(d - b).z
        };
        assert!(
            filled
                .mesh
                .quads
                .iter()
                .all(|q| (area(q) - 1.0).abs() < 1e-12)
        );
    }

    #[test]
    fn what_a_guide_runs_over_stays() {
        let mut filled = doubled();
        assert_eq!(merged(&mut filled, &BTreeSet::from([3])), 0);
        assert_eq!(filled.mesh.quads, doubled().mesh.quads);
    }

    #[test]
    fn no_neighbour_is_left_with_two_edges() {
        // The arc's ends lie on the rim: without its inner vertex either keeps two edges, as corners do; a
        // pair of quads that is all there is goes no further.
        let mut filled = doubled();
        filled.mesh.quads.drain(..8);
        assert_eq!(merged(&mut filled, &BTreeSet::new()), 1);
        assert_eq!(filled.mesh.quads.len(), 1);
        // On a closed body of two such pairs back to back one goes; with the other the ends would have two.
        let mut filled = doubled();
        filled.mesh.quads.drain(..8);
        let [a, b] = [filled.mesh.quads[0], filled.mesh.quads[1]];
        let turned = |q: [u32; 4], v: u32| [q[0], v, q[2], q[1]];
        let extra = filled.mesh.positions.len() as u32;
        filled.mesh.positions.push(DVec3::Z);
        filled.origin.push(Origin::Inside { patch: 0 });
        filled
            .mesh
            .quads
            .extend([turned(a, extra), turned(b, extra)]);
        filled.patch_of_quad = vec![0; 4];
        assert_eq!(merged(&mut filled, &BTreeSet::new()), 1);
        assert_eq!(filled.mesh.quads.len(), 3);
    }
}
