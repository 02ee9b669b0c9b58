use proptest::prelude::*;

use crate::sculpt::tests::{FACES, POINTS, parse, problem};
use crate::sculpt::{RawSculpt, ReadProblem, Spot};

pub(in crate::sculpt) fn tetrahedron() -> String {
    let mut text = "# made by hand\no marker\n".to_owned();
    for [x, y, z] in POINTS {
        text += &format!("v {x} {y} {z}\n");
    }
    for [a, b, c] in FACES {
        text += &format!("f {} {} {}\n", a + 1, b + 1, c + 1);
    }
    text
}

fn read(text: &str) -> RawSculpt {
    parse("x.obj", text.as_bytes()).unwrap()
}

const SQUARE: &str = "v 0 0 0\nv 1 0 0\nv 1 1 0\nv 0 1 0\n";

/// The square of appendix B1 with each form of a corner (from memory).
#[test]
fn all_forms_of_a_corner_mean_the_same() {
    let forms = [
        "f 1 2 3",
        "f 1/1 2/2 3/3",
        "f 1//1 2//1 3//1",
        "f 1/1/1 2/2/1 3/3/1",
        "f -4 -3 -2",
        "f -4/-1 -3/-1/1 -2//-1",
    ];
    for form in forms {
        let sculpt = read(&format!("{SQUARE}vt 0 0\nvn 0 0 1\n{form}\n"));
        assert_eq!(sculpt.triangles, [[0, 1, 2]], "{form}");
    }
}

#[test]
fn negative_indices_count_from_where_they_stand() {
    let sculpt = read("v 0 0 0\nv 1 0 0\nv 0 1 0\nf -3 -2 -1\nv 0 0 1\nf -4 -3 -1\n");
    assert_eq!(sculpt.triangles, [[0, 1, 2], [0, 1, 3]]);
}

#[test]
fn lines_continue_after_a_backslash_but_comments_do_not() {
    let sculpt = read(&format!(
        "# C:\\\n{SQUARE}f 1 2 \\\n3\\\r\n 4\nf 1 2 3 # the last\n"
    ));
    assert_eq!(sculpt.triangles.len(), 3);
    assert_eq!(sculpt.notes.polygons_split, 1);
}

#[test]
fn weights_colours_tabs_and_blanks_are_read_past() {
    let sculpt = read("  v\t0 0 0 1.0\n v 1e0 +0.0 -0 0.5 0.5 0.5\nv .0 1. 0\n\n\tf  1\t2  3 \n");
    assert_eq!(sculpt.triangles, [[0, 1, 2]]);
    assert_eq!(
        sculpt.positions[1].to_array().map(f32::to_bits),
        [1f32, 0., 0.].map(f32::to_bits)
    );
}

#[test]
fn parts_are_objects_groups_and_materials() {
    let text = format!(
        "{SQUARE}f 1 2 3\no oilskin coat\ng front left\nf 1 2 3\nusemtl wax cloth\nf 1 3 4\ng\nf 2 3 4\no boots\ng left\nf 1 2 4\n"
    );
    let sculpt = read(&text);
    let found: Vec<(&str, Vec<u32>)> = sculpt
        .parts
        .iter()
        .map(|p| {
            (
                p.name.as_str(),
                p.triangles.iter().cloned().flatten().collect(),
            )
        })
        .collect();
    assert_eq!(
        found,
        [
            ("oilskin coat", vec![1, 2, 3]),
            ("front", vec![1, 2]),
            ("left", vec![1, 2, 4]),
            ("wax cloth", vec![2, 3, 4]),
            ("boots", vec![4]),
        ]
    );
    assert_eq!(sculpt.part("left").unwrap().triangles, [1..3, 4..5]);
}

#[test]
fn statements_without_surface_are_counted() {
    let sculpt = read(&format!(
        "mtllib coat.mtl\n{SQUARE}s off\nl 1 2\np 1\nvp 0.1\nf 1 2\nf 1 2 3\n"
    ));
    assert_eq!(
        (sculpt.notes.items_skipped, sculpt.notes.faces_skipped),
        (2, 1)
    );
}

#[test]
fn errors_name_the_line() {
    type Is = fn(&ReadProblem) -> bool;
    let cases: [(&str, usize, Is); 9] = [
        ("v 0 0\n", 1, |p| matches!(p, ReadProblem::Malformed { .. })),
        ("v 0 0 east\n", 1, |p| {
            matches!(p, ReadProblem::Number { .. })
        }),
        ("v 0 0 inf\n", 1, |p| matches!(p, ReadProblem::NotFinite)),
        ("v 0 0 1e39\n", 1, |p| matches!(p, ReadProblem::NotFinite)),
        ("v 0 0 0\nf 1 1 2\n", 2, |p| {
            matches!(p, ReadProblem::IndexOutOfRange { index: 2, .. })
        }),
        ("v 0 0 0\nf 1 1 0\n", 2, |p| {
            matches!(p, ReadProblem::IndexOutOfRange { index: 0, .. })
        }),
        ("v 0 0 0\nf 1 -2 1\n", 2, |p| {
            matches!(p, ReadProblem::IndexOutOfRange { index: -2, .. })
        }),
        ("v 0 0 0\nf 1 \\\n x 1\n", 2, |p| {
            matches!(p, ReadProblem::Number { .. })
        }),
        ("v 0 0 0\n\u{1}\u{2}\n", 2, |p| {
            matches!(p, ReadProblem::Malformed { .. })
        }),
    ];
    for (text, line, is_it) in cases {
        let (spot, found) = problem("x.obj", text.as_bytes());
        assert!(is_it(&found), "{text}: {found}");
        assert_eq!(spot, Spot::Line(line), "{text}");
    }
    let huge = problem("x.obj", b"v 0 0 0\nf 1 1 99999999999999999999999\n").1;
    assert!(matches!(
        huge,
        ReadProblem::IndexOutOfRange {
            index: i64::MAX,
            ..
        }
    ));
}

proptest! {
    /// Coordinates written as shortest decimals come back bit for bit.
    #[test]
    fn coordinates_come_back(points in prop::collection::vec(prop::array::uniform3(any::<f32>()), 3..20)) {
        prop_assume!(points.iter().flatten().all(|c| c.is_finite()));
        let mut text = String::new();
        for [x, y, z] in &points {
            text += &format!("v {x} {y:e} {z:?}\n");
        }
        let sculpt = read(&format!("{text}f 1 2 3\n"));
        let found: Vec<[f32; 3]> = sculpt.positions.iter().map(|p| p.to_array()).collect();
        prop_assert_eq!(found, points);
    }
}
