//! From the text of a job file to a [`JobSpec`], with all problems at once.

use std::collections::BTreeMap;
use std::ops::Range;
use std::path::Path;

use toml_edit::{Document, Item, TableLike};

use super::edits;
use super::error::{JobError, JobFault, JobProblem};
use super::finish;
use super::holds;
use super::intent;
use super::layers;
use super::spec::{
    DensitySpec, GuideKind, GuideSpec, JobSpec, LARGEST_COUNT, PartSpec, PlaneSpec, SculptSpec,
    Sides, Size, SymmetrySpec, checked_adapt, checked_confidence, checked_edge, checked_faces,
    meaning, out_of_range,
};
use super::table::{Problems, View};
use super::trims;

/// The version of the format that is read and written.
pub(super) const VERSION: i64 = 1;

const TOP: [&str; 16] = [
    "job", "name", "units", "sculpt", "symmetry", "density", "guide", "area", "pin", "keep_out",
    "edit", "hold", "trim", "layer", "lining", "shading",
];
/// Tables that chapters to come will own.
const LATER: [&str; 3] = ["seam", "bake", "joint"];
const POINTS: &str = "points = [[0, 9, 1], [1, 9, 0], [0, 9, -1]]";

/// The parsed document and what it says.
pub(super) fn parse(path: &Path, text: &str) -> Result<(Document<String>, JobSpec), JobError> {
    parse_with(path, text, spec)
}

/// A parsed document and what `spec` reads in it, given the file's name without extension.
pub(crate) fn parse_with<T>(
    path: &Path,
    text: &str,
    spec: impl FnOnce(&dyn TableLike, Option<String>, &mut Problems<'_>) -> Option<T>,
) -> Result<(Document<String>, T), JobError> {
    let fail = |problems: Vec<JobProblem>| JobError {
        file: path.to_owned(),
        problems,
    };
    // A byte order mark is no part of the text.
    let text = text.strip_prefix('\u{feff}').unwrap_or(text);
    let mut problems = Problems::new(text);
    let document = match Document::parse(text.to_owned()) {
        Ok(document) => document,
        Err(error) => {
            let message = error.message().to_owned();
            problems.add(error.span(), "", JobFault::Syntax { message });
            return Err(fail(problems.into_sorted()));
        }
    };
    let stem = path
        .file_stem()
        .map(|stem| stem.to_string_lossy().into_owned());
    let spec = spec(document.as_table(), stem, &mut problems);
    let found = problems.into_sorted();
    match spec {
        Some(spec) if found.is_empty() => Ok((document, spec)),
        _ => Err(fail(found)),
    }
}

fn spec(
    table: &dyn TableLike,
    stem: Option<String>,
    problems: &mut Problems<'_>,
) -> Option<JobSpec> {
    let top = View::new(table, "", Some(0..0));
    top.only(problems, &TOP, &LATER);
    match top.whole(problems, "job", "job = 1") {
        Some(VERSION) => {}
        Some(found) => top.problem(problems, "job", JobFault::Version { key: "job", found }),
        None if top.has("job") => {}
        None => top.missing(problems, "job", "job = 1 as the first line"),
    }
    let name = top
        .text(problems, "name", "name = \"oilskin coat\"")
        .map(str::to_owned);
    let units = top
        .text(problems, "units", "units = \"cm\"")
        .map(str::to_owned);
    let sculpt = sculpt(&top, problems);
    let symmetry = symmetry(&top, problems);
    let density = density(&top, problems);
    let list = "[[guide]] with two pairs of brackets, once for each guide";
    let guides = named(&top, problems, ("guide", list), guide);
    let list = "[[area]] with two pairs of brackets, once for each area";
    let areas = named(&top, problems, ("area", list), intent::area);
    let list = "[[pin]] with two pairs of brackets, once for each pin";
    let pins = named(&top, problems, ("pin", list), intent::pin);
    let names: Vec<&str> = guides.iter().map(|g| g.name.as_str()).collect();
    let list = "[[keep_out]] with two pairs of brackets, once for each keep-out";
    let keep_outs = named(
        &top,
        problems,
        ("keep_out", list),
        |table, line, problems| intent::keep_out(table, line, &names, problems),
    );
    let list = "[[trim]] with two pairs of brackets, once for each trim";
    let trims = named(&top, problems, ("trim", list), |table, line, problems| {
        trims::trim(table, line, &names, problems)
    });
    let edits = edits::read(&top, problems);
    let list = "[[hold]] with two pairs of brackets, once for each hold";
    let holds = named(&top, problems, ("hold", list), holds::hold);
    let list = "[[layer]] with two pairs of brackets, once for each layer";
    let layers = named(&top, problems, ("layer", list), layers::layer);
    let lining = finish::lining(&top, problems);
    let shading = finish::shading(&top, problems);
    let mut spec = JobSpec::new(name.or(stem).unwrap_or_default(), "");
    if let Some(units) = units {
        spec.units = units;
    }
    Some(JobSpec {
        sculpt: sculpt?,
        symmetry,
        density,
        guides,
        edits,
        areas,
        pins,
        keep_outs,
        holds,
        trims,
        layers,
        lining,
        shading,
        ..spec
    })
}

fn sculpt(top: &View<'_>, problems: &mut Problems<'_>) -> Option<SculptSpec> {
    const EXAMPLE: &str = "file = \"oilskin.ply\" under [sculpt]";
    if !top.has("sculpt") {
        top.missing(problems, "sculpt", EXAMPLE);
        return None;
    }
    let table = top.table(problems, "sculpt", EXAMPLE)?;
    table.only(problems, &["file", "part"], &[]);
    let part = table
        .text(problems, "part", "part = \"coat\"")
        .map(|part| match part {
            "largest" => PartSpec::Largest,
            name => PartSpec::Named(name.to_owned()),
        });
    if !table.has("file") {
        table.missing(problems, "file", EXAMPLE);
    }
    let file = table.text(problems, "file", EXAMPLE)?.into();
    Some(SculptSpec { file, part })
}

fn symmetry(top: &View<'_>, problems: &mut Problems<'_>) -> SymmetrySpec {
    let mut symmetry = SymmetrySpec::default();
    let Some(table) = top.table(problems, "symmetry", "[symmetry]") else {
        return symmetry;
    };
    table.only(problems, &["plane", "sides"], &[]);
    let is_table = table.item("plane").is_some_and(Item::is_table_like);
    if is_table {
        if let Some(plane) = given_plane(&table, problems) {
            symmetry.plane = plane;
        }
    } else {
        let plane = table.word(problems, "plane", "plane = \"x\"", &PlaneSpec::WORDS);
        symmetry.plane = plane.unwrap_or(symmetry.plane);
    }
    let sides = table.word(problems, "sides", "sides = \"mirror\"", &Sides::WORDS);
    symmetry.sides = sides.unwrap_or(symmetry.sides);
    symmetry
}

pub(crate) fn given_plane(table: &View<'_>, problems: &mut Problems<'_>) -> Option<PlaneSpec> {
    const ORIGIN: &str = "origin = [0, 0, 0]";
    const NORMAL: &str = "normal = [1, 0, 0]";
    let mut plane = table.table(problems, "plane", "plane = \"x\"")?;
    plane.label = "[symmetry] plane".to_owned();
    plane.only(problems, &["origin", "normal"], &[]);
    for (key, example) in [("origin", ORIGIN), ("normal", NORMAL)] {
        if !plane.has(key) {
            plane.missing(problems, key, example);
        }
    }
    let origin = plane.vector(problems, "origin", ORIGIN);
    let normal = plane.vector(problems, "normal", NORMAL)?;
    // Its squared length must neither vanish nor overflow.
    if !normal.length().is_normal() {
        plane.problem(problems, "normal", JobFault::ZeroNormal);
        return None;
    }
    Some(PlaneSpec::Given {
        origin: origin?,
        normal,
    })
}

fn density(top: &View<'_>, problems: &mut Problems<'_>) -> DensitySpec {
    let mut density = DensitySpec::default();
    let Some(table) = top.table(problems, "density", "[density]") else {
        return density;
    };
    table.only(problems, &["faces", "edge", "adapt", "straddle"], &[]);
    if table.has("faces") && table.has("edge") {
        table.problem(problems, "edge", JobFault::BothSizes);
    }
    let mut keep = |key: &str, problems: &mut Problems<'_>, size: Result<Size, JobFault>| match size
    {
        Ok(size) => density.size = size,
        Err(fault) => table.problem(problems, key, fault),
    };
    if let Some(faces) = table.whole(problems, "faces", "faces = 1800") {
        keep("faces", problems, checked_faces(faces).map(Size::Faces));
    }
    if let Some(edge) = table.number(problems, "edge", "edge = 2.2") {
        keep("edge", problems, checked_edge(edge).map(Size::Edge));
    }
    if let Some(adapt) = table.number(problems, "adapt", "adapt = 0.5") {
        match checked_adapt(adapt) {
            Ok(adapt) => density.adapt = adapt,
            Err(fault) => table.problem(problems, "adapt", fault),
        }
    }
    if let Some(straddle) = table.flag(problems, "straddle", "straddle = false") {
        density.straddle = straddle;
    }
    density
}

/// A table of a list, known by its name.
pub(super) trait Named {
    /// Key of the list in the job file.
    const KEY: &'static str;

    /// Its name, unique in the list.
    fn name(&self) -> &str;

    /// Writes it into its table, or only what differs from what the table said before.
    fn change(&self, table: &mut toml_edit::Table, before: Option<&Self>);
}

/// The tables of a list of tables, with their places; none if the key isn't there.
pub(crate) fn tables_of<'d>(
    top: &View<'d>,
    problems: &mut Problems<'_>,
    key: &str,
    example: &'static str,
) -> Vec<(&'d dyn TableLike, Option<Range<usize>>)> {
    let Some(item) = top.item(key) else {
        return Vec::new();
    };
    match item {
        Item::ArrayOfTables(list) => list
            .iter()
            .map(|t| (t as &dyn TableLike, t.span()))
            .collect(),
        // A list of inline tables says the same in TOML.
        Item::Value(value)
            if value
                .as_array()
                .is_some_and(|l| l.iter().all(|v| v.is_inline_table())) =>
        {
            let list = value.as_array().into_iter().flat_map(|list| list.iter());
            list.filter_map(|v| Some((v.as_inline_table()? as &dyn TableLike, v.span())))
                .collect()
        }
        _ => {
            let fault = JobFault::WrongType {
                key: key.to_owned(),
                wanted: "a list of tables",
                found: "something else",
                example,
            };
            top.problem(problems, key, fault);
            Vec::new()
        }
    }
}

/// The tables of a list, each read by `read` with its line; names must differ.
pub(crate) fn named<T>(
    top: &View<'_>,
    problems: &mut Problems<'_>,
    (key, example): (&'static str, &'static str),
    read: impl Fn(&View<'_>, usize, &mut Problems<'_>) -> Option<T>,
) -> Vec<T> {
    let what = key.replace('_', "-");
    let tables = tables_of(top, problems, key, example);
    let mut first_lines = BTreeMap::new();
    let mut found = Vec::new();
    for (number, (table, span)) in tables.into_iter().enumerate() {
        let name = table.get("name").and_then(Item::as_str).map(str::trim);
        let label = match name {
            Some(name) => format!("{what} '{name}'"),
            None => format!("{what} {} of the file", number + 1),
        };
        let view = View::new(table, label, span);
        let line = view
            .span
            .clone()
            .map_or(1, |span| problems.place(span.start).line);
        if let Some(name) = name {
            let first_line = *first_lines.entry(name.to_owned()).or_insert(line);
            if first_line != line {
                let fault = JobFault::DuplicateName {
                    what: what.clone(),
                    first_line,
                };
                view.problem(problems, "name", fault);
            }
        }
        found.extend(read(&view, line, problems));
    }
    found
}

fn guide(table: &View<'_>, line: usize, problems: &mut Problems<'_>) -> Option<GuideSpec> {
    table.only(
        problems,
        &[
            "name",
            "kind",
            "closed",
            "count",
            "loops",
            "hard",
            "points",
            "reason",
            "confidence",
        ],
        &[],
    );
    for (key, example) in [
        ("name", "name = \"left wrist\""),
        ("kind", "kind = \"ring\""),
        ("points", POINTS),
    ] {
        if !table.has(key) {
            table.missing(problems, key, example);
        }
    }
    let name = table
        .text(problems, "name", "name = \"left wrist\"")
        .map(|name| name.trim().to_owned());
    let word = table.text(problems, "kind", "kind = \"ring\"");
    let kind = match word.map(|word| meaning("kind", word, &GuideKind::WORDS)) {
        Some(Ok(kind)) => Some(kind),
        Some(Err(fault)) => {
            table.problem(problems, "kind", fault);
            None
        }
        None => None,
    };
    let stated = table.flag(problems, "closed", "closed = true");
    let closed = stated.or(kind.map(GuideKind::closed_by_default));
    let count = table.whole(problems, "count", "count = 12");
    let ring = kind
        .zip(closed)
        .map(|(kind, closed)| kind == GuideKind::Ring && closed);
    let loops = intent::loops(table, ring, problems);
    let hard = table.flag(problems, "hard", "hard = true");
    let points = table.vectors(problems, "points", POINTS);
    let reason = table
        .text(problems, "reason", "reason = \"the elbow bends here\"")
        .map(str::to_owned);
    let confidence = table.number(problems, "confidence", "confidence = 0.8");
    let confidence = match confidence.map(checked_confidence).transpose() {
        Ok(confidence) => confidence,
        Err(fault) => {
            table.problem(problems, "confidence", fault);
            None
        }
    };
    let closed = closed?;
    let count = match count.map(|count| checked_count(count, closed)).transpose() {
        Ok(count) => count,
        Err(fault) => {
            table.problem(problems, "count", fault);
            None
        }
    };
    let points = points?;
    let need = if closed { 3 } else { 2 };
    if points.len() < need {
        let fault = JobFault::TooFewPoints {
            have: points.len(),
            need,
            closed,
        };
        table.problem(problems, "points", fault);
    }
    Some(GuideSpec {
        name: name?,
        kind: kind?,
        closed,
        count,
        loops,
        hard: hard.unwrap_or_default(),
        points,
        reason,
        confidence,
        line,
    })
}

fn checked_count(count: i64, closed: bool) -> Result<u32, JobFault> {
    let least = if closed { 3 } else { 1 };
    let fits = u32::try_from(count)
        .ok()
        .filter(|c| (least..=LARGEST_COUNT).contains(c));
    fits.ok_or_else(|| {
        let of = if closed { "a closed" } else { "an open" };
        out_of_range(
            "count",
            count,
            format!("from {least} to {LARGEST_COUNT} for {of} guide"),
        )
    })
}
