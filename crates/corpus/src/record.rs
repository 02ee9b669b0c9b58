//! How a run ended.

use serde::{Deserialize, Serialize};

/// How a run ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Ending {
    /// A sound surface, and no check fails.
    Ready,
    /// A sound surface, but a check fails.
    Sound,
    /// No surface: a stage says why.
    Refused,
    /// A surface that isn't sound.
    Unsound,
    /// A panic.
    Panic,
    /// The process died: stack overflow, out of memory.
    Died,
    /// It ran into the harness' guard.
    Hang,
    /// The case itself couldn't be made or read.
    NoCase,
}

impl Ending {
    /// All, best first.
    pub const ALL: [Self; 8] = [
        Self::Ready,
        Self::Sound,
        Self::Refused,
        Self::Unsound,
        Self::Panic,
        Self::Died,
        Self::Hang,
        Self::NoCase,
    ];

    /// Its name in tables.
    pub fn name(self) -> &'static str {
        match self {
            Self::Ready => "ready",
            Self::Sound => "sound",
            Self::Refused => "refused",
            Self::Unsound => "unsound",
            Self::Panic => "panic",
            Self::Died => "died",
            Self::Hang => "hang",
            Self::NoCase => "no case",
        }
    }

    /// Whether there is a sound surface.
    pub fn is_success(self) -> bool {
        matches!(self, Self::Ready | Self::Sound)
    }

    /// Whether it must never happen, whatever the input.
    pub fn is_fault(self) -> bool {
        !self.is_success() && self != Self::Refused
    }
}

/// A run and how it ended.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Record {
    /// Name of the case.
    pub case: String,
    /// Its class.
    pub class: String,
    /// Its defects.
    pub defects: Vec<String>,
    /// Guides that it was given.
    pub guides: String,
    /// Faces asked for.
    pub faces_asked: usize,
    /// Triangles of the case.
    pub triangles: usize,
    /// How it ended.
    pub ending: Ending,
    /// Stage that refused, or was at work when it ended badly.
    pub stage: String,
    /// The refusal, the panic, or what isn't sound.
    pub text: String,
    /// Codes of the checks that fail.
    pub failing: Vec<String>,
    /// Faces of the surface.
    pub faces: usize,
    /// Inner poles.
    pub poles: usize,
    /// Fewest that the topology asks for.
    pub pole_need: u64,
    /// Strips at fault.
    pub spirals: usize,
    /// Least scaled Jacobian.
    pub jacobian: f64,
    /// Processor time, s.
    pub cpu: f64,
    /// Time by the clock, s.
    pub seconds: f64,
    /// How often the engine reported progress: work that it counts itself.
    pub reports: usize,
    /// Seconds of each stage of a finished run.
    pub stages: Vec<(String, f64)>,
}

impl Record {
    /// Name of the run, as `--only` takes it.
    pub fn id(&self) -> String {
        format!("{}/{}/{}", self.case, self.guides, self.faces_asked)
    }

    /// Whether the input is free of defects.
    pub fn is_clean(&self) -> bool {
        self.defects.is_empty()
    }
}

/// What a child process tells its parent, a line each.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Message {
    /// The case is loaded; its class, defects and triangles.
    Loaded(String, Vec<String>, usize),
    /// The case couldn't be loaded.
    NoCase(String),
    /// A run begins: its place in the list.
    Begin(usize),
    /// A stage begins.
    Stage(String),
    /// A run ended.
    End(Box<Record>),
}
