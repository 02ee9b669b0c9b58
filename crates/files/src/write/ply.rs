//! Binary PLY ("The PLY Polygon File Format", G. Turk, 1994; from memory).

use mesh::TriMesh;

/// A triangle mesh as binary little-endian PLY: `x y z` as 32-bit floats, corners as
/// 32-bit signed numbers. Vertices and triangles keep their order and their bits.
///
/// Size: 12 bytes a vertex, 13 a triangle. The mesh is written as it is: indices aren't
/// checked.
pub fn ply_bytes(mesh: &TriMesh) -> Vec<u8> {
    let (vertices, triangles) = (mesh.positions.len(), mesh.triangles.len());
    let header = format!(
        "ply\nformat binary_little_endian 1.0\nelement vertex {vertices}\n\
         property float x\nproperty float y\nproperty float z\n\
         element face {triangles}\nproperty list uchar int vertex_indices\nend_header\n"
    );
    let mut out = Vec::with_capacity(header.len() + 12 * vertices + 13 * triangles);
    out.extend_from_slice(header.as_bytes());
    for p in &mesh.positions {
        for coordinate in p.to_array() {
            out.extend_from_slice(&coordinate.to_le_bytes());
        }
    }
    for corners in &mesh.triangles {
        out.push(3);
        for corner in corners {
            out.extend_from_slice(&corner.to_le_bytes());
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::parse_sculpt;
    use mesh::Vec3;

    #[test]
    fn the_reader_finds_the_same_bits_again() {
        let mesh = TriMesh {
            positions: vec![
                Vec3::new(0.1, -2.5e-7, 3e8),
                Vec3::X,
                Vec3::new(0.3, 1.0 / 3.0, -7.25),
                Vec3::Z,
            ],
            triangles: vec![[0, 1, 2], [0, 2, 3]],
        };
        let bytes = ply_bytes(&mesh);
        let read = parse_sculpt("sleeve.ply".as_ref(), &bytes).unwrap();
        assert_eq!(read.notes.trailing_bytes, 0);
        assert_eq!(read.into_mesh(), mesh);
    }

    #[test]
    fn the_layout_is_that_of_the_header() {
        let one = TriMesh {
            positions: vec![Vec3::ZERO, Vec3::X, Vec3::Y],
            triangles: vec![[0, 1, 2]],
        };
        let bytes = ply_bytes(&one);
        let data = bytes.len() - (3 * 12 + 13);
        assert!(bytes[..data].ends_with(b"end_header\n"));
        assert_eq!(bytes[data + 12..data + 16], 1f32.to_le_bytes());
        assert_eq!(bytes[data + 36..], [3, 0, 0, 0, 0, 1, 0, 0, 0, 2, 0, 0, 0]);
    }
}
