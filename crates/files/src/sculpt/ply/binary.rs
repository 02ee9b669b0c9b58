//! Bodies of binary PLY files.

use mesh::Vec3;

use super::header::{Element, Number, Shape};
use super::{Body, Role};
use crate::sculpt::error::{Fault, Outcome, ReadProblem, Spot};
use crate::sculpt::source::Source;

/// Reads all rows of an element. `BIG`: most significant byte first.
pub(super) fn rows<const BIG: bool>(
    source: &mut Source<'_>,
    element: &Element,
    role: Role,
    body: &mut Body,
) -> Outcome<()> {
    let mut fixed = Some(0u64);
    for property in &element.properties {
        fixed = match property.shape {
            Shape::One(number) => fixed.map(|size| size + number.size() as u64),
            Shape::List { .. } => None,
        };
        if fixed.is_none() {
            break;
        }
    }
    match (role, fixed) {
        (_, Some(0)) => Ok(()),
        (Role::Vertex(xyz), Some(row)) => vertices::<BIG>(source, element, xyz, row as usize, body),
        (Role::Other, Some(row)) => match source.skip(row.saturating_mul(element.count))? {
            true => Ok(()),
            false => Err(cut_off(element, element.count)),
        },
        _ => {
            let mut walk = Walk {
                list: Vec::new(),
                corners: Vec::new(),
            };
            let mut done = 0;
            while done < element.count {
                if matches!(role, Role::Face(_)) {
                    done += triangles::<BIG>(source, element, done, body)?;
                }
                if done < element.count {
                    walk.row::<BIG>(source, element, role, done, body)?;
                    done += 1;
                }
            }
            Ok(())
        }
    }
}

fn cut_off(element: &Element, row: u64) -> Fault {
    ReadProblem::truncated(format!("the rows of '{}'", element.name))
        .at(Spot::item(&element.name, row))
}

/// Rows of fixed length, many at a time.
fn vertices<const BIG: bool>(
    source: &mut Source<'_>,
    element: &Element,
    xyz: [usize; 3],
    row: usize,
    body: &mut Body,
) -> Outcome<()> {
    let place = |property: usize| {
        let before = &element.properties[..property];
        let offset = before
            .iter()
            .map(|p| number_of(p.shape).size())
            .sum::<usize>();
        (offset, number_of(element.properties[property].shape))
    };
    let places = xyz.map(place);
    let mut done = 0;
    while done < element.count {
        let bytes = source.peek(row)?;
        let here = ((bytes.len() / row) as u64).min(element.count - done);
        if here == 0 {
            return Err(cut_off(element, done));
        }
        for (i, bytes) in bytes.chunks_exact(row).take(here as usize).enumerate() {
            let p = Vec3::from_array(
                places.map(|(offset, number)| float::<BIG>(number, &bytes[offset..])),
            );
            body.vertex(p)
                .map_err(|e| e.at(Spot::item("vertex", done + i as u64)))?;
        }
        source.consume(here as usize * row);
        done += here;
    }
    Ok(())
}

/// The common case, fast: rows that are one list with a one-byte length and four-byte
/// whole numbers. Takes triangles up to the first row that is none; returns how many.
fn triangles<const BIG: bool>(
    source: &mut Source<'_>,
    element: &Element,
    done: u64,
    body: &mut Body,
) -> Outcome<u64> {
    const ROW: usize = 13;
    let [property] = element.properties.as_slice() else {
        return Ok(0);
    };
    let Shape::List {
        count: Number::U8 | Number::I8,
        item: Number::I32 | Number::U32,
    } = property.shape
    else {
        return Ok(0);
    };
    let bytes = source.peek(ROW)?;
    let mut taken = 0;
    for row in bytes
        .chunks_exact(ROW)
        .take(usize::try_from(element.count - done).unwrap_or(usize::MAX))
    {
        if row[0] != 3 {
            break;
        }
        let word = |at: usize| {
            let four = [row[at], row[at + 1], row[at + 2], row[at + 3]];
            if BIG {
                u32::from_be_bytes(four)
            } else {
                u32::from_le_bytes(four)
            }
        };
        let corners = [word(1), word(5), word(9)];
        if corners.iter().any(|&corner| corner >= body.vertex_count) {
            break; // the general reader says what is wrong
        }
        body.face(&corners)
            .map_err(|e| e.at(Spot::item("face", done + taken as u64)))?;
        taken += 1;
    }
    source.consume(taken * ROW);
    Ok(taken as u64)
}

/// Reads rows property by property.
struct Walk {
    list: Vec<i64>,
    corners: Vec<u32>,
}

impl Walk {
    fn row<const BIG: bool>(
        &mut self,
        source: &mut Source<'_>,
        element: &Element,
        role: Role,
        row: u64,
        body: &mut Body,
    ) -> Outcome<()> {
        let mut p = Vec3::ZERO;
        for (i, property) in element.properties.iter().enumerate() {
            match property.shape {
                Shape::One(number) => {
                    let bytes = source.peek(number.size())?;
                    if bytes.len() < number.size() {
                        return Err(cut_off(element, row));
                    }
                    if let Role::Vertex(xyz) = role {
                        for axis in (0..3).filter(|&axis| xyz[axis] == i) {
                            p[axis] = float::<BIG>(number, bytes);
                        }
                    }
                    source.consume(number.size());
                }
                Shape::List { count, item } => {
                    let wanted = matches!(role, Role::Face(list) | Role::Strips(list) if list == i);
                    self.read_list::<BIG>(source, element, (count, item), row, wanted)?;
                }
            }
        }
        let at_row = |problem: ReadProblem| problem.at(Spot::item(&element.name, row));
        match role {
            Role::Vertex(_) => body.vertex(p).map_err(at_row),
            Role::Face(_) => {
                self.corners.clear();
                for &index in &self.list {
                    self.corners.push(body.corner(index).map_err(at_row)?);
                }
                body.face(&self.corners).map_err(at_row)
            }
            Role::Strips(_) => body.strips(&self.list).map_err(at_row),
            Role::Other => Ok(()),
        }
    }

    /// Reads a list into `self.list`, or past it.
    fn read_list<const BIG: bool>(
        &mut self,
        source: &mut Source<'_>,
        element: &Element,
        (count, item): (Number, Number),
        row: u64,
        wanted: bool,
    ) -> Outcome<()> {
        let bytes = source.peek(count.size())?;
        if bytes.len() < count.size() {
            return Err(cut_off(element, row));
        }
        let length = whole::<BIG>(count, bytes);
        source.consume(count.size());
        let room = source.remaining() / item.size() as u64;
        let Some(length) = u64::try_from(length).ok().filter(|&length| length <= room) else {
            let problem = ReadProblem::TooMany {
                what: "entries in a list".to_owned(),
                announced: u64::try_from(length).unwrap_or(0),
                room,
            };
            return Err(problem.at(Spot::item(&element.name, row)));
        };
        if !wanted {
            let there = source.skip(length * item.size() as u64)?;
            return if there {
                Ok(())
            } else {
                Err(cut_off(element, row))
            };
        }
        self.list.clear();
        for _ in 0..length {
            let bytes = source.peek(item.size())?;
            if bytes.len() < item.size() {
                return Err(cut_off(element, row));
            }
            self.list.push(whole::<BIG>(item, bytes));
            source.consume(item.size());
        }
        Ok(())
    }
}

fn number_of(shape: Shape) -> Number {
    match shape {
        Shape::One(number) | Shape::List { item: number, .. } => number,
    }
}

/// The first `N` bytes, in the order of this machine's `from_le_bytes`.
#[inline]
fn first<const BIG: bool, const N: usize>(bytes: &[u8]) -> [u8; N] {
    let mut out = [0; N];
    out.copy_from_slice(&bytes[..N]);
    if BIG {
        out.reverse();
    }
    out
}

/// A number as f32; the caller has seen that the bytes are there.
#[inline]
fn float<const BIG: bool>(number: Number, bytes: &[u8]) -> f32 {
    match number {
        Number::F32 => f32::from_le_bytes(first::<BIG, 4>(bytes)),
        Number::F64 => f64::from_le_bytes(first::<BIG, 8>(bytes)) as f32,
        _ => whole::<BIG>(number, bytes) as f32,
    }
}

/// A number as a whole one; the least i64 for a float that isn't whole: no list can use it.
#[inline]
fn whole<const BIG: bool>(number: Number, bytes: &[u8]) -> i64 {
    let rounded = |value: f64| {
        if value.fract() == 0.0 && value.abs() < 1e15 {
            value as i64
        } else {
            i64::MIN
        }
    };
    match number {
        Number::I8 => i64::from(i8::from_le_bytes(first::<BIG, 1>(bytes))),
        Number::U8 => i64::from(bytes[0]),
        Number::I16 => i64::from(i16::from_le_bytes(first::<BIG, 2>(bytes))),
        Number::U16 => i64::from(u16::from_le_bytes(first::<BIG, 2>(bytes))),
        Number::I32 => i64::from(i32::from_le_bytes(first::<BIG, 4>(bytes))),
        Number::U32 => i64::from(u32::from_le_bytes(first::<BIG, 4>(bytes))),
        Number::F32 => rounded(f64::from(f32::from_le_bytes(first::<BIG, 4>(bytes)))),
        Number::F64 => rounded(f64::from_le_bytes(first::<BIG, 8>(bytes))),
    }
}
