//! What is drawn over the pictures: guides, poles, places of findings, the scale.

use base::{Findings, Level, Place};
use mesh::DVec3;

use super::draw::swatch;
use super::{Legend, Swatch};
use crate::camera::Camera;
use crate::canvas::Canvas;
use crate::colour::{Rgb, distance_scale, mix, srgb};
use crate::html::in_order;
use crate::input::{GuideView, PoleView};
use crate::lettering::{letters, letters_width};
use crate::paint::{Quads, ground, ink};
use crate::strokes::{Pen, Spot, line, polygon};

fn white() -> Rgb {
    [1.0; 3]
}

/// How a kind of guide is drawn: tint and form both tell them apart.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum KindStyle {
    Ring,
    Line,
    Opening,
}

impl KindStyle {
    pub fn of(kind: &str) -> Self {
        match kind {
            "ring" => Self::Ring,
            "opening" => Self::Opening,
            _ => Self::Line,
        }
    }

    fn tint(self) -> Rgb {
        match self {
            Self::Ring => srgb(0x1f_5fbf),
            Self::Line => srgb(0xb5_3a12),
            Self::Opening => srgb(0x0e_7a5f),
        }
    }

    fn form(self) -> Legend {
        match self {
            Self::Ring => Legend::Solid,
            Self::Line => Legend::Dashed,
            Self::Opening => Legend::Double,
        }
    }

    fn label(self) -> &'static str {
        match self {
            Self::Ring => "ring",
            Self::Line => "line",
            Self::Opening => "opening",
        }
    }
}

/// Draws a guide, faintly where it is hidden.
pub(super) fn guide(
    canvas: &mut Canvas,
    camera: &Camera,
    points: &[DVec3],
    style: KindStyle,
    picture_px: f32,
    visible: impl Fn(f32, f32, f32) -> bool,
) {
    let spots: Vec<Spot> = points.iter().map(|&p| camera.project(p)).collect();
    let unit = (picture_px / 900.0).max(0.5);
    let radius = unit
        * if style == KindStyle::Opening {
            2.6
        } else {
            1.9
        };
    let dash = (style == KindStyle::Line).then_some([13.0 * unit, 6.0 * unit]);
    let pen = Pen {
        colour: style.tint(),
        radius,
        opacity: 1.0,
        dash,
    };
    let seen = |x: f32, y: f32, depth: f32| visible(x, y, depth);
    line(
        canvas,
        &spots,
        Pen {
            radius: 0.6 * radius,
            opacity: 0.3,
            ..pen
        },
        |x, y, depth| !visible(x, y, depth),
    );
    line(
        canvas,
        &spots,
        Pen {
            colour: white(),
            radius: radius + 1.1 * unit,
            opacity: 0.75,
            dash: None,
        },
        seen,
    );
    line(canvas, &spots, pen, seen);
    if style == KindStyle::Opening {
        line(
            canvas,
            &spots,
            Pen {
                colour: white(),
                radius: 0.6 * unit,
                ..pen
            },
            seen,
        );
    }
}

/// The kinds that these guides have.
pub(super) fn guide_legend(guides: &[GuideView]) -> Vec<Swatch> {
    [KindStyle::Ring, KindStyle::Line, KindStyle::Opening]
        .into_iter()
        .filter(|&style| guides.iter().any(|g| KindStyle::of(&g.kind) == style))
        .map(|style| swatch(style.label(), style.tint(), style.form()))
        .collect()
}

/// Sides and tint of a pole's marker: as many sides as edges meet, so the form says it all.
fn pole_marker(valence: u32) -> (u32, Rgb) {
    match valence {
        3 => (3, srgb(0xe0_a100)),
        5 => (5, srgb(0x2a_63c8)),
        0..=2 => (4, srgb(0x22_2222)),
        many => (many.min(12), srgb(0xc4_2a5c)),
    }
}

/// Marks the poles that can be seen.
pub(super) fn poles(canvas: &mut Canvas, quads: &Quads, poles: &[PoleView], picture_px: f32) {
    let radius = (8.0 * picture_px / 900.0).max(3.0);
    for pole in poles {
        let spot = quads.drawn.corners[pole.vertex as usize];
        if in_sight(quads, spot) {
            let (sides, tint) = pole_marker(pole.valence);
            // A triangle holds less than a pentagon of the same radius.
            let radius = if sides == 3 { 1.2 * radius } else { radius };
            polygon(canvas, [spot[0], spot[1]], radius, sides, tint, white());
        }
    }
}

/// Whether the surface doesn't hide a spot that lies on it.
fn in_sight(quads: &Quads, spot: Spot) -> bool {
    let slack = (0.35 * quads.surface.mean_edge * quads.drawn.camera.scale) as f32 + 2.0;
    spot[2] <= quads.drawn.layer.depth_at(spot[0], spot[1]) + slack
}

/// One entry for each valence, with how many there are.
pub(super) fn pole_legend(poles: &[PoleView]) -> Vec<Swatch> {
    let mut counts = std::collections::BTreeMap::<u32, usize>::new();
    for pole in poles {
        *counts.entry(pole.valence).or_default() += 1;
    }
    counts
        .into_iter()
        .map(|(valence, count)| {
            let (sides, tint) = pole_marker(valence);
            swatch(
                format!("{valence} edges meet: {count}"),
                tint,
                Legend::Polygon(sides),
            )
        })
        .collect()
}

pub(super) fn level_tint(level: Level) -> Rgb {
    match level {
        Level::Fail => srgb(0xb3_1b34),
        Level::Warn => srgb(0x8a_5a00),
        Level::Note | Level::Pass => srgb(0x2f_5d50),
    }
}

pub(super) fn level_form(level: Level) -> Legend {
    Legend::Polygon(if level == Level::Fail { 4 } else { 8 })
}

pub(super) fn level_label(level: Level) -> &'static str {
    match level {
        Level::Fail => "fails",
        Level::Warn => "worth a look",
        Level::Note => "to know",
        Level::Pass => "holds",
    }
}

/// Places marked for one finding at most.
const MOST_PLACES: usize = 200;

/// Marks the places of findings that fail or warn with the finding's number in the list; gives
/// how many marks were made.
pub(super) fn findings(
    canvas: &mut Canvas,
    quads: &Quads,
    findings: &Findings,
    picture_px: f32,
) -> usize {
    let unit = (picture_px / 900.0).max(0.5);
    let mut marks = 0;
    let listed = in_order(findings);
    for (number, finding) in listed.iter().enumerate().rev() {
        let level = finding.level;
        if level < Level::Warn {
            continue;
        }
        for place in finding.places.iter().take(MOST_PLACES) {
            let (Place::Point { at } | Place::Vertex { at, .. } | Place::Face { at, .. }) = place
            else {
                continue;
            };
            let at = DVec3::from(*at);
            let spot = quads.drawn.camera.project(at);
            if !at.is_finite() || !in_sight(quads, spot) {
                continue;
            }
            let sides = if level == Level::Fail { 4 } else { 8 };
            polygon(
                canvas,
                [spot[0], spot[1]],
                11.0 * unit,
                sides,
                level_tint(level),
                white(),
            );
            let text = (number + 1).to_string();
            let height = 8.0 * unit;
            let left = spot[0] - letters_width(&text, height) / 2.0;
            letters(
                canvas,
                &text,
                [left, spot[1] - height / 2.0],
                height,
                white(),
            );
            marks += 1;
        }
    }
    marks
}

/// Adds a strip below the picture with the distance scale: 0 to `end` mean edges.
pub(super) fn scale(canvas: &mut Canvas, end: f64, picture_px: f32) {
    let unit = (picture_px / 900.0).max(0.4);
    let (left, width, height) = (16.0 * unit, 150.0 * unit, 10.0 * unit);
    let letter = 10.0 * unit;
    let top = canvas.height as f32;
    canvas.extend((height + letter + 22.0 * unit).ceil() as usize, ground());
    for x in left as i64..(left + width) as i64 {
        for y in top as i64..(top + height) as i64 {
            canvas.blend(x, y, distance_scale((x as f32 + 0.5 - left) / width), 1.0);
        }
    }
    let soft = mix(ink(), ground(), 0.15);
    let tick = Pen {
        colour: soft,
        radius: 0.5,
        opacity: 1.0,
        dash: None,
    };
    let last = if end >= 1.0 {
        format!("{end:.0}")
    } else {
        format!("{end}")
    };
    for (share, label) in [(0.0, "0".to_owned()), (0.5, half(end)), (1.0, last)] {
        let x = left + share * width;
        let ends = [[x, top + height, 0.0], [x, top + height + 3.0 * unit, 0.0]];
        line(canvas, &ends, tick, |_, _, _| true);
        let shift = letters_width(&label, letter) * share;
        letters(
            canvas,
            &label,
            [x - shift, top + height + 5.0 * unit],
            letter,
            soft,
        );
    }
    letters(
        canvas,
        "mean edges",
        [left + width + 10.0 * unit, top],
        letter,
        soft,
    );
}

/// Half of the scale's end, without digits that say nothing.
fn half(end: f64) -> String {
    let text = format!("{:.4}", end / 2.0);
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn markers_differ_by_form_and_by_tint() {
        let markers = [2, 3, 5, 6, 7].map(pole_marker);
        for (i, a) in markers.iter().enumerate() {
            for b in &markers[..i] {
                assert_ne!(a.0, b.0);
            }
        }
        assert_ne!(pole_marker(3).1, pole_marker(5).1);
        assert_ne!(pole_marker(6).1, pole_marker(5).1);
    }

    #[test]
    fn the_middle_of_the_scale_is_named() {
        assert_eq!(
            [0.005, 0.05, 0.2, 2.0].map(half),
            ["0.0025", "0.025", "0.1", "1"]
        );
    }
}
