use crate::sculpt::tests::{FACES, POINTS, parse, problem};
use crate::sculpt::{ReadProblem, Spot};

pub(in crate::sculpt) fn binary(header: &[u8], faces: &[[u32; 3]]) -> Vec<u8> {
    let mut bytes = header.to_vec();
    bytes.resize(80, 0);
    bytes.extend((faces.len() as u32).to_le_bytes());
    for face in faces {
        bytes.extend([0; 12]); // normals may be zero: readers compute their own
        for value in face.iter().flat_map(|&v| POINTS[v as usize]) {
            bytes.extend(value.to_le_bytes());
        }
        bytes.extend([0; 2]);
    }
    bytes
}

pub(in crate::sculpt) fn text() -> Vec<u8> {
    let mut text = "solid storm lantern\n".to_owned();
    for face in FACES {
        text += " facet normal 0 0 0\n  outer loop\n";
        for [x, y, z] in face.map(|v| POINTS[v as usize]) {
            text += &format!("   vertex {x:e} {y:e} {z:e}\n");
        }
        text += "  endloop\n endfacet\n";
    }
    (text + "endsolid storm lantern\n").into_bytes()
}

#[test]
fn corners_with_the_same_bits_become_one_vertex() {
    for bytes in [binary(b"", &FACES), text()] {
        let sculpt = parse("x.stl", &bytes).unwrap();
        assert_eq!(sculpt.positions.len(), 4);
        assert_eq!(sculpt.notes.corners_shared, 8);
    }
}

#[test]
fn many_vertices_outgrow_the_first_table() {
    let mut text = "solid\n".to_owned();
    for i in 0..500 {
        text += &format!(
            "facet\nvertex {i} 0 0\nvertex {} 0 0\nvertex {i} 1 0\nendfacet\n",
            i + 1
        );
    }
    let sculpt = parse("x.stl", (text + "endsolid\n").as_bytes()).unwrap();
    assert_eq!(sculpt.positions.len(), 501 + 500);
    let x = |t: [u32; 3]| t.map(|v| sculpt.positions[v as usize].x);
    assert!(
        (0..500u16).all(|i| x(sculpt.triangles[usize::from(i)]) == [i, i + 1, i].map(f32::from))
    );
}

#[test]
fn binary_files_may_begin_with_solid() {
    for header in [&b"solid"[..], b"solid coat\nfacet normal", b"solid\nmore"] {
        assert_eq!(
            parse("x.stl", &binary(header, &FACES))
                .unwrap()
                .triangles
                .len(),
            4
        );
    }
    let mut longer = binary(b"solid\nf", &FACES);
    longer.extend([0; 7]);
    assert_eq!(parse("x.stl", &longer).unwrap().notes.trailing_bytes, 7);
}

#[test]
fn solids_are_parts() {
    let first = String::from_utf8(text()).unwrap();
    let second = first.replace("storm lantern", "wick");
    let sculpt = parse("x.stl", (first + &second).to_uppercase().as_bytes()).unwrap();
    let names: Vec<&str> = sculpt.parts.iter().map(|p| p.name.as_str()).collect();
    assert_eq!(names, ["STORM LANTERN", "WICK"]);
    assert!(sculpt.parts[1].indices().eq(4..8));
}

#[test]
fn cut_and_broken_files_are_refused() {
    let whole = binary(b"", &FACES);
    let found = problem("x.stl", &whole[..whole.len() - 1]).1;
    assert!(matches!(
        found,
        ReadProblem::TooMany {
            announced: 4,
            room: 3,
            ..
        }
    ));
    assert!(matches!(
        problem("x.stl", &whole[..83]).1,
        ReadProblem::Truncated { .. }
    ));
    let mut endless = whole.clone();
    endless[80..84].fill(255);
    assert!(matches!(
        problem("x.stl", &endless).1,
        ReadProblem::TooMany { .. }
    ));
    let mut infinite = whole;
    infinite[84 + 50 + 12 + 2..84 + 50 + 12 + 4].copy_from_slice(&[0x80, 0x7f]);
    let (spot, found) = problem("x.stl", &infinite);
    assert!(matches!(found, ReadProblem::NotFinite), "{found}");
    assert_eq!(spot, Spot::item("triangle", 1));

    let cases: [(&str, usize); 6] = [
        ("solid\nfacet\nfacet\n", 3),
        ("solid\nfacet\nvertex 0 0\n", 3),
        ("solid\nfacet\nendfacet\nvertex 0 0 0\n", 4),
        ("solid\nfacet\nendfacet\nendfacet\n", 4),
        ("solid\nfacet\nbutton\n", 3),
        ("solid\nfacet\nvertex 0 0 north\n", 3),
    ];
    for (text, line) in cases {
        assert_eq!(
            problem("x.stl", text.as_bytes()).0,
            Spot::Line(line),
            "{text}"
        );
    }
    assert!(matches!(
        problem("x.stl", b"solid a\nfacet\n").1,
        ReadProblem::Truncated { .. }
    ));
}
