//! Light and shade: three soft lights that turn with the camera, and darkened hollows.

use rayon::prelude::*;

use crate::camera::Camera;
use crate::colour::Rgb;
use crate::raster::{Layer, SAMPLES};

/// A light far away.
struct Light {
    /// Unit vector to the light: right, up, toward the viewer.
    to: [f32; 3],
    colour: Rgb,
    /// How far light reaches around the form: 0 is a hard lamp, 1 an overcast sky.
    wrap: f32,
}

const LIGHTS: [Light; 3] = [
    // Main light, upper left, warm.
    Light {
        to: [-0.48, 0.62, 0.62],
        colour: [0.70, 0.68, 0.64],
        wrap: 0.15,
    },
    // Fill, right, cool and weak.
    Light {
        to: [0.80, 0.05, 0.60],
        colour: [0.17, 0.19, 0.22],
        wrap: 0.3,
    },
    // Rim, above and behind, to part the form from the ground.
    Light {
        to: [0.25, 0.72, -0.65],
        colour: [0.16, 0.17, 0.18],
        wrap: 0.2,
    },
];
/// Light from everywhere: from above, and how much less from below.
const SKY: Rgb = [0.23, 0.235, 0.25];
const GROUND: f32 = 0.55;

/// The colour of a surface with this tint. `normal` is in the camera's axes and needn't face the
/// viewer; `open` is 1 in the open and less in hollows.
pub(crate) fn lit(tint: Rgb, normal: [f32; 3], open: f32) -> Rgb {
    let length = normal.iter().map(|v| v * v).sum::<f32>().sqrt();
    let n = if length > 0.0 {
        normal.map(|v| v / length)
    } else {
        [0.0, 0.0, 1.0]
    };
    let n = if n[2] < 0.0 { n.map(|v| -v) } else { n };
    let ambient = GROUND + (1.0 - GROUND) * (0.5 + 0.5 * n[1]);
    let mut light = SKY.map(|v| v * ambient * open);
    for lamp in &LIGHTS {
        let cosine: f32 = (0..3).map(|i| n[i] * lamp.to[i]).sum();
        let amount = ((cosine + lamp.wrap) / (1.0 + lamp.wrap)).max(0.0) * (0.45 + 0.55 * open);
        for i in 0..3 {
            light[i] += lamp.colour[i] * amount;
        }
    }
    [0, 1, 2].map(|i| tint[i] * light[i])
}

/// How open each pixel lies, 0 to 1.
///
/// Pairs of opposite neighbours tell whether a pixel lies deeper than the mean of the two, so
/// flat parts at any slant are open; after the depth-difference shading of Luft, Colditz &
/// Deussen, "Image enhancement by unsharp masking the depth buffer", SIGGRAPH 2006.
pub(crate) struct Openness {
    width: usize,
    values: Vec<f32>,
}

/// Directions turn from pixel to pixel in a block this wide; blurring over the block evens it out.
const BLOCK: usize = 4;
const PAIRS: usize = 3;

impl Openness {
    /// `reach` is the size of the hollows that darken, pixels.
    pub fn new(layer: &Layer, camera: &Camera, reach: f32) -> Self {
        let (width, height) = (camera.width as usize, camera.height as usize);
        let depth = |x: i64, y: i64| -> Option<f32> {
            let (x, y) = (usize::try_from(x).ok()?, usize::try_from(y).ok()?);
            let s = SAMPLES as usize;
            (x < width)
                .then(|| layer.at(x * s, y * s))
                .flatten()
                .map(|seen| seen.depth)
        };
        let raw: Vec<f32> = (0..width * height)
            .into_par_iter()
            .map(|i| {
                let (x, y) = (i % width, i / width);
                let here = depth(x as i64, y as i64)?;
                let turn = ((x % BLOCK) + BLOCK * (y % BLOCK)) as f32 / (BLOCK * BLOCK) as f32;
                Some(hollow(here, turn, reach, |dx, dy| {
                    depth(x as i64 + dx, y as i64 + dy)
                }))
            })
            .map(|hollow| hollow.unwrap_or(0.0))
            .collect();
        let values = (0..width * height)
            .into_par_iter()
            .map(|i| 1.0 - block_mean(&raw, &depth, (i % width, i / width), (width, height), reach))
            .collect();
        Self { width, values }
    }

    pub fn at(&self, x: usize, y: usize) -> f32 {
        self.values.get(y * self.width + x).copied().unwrap_or(1.0)
    }
}

/// How hollow a pixel is, 0 to 1.
fn hollow(here: f32, turn: f32, reach: f32, depth: impl Fn(i64, i64) -> Option<f32>) -> f32 {
    let (mut sum, mut count) = (0.0, 0.0);
    for ring in [0.3, 1.0] {
        let radius = reach * ring * (0.7 + 0.3 * turn);
        for pair in 0..PAIRS {
            let angle = (pair as f32 + turn) / PAIRS as f32 * std::f32::consts::PI;
            let (dx, dy) = (
                (radius * angle.cos()).round() as i64,
                (radius * angle.sin()).round() as i64,
            );
            count += 1.0;
            let (Some(one), Some(two)) = (depth(dx, dy), depth(-dx, -dy)) else {
                continue;
            };
            // What lies far in front casts no more than what lies just in front, and a step
            // down on one side must not make up for a wall on the other.
            let limit = |d: f32| (here - d).clamp(-radius, 1.5 * radius);
            sum += ((limit(one) + limit(two)) / (1.2 * radius)).clamp(0.0, 1.0);
        }
    }
    0.85 * sum / count
}

/// Mean over the block around a pixel, leaving out what lies at another depth.
fn block_mean(
    raw: &[f32],
    depth: &impl Fn(i64, i64) -> Option<f32>,
    (x, y): (usize, usize),
    (width, height): (usize, usize),
    reach: f32,
) -> f32 {
    let Some(here) = depth(x as i64, y as i64) else {
        return 0.0;
    };
    let (mut sum, mut count) = (0.0, 0.0);
    for j in y.saturating_sub(BLOCK / 2)..(y + BLOCK / 2).min(height) {
        for i in x.saturating_sub(BLOCK / 2)..(x + BLOCK / 2).min(width) {
            if depth(i as i64, j as i64).is_some_and(|d| (d - here).abs() < reach) {
                sum += raw[j * width + i];
                count += 1.0;
            }
        }
    }
    if count > 0.0 { sum / count } else { 0.0 }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::camera::Frame;
    use mesh::DVec3;

    #[test]
    fn faces_turned_to_the_main_light_are_brightest_and_sides_of_a_sheet_look_alike() {
        let grey = [0.5; 3];
        let bright = lit(grey, LIGHTS[0].to, 1.0);
        let dim = lit(grey, [0.5, -0.8, 0.3], 1.0);
        assert!(bright[0] > 1.5 * dim[0]);
        assert_eq!(
            lit(grey, [0.1, 0.2, 0.9], 1.0),
            lit(grey, [-0.1, -0.2, -0.9], 1.0)
        );
        assert!(lit(grey, [0.0; 3], 0.3)[1] < lit(grey, [0.0; 3], 1.0)[1]);
        // No tint is burnt out.
        assert!(lit([0.9; 3], LIGHTS[0].to, 1.0).iter().all(|&v| v < 1.0));
    }

    #[test]
    fn a_groove_is_dark_and_a_slanted_plane_is_not() {
        let profile = [
            [-1.0, 0.0],
            [-0.2, 0.2],
            [0.0, -0.4],
            [0.2, 0.2],
            [1.0, 0.4],
        ];
        let points: Vec<DVec3> = profile
            .iter()
            .flat_map(|&[x, z]| [DVec3::new(x, -1.0, z), DVec3::new(x, 1.0, z)])
            .collect();
        let triangles: Vec<[u32; 3]> = (0..4u32)
            .flat_map(|i| [[0, 2, 3], [0, 3, 1]].map(|t| t.map(|v| v + 2 * i)))
            .collect();
        let frame = Frame {
            height: 200,
            margin: 0.05,
        };
        let camera = Camera::fitting(DVec3::Z, points.iter().copied(), frame).unwrap();
        let corners: Vec<[f32; 3]> = points.iter().map(|&p| camera.project(p)).collect();
        let layer = Layer::new(&camera, &corners, &triangles);
        let open = Openness::new(&layer, &camera, 20.0);
        assert!(open.at(100, 100) < 0.75, "{}", open.at(100, 100));
        assert!(open.at(45, 100) > 0.99, "{}", open.at(45, 100));
    }
}
