use super::*;
use crate::parse_sculpt;
use mesh::{Group, Vec3};

/// A tent of two quads on each side of x = 0, with a vertex that nothing uses.
fn tent() -> QuadMesh {
    let mut positions = vec![DVec3::splat(1e9)];
    for x in [-2.0, -1.0, 0.0, 1.0, 2.0f64] {
        positions.extend([0.0, 1.0].map(|z| DVec3::new(x, 2.0 - x.abs(), z)));
    }
    let quads = (0..4u32).map(|i| [1, 2, 4, 3].map(|v| v + 2 * i)).collect();
    let groups = vec![
        Group {
            name: "left".into(),
            quads: vec![0, 1],
        },
        Group {
            name: "empty".into(),
            quads: vec![],
        },
        Group {
            name: "ridge".into(),
            quads: vec![1, 2],
        },
    ];
    QuadMesh {
        positions,
        quads,
        groups,
    }
}

fn options() -> GlbOptions {
    let mirror = Some(MirrorPlane {
        origin: DVec3::ZERO,
        normal: DVec3::X,
    });
    GlbOptions {
        mirror,
        ..GlbOptions::named("tent")
    }
}

fn json_of(bytes: &[u8]) -> Value {
    let length = u32::from_le_bytes(bytes[12..16].try_into().unwrap()) as usize;
    serde_json::from_slice(&bytes[20..20 + length]).unwrap()
}

#[test]
fn the_reader_gets_the_surface_back() {
    let mesh = tent();
    let bytes = glb(&mesh, &options()).unwrap();
    let sculpt = parse_sculpt("x.glb".as_ref(), &bytes).unwrap();
    assert_eq!(
        sculpt.positions,
        mesh.positions[1..]
            .iter()
            .map(|p| p.as_vec3())
            .collect::<Vec<Vec3>>()
    );
    let expected: Vec<[u32; 3]> = symmetric_triangles(&mesh, options().mirror)
        .iter()
        .map(|t| t.map(|v| v - 1))
        .collect();
    assert_eq!(sculpt.triangles, expected);
    assert_eq!(sculpt.part("tent").unwrap().len(), 8);
}

#[test]
fn each_group_is_a_primitive_with_a_named_material() {
    let root = json_of(&glb(&tent(), &options()).unwrap());
    let names: Vec<&str> = root["materials"]
        .as_array()
        .unwrap()
        .iter()
        .map(|m| m["name"].as_str().unwrap())
        .collect();
    assert_eq!(names, ["left", "ridge", "surface"]);
    let counts: Vec<u64> = (2..5)
        .map(|a| root["accessors"][a]["count"].as_u64().unwrap())
        .collect();
    assert_eq!(counts, [12, 6, 6]);
    assert_eq!(root["accessors"][0]["min"], json!([-2.0, 0.0, 0.0]));
    assert_eq!(root["accessors"][0]["max"], json!([2.0, 2.0, 1.0]));
    assert_eq!(root["asset"]["generator"], "Loopwright");
}

#[test]
fn parts_are_nodes_with_meshes_and_vertices_of_their_own() {
    let one = tent();
    let mut both = one.clone();
    let first = one.positions.len() as u32;
    both.positions
        .extend(one.positions.iter().map(|p| *p + 4.0 * DVec3::Y));
    both.quads
        .extend(one.quads.iter().map(|q| q.map(|v| v + first)));
    let part = |name: &str, quads| GlbPart {
        name: name.into(),
        quads,
    };
    let mut options = options();
    options.metres_per_unit = 0.01;
    options.parts = vec![part("low", 0..4), part("none", 4..4), part("high", 4..8)];
    let bytes = glb(&both, &options).unwrap();
    let root = json_of(&bytes);
    assert_eq!(
        root["nodes"],
        json!([
            { "name": "tent", "children": [1, 2], "scale": [0.01, 0.01, 0.01] },
            { "name": "low", "mesh": 0 },
            { "name": "high", "mesh": 1 },
        ])
    );
    // Meshes that share a buffer view need its stride (section 3.6.2.4).
    assert!((0..2).all(|view| root["bufferViews"][view]["byteStride"] == 12));
    // Ten vertices each, of which a reader takes no others.
    for mesh in root["meshes"].as_array().unwrap() {
        let at = mesh["primitives"][0]["attributes"]["POSITION"]
            .as_u64()
            .unwrap();
        assert_eq!(root["accessors"][at as usize]["count"], 10);
    }
    let sculpt = parse_sculpt("x.glb".as_ref(), &bytes).unwrap();
    assert_eq!(sculpt.triangles.len(), 16);
    for (name, low) in [("low", 1.0), ("high", 5.0)] {
        let part = sculpt.part(name).unwrap();
        assert_eq!(part.len(), 8);
        let mut corners = part.indices().flat_map(|t| sculpt.triangles[t as usize]);
        let least = 0.01 * (low - 1.0) - 1e-6;
        assert!(corners.all(|v| f64::from(sculpt.positions[v as usize].y) >= least));
    }
    // What has the whole isn't asked for twice or left out.
    for parts in [
        vec![part("low", 0..4)],
        vec![part("low", 0..5), part("high", 4..8)],
    ] {
        let refused = glb(
            &both,
            &GlbOptions {
                parts,
                ..options.clone()
            },
        );
        assert!(
            matches!(refused, Err(EncodeError::Parts { .. })),
            "{refused:?}"
        );
    }
}

#[test]
fn units_become_the_scale_of_the_node() {
    let bytes = glb(
        &tent(),
        &GlbOptions {
            metres_per_unit: 0.01,
            ..options()
        },
    )
    .unwrap();
    assert_eq!(
        json_of(&bytes)["nodes"][0]["scale"],
        json!([0.01, 0.01, 0.01])
    );
    let sculpt = parse_sculpt("x.glb".as_ref(), &bytes).unwrap();
    assert!((sculpt.positions[0] - Vec3::new(-0.02, 0.0, 0.0)).length() < 1e-8);
}

#[test]
fn normals_have_unit_length_and_face_out() {
    let bytes = glb(&tent(), &options()).unwrap();
    let root = json_of(&bytes);
    let json_length = u32::from_le_bytes(bytes[12..16].try_into().unwrap()) as usize;
    let start = 28 + json_length + root["bufferViews"][1]["byteOffset"].as_u64().unwrap() as usize;
    let at =
        |i: usize| f32::from_le_bytes(bytes[start + 4 * i..start + 4 * i + 4].try_into().unwrap());
    for v in 0..10 {
        let n = Vec3::new(at(3 * v), at(3 * v + 1), at(3 * v + 2));
        assert!((n.length() - 1.0).abs() < 1e-6 && n.y > 0.5, "{n}");
    }
}

#[test]
fn many_vertices_get_longer_indices() {
    let n = 256u32;
    let at = |i: u32, j: u32| i * n + j;
    let positions = (0..n * n)
        .map(|k| DVec3::new(f64::from(k / n), f64::from(k % n), 0.0))
        .collect();
    let cells = (0..n - 1).flat_map(|i| (0..n - 1).map(move |j| (i, j)));
    let quads = cells
        .map(|(i, j)| [at(i, j), at(i + 1, j), at(i + 1, j + 1), at(i, j + 1)])
        .collect();
    let mesh = QuadMesh {
        positions,
        quads,
        groups: vec![],
    };
    let bytes = glb(&mesh, &GlbOptions::named("sailcloth")).unwrap();
    assert_eq!(json_of(&bytes)["accessors"][2]["componentType"], 5125);
    let sculpt = parse_sculpt("x.glb".as_ref(), &bytes).unwrap();
    assert_eq!(sculpt.triangles, symmetric_triangles(&mesh, None));
}

#[test]
fn broken_surfaces_are_refused() {
    let empty = QuadMesh::default();
    assert_eq!(glb(&empty, &options()), Err(EncodeError::Empty));
    let mut far = tent();
    far.positions[3].x = 1e300;
    assert!(matches!(
        glb(&far, &options()),
        Err(EncodeError::NotFinite { vertex: 3, .. })
    ));
    let mut beyond = tent();
    beyond.quads[2][1] = 99;
    assert_eq!(
        glb(&beyond, &options()),
        Err(EncodeError::IndexOutOfRange { quad: 2 })
    );
    let flat = GlbOptions {
        metres_per_unit: 0.0,
        ..options()
    };
    assert_eq!(glb(&tent(), &flat), Err(EncodeError::Scale { value: 0.0 }));
    let bytes = 1 << 32;
    assert_eq!(length_field(bytes), Err(EncodeError::TooLarge { bytes }));
}
