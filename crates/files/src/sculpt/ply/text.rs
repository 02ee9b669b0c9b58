//! Bodies of ASCII PLY files.

use mesh::Vec3;

use super::header::{Element, Shape};
use super::{Body, Role};
use crate::sculpt::error::{Fault, Outcome, ReadProblem};
use crate::sculpt::source::{Source, float};

/// Reads all rows of an element.
pub(super) fn rows(
    source: &mut Source<'_>,
    element: &Element,
    role: Role,
    body: &mut Body,
) -> Outcome<()> {
    if element.properties.is_empty() {
        return Ok(()); // its rows are blank lines
    }
    let (mut list, mut corners) = (Vec::new(), Vec::new());
    for _ in 0..element.count {
        let mut p = Vec3::ZERO;
        for (i, property) in element.properties.iter().enumerate() {
            match (property.shape, role) {
                (Shape::One(_), Role::Vertex(xyz)) if xyz.contains(&i) => {
                    let value =
                        float(word(source, element)?).map_err(|e| e.at_line(source.line() + 1))?;
                    for axis in (0..3).filter(|&axis| xyz[axis] == i) {
                        p[axis] = value;
                    }
                }
                (Shape::One(_), _) => {
                    word(source, element)?;
                }
                (Shape::List { .. }, _) => {
                    let wanted = matches!(role, Role::Face(l) | Role::Strips(l) if l == i);
                    read_list(source, element, wanted.then_some(&mut list))?;
                }
            }
        }
        let line = source.line() + 1;
        let at_line = |problem: ReadProblem| problem.at_line(line);
        match role {
            Role::Vertex(_) => body.vertex(p).map_err(at_line)?,
            Role::Face(_) => {
                corners.clear();
                for &index in &list {
                    corners.push(body.corner(index).map_err(at_line)?);
                }
                body.face(&corners).map_err(at_line)?;
            }
            Role::Strips(_) => body.strips(&list).map_err(at_line)?,
            Role::Other => {}
        }
    }
    Ok(())
}

fn read_list(
    source: &mut Source<'_>,
    element: &Element,
    mut into: Option<&mut Vec<i64>>,
) -> Outcome<()> {
    let length = whole(source, element)?;
    let room = source.remaining().div_ceil(2);
    let Some(length) = u64::try_from(length).ok().filter(|&length| length <= room) else {
        let problem = ReadProblem::TooMany {
            what: "entries in a list".to_owned(),
            announced: u64::try_from(length).unwrap_or(0),
            room,
        };
        return Err(problem.at_line(source.line() + 1));
    };
    if let Some(list) = &mut into {
        list.clear();
    }
    for _ in 0..length {
        match &mut into {
            Some(list) => list.push(whole(source, element)?),
            None => drop(word(source, element)?),
        }
    }
    Ok(())
}

fn word<'s>(source: &'s mut Source<'_>, element: &Element) -> Outcome<&'s [u8]> {
    let line = source.line() + 1;
    match source.next_word()? {
        Some(word) => Ok(word),
        None => Err(cut_off(element, line)),
    }
}

fn cut_off(element: &Element, line: usize) -> Fault {
    ReadProblem::truncated(format!("the rows of '{}'", element.name)).at_line(line)
}

fn whole(source: &mut Source<'_>, element: &Element) -> Outcome<i64> {
    let found = word(source, element)?;
    let parsed = std::str::from_utf8(found)
        .ok()
        .and_then(|text| text.parse().ok());
    match parsed {
        Some(number) => Ok(number),
        None => {
            let problem = ReadProblem::number(found, "a whole number");
            Err(problem.at_line(source.line() + 1))
        }
    }
}
