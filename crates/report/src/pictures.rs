//! The pictures of a report.

mod draw;
mod dressed;
mod figure;
mod marks;

use base::Task;
use mesh::DVec3;
use rayon::prelude::*;

use crate::camera::{Camera, Frame};
use crate::canvas::Canvas;
use crate::fidelity::Fidelity;
use crate::input::{ReportError, ReportInput};
use crate::model::{Solid, Surface};
use crate::paint::Patches;
use draw::{Bench, Sheet};

/// A finished picture.
#[derive(Clone, Debug, PartialEq)]
pub struct Picture {
    /// Short name in kebab case, unique in the report, fit for a file name.
    pub name: String,
    /// Heading that it belongs under.
    pub section: String,
    /// What it shows, a sentence.
    pub caption: String,
    /// What its marks mean.
    pub legend: Vec<Swatch>,
    /// PNG, eight bits a channel, sRGB.
    pub png: Vec<u8>,
}

/// One entry of a legend.
#[derive(Clone, Debug, PartialEq)]
pub struct Swatch {
    /// What it means.
    pub label: String,
    /// `#rrggbb`.
    pub colour: String,
    /// How it is drawn.
    pub form: Legend,
}

/// How an entry of a legend is drawn.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Legend {
    /// A filled area.
    Area,
    /// A solid line.
    Solid,
    /// A dashed line.
    Dashed,
    /// Two lines side by side.
    Double,
    /// A polygon of this many sides.
    Polygon(u32),
}

/// A standard point of view.
struct View {
    key: &'static str,
    words: &'static str,
    toward: DVec3,
    detail: Detail,
}

/// What is drawn from a point of view.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
enum Detail {
    /// The surface.
    Plain,
    /// Its edges over the sculpt as well.
    Edges,
    /// Everything.
    Full,
}

fn views() -> [View; 5] {
    let view = |key, words, toward, detail| View {
        key,
        words,
        toward,
        detail,
    };
    [
        view("front", "from the front", DVec3::Z, Detail::Full),
        view("back", "from the back", -DVec3::Z, Detail::Full),
        view(
            "above",
            "from three-quarter above",
            DVec3::new(0.62, 0.5, 0.75),
            Detail::Edges,
        ),
        view("side", "from its left side", DVec3::X, Detail::Plain),
        view(
            "below",
            "from below",
            DVec3::new(-0.35, -0.85, 0.55),
            Detail::Plain,
        ),
    ]
}

/// Empty rim around pictures, as a share of their height.
const MARGIN: f64 = 0.05;
/// Height of close-ups, as a share of the height of pictures.
const CLOSE_UP: f64 = 0.62;

/// All pictures of a report, in the order in which they are shown.
///
/// # Errors
/// [`ReportError`] for input that doesn't belong together, or when cancelled.
pub fn pictures(input: &ReportInput, task: &Task) -> Result<Vec<Picture>, ReportError> {
    input.check()?;
    let sculpt = Solid::of_sculpt(input.sculpt.mesh());
    let surface = Surface::new(input.surface);
    task.report("report", 0.05)?;
    let added = input.trims.iter().flat_map(|trim| &trim.quads);
    let added: Vec<u32> = added.copied().collect();
    let bench = Bench {
        input,
        fidelity: Fidelity::new(&surface, input.sculpt, &added),
        patches: (!input.patch_of_quad.is_empty())
            .then(|| Patches::new(&surface, input.patch_of_quad)),
        guides: draw::laid_guides(input, surface.mean_edge),
        sculpt,
        surface,
    };
    task.report("report", 0.15)?;
    let mut sheets = Vec::new();
    let views = views();
    for (i, view) in views.iter().enumerate() {
        standard(&bench, view, &mut sheets);
        task.report("report", 0.15 + 0.5 * (i + 1) as f32 / views.len() as f32)?;
    }
    for guide in 0..input.guides.len() {
        sheets.extend(draw::close_up(&bench, guide, close_up_frame(input)));
        task.checkpoint()?;
    }
    for trim in input.trims {
        sheets.extend(dressed::trim(&bench, trim, close_up_frame(input)));
        task.checkpoint()?;
    }
    if let Some(layers) = &input.layers {
        sheets.extend(dressed::layers(&bench, layers, task)?);
    }
    sheets.sort_by_key(|sheet| sheet.section);
    task.report("report", 0.85)?;
    let packed: Result<Vec<Picture>, ReportError> = sheets.into_par_iter().map(pack).collect();
    task.report("report", 1.0)?;
    packed
}

pub use figure::{PartView, figure_pictures};

fn frame(input: &ReportInput) -> Frame {
    frame_of(input.picture_px)
}

fn frame_of(height: u32) -> Frame {
    Frame {
        height,
        margin: MARGIN,
    }
}

fn close_up_frame(input: &ReportInput) -> Frame {
    Frame {
        height: ((f64::from(input.picture_px) * CLOSE_UP) as u32).max(48),
        margin: MARGIN,
    }
}

/// Everything seen from one standard point of view.
fn standard(bench: &Bench, view: &View, sheets: &mut Vec<Sheet>) {
    let corners = bench.input.surface.positions.iter().copied();
    if !bench.input.surface.quads.is_empty()
        && let Some(camera) = Camera::fitting(view.toward, corners, frame(bench.input))
    {
        sheets.extend(draw::surface_sheets(bench, &camera, view));
    }
    if view.detail == Detail::Full
        && !bench.sculpt.triangles.is_empty()
        && let Some(camera) =
            Camera::fitting(view.toward, bench.sculpt.places(), frame(bench.input))
    {
        sheets.push(draw::guides_on_sculpt(bench, &camera, view));
    }
}

fn pack(sheet: Sheet) -> Result<Picture, ReportError> {
    let canvas: &Canvas = &sheet.canvas;
    Ok(Picture {
        name: sheet.name,
        section: sheet.section.heading().to_owned(),
        caption: sheet.caption,
        legend: sheet.legend,
        png: crate::png::pack(canvas)?,
    })
}

#[cfg(test)]
mod tests;
