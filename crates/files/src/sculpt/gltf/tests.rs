use serde_json::{Value, json};

use crate::sculpt::tests::{FACES, POINTS, parse, problem};
use crate::sculpt::{RawSculpt, ReadProblem};

/// A glTF document and its one buffer.
pub(in crate::sculpt) struct Sample {
    pub root: Value,
    pub buffer: Vec<u8>,
}

/// The tetrahedron with 16-bit indices.
pub(in crate::sculpt) fn sample() -> Sample {
    let mut buffer: Vec<u8> = POINTS
        .iter()
        .flatten()
        .flat_map(|c| c.to_le_bytes())
        .collect();
    buffer.extend(
        FACES
            .iter()
            .flatten()
            .flat_map(|&i| (i as u16).to_le_bytes()),
    );
    let root = json!({
        "asset": { "version": "2.0" },
        "scene": 0,
        "scenes": [{ "nodes": [0] }],
        "nodes": [{ "mesh": 0, "name": "buoy" }],
        "meshes": [{ "name": "shape", "primitives": [{ "attributes": { "POSITION": 0 }, "indices": 1 }] }],
        "accessors": [
            { "bufferView": 0, "componentType": 5126, "count": 4, "type": "VEC3" },
            { "bufferView": 1, "componentType": 5123, "count": 12, "type": "SCALAR" },
        ],
        "bufferViews": [
            { "buffer": 0, "byteLength": 48 },
            { "buffer": 0, "byteOffset": 48, "byteLength": 24 },
        ],
        "buffers": [{ "byteLength": 72 }],
    });
    Sample { root, buffer }
}

impl Sample {
    pub fn glb(&self) -> Vec<u8> {
        let mut text = self.root.to_string().into_bytes();
        text.resize(text.len().next_multiple_of(4), b' ');
        let mut data = self.buffer.clone();
        data.resize(data.len().next_multiple_of(4), 0);
        let mut out = b"glTF".to_vec();
        let total = 12 + 8 + text.len() + 8 + data.len();
        out.extend([2, total as u32].iter().flat_map(|v| v.to_le_bytes()));
        for (kind, chunk) in [(b"JSON", text), (b"BIN\0", data)] {
            out.extend((chunk.len() as u32).to_le_bytes());
            out.extend(kind);
            out.extend(chunk);
        }
        out
    }

    pub fn with_data_uri(&self) -> Vec<u8> {
        const LETTERS: &[u8; 64] =
            b"ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
        let mut coded = String::new();
        for three in self.buffer.chunks(3) {
            let bits = three.iter().fold(0usize, |b, &x| (b << 8) | usize::from(x))
                << (8 * (3 - three.len()));
            for i in 0..=three.len() {
                coded.push(char::from(LETTERS[(bits >> (18 - 6 * i)) & 63]));
            }
        }
        coded.push_str(["", "==", "="][self.buffer.len() % 3]);
        let mut root = self.root.clone();
        root["buffers"][0]["uri"] = json!(format!("data:application/octet-stream;base64,{coded}"));
        root.to_string().into_bytes()
    }

    fn read(&self) -> RawSculpt {
        parse("x.glb", &self.glb()).unwrap()
    }

    fn problem(&self) -> ReadProblem {
        problem("x.glb", &self.glb()).1
    }
}

fn changed(change: impl FnOnce(&mut Value)) -> Sample {
    let mut sample = sample();
    change(&mut sample.root);
    sample
}

#[test]
fn nodes_move_turn_and_mirror() {
    let moved = changed(|root| {
        root["nodes"] = json!([
            { "children": [1, 2], "translation": [10, 0, 0], "rotation": [0, 0, 0.707_106_77, 0.707_106_77] },
            { "mesh": 0, "name": "port" },
            { "mesh": 0, "name": "starboard", "scale": [-1, 1, 1] },
        ]);
    });
    let sculpt = moved.read();
    // A quarter turn about z takes (1, 0, 0) to (0, 1, 0).
    assert!((sculpt.positions[1] - mesh::Vec3::new(10., 1., 0.)).length() < 1e-5);
    assert!((sculpt.positions[5] - mesh::Vec3::new(10., -1., 0.)).length() < 1e-5);
    // The mirrored copy must face outwards too: both volumes are positive.
    let volume = |range: std::ops::Range<usize>| -> f32 {
        let at = |v: u32| sculpt.positions[v as usize];
        sculpt.triangles[range]
            .iter()
            .map(|t| at(t[0]).dot(at(t[1]).cross(at(t[2]))) / 6.0)
            .sum()
    };
    let expected = 1.0 * 2.0 * 3.5 / 6.0;
    assert!((volume(0..4) - expected).abs() < 1e-4 && (volume(4..8) - expected).abs() < 1e-4);
    assert!(sculpt.part("starboard").unwrap().indices().eq(4..8));
    assert!(sculpt.part("shape").unwrap().indices().eq(0..8));
}

#[test]
fn a_matrix_is_column_major() {
    let moved = changed(|root| {
        root["nodes"][0]["matrix"] = json!([2, 0, 0, 0, 0, 2, 0, 0, 0, 0, 2, 0, 7, 8, 9, 1]);
    });
    assert_eq!(moved.read().positions[1].to_array(), [9., 8., 9.]);
}

#[test]
fn strips_and_fans_follow_the_specification() {
    let with_mode = |mode: u32| {
        changed(|root| {
            root["meshes"][0]["primitives"] =
                json!([{ "attributes": { "POSITION": 0 }, "mode": mode }]);
        })
    };
    assert_eq!(with_mode(5).read().triangles, [[0, 1, 2], [1, 3, 2]]);
    assert_eq!(with_mode(6).read().triangles, [[1, 2, 0], [2, 3, 0]]);
    assert!(matches!(
        with_mode(4).problem(),
        ReadProblem::Malformed { .. }
    )); // 4 corners
    assert!(matches!(
        with_mode(1).problem(),
        ReadProblem::NoTriangles { .. }
    ));
    assert!(matches!(
        with_mode(9).problem(),
        ReadProblem::Malformed { .. }
    ));
}

#[test]
fn primitives_with_the_same_positions_share_vertices() {
    let twice = changed(|root| {
        let one = root["meshes"][0]["primitives"][0].clone();
        root["meshes"][0]["primitives"] = json!([one, one]);
    });
    assert_eq!(
        (twice.read().positions.len(), twice.read().triangles.len()),
        (4, 8)
    );
}

#[test]
fn sparse_values_replace_their_elements() {
    let mut sparse = changed(|root| {
        root["accessors"][0]["sparse"] = json!({
            "count": 1,
            "indices": { "bufferView": 2, "componentType": 5121 },
            "values": { "bufferView": 2, "byteOffset": 4 },
        });
        let view = json!({ "buffer": 0, "byteOffset": 72, "byteLength": 16 });
        root["bufferViews"].as_array_mut().unwrap().push(view);
        root["buffers"][0]["byteLength"] = json!(88);
    });
    sparse.buffer.extend([2, 0, 0, 0]);
    sparse
        .buffer
        .extend([5f32, 6., 7.].iter().flat_map(|c| c.to_le_bytes()));
    assert_eq!(sparse.read().positions[2].to_array(), [5., 6., 7.]);
    let zeros = || {
        let root = sparse.root.clone();
        Sample {
            root,
            buffer: sparse.buffer.clone(),
        }
    };
    let mut without_view = zeros();
    without_view.root["accessors"][0]
        .as_object_mut()
        .unwrap()
        .remove("bufferView");
    assert_eq!(without_view.read().positions[1].to_array(), [0.; 3]);
    without_view.root["accessors"][0]["count"] = json!(4_000_000_000u32);
    assert!(matches!(
        without_view.problem(),
        ReadProblem::TooMany { .. }
    ));
    let mut beyond = zeros();
    beyond.buffer[72] = 4;
    assert!(matches!(beyond.problem(), ReadProblem::Malformed { .. }));
}

/// Normalised integers: c / 32767 for 16 bits (specification, section 3.11).
#[test]
fn quantised_positions_and_strides_are_read() {
    let mut small = changed(|root| {
        root["accessors"][0]["componentType"] = json!(5122);
        root["accessors"][0]["normalized"] = json!(true);
        root["bufferViews"][0]["byteStride"] = json!(8);
        root["extensionsRequired"] = json!(["KHR_mesh_quantization"]);
    });
    small.buffer[..6].copy_from_slice(&[0xff, 0x7f, 0, 0x80, 0, 0]);
    small.buffer[8..14].copy_from_slice(&[0, 0, 1, 0, 0, 0]);
    let sculpt = small.read();
    assert_eq!(sculpt.positions[0].to_array(), [1., -1., 0.]);
    assert_eq!(sculpt.positions[1].y, 1.0 / 32767.0);
}

#[test]
fn skins_leave_the_mesh_where_it_is_stored() {
    let skinned = changed(|root| {
        root["nodes"][0]["translation"] = json!([5, 5, 5]);
        root["nodes"][0]["skin"] = json!(0);
        root["skins"] = json!([{ "joints": [0] }]);
    });
    let sculpt = skinned.read();
    assert_eq!(sculpt.positions[0].to_array(), [0.; 3]);
    assert_eq!(sculpt.notes.skins_ignored, 1);
}

#[test]
fn without_scenes_the_nodes_without_parents_are_read() {
    let bare = changed(|root| {
        root.as_object_mut().unwrap().remove("scene");
        root.as_object_mut().unwrap().remove("scenes");
        root["nodes"] = json!([{ "mesh": 0 }, { "children": [0] }]);
    });
    assert_eq!(bare.read().triangles.len(), 4);
}

#[test]
fn buffers_lie_beside_the_file() {
    let folder = std::env::temp_dir().join(format!("loopwright-gltf-{}", std::process::id()));
    std::fs::create_dir_all(folder.join("sub")).unwrap();
    let with_uri = |uri: &str| {
        changed(|root| root["buffers"][0]["uri"] = json!(uri))
            .root
            .to_string()
    };
    std::fs::write(folder.join("sub/a b.bin"), sample().buffer).unwrap();
    let read = |uri: &str| {
        let path = folder.join("x.gltf");
        crate::sculpt::parse_sculpt(&path, with_uri(uri).as_bytes())
    };
    assert_eq!(read("sub/a%20b.bin").unwrap().triangles, FACES);
    let refused = [
        "gone.bin",
        "http://example.org/a.bin",
        "/etc/hostname",
        "sub",
        "a%zz",
        "data:nonsense",
        "data:;base64,A",
    ];
    for uri in refused {
        let error = read(uri).unwrap_err();
        assert!(
            matches!(error.problem, ReadProblem::Buffer { .. }),
            "{uri}: {error}"
        );
    }
    std::fs::write(folder.join("short.bin"), [0; 71]).unwrap();
    assert!(matches!(
        read("short.bin").unwrap_err().problem,
        ReadProblem::TooMany {
            announced: 72,
            room: 71,
            ..
        }
    ));
    // They are named before they are read, whether they are there or not.
    let named = |name: &str, bytes: Vec<u8>| {
        let path = folder.join(name);
        std::fs::write(&path, bytes).unwrap();
        crate::sculpt::read_with_sculpt(&path)
    };
    let text = |uri: &str| with_uri(uri).into_bytes();
    let buffer = [folder.join("sub/a b.bin")];
    assert_eq!(named("x.gltf", text("sub/a%20b.bin")), buffer);
    let container = changed(|root| root["buffers"][0]["uri"] = json!("sub/a%20b.bin")).glb();
    assert_eq!(named("x.glb", container.clone()), buffer);
    assert_eq!(named("x.gltf", text("gone.bin")), [folder.join("gone.bin")]);
    for (name, bytes) in [
        ("x.gltf", text("http://example.org/a.bin")),
        ("x.gltf", sample().with_data_uri()),
        ("x.gltf", b"{".to_vec()),
        ("x.glb", sample().glb()),
        ("x.glb", container[..40].to_vec()),
        ("x.glb", container[..15].to_vec()),
        ("x.obj", b"v 0 0 0".to_vec()),
    ] {
        assert!(named(name, bytes).is_empty(), "{name}");
    }
    std::fs::remove_dir_all(&folder).unwrap();
}

/// Every change makes the file break a rule, and must be told as such.
#[test]
fn broken_rules_are_typed_errors() {
    let malformed: [fn(&mut Value); 17] = [
        |r| r["scene"] = json!(3),
        |r| r["scenes"][0]["nodes"] = json!([1]),
        |r| r["nodes"][0]["children"] = json!([0]),
        |r| r["nodes"][0]["mesh"] = json!(1),
        |r| r["nodes"][0]["rotation"] = json!([0, 0, 0, 0]),
        |r| r["nodes"][0]["matrix"] = json!([1, 0, 0, 1, 0, 1, 0, 0, 0, 0, 1, 0, 0, 0, 0, 1]),
        |r| r["meshes"][0]["primitives"][0]["attributes"]["POSITION"] = json!(7),
        |r| r["meshes"][0]["primitives"][0]["indices"] = json!(0),
        |r| r["accessors"][0]["type"] = json!("VEC2"),
        |r| r["accessors"][0]["componentType"] = json!(5125),
        |r| r["accessors"][0]["bufferView"] = json!(9),
        |r| r["accessors"][0]["byteOffset"] = json!(4),
        |r| r["accessors"][0]["count"] = json!(u64::MAX),
        |r| r["bufferViews"][0]["byteStride"] = json!(8),
        |r| r["bufferViews"][1]["byteOffset"] = json!(49),
        |r| r["bufferViews"][1]["buffer"] = json!(1),
        |r| r["buffers"] = json!("none"),
    ];
    for (i, change) in malformed.into_iter().enumerate() {
        let found = changed(change).problem();
        assert!(
            matches!(found, ReadProblem::Malformed { .. }),
            "{i}: {found}"
        );
    }
    let unsupported: [fn(&mut Value); 2] = [
        |r| r["asset"]["version"] = json!("1.0"),
        |r| r["extensionsRequired"] = json!(["KHR_draco_mesh_compression"]),
    ];
    for change in unsupported {
        assert!(matches!(
            changed(change).problem(),
            ReadProblem::Unsupported { .. }
        ));
    }
    let mut sample = sample();
    sample.buffer[48] = 4;
    assert!(matches!(
        sample.problem(),
        ReadProblem::IndexOutOfRange { index: 4, .. }
    ));
    sample.buffer[48] = 0;
    sample.buffer[..4].copy_from_slice(&f32::NAN.to_le_bytes());
    assert!(matches!(sample.problem(), ReadProblem::NotFinite));
}

#[test]
fn repeated_meshes_cannot_fill_the_memory() {
    let mut bomb = changed(|root| {
        root["scenes"][0]["nodes"] = json!((0..2000).collect::<Vec<u32>>());
        root["nodes"] = json!(vec![json!({ "mesh": 0 }); 2000]);
        root["accessors"][0]["count"] = json!(40_000);
        root["bufferViews"][0]["byteLength"] = json!(480_000);
        root["buffers"][0]["byteLength"] = json!(480_000);
    });
    bomb.buffer.resize(480_000, 0);
    assert!(matches!(bomb.problem(), ReadProblem::TooMany { .. }));
}

#[test]
fn broken_containers_are_refused() {
    let whole = sample().glb();
    let with = |at: usize, value: u32| {
        let mut bytes = whole.clone();
        bytes[at..at + 4].copy_from_slice(&value.to_le_bytes());
        problem("x.glb", &bytes).1
    };
    assert!(matches!(with(4, 1), ReadProblem::Unsupported { .. }));
    assert!(matches!(with(8, 4), ReadProblem::Malformed { .. })); // shorter than its own header
    assert!(matches!(with(8, u32::MAX), ReadProblem::Truncated { .. }));
    assert!(matches!(with(12, u32::MAX), ReadProblem::Truncated { .. }));
    assert!(matches!(with(16, 0), ReadProblem::Malformed { .. })); // no JSON chunk
    assert!(matches!(
        problem("x.glb", b"PK\x03\x04").1,
        ReadProblem::Malformed { .. }
    ));
}
