//! Trims: cloth with thickness at openings. As types, from tables and to tables.

use mesh::DVec3;
use toml_edit::{Item, Table, Value};

use super::error::JobFault;
use super::read::Named;
use super::spec::{out_of_range, word_of};
use super::table::{MayVanish, Problems, View};
use super::write::{set, set_or_remove, vector};

/// Degrees that a trim may lean.
pub const FLARE: std::ops::RangeInclusive<f64> = -80.0..=80.0;
/// Loops across a trim.
pub const TRIM_LOOPS: std::ops::RangeInclusive<u32> = 0..=64;
/// Loops across a trim when the job doesn't say.
const DEFAULT_LOOPS: u32 = 1;

/// What a trim is called.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum TrimKind {
    /// At the end of a sleeve or a leg.
    Cuff,
    /// Around the neck.
    Collar,
    /// Along the lower edge.
    Hem,
    /// A belt, a strap, a strip sewn on.
    Band,
}

/// Which way its cloth goes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum TrimSide {
    /// On, beyond the opening.
    Beyond,
    /// Turned in, back behind the surface.
    Within,
    /// To both sides of a loop within the surface, on top of it.
    Upon,
}

/// Form of its edge.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum TrimEdge {
    /// Flat, with held corners.
    Flat,
    /// Half round.
    Rounded,
}

/// Its front.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum TrimFront {
    /// It goes all around.
    Closed,
    /// It opens.
    Gap,
    /// It opens, and one end lies over the other.
    Overlap,
}

/// An end of a trim at its front, seen from outside with the trim's edge up.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum TrimEnd {
    /// To the left of the front.
    Left,
    /// To the right of it.
    Right,
}

/// Where it is headed.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum TrimDirection {
    /// Along the axis of the limb.
    Axis,
    /// As the surface runs.
    Surface,
    /// One direction, of any length but zero.
    Fixed(DVec3),
}

/// A trim.
#[derive(Clone, Debug, PartialEq)]
pub struct TrimSpec {
    /// Unique among trims.
    pub name: String,
    /// What it is called.
    pub kind: TrimKind,
    /// Name of the guide that it is at.
    pub guide: String,
    /// How far its cloth reaches from the opening, or from edge to edge upon the surface; model units,
    /// above 0.
    pub height: f64,
    /// From wall to wall, model units, above 0.
    pub thickness: f64,
    /// Lean outward, degrees.
    pub flare: f64,
    /// Loops across its height.
    pub loops: u32,
    /// Form of its edge.
    pub edge: TrimEdge,
    /// Its front.
    pub front: TrimFront,
    /// Width of the gap at the front, model units; 0 for the front vertex alone.
    pub front_width: f64,
    /// Where the front is, if it is said.
    pub front_at: Option<DVec3>,
    /// How far one end lies over the other where they overlap, model units, above 0; else 0.
    pub lap: f64,
    /// The end that lies over the other.
    pub upper: TrimEnd,
    /// Where it is headed.
    pub direction: TrimDirection,
    /// Which way its cloth goes.
    pub side: TrimSide,
    /// Whether it follows the sculpt.
    pub follow: bool,
    /// Whether the corners of its rim are hard; else by angle.
    pub hard: Option<bool>,
    /// Line of its table in the job file, from 1; 0 if it isn't in a file yet.
    pub line: usize,
}

impl TrimKind {
    /// All kinds with their words in the job file.
    pub const WORDS: [(&str, Self); 4] = [
        ("cuff", Self::Cuff),
        ("collar", Self::Collar),
        ("hem", Self::Hem),
        ("band", Self::Band),
    ];

    /// The side when the job doesn't say: a hem is turned in, a band laid on top.
    pub fn side(self) -> TrimSide {
        match self {
            Self::Hem => TrimSide::Within,
            Self::Cuff | Self::Collar => TrimSide::Beyond,
            Self::Band => TrimSide::Upon,
        }
    }
}

impl TrimSide {
    /// Both with their words in the job file.
    pub const WORDS: [(&str, Self); 3] = [
        ("beyond", Self::Beyond),
        ("within", Self::Within),
        ("upon", Self::Upon),
    ];
}

impl TrimEdge {
    /// Both with their words in the job file.
    pub const WORDS: [(&str, Self); 2] = [("flat", Self::Flat), ("rounded", Self::Rounded)];
}

impl TrimFront {
    /// All with their words in the job file.
    pub const WORDS: [(&str, Self); 3] = [
        ("closed", Self::Closed),
        ("gap", Self::Gap),
        ("overlap", Self::Overlap),
    ];
}

impl TrimEnd {
    /// Both with their words in the job file.
    pub const WORDS: [(&str, Self); 2] = [("left", Self::Left), ("right", Self::Right)];
}

impl TrimDirection {
    /// Those that have a word in the job file.
    pub const WORDS: [(&str, Self); 2] = [("axis", Self::Axis), ("surface", Self::Surface)];
}

impl TrimSpec {
    /// A trim with defaults for all that can be left out.
    pub fn new(name: &str, kind: TrimKind, guide: &str, height: f64, thickness: f64) -> Self {
        Self {
            name: name.to_owned(),
            kind,
            guide: guide.to_owned(),
            height,
            thickness,
            flare: 0.0,
            loops: DEFAULT_LOOPS,
            edge: TrimEdge::Flat,
            front: TrimFront::Closed,
            front_width: 0.0,
            front_at: None,
            lap: 0.0,
            upper: TrimEnd::Right,
            direction: TrimDirection::Axis,
            side: kind.side(),
            follow: true,
            hard: None,
            line: 0,
        }
    }
}

const KEYS: [&str; 17] = [
    "name",
    "kind",
    "guide",
    "height",
    "thickness",
    "flare",
    "loops",
    "edge",
    "front",
    "front_width",
    "front_at",
    "lap",
    "upper",
    "direction",
    "side",
    "follow",
    "hard",
];
const DIRECTION: &str = "direction = \"axis\"";

/// `[[trim]]`; `guides` are the names that the job has.
pub(super) fn trim(
    table: &View<'_>,
    line: usize,
    guides: &[&str],
    problems: &mut Problems<'_>,
) -> Option<TrimSpec> {
    table.only(problems, &KEYS, &[]);
    const HEIGHT: &str = "height = 4.0";
    const THICKNESS: &str = "thickness = 0.6";
    const GUIDE: &str = "guide = \"left wrist\"";
    for (key, example) in [
        ("name", "name = \"left cuff\""),
        ("kind", "kind = \"cuff\""),
        ("guide", GUIDE),
        ("height", HEIGHT),
        ("thickness", THICKNESS),
    ] {
        if !table.has(key) {
            table.missing(problems, key, example);
        }
    }
    let name = table.text(problems, "name", "name = \"left cuff\"");
    let kind = table.word(problems, "kind", "kind = \"cuff\"", &TrimKind::WORDS);
    let guide = table.text(problems, "guide", GUIDE).map(str::trim);
    if let Some(guide) = guide.filter(|guide| !guides.contains(guide)) {
        let fault = JobFault::UnknownGuide {
            guide: guide.to_owned(),
            nearest: super::near::nearest(guide, guides.iter().copied()),
        };
        table.problem(problems, "guide", fault);
    }
    let height = table.length(problems, "height", HEIGHT, MayVanish::No);
    let thickness = table.length(problems, "thickness", THICKNESS, MayVanish::No);
    let flare = table.number(problems, "flare", "flare = 10");
    if let Some(flare) = flare.filter(|f| !FLARE.contains(f)) {
        let range = format!("from {} to {} degrees", FLARE.start(), FLARE.end());
        table.problem(problems, "flare", out_of_range("flare", flare, range));
    }
    let loops = table.whole(problems, "loops", "loops = 2");
    let counted = loops
        .and_then(|n| u32::try_from(n).ok())
        .filter(|n| TRIM_LOOPS.contains(n));
    if let (Some(loops), None) = (loops, counted) {
        let range = format!("from {} to {}", TRIM_LOOPS.start(), TRIM_LOOPS.end());
        table.problem(problems, "loops", out_of_range("loops", loops, range));
    }
    let edge = table.word(problems, "edge", "edge = \"flat\"", &TrimEdge::WORDS);
    let front = front(table, problems);
    let direction = if table.item("direction").is_some_and(Item::is_array) {
        let way = table.vector(problems, "direction", "direction = [0, -1, 0]");
        if way.is_some_and(|way| !way.length().is_normal()) {
            table.problem(problems, "direction", JobFault::NowhereTo);
        }
        way.map(TrimDirection::Fixed)
    } else {
        table.word(problems, "direction", DIRECTION, &TrimDirection::WORDS)
    };
    let side = table.word(problems, "side", "side = \"beyond\"", &TrimSide::WORDS);
    let follow = table.flag(problems, "follow", "follow = false");
    let hard = table.flag(problems, "hard", "hard = true");
    let plain = TrimSpec::new(name?.trim(), kind?, guide?, height?, thickness?);
    Some(TrimSpec {
        flare: flare.unwrap_or(plain.flare),
        loops: counted.unwrap_or(plain.loops),
        edge: edge.unwrap_or(plain.edge),
        front: front.front.unwrap_or(plain.front),
        front_width: front.width.unwrap_or(plain.front_width),
        front_at: front.at,
        lap: front.lap.unwrap_or(plain.lap),
        upper: front.upper.unwrap_or(plain.upper),
        direction: direction.unwrap_or(plain.direction),
        side: side.unwrap_or(plain.side),
        follow: follow.unwrap_or(plain.follow),
        hard,
        line,
        ..plain
    })
}

/// What a table says of a trim's front.
struct Front {
    front: Option<TrimFront>,
    width: Option<f64>,
    at: Option<DVec3>,
    lap: Option<f64>,
    upper: Option<TrimEnd>,
}

fn front(table: &View<'_>, problems: &mut Problems<'_>) -> Front {
    const LAP: &str = "lap = 2.0";
    let front = table.word(problems, "front", "front = \"gap\"", &TrimFront::WORDS);
    let width = table.length(problems, "front_width", "front_width = 2.0", MayVanish::Yes);
    let at = table.vector(problems, "front_at", "front_at = [0, 140, 9]");
    let lap = table.length(problems, "lap", LAP, MayVanish::No);
    let upper = table.word(problems, "upper", "upper = \"right\"", &TrimEnd::WORDS);
    let opens = matches!(front, Some(TrimFront::Gap | TrimFront::Overlap));
    let overlaps = front == Some(TrimFront::Overlap);
    for (keys, fits, wanted) in [
        (
            ["front_width", "front_at"],
            opens,
            "front = \"gap\" or \"overlap\" with this key, or neither",
        ),
        (
            ["lap", "upper"],
            overlaps,
            "front = \"overlap\" with this key, or neither",
        ),
    ] {
        for key in keys {
            if table.has(key) && !fits {
                table.problem(problems, key, JobFault::EitherOr { wanted });
            }
        }
    }
    if overlaps && !table.has("lap") {
        table.missing(problems, "lap", LAP);
    }
    Front {
        front,
        width,
        at,
        lap,
        upper,
    }
}

impl Named for TrimSpec {
    const KEY: &'static str = "trim";

    fn name(&self) -> &str {
        &self.name
    }

    fn change(&self, table: &mut Table, before: Option<&Self>) {
        // Of a new table, only what isn't the default is written.
        let plain = Self::new("", self.kind, "", 0.0, 0.0);
        let old = before.unwrap_or(&plain);
        let first = before.is_none();
        if first || old.name != self.name {
            set(table, "name", self.name.as_str().into());
        }
        if first || old.kind != self.kind {
            set(table, "kind", word_of(&TrimKind::WORDS, self.kind).into());
        }
        if first || old.guide != self.guide {
            set(table, "guide", self.guide.as_str().into());
        }
        if first || old.height != self.height {
            set(table, "height", self.height.into());
        }
        if first || old.thickness != self.thickness {
            set(table, "thickness", self.thickness.into());
        }
        if old.flare != self.flare {
            set(table, "flare", self.flare.into());
        }
        if old.loops != self.loops {
            set(table, "loops", i64::from(self.loops).into());
        }
        if old.edge != self.edge {
            set(table, "edge", word_of(&TrimEdge::WORDS, self.edge).into());
        }
        if old.front != self.front {
            set(
                table,
                "front",
                word_of(&TrimFront::WORDS, self.front).into(),
            );
        }
        if old.front_width != self.front_width {
            let width = (self.front_width > 0.0).then(|| self.front_width.into());
            set_or_remove(table, "front_width", width);
        }
        if old.front_at != self.front_at {
            let at = self.front_at.map(|at| Value::Array(vector(at)));
            set_or_remove(table, "front_at", at);
        }
        if old.lap != self.lap {
            let lap = (self.lap > 0.0).then(|| self.lap.into());
            set_or_remove(table, "lap", lap);
        }
        if old.upper != self.upper {
            // The default is left unsaid where there is no lap.
            let said = self.front == TrimFront::Overlap || self.upper != plain.upper;
            let word = said.then(|| word_of(&TrimEnd::WORDS, self.upper).into());
            set_or_remove(table, "upper", word);
        }
        if old.direction != self.direction {
            let value = match self.direction {
                TrimDirection::Fixed(way) => Value::Array(vector(way)),
                word => word_of(&TrimDirection::WORDS, word).into(),
            };
            set(table, "direction", value);
        }
        // What isn't said follows the kind, which may have changed.
        let said = table.contains_key("side");
        if old.side != self.side || (!said && self.side != self.kind.side()) {
            set(table, "side", word_of(&TrimSide::WORDS, self.side).into());
        }
        if old.follow != self.follow {
            set(table, "follow", self.follow.into());
        }
        if old.hard != self.hard {
            set_or_remove(table, "hard", self.hard.map(Into::into));
        }
    }
}
