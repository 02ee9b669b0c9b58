//! OBJ text (Wavefront, "Appendix B1. Object Files"; from memory).

use std::io::Write as _;

use mesh::{DVec3, QuadMesh, Vec3};

use super::REST;
use super::shade::Shade;

/// A quad surface as OBJ: vertices and quads in the mesh's order, so that numbers in
/// findings fit the file (OBJ counts from 1).
///
/// `header` goes on top as comment lines. A `g` line stands before each run of quads of
/// the same groups, with all their names, blanks replaced by `_`; quads in no group are
/// in the group `surface`. Coordinates are shortest decimals that read back as the same
/// f64, so exact mirror images stay exact; −0 is written as 0.
///
/// The mesh is written as it is: indices aren't checked.
pub fn obj_text(mesh: &QuadMesh, header: &str) -> Vec<u8> {
    let mut out = Vec::with_capacity(40 * (mesh.positions.len() + mesh.quads.len()) + header.len());
    // Writing to a Vec can't fail.
    let _ = write(mesh, header, None, &mut out);
    out
}

/// As [`obj_text`], with a normal at each corner and smoothing groups: `hard` edges (both ends, lower
/// first, sorted) have one on either side and part groups. A hard edge that ends amid the surface
/// leaves both its sides in one group; there the normals tell.
pub fn shaded_obj_text(mesh: &QuadMesh, header: &str, hard: &[[u32; 2]]) -> Vec<u8> {
    let mut out = Vec::with_capacity(90 * (mesh.positions.len() + mesh.quads.len()) + header.len());
    // Writing to a Vec can't fail.
    let _ = write(mesh, header, Some(&Shade::of(mesh, hard)), &mut out);
    out
}

/// Held quads as OBJ: as [`obj_text`], and a line element for each edge at which the rest of the
/// surface goes on.
pub fn held_text(mesh: &QuadMesh, rim: &[[u32; 2]], header: &str) -> Vec<u8> {
    let mut out = obj_text(mesh, header);
    out.extend_from_slice(b"g rim\n");
    for edge in rim {
        let [a, b] = edge.map(|v| u64::from(v) + 1);
        // Writing to a Vec can't fail.
        let _ = writeln!(out, "l {a} {b}");
    }
    out
}

fn write(
    mesh: &QuadMesh,
    header: &str,
    shade: Option<&Shade>,
    out: &mut Vec<u8>,
) -> std::io::Result<()> {
    for line in header.lines() {
        writeln!(out, "{}", format!("# {line}").trim_end())?;
    }
    for p in &mesh.positions {
        let [x, y, z] = (*p + DVec3::ZERO).to_array().map(shortest);
        writeln!(out, "v {x} {y} {z}")?;
    }
    for normal in shade.iter().flat_map(|s| &s.normals) {
        // As exact as glTF's.
        let [x, y, z] = (normal.as_vec3() + Vec3::ZERO).to_array();
        writeln!(out, "vn {x} {y} {z}")?;
    }
    let mut smooth = None;
    let mut current: Option<&[u32]> = None;
    let groups = groups_of_quads(mesh);
    for (number, (quad, groups)) in mesh.quads.iter().zip(&groups).enumerate() {
        if current != Some(groups) {
            current = Some(groups);
            let names: Vec<String> = groups
                .iter()
                .map(|&g| word(&mesh.groups[g as usize].name))
                .collect();
            writeln!(
                out,
                "g {}",
                if names.is_empty() {
                    REST.to_owned()
                } else {
                    names.join(" ")
                }
            )?;
        }
        let [a, b, c, d] = quad.map(|v| u64::from(v) + 1);
        let Some(shade) = shade else {
            writeln!(out, "f {a} {b} {c} {d}")?;
            continue;
        };
        if smooth != Some(shade.group[number]) {
            smooth = Some(shade.group[number]);
            writeln!(out, "s {}", shade.group[number])?;
        }
        let [na, nb, nc, nd] = shade.of_corner[number].map(|n| u64::from(n) + 1);
        writeln!(out, "f {a}//{na} {b}//{nb} {c}//{nc} {d}//{nd}")?;
    }
    Ok(())
}

/// The groups of each quad, in order.
pub(super) fn groups_of_quads(mesh: &QuadMesh) -> Vec<Vec<u32>> {
    let mut groups = vec![Vec::new(); mesh.quads.len()];
    for (number, group) in mesh.groups.iter().enumerate() {
        for &quad in &group.quads {
            if let Some(list) = groups.get_mut(quad as usize) {
                list.push(number as u32);
            }
        }
    }
    groups
}

/// The shortest decimal that reads back as the same number, without a needless `.0`.
fn shortest(value: f64) -> String {
    let text = format!("{value:?}");
    text.strip_suffix(".0").map(str::to_owned).unwrap_or(text)
}

/// A name as one word: a blank would make two group names of it.
fn word(name: &str) -> String {
    let joined = name.split(|c: char| c.is_whitespace() || c.is_control());
    let word = joined
        .filter(|piece| !piece.is_empty())
        .collect::<Vec<_>>()
        .join("_");
    if word.is_empty() {
        REST.to_owned()
    } else {
        word
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::parse_sculpt;
    use mesh::Group;
    use proptest::prelude::*;

    fn strip(groups: Vec<Group>) -> QuadMesh {
        let positions = (0..4).flat_map(|i| {
            [
                DVec3::new(f64::from(i), 0.1, -0.0),
                DVec3::new(f64::from(i), 1e-7, 0.3),
            ]
        });
        let quads = (0..3u32)
            .map(|i| [2 * i, 2 * i + 2, 2 * i + 3, 2 * i + 1])
            .collect();
        QuadMesh {
            positions: positions.collect(),
            quads,
            groups,
        }
    }

    fn group(name: &str, quads: &[u32]) -> Group {
        Group {
            name: name.into(),
            quads: quads.to_vec(),
        }
    }

    #[test]
    fn the_text_is_as_described() {
        let text = obj_text(
            &strip(vec![group("left cuff", &[1, 2]), group("hem", &[2])]),
            "coat\n\n3 quads",
        );
        let expected = "# coat\n#\n# 3 quads\nv 0 0.1 0\nv 0 1e-7 0.3\nv 1 0.1 0\nv 1 1e-7 0.3\nv 2 0.1 0\nv 2 1e-7 0.3\n\
            v 3 0.1 0\nv 3 1e-7 0.3\ng surface\nf 1 3 4 2\ng left_cuff\nf 3 5 6 4\ng left_cuff hem\nf 5 7 8 6\n";
        assert_eq!(String::from_utf8(text).unwrap(), expected);
    }

    #[test]
    fn the_reader_finds_the_groups_again() {
        let text = obj_text(&strip(vec![group("cuff", &[0, 2])]), "");
        let sculpt = parse_sculpt("x.obj".as_ref(), &text).unwrap();
        assert_eq!(sculpt.part("cuff").unwrap().triangles, [0..2, 4..6]);
        assert!(sculpt.part("surface").unwrap().indices().eq(2..4));
    }

    proptest! {
        /// Every coordinate reads back as the same f64, and its mirror image as its negative.
        #[test]
        fn coordinates_read_back(p in prop::array::uniform3(any::<f64>().prop_filter("finite", |c| c.is_finite()))) {
            let p = DVec3::from_array(p);
            let mesh = QuadMesh { positions: vec![p, -p], quads: vec![], groups: vec![] };
            let text = String::from_utf8(obj_text(&mesh, "")).unwrap();
            let rows: Vec<Vec<f64>> =
                text.lines().map(|l| l.split(' ').skip(1).map(|w| w.parse().unwrap()).collect()).collect();
            prop_assert_eq!(&rows[0], &p.to_array());
            prop_assert_eq!(&rows[1], &(-p).to_array());
        }
    }
}
