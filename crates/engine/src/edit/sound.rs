//! Whether quads are still one surface.

use mesh::{QuadMesh, QuadTopology};

/// Whether quads have four corners each, are manifold and oriented, and have the Euler
/// characteristic and the number of boundaries that they had.
pub(super) fn is_sound(quads: &[[u32; 4]], vertices: usize, before: &QuadTopology) -> bool {
    let whole = quads
        .iter()
        .all(|&[a, b, c, d]| a != b && a != c && a != d && b != c && b != d && c != d);
    let mesh = QuadMesh {
        positions: vec![mesh::DVec3::ZERO; vertices],
        quads: quads.to_vec(),
        groups: Vec::new(),
    };
    let topology = mesh.topology();
    whole
        && topology.face_count.iter().all(|&n| n <= 2)
        && topology.inconsistent_edges == 0
        && has_single_fans(quads, vertices, &topology)
        && topology.euler_characteristic() == before.euler_characteristic()
        && topology.boundary_loops().len() == before.boundary_loops().len()
}

/// Whether the quads at each vertex are one fan: as many edges as quads inside, one more on the
/// boundary, and all of them reached from the first.
fn has_single_fans(quads: &[[u32; 4]], vertices: usize, topology: &QuadTopology) -> bool {
    let mut corners = vec![0u32; vertices];
    let mut first = vec![u32::MAX; vertices];
    for corner in 0..4 * quads.len() as u32 {
        let v = quads[corner as usize / 4][corner as usize % 4] as usize;
        corners[v] += 1;
        // On the boundary the fan is walked from its outgoing boundary edge.
        if first[v] == u32::MAX || topology.twin[corner as usize].is_none() {
            first[v] = corner;
        }
    }
    (0..vertices).filter(|&v| corners[v] > 0).all(|v| {
        let (start, mut at, mut met) = (first[v], first[v], 0);
        loop {
            met += 1;
            let before = at - at % 4 + (at + 3) % 4;
            match topology.twin[before as usize] {
                Some(there) if there != start && met <= corners[v] => at = there,
                _ => break,
            }
        }
        met == corners[v]
    })
}
