//! What a report is made of, and what can be wrong with it.

use base::{Cancelled, Findings};
use mesh::{DVec3, QuadMesh, SurfaceIndex, TriMesh};

/// A guide as it is shown.
#[derive(Clone, Debug, PartialEq)]
pub struct GuideView {
    /// Its name in the job file.
    pub name: String,
    /// `ring`, `line` or `opening`; anything else is drawn like a line.
    pub kind: String,
    /// Whether the last point joins the first.
    pub closed: bool,
    /// Points on or near the sculpt, model units.
    pub points: Vec<DVec3>,
}

/// A pole as it is shown.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct PoleView {
    /// Index into the surface's vertices.
    pub vertex: u32,
    /// Edges that meet there.
    pub valence: u32,
    /// Why it is there, a sentence for the artist.
    pub reason: String,
}

/// Cloth with thickness as it is shown.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct TrimView {
    /// Its name in the job file.
    pub name: String,
    /// Index of the guide that it is at, into the report's guides.
    pub guide: usize,
    /// Its quads, and those of its image.
    pub quads: Vec<u32>,
}

/// What lies under or over the surface, and how things stood before it was cleared.
#[derive(Clone, Copy)]
pub struct LayersView<'a> {
    /// The layers with their names; triangles with corners that don't exist aren't drawn.
    pub layers: &'a [(&'a str, &'a TriMesh)],
    /// The surface before it was cleared.
    pub before: &'a QuadMesh,
    /// Quads of `before` that went through a layer or were too close to one.
    pub in_the_way: &'a [u32],
}

/// What a stage cost.
#[derive(Clone, Debug, PartialEq)]
pub struct StageView {
    /// Name of the stage.
    pub name: String,
    /// Time from start to end, seconds.
    pub seconds: f64,
    /// Most memory in use by the end of the stage, megabytes (10⁶ bytes).
    pub peak_mb: f64,
}

/// A table of texts.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Table {
    /// What it shows.
    pub title: String,
    /// One heading a column.
    pub headings: Vec<String>,
    /// Rows of cells; short rows leave cells empty.
    pub rows: Vec<Vec<String>>,
}

/// Everything that a report shows.
#[derive(Clone, Copy)]
pub struct ReportInput<'a> {
    /// The part's name.
    pub title: &'a str,
    /// The sculpt with its index.
    pub sculpt: &'a SurfaceIndex,
    /// The finished surface; may be empty.
    pub surface: &'a QuadMesh,
    /// Guides, in the job's order.
    pub guides: &'a [GuideView],
    /// Poles of the surface with their reasons.
    pub poles: &'a [PoleView],
    /// Patch of each quad; may be empty.
    pub patch_of_quad: &'a [u32],
    /// Trims, in the job's order.
    pub trims: &'a [TrimView],
    /// Where the job has layers.
    pub layers: Option<LayersView<'a>>,
    /// What was checked.
    pub findings: &'a Findings,
    /// What the stages cost.
    pub stages: &'a [StageView],
    /// Further tables.
    pub tables: &'a [Table],
    /// The job file's text.
    pub job_text: &'a str,
    /// Height of the pictures, pixels, from [`ReportInput::PICTURE_PX`].
    pub picture_px: u32,
}

impl ReportInput<'_> {
    /// Least and greatest height of a picture, pixels.
    pub const PICTURE_PX: std::ops::RangeInclusive<u32> = 64..=4096;

    /// Whether everything that pictures index exists and has a place.
    ///
    /// # Errors
    /// The first thing found wrong.
    pub(crate) fn check(&self) -> Result<(), ReportError> {
        if !Self::PICTURE_PX.contains(&self.picture_px) {
            return Err(ReportError::PictureSize {
                px: self.picture_px,
            });
        }
        sound(self.surface)?;
        if let Some(layers) = self.layers {
            sound(layers.before)?;
        }
        let vertices = self.surface.positions.len();
        if let Some(pole) = self.poles.iter().find(|p| p.vertex as usize >= vertices) {
            return Err(ReportError::PoleVertex {
                vertex: pole.vertex,
                vertices,
            });
        }
        let (have, want) = (self.patch_of_quad.len(), self.surface.quads.len());
        if have != 0 && have != want {
            return Err(ReportError::PatchCount { have, want });
        }
        for guide in self.guides {
            if let Some(point) = guide.points.iter().position(|p| !p.is_finite()) {
                return Err(ReportError::GuidePoint {
                    name: guide.name.clone(),
                    point,
                });
            }
        }
        Ok(())
    }
}

/// Whether all corners of a surface exist and have places.
///
/// # Errors
/// The first that doesn't.
pub(crate) fn sound(surface: &QuadMesh) -> Result<(), ReportError> {
    let vertices = surface.positions.len();
    if let Some(vertex) = surface.positions.iter().position(|p| !p.is_finite()) {
        return Err(ReportError::SurfaceVertex { vertex });
    }
    for (quad, corners) in surface.quads.iter().enumerate() {
        if let Some(&vertex) = corners.iter().find(|&&v| v as usize >= vertices) {
            return Err(ReportError::QuadCorner {
                quad,
                vertex,
                vertices,
            });
        }
    }
    Ok(())
}

/// Why no report was made.
#[derive(Debug, thiserror::Error)]
pub enum ReportError {
    /// The work was cancelled from outside.
    #[error(transparent)]
    Cancelled(#[from] Cancelled),
    /// A picture would be too small or too large.
    #[error("pictures can't be {px} pixels high: choose a height from 64 to 4096")]
    PictureSize {
        /// Height asked for, pixels.
        px: u32,
    },
    /// A vertex of the surface has no place.
    #[error("vertex {vertex} of the surface isn't at a finite position: compute the surface again")]
    SurfaceVertex {
        /// Index from 0.
        vertex: usize,
    },
    /// A quad names a vertex that doesn't exist.
    #[error(
        "quad {quad} of the surface names vertex {vertex}, but there are {vertices}: the surface and its vertices belong to different results"
    )]
    QuadCorner {
        /// Index from 0.
        quad: usize,
        /// The vertex it names.
        vertex: u32,
        /// How many there are.
        vertices: usize,
    },
    /// A pole names a vertex that doesn't exist.
    #[error(
        "a pole is at vertex {vertex}, but the surface has {vertices}: the poles belong to another surface"
    )]
    PoleVertex {
        /// The vertex it names.
        vertex: u32,
        /// How many there are.
        vertices: usize,
    },
    /// Patches are given for some quads only.
    #[error(
        "patches are given for {have} quads, but the surface has {want}: give one for each quad, or none at all"
    )]
    PatchCount {
        /// Patches given.
        have: usize,
        /// Quads of the surface.
        want: usize,
    },
    /// A guide's point has no place.
    #[error("point {point} of guide \"{name}\" isn't at a finite position: draw the guide again")]
    GuidePoint {
        /// The guide.
        name: String,
        /// Index of the point, from 0.
        point: usize,
    },
    /// A picture couldn't be written.
    #[error("a picture couldn't be packed as PNG")]
    Png(#[from] ::png::EncodingError),
}
