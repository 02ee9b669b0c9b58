//! Random edits: the invariants must hold after each one.

use super::*;
use crate::symmetry::fixtures::grid;
use mesh::TriMesh;
use proptest::prelude::*;

/// V − E + F of the live mesh.
fn euler(mesh: &EditMesh) -> i64 {
    let vertices = (0..mesh.pos.len() as u32)
        .filter(|&v| mesh.has_vertex(v))
        .count();
    let faces = (0..mesh.tri.len()).filter(|&t| mesh.alive(t)).count();
    vertices as i64 - mesh.edges().count() as i64 + faces as i64
}

/// A flat sheet, an open tube or a ring-shaped tube, 8 × 6.
fn surface(kind: u8) -> TriMesh {
    let closed = [[false, false], [true, false], [true, true]][usize::from(kind) % 3];
    grid(8, 6, closed, |u, v| {
        let (a, b) = (u * std::f64::consts::TAU, v * std::f64::consts::TAU);
        match closed {
            [false, _] => DVec3::new(u, v, 0.1 * (3.0 * u).sin()),
            [true, false] => DVec3::new(a.cos(), a.sin(), 3.0 * v),
            [true, true] => DVec3::new(
                (3.0 + a.cos()) * b.cos(),
                (3.0 + a.cos()) * b.sin(),
                a.sin(),
            ),
        }
    })
}

/// Puts the boundary on rails by arc length, a rail a loop, and a path across on another.
fn tag(mesh: &mut EditMesh) {
    let mut seen = vec![false; mesh.twin.len()];
    let mut rail = 1;
    for h in 0..mesh.twin.len() as u32 {
        let mut at = h;
        let mut param = 0.0;
        while mesh.twin_of(at).is_none() && !seen[at as usize] {
            seen[at as usize] = true;
            let end = param + mesh.length(at);
            let ends = [mesh.from(at), mesh.to(at)];
            mesh.tag_edge(at, rail, ends, [param, end]);
            param = end;
            at = mesh.out[mesh.to(at) as usize];
        }
        rail += u32::from(param > 0.0);
    }
    // Five edges between rows inside.
    for i in 18..23 {
        if let Some(h) = mesh.edge_between(i, i + 1)
            && mesh.segment_of(h).is_none()
        {
            mesh.tag_edge(h, 0, [i, i + 1], [f64::from(i), f64::from(i + 1)]);
        }
    }
}

/// Total arc length on each rail.
fn rail_lengths(mesh: &EditMesh) -> Vec<f64> {
    let mut sums = vec![0.0; 4];
    for h in mesh.edges() {
        if let Some(seg) = mesh.segment_of(h) {
            let segment = &mesh.segments[seg as usize];
            sums[segment.rail as usize] += segment.params[1] - segment.params[0];
        }
    }
    sums
}

#[test]
fn a_built_mesh_keeps_its_promises() {
    for kind in 0..3 {
        let mut mesh = EditMesh::build(&surface(kind)).unwrap();
        tag(&mut mesh);
        assert_eq!(mesh.check(), Ok(()));
        assert_eq!(euler(&mesh), [1, 0, 0][usize::from(kind)]);
    }
}

#[test]
fn bow_ties_are_parted_and_bad_edges_refused() {
    let positions = vec![mesh::Vec3::ZERO; 5];
    let bow_tie = TriMesh {
        positions: positions.clone(),
        triangles: vec![[0, 1, 2], [0, 3, 4]],
    };
    let parted = EditMesh::build(&bow_tie).unwrap();
    assert_eq!(parted.check(), Ok(()));
    assert_eq!(parted.pos.len(), 6);
    for triangles in [
        vec![[0, 1, 2], [0, 1, 3]],
        vec![[0, 1, 2], [1, 0, 3], [0, 1, 4]],
        vec![[0, 0, 1]],
    ] {
        let positions = positions.clone();
        assert!(
            EditMesh::build(&TriMesh {
                positions,
                triangles
            })
            .is_err()
        );
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 48, ..ProptestConfig::default() })]

    #[test]
    fn edits_keep_the_promises(
        kind in 0u8..3,
        edits in prop::collection::vec((0u8..4, 0usize..10_000), 1..120),
    ) {
        let mut mesh = EditMesh::build(&surface(kind)).unwrap();
        tag(&mut mesh);
        let (chi, lengths) = (euler(&mesh), rail_lengths(&mesh));
        for (what, pick) in edits {
            let edges: Vec<u32> = mesh.edges().collect();
            let h = edges[pick % edges.len()];
            match what {
                0 => {
                    let middle = (mesh.pos[mesh.from(h) as usize] + mesh.pos[mesh.to(h) as usize]) / 2.0;
                    let from = mesh.from(h);
                    let new = mesh.split(h, middle);
                    prop_assert_eq!((mesh.from(h), mesh.to(h)), (from, new));
                }
                1 => {
                    if mesh.can_flip(h) {
                        mesh.flip(h);
                    }
                }
                2 => {
                    if let Some(plan) = mesh.plan_collapse(h, |_, param| DVec3::splat(param)) {
                        mesh.collapse(plan);
                    }
                }
                _ => mesh.compact(),
            }
            prop_assert_eq!(mesh.check(), Ok(()));
            prop_assert_eq!(euler(&mesh), chi);
        }
        for (before, after) in lengths.iter().zip(rail_lengths(&mesh)) {
            prop_assert!((before - after).abs() < 1e-9);
        }
    }
}
