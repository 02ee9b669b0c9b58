//! PLY: ASCII and binary of either byte order, any properties in any order.
//!
//! Read as in Greg Turk, "The PLY Polygon File Format" (Stanford, 1994; from memory),
//! with the type names with bit counts that later files use, and with the
//! `tristrips` element of the Stanford range scans.
//!
//! ASCII bodies are read word by word, whatever the line breaks.

mod binary;
mod header;
mod text;

use mesh::Vec3;

use super::builder::{Builder, have};
use super::error::{Outcome, ReadProblem, Spot};
use super::source::Source;
use super::{RawSculpt, SculptFormat};
use header::{Element, Encoding, FORMAT, Header, Shape};

/// Which property of an element means what.
#[derive(Clone, Copy, Debug)]
enum Role {
    /// Property numbers of x, y and z.
    Vertex([usize; 3]),
    /// Property number of the list of corners.
    Face(usize),
    /// Property number of the list of strip vertices.
    Strips(usize),
    /// Read past.
    Other,
}

pub(super) fn read(mut source: Source<'_>) -> Outcome<RawSculpt> {
    let header = header::read(&mut source)?;
    let roles = roles(&header)?;
    let vertices = header
        .elements
        .iter()
        .zip(&roles)
        .find(|(_, role)| matches!(role, Role::Vertex(_)));
    let vertex_count = vertices.map_or(0, |(element, _)| element.count);
    if vertex_count > u64::from(u32::MAX) {
        let limit = u64::from(u32::MAX);
        return Err(ReadProblem::TooLarge {
            what: "vertices",
            limit,
        }
        .into());
    }
    let mut body = Body {
        builder: Builder::new(SculptFormat::Ply),
        vertex_count: vertex_count as u32,
        waiting: Vec::new(),
        waiting_sizes: Vec::new(),
    };
    for (element, role) in header.elements.iter().zip(&roles) {
        body.make_room(&source, element, header.encoding, *role)?;
        match header.encoding {
            Encoding::Ascii => text::rows(&mut source, element, *role, &mut body)?,
            Encoding::LittleEndian => {
                binary::rows::<false>(&mut source, element, *role, &mut body)?
            }
            Encoding::BigEndian => binary::rows::<true>(&mut source, element, *role, &mut body)?,
        }
    }
    if header.encoding != Encoding::Ascii {
        body.builder.notes.trailing_bytes = source.remaining();
    }
    body.finish()
}

fn roles(header: &Header) -> Outcome<Vec<Role>> {
    let mut roles = Vec::new();
    let mut seen_vertices = false;
    for element in &header.elements {
        let bad = |what: &str| ReadProblem::malformed(FORMAT, what).at_line(element.line);
        let list = |names: &[&str]| {
            let found = element
                .position_of(names)
                .filter(|&p| matches!(element.properties[p].shape, Shape::List { .. }));
            found.ok_or_else(|| bad("the faces have no list 'vertex_indices'"))
        };
        let single = |name: &str| {
            let found = element.position_of(&[name]);
            found.filter(|&p| matches!(element.properties[p].shape, Shape::One(_)))
        };
        roles.push(match element.name.as_str() {
            "vertex" if seen_vertices => return Err(bad("a second element 'vertex'")),
            "vertex" => {
                seen_vertices = true;
                match (single("x"), single("y"), single("z")) {
                    (Some(x), Some(y), Some(z)) => Role::Vertex([x, y, z]),
                    _ => return Err(bad("the vertices have no properties x, y and z")),
                }
            }
            _ if element.count == 0 => Role::Other,
            "face" => Role::Face(list(&["vertex_indices", "vertex_index"])?),
            "tristrips" => Role::Strips(list(&["vertex_indices", "vertex_index"])?),
            _ => Role::Other,
        });
    }
    if !seen_vertices {
        return Err(ReadProblem::malformed(FORMAT, "the header announces no vertices").into());
    }
    Ok(roles)
}

/// What comes out of the body, in whatever order the elements stand.
struct Body {
    builder: Builder,
    vertex_count: u32,
    /// Corners of polygons that come before the vertices and so can't be cut yet.
    waiting: Vec<u32>,
    waiting_sizes: Vec<usize>,
}

impl Body {
    /// Holds an announced count against the bytes that are left, then makes room for it.
    fn make_room(
        &mut self,
        source: &Source<'_>,
        element: &Element,
        encoding: Encoding,
        role: Role,
    ) -> Outcome<()> {
        let row = element.smallest_row(encoding);
        // The last number of an ASCII file needs no separator.
        let left = source.remaining() + u64::from(encoding == Encoding::Ascii);
        if row > 0 && element.count > left / row {
            let what = format!("rows of '{}'", element.name);
            let problem = ReadProblem::TooMany {
                what,
                announced: element.count,
                room: left / row,
            };
            return Err(problem.at_line(element.line));
        }
        match role {
            Role::Vertex(_) => self.builder.positions.reserve_exact(element.count as usize),
            Role::Face(_) => self.builder.triangles.reserve_exact(element.count as usize),
            Role::Strips(_) | Role::Other => {}
        }
        Ok(())
    }

    fn vertex(&mut self, p: Vec3) -> Result<(), ReadProblem> {
        self.builder.vertex(p)
    }

    /// An index as written, if there is such a vertex.
    #[inline]
    fn corner(&self, index: i64) -> Result<u32, ReadProblem> {
        match u32::try_from(index) {
            Ok(corner) if corner < self.vertex_count => Ok(corner),
            _ => Err(ReadProblem::IndexOutOfRange {
                index,
                have: have(0, self.vertex_count as usize),
            }),
        }
    }

    /// A face with checked corners.
    fn face(&mut self, corners: &[u32]) -> Result<(), ReadProblem> {
        let complete = self.builder.positions.len() == self.vertex_count as usize;
        if complete {
            return self.builder.face(corners);
        }
        self.waiting.extend_from_slice(corners);
        self.waiting_sizes.push(corners.len());
        Ok(())
    }

    /// A run of strips as written: every vertex after the second of a strip makes a
    /// triangle with the two before it, of alternating winding; −1 starts a new strip.
    fn strips(&mut self, indices: &[i64]) -> Result<(), ReadProblem> {
        for strip in indices.split(|&index| index == -1) {
            for (i, three) in strip.windows(3).enumerate() {
                let [a, b, c] = [
                    self.corner(three[0])?,
                    self.corner(three[1])?,
                    self.corner(three[2])?,
                ];
                // Strips are stitched together by doubled vertices: those triangles are no surface.
                if a != b && b != c && a != c {
                    self.face(&if i % 2 == 0 { [a, b, c] } else { [b, a, c] })?;
                }
            }
        }
        Ok(())
    }

    fn finish(mut self) -> Outcome<RawSculpt> {
        let mut start = 0;
        for (face, size) in std::mem::take(&mut self.waiting_sizes)
            .into_iter()
            .enumerate()
        {
            let outcome = self.builder.face(&self.waiting[start..start + size]);
            outcome.map_err(|problem| problem.at(Spot::item("face", face as u64)))?;
            start += size;
        }
        Ok(self.builder.finish()?)
    }
}

#[cfg(test)]
pub(super) mod tests;
