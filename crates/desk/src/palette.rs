//! The desk's colours.
//!
//! Kinds of guides are told apart by colours of the set for all kinds of colour vision of Okabe &
//! Ito, "Color Universal Design", 2008 (values from memory), and besides by words in the list; what
//! is selected is told by width and an outline, never by colour alone.

use egui::Color32;
use files::GuideKind;

/// sRGB colour with opacity, as the renderer takes it.
pub type Rgba = [u8; 4];

/// Colours of one appearance, light or dark.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Palette {
    /// Upper and lower colour of the view's ground.
    pub ground: [Rgba; 2],
    /// The sculpt, outside and inside.
    pub sculpt: [Rgba; 2],
    /// The surface's faces, outside and inside.
    pub surface: [Rgba; 2],
    /// Edges of the surface.
    pub edges: Rgba,
    /// What changed in the last run, for a moment.
    pub fresh: Rgba,
    /// Outline of what is selected, and of marks.
    pub outline: Rgba,
    /// The centre line.
    pub centre: Rgba,
    /// Places without poles.
    pub barred: Rgba,
    /// Parts with a density of their own.
    pub area: Rgba,
    /// Held quads.
    pub held: Rgba,
}

/// For light rooms.
pub const LIGHT: Palette = Palette {
    ground: [[236, 239, 236, 255], [203, 211, 208, 255]],
    sculpt: [[168, 186, 190, 255], [112, 96, 104, 255]],
    surface: [[243, 232, 205, 255], [150, 110, 120, 255]],
    edges: [38, 52, 60, 255],
    fresh: [255, 206, 120, 255],
    outline: [20, 26, 30, 255],
    centre: [90, 90, 90, 255],
    barred: [120, 60, 60, 255],
    area: [30, 110, 96, 255],
    held: [196, 206, 178, 255],
};

/// For dark rooms.
pub const DARK: Palette = Palette {
    ground: [[44, 52, 56, 255], [24, 28, 31, 255]],
    sculpt: [[128, 148, 154, 255], [92, 74, 84, 255]],
    surface: [[226, 212, 178, 255], [128, 90, 102, 255]],
    edges: [22, 30, 36, 255],
    fresh: [255, 190, 92, 255],
    outline: [246, 248, 246, 255],
    centre: [190, 196, 196, 255],
    barred: [232, 150, 140, 255],
    area: [130, 214, 190, 255],
    held: [168, 184, 140, 255],
};

/// How a layer of the job looks: its number decides.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LayerLook {
    /// Outside and inside.
    pub faces: [Rgba; 2],
    /// Direction of the strokes over it, degrees; layers are told apart by it without colour.
    pub strokes: f32,
    /// Its name for tips.
    pub words: &'static str,
}

/// Looks of layers, in turn: tints of the same set's colours.
const LAYERS: [LayerLook; 4] = [
    LayerLook {
        faces: [[112, 186, 160, 255], [60, 104, 90, 255]],
        strokes: 45.0,
        words: "green, strokes rising",
    },
    LayerLook {
        faces: [[226, 150, 108, 255], [126, 80, 56, 255]],
        strokes: -45.0,
        words: "orange, strokes falling",
    },
    LayerLook {
        faces: [[226, 212, 112, 255], [124, 116, 60, 255]],
        strokes: 90.0,
        words: "yellow, strokes upright",
    },
    LayerLook {
        faces: [[206, 160, 192, 255], [112, 84, 104, 255]],
        strokes: 0.0,
        words: "purple, strokes level",
    },
];

/// The look of a layer by its number in the job.
pub fn of_layer(number: usize) -> LayerLook {
    LAYERS[number % LAYERS.len()]
}

/// Colour of a kind of guide; the same in light and dark.
pub fn of_kind(kind: GuideKind) -> Rgba {
    match kind {
        GuideKind::Ring => [0, 114, 178, 255],
        GuideKind::Line => [213, 94, 0, 255],
        GuideKind::Opening => [170, 68, 136, 255],
    }
}

/// A pole's colour: of three edges, of five, of more.
pub fn of_pole(valence: u32) -> Rgba {
    match valence {
        3 => [0, 158, 115, 255],
        5 => [204, 121, 167, 255],
        _ => [213, 94, 0, 255],
    }
}

/// The same colour for panels.
pub fn shown([r, g, b, a]: Rgba) -> Color32 {
    Color32::from_rgba_unmultiplied(r, g, b, a)
}

/// Colours for the appearance that is set.
pub fn of(dark: bool) -> Palette {
    if dark { DARK } else { LIGHT }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Relative luminance: Web Content Accessibility Guidelines 2.2, W3C 2023.
    fn luminance(colour: Rgba) -> f64 {
        let linear = |v: u8| {
            let v = f64::from(v) / 255.0;
            if v <= 0.04045 {
                v / 12.92
            } else {
                ((v + 0.055) / 1.055).powf(2.4)
            }
        };
        0.2126 * linear(colour[0]) + 0.7152 * linear(colour[1]) + 0.0722 * linear(colour[2])
    }

    fn contrast(a: Rgba, b: Rgba) -> f64 {
        let (a, b) = (luminance(a), luminance(b));
        (a.max(b) + 0.05) / (a.min(b) + 0.05)
    }

    #[test]
    fn edges_and_outlines_stand_out_as_the_guidelines_ask_of_graphics() {
        // WCAG 2.2, success criterion 1.4.11: graphical objects, 3 to 1.
        for palette in [LIGHT, DARK] {
            assert!(contrast(palette.edges, palette.surface[0]) >= 3.0);
            assert!(contrast(palette.outline, palette.ground[0]) >= 3.0);
            assert!(contrast(palette.outline, palette.ground[1]) >= 3.0);
        }
    }

    #[test]
    fn layers_differ_by_their_strokes_and_from_sculpt_and_surface_by_having_some() {
        for (i, a) in LAYERS.iter().enumerate() {
            for b in &LAYERS[i + 1..] {
                // A quarter of a half turn at least: strokes have no front end.
                let turn = (a.strokes - b.strokes).rem_euclid(180.0);
                assert!(turn.min(180.0 - turn) >= 45.0);
            }
        }
        assert_eq!(of_layer(5), LAYERS[1]);
    }

    #[test]
    fn kinds_of_guides_differ_in_luminance_or_hue_for_every_eye() {
        let kinds = [GuideKind::Ring, GuideKind::Line, GuideKind::Opening].map(of_kind);
        for (i, a) in kinds.iter().enumerate() {
            for b in &kinds[i + 1..] {
                // Blue is seen by those who mix up red and green.
                let blue = (i32::from(a[2]) - i32::from(b[2])).abs();
                assert!(blue >= 40 || contrast(*a, *b) >= 1.5, "{a:?} {b:?}");
            }
        }
    }
}
