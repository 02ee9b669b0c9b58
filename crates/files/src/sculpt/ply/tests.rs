use proptest::prelude::*;

use crate::sculpt::tests::{FACES, POINTS, parse, problem};
use crate::sculpt::{ReadProblem, Spot};

pub(in crate::sculpt) fn ascii() -> Vec<u8> {
    let mut text = "ply\nformat ascii 1.0\ncomment made by hand\nelement vertex 4\nproperty float x\n\
        property float y\nproperty float z\nelement face 4\nproperty list uchar int vertex_indices\nend_header\n"
        .to_owned();
    for [x, y, z] in POINTS {
        text += &format!("{x} {y} {z}\n");
    }
    for [a, b, c] in FACES {
        text += &format!("3 {a} {b} {c}\n");
    }
    text.into_bytes()
}

pub(in crate::sculpt) fn binary<const BIG: bool>() -> Vec<u8> {
    let order = if BIG { "big" } else { "little" };
    let mut bytes = format!(
        "ply\nformat binary_{order}_endian 1.0\nelement vertex 4\nproperty float x\nproperty float y\n\
         property float z\nelement face 4\nproperty list uchar int vertex_indices\nend_header\n"
    )
    .into_bytes();
    for value in POINTS.iter().flatten() {
        bytes.extend(if BIG {
            value.to_be_bytes()
        } else {
            value.to_le_bytes()
        });
    }
    for face in FACES {
        bytes.push(3);
        for corner in face {
            bytes.extend(if BIG {
                corner.to_be_bytes()
            } else {
                corner.to_le_bytes()
            });
        }
    }
    bytes
}

fn with(header: &str, body: &[u8]) -> Vec<u8> {
    [b"ply\n", header.as_bytes(), b"end_header\n", body].concat()
}

const XYZ: &str = "property float x\nproperty float y\nproperty float z\n";
const LIST: &str = "property list uchar int vertex_indices\n";

/// The cube of Turk's description (from memory): ASCII, six quads, a comment.
#[test]
fn the_cube_of_the_description_reads() {
    let text = "ply\nformat ascii 1.0\ncomment made by Greg Turk\ncomment this file is a cube\nelement vertex 8\n\
        property float x\nproperty float y\nproperty float z\nelement face 6\nproperty list uchar int vertex_index\n\
        end_header\n0 0 0\n0 0 1\n0 1 1\n0 1 0\n1 0 0\n1 0 1\n1 1 1\n1 1 0\n4 0 1 2 3\n4 7 6 5 4\n4 0 4 5 1\n\
        4 1 5 6 2\n4 2 6 7 3\n4 3 7 4 0\n";
    let cube = parse("cube.ply", text.as_bytes()).unwrap();
    assert_eq!(cube.notes.polygons_split, 6);
    assert_eq!(cube.notes.polygons_forced, 0);
    let mesh = cube.into_mesh();
    assert_eq!(mesh.triangles.len(), 12);
    assert!((mesh.area() - 6.0).abs() < 1e-6);
}

/// Properties in odd order and of every type, an element of lists in between, face lists
/// behind other properties: the same body in both byte orders.
#[test]
fn any_properties_in_any_order() {
    fn body<const BIG: bool>() -> Vec<u8> {
        let mut out = Vec::new();
        let mut put = |little: &[u8]| {
            let mut bytes = little.to_vec();
            if BIG {
                bytes.reverse();
            }
            out.extend(bytes);
        };
        for [x, y, z] in POINTS {
            put(&[200]); // red
            put(&f64::from(z).to_le_bytes());
            put(&(x as i16).to_le_bytes());
            put(&(-7i32).to_le_bytes());
            put(&y.to_le_bytes());
        }
        put(&2u16.to_le_bytes()); // the element 'strap': a list of two doubles
        put(&1.5f64.to_le_bytes());
        put(&2.5f64.to_le_bytes());
        for face in FACES {
            put(&0.25f32.to_le_bytes());
            put(&3u32.to_le_bytes());
            for corner in face {
                put(&(corner as u16).to_le_bytes());
            }
            put(&[1]); // another list
            put(&[9]);
        }
        put(b"!");
        out
    }
    let header = "element vertex 4\nproperty uchar red\nproperty double z\nproperty int16 x\nproperty int flags\n\
        property float32 y\nelement strap 1\nproperty list ushort float64 knots\nelement face 4\n\
        property float weight\nproperty list uint ushort vertex_indices\nproperty list char uint8 tags\n";
    let little = with(
        &format!("format binary_little_endian 1.0\n{header}"),
        &body::<false>(),
    );
    let big = with(
        &format!("format binary_big_endian 1.0\n{header}"),
        &body::<true>(),
    );
    let plain = parse("x.ply", &ascii()).unwrap();
    for bytes in [little, big] {
        let sculpt = parse("x.ply", &bytes).unwrap();
        assert_eq!(sculpt.positions, plain.positions);
        assert_eq!(sculpt.triangles, plain.triangles);
        assert_eq!(sculpt.notes.trailing_bytes, 1);
    }
}

#[test]
fn faces_may_come_before_the_vertices() {
    let header = format!("format ascii 1.0\nelement face 2\n{LIST}element vertex 4\n{XYZ}");
    let body = b"4 0 1 2 3\n3 0 1 3\n0 0 0\n2 0 0\n0.2 0.2 0\n0 2 0\n";
    let sculpt = parse("x.ply", &with(&header, body)).unwrap();
    // The quad is a dart: only the cut through its dent tiles it.
    assert_eq!(sculpt.triangles, [[0, 1, 2], [0, 2, 3], [0, 1, 3]]);
}

#[test]
fn strips_alternate_and_restart() {
    let header = format!("format ascii 1.0\nelement vertex 5\n{XYZ}element tristrips 1\n{LIST}");
    let body = b"0 0 0\n1 0 0\n0 1 0\n1 1 0\n2 2 0\n8 0 1 2 3 -1 2 3 4\n";
    let sculpt = parse("x.ply", &with(&header, body)).unwrap();
    assert_eq!(sculpt.triangles, [[0, 1, 2], [2, 1, 3], [2, 3, 4]]);
}

#[test]
fn short_faces_are_counted_and_line_breaks_are_free() {
    let header = format!("format ascii 1.0\nelement vertex 3\n{XYZ}element face 2\n{LIST}");
    let sculpt = parse(
        "x.ply",
        &with(&header, b"0 0 0 1 0 0 0 1\n\n0 2 0 1 3 0\n1 2"),
    )
    .unwrap();
    assert_eq!(sculpt.notes.faces_skipped, 1);
    assert_eq!(sculpt.triangles, [[0, 1, 2]]);
}

#[test]
fn every_end_of_line_is_read() {
    let text = String::from_utf8(ascii()).unwrap();
    for end in ["\r\n", "\r"] {
        assert_eq!(
            parse("x.ply", text.replace('\n', end).as_bytes())
                .unwrap()
                .triangles,
            FACES
        );
    }
    // A binary body after a header with the old line ends.
    let bytes = binary::<false>();
    let body = bytes.len() - (4 * 12 + 4 * 13);
    let header = String::from_utf8(bytes[..body].to_vec())
        .unwrap()
        .replace('\n', "\r");
    let sculpt = parse("x.ply", &[header.as_bytes(), &bytes[body..]].concat()).unwrap();
    assert_eq!(sculpt.triangles, FACES);
}

#[test]
fn bad_headers_name_their_line() {
    let cases = [
        ("ply\nformat xml 1.0\n", 2),
        ("ply\nformat ascii 1.0\nelement vertex many\n", 3),
        ("ply\nformat ascii 1.0\nproperty float x\n", 3),
        (
            "ply\nformat ascii 1.0\nelement vertex 1\nproperty quaternion x\n",
            4,
        ),
        (
            "ply\nformat ascii 1.0\nelement vertex 1\nproperty list float int x\n",
            4,
        ),
        (
            "ply\nformat ascii 1.0\nelement vertex 1\nproperty float x\nend_header\n1\n",
            3,
        ),
        ("ply\nformat ascii 1.0\nnonsense\n", 3),
        ("solid\n", 1),
    ];
    for (text, line) in cases {
        let (spot, problem) = problem("x.ply", text.as_bytes());
        assert!(
            matches!(problem, ReadProblem::Malformed { .. }),
            "{text}: {problem}"
        );
        assert_eq!(spot, Spot::Line(line), "{text}: {problem}");
    }
    assert!(matches!(
        problem("x.ply", b"ply\nend_header\n").1,
        ReadProblem::Malformed { .. }
    ));
    assert!(matches!(
        problem("x.ply", b"ply\nformat ascii 1.0\n").1,
        ReadProblem::Truncated { .. }
    ));
    let endless = [
        &b"ply\nformat ascii 1.0\n"[..],
        &b"comment again and again\n".repeat(1 << 17),
    ]
    .concat();
    assert!(matches!(
        problem("x.ply", &endless).1,
        ReadProblem::Malformed { .. }
    ));
}

#[test]
fn announced_counts_are_held_against_the_file() {
    for encoding in ["ascii", "binary_little_endian", "binary_big_endian"] {
        let huge = with(
            &format!("format {encoding} 1.0\nelement vertex 4000000000\n{XYZ}"),
            b"0 0 0\n",
        );
        let (spot, found) = problem("x.ply", &huge);
        assert!(
            matches!(
                found,
                ReadProblem::TooMany {
                    announced: 4_000_000_000,
                    ..
                }
            ),
            "{found}"
        );
        assert_eq!(spot, Spot::Line(3));
        let larger = with(
            &format!("format {encoding} 1.0\nelement vertex 18446744073709551615\n{XYZ}"),
            b"",
        );
        assert!(matches!(
            problem("x.ply", &larger).1,
            ReadProblem::TooLarge { .. }
        ));
    }
    let header =
        format!("format binary_little_endian 1.0\nelement vertex 1\n{XYZ}element face 1\n");
    let body = [&[0; 12][..], &[255; 4], &[0; 8]].concat();
    let list = with(
        &format!("{header}property list uint int vertex_indices\n"),
        &body,
    );
    assert!(matches!(
        problem("x.ply", &list).1,
        ReadProblem::TooMany {
            announced: 0xffff_ffff,
            room: 2,
            ..
        }
    ));
    let body = [&[0; 12][..], &[255, 255, 255, 127], &[0; 8]].concat();
    let list = with(
        &format!("{header}property list int int vertex_indices\n"),
        &body,
    );
    let (spot, found) = problem("x.ply", &list);
    assert!(
        matches!(found, ReadProblem::TooMany { room: 2, .. }),
        "{found}"
    );
    assert_eq!(spot, Spot::item("face", 0));
}

#[test]
fn bad_bodies_name_their_row() {
    let header = format!("format ascii 1.0\nelement vertex 3\n{XYZ}element face 1\n{LIST}");
    let of = |body: &str| problem("x.ply", &with(&header, body.as_bytes()));
    let (spot, found) = of("0 0 0\n1 zero 0\n0 1 0\n3 0 1 2\n");
    assert!(matches!(&found, ReadProblem::Number { text, .. } if text == "zero"));
    assert_eq!(spot, Spot::Line(11));
    let (spot, found) = of("0 0 0\n1 nan 0\n0 1 0\n3 0 1 2\n");
    assert!(matches!(found, ReadProblem::NotFinite));
    assert_eq!(spot, Spot::Line(11));
    let (spot, found) = of("0 0 0\n1 0 0\n0 1 0\n3 0 1 3\n");
    assert!(matches!(
        found,
        ReadProblem::IndexOutOfRange { index: 3, .. }
    ));
    assert_eq!(spot, Spot::Line(13));
    assert!(matches!(
        of("0 0 0\n1 0 0\n0 1 0\n3 0 1 -2\n").1,
        ReadProblem::IndexOutOfRange { index: -2, .. }
    ));
    assert!(matches!(
        of("0 0 0\n1 0 0\n0 1 0\n3 0 1 0.5\n").1,
        ReadProblem::Number { .. }
    ));
    assert!(matches!(
        of("0 0 0\n1 0 0\n0 1 0\n3 000000 1").1,
        ReadProblem::Truncated { .. }
    ));

    let mut bytes = binary::<false>();
    let last = bytes.len() - 4;
    bytes[last..].copy_from_slice(&9u32.to_le_bytes());
    let (spot, found) = problem("x.ply", &bytes);
    assert!(matches!(
        found,
        ReadProblem::IndexOutOfRange { index: 9, .. }
    ));
    assert_eq!(spot, Spot::item("face", 3));
    let first_vertex = bytes.len() - 4 * 13 - 4 * 12;
    bytes[first_vertex + 12..first_vertex + 16].copy_from_slice(&f32::INFINITY.to_le_bytes());
    let (spot, found) = problem("x.ply", &bytes);
    assert!(matches!(found, ReadProblem::NotFinite));
    assert_eq!(spot, Spot::item("vertex", 1));
}

proptest! {
    /// Any mesh, written here in the three encodings, comes back the same; mixed polygons
    /// force the fast reader and the general one to take turns.
    #[test]
    fn meshes_come_back(
        points in prop::collection::vec(prop::array::uniform3(-1e6f32..1e6), 3..40),
        faces in prop::collection::vec((any::<u8>(), prop::array::uniform4(any::<prop::sample::Index>())), 1..60),
    ) {
        let rows: Vec<Vec<u32>> = faces.iter().map(|(kind, corners)| {
            let size = [2, 3, 3, 3, 4][usize::from(kind % 5)];
            corners[..size].iter().map(|c| c.index(points.len()) as u32).collect()
        }).collect();
        let (mut text, mut little, mut big) = (String::new(), Vec::new(), Vec::new());
        for [x, y, z] in &points {
            text += &format!("{x} {y} {z}\n");
            for c in [x, y, z] {
                little.extend(c.to_le_bytes());
                big.extend(c.to_be_bytes());
            }
        }
        for row in &rows {
            let words: Vec<String> = row.iter().map(u32::to_string).collect();
            text += &format!("{} {}\n", row.len(), words.join(" "));
            little.push(row.len() as u8);
            big.push(row.len() as u8);
            for c in row {
                little.extend(c.to_le_bytes());
                big.extend(c.to_be_bytes());
            }
        }
        prop_assume!(rows.iter().any(|row| row.len() > 2));
        let header = format!("element vertex {}\n{XYZ}element face {}\n{LIST}", points.len(), rows.len());
        let read = |encoding: &str, body: &[u8]| {
            parse("x.ply", &with(&format!("format {encoding} 1.0\n{header}"), body)).unwrap()
        };
        let plain = read("ascii", text.as_bytes());
        let found: Vec<[f32; 3]> = plain.positions.iter().map(|p| p.to_array()).collect();
        prop_assert_eq!(&found, &points);
        let expected = rows.iter().map(|row| row.len().saturating_sub(2)).sum::<usize>();
        prop_assert_eq!(plain.triangles.len(), expected);
        let first = rows.iter().find(|row| row.len() == 3);
        prop_assert!(first.is_none_or(|row| plain.triangles.iter().any(|t| t[..] == row[..])));
        prop_assert_eq!(&read("binary_little_endian", &little), &plain);
        prop_assert_eq!(&read("binary_big_endian", &big), &plain);
    }
}
