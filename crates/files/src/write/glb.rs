//! GLB, written by hand: "glTF 2.0 Specification" (Khronos Group, 2021; from memory;
//! `reference/validate_glb.mjs` has Khronos' own validator check it).

use std::ops::Range;

use mesh::{DVec3, QuadMesh};
use serde_json::{Value, json};

use super::REST;
use super::mirror::{MirrorPlane, symmetric_triangles};
use super::obj::groups_of_quads;
use super::shade::Shade;

/// How a surface goes into a GLB file.
#[derive(Clone, Debug, PartialEq)]
#[non_exhaustive]
pub struct GlbOptions {
    /// Name of the scene, node and mesh.
    pub name: String,
    /// The plane that the surface is symmetric about; the triangles then are too.
    pub mirror: Option<MirrorPlane>,
    /// Metres in a model unit, above 0: glTF counts in metres. It becomes the node's scale,
    /// so that stored coordinates stay those of the model.
    pub metres_per_unit: f64,
    /// Edges with a normal on either side: both ends, lower first, sorted.
    pub hard: Vec<[u32; 2]>,
    /// Parts with a node and a mesh of their own below the surface's node; none: the surface is one
    /// mesh.
    pub parts: Vec<GlbPart>,
}

/// Quads that are a node of their own.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct GlbPart {
    /// Name of the node and its mesh.
    pub name: String,
    /// Its quads. Those of all parts in their order are those of the surface.
    pub quads: Range<usize>,
}

impl GlbOptions {
    /// Options with a name, no mirror plane and metres as the unit.
    pub fn named(name: impl Into<String>) -> Self {
        Self {
            name: name.into(),
            mirror: None,
            metres_per_unit: 1.0,
            hard: Vec::new(),
            parts: Vec::new(),
        }
    }
}

/// A surface can't be written as GLB.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum EncodeError {
    /// glTF has no way to say nothing.
    #[error("the surface has no quads, which glTF can't hold. Nothing to write")]
    Empty,
    /// A coordinate that f32 can't hold.
    #[error(
        "vertex {vertex} lies at {position}, which 32-bit floats can't hold. Compute the surface again"
    )]
    NotFinite {
        /// The vertex.
        vertex: usize,
        /// Its position.
        position: DVec3,
    },
    /// A quad that names no vertex.
    #[error("quad {quad} names a vertex that doesn't exist. Compute the surface again")]
    IndexOutOfRange {
        /// The quad.
        quad: usize,
    },
    /// Parts that leave quads out or have them twice.
    #[error(
        "part '{part}' begins at quad {begins}, where {expected} is next. Name each quad once, in order"
    )]
    Parts {
        /// The part; the surface's own name if quads are left over.
        part: String,
        /// Where it begins.
        begins: usize,
        /// Where it should.
        expected: usize,
    },
    /// A scale that makes no sense.
    #[error("{value} metres in a unit is no scale. Give a number above 0")]
    Scale {
        /// The value.
        value: f64,
    },
    /// More than a GLB file's 32-bit lengths can count.
    #[error("the surface needs {bytes} bytes; a GLB file holds 4 GiB. Use fewer faces")]
    TooLarge {
        /// Bytes needed.
        bytes: u64,
    },
}

/// A quad surface as GLB: triangles with normals, one primitive and one material a group,
/// named after the group; a quad in several groups goes to the first. Mirror images stay
/// exact where `options.mirror` is given and the positions are exact images.
///
/// # Errors
/// [`EncodeError`] for a surface that is empty, too large or broken.
pub fn glb(mesh: &QuadMesh, options: &GlbOptions) -> Result<Vec<u8>, EncodeError> {
    if mesh.quads.is_empty() {
        return Err(EncodeError::Empty);
    }
    let scale = options.metres_per_unit;
    if !(scale.is_finite() && scale > 0.0) {
        return Err(EncodeError::Scale { value: scale });
    }
    check_indices(mesh)?;
    // A vertex of the file for each normal: what is smooth is shared.
    let shade = Shade::of(mesh, &options.hard);
    let positions = shade.vertex.iter().map(|&v| {
        let v = v as usize;
        let p = mesh.positions[v];
        let single = (p + DVec3::ZERO).as_vec3();
        single
            .is_finite()
            .then_some(single.to_array())
            .ok_or(EncodeError::NotFinite {
                vertex: v,
                position: p,
            })
    });
    let positions: Vec<[f32; 3]> = positions.collect::<Result<_, _>>()?;
    let normals = shade.normals.iter().map(|n| n.as_vec3().to_array());
    let normals: Vec<[f32; 3]> = normals.collect();
    let triangles = symmetric_triangles(mesh, options.mirror);
    let mut meshes = meshes(mesh, options)?;
    for part in &mut meshes {
        let quads = part.primitives.iter().flat_map(|p| &p.quads);
        let used = quads.flat_map(|&q| shade.of_corner[q]);
        let (first, last) = used.fold((u32::MAX, 0), |(a, b), v| (a.min(v), b.max(v)));
        part.vertices = first as usize..last as usize + 1;
    }

    let mut data: Vec<u8> = Vec::new();
    data.extend(positions.iter().flatten().flat_map(|c| c.to_le_bytes()));
    let normals_at = data.len();
    data.extend(normals.iter().flatten().flat_map(|c| c.to_le_bytes()));
    let indices_at = data.len();
    // 65535 itself isn't allowed as a 16-bit index: it could mean a restart.
    let short = meshes
        .iter()
        .all(|part| part.vertices.len() <= usize::from(u16::MAX));
    for part in &meshes {
        for &quad in part.primitives.iter().flat_map(|p| &p.quads) {
            for corner in [triangles[2 * quad], triangles[2 * quad + 1]].as_flattened() {
                let index = shade.at(mesh, quad, *corner) - part.vertices.start as u32;
                let bytes = index.to_le_bytes();
                data.extend(if short { &bytes[..2] } else { &bytes[..] });
            }
        }
    }
    let layout = Layout {
        normals_at,
        indices_at,
        end: data.len(),
        short,
    };
    let root = root(options, &meshes, &layout, &positions);
    container(&root, data)
}

fn check_indices(mesh: &QuadMesh) -> Result<(), EncodeError> {
    let known = |v: &u32| (*v as usize) < mesh.positions.len();
    match mesh.quads.iter().position(|q| !q.iter().all(known)) {
        Some(quad) => Err(EncodeError::IndexOutOfRange { quad }),
        None => Ok(()),
    }
}

/// A mesh of the file.
struct Part {
    name: String,
    primitives: Vec<Primitive>,
    /// Which of the file's vertices it has.
    vertices: Range<usize>,
}

/// Quads of one material.
struct Primitive {
    name: String,
    quads: Vec<usize>,
}

/// The meshes and their primitives: groups that have quads, then the rest. A part without quads is none.
fn meshes(mesh: &QuadMesh, options: &GlbOptions) -> Result<Vec<Part>, EncodeError> {
    let mut parts = options.parts.clone();
    if parts.is_empty() {
        parts.push(GlbPart {
            name: options.name.clone(),
            quads: 0..mesh.quads.len(),
        });
    }
    let wrong = |part: &str, begins: usize, expected: usize| EncodeError::Parts {
        part: part.to_owned(),
        begins,
        expected,
    };
    let groups = groups_of_quads(mesh);
    let (mut all, mut next) = (Vec::new(), 0);
    for GlbPart { name, quads } in parts {
        if quads.start != next || quads.end < next || quads.end > mesh.quads.len() {
            return Err(wrong(&name, quads.start, next));
        }
        next = quads.end;
        let names = mesh.groups.iter().map(|group| group.name.as_str());
        let empty = |name: &str| Primitive {
            name: name.to_owned(),
            quads: Vec::new(),
        };
        let mut primitives: Vec<Primitive> = names.chain([REST]).map(empty).collect();
        for quad in quads {
            let group = groups[quad].first();
            let group = group.map_or(mesh.groups.len(), |&group| group as usize);
            primitives[group].quads.push(quad);
        }
        primitives.retain(|primitive| !primitive.quads.is_empty());
        if !primitives.is_empty() {
            all.push(Part {
                name,
                primitives,
                vertices: 0..0,
            });
        }
    }
    match next == mesh.quads.len() {
        true => Ok(all),
        false => Err(wrong(&options.name, next, mesh.quads.len())),
    }
}

fn bounds(positions: &[[f32; 3]]) -> [[f32; 3]; 2] {
    let mut bounds = [[f32::INFINITY; 3], [f32::NEG_INFINITY; 3]];
    for p in positions {
        for axis in 0..3 {
            bounds[0][axis] = bounds[0][axis].min(p[axis]);
            bounds[1][axis] = bounds[1][axis].max(p[axis]);
        }
    }
    bounds
}

/// Where things lie in the binary chunk.
struct Layout {
    normals_at: usize,
    indices_at: usize,
    end: usize,
    short: bool,
}

fn root(options: &GlbOptions, parts: &[Part], layout: &Layout, positions: &[[f32; 3]]) -> Value {
    const FLOAT: u32 = 5126;
    const ARRAY_BUFFER: u32 = 34962;
    const ELEMENT_ARRAY_BUFFER: u32 = 34963;
    /// Bytes of three floats.
    const VEC3: usize = 12;
    let Layout {
        normals_at,
        indices_at,
        end,
        short,
    } = *layout;
    // Written as f64, the exact value of each f32: a reader compares them with the data.
    let exact = |v: [f32; 3]| v.map(f64::from);
    let (index_type, index_size) = if short { (5123, 2) } else { (5125, 4) };
    let (mut accessors, mut meshes, mut materials) = (Vec::new(), Vec::new(), Vec::new());
    let mut offset = 0;
    for part in parts {
        let [low, high] = bounds(&positions[part.vertices.clone()]);
        let (position, count) = (accessors.len(), part.vertices.len());
        let begins = VEC3 * part.vertices.start;
        accessors.push(json!({
            "bufferView": 0, "byteOffset": begins, "componentType": FLOAT, "count": count, "type": "VEC3",
            "min": exact(low), "max": exact(high),
        }));
        accessors.push(json!({
            "bufferView": 1, "byteOffset": begins, "componentType": FLOAT, "count": count, "type": "VEC3",
        }));
        let mut primitives = Vec::new();
        for primitive in &part.primitives {
            primitives.push(json!({
                "attributes": { "POSITION": position, "NORMAL": position + 1 },
                "indices": accessors.len(), "material": materials.len(), "mode": 4,
            }));
            // Cloth is single-walled: its inside is seen too.
            materials.push(json!({
                "name": primitive.name, "doubleSided": true,
                "pbrMetallicRoughness": { "metallicFactor": 0.0, "roughnessFactor": 0.8 },
            }));
            let indices = 6 * primitive.quads.len();
            accessors.push(json!({
                "bufferView": 2, "byteOffset": offset, "componentType": index_type,
                "count": indices, "type": "SCALAR",
            }));
            offset += indices * index_size;
        }
        meshes.push(json!({ "name": part.name, "primitives": primitives }));
    }
    let mut node = json!({ "name": options.name });
    let mut nodes = Vec::new();
    if options.parts.is_empty() {
        node["mesh"] = Value::from(0);
    } else {
        // Below one node for the whole, which has the scale.
        let each = parts.iter().enumerate();
        nodes.extend(each.map(|(mesh, part)| json!({ "name": part.name, "mesh": mesh })));
        node["children"] = (1..=nodes.len()).collect::<Vec<_>>().into();
    }
    if options.metres_per_unit != 1.0 {
        node["scale"] = Value::from(vec![options.metres_per_unit; 3]);
    }
    nodes.insert(0, node);
    json!({
        "asset": { "version": "2.0", "generator": "Loopwright" },
        "scene": 0,
        "scenes": [{ "name": options.name, "nodes": [0] }],
        "nodes": nodes,
        "meshes": meshes,
        "materials": materials,
        "accessors": accessors,
        "bufferViews": [
            { "buffer": 0, "byteOffset": 0, "byteLength": normals_at, "byteStride": VEC3, "target": ARRAY_BUFFER },
            { "buffer": 0, "byteOffset": normals_at, "byteLength": indices_at - normals_at, "byteStride": VEC3, "target": ARRAY_BUFFER },
            { "buffer": 0, "byteOffset": indices_at, "byteLength": end - indices_at, "target": ELEMENT_ARRAY_BUFFER },
        ],
        "buffers": [{ "byteLength": end }],
    })
}

/// The length of a file as its header states it.
fn length_field(bytes: u64) -> Result<u32, EncodeError> {
    u32::try_from(bytes).map_err(|_| EncodeError::TooLarge { bytes })
}

/// Header, JSON chunk padded with blanks, binary chunk padded with zeros (section 4.4).
fn container(root: &Value, mut data: Vec<u8>) -> Result<Vec<u8>, EncodeError> {
    let mut text = root.to_string().into_bytes();
    text.resize(text.len().next_multiple_of(4), b' ');
    data.resize(data.len().next_multiple_of(4), 0);
    let total = 12 + 8 + text.len() + 8 + data.len();
    let length = length_field(total as u64)?;
    let mut out = Vec::with_capacity(total);
    out.extend(b"glTF");
    out.extend(2u32.to_le_bytes());
    out.extend(length.to_le_bytes());
    for (kind, chunk) in [(b"JSON", text), (b"BIN\0", data)] {
        out.extend((chunk.len() as u32).to_le_bytes());
        out.extend(kind);
        out.extend(chunk);
    }
    Ok(out)
}

#[cfg(test)]
mod tests;
