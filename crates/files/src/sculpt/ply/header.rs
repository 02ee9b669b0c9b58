//! The header of a PLY file.

use crate::sculpt::error::{Outcome, ReadProblem, shortened};
use crate::sculpt::source::{Source, words};

pub(super) const FORMAT: &str = "PLY";

/// Header lines and their bytes that are read before giving up.
const LONGEST_HEADER: u64 = 1 << 20;

/// How the body is written.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Encoding {
    Ascii,
    LittleEndian,
    BigEndian,
}

/// Type of a number.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Number {
    I8,
    U8,
    I16,
    U16,
    I32,
    U32,
    F32,
    F64,
}

impl Number {
    fn of(name: &[u8]) -> Option<Self> {
        Some(match name {
            b"char" | b"int8" => Self::I8,
            b"uchar" | b"uint8" => Self::U8,
            b"short" | b"int16" => Self::I16,
            b"ushort" | b"uint16" => Self::U16,
            b"int" | b"int32" => Self::I32,
            b"uint" | b"uint32" => Self::U32,
            b"float" | b"float32" => Self::F32,
            b"double" | b"float64" => Self::F64,
            _ => return None,
        })
    }

    /// Bytes in a binary body.
    pub fn size(self) -> usize {
        match self {
            Self::I8 | Self::U8 => 1,
            Self::I16 | Self::U16 => 2,
            Self::I32 | Self::U32 | Self::F32 => 4,
            Self::F64 => 8,
        }
    }

    fn is_whole(self) -> bool {
        !matches!(self, Self::F32 | Self::F64)
    }
}

/// What a property holds.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Shape {
    One(Number),
    List { count: Number, item: Number },
}

#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Property {
    pub name: String,
    pub shape: Shape,
}

/// A kind of row, such as `vertex` or `face`.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Element {
    pub name: String,
    pub count: u64,
    pub properties: Vec<Property>,
    /// Line of the header that announces it.
    pub line: usize,
}

impl Element {
    /// The fewest bytes that a row can take.
    pub fn smallest_row(&self, encoding: Encoding) -> u64 {
        let bytes = |number: Number| match encoding {
            Encoding::Ascii => 2, // a digit and a separator
            Encoding::LittleEndian | Encoding::BigEndian => number.size() as u64,
        };
        let of = |shape| match shape {
            Shape::One(number) | Shape::List { count: number, .. } => bytes(number),
        };
        self.properties.iter().map(|p| of(p.shape)).sum()
    }

    pub fn position_of(&self, names: &[&str]) -> Option<usize> {
        self.properties
            .iter()
            .position(|p| names.contains(&p.name.as_str()))
    }
}

#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Header {
    pub encoding: Encoding,
    pub elements: Vec<Element>,
}

/// Reads up to and with the line `end_header`.
pub(super) fn read(source: &mut Source<'_>) -> Outcome<Header> {
    let mut encoding = None;
    let mut elements: Vec<Element> = Vec::new();
    let whole = source.remaining();
    loop {
        if whole - source.remaining().min(whole) > LONGEST_HEADER {
            let what = "the header has no end within its first megabyte";
            return Err(ReadProblem::malformed(FORMAT, what).into());
        }
        let line = source.line() + 1;
        let Some(text) = source.next_line()? else {
            return Err(ReadProblem::truncated("the header").at_line(line));
        };
        let bad = |what: String| Err(ReadProblem::malformed(FORMAT, what).at_line(line));
        let found: Vec<&[u8]> = words(text).collect();
        match *found {
            [b"ply"] if line == 1 => {}
            _ if line == 1 => return bad("the first line isn't 'ply'".to_owned()),
            [] | [b"comment" | b"obj_info", ..] => {}
            [b"format", kind, ..] => match kind {
                b"ascii" => encoding = Some(Encoding::Ascii),
                b"binary_little_endian" => encoding = Some(Encoding::LittleEndian),
                b"binary_big_endian" => encoding = Some(Encoding::BigEndian),
                _ => return bad(format!("unknown format '{}'", shortened(kind))),
            },
            [b"element", name, count] => {
                let count = std::str::from_utf8(count).ok().and_then(|c| c.parse().ok());
                let Some(count) = count else {
                    return bad("the count of an element isn't a whole number".to_owned());
                };
                let name = String::from_utf8_lossy(name).into_owned();
                elements.push(Element {
                    name,
                    count,
                    properties: Vec::new(),
                    line,
                });
            }
            [b"property", ref rest @ ..] => {
                let Some(element) = elements.last_mut() else {
                    return bad("a property comes before any element".to_owned());
                };
                match property(rest) {
                    Ok(property) => element.properties.push(property),
                    Err(what) => return bad(what),
                }
            }
            [b"end_header"] => break,
            _ => return bad(format!("unknown statement '{}'", shortened(text))),
        }
    }
    match encoding {
        Some(encoding) => Ok(Header { encoding, elements }),
        None => Err(ReadProblem::malformed(FORMAT, "the header has no 'format' line").into()),
    }
}

fn property(words: &[&[u8]]) -> Result<Property, String> {
    let number = |name: &[u8]| {
        Number::of(name).ok_or_else(|| format!("unknown number type '{}'", shortened(name)))
    };
    let (name, shape) = match *words {
        [b"list", count, item, name] => {
            let (count, item) = (number(count)?, number(item)?);
            if !count.is_whole() {
                return Err("the length of a list isn't of a whole-number type".to_owned());
            }
            (name, Shape::List { count, item })
        }
        [kind, name] => (name, Shape::One(number(kind)?)),
        _ => return Err("a property needs a type and a name".to_owned()),
    };
    Ok(Property {
        name: String::from_utf8_lossy(name).into_owned(),
        shape,
    })
}
