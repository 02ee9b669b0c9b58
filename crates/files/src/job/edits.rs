//! The job's edits: what the artist changes by hand after a run, played in order at each run.

use std::fmt::Write as _;

use mesh::DVec3;
use toml_edit::{ArrayOfTables, Item, Table, Value};

use super::error::JobFault;
use super::read::tables_of;
use super::spec::{meaning, out_of_range, word_of};
use super::table::{Problems, View};
use super::write::{taken_out, vector};

/// Most edges around a moved vertex that are evened out with it.
pub const LARGEST_RELAX: u32 = 8;

/// One edit.
#[derive(Clone, Debug, PartialEq)]
pub struct EditSpec {
    /// What it does.
    pub change: ChangeSpec,
    /// Whether guides whose count it changes promise the new count. Default: false.
    pub recount: bool,
    /// Line of its table in the job file, from 1; 0 for an edit that isn't in a file yet.
    pub line: usize,
}

/// What an edit does. Points and directions in model units.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum ChangeSpec {
    /// A new loop through a strip of quads.
    Insert {
        /// A point on the strip.
        at: DVec3,
        /// The direction in which the loop runs there.
        along: DVec3,
        /// Where it crosses the strip, from its right edge (0) to its left (1), seen along
        /// `along`; exclusive. Default: 0.5.
        share: f64,
    },
    /// A loop taken out.
    Remove {
        /// A point on the loop.
        at: DVec3,
        /// The direction in which the loop runs there.
        along: DVec3,
    },
    /// A loop moved over the sculpt.
    Slide {
        /// A point on the loop.
        at: DVec3,
        /// The direction in which the loop runs there.
        along: DVec3,
        /// Share of the way to the neighbour on the left (above 0) or right, −1 to 1, exclusive.
        share: f64,
    },
    /// A vertex moved over the sculpt.
    Move {
        /// A point at the vertex.
        at: DVec3,
        /// Where it goes.
        to: DVec3,
        /// Vertices up to so many edges around are evened out, 0 to [`LARGEST_RELAX`].
        /// Default: 0.
        relax: u32,
    },
}

#[derive(Clone, Copy, PartialEq)]
enum Kind {
    Insert,
    Remove,
    Slide,
    Move,
}

const WORDS: [(&str, Kind); 4] = [
    ("insert", Kind::Insert),
    ("remove", Kind::Remove),
    ("slide", Kind::Slide),
    ("move", Kind::Move),
];

const AT: &str = "at = [31.0, 104.2, 3.5]";
const ALONG: &str = "along = [0, 1, 0]";
const TO: &str = "to = [31.5, 104.0, 3.4]";

impl Kind {
    fn keys(self) -> &'static [&'static str] {
        match self {
            Self::Insert => &["do", "at", "along", "share", "recount"],
            Self::Remove => &["do", "at", "along", "recount"],
            Self::Slide => &["do", "at", "along", "share"],
            Self::Move => &["do", "at", "to", "relax"],
        }
    }
}

impl ChangeSpec {
    fn kind(&self) -> Kind {
        match self {
            Self::Insert { .. } => Kind::Insert,
            Self::Remove { .. } => Kind::Remove,
            Self::Slide { .. } => Kind::Slide,
            Self::Move { .. } => Kind::Move,
        }
    }
}

impl EditSpec {
    /// Keys and values in the order in which they are written.
    fn values(&self) -> Vec<(&'static str, Value)> {
        let word = word_of(&WORDS, self.change.kind());
        let mut all = vec![("do", Value::from(word))];
        match self.change {
            ChangeSpec::Insert { at, along, share } | ChangeSpec::Slide { at, along, share } => {
                all.push(("at", vector(at).into()));
                all.push(("along", vector(along).into()));
                all.push(("share", share.into()));
            }
            ChangeSpec::Remove { at, along } => {
                all.push(("at", vector(at).into()));
                all.push(("along", vector(along).into()));
            }
            ChangeSpec::Move { at, to, relax } => {
                all.push(("at", vector(at).into()));
                all.push(("to", vector(to).into()));
                all.push(("relax", i64::from(relax).into()));
            }
        }
        if self.recount {
            all.push(("recount", true.into()));
        }
        all
    }

    fn says_the_same(&self, other: &Self) -> bool {
        (self.change, self.recount) == (other.change, other.recount)
    }
}

pub(super) fn read(top: &View<'_>, problems: &mut Problems<'_>) -> Vec<EditSpec> {
    const EXAMPLE: &str = "[[edit]] with two pairs of brackets, once for each edit";
    let tables = tables_of(top, problems, "edit", EXAMPLE);
    let mut edits = Vec::new();
    for (number, (table, span)) in tables.into_iter().enumerate() {
        let view = View::new(table, format!("edit {} of the file", number + 1), span);
        let line = view
            .span
            .clone()
            .map_or(1, |span| problems.place(span.start).line);
        edits.extend(edit(&view, line, problems));
    }
    edits
}

fn edit(table: &View<'_>, line: usize, problems: &mut Problems<'_>) -> Option<EditSpec> {
    const DO: &str = "do = \"insert\"";
    if !table.has("do") {
        table.missing(problems, "do", DO);
    }
    let kind = match meaning("do", table.text(problems, "do", DO)?, &WORDS) {
        Ok(kind) => kind,
        Err(fault) => {
            table.problem(problems, "do", fault);
            return None;
        }
    };
    table.only(problems, kind.keys(), &[]);
    let recount = match kind {
        Kind::Insert | Kind::Remove => table.flag(problems, "recount", "recount = true"),
        Kind::Slide | Kind::Move => None,
    };
    let at = point(table, problems, "at", AT);
    let change = match kind {
        Kind::Insert => {
            let (along, share) = (direction(table, problems), share(table, problems, 0.0));
            ChangeSpec::Insert {
                at: at?,
                along: along?,
                share: share.unwrap_or(0.5),
            }
        }
        Kind::Remove => {
            let along = direction(table, problems);
            ChangeSpec::Remove {
                at: at?,
                along: along?,
            }
        }
        Kind::Slide => {
            if !table.has("share") {
                table.missing(problems, "share", "share = -0.3");
            }
            let (along, share) = (direction(table, problems), share(table, problems, -1.0));
            ChangeSpec::Slide {
                at: at?,
                along: along?,
                share: share?,
            }
        }
        Kind::Move => {
            let to = point(table, problems, "to", TO);
            let relax = relax(table, problems);
            ChangeSpec::Move {
                at: at?,
                to: to?,
                relax: relax.unwrap_or(0),
            }
        }
    };
    Some(EditSpec {
        change,
        recount: recount.unwrap_or(false),
        line,
    })
}

fn point(
    table: &View<'_>,
    problems: &mut Problems<'_>,
    key: &str,
    example: &'static str,
) -> Option<DVec3> {
    if !table.has(key) {
        table.missing(problems, key, example);
    }
    table.vector(problems, key, example)
}

fn direction(table: &View<'_>, problems: &mut Problems<'_>) -> Option<DVec3> {
    let along = point(table, problems, "along", ALONG)?;
    // Its squared length must neither vanish nor overflow.
    if !along.length().is_normal() {
        table.problem(problems, "along", JobFault::ZeroDirection);
        return None;
    }
    Some(along)
}

fn share(table: &View<'_>, problems: &mut Problems<'_>, low: f64) -> Option<f64> {
    let share = table.number(problems, "share", "share = 0.4")?;
    if share > low && share < 1.0 {
        return Some(share);
    }
    let range = format!("above {low} and below 1");
    table.problem(problems, "share", out_of_range("share", share, range));
    None
}

fn relax(table: &View<'_>, problems: &mut Problems<'_>) -> Option<u32> {
    let relax = table.whole(problems, "relax", "relax = 2")?;
    let fits = u32::try_from(relax).ok().filter(|&r| r <= LARGEST_RELAX);
    if fits.is_none() {
        let range = format!("from 0 to {LARGEST_RELAX}");
        table.problem(problems, "relax", out_of_range("relax", relax, range));
    }
    fits
}

/// The tables of a new job file.
pub(super) fn new_text(edits: &[EditSpec], out: &mut String) -> std::fmt::Result {
    for edit in edits {
        writeln!(out, "\n[[edit]]")?;
        for (key, value) in edit.values() {
            writeln!(out, "{key} = {value}")?;
        }
    }
    Ok(())
}

/// Edits that say what an old one said keep its table, with comments; the others get new ones.
pub(super) fn update(top: &mut Table, old: &[EditSpec], new: &[EditSpec]) {
    let (mut tables, mut positions) = taken_out(top, "edit");
    let mut list = ArrayOfTables::new();
    for edit in new {
        let same = |i: &usize| old[*i].says_the_same(edit);
        let free = (0..old.len().min(tables.len())).filter(|&i| tables[i].is_some());
        let known = free.into_iter().find(same).and_then(|i| tables[i].take());
        let mut table = known.unwrap_or_else(|| {
            let mut table = Table::new();
            for (key, value) in edit.values() {
                table.insert(key, Item::Value(value));
            }
            table
        });
        // Tables are printed by position: hand the old ones out in the new order.
        table.set_position(positions.next());
        list.push(table);
    }
    if !list.is_empty() {
        top.insert("edit", Item::ArrayOfTables(list));
    }
}
