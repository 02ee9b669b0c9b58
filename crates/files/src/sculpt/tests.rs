use std::path::Path;

use proptest::prelude::*;

use super::*;

/// A tetrahedron in each format; the triangles are the same.
pub(super) const POINTS: [[f32; 3]; 4] = [[0., 0., 0.], [1., 0., 0.], [0., 2., 0.], [0., 0., 3.5]];
pub(super) const FACES: [[u32; 3]; 4] = [[0, 2, 1], [0, 1, 3], [1, 2, 3], [0, 3, 2]];

pub(super) fn parse(name: &str, bytes: &[u8]) -> Result<RawSculpt, ReadError> {
    parse_sculpt(Path::new(name), bytes)
}

pub(super) fn problem(name: &str, bytes: &[u8]) -> (Spot, ReadProblem) {
    let error = parse(name, bytes).unwrap_err();
    assert!(error.to_string().starts_with(name), "{error}");
    (error.spot, error.problem)
}

/// Cutting a file anywhere must give an error or a mesh that keeps its promises.
pub(super) fn survives_truncation(name: &str, bytes: &[u8]) {
    parse(name, bytes).unwrap();
    for length in 0..bytes.len() {
        if let Ok(sculpt) = parse(name, &bytes[..length]) {
            assert_sound(&sculpt);
        }
    }
}

pub(super) fn assert_sound(sculpt: &RawSculpt) {
    let count = sculpt.positions.len() as u32;
    assert!(sculpt.positions.iter().all(|p| p.is_finite()));
    assert!(
        sculpt
            .triangles
            .iter()
            .flatten()
            .all(|&corner| corner < count)
    );
    for part in &sculpt.parts {
        let ends: Vec<u32> = part
            .triangles
            .iter()
            .flat_map(|r| [r.start, r.end])
            .collect();
        assert!(
            ends.is_sorted_by(|a, b| a < b)
                && *ends.last().unwrap() <= sculpt.triangles.len() as u32
        );
    }
}

/// Small files of every format, as (name, bytes).
fn samples() -> Vec<(&'static str, Vec<u8>)> {
    vec![
        ("a.ply", ply::tests::ascii()),
        ("b.ply", ply::tests::binary::<false>()),
        ("c.ply", ply::tests::binary::<true>()),
        ("d.obj", obj::tests::tetrahedron().into_bytes()),
        ("e.stl", stl::tests::binary(b"made by hand", &FACES)),
        ("f.stl", stl::tests::text()),
        ("g.glb", gltf::tests::sample().glb()),
        ("h.gltf", gltf::tests::sample().with_data_uri()),
    ]
}

#[test]
fn every_format_gives_the_same_triangles() {
    for (name, bytes) in samples() {
        let sculpt = parse(name, &bytes).unwrap();
        assert_sound(&sculpt);
        let corner = |&v: &u32| sculpt.positions[v as usize].to_array();
        let found: Vec<Vec<[f32; 3]>> = sculpt
            .triangles
            .iter()
            .map(|t| t.iter().map(corner).collect())
            .collect();
        let expected: Vec<Vec<[f32; 3]>> = FACES
            .iter()
            .map(|t| t.iter().map(|&v| POINTS[v as usize]).collect())
            .collect();
        assert_eq!(found, expected, "{name}");
        assert_eq!(sculpt.positions.len(), 4, "{name}");
    }
}

#[test]
fn content_decides_before_the_extension() {
    for (_, bytes) in samples() {
        let named_rightly = parse("x.unknown", &bytes).unwrap();
        assert_eq!(named_rightly.triangles.len(), 4);
    }
    let ply = parse("wrong.obj", &ply::tests::ascii()).unwrap();
    assert_eq!(ply.notes.format, SculptFormat::Ply);
    assert!(matches!(
        problem("x.txt", b"a letter to the harbour"),
        (_, ReadProblem::UnknownFormat)
    ));
}

#[test]
fn truncated_files_never_panic() {
    for (name, bytes) in samples() {
        survives_truncation(name, &bytes);
    }
}

#[test]
fn empty_files_and_files_without_triangles_are_refused() {
    for name in ["x.ply", "x.obj", "x.stl", "x.gltf", "x.glb"] {
        problem(name, b"");
    }
    assert!(matches!(
        problem("x.obj", b"v 1 2 3\n").1,
        ReadProblem::NoTriangles { vertices: 1 }
    ));
}

#[test]
fn folders_and_missing_files_are_refused() {
    let missing = read_sculpt(Path::new("no/such/oilskin.ply")).unwrap_err();
    assert!(matches!(missing.problem, ReadProblem::Io(_)));
    let folder = read_sculpt(&std::env::temp_dir()).unwrap_err();
    assert!(matches!(folder.problem, ReadProblem::NotAFile));
}

#[test]
fn a_file_reads_as_its_bytes() {
    let path = std::env::temp_dir().join(format!("loopwright-files-{}.ply", std::process::id()));
    std::fs::write(&path, ply::tests::binary::<false>()).unwrap();
    let read = read_sculpt(&path);
    std::fs::remove_file(&path).unwrap();
    assert_eq!(
        read.unwrap(),
        parse("x.ply", &ply::tests::binary::<false>()).unwrap()
    );
}

#[test]
fn keeping_a_part_drops_the_vertices_of_the_rest() {
    let text =
        "v 0 0 0\nv 1 0 0\nv 0 1 0\nv 5 5 5\nv 6 5 5\nv 5 6 5\ng hat\nf 1 2 3\ng boots\nf 4 5 6\n";
    let sculpt = parse("x.obj", text.as_bytes()).unwrap();
    let boots = sculpt.clone().keep_part("boots").unwrap();
    assert_eq!(boots.triangles, [[0, 1, 2]]);
    assert_eq!(boots.positions[1], Vec3::new(6., 5., 5.));
    let error = sculpt
        .keep_part("gloves")
        .unwrap_err()
        .in_file(Path::new("x.obj"))
        .to_string();
    assert!(error.contains("'hat', 'boots'"), "{error}");
    let nameless = parse("x.ply", &ply::tests::ascii())
        .unwrap()
        .keep_part("hat")
        .unwrap_err();
    assert!(nameless.to_string().contains("no named parts"));
}

proptest! {
    /// Random damage to a file gives an error or a sound mesh.
    #[test]
    fn damaged_files_never_panic(
        which in 0usize..8,
        hits in prop::collection::vec((any::<prop::sample::Index>(), any::<u8>()), 1..6),
    ) {
        let (name, mut bytes) = samples().swap_remove(which);
        for (place, value) in hits {
            let at = place.index(bytes.len());
            bytes[at] = value;
        }
        if let Ok(sculpt) = parse(name, &bytes) {
            assert_sound(&sculpt);
        }
    }

    #[test]
    fn noise_never_panics(noise in prop::collection::vec(any::<u8>(), 0..200), which in 0usize..6) {
        let name = ["x.ply", "x.obj", "x.stl", "x.gltf", "x.glb", "x"][which];
        let start: &[u8] = [&b"ply\n"[..], b"f ", b"solid\n", b"{", b"glTF", b""][which];
        if let Ok(sculpt) = parse(name, &[start, &noise].concat()) {
            assert_sound(&sculpt);
        }
    }
}
