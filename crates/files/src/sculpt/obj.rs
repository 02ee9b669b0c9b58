//! OBJ: vertices, faces, and the statements that name parts.
//!
//! Read as in "Appendix B1. Object Files (.obj)" of Wavefront's Advanced Visualizer
//! manual (from memory): indices count from 1 or, negative, back from the last vertex;
//! a backslash at the end of a line continues it; `o`, `g` and `usemtl` name what
//! follows. Texture and normal indices, weights and vertex colours are read past.

use mesh::Vec3;

use super::builder::{Builder, have};
use super::error::{Outcome, ReadProblem, shortened};
use super::source::{Source, float, words};
use super::{RawSculpt, SculptFormat};

pub(super) fn read(mut source: Source<'_>) -> Outcome<RawSculpt> {
    let mut reader = Reader {
        builder: Builder::new(SculptFormat::Obj),
        corners: Vec::new(),
        current: Default::default(),
        since: 0,
    };
    let mut joined = Vec::new();
    loop {
        let number = source.line() + 1;
        let Some(line) = source.next_line()? else {
            break;
        };
        let outcome = if line.ends_with(b"\\") && !line.trim_ascii_start().starts_with(b"#") {
            joined.clear();
            joined.extend_from_slice(&line[..line.len() - 1]);
            join_following(&mut source, &mut joined)?;
            reader.statement(&joined)
        } else {
            reader.statement(line)
        };
        outcome.map_err(|problem| problem.at_line(number))?;
    }
    reader.close_run();
    Ok(reader.builder.finish()?)
}

fn join_following(source: &mut Source<'_>, joined: &mut Vec<u8>) -> Outcome<()> {
    while let Some(line) = source.next_line()? {
        joined.push(b' ');
        match line.strip_suffix(b"\\") {
            Some(start) => joined.extend_from_slice(start),
            None => {
                joined.extend_from_slice(line);
                break;
            }
        }
    }
    Ok(())
}

/// What can name a run of faces.
#[derive(Clone, Copy)]
enum Slot {
    Object,
    Group,
    Material,
}

struct Reader {
    builder: Builder,
    corners: Vec<u32>,
    /// Numbers of the parts that the next faces belong to, by [`Slot`].
    current: [Vec<usize>; 3],
    /// The first triangle of the run with these parts.
    since: usize,
}

impl Reader {
    fn statement(&mut self, line: &[u8]) -> Result<(), ReadProblem> {
        let line = line.trim_ascii_start();
        match line {
            [b'v', b' ' | b'\t', rest @ ..] => self.vertex(rest),
            [b'f', b' ' | b'\t', rest @ ..] => self.face(rest),
            [] | [b'#', ..] | [b'v', b't' | b'n' | b'p', ..] | [b's', b' ' | b'\t', ..] => Ok(()),
            _ => self.other(line),
        }
    }

    fn other(&mut self, line: &[u8]) -> Result<(), ReadProblem> {
        let mut found = words(line);
        match found.next() {
            // A group statement can name several groups at once; object and material
            // names may have spaces in practice.
            Some(b"g") => self.enter(Slot::Group, found.collect()),
            Some(b"o") => self.enter(Slot::Object, vec![line[1..].trim_ascii()]),
            Some(b"usemtl") => self.enter(Slot::Material, vec![line[6..].trim_ascii()]),
            Some(b"fo") => return self.face(&line[2..]), // an old spelling of f
            Some(b"f" | b"v") => {
                return Err(ReadProblem::malformed("OBJ", "a statement has no numbers"));
            }
            Some(b"mtllib") | None => {}
            Some(word) if word.iter().all(|b| b.is_ascii_graphic()) => {
                self.builder.notes.items_skipped += 1
            }
            Some(word) => {
                let what = format!("'{}' isn't a statement", shortened(word));
                return Err(ReadProblem::malformed("OBJ", what));
            }
        }
        Ok(())
    }

    fn enter(&mut self, slot: Slot, names: Vec<&[u8]>) {
        self.close_run();
        let named = names.into_iter().filter(|name| !name.is_empty());
        let parts = named.map(|name| self.builder.part(&String::from_utf8_lossy(name)));
        self.current[slot as usize] = parts.collect();
    }

    /// Gives the triangles since the last change to the current parts.
    fn close_run(&mut self) {
        let mut parts: Vec<usize> = self.current.iter().flatten().copied().collect();
        parts.sort_unstable();
        parts.dedup();
        for part in parts {
            self.builder.give(part, self.since);
        }
        self.since = self.builder.triangles.len();
    }

    fn vertex(&mut self, rest: &[u8]) -> Result<(), ReadProblem> {
        let mut found = words(rest);
        let mut p = Vec3::ZERO;
        for axis in 0..3 {
            let Some(word) = found.next() else {
                return Err(ReadProblem::malformed(
                    "OBJ",
                    "a vertex needs three coordinates",
                ));
            };
            p[axis] = float(word)?;
        }
        self.builder.vertex(p)
    }

    fn face(&mut self, rest: &[u8]) -> Result<(), ReadProblem> {
        self.corners.clear();
        let count = self.builder.positions.len();
        let mut rest = rest;
        loop {
            rest = rest.trim_ascii_start();
            let (index, digits) = match leading_index(rest) {
                Some(found) => found,
                None if rest.is_empty() || rest.starts_with(b"#") => break,
                None => {
                    let word = words(rest).next().unwrap_or_default();
                    return Err(ReadProblem::number(
                        word,
                        "a vertex index such as 3, 3/1, 3//1 or -1",
                    ));
                }
            };
            let from_zero = if index < 0 {
                count as i64 + index
            } else {
                index - 1
            };
            match u32::try_from(from_zero) {
                Ok(corner) if (corner as usize) < count => self.corners.push(corner),
                _ => {
                    return Err(ReadProblem::IndexOutOfRange {
                        index,
                        have: have(1, count),
                    });
                }
            }
            // Read past the texture and normal indices.
            let end = rest[digits..].iter().position(u8::is_ascii_whitespace);
            rest = end.map_or(&[], |end| &rest[digits + end..]);
        }
        self.builder.face(&self.corners)
    }
}

/// The whole number that a corner begins with, and its length; `None` unless the
/// corner ends there or goes on with a slash.
#[inline]
pub(super) fn leading_index(word: &[u8]) -> Option<(i64, usize)> {
    let sign = usize::from(matches!(word.first(), Some(b'-' | b'+')));
    let mut value: i64 = 0;
    let mut at = sign;
    while let Some(digit) = word.get(at).filter(|b| b.is_ascii_digit()) {
        value = value
            .saturating_mul(10)
            .saturating_add(i64::from(digit - b'0'));
        at += 1;
    }
    let goes_on = word
        .get(at)
        .is_none_or(|b| *b == b'/' || b.is_ascii_whitespace());
    let index = if word.first() == Some(&b'-') {
        -value
    } else {
        value
    };
    (at > sign && goes_on).then_some((index, at))
}

#[cfg(test)]
pub(super) mod tests;
