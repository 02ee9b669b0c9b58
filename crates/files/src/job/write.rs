//! From a [`JobSpec`] to text: a new file, or changes in an old one that keep its
//! comments and order.

use std::fmt::Write as _;

use mesh::DVec3;
use toml_edit::{Array, ArrayOfTables, DocumentMut, Item, Table, TableLike, Value};

use super::edits;
use super::read::VERSION;
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
    for guide in &spec.guides {
        writeln!(out, "\n[[guide]]")?;
        writeln!(out, "name = {}", quoted(&guide.name))?;
        writeln!(out, "kind = {}", quoted(guide.kind.word()))?;
        writeln!(out, "closed = {}", guide.closed)?;
        if let Some(count) = guide.count {
            writeln!(out, "count = {count}")?;
        }
        if let Some(reason) = &guide.reason {
            writeln!(out, "reason = {}", quoted(reason))?;
        }
        if let Some(confidence) = guide.confidence {
            writeln!(out, "confidence = {}", Value::from(confidence))?;
        }
        writeln!(out, "points = {}", points_text(&guide.points))?;
    }
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

fn points_value(points: &[DVec3]) -> Value {
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
    if old.guides != new.guides {
        guides(top, &old.guides, &new.guides);
    }
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
}

/// Guides keep their tables by name; one that is renamed in place keeps its table too.
fn guides(top: &mut Table, old: &[GuideSpec], new: &[GuideSpec]) {
    let mut tables: Vec<Option<Table>> = match top.remove("guide").map(Item::into_array_of_tables) {
        Some(Ok(list)) => list.into_iter().map(Some).collect(),
        _ => Vec::new(),
    };
    let mut positions: Vec<isize> = tables
        .iter()
        .flatten()
        .filter_map(Table::position)
        .collect();
    positions.sort_unstable();
    let mut positions = positions.into_iter();
    let mut list = ArrayOfTables::new();
    for (number, guide) in new.iter().enumerate() {
        let same_name = old.iter().position(|o| o.name == guide.name);
        let renamed = || {
            let before = old.get(number)?;
            let gone = new.iter().all(|n| n.name != before.name);
            gone.then_some(number)
        };
        let source = same_name.or_else(renamed);
        let known = source.and_then(|s| Some((tables.get_mut(s)?.take()?, old.get(s)?)));
        let mut table = match known {
            Some((mut table, before)) => {
                change_guide(&mut table, before, guide);
                table
            }
            None => new_guide(guide),
        };
        // Tables are printed by position: hand the old ones out in the new order.
        table.set_position(positions.next());
        list.push(table);
    }
    if !list.is_empty() {
        top.insert("guide", Item::ArrayOfTables(list));
    }
}

fn change_guide(table: &mut Table, old: &GuideSpec, new: &GuideSpec) {
    if old.name != new.name {
        set(table, "name", new.name.as_str().into());
    }
    if old.kind != new.kind {
        set(table, "kind", new.kind.word().into());
    }
    let stated = table.contains_key("closed");
    if old.closed != new.closed || (!stated && new.closed != new.kind.closed_by_default()) {
        set(table, "closed", new.closed.into());
    }
    if old.count != new.count {
        set_or_remove(
            table,
            "count",
            new.count.map(|count| i64::from(count).into()),
        );
    }
    if old.reason != new.reason {
        let reason = new.reason.as_deref();
        set_or_remove(table, "reason", reason.map(Value::from));
    }
    if old.confidence != new.confidence {
        set_or_remove(table, "confidence", new.confidence.map(Value::from));
    }
    if old.points != new.points {
        set(table, "points", points_value(&new.points));
    }
}

fn new_guide(guide: &GuideSpec) -> Table {
    let mut table = Table::new();
    table.insert("name", Item::Value(guide.name.as_str().into()));
    table.insert("kind", Item::Value(guide.kind.word().into()));
    table.insert("closed", Item::Value(guide.closed.into()));
    if let Some(count) = guide.count {
        table.insert("count", Item::Value(i64::from(count).into()));
    }
    if let Some(confidence) = guide.confidence {
        table.insert("confidence", Item::Value(confidence.into()));
    }
    table.insert("points", Item::Value(points_value(&guide.points)));
    if let Some(reason) = &guide.reason {
        table.insert("reason", Item::Value(reason.as_str().into()));
        table
            .decor_mut()
            .set_prefix(format!("\n{}\n", comment(reason, guide.confidence)));
    }
    table
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
fn table_in<'t>(top: &'t mut Table, key: &str) -> Option<&'t mut dyn TableLike> {
    top.entry(key)
        .or_insert(Item::Table(Table::new()))
        .as_table_like_mut()
}

/// Sets a value; comments and blanks around an old one stay.
fn set(table: &mut dyn TableLike, key: &str, mut value: Value) {
    if let Some(old) = table.get_mut(key).and_then(Item::as_value_mut) {
        *value.decor_mut() = old.decor().clone();
        *old = value;
    } else {
        table.insert(key, Item::Value(value));
    }
}

fn set_or_remove(table: &mut dyn TableLike, key: &str, value: Option<Value>) {
    match value {
        Some(value) => set(table, key, value),
        None => drop(table.remove(key)),
    }
}
