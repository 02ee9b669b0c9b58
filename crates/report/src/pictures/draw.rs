//! Putting one picture together.

use base::Level;
use mesh::DVec3;

use super::marks::{self, KindStyle};
use super::{Detail, Legend, Swatch, View};
use crate::camera::{Camera, Frame};
use crate::canvas::Canvas;
use crate::closeup::Laid;
use crate::colour::{css, mix};
use crate::fidelity::Fidelity;
use crate::input::ReportInput;
use crate::model::{Solid, Surface};
use crate::paint::{Drawn, Look, Patches, Quads, ground, ink, lining};

/// Parts of the page, in order.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Section {
    Figure,
    Parts,
    Surface,
    Trims,
    Layers,
    Findings,
    Over,
    Distance,
    Poles,
    Patches,
    Guides,
    CloseUps,
}

impl Section {
    pub fn heading(self) -> &'static str {
        match self {
            Self::Figure => "The figure",
            Self::Parts => "Its parts",
            Self::Surface => "The surface",
            Self::Trims => "Trims close up",
            Self::Layers => "Layers before and after clearing",
            Self::Findings => "Where findings lie",
            Self::Over => "Edges over the sculpt",
            Self::Distance => "Distance to the sculpt",
            Self::Poles => "Poles",
            Self::Patches => "Patches",
            Self::Guides => "Guides on the sculpt",
            Self::CloseUps => "Guides close up",
        }
    }
}

/// A painted picture that isn't packed yet.
pub(super) struct Sheet {
    pub name: String,
    pub section: Section,
    pub caption: String,
    pub legend: Vec<Swatch>,
    pub canvas: Canvas,
}

/// What all pictures draw on.
pub(super) struct Bench<'a> {
    pub input: &'a ReportInput<'a>,
    pub sculpt: Solid<'a>,
    pub surface: Surface<'a>,
    pub fidelity: Option<Fidelity>,
    pub patches: Option<Patches>,
    /// Each guide on the sculpt; nothing for guides without points.
    pub guides: Vec<Option<Laid>>,
}

/// All guides, laid on the sculpt in steps that look smooth.
pub(super) fn laid_guides(input: &ReportInput, mean_edge: f64) -> Vec<Option<Laid>> {
    let diagonal = input.sculpt.mesh().diagonal();
    let step = if mean_edge > 0.0 {
        (mean_edge / 4.0).min(diagonal / 300.0)
    } else {
        diagonal / 300.0
    };
    input
        .guides
        .iter()
        .map(|g| Laid::new(input.sculpt, g, step))
        .collect()
}

/// Hollows that are darkened, as a share of the picture's height.
pub(super) fn hollow_px(camera: &Camera) -> f32 {
    (0.02 * f64::from(camera.width.min(camera.height))) as f32
}

pub(super) fn swatch(label: impl Into<String>, colour: crate::colour::Rgb, form: Legend) -> Swatch {
    Swatch {
        label: label.into(),
        colour: css(colour),
        form,
    }
}

/// The pictures of the surface from one point of view.
pub(super) fn surface_sheets(bench: &Bench, camera: &Camera, view: &View) -> Vec<Sheet> {
    let quads = Quads::new(&bench.surface, camera, hollow_px(camera));
    let plain = painted(&quads, Look::Plain);
    let mut sheets = Vec::new();
    if view.detail >= Detail::Edges && !bench.sculpt.triangles.is_empty() {
        sheets.push(Sheet {
            name: format!("over-sculpt-{}", view.key),
            section: Section::Over,
            caption: format!("Its edges drawn on the sculpt, {}.", view.words),
            legend: vec![],
            canvas: over_sculpt(bench, &quads),
        });
    }
    if view.detail == Detail::Full {
        sheets.extend(
            bench
                .fidelity
                .as_ref()
                .map(|f| distance_sheet(bench, &quads, f, view)),
        );
        sheets.extend(bench.patches.as_ref().map(|patches| Sheet {
            name: format!("patches-{}", view.key),
            section: Section::Patches,
            caption: format!("{} patches, {}.", patches.count(), view.words),
            legend: vec![],
            canvas: painted(&quads, Look::Patches(patches)),
        }));
        sheets.push(poles_sheet(bench, &quads, &plain, view));
        sheets.extend(findings_sheet(bench, &quads, &plain, view));
    }
    let inside = vec![swatch("the inner side, striped", lining(), Legend::Area)];
    sheets.push(Sheet {
        name: format!("surface-{}", view.key),
        section: Section::Surface,
        caption: format!("{} quads, {}.", bench.input.surface.quads.len(), view.words),
        legend: if quads.shows_lining() { inside } else { vec![] },
        canvas: plain,
    });
    sheets
}

fn distance_sheet(bench: &Bench, quads: &Quads, fidelity: &Fidelity, view: &View) -> Sheet {
    let mut canvas = painted(quads, Look::Distance(fidelity));
    marks::scale(&mut canvas, fidelity.end, frame_height(bench));
    let caption = format!(
        "Distance to the sculpt in mean edges, {}: root mean square {}, greatest {}; the scale ends at {}.",
        view.words,
        short(fidelity.rms),
        short(fidelity.greatest),
        fidelity.end,
    );
    Sheet {
        name: format!("distance-{}", view.key),
        section: Section::Distance,
        caption,
        legend: vec![],
        canvas,
    }
}

fn poles_sheet(bench: &Bench, quads: &Quads, plain: &Canvas, view: &View) -> Sheet {
    let mut canvas = plain.clone();
    marks::poles(&mut canvas, quads, bench.input.poles, frame_height(bench));
    Sheet {
        name: format!("poles-{}", view.key),
        section: Section::Poles,
        caption: format!("Poles, {}; as many corners as edges meet.", view.words),
        legend: marks::pole_legend(bench.input.poles),
        canvas,
    }
}

/// Nothing where no finding has a place that is seen from here.
fn findings_sheet(bench: &Bench, quads: &Quads, plain: &Canvas, view: &View) -> Option<Sheet> {
    let mut canvas = plain.clone();
    let marked = marks::findings(
        &mut canvas,
        quads,
        bench.input.findings,
        frame_height(bench),
    );
    let legend = [Level::Fail, Level::Warn].map(|level| {
        swatch(
            marks::level_label(level),
            marks::level_tint(level),
            marks::level_form(level),
        )
    });
    (marked > 0).then(|| Sheet {
        name: format!("findings-{}", view.key),
        section: Section::Findings,
        caption: format!(
            "Places of findings, {}; numbers are those of the list.",
            view.words
        ),
        legend: legend.to_vec(),
        canvas,
    })
}

fn frame_height(bench: &Bench) -> f32 {
    bench.input.picture_px as f32
}

/// Three digits or so.
pub(super) fn short(value: f64) -> String {
    if value >= 1.0 {
        format!("{value:.2}")
    } else {
        format!("{value:.3}")
    }
}

pub(super) fn painted(quads: &Quads, look: Look) -> Canvas {
    let camera = quads.drawn.camera;
    Canvas::painted(camera.width, camera.height, ground(), |column, row| {
        quads
            .drawn
            .at(column, row)
            .map(|at| quads.colour(&at, look))
    })
}

/// The sculpt with the edges of the surface that lies on it.
fn over_sculpt(bench: &Bench, quads: &Quads) -> Canvas {
    let camera = quads.drawn.camera;
    let stone = Drawn::new(&bench.sculpt, camera, hollow_px(camera));
    // Further off than this the surface belongs to another part of the sculpt.
    let near = (0.75 * bench.surface.mean_edge * camera.scale) as f32;
    Canvas::painted(camera.width, camera.height, ground(), |column, row| {
        let sculpt = stone.at(column, row)?;
        let colour = stone.stone(&sculpt);
        let edges = quads
            .drawn
            .at(column, row)
            .filter(|at| (at.depth - sculpt.depth).abs() <= near)
            .map_or(0.0, |at| quads.edges(&at, |_| false));
        Some(mix(colour, ink(), edges))
    })
}

/// The sculpt with all guides.
pub(super) fn guides_on_sculpt(bench: &Bench, camera: &Camera, view: &View) -> Sheet {
    let stone = Drawn::new(&bench.sculpt, camera, hollow_px(camera));
    let mut canvas = Canvas::painted(camera.width, camera.height, ground(), |column, row| {
        stone.at(column, row).map(|at| stone.stone(&at))
    });
    let slack = 0.004 * camera.height as f32;
    for (guide, laid) in bench.input.guides.iter().zip(&bench.guides) {
        if let Some(laid) = laid {
            marks::guide(
                &mut canvas,
                camera,
                &laid.points,
                KindStyle::of(&guide.kind),
                frame_height(bench),
                |x, y, depth| depth <= stone.layer.depth_at(x, y) + slack,
            );
        }
    }
    Sheet {
        name: format!("guides-{}", view.key),
        section: Section::Guides,
        caption: format!(
            "{} guides on the sculpt, {}; faint where they are hidden.",
            bench.input.guides.len(),
            view.words
        ),
        legend: marks::guide_legend(bench.input.guides),
        canvas,
    }
}

/// One guide from near, on the surface or, where there is none, on the sculpt.
pub(super) fn close_up(bench: &Bench, guide: usize, frame: Frame) -> Option<Sheet> {
    let (view, laid) = (&bench.input.guides[guide], bench.guides[guide].as_ref()?);
    let on = if bench.input.surface.quads.is_empty() {
        &bench.sculpt
    } else {
        &bench.surface.solid
    };
    let middle = on.places().sum::<DVec3>() / on.positions.len().max(1) as f64;
    let (toward, seen) = laid.outlook(bench.input.sculpt, middle);
    let camera = close_up_camera(bench, laid, toward, seen, frame)?;
    let stone = Drawn::new(&bench.sculpt, &camera, hollow_px(&camera));
    let quads = Quads::new(&bench.surface, &camera, hollow_px(&camera));
    let mut canvas = Canvas::painted(camera.width, camera.height, ground(), |column, row| {
        if let Some(at) = quads.drawn.at(column, row) {
            return Some(quads.colour(&at, Look::Plain));
        }
        // What the surface leaves out stays pale behind it.
        let pale = if bench.input.surface.quads.is_empty() {
            0.0
        } else {
            0.62
        };
        stone
            .at(column, row)
            .map(|at| mix(stone.stone(&at), ground(), pale))
    });
    let slack =
        (0.5 * bench.surface.mean_edge * camera.scale) as f32 + 0.006 * camera.height as f32;
    let visible = |x: f32, y: f32, depth: f32| {
        let cover = quads.drawn.layer.depth_at(x, y);
        depth
            <= if cover.is_finite() {
                cover
            } else {
                stone.layer.depth_at(x, y)
            } + slack
    };
    let style = KindStyle::of(&view.kind);
    marks::guide(
        &mut canvas,
        &camera,
        &laid.points,
        style,
        frame_height(bench),
        visible,
    );
    Some(Sheet {
        name: format!("guide-{:02}-{}", guide + 1, kebab(&view.name)),
        section: Section::CloseUps,
        caption: format!("{} ({})", view.name, view.kind),
        legend: vec![],
        canvas,
    })
}

/// A guide that is seen worse than this from everywhere is hidden by something.
const HIDDEN: f64 = 0.12;

/// Fits a guide with some of its surroundings.
fn close_up_camera(
    bench: &Bench,
    laid: &Laid,
    toward: DVec3,
    seen: f64,
    frame: Frame,
) -> Option<Camera> {
    let low = laid.points.iter().copied().reduce(DVec3::min)?;
    let high = laid.points.iter().copied().reduce(DVec3::max)?;
    let size = (high - low).length();
    let room = (0.12 * size).max(2.5 * bench.surface.mean_edge);
    let around = laid.points.iter().flat_map(|&p| {
        [DVec3::X, DVec3::Y, DVec3::Z]
            .into_iter()
            .flat_map(move |axis| [p - room * axis, p + room * axis])
    });
    let mut camera = Camera::fitting(toward, around, frame)?;
    if seen < HIDDEN {
        // Something stands before the guide wherever one looks from: cut it away.
        let nearest = laid
            .points
            .iter()
            .map(|&p| camera.project(p)[2])
            .fold(f32::INFINITY, f32::min);
        camera.near = nearest - (0.6 * room * camera.scale) as f32;
    }
    Some(camera)
}

/// Small letters and digits of a name, other runs as one hyphen; at most 40 characters.
pub(crate) fn kebab(name: &str) -> String {
    let mut out = String::new();
    for c in name.chars() {
        if c.is_ascii_alphanumeric() {
            out.push(c.to_ascii_lowercase());
        } else if !out.is_empty() && !out.ends_with('-') {
            out.push('-');
        }
        if out.len() >= 40 {
            break;
        }
    }
    out.trim_end_matches('-').to_owned()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_of_files_hold_nothing_odd() {
        assert_eq!(kebab("Left  wrist/../é"), "left-wrist");
        assert_eq!(kebab("***"), "");
        assert_eq!(kebab(&"a".repeat(99)).len(), 40);
    }
}
