//! Findings: what was checked, how it came out, and where.

use serde::Serialize;

/// How a finding bears on the question "ready or not".
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Level {
    /// A check that holds.
    Pass,
    /// Something worth knowing that needs no action.
    Note,
    /// Usable, but an artist should look.
    Warn,
    /// Not ready: a promise is broken.
    Fail,
}

/// Where on the surface, the sculpt or in the job a finding applies.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[serde(tag = "kind", rename_all = "lowercase")]
pub enum Place {
    /// A point in model units.
    Point {
        /// Position, model units.
        at: [f64; 3],
    },
    /// A vertex of the finished surface.
    Vertex {
        /// Index into the surface's vertices, from 0.
        id: u32,
        /// Its position, model units.
        at: [f64; 3],
    },
    /// A face of the finished surface.
    Face {
        /// Index into the surface's quads, from 0.
        id: u32,
        /// Its centre, model units.
        at: [f64; 3],
    },
    /// A guide of the job, by name.
    Guide {
        /// The guide's name in the job file.
        name: String,
    },
}

/// One line of the findings.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Finding {
    /// Stable, machine-readable name in kebab case, such as `guide-count`.
    pub code: String,
    /// Pass, note, warn or fail.
    pub level: Level,
    /// A plain sentence for the artist.
    pub sentence: String,
    /// Measured value, where the check has one.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub value: Option<f64>,
    /// Limit that the value is held against.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub limit: Option<f64>,
    /// Where.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub places: Vec<Place>,
}

impl Finding {
    /// A finding without value or place.
    pub fn new(code: &str, level: Level, sentence: impl Into<String>) -> Self {
        Self {
            code: code.to_owned(),
            level,
            sentence: sentence.into(),
            value: None,
            limit: None,
            places: Vec::new(),
        }
    }

    /// Adds the measured value and the limit it is held against.
    #[must_use]
    pub fn measured(mut self, value: f64, limit: Option<f64>) -> Self {
        self.value = Some(value);
        self.limit = limit;
        self
    }

    /// Adds a place.
    #[must_use]
    pub fn at(mut self, place: Place) -> Self {
        self.places.push(place);
        self
    }
}

/// An ordered list of findings.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
#[serde(transparent)]
pub struct Findings {
    items: Vec<Finding>,
}

impl Findings {
    /// Adds one finding at the end.
    pub fn push(&mut self, finding: Finding) {
        self.items.push(finding);
    }

    /// Adds all of another list at the end.
    pub fn append(&mut self, mut other: Findings) {
        self.items.append(&mut other.items);
    }

    /// The findings in the order in which they were made.
    pub fn iter(&self) -> impl Iterator<Item = &Finding> {
        self.items.iter()
    }

    /// How many findings have this level.
    pub fn count(&self, level: Level) -> usize {
        self.items.iter().filter(|f| f.level == level).count()
    }

    /// Whether nothing fails.
    pub fn is_ready(&self) -> bool {
        self.count(Level::Fail) == 0
    }
}
