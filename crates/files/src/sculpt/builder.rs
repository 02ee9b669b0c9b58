//! Collects what a reader finds and refuses what can't be.

use std::collections::BTreeMap;

use mesh::Vec3;

use super::error::ReadProblem;
use super::polygon::{Cut, Splitter};
use super::{RawPart, RawSculpt, ReadNotes, SculptFormat};

/// A sculpt in the making.
pub(super) struct Builder {
    pub positions: Vec<Vec3>,
    pub triangles: Vec<[u32; 3]>,
    /// Parts in the order in which they are first named.
    parts: Vec<RawPart>,
    part_numbers: BTreeMap<String, usize>,
    pub notes: ReadNotes,
    splitter: Splitter,
}

impl Builder {
    pub fn new(format: SculptFormat) -> Self {
        Self {
            positions: Vec::new(),
            triangles: Vec::new(),
            parts: Vec::new(),
            part_numbers: BTreeMap::new(),
            notes: ReadNotes::new(format),
            splitter: Splitter::default(),
        }
    }

    /// Adds a vertex.
    #[inline]
    pub fn vertex(&mut self, p: Vec3) -> Result<(), ReadProblem> {
        if !p.is_finite() {
            return Err(ReadProblem::NotFinite);
        }
        if self.positions.len() >= u32::MAX as usize {
            return Err(ReadProblem::TooLarge {
                what: "vertices",
                limit: u64::from(u32::MAX),
            });
        }
        // Adding 0 turns −0 into 0, so that equal points have equal bits.
        self.positions.push(p + Vec3::ZERO);
        Ok(())
    }

    /// Adds a face whose corners are all within `positions`.
    #[inline]
    pub fn face(&mut self, corners: &[u32]) -> Result<(), ReadProblem> {
        match *corners {
            [a, b, c] => self.triangles.push([a, b, c]),
            [] | [_] | [_, _] => self.notes.faces_skipped += 1,
            _ => {
                self.notes.polygons_split += 1;
                let cut = self
                    .splitter
                    .split(corners, &self.positions, &mut self.triangles);
                self.notes.polygons_forced += usize::from(cut == Cut::Forced);
            }
        }
        if self.triangles.len() > u32::MAX as usize {
            return Err(ReadProblem::TooLarge {
                what: "triangles",
                limit: u64::from(u32::MAX),
            });
        }
        Ok(())
    }

    /// The number of the part of this name, for [`Builder::give`].
    pub fn part(&mut self, name: &str) -> usize {
        if let Some(&number) = self.part_numbers.get(name) {
            return number;
        }
        let number = self.parts.len();
        self.part_numbers.insert(name.to_owned(), number);
        self.parts.push(RawPart {
            name: name.to_owned(),
            triangles: Vec::new(),
        });
        number
    }

    /// Gives a part all triangles from number `since` on.
    pub fn give(&mut self, part: usize, since: usize) {
        if self.triangles.len() > since {
            self.parts[part].extend(since as u32..self.triangles.len() as u32);
        }
    }

    /// The finished sculpt.
    pub fn finish(mut self) -> Result<RawSculpt, ReadProblem> {
        if self.triangles.is_empty() {
            return Err(ReadProblem::NoTriangles {
                vertices: self.positions.len(),
            });
        }
        self.positions.shrink_to_fit();
        self.triangles.shrink_to_fit();
        self.parts.retain(|part| !part.triangles.is_empty());
        Ok(RawSculpt {
            positions: self.positions,
            triangles: self.triangles,
            parts: self.parts,
            notes: self.notes,
        })
    }
}

/// The message's half that tells which vertices there are.
pub(super) fn have(first: i64, count: usize) -> String {
    match count {
        0 => "there are none so far".to_owned(),
        _ => format!("there are {first} to {}", first + count as i64 - 1),
    }
}
