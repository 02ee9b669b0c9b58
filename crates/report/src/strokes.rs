//! Lines and markers over a picture, in pixels.

use crate::canvas::Canvas;
use crate::colour::Rgb;

/// A point of a line: pixels from the left and top, and depth.
pub(crate) type Spot = [f32; 3];

/// How a line is drawn.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Pen {
    pub colour: Rgb,
    /// Half the width, pixels.
    pub radius: f32,
    /// 0 to 1.
    pub opacity: f32,
    /// Length of a dash and of the gap after it, pixels.
    pub dash: Option<[f32; 2]>,
}

/// Draws a line through `spots` where `visible` says yes to a pixel and the line's depth there.
pub(crate) fn line(
    canvas: &mut Canvas,
    spots: &[Spot],
    pen: Pen,
    visible: impl Fn(f32, f32, f32) -> bool,
) {
    let rim = pen.radius + 1.0;
    let Some(mut mask) = Mask::around(canvas, spots, rim) else {
        return;
    };
    let mut walked = 0.0;
    for pair in spots.windows(2) {
        let [a, b] = [pair[0], pair[1]];
        let length = (b[0] - a[0]).hypot(b[1] - a[1]);
        mask.each(a, b, rim, |x, y, covered| {
            let t = along([x, y], a, b);
            let [dx, dy] = [x - a[0] - t * (b[0] - a[0]), y - a[1] - t * (b[1] - a[1])];
            let off = (dx * dx + dy * dy).sqrt();
            let mut cover = (pen.radius + 0.5 - off).clamp(0.0, 1.0);
            if let Some([dash, gap]) = pen.dash {
                let place = (walked + t * length).rem_euclid(dash + gap);
                cover *= ((dash / 2.0 - (place - dash / 2.0).abs()) + 0.5).clamp(0.0, 1.0);
            }
            if cover > *covered && visible(x, y, a[2] + t * (b[2] - a[2])) {
                *covered = cover;
            }
        });
        walked += length;
    }
    mask.blend(canvas, pen.colour, pen.opacity);
}

/// Share of the way from `a` to `b` that is nearest to a point.
pub(crate) fn along(p: [f32; 2], a: Spot, b: Spot) -> f32 {
    let d = [b[0] - a[0], b[1] - a[1]];
    let squared = d[0] * d[0] + d[1] * d[1];
    if squared > 0.0 {
        (((p[0] - a[0]) * d[0] + (p[1] - a[1]) * d[1]) / squared).clamp(0.0, 1.0)
    } else {
        0.0
    }
}

/// Coverage of a part of the picture, so that a line that touches itself isn't mixed in twice.
struct Mask {
    left: i64,
    top: i64,
    width: i64,
    height: i64,
    covered: Vec<f32>,
}

impl Mask {
    /// The part of the picture within `rim` of the spots; `None` where they are all outside.
    fn around(canvas: &Canvas, spots: &[Spot], rim: f32) -> Option<Self> {
        let range = |axis: usize, size: usize| {
            let low = spots.iter().map(|s| s[axis]).fold(f32::INFINITY, f32::min);
            let high = spots
                .iter()
                .map(|s| s[axis])
                .fold(f32::NEG_INFINITY, f32::max);
            let first = ((low - rim).floor().max(0.0)) as i64;
            let last = ((high + rim).ceil().min(size as f32)) as i64;
            (first < last).then_some((first, last))
        };
        let (left, right) = range(0, canvas.width)?;
        let (top, bottom) = range(1, canvas.height)?;
        let (width, height) = (right - left, bottom - top);
        Some(Self {
            left,
            top,
            width,
            height,
            covered: vec![0.0; (width * height) as usize],
        })
    }

    /// Visits pixel centres in the box around a segment.
    fn each(&mut self, a: Spot, b: Spot, rim: f32, mut visit: impl FnMut(f32, f32, &mut f32)) {
        let first = |u: f32, v: f32, from: i64| ((u.min(v) - rim).floor() as i64 - from).max(0);
        let last = |u: f32, v: f32, from: i64, size: i64| {
            ((u.max(v) + rim).ceil() as i64 - from).min(size)
        };
        for y in first(a[1], b[1], self.top)..last(a[1], b[1], self.top, self.height) {
            for x in first(a[0], b[0], self.left)..last(a[0], b[0], self.left, self.width) {
                let centre = [(x + self.left) as f32 + 0.5, (y + self.top) as f32 + 0.5];
                visit(
                    centre[0],
                    centre[1],
                    &mut self.covered[(y * self.width + x) as usize],
                );
            }
        }
    }

    fn blend(&self, canvas: &mut Canvas, colour: Rgb, opacity: f32) {
        for y in 0..self.height {
            for x in 0..self.width {
                let cover = self.covered[(y * self.width + x) as usize];
                if cover > 0.0 {
                    canvas.blend(x + self.left, y + self.top, colour, cover * opacity);
                }
            }
        }
    }
}

/// Draws a filled polygon of equal sides with one corner up, parted from the picture by a rim.
pub(crate) fn polygon(
    canvas: &mut Canvas,
    centre: [f32; 2],
    radius: f32,
    sides: u32,
    fill: Rgb,
    rim: Rgb,
) {
    let step = std::f32::consts::TAU / sides.max(3) as f32;
    let inner = radius * (step / 2.0).cos();
    let reach = (radius + 3.0).ceil() as i64;
    let (cx, cy) = (centre[0].floor() as i64, centre[1].floor() as i64);
    for y in cy - reach..=cy + reach {
        for x in cx - reach..=cx + reach {
            let (dx, dy) = (x as f32 + 0.5 - centre[0], centre[1] - y as f32 - 0.5);
            // Angle from the middle of the side that faces this pixel.
            let angle = dx.atan2(dy).rem_euclid(step) - step / 2.0;
            let outside = dx.hypot(dy) * angle.cos() - inner;
            canvas.blend(x, y, rim, (outside_cover(outside - 1.8)).clamp(0.0, 1.0));
            canvas.blend(x, y, fill, outside_cover(outside));
        }
    }
}

fn outside_cover(outside: f32) -> f32 {
    (0.5 - outside).clamp(0.0, 1.0)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::colour::decode;

    const WHITE: Rgb = [1.0; 3];
    const BLACK: Rgb = [0.0; 3];

    fn white(size: u32) -> Canvas {
        Canvas::painted(size, size, WHITE, |_, _| None)
    }

    /// Ink on a white picture, in pixels.
    fn ink(canvas: &Canvas) -> f64 {
        let light: f64 = canvas.bytes().iter().map(|&v| f64::from(decode(v))).sum();
        (canvas.width * canvas.height) as f64 - light / 3.0
    }

    /// Areas of regular polygons: n r² sin(2π/n) / 2 (handbook mensuration).
    #[test]
    fn polygons_have_the_area_of_the_formula() {
        for sides in [3, 4, 5, 6, 8] {
            let mut canvas = white(200);
            polygon(&mut canvas, [100.3, 99.8], 70.0, sides, BLACK, WHITE);
            let want =
                f64::from(sides) * 70.0 * 70.0 * (std::f64::consts::TAU / f64::from(sides)).sin()
                    / 2.0;
            let have = ink(&canvas);
            assert!((have / want - 1.0).abs() < 0.01, "{sides}: {have} {want}");
        }
    }

    #[test]
    fn lines_are_as_wide_and_long_as_asked_and_dashes_leave_gaps() {
        let spots = [[20.5, 50.5, 0.0], [120.5, 50.5, 1.0]];
        let pen = Pen {
            colour: BLACK,
            radius: 3.0,
            opacity: 1.0,
            dash: None,
        };
        let mut canvas = white(150);
        line(&mut canvas, &spots, pen, |_, _, _| true);
        // A strip and a disk of two half ends.
        let want = 100.0 * 6.0 + std::f64::consts::PI * 9.0;
        assert!(
            (ink(&canvas) / want - 1.0).abs() < 0.1,
            "{} {want}",
            ink(&canvas)
        );
        let mut dashed = white(150);
        line(
            &mut dashed,
            &spots,
            Pen {
                dash: Some([6.0, 6.0]),
                ..pen
            },
            |_, _, _| true,
        );
        assert!((ink(&dashed) / ink(&canvas) - 0.5).abs() < 0.12);
        let mut hidden = white(150);
        line(&mut hidden, &spots, pen, |_, _, depth| depth < 0.5);
        assert!((ink(&hidden) / ink(&canvas) - 0.5).abs() < 0.05);
        let mut none = white(150);
        line(
            &mut none,
            &[[-900.0, -900.0, 0.0], [-800.0, -900.0, 0.0]],
            pen,
            |_, _, _| true,
        );
        line(&mut none, &[], pen, |_, _, _| true);
        assert_eq!(ink(&none), 0.0);
    }
}
