//! Accessors, with every offset checked (glTF 2.0 specification, section 3.6.2).

use gltf::json::accessor::{ComponentType, Type};
use gltf::json::{self, validation::Checked};
use mesh::Vec3;

use super::FORMAT;
use super::buffers::Buffers;
use crate::sculpt::error::{Fault, Outcome, ReadProblem, Spot};

pub(super) struct Accessors<'a> {
    root: &'a json::Root,
    buffers: Buffers<'a>,
}

/// Where an accessor's elements lie in its buffer.
#[derive(Clone, Copy)]
struct Layout {
    buffer: usize,
    start: usize,
    stride: usize,
    size: usize,
    count: usize,
}

impl Layout {
    /// The bytes of each element, from a buffer that was seen to hold them all.
    fn elements<'b>(&self, bytes: &'b [u8]) -> impl Iterator<Item = &'b [u8]> {
        let Self {
            start,
            stride,
            size,
            count,
            ..
        } = *self;
        (0..count).map(move |i| &bytes[start + i * stride..start + i * stride + size])
    }
}

impl<'a> Accessors<'a> {
    pub fn new(root: &'a json::Root, buffers: Buffers<'a>) -> Self {
        Self { root, buffers }
    }

    /// An accessor of positions.
    pub fn points(&mut self, number: usize) -> Outcome<Vec<Vec3>> {
        let accessor = self.accessor(number)?;
        let bad = |what: &str| problem(number, what);
        let (Checked::Valid(Type::Vec3), Checked::Valid(component)) =
            (accessor.type_, accessor.component_type)
        else {
            return Err(bad("positions must be vectors of three known numbers"));
        };
        let component = component.0;
        let coordinate = coordinate_reader(component, accessor.normalized);
        let Some(coordinate) = coordinate else {
            return Err(bad(
                "positions must be 32-bit floats or 8- or 16-bit integers",
            ));
        };
        let size = component.size();
        let point = |bytes: &[u8]| {
            Vec3::new(
                coordinate(bytes),
                coordinate(&bytes[size..]),
                coordinate(&bytes[2 * size..]),
            )
        };
        let mut points: Vec<Vec3> = match accessor.buffer_view {
            Some(view) => {
                let offset = accessor.byte_offset.unwrap_or_default().0;
                let layout =
                    self.layout(number, view.value(), offset, 3 * size, accessor.count.0)?;
                layout
                    .elements(self.buffers.get(layout.buffer)?)
                    .map(point)
                    .collect()
            }
            None => vec![Vec3::ZERO; self.zeros(number, accessor)?],
        };
        let Some(sparse) = &accessor.sparse else {
            return Ok(points);
        };
        let (view, offset) = (
            sparse.values.buffer_view.value(),
            sparse.values.byte_offset.0,
        );
        let values = self.layout(number, view, offset, 3 * size, sparse.count.0)?;
        let places = self.sparse_places(number, sparse, points.len())?;
        let values = values.elements(self.buffers.get(values.buffer)?).map(point);
        for (place, value) in places.into_iter().zip(values) {
            points[place] = value;
        }
        Ok(points)
    }

    /// An accessor of vertex indices.
    pub fn indices(&mut self, number: usize) -> Outcome<Vec<u32>> {
        let accessor = self.accessor(number)?;
        let bad = |what: &str| problem(number, what);
        let (Checked::Valid(Type::Scalar), Checked::Valid(component)) =
            (accessor.type_, accessor.component_type)
        else {
            return Err(bad("indices must be single known numbers"));
        };
        let Some(index) = index_reader(component.0) else {
            return Err(bad("indices must be unsigned integers"));
        };
        let size = component.0.size();
        let mut indices: Vec<u32> = match accessor.buffer_view {
            Some(view) => {
                let offset = accessor.byte_offset.unwrap_or_default().0;
                let layout = self.layout(number, view.value(), offset, size, accessor.count.0)?;
                layout
                    .elements(self.buffers.get(layout.buffer)?)
                    .map(index)
                    .collect()
            }
            None => vec![0; self.zeros(number, accessor)?],
        };
        let Some(sparse) = &accessor.sparse else {
            return Ok(indices);
        };
        let (view, offset) = (
            sparse.values.buffer_view.value(),
            sparse.values.byte_offset.0,
        );
        let values = self.layout(number, view, offset, size, sparse.count.0)?;
        let places = self.sparse_places(number, sparse, indices.len())?;
        let values = values.elements(self.buffers.get(values.buffer)?).map(index);
        for (place, value) in places.into_iter().zip(values) {
            indices[place] = value;
        }
        Ok(indices)
    }

    fn accessor(&self, number: usize) -> Outcome<&'a json::Accessor> {
        self.root
            .accessors
            .get(number)
            .ok_or_else(|| problem(number, "the accessor doesn't exist"))
    }

    /// Length of an accessor without a buffer view, whose elements are zero. No data
    /// stand behind its count, so it is held to what its sparse values can justify.
    fn zeros(&self, number: usize, accessor: &json::Accessor) -> Outcome<usize> {
        const ZEROS_PER_VALUE: u64 = 4096;
        let values = accessor.sparse.as_ref().map_or(0, |sparse| sparse.count.0);
        let limit = ZEROS_PER_VALUE
            .saturating_mul(values.saturating_add(1))
            .min(1 << 24);
        match usize::try_from(accessor.count.0) {
            Ok(count) if count as u64 <= limit => Ok(count),
            _ => {
                let (what, announced) = ("elements without data".to_owned(), accessor.count.0);
                let problem = ReadProblem::TooMany {
                    what,
                    announced,
                    room: limit,
                };
                Err(problem.at(Spot::item("accessor", number as u64)))
            }
        }
    }

    /// The elements that sparse values replace; all below `count`.
    fn sparse_places(
        &mut self,
        number: usize,
        sparse: &json::accessor::sparse::Sparse,
        count: usize,
    ) -> Outcome<Vec<usize>> {
        let Checked::Valid(component) = sparse.indices.component_type else {
            return Err(problem(number, "sparse indices must be unsigned integers"));
        };
        let Some(index) = index_reader(component.0) else {
            return Err(problem(number, "sparse indices must be unsigned integers"));
        };
        let (view, offset) = (
            sparse.indices.buffer_view.value(),
            sparse.indices.byte_offset.0,
        );
        let layout = self.layout(number, view, offset, component.0.size(), sparse.count.0)?;
        let bytes = self.buffers.get(layout.buffer)?;
        let places: Vec<usize> = layout.elements(bytes).map(|b| index(b) as usize).collect();
        if places.iter().any(|&place| place >= count) {
            return Err(problem(
                number,
                "a sparse index lies beyond the accessor's end",
            ));
        }
        Ok(places)
    }

    /// Where `count` elements of `size` bytes lie; all within the view and its buffer.
    fn layout(
        &mut self,
        number: usize,
        view: usize,
        offset: u64,
        size: usize,
        count: u64,
    ) -> Outcome<Layout> {
        let bad = |what: &str| problem(number, what);
        let Some(found) = self.root.buffer_views.get(view) else {
            return Err(bad("its buffer view doesn't exist"));
        };
        let buffer = found.buffer.value();
        let stride = found.byte_stride.map_or(size, |stride| stride.0);
        if stride < size {
            return Err(bad("its buffer view's stride is shorter than an element"));
        }
        let view_start = found.byte_offset.unwrap_or_default().0;
        let view_end = view_start.checked_add(found.byte_length.0);
        let span = match count {
            0 => Some(0),
            _ => (count - 1)
                .checked_mul(stride as u64)
                .and_then(|s| s.checked_add(size as u64)),
        };
        let start = view_start.checked_add(offset);
        let end = start
            .zip(span)
            .and_then(|(start, span)| start.checked_add(span));
        let length = self.buffers.get(buffer)?.len() as u64;
        match (start, end, view_end) {
            (Some(start), Some(end), Some(view_end)) if end <= view_end && view_end <= length => {
                // Both fit: they are at most the length of a slice.
                Ok(Layout {
                    buffer,
                    start: start as usize,
                    stride,
                    size,
                    count: count as usize,
                })
            }
            _ => Err(bad(
                "its elements reach beyond the end of its buffer view or buffer",
            )),
        }
    }
}

fn problem(accessor: usize, what: &str) -> Fault {
    ReadProblem::malformed(FORMAT, what).at(Spot::item("accessor", accessor as u64))
}

/// Reads a coordinate from the front of some bytes. Normalised integers as in section 3.11 of
/// the specification.
fn coordinate_reader(component: ComponentType, normalized: bool) -> Option<fn(&[u8]) -> f32> {
    Some(match (component, normalized) {
        (ComponentType::F32, _) => |b| f32::from_le_bytes([b[0], b[1], b[2], b[3]]),
        (ComponentType::I8, false) => |b| f32::from(b[0] as i8),
        (ComponentType::U8, false) => |b| f32::from(b[0]),
        (ComponentType::I16, false) => |b| f32::from(i16::from_le_bytes([b[0], b[1]])),
        (ComponentType::U16, false) => |b| f32::from(u16::from_le_bytes([b[0], b[1]])),
        (ComponentType::I8, true) => |b| (f32::from(b[0] as i8) / 127.0).max(-1.0),
        (ComponentType::U8, true) => |b| f32::from(b[0]) / 255.0,
        (ComponentType::I16, true) => {
            |b| (f32::from(i16::from_le_bytes([b[0], b[1]])) / 32767.0).max(-1.0)
        }
        (ComponentType::U16, true) => |b| f32::from(u16::from_le_bytes([b[0], b[1]])) / 65535.0,
        (ComponentType::U32, _) => return None,
    })
}

fn index_reader(component: ComponentType) -> Option<fn(&[u8]) -> u32> {
    Some(match component {
        ComponentType::U8 => |b| u32::from(b[0]),
        ComponentType::U16 => |b| u32::from(u16::from_le_bytes([b[0], b[1]])),
        ComponentType::U32 => |b| u32::from_le_bytes([b[0], b[1], b[2], b[3]]),
        _ => return None,
    })
}
