//! A finished surface read back: OBJ quads in f64.

use std::collections::BTreeMap;
use std::path::Path;

use mesh::{DVec3, Group, QuadMesh};

use super::builder::have;
use super::error::{Outcome, ReadError, ReadProblem};
use super::named;
use super::obj::leading_index;
use super::source::{Source, words};

/// Reads a surface of quads from an OBJ file: vertices in f64 and quads, both in the file's
/// order. Groups, normals, texture coordinates and everything else are read past.
///
/// # Errors
/// [`ReadError`] with the line: what [`crate::read_sculpt`] refuses, a face that hasn't four
/// corners, and a file without quads.
pub fn read_quads(path: &Path) -> Result<QuadMesh, ReadError> {
    of_file(path, quads_alone)
}

/// As [`read_quads`], from bytes in memory; `path` is named in errors.
///
/// # Errors
/// As [`read_quads`].
pub fn parse_quads(path: &Path, bytes: &[u8]) -> Result<QuadMesh, ReadError> {
    of_bytes(path, bytes, quads_alone)
}

/// As [`read_quads`], with the groups: one for each name on the file's `g` lines.
///
/// # Errors
/// As [`read_quads`].
pub fn read_grouped_quads(path: &Path) -> Result<QuadMesh, ReadError> {
    of_file(path, |source| read_all(source).map(|file| file.mesh))
}

/// Held quads, as a file has them.
#[derive(Clone, Debug, PartialEq)]
pub struct Held {
    /// The quads, in their groups.
    pub mesh: QuadMesh,
    /// Edges at which the rest of the surface goes on: the file's lines.
    pub rim: Vec<[u32; 2]>,
}

/// Reads held quads from an OBJ file as [`crate::held_text`] writes it.
///
/// # Errors
/// As [`read_quads`]; and a file without lines, which say where the rest goes on.
pub fn read_held(path: &Path) -> Result<Held, ReadError> {
    of_file(path, held)
}

/// As [`read_held`], from bytes in memory; `path` is named in errors.
///
/// # Errors
/// As [`read_held`].
pub fn parse_held(path: &Path, bytes: &[u8]) -> Result<Held, ReadError> {
    of_bytes(path, bytes, held)
}

fn of_file<T>(path: &Path, read: impl Fn(Source<'_>) -> Outcome<T>) -> Result<T, ReadError> {
    let read = Source::of_file(path).and_then(read);
    read.map_err(|fault| named(fault, path))
}

fn of_bytes<T>(
    path: &Path,
    bytes: &[u8],
    read: impl Fn(Source<'_>) -> Outcome<T>,
) -> Result<T, ReadError> {
    let read = Source::of_bytes(bytes).and_then(read);
    read.map_err(|fault| named(fault, path))
}

fn held(source: Source<'_>) -> Outcome<Held> {
    let file = read_all(source)?;
    if file.rim.is_empty() {
        return Err(ReadProblem::NoRim.into());
    }
    Ok(file)
}

fn quads_alone(source: Source<'_>) -> Outcome<QuadMesh> {
    let mut mesh = read_all(source)?.mesh;
    mesh.groups.clear();
    Ok(mesh)
}

fn read_all(mut source: Source<'_>) -> Outcome<Held> {
    let mut mesh = QuadMesh::default();
    let mut rim = Vec::new();
    let mut groups: BTreeMap<String, Vec<u32>> = BTreeMap::new();
    let mut current: Vec<String> = Vec::new();
    loop {
        let number = source.line() + 1;
        let Some(line) = source.next_line()? else {
            break;
        };
        let outcome = match line.trim_ascii_start() {
            [b'v', b' ' | b'\t', rest @ ..] => vertex(rest).map(|p| mesh.positions.push(p)),
            [b'f', b' ' | b'\t', rest @ ..] => quad(rest, mesh.positions.len()).map(|corners| {
                for name in &current {
                    let quads = groups.entry(name.clone()).or_default();
                    quads.push(mesh.quads.len() as u32);
                }
                mesh.quads.push(corners);
            }),
            [b'g', b' ' | b'\t', rest @ ..] => {
                let names = words(rest).map(|w| String::from_utf8_lossy(w).into_owned());
                current = names.collect();
                Ok(())
            }
            [b'l', b' ' | b'\t', rest @ ..] => polyline(rest, mesh.positions.len(), &mut rim),
            _ => Ok(()),
        };
        outcome.map_err(|problem| problem.at_line(number))?;
    }
    if mesh.quads.is_empty() {
        return Err(ReadProblem::NoQuads.into());
    }
    let groups = groups.into_iter();
    mesh.groups = groups.map(|(name, quads)| Group { name, quads }).collect();
    Ok(Held { mesh, rim })
}

/// The edges of a line element.
fn polyline(rest: &[u8], vertices: usize, edges: &mut Vec<[u32; 2]>) -> Result<(), ReadProblem> {
    let mut before = None;
    for word in words(rest).take_while(|word| !word.starts_with(b"#")) {
        let here = corner(word, vertices)?;
        if let Some(before) = before {
            edges.push([before, here]);
        }
        before = Some(here);
    }
    Ok(())
}

fn vertex(rest: &[u8]) -> Result<DVec3, ReadProblem> {
    let mut found = words(rest);
    let mut p = DVec3::ZERO;
    for axis in 0..3 {
        let needs = || ReadProblem::malformed("OBJ", "a vertex needs three coordinates");
        let word = found.next().ok_or_else(needs)?;
        let text = std::str::from_utf8(word).ok();
        p[axis] = text
            .and_then(|text| text.parse().ok())
            .ok_or_else(|| ReadProblem::number(word, "a number"))?;
    }
    if p.is_finite() {
        Ok(p)
    } else {
        Err(ReadProblem::NotFinite)
    }
}

/// A vertex index from 0.
fn corner(word: &[u8], vertices: usize) -> Result<u32, ReadProblem> {
    let wanted = "a vertex index such as 3, 3/1, 3//1 or -1";
    let (index, _) = leading_index(word).ok_or_else(|| ReadProblem::number(word, wanted))?;
    let from_zero = if index < 0 {
        vertices as i64 + index
    } else {
        index - 1
    };
    u32::try_from(from_zero)
        .ok()
        .filter(|&corner| (corner as usize) < vertices)
        .ok_or_else(|| ReadProblem::IndexOutOfRange {
            index,
            have: have(1, vertices),
        })
}

/// Corners of a face as indices from 0.
fn quad(rest: &[u8], vertices: usize) -> Result<[u32; 4], ReadProblem> {
    let mut corners = [0; 4];
    let mut count = 0;
    for word in words(rest).take_while(|word| !word.starts_with(b"#")) {
        let corner = corner(word, vertices)?;
        if let Some(place) = corners.get_mut(count) {
            *place = corner;
        }
        count += 1;
    }
    if count == corners.len() {
        Ok(corners)
    } else {
        Err(ReadProblem::NotAQuad { corners: count })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::obj_text;

    fn read_text(text: &str) -> Result<QuadMesh, ReadError> {
        parse_quads("surface.obj".as_ref(), text.as_bytes())
    }

    #[test]
    fn what_the_writer_wrote_comes_back_to_the_bit() {
        let positions = vec![
            DVec3::new(0.1, 1.0 / 3.0, -2e-300),
            DVec3::X,
            DVec3::ONE,
            DVec3::Y,
        ];
        let mesh = QuadMesh {
            positions,
            quads: vec![[0, 1, 2, 3]],
            groups: vec![],
        };
        let read = parse_quads("surface.obj".as_ref(), &obj_text(&mesh, "a cuff")).unwrap();
        assert_eq!(read, mesh);
    }

    #[test]
    fn held_quads_come_back_to_the_bit_with_groups_and_rim() {
        let positions = vec![
            DVec3::new(0.1, 1.0 / 3.0, -2e-300),
            DVec3::X,
            DVec3::ONE,
            DVec3::Y,
        ];
        let mesh = QuadMesh {
            positions,
            quads: vec![[0, 1, 2, 3]],
            groups: vec![Group {
                name: "cuff".into(),
                quads: vec![0],
            }],
        };
        let rim = vec![[0, 1], [2, 3]];
        let text = crate::held_text(&mesh, &rim, "held");
        let read = parse_held("x.obj".as_ref(), &text).unwrap();
        assert_eq!(read, Held { mesh, rim });
        let error = parse_held("x.obj".as_ref(), &obj_text(&read.mesh, "")).unwrap_err();
        assert!(matches!(error.problem, ReadProblem::NoRim), "{error}");
    }

    #[test]
    fn a_line_with_a_vertex_that_isnt_there_is_refused() {
        let text = "v 0 0 0\nv 1 0 0\nv 1 1 0\nv 0 1 0\nf 1 2 3 4\nl 1 2 9\n";
        let error = parse_held("x.obj".as_ref(), text.as_bytes()).unwrap_err();
        assert!(error.to_string().contains("line 6"), "{error}");
    }

    #[test]
    fn indices_may_have_company_and_count_back() {
        let text =
            "v 0 0 0 1\nv 1 0 0\nv 1 1 0\nv 0 1 0\nvt 0 0\ng cuff\nf 1/1 2//1 -2 4/1/1 # last\n";
        assert_eq!(read_text(text).unwrap().quads, [[0, 1, 2, 3]]);
    }

    #[test]
    fn what_is_no_quad_is_refused_with_its_line() {
        let start = "v 0 0 0\nv 1 0 0\nv 1 1 0\nv 0 1 0\n";
        for (line, part) in [
            ("f 1 2 3", "3 corners"),
            ("f 1 2 3 4 1", "5 corners"),
            ("f 1 2 3 9", "vertex 9"),
            ("f 1 2 3 0", "vertex 0"),
            ("f 1 2 3 x", "'x'"),
            ("v 1 2", "three coordinates"),
            ("v 1 2 inf", "infinite"),
        ] {
            let error = read_text(&format!("{start}{line}\n")).unwrap_err();
            let message = error.to_string();
            assert!(
                message.contains("line 5") && message.contains(part),
                "{message}"
            );
        }
        let error = read_text(start).unwrap_err();
        assert!(matches!(error.problem, ReadProblem::NoQuads), "{error}");
    }
}
