//! A plain text form of a work surface, for tests and for trying later stages alone.
//!
//! ```text
//! e 0.61                    mean edge length
//! v 1.5 0 2                 a vertex
//! t 0 1 2                   a triangle
//! c curve 3 1 4 0 7 8 9     a chain: source, index, closed, number of vertices, vertices
//! ```

use std::fmt::Write as _;

use mesh::DVec3;
use thiserror::Error;

use crate::model::{Chain, ChainSource, WorkSurface};

/// A line that can't be read.
#[derive(Clone, Debug, PartialEq, Eq, Error)]
#[error("line {line} of the dump can't be read: {what}")]
pub struct DumpError {
    /// Line, from 1.
    pub line: usize,
    /// What is wrong.
    pub what: String,
}

/// Writes a surface; numbers read back bit for bit.
pub fn write(surface: &WorkSurface) -> String {
    let mut text = format!("e {:?}\n", surface.edge);
    for p in &surface.positions {
        let _ = writeln!(text, "v {:?} {:?} {:?}", p.x, p.y, p.z);
    }
    for [a, b, c] in &surface.triangles {
        let _ = writeln!(text, "t {a} {b} {c}");
    }
    for chain in &surface.chains {
        let (kind, index) = match chain.source {
            ChainSource::Curve(i) => ("curve", i),
            ChainSource::Plane => ("plane", 0),
            ChainSource::Boundary => ("boundary", 0),
        };
        let _ = write!(
            text,
            "c {kind} {index} {} {}",
            u8::from(chain.closed),
            chain.vertices.len()
        );
        for v in &chain.vertices {
            let _ = write!(text, " {v}");
        }
        text.push('\n');
    }
    text
}

/// Reads what [`write()`] wrote.
///
/// # Errors
/// [`DumpError`] with the line.
pub fn read(text: &str) -> Result<WorkSurface, DumpError> {
    let mut surface = WorkSurface::default();
    for (i, line) in text.lines().enumerate() {
        read_line(line, &mut surface).map_err(|what| DumpError { line: i + 1, what })?;
    }
    Ok(surface)
}

fn read_line(line: &str, surface: &mut WorkSurface) -> Result<(), String> {
    let mut words = line.split_ascii_whitespace();
    match words.next() {
        None => {}
        Some("e") => surface.edge = number(words.next())?,
        Some("v") => {
            let (x, y, z) = (
                number(words.next())?,
                number(words.next())?,
                number(words.next())?,
            );
            surface.positions.push(DVec3::new(x, y, z));
        }
        Some("t") => {
            let corners = [
                number(words.next())?,
                number(words.next())?,
                number(words.next())?,
            ];
            surface.triangles.push(corners);
        }
        Some("c") => {
            let kind = words.next();
            let index = number(words.next())?;
            let source = match kind {
                Some("curve") => ChainSource::Curve(index),
                Some("plane") => ChainSource::Plane,
                Some("boundary") => ChainSource::Boundary,
                other => return Err(format!("unknown source {other:?}")),
            };
            let closed = number::<u8>(words.next())? == 1;
            let count: usize = number(words.next())?;
            let vertices = words
                .map(|w| number(Some(w)))
                .collect::<Result<Vec<u32>, _>>()?;
            if vertices.len() != count {
                return Err(format!(
                    "{count} vertices announced, {} there",
                    vertices.len()
                ));
            }
            surface.chains.push(Chain {
                source,
                closed,
                vertices,
            });
        }
        Some(other) => return Err(format!("unknown record {other:?}")),
    }
    Ok(())
}

fn number<T: std::str::FromStr>(word: Option<&str>) -> Result<T, String> {
    let word = word.ok_or("a number is missing")?;
    word.parse().map_err(|_| format!("{word:?} is no number"))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_dump_reads_back_bit_for_bit() {
        let surface = WorkSurface {
            positions: vec![DVec3::new(0.1, 1.0 / 3.0, -1e-20), DVec3::X, DVec3::Y],
            triangles: vec![[0, 1, 2]],
            chains: vec![Chain {
                source: ChainSource::Curve(7),
                closed: true,
                vertices: vec![0, 1, 2],
            }],
            edge: 0.7,
        };
        assert_eq!(read(&write(&surface)), Ok(surface));
    }

    #[test]
    fn bad_lines_are_named() {
        assert_eq!(read("e 1\nv 0 0\n").unwrap_err().line, 2);
        assert_eq!(read("c curve 0 1 4 0 1 2").unwrap_err().line, 1);
        assert_eq!(read("x").unwrap_err().line, 1);
    }
}
