//! From plain slices to what buffers hold: checked, cut to the device's limits, lines joined.

use std::borrow::Cow;

use bytemuck::{Pod, Zeroable};
use glam::Vec3;

use crate::item::Piece;

/// A corner of a face.
#[repr(C)]
#[derive(Clone, Copy, Debug, PartialEq, Pod, Zeroable)]
pub(crate) struct Vertex {
    pub at: [f32; 3],
    pub normal: [f32; 3],
    pub colour: [u8; 4],
}

/// A piece of a line with what its joints need.
#[repr(C)]
#[derive(Clone, Copy, Debug, PartialEq, Pod, Zeroable)]
pub(crate) struct Joined {
    pub ends: [[f32; 3]; 2],
    /// Where the piece before begins; this one's own beginning when there is none.
    pub before: [f32; 3],
    /// Where the next one ends; this one's own end when there is none.
    pub after: [f32; 3],
    /// Length of the line up to this piece, model units: dashes run on over joints.
    pub along: f32,
    pub colour: [u8; 4],
}

/// What goes into one pair of buffers.
pub(crate) type Part<'a> = (Cow<'a, [Vertex]>, Cow<'a, [[u32; 3]]>);

/// Cuts a mesh into parts of which neither buffer has more than `most_bytes` bytes. Triangles with a
/// corner that isn't there are left out. Time linear in the mesh.
pub(crate) fn parts<'a>(
    vertices: &'a [Vertex],
    triangles: &'a [[u32; 3]],
    most_bytes: usize,
) -> Vec<Part<'a>> {
    let most_vertices = (most_bytes / size_of::<Vertex>()).max(3);
    let most_triangles = (most_bytes / size_of::<[u32; 3]>()).max(1);
    let there = |t: &[u32; 3]| t.iter().all(|&v| (v as usize) < vertices.len());
    let all_there = triangles.iter().all(there);
    if all_there && vertices.len() <= most_vertices && triangles.len() <= most_triangles {
        return if triangles.is_empty() {
            Vec::new()
        } else {
            vec![(Cow::Borrowed(vertices), Cow::Borrowed(triangles))]
        };
    }
    // Number of each vertex in the part under way, and the part that the number is of.
    let mut numbers = vec![(0_u32, 0_u32); vertices.len()];
    let mut done: Vec<Part<'a>> = Vec::new();
    let (mut corners, mut faces) = (Vec::new(), Vec::new());
    let mut part = 1;
    for triangle in triangles.iter().filter(|t| there(t)) {
        if corners.len() + 3 > most_vertices || faces.len() == most_triangles {
            done.push((
                Cow::Owned(std::mem::take(&mut corners)),
                Cow::Owned(std::mem::take(&mut faces)),
            ));
            part += 1;
        }
        faces.push(triangle.map(|v| {
            let number = &mut numbers[v as usize];
            if number.1 != part {
                *number = (corners.len() as u32, part);
                corners.push(vertices[v as usize]);
            }
            number.0
        }));
    }
    if !faces.is_empty() {
        done.push((Cow::Owned(corners), Cow::Owned(faces)));
    }
    done
}

/// Unit normals of vertices, weighted by the area of the triangles around them; zero where there are none.
pub(crate) fn normals(positions: &[[f32; 3]], triangles: &[[u32; 3]]) -> Vec<[f32; 3]> {
    let mut sums = vec![Vec3::ZERO; positions.len()];
    let at = |v: u32| positions.get(v as usize).map(|&p| Vec3::from(p));
    for triangle in triangles {
        let [Some(a), Some(b), Some(c)] = triangle.map(at) else {
            continue;
        };
        let normal = (b - a).cross(c - a);
        for &v in triangle {
            sums[v as usize] += normal;
        }
    }
    sums.iter()
        .map(|sum| sum.normalize_or_zero().to_array())
        .collect()
}

/// Four vertices and two triangles a quad; quads with corners that aren't there are left out.
pub(crate) fn flat(
    positions: &[[f32; 3]],
    quads: &[[u32; 4]],
    colours: &[[u8; 4]],
) -> (Vec<Vertex>, Vec<[u32; 3]>) {
    let mut vertices = Vec::with_capacity(4 * quads.len());
    let mut triangles = Vec::with_capacity(2 * quads.len());
    let at = |v: u32| positions.get(v as usize).map(|p| Vec3::from(*p));
    for (quad, colour) in quads.iter().zip(colours) {
        let [Some(a), Some(b), Some(c), Some(d)] = quad.map(at) else {
            continue;
        };
        let normal = (c - a).cross(d - b).normalize_or_zero().to_array();
        let first = vertices.len() as u32;
        vertices.extend([a, b, c, d].map(|p| Vertex {
            at: p.to_array(),
            normal,
            colour: *colour,
        }));
        triangles.extend([[first, first + 1, first + 2], [first, first + 2, first + 3]]);
    }
    (vertices, triangles)
}

/// Pieces with their neighbours in the lines that they make.
pub(crate) fn joined(pieces: &[Piece]) -> Vec<Joined> {
    let mut all = Vec::with_capacity(pieces.len());
    for line in pieces.chunk_by(|a, b| a.ends[1] == b.ends[0]) {
        let (Some(first), Some(last)) = (line.first(), line.last()) else {
            continue;
        };
        // Two pieces there and back aren't a closed line.
        let closed = line.len() > 2 && last.ends[1] == first.ends[0];
        let mut along = 0.0;
        for (i, piece) in line.iter().enumerate() {
            let [from, to] = piece.ends;
            let before = match i.checked_sub(1) {
                Some(i) => line[i].ends[0],
                None if closed => last.ends[0],
                None => from,
            };
            let after = match line.get(i + 1) {
                Some(next) => next.ends[1],
                None if closed => first.ends[1],
                None => to,
            };
            all.push(Joined {
                ends: piece.ends,
                before,
                after,
                along,
                colour: piece.colour,
            });
            along += Vec3::from(from).distance(to.into());
        }
    }
    all
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn vertex(i: usize) -> Vertex {
        Vertex {
            at: [i as f32, 0.0, 0.0],
            normal: [0.0; 3],
            colour: [0; 4],
        }
    }

    /// Triangles of parts as places, in their order.
    fn places(parts: &[Part<'_>]) -> Vec<[f32; 3]> {
        let of = |(vertices, triangles): &Part<'_>| -> Vec<[f32; 3]> {
            let at = |v: u32| vertices[v as usize].at[0];
            triangles.iter().map(|t| t.map(at)).collect()
        };
        parts.iter().flat_map(of).collect()
    }

    proptest! {
        /// However small buffers must be, all triangles whose corners are there are in some part, in their
        /// order, and no part is larger than it may be.
        #[test]
        fn parts_hold_every_triangle_and_fit(
            triangles in prop::collection::vec(prop::array::uniform3(0_u32..24), 0..80),
            most in 84_usize..900,
        ) {
            let vertices: Vec<Vertex> = (0..20).map(vertex).collect();
            let parts = parts(&vertices, &triangles, most);
            for (vertices, triangles) in &parts {
                prop_assert!(!triangles.is_empty());
                prop_assert!(size_of_val(&vertices[..]) <= most && size_of_val(&triangles[..]) <= most);
            }
            let wanted: Vec<[f32; 3]> = triangles
                .iter()
                .filter(|t| t.iter().all(|&v| v < 20))
                .map(|t| t.map(|v| v as f32))
                .collect();
            prop_assert_eq!(places(&parts), wanted);
        }
    }

    #[test]
    fn what_fits_is_not_copied() {
        let vertices: Vec<Vertex> = (0..3).map(vertex).collect();
        let parts = parts(&vertices, &[[0, 1, 2]], 1 << 20);
        assert_eq!(parts.len(), 1);
        assert!(matches!(parts[0], (Cow::Borrowed(_), Cow::Borrowed(_))));
    }

    #[test]
    fn normals_weigh_faces_by_area() {
        // Two faces at a right angle share an edge; one is three times as large.
        let positions = [
            [0.0, 0.0, 0.0],
            [0.0, 1.0, 0.0],
            [3.0, 0.0, 0.0],
            [0.0, 0.0, 1.0],
            [9.0, 9.0, 9.0],
        ];
        let found = normals(&positions, &[[0, 2, 1], [0, 1, 3], [0, 1, 77]]);
        let wanted = Vec3::new(1.0, 0.0, 3.0).normalize();
        assert!(Vec3::from(found[0]).distance(wanted) < 1e-6, "{found:?}");
        assert_eq!(found[4], [0.0; 3]);
    }

    fn piece(from: f32, to: f32) -> Piece {
        Piece {
            ends: [[from, 0.0, 0.0], [to, 0.0, 0.0]],
            colour: [0; 4],
        }
    }

    #[test]
    fn pieces_that_follow_each_other_are_joined_and_closed() {
        let open = joined(&[piece(0.0, 2.0), piece(2.0, 3.0), piece(5.0, 6.0)]);
        let neighbours = |of: &[Joined]| -> Vec<[f32; 2]> {
            of.iter().map(|j| [j.before[0], j.after[0]]).collect()
        };
        assert_eq!(neighbours(&open), [[0.0, 3.0], [0.0, 3.0], [5.0, 6.0]]);
        assert_eq!(
            open.iter().map(|j| j.along).collect::<Vec<_>>(),
            [0.0, 2.0, 0.0]
        );
        let closed = joined(&[piece(0.0, 1.0), piece(1.0, 2.0), piece(2.0, 0.0)]);
        assert_eq!(neighbours(&closed), [[2.0, 2.0], [0.0, 0.0], [1.0, 1.0]]);
        let back = joined(&[piece(0.0, 1.0), piece(1.0, 0.0)]);
        assert_eq!(neighbours(&back), [[0.0, 0.0], [0.0, 0.0]]);
    }
}
