//! STL: ASCII and binary.
//!
//! Read as in "StereoLithography Interface Specification", 3D Systems, 1988/1989
//! (from memory): binary files have an 80-byte header, a 32-bit count and 50 bytes
//! a triangle, least significant byte first. Binary files may begin with `solid`
//! too, so the size decides. Stored normals and attribute bytes are read past.
//!
//! The format has no vertices, only corners: corners with the same bits become one.

use mesh::Vec3;

use super::builder::Builder;
use super::error::{Outcome, ReadProblem, Spot, shortened};
use super::source::{Source, float};
use super::{RawSculpt, SculptFormat};

const HEADER: u64 = 84;
const ROW: usize = 50;

/// Whether a file that starts so and has this length is an STL file.
pub(super) fn looks_like(start: &[u8], length: u64) -> bool {
    binary_count(start).is_some_and(|count| size_for(count) == length) || is_text(start)
}

fn binary_count(start: &[u8]) -> Option<u32> {
    let four = start.get(80..84)?;
    Some(u32::from_le_bytes([four[0], four[1], four[2], four[3]]))
}

fn size_for(count: u32) -> u64 {
    HEADER + ROW as u64 * u64::from(count)
}

fn is_text(start: &[u8]) -> bool {
    let text = start.trim_ascii_start();
    let solid = text
        .get(..5)
        .is_some_and(|word| word.eq_ignore_ascii_case(b"solid"));
    // The name is free text; a facet or the end must follow, or the look ends there.
    solid && {
        let mut lines = text
            .split(|&b| b == b'\n' || b == b'\r')
            .skip(1)
            .map(<[u8]>::trim_ascii_start);
        let line = lines.find(|line| !line.is_empty()).unwrap_or_default();
        let is_last = lines.next().is_none();
        [&b"facet"[..], b"endsolid"].iter().any(|word| {
            let shared = if is_last {
                word.len().min(line.len())
            } else {
                word.len()
            };
            line.get(..shared)
                .is_some_and(|start| start.eq_ignore_ascii_case(&word[..shared]))
        })
    }
}

pub(super) fn read(mut source: Source<'_>) -> Outcome<RawSculpt> {
    const LOOK: usize = 4096;
    let length = source.length();
    let start = source.peek(LOOK)?;
    let start = &start[..start.len().min(LOOK)];
    let count = binary_count(start);
    let fits = count.is_some_and(|count| size_for(count) == length);
    if !fits && is_text(start) {
        return text(source);
    }
    match count {
        Some(count) => binary(source, count),
        None => Err(ReadProblem::truncated("the header").into()),
    }
}

fn binary(mut source: Source<'_>, count: u32) -> Outcome<RawSculpt> {
    source.consume(HEADER as usize);
    let room = source.remaining() / ROW as u64;
    if u64::from(count) > room {
        let what = "triangles".to_owned();
        return Err(ReadProblem::TooMany {
            what,
            announced: u64::from(count),
            room,
        }
        .into());
    }
    let mut builder = Builder::new(SculptFormat::Stl);
    let mut sharing = Sharing::for_triangles(count as usize);
    builder.triangles.reserve_exact(count as usize);
    let count = count as usize;
    while builder.triangles.len() < count {
        let bytes = source.peek(ROW)?;
        let here = (bytes.len() / ROW).min(count - builder.triangles.len());
        if here == 0 {
            return Err(ReadProblem::truncated("the triangles").into());
        }
        for row in bytes.chunks_exact(ROW).take(here) {
            let at = |i: usize| f32::from_le_bytes([row[i], row[i + 1], row[i + 2], row[i + 3]]);
            let point = |i: usize| Vec3::new(at(i), at(i + 4), at(i + 8));
            let index = builder.triangles.len() as u64;
            let mut corner = |i: usize| {
                let outcome = sharing.vertex(&mut builder, point(i));
                outcome.map_err(|problem| problem.at(Spot::item("triangle", index)))
            };
            let corners = [corner(12)?, corner(24)?, corner(36)?];
            builder.triangles.push(corners);
        }
        source.consume(here * ROW);
    }
    builder.notes.trailing_bytes = source.remaining();
    Ok(builder.finish()?)
}

/// ASCII: words in a fixed order, `solid` names aside, whatever the line breaks.
fn text(mut source: Source<'_>) -> Outcome<RawSculpt> {
    let mut builder = Builder::new(SculptFormat::Stl);
    let mut sharing = Sharing::for_triangles(0);
    let mut corners: Vec<u32> = Vec::new();
    let (mut open, mut solid_open, mut part) = (false, false, None);
    loop {
        let number = source.line() + 1;
        let Some(line) = source.next_line()? else {
            break;
        };
        let mut words = super::source::words(line);
        let Some(keyword) = words.next() else {
            continue;
        };
        let bad = |what: String| Err(ReadProblem::malformed("STL", what).at_line(number));
        match keyword.to_ascii_lowercase().as_slice() {
            b"solid" => {
                let name = line.trim_ascii_start()[5..].trim_ascii();
                let named = !name.is_empty();
                part = named.then(|| builder.part(&String::from_utf8_lossy(name)));
                solid_open = true;
            }
            b"facet" if open => return bad("a facet begins inside another".to_owned()),
            b"facet" => {
                open = true;
                corners.clear();
            }
            b"vertex" if !open => return bad("a vertex stands outside a facet".to_owned()),
            b"vertex" => {
                let mut p = Vec3::ZERO;
                for axis in 0..3 {
                    let Some(word) = words.next() else {
                        return bad("a vertex needs three coordinates".to_owned());
                    };
                    p[axis] = float(word).map_err(|e| e.at_line(number))?;
                }
                corners.push(
                    sharing
                        .vertex(&mut builder, p)
                        .map_err(|e| e.at_line(number))?,
                );
            }
            b"endfacet" if !open => return bad("a facet ends that hasn't begun".to_owned()),
            b"endfacet" => {
                open = false;
                let since = builder.triangles.len();
                builder.face(&corners).map_err(|e| e.at_line(number))?;
                if let Some(part) = part {
                    builder.give(part, since);
                }
            }
            b"endsolid" => solid_open = false,
            b"outer" | b"endloop" | b"end" | b"color" => {}
            other => return bad(format!("'{}' isn't a statement", shortened(other))),
        }
    }
    if open || solid_open {
        return Err(ReadProblem::truncated("a solid").at_line(source.line()));
    }
    Ok(builder.finish()?)
}

/// Finds the vertex with the same bits, by open addressing over vertex numbers.
struct Sharing {
    slots: Vec<u32>,
    used: usize,
}

const FREE: u32 = u32::MAX;

impl Sharing {
    /// Slots for a closed mesh of so many triangles, which has half as many vertices.
    fn for_triangles(count: usize) -> Self {
        Self {
            slots: vec![FREE; count.max(16).next_power_of_two()],
            used: 0,
        }
    }

    fn vertex(&mut self, builder: &mut Builder, p: Vec3) -> Result<u32, ReadProblem> {
        let p = p + Vec3::ZERO; // −0 becomes 0
        let mask = self.slots.len() - 1;
        let mut slot = hash(p) & mask;
        while self.slots[slot] != FREE {
            let vertex = self.slots[slot];
            if builder.positions[vertex as usize] == p {
                builder.notes.corners_shared += 1;
                return Ok(vertex);
            }
            slot = (slot + 1) & mask;
        }
        let vertex = builder.positions.len() as u32;
        builder.vertex(p)?;
        self.slots[slot] = vertex;
        self.used += 1;
        if self.used * 3 > self.slots.len() * 2 {
            self.grow(&builder.positions);
        }
        Ok(vertex)
    }

    fn grow(&mut self, positions: &[Vec3]) {
        let mask = 2 * self.slots.len() - 1;
        self.slots.clear();
        self.slots.resize(mask + 1, FREE);
        for (vertex, &p) in positions.iter().enumerate() {
            let mut slot = hash(p) & mask;
            while self.slots[slot] != FREE {
                slot = (slot + 1) & mask;
            }
            self.slots[slot] = vertex as u32;
        }
    }
}

/// Mixes the bits of a point: multiply and shift with the constants of the
/// splitmix64 finaliser (Steele, Lea & Flood 2014; from memory).
fn hash(p: Vec3) -> usize {
    let [x, y, z] = p.to_array().map(|c| u64::from(c.to_bits()));
    let mix = |mut v: u64| {
        v = (v ^ (v >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        v = (v ^ (v >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        v ^ (v >> 31)
    };
    mix(mix(x | (y << 32))
        .wrapping_add(z)
        .wrapping_add(0x9e37_79b9_7f4a_7c15)) as usize
}

#[cfg(test)]
pub(super) mod tests;
