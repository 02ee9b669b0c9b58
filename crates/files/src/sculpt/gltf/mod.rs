//! glTF 2.0 and GLB.
//!
//! Read as in the "glTF 2.0 Specification" (Khronos Group, 2021; from memory): the
//! default scene's nodes with their transforms applied, every triangle mode, sparse
//! accessors, and positions in the integer types of `KHR_mesh_quantization`. Morph
//! targets and skins are left at rest. Positions stay in the file's unit.
//!
//! The `gltf` crate reads the JSON. Everything behind it is checked here, since its
//! accessors trust the file.

mod accessor;
mod buffers;
mod container;

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use glam::{DAffine3, DMat4, DQuat, DVec3};
use gltf::json::{self, validation::Checked};

use super::builder::{Builder, have};
use super::error::{Outcome, ReadProblem, Spot};
use super::source::Source;
use super::{RawSculpt, SculptFormat};
use accessor::Accessors;
use buffers::Buffers;

pub(super) const FORMAT: &str = "glTF 2.0";

/// Required extensions that change no triangle, or that are read here.
const HARMLESS: [&str; 6] = [
    "KHR_mesh_quantization",
    "KHR_materials_",
    "KHR_texture_",
    "KHR_lights_",
    "EXT_texture_",
    "KHR_animation_",
];

pub(super) fn read(
    mut source: Source<'_>,
    path: &Path,
    format: SculptFormat,
) -> Outcome<RawSculpt> {
    let bytes = container::whole(&mut source)?;
    let (text, chunk) = match format {
        SculptFormat::Glb => container::split(&bytes)?,
        _ => (&bytes[..], None),
    };
    let root: json::Root = json::deserialize::from_slice(text)
        .map_err(|error| ReadProblem::malformed(FORMAT, format!("its JSON says: {error}")))?;
    check_needs(&root)?;
    let buffers = Buffers::new(&root, chunk, path);
    let mut walk = Walk {
        root: &root,
        accessors: Accessors::new(&root, buffers),
        builder: Builder::new(format),
        vertices_left: room_for(bytes.len()),
        corners_left: 3 * room_for(bytes.len()),
    };
    walk.scene()?;
    Ok(walk.builder.finish()?)
}

/// Files that the buffers are read from beside the file itself.
pub(super) fn beside(
    source: &mut Source<'_>,
    path: &Path,
    format: SculptFormat,
) -> Outcome<Vec<PathBuf>> {
    let root: Result<json::Root, _> = match format {
        SculptFormat::Glb => json::deserialize::from_slice(container::text(source)?),
        _ => json::deserialize::from_slice(&container::whole(source)?),
    };
    let root =
        root.map_err(|error| ReadProblem::malformed(FORMAT, format!("its JSON says: {error}")))?;
    Ok(Buffers::new(&root, None, path).files())
}

fn check_needs(root: &json::Root) -> Result<(), ReadProblem> {
    if !root.asset.version.starts_with("2.") {
        let what = format!("glTF version {}", root.asset.version);
        return Err(ReadProblem::Unsupported { what });
    }
    let strange = |name: &&String| !HARMLESS.iter().any(|start| name.starts_with(start));
    match root.extensions_required.iter().find(strange) {
        Some(name) => Err(ReadProblem::Unsupported {
            what: format!("the extension {name}"),
        }),
        None => Ok(()),
    }
}

/// Vertices and triangles that a file of this size may give. Nodes can repeat a mesh,
/// so the result can be larger than the file; without a limit a small file could fill
/// the memory.
fn room_for(bytes: usize) -> usize {
    4 * bytes + (1 << 20)
}

/// The walk over a scene's nodes.
struct Walk<'a> {
    root: &'a json::Root,
    accessors: Accessors<'a>,
    builder: Builder,
    vertices_left: usize,
    corners_left: usize,
}

impl Walk<'_> {
    fn scene(&mut self) -> Outcome<()> {
        let root = self.root;
        let number = root.scene.map_or(0, |scene| scene.value());
        let roots: Vec<usize> = match root.scenes.get(number) {
            Some(scene) => scene.nodes.iter().map(|node| node.value()).collect(),
            None if root.scenes.is_empty() => self.parentless(),
            None => {
                let what = format!("scene {number} doesn't exist");
                return Err(ReadProblem::malformed(FORMAT, what).into());
            }
        };
        let mut seen = vec![false; root.nodes.len()];
        let mut open: Vec<(usize, DAffine3)> = roots
            .into_iter()
            .rev()
            .map(|n| (n, DAffine3::IDENTITY))
            .collect();
        while let Some((number, world_from_parent)) = open.pop() {
            let bad = |what: &str| {
                ReadProblem::malformed(FORMAT, what).at(Spot::item("node", number as u64))
            };
            let Some(node) = root.nodes.get(number) else {
                return Err(bad("the node doesn't exist"));
            };
            if std::mem::replace(&mut seen[number], true) {
                return Err(bad("the node hangs under two parents or under itself"));
            }
            let Some(local) = transform(node) else {
                return Err(bad("the node's transform isn't finite or not affine"));
            };
            let world_from_local = world_from_parent * local;
            if let Some(mesh) = node.mesh {
                self.mesh(node, mesh.value(), world_from_local)?;
            }
            let children = node.children.as_deref().unwrap_or_default();
            open.extend(
                children
                    .iter()
                    .rev()
                    .map(|child| (child.value(), world_from_local)),
            );
        }
        Ok(())
    }

    fn parentless(&self) -> Vec<usize> {
        let mut is_child = vec![false; self.root.nodes.len()];
        for child in self
            .root
            .nodes
            .iter()
            .flat_map(|node| node.children.iter().flatten())
        {
            if let Some(mark) = is_child.get_mut(child.value()) {
                *mark = true;
            }
        }
        (0..is_child.len())
            .filter(|&node| !is_child[node])
            .collect()
    }

    fn mesh(
        &mut self,
        node: &json::Node,
        number: usize,
        world_from_local: DAffine3,
    ) -> Outcome<()> {
        let Some(mesh) = self.root.meshes.get(number) else {
            let what = "the mesh doesn't exist";
            return Err(ReadProblem::malformed(FORMAT, what).at(Spot::item("mesh", number as u64)));
        };
        let skinned = node.skin.is_some();
        self.builder.notes.skins_ignored += usize::from(skinned);
        // The specification has the node's transform ignored when there is a skin.
        let world_from_local = if skinned {
            DAffine3::IDENTITY
        } else {
            world_from_local
        };
        let since = self.builder.triangles.len();
        // Primitives often share one set of positions: they must share the vertices too.
        let mut bases = BTreeMap::new();
        for primitive in &mesh.primitives {
            self.primitive(primitive, number, world_from_local, &mut bases)?;
        }
        let mut names: Vec<&String> = node.name.iter().chain(&mesh.name).collect();
        names.dedup();
        for name in names {
            let part = self.builder.part(name);
            self.builder.give(part, since);
        }
        Ok(())
    }

    fn primitive(
        &mut self,
        primitive: &json::mesh::Primitive,
        mesh: usize,
        world_from_local: DAffine3,
        bases: &mut BTreeMap<usize, (u32, u32)>,
    ) -> Outcome<()> {
        use json::mesh::Mode;
        let bad =
            |what: &str| ReadProblem::malformed(FORMAT, what).at(Spot::item("mesh", mesh as u64));
        let mode = match primitive.mode {
            Checked::Valid(mode @ (Mode::Triangles | Mode::TriangleStrip | Mode::TriangleFan)) => {
                mode
            }
            Checked::Valid(_) => {
                self.builder.notes.items_skipped += 1;
                return Ok(());
            }
            Checked::Invalid => return Err(bad("a primitive's mode is unknown")),
        };
        let positions = Checked::Valid(json::mesh::Semantic::Positions);
        let Some(positions) = primitive.attributes.get(&positions) else {
            self.builder.notes.items_skipped += 1; // the specification allows it: nothing to show
            return Ok(());
        };
        let (base, count) = match bases.get(&positions.value()) {
            Some(&found) => found,
            None => {
                let found = self.vertices(positions.value(), world_from_local)?;
                bases.insert(positions.value(), found);
                found
            }
        };
        let indices = match primitive.indices {
            Some(accessor) => self.accessors.indices(accessor.value())?,
            None => (0..count).collect(),
        };
        if mode == Mode::Triangles && !indices.len().is_multiple_of(3) {
            return Err(bad(
                "the number of a primitive's corners isn't a multiple of three",
            ));
        }
        self.corners_left = spend("corners", self.corners_left, indices.len())?;
        if let Some(&index) = indices.iter().find(|&&index| index >= count) {
            let problem = ReadProblem::IndexOutOfRange {
                index: i64::from(index),
                have: have(0, count as usize),
            };
            return Err(problem.at(Spot::item("mesh", mesh as u64)));
        }
        let flipped = world_from_local.matrix3.determinant() < 0.0;
        self.faces(mode, &indices, base, flipped)
    }

    /// Adds the triangles of a mode as the specification lists them (section 3.7.2.1).
    fn faces(
        &mut self,
        mode: json::mesh::Mode,
        indices: &[u32],
        base: u32,
        flipped: bool,
    ) -> Outcome<()> {
        let count = match mode {
            json::mesh::Mode::Triangles => indices.len() / 3,
            _ => indices.len().saturating_sub(2),
        };
        self.builder.triangles.reserve(count);
        for i in 0..count {
            let corners = match mode {
                json::mesh::Mode::Triangles => [3 * i, 3 * i + 1, 3 * i + 2],
                json::mesh::Mode::TriangleStrip => [i, i + 1 + i % 2, i + 2 - i % 2],
                _ => [i + 1, i + 2, 0],
            };
            let [a, b, c] = corners.map(|corner| base + indices[corner]);
            let collapsed = a == b || b == c || a == c;
            if collapsed && mode == json::mesh::Mode::TriangleStrip {
                continue; // strips are stitched together by doubled vertices
            }
            // A transform that mirrors turns the winding (section 3.7.4).
            self.builder
                .face(&if flipped { [a, c, b] } else { [a, b, c] })?;
        }
        Ok(())
    }

    /// Adds an accessor's positions; gives the first vertex and how many there are.
    fn vertices(&mut self, accessor: usize, world_from_local: DAffine3) -> Outcome<(u32, u32)> {
        let spot = || Spot::item("accessor", accessor as u64);
        let points = self.accessors.points(accessor)?;
        let base = self.builder.positions.len();
        self.vertices_left = spend("vertices", self.vertices_left, points.len())?;
        self.builder.positions.reserve(points.len());
        for &point in &points {
            let placed = if world_from_local == DAffine3::IDENTITY {
                point
            } else {
                world_from_local
                    .transform_point3(point.as_dvec3())
                    .as_vec3()
            };
            self.builder
                .vertex(placed)
                .map_err(|problem| problem.at(spot()))?;
        }
        Ok((base as u32, points.len() as u32))
    }
}

/// What is left of a limit.
fn spend(what: &str, left: usize, count: usize) -> Result<usize, ReadProblem> {
    left.checked_sub(count).ok_or_else(|| ReadProblem::TooMany {
        what: format!("{what}, with its repeated meshes"),
        announced: count as u64,
        room: left as u64,
    })
}

/// A node's transform; `None` if it isn't finite or not affine.
fn transform(node: &json::Node) -> Option<DAffine3> {
    let affine = match node.matrix {
        Some(matrix) => {
            let matrix = DMat4::from_cols_array(&matrix.map(f64::from));
            if matrix.row(3) != DMat4::IDENTITY.row(3) {
                return None;
            }
            DAffine3::from_mat4(matrix)
        }
        None => {
            let vector = |v: [f32; 3]| DVec3::from_array(v.map(f64::from));
            let rotation = node
                .rotation
                .map_or(DQuat::IDENTITY, |r| DQuat::from_array(r.0.map(f64::from)));
            if !(rotation.is_finite() && rotation.length_squared() > 0.0) {
                return None;
            }
            DAffine3::from_scale_rotation_translation(
                node.scale.map_or(DVec3::ONE, vector),
                rotation.normalize(),
                node.translation.map_or(DVec3::ZERO, vector),
            )
        }
    };
    affine.is_finite().then_some(affine)
}

#[cfg(test)]
pub(super) mod tests;
