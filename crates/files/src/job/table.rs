//! Typed looks into a TOML table that collect problems instead of stopping.

use std::ops::Range;

use mesh::DVec3;
use toml_edit::{Item, TableLike, Value};

use super::error::{JobFault, JobProblem, LineColumn};
use super::near::nearest;
use super::spec::{meaning, out_of_range};

/// Whether a length may be 0.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum MayVanish {
    No,
    Yes,
}

/// Collects problems of a text and turns byte offsets into lines and columns.
pub(crate) struct Problems<'t> {
    text: &'t str,
    line_starts: Vec<usize>,
    found: Vec<JobProblem>,
}

impl<'t> Problems<'t> {
    pub fn new(text: &'t str) -> Self {
        let ends = text.bytes().enumerate().filter(|(_, b)| *b == b'\n');
        let line_starts = std::iter::once(0)
            .chain(ends.map(|(at, _)| at + 1))
            .collect();
        Self {
            text,
            line_starts,
            found: Vec::new(),
        }
    }

    /// Line and column of a byte offset, both from 1.
    pub fn place(&self, offset: usize) -> LineColumn {
        let line = self
            .line_starts
            .partition_point(|&start| start <= offset)
            .max(1);
        let start = self.line_starts[line - 1];
        let before = self
            .text
            .get(start..offset.min(self.text.len()))
            .unwrap_or_default();
        LineColumn {
            line,
            column: before.chars().count() + 1,
        }
    }

    pub fn add(&mut self, span: Option<Range<usize>>, table: &str, fault: JobFault) {
        let at = span.map(|span| self.place(span.start));
        self.found.push(JobProblem {
            at,
            table: table.to_owned(),
            fault,
        });
    }

    /// All problems in the order of the text.
    pub fn into_sorted(mut self) -> Vec<JobProblem> {
        self.found.sort_by_key(|problem| problem.at);
        self.found
    }
}

/// A table with the keys that it may have.
pub(crate) struct View<'d> {
    table: &'d dyn TableLike,
    /// Name for messages.
    pub label: String,
    /// Where the table stands.
    pub span: Option<Range<usize>>,
}

impl<'d> View<'d> {
    pub fn new(
        table: &'d dyn TableLike,
        label: impl Into<String>,
        span: Option<Range<usize>>,
    ) -> Self {
        Self {
            table,
            label: label.into(),
            span,
        }
    }

    pub fn problem(&self, problems: &mut Problems<'_>, key: &str, fault: JobFault) {
        problems.add(
            self.span_of(key).or_else(|| self.span.clone()),
            &self.label,
            fault,
        );
    }

    fn span_of(&self, key: &str) -> Option<Range<usize>> {
        let (key, item) = self.table.get_key_value(key)?;
        key.span().or_else(|| item.span())
    }

    /// Reports every key that isn't known.
    pub fn only(&self, problems: &mut Problems<'_>, known: &[&'static str], later: &[&str]) {
        for (key, _) in self.table.iter() {
            if known.contains(&key) {
                continue;
            }
            let fault = if later.contains(&key) {
                JobFault::LaterTable {
                    table: key.to_owned(),
                }
            } else {
                let nearest = nearest(key, known.iter().copied());
                JobFault::UnknownKey {
                    key: key.to_owned(),
                    nearest,
                    known: known.to_vec(),
                }
            };
            self.problem(problems, key, fault);
        }
    }

    pub fn item(&self, key: &str) -> Option<&'d Item> {
        self.table.get(key).filter(|item| !item.is_none())
    }

    pub fn has(&self, key: &str) -> bool {
        self.item(key).is_some()
    }

    pub fn missing(&self, problems: &mut Problems<'_>, key: &str, example: &'static str) {
        let fault = JobFault::Missing {
            key: key.to_owned(),
            example,
        };
        problems.add(self.span.clone(), &self.label, fault);
    }

    fn typed<T>(
        &self,
        problems: &mut Problems<'_>,
        key: &str,
        (wanted, example): (&'static str, &'static str),
        look: impl Fn(&'d Item) -> Option<T>,
    ) -> Option<T> {
        let item = self.item(key)?;
        let value = look(item);
        if value.is_none() {
            let fault = JobFault::WrongType {
                key: key.to_owned(),
                wanted,
                found: type_of(item),
                example,
            };
            self.problem(problems, key, fault);
        }
        value
    }

    /// A text that isn't blank.
    pub fn text(
        &self,
        problems: &mut Problems<'_>,
        key: &str,
        example: &'static str,
    ) -> Option<&'d str> {
        let text = self.typed(problems, key, ("a text in quotes", example), Item::as_str)?;
        if text.trim().is_empty() {
            self.problem(
                problems,
                key,
                JobFault::Empty {
                    key: key.to_owned(),
                },
            );
            return None;
        }
        Some(text)
    }

    /// The meaning of one of some words.
    pub fn word<T: Copy>(
        &self,
        problems: &mut Problems<'_>,
        key: &str,
        example: &'static str,
        words: &[(&'static str, T)],
    ) -> Option<T> {
        match meaning(key, self.text(problems, key, example)?, words) {
            Ok(meant) => Some(meant),
            Err(fault) => {
                self.problem(problems, key, fault);
                None
            }
        }
    }

    /// A finite length above 0; with `may_vanish`, 0 too.
    pub fn length(
        &self,
        problems: &mut Problems<'_>,
        key: &str,
        example: &'static str,
        may_vanish: MayVanish,
    ) -> Option<f64> {
        let length = self.number(problems, key, example)?;
        let (fits, range) = match may_vanish {
            MayVanish::No => (length > 0.0, "a length above 0 in the job's units"),
            MayVanish::Yes => (length >= 0.0, "a length of at least 0 in the job's units"),
        };
        if fits && length.is_finite() {
            return Some(length);
        }
        self.problem(problems, key, out_of_range(key, length, range.to_owned()));
        None
    }

    /// A list of texts.
    pub fn texts(
        &self,
        problems: &mut Problems<'_>,
        key: &str,
        example: &'static str,
    ) -> Option<Vec<String>> {
        let look = |item: &'d Item| {
            let text = |v: &Value| v.as_str().map(|text| text.trim().to_owned());
            item.as_array()?.iter().map(text).collect()
        };
        self.typed(problems, key, ("a list of texts in quotes", example), look)
    }

    pub fn whole(
        &self,
        problems: &mut Problems<'_>,
        key: &str,
        example: &'static str,
    ) -> Option<i64> {
        self.typed(problems, key, ("a whole number", example), Item::as_integer)
    }

    pub fn number(
        &self,
        problems: &mut Problems<'_>,
        key: &str,
        example: &'static str,
    ) -> Option<f64> {
        self.typed(problems, key, ("a number", example), |item| {
            item.as_value().and_then(number)
        })
    }

    pub fn flag(
        &self,
        problems: &mut Problems<'_>,
        key: &str,
        example: &'static str,
    ) -> Option<bool> {
        self.typed(problems, key, ("true or false", example), Item::as_bool)
    }

    /// The table under a key.
    pub fn table(
        &self,
        problems: &mut Problems<'_>,
        key: &str,
        example: &'static str,
    ) -> Option<View<'d>> {
        let table = self.typed(problems, key, ("a table", example), Item::as_table_like)?;
        Some(View::new(table, format!("[{key}]"), self.span_of(key)))
    }

    /// A single point or direction.
    pub fn vector(
        &self,
        problems: &mut Problems<'_>,
        key: &str,
        example: &'static str,
    ) -> Option<DVec3> {
        let look = |item: &'d Item| item.as_value().and_then(vector);
        self.typed(problems, key, ("three finite numbers", example), look)
    }

    /// A list of points; those that aren't points are reported.
    pub fn vectors(
        &self,
        problems: &mut Problems<'_>,
        key: &str,
        example: &'static str,
    ) -> Option<Vec<DVec3>> {
        let list = self.typed(problems, key, ("a list of points", example), Item::as_array)?;
        let mut points = Vec::with_capacity(list.len());
        let mut whole = true;
        for (i, value) in list.iter().enumerate() {
            match vector(value) {
                Some(point) => points.push(point),
                None => {
                    whole = false;
                    let fault = JobFault::Point {
                        key: key.to_owned(),
                        index: i + 1,
                    };
                    problems.add(
                        value.span().or_else(|| self.span.clone()),
                        &self.label,
                        fault,
                    );
                }
            }
        }
        whole.then_some(points)
    }
}

fn number(value: &Value) -> Option<f64> {
    value
        .as_float()
        .or_else(|| value.as_integer().map(|whole| whole as f64))
}

fn vector(value: &Value) -> Option<DVec3> {
    let list = value.as_array().filter(|list| list.len() == 3)?;
    let at = |i: usize| list.get(i).and_then(number).filter(|n| n.is_finite());
    Some(DVec3::new(at(0)?, at(1)?, at(2)?))
}

fn type_of(item: &Item) -> &'static str {
    match item.type_name() {
        "string" => "a text",
        "integer" => "a whole number",
        "float" => "a number with a fraction",
        "boolean" => "true or false",
        "datetime" => "a date",
        "array" => "a list",
        "inline table" | "table" => "a table",
        "array of tables" => "a list of tables",
        _ => "nothing",
    }
}
