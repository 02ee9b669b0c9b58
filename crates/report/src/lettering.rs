//! Lettering for legends and numbers, of our own strokes.

use crate::canvas::Canvas;
use crate::colour::Rgb;
use crate::strokes::{Pen, Spot, line};

/// A letter, its width and its strokes.
type Glyph = (char, f32, &'static [&'static [[f32; 2]]]);

/// Lettering for legends and numbers: strokes on a grid, 4 wide and 6 high, y down.
#[rustfmt::skip]
const GLYPHS: &[Glyph] = &[
    ('0', 4.0, &[&[[1., 0.], [3., 0.], [4., 1.2], [4., 4.8], [3., 6.], [1., 6.], [0., 4.8], [0., 1.2], [1., 0.]]]),
    ('1', 2.0, &[&[[0.4, 1.2], [2., 0.], [2., 6.]]]),
    ('2', 4.0, &[&[[0., 1.1], [1., 0.], [3., 0.], [4., 1.], [4., 2.2], [0., 6.], [4., 6.]]]),
    ('3', 4.0, &[&[[0., 0.7], [1., 0.], [3., 0.], [4., 1.], [4., 2.], [3., 2.9], [1.6, 2.9]], &[[3., 2.9], [4., 3.9], [4., 5.], [3., 6.], [1., 6.], [0., 5.3]]]),
    ('4', 4.0, &[&[[3., 6.], [3., 0.], [0., 4.2], [4., 4.2]]]),
    ('5', 4.0, &[&[[3.7, 0.], [0.5, 0.], [0.2, 2.8], [1., 2.4], [3., 2.4], [4., 3.4], [4., 5.], [3., 6.], [1., 6.], [0., 5.3]]]),
    ('6', 4.0, &[&[[3.6, 0.5], [2.9, 0.], [1.2, 0.], [0., 1.4], [0., 5.], [1., 6.], [3., 6.], [4., 5.], [4., 3.6], [3., 2.6], [1., 2.6], [0., 3.6]]]),
    ('7', 4.0, &[&[[0., 0.], [4., 0.], [1.4, 6.]]]),
    ('8', 4.0, &[&[[1., 0.], [3., 0.], [4., 0.9], [4., 2.], [3., 2.9], [1., 2.9], [0., 2.], [0., 0.9], [1., 0.]], &[[1., 2.9], [0., 3.8], [0., 5.1], [1., 6.], [3., 6.], [4., 5.1], [4., 3.8], [3., 2.9]]]),
    ('9', 4.0, &[&[[0.4, 5.5], [1.1, 6.], [2.8, 6.], [4., 4.6], [4., 1.], [3., 0.], [1., 0.], [0., 1.], [0., 2.4], [1., 3.4], [3., 3.4], [4., 2.4]]]),
    ('.', 0.4, &[&[[0.2, 5.8], [0.2, 6.]]]),
    (' ', 2.4, &[]),
    ('m', 5.0, &[&[[0., 6.], [0., 2.2]], &[[0., 3.], [0.8, 2.2], [1.8, 2.2], [2.5, 3.], [2.5, 6.]], &[[2.5, 3.], [3.3, 2.2], [4.2, 2.2], [5., 3.], [5., 6.]]]),
    ('e', 3.4, &[&[[0., 4.1], [3.4, 4.1], [3.4, 3.2], [2.5, 2.2], [0.9, 2.2], [0., 3.2], [0., 5.], [0.9, 6.], [2.6, 6.], [3.3, 5.4]]]),
    ('a', 3.2, &[&[[0.3, 2.7], [1., 2.2], [2.4, 2.2], [3.2, 3.], [3.2, 6.]], &[[3.2, 3.9], [1., 3.9], [0., 4.6], [0., 5.3], [0.8, 6.], [2.2, 6.], [3.2, 5.2]]]),
    ('n', 3.4, &[&[[0., 6.], [0., 2.2]], &[[0., 3.2], [1., 2.2], [2.4, 2.2], [3.4, 3.2], [3.4, 6.]]]),
    ('d', 3.4, &[&[[3.4, 0.], [3.4, 6.]], &[[3.4, 3.2], [2.5, 2.2], [1., 2.2], [0., 3.2], [0., 5.], [1., 6.], [2.5, 6.], [3.4, 5.]]]),
    ('g', 3.4, &[&[[3.4, 2.2], [3.4, 7.], [2.5, 8.], [1., 8.], [0.2, 7.5]], &[[3.4, 3.2], [2.5, 2.2], [1., 2.2], [0., 3.2], [0., 5.], [1., 6.], [2.5, 6.], [3.4, 5.]]]),
    ('s', 3.1, &[&[[3., 2.7], [2.3, 2.2], [0.9, 2.2], [0.1, 2.9], [0.9, 3.9], [2.3, 4.2], [3.1, 5.1], [2.3, 6.], [0.8, 6.], [0., 5.4]]]),
];
const GAP: f32 = 1.7;

fn glyph(letter: char) -> Option<&'static Glyph> {
    GLYPHS.iter().find(|g| g.0 == letter)
}

/// Width of lettering of this height, pixels.
pub(crate) fn letters_width(text: &str, height: f32) -> f32 {
    let units: f32 = text.chars().filter_map(glyph).map(|g| g.1 + GAP).sum();
    (units - GAP).max(0.0) * height / 6.0
}

/// Writes digits and the few letters that legends need; other characters are left out.
pub(crate) fn letters(
    canvas: &mut Canvas,
    text: &str,
    [left, top]: [f32; 2],
    height: f32,
    colour: Rgb,
) {
    let unit = height / 6.0;
    let pen = Pen {
        colour,
        radius: (0.075 * height).max(0.55),
        opacity: 1.0,
        dash: None,
    };
    let mut x = left;
    for &(_, width, strokes) in text.chars().filter_map(glyph) {
        for stroke in strokes {
            let spots: Vec<Spot> = stroke
                .iter()
                .map(|p| [x + p[0] * unit, top + p[1] * unit, 0.0])
                .collect();
            line(canvas, &spots, pen, |_, _, _| true);
        }
        x += (width + GAP) * unit;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_digit_and_every_letter_of_the_legend_can_be_written() {
        let needed = "0123456789. mean edges";
        assert!(needed.chars().all(|c| glyph(c).is_some()));
        let mut canvas = Canvas::painted(300, 300, [1.0; 3], |_, _| None);
        letters(&mut canvas, needed, [10.0, 10.0], 12.0, [0.0; 3]);
        assert!(canvas.bytes().iter().filter(|&&v| v < 128).count() > 600);
        assert!(letters_width("10", 12.0) > letters_width("1", 12.0));
        assert_eq!(letters_width("", 12.0), 0.0);
    }
}
