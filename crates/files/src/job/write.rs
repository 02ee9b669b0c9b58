//! From a [`JobSpec`] to text: a new file, or changes in an old one that keep its
//! comments and order.

use std::fmt::Write as _;

use mesh::DVec3;
use toml_edit::{Array, ArrayOfTables, DocumentMut, Item, Table, TableLike, Value};

use super::edits;
use super::finish;
use super::intent::table_text;
use super::read::{Named, VERSION};
use super::spec::{GuideSpec, JobSpec, PartSpec, PlaneSpec, SculptSpec, Size};

/// Width at which lists of points are wrapped.
const WIDTH: usize = 96;

/// The text of a new job file.
pub(super) fn text_of(spec: &JobSpec) -> String {
    let mut out = String::new();
    // Writing to a String can't fail.
    let _ = new_text(spec, &mut out);
    out
}

fn new_text(spec: &JobSpec, out: &mut String) -> std::fmt::Result {
    let SculptSpec { file, part } = &spec.sculpt;
    writeln!(out, "job = {VERSION}  # version of this format")?;
    writeln!(out, "name = {}", quoted(&spec.name))?;
    writeln!(out, "units = {}", quoted(&spec.units))?;
    writeln!(out, "\n[sculpt]")?;
    writeln!(
        out,
        "file = {}  # relative to this file",
        quoted(&file.to_string_lossy())
    )?;
    if let Some(part) = part {
        writeln!(out, "part = {}", quoted(part_word(part)))?;
    }
    writeln!(out, "\n[symmetry]")?;
    writeln!(
        out,
        "plane = {}",
        plane(&spec.symmetry.plane).to_string().trim()
    )?;
    writeln!(out, "sides = {}", quoted(spec.symmetry.sides.word()))?;
    writeln!(out, "\n[density]")?;
    match spec.density.size {
        Size::Faces(faces) => writeln!(out, "faces = {faces}")?,
        Size::Edge(edge) => writeln!(out, "edge = {}", Value::from(edge))?,
    }
    writeln!(out, "adapt = {}", Value::from(spec.density.adapt))?;
    if !spec.density.straddle {
        writeln!(out, "straddle = false")?;
    }
    spec.guides.iter().for_each(|g| table_text(g, out));
    spec.areas.iter().for_each(|a| table_text(a, out));
    spec.pins.iter().for_each(|p| table_text(p, out));
    spec.keep_outs.iter().for_each(|k| table_text(k, out));
    spec.holds.iter().for_each(|h| table_text(h, out));
    spec.trims.iter().for_each(|t| table_text(t, out));
    spec.layers.iter().for_each(|l| table_text(l, out));
    out.push_str(&finish::text(spec.lining, spec.shading));
    edits::new_text(&spec.edits, out)
}

fn quoted(text: &str) -> String {
    Value::from(text).to_string()
}

fn part_word(part: &PartSpec) -> &str {
    match part {
        PartSpec::Named(name) => name,
        PartSpec::Largest => "largest",
    }
}

fn plane(plane: &PlaneSpec) -> Value {
    if let PlaneSpec::Given { origin, normal } = plane {
        let mut table = toml_edit::InlineTable::new();
        table.insert("origin", vector(*origin).into());
        table.insert("normal", vector(*normal).into());
        return table.into();
    }
    let word = PlaneSpec::WORDS
        .iter()
        .find(|(_, p)| p == plane)
        .map_or("none", |(word, _)| word);
    Value::from(word)
}

pub(super) fn vector(v: DVec3) -> Array {
    v.to_array().into_iter().collect()
}

/// Points, as many to a line as fit, so that a changed point changes one line.
fn points_text(points: &[DVec3]) -> String {
    let each: Vec<String> = points
        .iter()
        .map(|p| vector(*p).to_string().trim().to_owned())
        .collect();
    let flat = format!("[{}]", each.join(", "));
    if flat.len() + "points = ".len() <= WIDTH {
        return flat;
    }
    let mut out = "[".to_owned();
    let mut width = WIDTH; // begins a line at once
    for point in each {
        if width + point.len() + 2 > WIDTH {
            out.push_str("\n ");
            width = 1;
        }
        out.push(' ');
        out.push_str(&point);
        out.push(',');
        width += point.len() + 2;
    }
    out.push_str("\n]");
    out
}

pub(super) fn points_value(points: &[DVec3]) -> Value {
    // The text is made above; if it weren't TOML, an unformatted list says the same.
    points_text(points)
        .parse()
        .unwrap_or_else(|_| Value::Array(points.iter().map(|p| Value::Array(vector(*p))).collect()))
}

/// Writes the differences between two specs into the document of the first.
pub(super) fn update(document: &mut DocumentMut, old: &JobSpec, new: &JobSpec) {
    let top = document.as_table_mut();
    if old.name != new.name {
        set(top, "name", new.name.as_str().into());
    }
    if old.units != new.units {
        set(top, "units", new.units.as_str().into());
    }
    if old.sculpt != new.sculpt
        && let Some(table) = table_in(top, "sculpt")
    {
        set(
            table,
            "file",
            new.sculpt.file.to_string_lossy().as_ref().into(),
        );
        set_or_remove(
            table,
            "part",
            new.sculpt.part.as_ref().map(|p| part_word(p).into()),
        );
    }
    if old.symmetry != new.symmetry
        && let Some(table) = table_in(top, "symmetry")
    {
        if old.symmetry.plane != new.symmetry.plane {
            set(table, "plane", plane(&new.symmetry.plane));
        }
        if old.symmetry.sides != new.symmetry.sides {
            set(table, "sides", new.symmetry.sides.word().into());
        }
    }
    if old.density != new.density
        && let Some(table) = table_in(top, "density")
    {
        density(table, old, new);
    }
    named(top, &old.guides, &new.guides);
    named(top, &old.areas, &new.areas);
    named(top, &old.pins, &new.pins);
    named(top, &old.keep_outs, &new.keep_outs);
    named(top, &old.holds, &new.holds);
    named(top, &old.trims, &new.trims);
    named(top, &old.layers, &new.layers);
    finish::update(top, (old.lining, old.shading), (new.lining, new.shading));
    if old.edits != new.edits {
        edits::update(top, &old.edits, &new.edits);
    }
}

fn density(table: &mut dyn TableLike, old: &JobSpec, new: &JobSpec) {
    if old.density.size != new.density.size {
        let (key, other, value) = match new.density.size {
            Size::Faces(faces) => ("faces", "edge", i64::from(faces).into()),
            Size::Edge(edge) => ("edge", "faces", edge.into()),
        };
        table.remove(other);
        set(table, key, value);
    }
    if old.density.adapt != new.density.adapt {
        set(table, "adapt", new.density.adapt.into());
    }
    if old.density.straddle != new.density.straddle {
        set(table, "straddle", new.density.straddle.into());
    }
}

/// The tables of a list, taken out of a file, and their places in it, rising.
pub(super) fn taken_out(
    top: &mut Table,
    key: &str,
) -> (Vec<Option<Table>>, std::vec::IntoIter<isize>) {
    let tables: Vec<Option<Table>> = match top.remove(key).map(Item::into_array_of_tables) {
        Some(Ok(list)) => list.into_iter().map(Some).collect(),
        _ => Vec::new(),
    };
    let mut positions: Vec<isize> = tables
        .iter()
        .flatten()
        .filter_map(Table::position)
        .collect();
    positions.sort_unstable();
    (tables, positions.into_iter())
}

/// Tables of a list keep their text by name; one that is renamed in place keeps it too.
fn named<T: Named + PartialEq>(top: &mut Table, old: &[T], new: &[T]) {
    if old == new {
        return;
    }
    let (mut tables, mut positions) = taken_out(top, T::KEY);
    let mut list = ArrayOfTables::new();
    for (number, one) in new.iter().enumerate() {
        let same_name = old.iter().position(|o| o.name() == one.name());
        let renamed = || {
            let before = old.get(number)?;
            let gone = new.iter().all(|n| n.name() != before.name());
            gone.then_some(number)
        };
        let source = same_name.or_else(renamed);
        let known = source.and_then(|s| Some((tables.get_mut(s)?.take()?, old.get(s)?)));
        let mut table = match known {
            Some((mut table, before)) => {
                one.change(&mut table, Some(before));
                table
            }
            None => {
                let mut table = Table::new();
                one.change(&mut table, None);
                table
            }
        };
        // Tables are printed by position: hand the old ones out in the new order.
        table.set_position(positions.next());
        list.push(table);
    }
    if !list.is_empty() {
        top.insert(T::KEY, Item::ArrayOfTables(list));
    }
}

impl Named for GuideSpec {
    const KEY: &'static str = "guide";

    fn name(&self) -> &str {
        &self.name
    }

    fn change(&self, table: &mut Table, before: Option<&Self>) {
        if before.map(|b| &b.name) != Some(&self.name) {
            set(table, "name", self.name.as_str().into());
        }
        if before.map(|b| b.kind) != Some(self.kind) {
            set(table, "kind", self.kind.word().into());
        }
        let stated = table.contains_key("closed");
        if before.map(|b| b.closed) != Some(self.closed)
            || (!stated && self.closed != self.kind.closed_by_default())
        {
            set(table, "closed", self.closed.into());
        }
        if before.and_then(|b| b.count) != self.count {
            let count = self.count.map(|count| i64::from(count).into());
            set_or_remove(table, "count", count);
        }
        if before.map_or(0, |b| b.loops) != self.loops {
            let loops = (self.loops > 0).then(|| i64::from(self.loops).into());
            set_or_remove(table, "loops", loops);
        }
        if before.is_some_and(|b| b.hard) != self.hard {
            set_or_remove(table, "hard", self.hard.then(|| true.into()));
        }
        if before.and_then(|b| b.reason.as_ref()) != self.reason.as_ref() {
            set_or_remove(table, "reason", self.reason.as_deref().map(Value::from));
        }
        if before.and_then(|b| b.confidence) != self.confidence {
            set_or_remove(table, "confidence", self.confidence.map(Value::from));
        }
        if before.map(|b| &b.points) != Some(&self.points) {
            set(table, "points", points_value(&self.points));
        }
        if let (None, Some(reason)) = (before, &self.reason) {
            let above = comment(reason, self.confidence);
            table.decor_mut().set_prefix(format!("\n{above}\n"));
        }
    }
}

/// What stands above a proposed guide, in lines of a comment.
fn comment(reason: &str, confidence: Option<f64>) -> String {
    let sure = confidence.map_or(String::new(), |c| format!(" (confidence {c:.2})"));
    let mut lines = vec![String::from("# Proposed:")];
    for word in format!("{reason}{sure}").split_whitespace() {
        if let Some(line) = lines.last_mut()
            && line.len() + 1 + word.len() <= WIDTH
        {
            line.push(' ');
            line.push_str(word);
        } else {
            lines.push(format!("# {word}"));
        }
    }
    lines.join("\n")
}

/// The table under a key, made if it isn't there.
pub(super) fn table_in<'t>(top: &'t mut Table, key: &str) -> Option<&'t mut dyn TableLike> {
    top.entry(key)
        .or_insert(Item::Table(Table::new()))
        .as_table_like_mut()
}

/// Sets a value; comments and blanks around an old one stay.
pub(super) fn set(table: &mut dyn TableLike, key: &str, mut value: Value) {
    if let Some(old) = table.get_mut(key).and_then(Item::as_value_mut) {
        *value.decor_mut() = old.decor().clone();
        *old = value;
    } else {
        table.insert(key, Item::Value(value));
    }
}

pub(super) fn set_or_remove(table: &mut dyn TableLike, key: &str, value: Option<Value>) {
    match value {
        Some(value) => set(table, key, value),
        None => drop(table.remove(key)),
    }
}
