//! Sculpt readers: PLY, OBJ, STL, glTF and GLB into plain triangles.
//!
//! Readers change nothing but the storage: polygons are cut into triangles, glTF
//! transforms are applied, STL corners with the same bits become one vertex.
//! Welding, orienting and repairing are the intake stage's work.
//!
//! Files are streamed through one buffer (glTF aside, whose buffers are read
//! whole), so memory stays near the result: 12 bytes a vertex and 12 a triangle.
//! Nothing is allocated on a header's word alone: announced counts are held
//! against the size of the file.

mod builder;
mod error;
mod gltf;
mod obj;
mod ply;
mod polygon;
mod quads;
mod source;
mod stl;

use std::ops::Range;
use std::path::{Path, PathBuf};

use mesh::{TriMesh, Vec3};

pub use error::{ReadError, ReadProblem, Spot};
pub use quads::{Held, parse_held, parse_quads, read_grouped_quads, read_held, read_quads};

use error::{Fault, Outcome};
use source::{Source, words};

/// Formats that [`read_sculpt`] reads.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum SculptFormat {
    /// Polygon file format, ASCII or binary of either byte order (G. Turk, 1994).
    Ply,
    /// Wavefront object file, ASCII.
    Obj,
    /// Stereolithography file, ASCII or binary (3D Systems).
    Stl,
    /// glTF 2.0 as JSON with buffers beside it (Khronos).
    Gltf,
    /// glTF 2.0 in one binary file (Khronos).
    Glb,
}

/// A sculpt as it stands in the file: not welded, not oriented, not checked for
/// manifoldness. Every index is in range and every coordinate finite.
#[derive(Clone, Debug, PartialEq)]
pub struct RawSculpt {
    /// Vertex positions in the file's unit.
    pub positions: Vec<Vec3>,
    /// Vertex indices of each triangle, winding as in the file.
    pub triangles: Vec<[u32; 3]>,
    /// Named parts in the order in which they first appear; none in PLY files.
    pub parts: Vec<RawPart>,
    /// What the reader saw on the way.
    pub notes: ReadNotes,
}

/// A named part of a sculpt: an object, group or material of an OBJ file, a solid
/// of an STL file, a node of a glTF file.
///
/// A triangle can be in several parts, such as its object and its group. Parts
/// of several kinds can have the same name; they are then one part.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct RawPart {
    /// Name as written in the file.
    pub name: String,
    /// Its triangles: rising ranges of indices that neither overlap nor touch.
    pub triangles: Vec<Range<u32>>,
}

impl RawPart {
    /// How many triangles it has.
    pub fn len(&self) -> usize {
        self.triangles.iter().map(ExactSizeIterator::len).sum()
    }

    /// Indices of its triangles, rising.
    pub fn indices(&self) -> impl Iterator<Item = u32> {
        self.triangles.iter().cloned().flatten()
    }

    /// Whether it has no triangle.
    pub fn is_empty(&self) -> bool {
        self.len() == 0
    }

    /// Adds a range that begins at or after the end of the last.
    fn extend(&mut self, range: Range<u32>) {
        match self.triangles.last_mut() {
            Some(last) if last.end == range.start => last.end = range.end,
            _ => self.triangles.push(range),
        }
    }
}

/// What a reader saw that intake and the findings may want to tell.
#[derive(Clone, Debug, PartialEq, Eq)]
#[non_exhaustive]
pub struct ReadNotes {
    /// The format, as decided from name and content.
    pub format: SculptFormat,
    /// Faces with four or more corners, cut into triangles.
    pub polygons_split: usize,
    /// Of these, faces that cross themselves or are degenerate, so that the cut is a guess.
    pub polygons_forced: usize,
    /// Faces with fewer than three corners, left out.
    pub faces_skipped: usize,
    /// Points, lines, curves and other statements or primitives without surface, left out.
    pub items_skipped: usize,
    /// STL: triangle corners that share a vertex with an earlier corner, bit for bit.
    pub corners_shared: usize,
    /// glTF: nodes whose skin was ignored; they are read in the pose they are stored in.
    pub skins_ignored: usize,
    /// Bytes after the end of a binary file's data.
    pub trailing_bytes: u64,
}

impl ReadNotes {
    fn new(format: SculptFormat) -> Self {
        Self {
            format,
            polygons_split: 0,
            polygons_forced: 0,
            faces_skipped: 0,
            items_skipped: 0,
            corners_shared: 0,
            skins_ignored: 0,
            trailing_bytes: 0,
        }
    }
}

impl RawSculpt {
    /// Positions and triangles without the rest.
    pub fn into_mesh(self) -> TriMesh {
        TriMesh {
            positions: self.positions,
            triangles: self.triangles,
        }
    }

    /// The part of this name.
    pub fn part(&self, name: &str) -> Option<&RawPart> {
        self.parts.iter().find(|part| part.name == name)
    }

    /// Keeps the triangles of one part and the vertices that they use, in the same order.
    ///
    /// # Errors
    /// [`ReadProblem::NoSuchPart`] with the names that exist; put the file's name to it
    /// with [`ReadProblem::in_file`].
    pub fn keep_part(self, name: &str) -> Result<Self, ReadProblem> {
        let Some(part) = self.part(name) else {
            let have = self.parts.into_iter().map(|part| part.name).collect();
            return Err(ReadProblem::NoSuchPart {
                name: name.to_owned(),
                have,
            });
        };
        const UNUSED: u32 = u32::MAX;
        let kept = part
            .triangles
            .iter()
            .flat_map(|r| r.start as usize..r.end as usize);
        let mut triangles: Vec<[u32; 3]> = kept.map(|t| self.triangles[t]).collect();
        let mut renamed = vec![UNUSED; self.positions.len()];
        for corner in triangles.iter().flatten() {
            renamed[*corner as usize] = 0;
        }
        let mut positions = Vec::new();
        for (old, new) in renamed
            .iter_mut()
            .enumerate()
            .filter(|(_, new)| **new != UNUSED)
        {
            *new = positions.len() as u32;
            positions.push(self.positions[old]);
        }
        for corner in triangles.iter_mut().flatten() {
            *corner = renamed[*corner as usize];
        }
        let whole = 0..triangles.len() as u32;
        let parts = vec![RawPart {
            name: name.to_owned(),
            triangles: vec![whole],
        }];
        Ok(Self {
            positions,
            triangles,
            parts,
            notes: self.notes,
        })
    }
}

impl ReadProblem {
    /// The error for a problem with a file as a whole.
    pub fn in_file(self, file: &Path) -> ReadError {
        ReadError {
            file: file.to_owned(),
            spot: Spot::File,
            problem: self,
        }
    }
}

/// Reads a sculpt file. The content decides the format where it can (PLY, glTF, GLB),
/// else the extension, else a look at the first lines.
///
/// Cost: linear in the file's size (polygons with a thousand corners aside).
///
/// # Errors
/// [`ReadError`] with the file, the place and the problem: a file that can't be read,
/// is cut off, breaks its format's rules, names vertices that don't exist, has
/// coordinates that aren't finite, or has no triangles.
pub fn read_sculpt(path: &Path) -> Result<RawSculpt, ReadError> {
    Source::of_file(path)
        .and_then(|source| read(source, path))
        .map_err(|fault| named(fault, path))
}

/// Files that are read with a sculpt file: the buffers that a glTF file names beside it. None for
/// other formats, and none that can be told of a file that [`read_sculpt`] would refuse.
///
/// Cost: that of reading a glTF file's JSON; of other formats, a few kilobytes are looked at.
pub fn read_with_sculpt(path: &Path) -> Vec<PathBuf> {
    let named = |mut source: Source<'_>| match format_of(&mut source, path)? {
        SculptFormat::Ply | SculptFormat::Obj | SculptFormat::Stl => Ok(Vec::new()),
        format @ (SculptFormat::Gltf | SculptFormat::Glb) => {
            gltf::beside(&mut source, path, format)
        }
    };
    Source::of_file(path).and_then(named).unwrap_or_default()
}

/// As [`read_sculpt`], from bytes in memory; `path` gives the extension, the name in
/// errors and the folder for glTF buffers.
///
/// # Errors
/// As [`read_sculpt`].
pub fn parse_sculpt(path: &Path, bytes: &[u8]) -> Result<RawSculpt, ReadError> {
    Source::of_bytes(bytes)
        .and_then(|source| read(source, path))
        .map_err(|fault| named(fault, path))
}

fn named(fault: Fault, path: &Path) -> ReadError {
    ReadError {
        file: path.to_owned(),
        spot: fault.spot,
        problem: fault.problem,
    }
}

fn read(mut source: Source<'_>, path: &Path) -> Outcome<RawSculpt> {
    match format_of(&mut source, path)? {
        SculptFormat::Ply => ply::read(source),
        SculptFormat::Obj => obj::read(source),
        SculptFormat::Stl => stl::read(source),
        format @ (SculptFormat::Gltf | SculptFormat::Glb) => gltf::read(source, path, format),
    }
}

fn format_of(source: &mut Source<'_>, path: &Path) -> Outcome<SculptFormat> {
    const LOOK: usize = 4096;
    let extension = path
        .extension()
        .and_then(|e| e.to_str())
        .unwrap_or_default()
        .to_ascii_lowercase();
    let length = source.length();
    let start = source.peek(LOOK)?;
    let start = &start[..start.len().min(LOOK)];
    if start.starts_with(b"ply\n") || start.starts_with(b"ply\r") {
        return Ok(SculptFormat::Ply);
    }
    if start.starts_with(b"glTF") {
        return Ok(SculptFormat::Glb);
    }
    Ok(match extension.as_str() {
        "ply" => SculptFormat::Ply,
        "obj" => SculptFormat::Obj,
        "stl" => SculptFormat::Stl,
        "gltf" => SculptFormat::Gltf,
        "glb" => SculptFormat::Glb,
        _ if start.trim_ascii_start().starts_with(b"{") => SculptFormat::Gltf,
        _ if stl::looks_like(start, length) => SculptFormat::Stl,
        _ if start
            .split(|&b| b == b'\n')
            .any(|line| words(line).next() == Some(b"v")) =>
        {
            SculptFormat::Obj
        }
        _ => return Err(ReadProblem::UnknownFormat.into()),
    })
}

#[cfg(test)]
mod tests;
