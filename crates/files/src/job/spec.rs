//! What a job asks for, as types.

use std::path::PathBuf;

use mesh::DVec3;

use super::edits::EditSpec;
use super::error::JobFault;
use super::finish::{LiningSpec, ShadingSpec};
use super::holds::HoldSpec;
use super::intent::{AreaSpec, KeepOutSpec, PinSpec};
use super::layers::LayerSpec;
use super::near::nearest;
use super::trims::TrimSpec;

/// Faces that a whole surface may be asked for.
pub const FACES: std::ops::RangeInclusive<u32> = 50..=200_000;
/// Faces when the job doesn't say.
pub const DEFAULT_FACES: u32 = 1800;
/// How much size follows curvature when the job doesn't say.
pub const DEFAULT_ADAPT: f64 = 0.5;
/// Unit of length when the job doesn't say.
pub const DEFAULT_UNITS: &str = "cm";
/// The largest count that a guide may promise.
pub const LARGEST_COUNT: u32 = 10_000;

/// A job: what the artist asks for, one part's worth.
#[derive(Clone, Debug, PartialEq)]
pub struct JobSpec {
    /// Name of the part. Default: the job file's name without extension.
    pub name: String,
    /// Unit of every length and position, as it is named in reports. Default: `cm`.
    pub units: String,
    /// The dense input.
    pub sculpt: SculptSpec,
    /// The mirror plane.
    pub symmetry: SymmetrySpec,
    /// How many faces, and where.
    pub density: DensitySpec,
    /// Guides in the order of the file; names are unique.
    pub guides: Vec<GuideSpec>,
    /// Edits in the order in which they are played.
    pub edits: Vec<EditSpec>,
    /// Parts of the surface with quads of another size.
    pub areas: Vec<AreaSpec>,
    /// Poles wanted at places.
    pub pins: Vec<PinSpec>,
    /// Places without poles.
    pub keep_outs: Vec<KeepOutSpec>,
    /// Parts of an earlier surface that stay as they are.
    pub holds: Vec<HoldSpec>,
    /// Cloth with thickness at openings.
    pub trims: Vec<TrimSpec>,
    /// Other meshes under or over the surface.
    pub layers: Vec<LayerSpec>,
    /// A second wall inside of the whole part.
    pub lining: Option<LiningSpec>,
    /// Which edges look sharp.
    pub shading: ShadingSpec,
}

/// Which sculpt, and which part of it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct SculptSpec {
    /// The file as written in the job: relative to the job file, or absolute.
    pub file: PathBuf,
    /// The part to work on. Default: everything.
    pub part: Option<PartSpec>,
}

/// A part of a sculpt.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum PartSpec {
    /// The part of this name.
    Named(String),
    /// The connected piece with the largest area; `"largest"` in the file.
    Largest,
}

/// The mirror plane and what it does. Default: no plane, `mirror`.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct SymmetrySpec {
    /// Which plane.
    pub plane: PlaneSpec,
    /// How the two sides go together.
    pub sides: Sides,
}

/// A mirror plane.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub enum PlaneSpec {
    /// x = 0.
    X,
    /// y = 0.
    Y,
    /// z = 0.
    Z,
    /// Found from the sculpt.
    Find,
    /// No symmetry.
    #[default]
    None,
    /// Through a point, across a direction.
    Given {
        /// A point on the plane, model units.
        origin: DVec3,
        /// Direction across the plane, of any length but zero.
        normal: DVec3,
    },
}

/// How the two sides of a symmetric surface go together.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Sides {
    /// One side is the exact mirror image of the other.
    #[default]
    Mirror,
    /// Same topology; each side is fitted to its own surface.
    Fit,
}

/// How many faces, and how their size varies. Default: 1800 faces, adapt 0.5.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct DensitySpec {
    /// How many or how large.
    pub size: Size,
    /// 0: even quads; 1: size follows curvature.
    pub adapt: f64,
    /// Whether faces straddle the sculpt, so that its volume stays, or every vertex lies on it.
    pub straddle: bool,
}

impl Default for DensitySpec {
    fn default() -> Self {
        Self {
            size: Size::Faces(DEFAULT_FACES),
            adapt: DEFAULT_ADAPT,
            straddle: true,
        }
    }
}

/// The size of quads.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Size {
    /// Quads of the whole surface, 50 to 200,000.
    Faces(u32),
    /// Edge length to aim at, model units, above 0.
    Edge(f64),
}

/// What a guide asks for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum GuideKind {
    /// Across or around something.
    Ring,
    /// A seam, a placket, a flow line.
    Line,
    /// The surface ends here.
    Opening,
}

/// A guide as drawn.
#[derive(Clone, Debug, PartialEq)]
pub struct GuideSpec {
    /// Unique name.
    pub name: String,
    /// What it asks for.
    pub kind: GuideKind,
    /// Whether the last point joins the first. Default: true for rings and openings,
    /// false for lines.
    pub closed: bool,
    /// Quads along it, where promised: at least 3 if closed, 1 if open.
    pub count: Option<u32>,
    /// Closed loops beside a closed ring, more than there would be; 0 for none.
    pub loops: u32,
    /// Whether its edges are hard. Default: they are soft, as far as the angle goes.
    pub hard: bool,
    /// Drawn points, model units: at least 3 if closed, 2 if open.
    pub points: Vec<DVec3>,
    /// Of a proposed guide: why it would be good to have. Changes no surface.
    pub reason: Option<String>,
    /// Of a proposed guide: how sure that is, 0 to 1. Changes no surface.
    pub confidence: Option<f64>,
    /// Line of its table in the job file, from 1; 0 for a guide that isn't in a file yet.
    pub line: usize,
}

impl GuideSpec {
    /// A guide that promises nothing; closed where its kind is when the job doesn't say.
    pub fn new(name: impl Into<String>, kind: GuideKind, points: Vec<DVec3>) -> Self {
        Self {
            name: name.into(),
            kind,
            closed: kind.closed_by_default(),
            count: None,
            loops: 0,
            hard: false,
            points,
            reason: None,
            confidence: None,
            line: 0,
        }
    }
}

impl GuideKind {
    /// The kind of a word; a line for any other.
    pub fn of_word(word: &str) -> Self {
        let known = Self::WORDS.iter().find(|(known, _)| *known == word);
        known.map_or(Self::Line, |(_, kind)| *kind)
    }

    /// All kinds with their words in the job file.
    pub const WORDS: [(&str, Self); 3] = [
        ("ring", Self::Ring),
        ("line", Self::Line),
        ("opening", Self::Opening),
    ];

    /// The word in the job file.
    pub fn word(self) -> &'static str {
        word_of(&Self::WORDS, self)
    }

    /// Whether guides of this kind are closed when the job doesn't say.
    pub fn closed_by_default(self) -> bool {
        self != Self::Line
    }
}

impl Sides {
    /// Both with their words in the job file.
    pub const WORDS: [(&str, Self); 2] = [("mirror", Self::Mirror), ("fit", Self::Fit)];

    /// The word in the job file.
    pub fn word(self) -> &'static str {
        word_of(&Self::WORDS, self)
    }
}

impl PlaneSpec {
    /// The planes that have a word in the job file.
    pub const WORDS: [(&str, Self); 5] = [
        ("x", Self::X),
        ("y", Self::Y),
        ("z", Self::Z),
        ("find", Self::Find),
        ("none", Self::None),
    ];
}

pub(super) fn word_of<T: PartialEq>(words: &[(&'static str, T)], value: T) -> &'static str {
    words
        .iter()
        .find(|(_, v)| *v == value)
        .map_or("", |(word, _)| word)
}

/// The meaning of a word.
pub(super) fn meaning<T: Copy>(
    key: &str,
    word: &str,
    words: &[(&'static str, T)],
) -> Result<T, JobFault> {
    let known = || words.iter().map(|(w, _)| *w);
    match words.iter().find(|(w, _)| *w == word) {
        Some((_, value)) => Ok(*value),
        None => Err(JobFault::UnknownWord {
            key: key.to_owned(),
            word: word.to_owned(),
            known: known().collect(),
            nearest: nearest(word, known()),
        }),
    }
}

impl JobSpec {
    /// A job with a sculpt and defaults for everything else.
    pub fn new(name: impl Into<String>, sculpt: impl Into<PathBuf>) -> Self {
        Self {
            name: name.into(),
            units: DEFAULT_UNITS.to_owned(),
            sculpt: SculptSpec {
                file: sculpt.into(),
                part: None,
            },
            symmetry: SymmetrySpec::default(),
            density: DensitySpec::default(),
            guides: Vec::new(),
            edits: Vec::new(),
            areas: Vec::new(),
            pins: Vec::new(),
            keep_outs: Vec::new(),
            holds: Vec::new(),
            trims: Vec::new(),
            layers: Vec::new(),
            lining: None,
            shading: ShadingSpec::default(),
        }
    }

    /// Asks for a number of faces, in place of an edge length.
    ///
    /// # Errors
    /// [`JobFault::OutOfRange`] outside of [`FACES`].
    pub fn set_faces(&mut self, faces: u32) -> Result<(), JobFault> {
        self.density.size = Size::Faces(checked_faces(i64::from(faces))?);
        Ok(())
    }

    /// Asks for an edge length, model units, in place of a number of faces.
    ///
    /// # Errors
    /// [`JobFault::OutOfRange`] unless finite and above 0.
    pub fn set_edge(&mut self, edge: f64) -> Result<(), JobFault> {
        self.density.size = Size::Edge(checked_edge(edge)?);
        Ok(())
    }

    /// Sets how much size follows curvature.
    ///
    /// # Errors
    /// [`JobFault::OutOfRange`] outside of 0 to 1.
    pub fn set_adapt(&mut self, adapt: f64) -> Result<(), JobFault> {
        self.density.adapt = checked_adapt(adapt)?;
        Ok(())
    }

    /// Sets the mirror plane by its word: `x`, `y`, `z`, `find` or `none`.
    ///
    /// # Errors
    /// [`JobFault::UnknownWord`] for any other.
    pub fn set_plane(&mut self, word: &str) -> Result<(), JobFault> {
        self.symmetry.plane = meaning("plane", word, &PlaneSpec::WORDS)?;
        Ok(())
    }

    /// Sets how the sides go together by its word: `mirror` or `fit`.
    ///
    /// # Errors
    /// [`JobFault::UnknownWord`] for any other.
    pub fn set_sides(&mut self, word: &str) -> Result<(), JobFault> {
        self.symmetry.sides = meaning("sides", word, &Sides::WORDS)?;
        Ok(())
    }
}

pub(crate) fn checked_faces(faces: i64) -> Result<u32, JobFault> {
    let fits = u32::try_from(faces).ok().filter(|f| FACES.contains(f));
    let range = format!("from {} to {}", FACES.start(), FACES.end());
    fits.ok_or_else(|| out_of_range("faces", faces, range))
}

pub(super) fn checked_edge(edge: f64) -> Result<f64, JobFault> {
    if edge.is_finite() && edge > 0.0 {
        return Ok(edge);
    }
    let range = "a length above 0 in the job's units".to_owned();
    Err(out_of_range("edge", edge, range))
}

pub(super) fn checked_adapt(adapt: f64) -> Result<f64, JobFault> {
    if (0.0..=1.0).contains(&adapt) {
        return Ok(adapt);
    }
    Err(out_of_range("adapt", adapt, "from 0 to 1".to_owned()))
}

pub(super) fn checked_confidence(confidence: f64) -> Result<f64, JobFault> {
    if (0.0..=1.0).contains(&confidence) {
        return Ok(confidence);
    }
    Err(out_of_range(
        "confidence",
        confidence,
        "from 0 to 1".to_owned(),
    ))
}

pub(crate) fn out_of_range(key: &str, value: impl ToString, range: String) -> JobFault {
    JobFault::OutOfRange {
        key: key.to_owned(),
        value: value.to_string(),
        range,
    }
}

/// Metres in a unit of length; `None` for a unit that isn't known. The yard's parts are
/// exact by the international agreement of 1959.
pub fn metres_per_unit(units: &str) -> Option<f64> {
    Some(match units.trim().to_ascii_lowercase().as_str() {
        "mm" | "millimetre" | "millimeter" => 0.001,
        "cm" | "centimetre" | "centimeter" => 0.01,
        "dm" | "decimetre" | "decimeter" => 0.1,
        "m" | "metre" | "meter" => 1.0,
        "in" | "inch" => 0.0254,
        "ft" | "foot" => 0.3048,
        _ => return None,
    })
}
