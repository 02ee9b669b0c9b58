//! Layers: other meshes under or over the surface, and the room between.

use std::path::PathBuf;

use toml_edit::Table;

use super::error::JobFault;
use super::read::Named;
use super::spec::word_of;
use super::table::{MayVanish, Problems, View};
use super::write::{set, set_or_remove};

/// Which side of the surface a layer is on.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum LayerSide {
    /// Under the surface, as a body is under a coat.
    #[default]
    Under,
    /// Over it, as a coat is over a body.
    Over,
}

impl LayerSide {
    /// Both with their words in the job file.
    pub const WORDS: [(&str, Self); 2] = [("under", Self::Under), ("over", Self::Over)];
}

/// Another mesh that the surface keeps a clearance to.
#[derive(Clone, Debug, PartialEq)]
pub struct LayerSpec {
    /// Unique among layers.
    pub name: String,
    /// The file as written in the job: relative to the job file, or absolute.
    pub file: PathBuf,
    /// The part of the file by name. Default: everything.
    pub part: Option<String>,
    /// Which side it is on. Default: under.
    pub side: LayerSide,
    /// Least distance to the surface, model units, above 0.
    pub clearance: f64,
    /// Where its hidden faces are to be left out of a copy of it: how far under each opening
    /// faces stay, model units, at least 0.
    pub margin: Option<f64>,
    /// Line of its table in the job file, from 1; 0 if it isn't in a file yet.
    pub line: usize,
}

impl LayerSpec {
    /// A layer under the surface with defaults for all that can be left out; `clearance` in model
    /// units.
    pub fn new(name: &str, file: impl Into<PathBuf>, clearance: f64) -> Self {
        Self {
            name: name.to_owned(),
            file: file.into(),
            part: None,
            side: LayerSide::default(),
            clearance,
            margin: None,
            line: 0,
        }
    }
}

const NAME: &str = "name = \"body\"";
const FILE: &str = "file = \"keeper.ply\"";
const CLEARANCE: &str = "clearance = 0.4";
const MARGIN: &str = "margin = 3.0";
/// What becomes of hidden faces, and whether they are left out.
const HIDDEN: [(&str, bool); 2] = [("keep", false), ("drop", true)];

pub(super) fn layer(
    table: &View<'_>,
    line: usize,
    problems: &mut Problems<'_>,
) -> Option<LayerSpec> {
    let known = [
        "name",
        "file",
        "part",
        "side",
        "clearance",
        "hidden",
        "margin",
    ];
    table.only(problems, &known, &[]);
    for (key, example) in [("name", NAME), ("file", FILE), ("clearance", CLEARANCE)] {
        if !table.has(key) {
            table.missing(problems, key, example);
        }
    }
    let name = table.text(problems, "name", NAME);
    let file = table.text(problems, "file", FILE);
    let part = table.text(problems, "part", "part = \"torso\"");
    let side = table.word(problems, "side", "side = \"under\"", &LayerSide::WORDS);
    let side = side.unwrap_or_default();
    let hidden = table.word(problems, "hidden", "hidden = \"drop\"", &HIDDEN);
    let drops = hidden.unwrap_or_default();
    let clearance = table.length(problems, "clearance", CLEARANCE, MayVanish::No);
    let margin = table.length(problems, "margin", MARGIN, MayVanish::Yes);
    if drops && !table.has("margin") {
        table.missing(problems, "margin", MARGIN);
    }
    if table.has("margin") && !drops {
        let wanted = "'margin' with hidden = \"drop\", or neither";
        table.problem(problems, "margin", JobFault::EitherOr { wanted });
    }
    if drops && side == LayerSide::Over {
        let wanted = "side = \"under\" or hidden = \"keep\": what is over the surface is seen";
        table.problem(problems, "hidden", JobFault::EitherOr { wanted });
    }
    Some(LayerSpec {
        name: name?.trim().to_owned(),
        file: file?.into(),
        part: part.map(str::to_owned),
        side,
        clearance: clearance?,
        margin: margin.filter(|_| drops),
        line,
    })
}

impl Named for LayerSpec {
    const KEY: &'static str = "layer";

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
        if before.and_then(|b| b.part.as_ref()) != self.part.as_ref() {
            set_or_remove(table, "part", self.part.as_deref().map(Into::into));
        }
        if before.map(|b| b.side) != Some(self.side) {
            set(table, "side", word_of(&LayerSide::WORDS, self.side).into());
        }
        if before.map(|b| b.clearance) != Some(self.clearance) {
            set(table, "clearance", self.clearance.into());
        }
        if before.and_then(|b| b.margin) != self.margin {
            set_or_remove(table, "hidden", self.margin.map(|_| "drop".into()));
            set_or_remove(table, "margin", self.margin.map(Into::into));
        }
    }
}
