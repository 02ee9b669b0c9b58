//! Holds: parts of an earlier surface that later runs leave as they are.

use std::path::PathBuf;

use toml_edit::Table;

use super::read::Named;
use super::table::{Problems, View};
use super::write::set;

/// Quads of an earlier surface that stay bit for bit as they are.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct HoldSpec {
    /// Unique among holds.
    pub name: String,
    /// The file with the quads, as written in the job: relative to the job file, or absolute.
    pub file: PathBuf,
    /// Line of its table in the job file, from 1; 0 if it isn't in a file yet.
    pub line: usize,
}

pub(super) fn hold(table: &View<'_>, line: usize, problems: &mut Problems<'_>) -> Option<HoldSpec> {
    const NAME: &str = "name = \"left sleeve\"";
    const FILE: &str = "file = \"coat.left_sleeve.obj\"";
    table.only(problems, &["name", "file"], &[]);
    for (key, example) in [("name", NAME), ("file", FILE)] {
        if !table.has(key) {
            table.missing(problems, key, example);
        }
    }
    let name = table.text(problems, "name", NAME);
    let file = table.text(problems, "file", FILE);
    Some(HoldSpec {
        name: name?.trim().to_owned(),
        file: file?.into(),
        line,
    })
}

impl Named for HoldSpec {
    const KEY: &'static str = "hold";

    fn name(&self) -> &str {
        &self.name
    }

    fn change(&self, table: &mut Table, before: Option<&Self>) {
        if before.map(|b| &b.name) != Some(&self.name) {
            set(table, "name", self.name.as_str().into());
        }
        if before.map(|b| &b.file) != Some(&self.file) {
            set(table, "file", self.file.to_string_lossy().as_ref().into());
        }
    }
}
