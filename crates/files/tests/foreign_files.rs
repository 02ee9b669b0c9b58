//! Files that other programs wrote, read and held against the handbook.
//!
//! `tests/data` holds a regular icosahedron of edge 2 in each format, written by the
//! general-purpose library trimesh (`reference/make_fixtures.py`).

use std::path::PathBuf;

use loopwright_files::{SculptFormat, parse_sculpt, read_sculpt, read_with_sculpt};
use mesh::TriMesh;

const EDGE: f64 = 2.0;

fn volume(mesh: &TriMesh) -> f64 {
    (0..mesh.triangles.len())
        .map(|t| {
            let [a, b, c] = mesh.corners(t);
            a.dot(b.cross(c)) / 6.0
        })
        .sum()
}

/// Area 5 √3 a², volume 5 (3 + √5) / 12 a³ (any handbook, such as Bronshtein & Semendyayev,
/// "Regular polyhedra"; from memory).
#[test]
fn an_icosahedron_in_every_format_has_its_area_and_volume() {
    let area = 5.0 * 3f64.sqrt() * EDGE.powi(2);
    let enclosed = 5.0 * (3.0 + 5f64.sqrt()) / 12.0 * EDGE.powi(3);
    let files = [
        ("binary.ply", SculptFormat::Ply),
        ("ascii.ply", SculptFormat::Ply),
        ("plain.obj", SculptFormat::Obj),
        ("binary.stl", SculptFormat::Stl),
        ("ascii.stl", SculptFormat::Stl),
        ("scene.glb", SculptFormat::Glb),
        ("scene.gltf", SculptFormat::Gltf),
    ];
    for (name, format) in files {
        let path = PathBuf::from(env!("CARGO_MANIFEST_DIR"))
            .join("tests/data")
            .join(name);
        let sculpt = read_sculpt(&path).unwrap();
        assert_eq!(sculpt.notes.format, format, "{name}");
        assert_eq!(
            (sculpt.positions.len(), sculpt.triangles.len()),
            (12, 20),
            "{name}"
        );
        let has_part = sculpt.part("lamp").is_some_and(|part| part.len() == 20);
        assert_eq!(has_part, name.starts_with("scene"), "{name}");
        let beside = if format == SculptFormat::Gltf { 2 } else { 0 };
        let files = read_with_sculpt(&path);
        assert_eq!(files.len(), beside, "{name}");
        assert!(files.iter().all(|file| file.is_file()), "{name}");
        let mesh = sculpt.into_mesh();
        let (a, v) = (mesh.area() / area, volume(&mesh) / enclosed);
        assert!(
            (a - 1.0).abs() < 1e-5 && (v - 1.0).abs() < 1e-5,
            "{name}: {a} {v}"
        );
    }
}

/// The minimal file of Khronos' glTF tutorial, section 3: one triangle in a data URI (from
/// memory).
#[test]
fn the_tutorials_minimal_file_is_one_triangle() {
    let text = r#"{
      "scene": 0,
      "scenes": [{ "nodes": [0] }],
      "nodes": [{ "mesh": 0 }],
      "meshes": [{ "primitives": [{ "attributes": { "POSITION": 1 }, "indices": 0 }] }],
      "buffers": [{
        "uri": "data:application/octet-stream;base64,AAABAAIAAAAAAAAAAAAAAAAAAAAAAIA/AAAAAAAAAAAAAAAAAACAPwAAAAA=",
        "byteLength": 44
      }],
      "bufferViews": [
        { "buffer": 0, "byteOffset": 0, "byteLength": 6, "target": 34963 },
        { "buffer": 0, "byteOffset": 8, "byteLength": 36, "target": 34962 }
      ],
      "accessors": [
        { "bufferView": 0, "byteOffset": 0, "componentType": 5123, "count": 3, "type": "SCALAR", "max": [2], "min": [0] },
        { "bufferView": 1, "byteOffset": 0, "componentType": 5126, "count": 3, "type": "VEC3",
          "max": [1.0, 1.0, 0.0], "min": [0.0, 0.0, 0.0] }
      ],
      "asset": { "version": "2.0" }
    }"#;
    let sculpt = parse_sculpt("minimal.gltf".as_ref(), text.as_bytes()).unwrap();
    assert_eq!(sculpt.triangles, [[0, 1, 2]]);
    let found: Vec<[f32; 3]> = sculpt.positions.iter().map(|p| p.to_array()).collect();
    assert_eq!(found, [[0.0, 0.0, 0.0], [1.0, 0.0, 0.0], [0.0, 1.0, 0.0]]);
}
