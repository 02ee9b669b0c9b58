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
/// Pairs of neighbours at each of two distances.
const PAIRS: usize = 3;

impl Openness {
    /// `reach` is the size of the hollows that darken, pixels.
    pub fn new(layer: &Layer, camera: &Camera, reach: f32) -> Self {
        let width = camera.width as usize;
        let depths = Depths::new(layer, camera, reach);
        let pairs: Vec<[Pair; 2 * PAIRS]> =
            (0..BLOCK * BLOCK).map(|turn| pairs(turn, reach)).collect();
        let mut raw = vec![0.0; width * camera.height as usize];
        raw.par_chunks_mut(width).enumerate().for_each(|(y, row)| {
            for (x, value) in row.iter_mut().enumerate() {
                *value = depths.hollow(x, y, &pairs[x % BLOCK + BLOCK * (y % BLOCK)]);
            }
        });
        let mut values = vec![1.0; raw.len()];
        values
            .par_chunks_mut(width)
            .enumerate()
            .for_each(|(y, row)| {
                for (x, value) in row.iter_mut().enumerate() {
                    *value = 1.0 - depths.block_mean(&raw, x, y, reach);
                }
            });
        Self { width, values }
    }

    pub fn at(&self, x: usize, y: usize) -> f32 {
        self.values.get(y * self.width + x).copied().unwrap_or(1.0)
    }
}

/// Two opposite neighbours: how far off one is, pixels.
#[derive(Clone, Copy)]
struct Pair {
    dx: i32,
    dy: i32,
    radius: f32,
}

fn pairs(turn: usize, reach: f32) -> [Pair; 2 * PAIRS] {
    let turn = turn as f32 / (BLOCK * BLOCK) as f32;
    std::array::from_fn(|i| {
        let ring = if i < PAIRS { 0.3 } else { 1.0 };
        let radius = reach * ring * (0.7 + 0.3 * turn);
        let angle = ((i % PAIRS) as f32 + turn) / PAIRS as f32 * std::f32::consts::PI;
        let (dx, dy) = (
            (radius * angle.cos()).round() as i32,
            (radius * angle.sin()).round() as i32,
        );
        Pair {
            dx,
            dy,
            radius: radius.max(1e-3),
        }
    })
}

/// Depth of each pixel with a rim of nothing around, so that neighbours needn't be checked.
struct Depths {
    width: usize,
    height: usize,
    rim: usize,
    /// Infinite where nothing is.
    values: Vec<f32>,
}

impl Depths {
    fn new(layer: &Layer, camera: &Camera, reach: f32) -> Self {
        let (width, height) = (camera.width as usize, camera.height as usize);
        let rim = reach.ceil() as usize + BLOCK;
        let mut depths = Self {
            width,
            height,
            rim,
            values: vec![f32::INFINITY; (width + 2 * rim) * (height + 2 * rim)],
        };
        for y in 0..height {
            for x in 0..width {
                let at = depths.place(x, y);
                let seen = layer.at(x * SAMPLES as usize, y * SAMPLES as usize);
                depths.values[at] = seen.map_or(f32::INFINITY, |seen| seen.depth);
            }
        }
        depths
    }

    fn place(&self, x: usize, y: usize) -> usize {
        (y + self.rim) * (self.width + 2 * self.rim) + x + self.rim
    }

    /// How hollow a pixel is, 0 to 1.
    fn hollow(&self, x: usize, y: usize, pairs: &[Pair]) -> f32 {
        let place = self.place(x, y);
        let here = self.values[place];
        if here.is_infinite() {
            return 0.0;
        }
        let row = (self.width + 2 * self.rim) as i32;
        let mut sum = 0.0;
        for pair in pairs {
            let step = (pair.dy * row + pair.dx) as isize;
            let one = self.values[place.wrapping_add_signed(step)];
            let two = self.values[place.wrapping_add_signed(-step)];
            if one.is_finite() && two.is_finite() {
                // What lies far in front casts no more than what lies just in front, and a step
                // down on one side must not make up for a wall on the other.
                let limit = |d: f32| (here - d).clamp(-pair.radius, 1.5 * pair.radius);
                sum += ((limit(one) + limit(two)) / (1.2 * pair.radius)).clamp(0.0, 1.0);
            }
        }
        0.85 * sum / pairs.len() as f32
    }

    /// Mean over the block around a pixel, leaving out what lies at another depth.
    fn block_mean(&self, raw: &[f32], x: usize, y: usize, reach: f32) -> f32 {
        let here = self.values[self.place(x, y)];
        if here.is_infinite() {
            return 0.0;
        }
        let (mut sum, mut count) = (0.0, 0.0);
        for j in y.saturating_sub(BLOCK / 2)..(y + BLOCK / 2).min(self.height) {
            for i in x.saturating_sub(BLOCK / 2)..(x + BLOCK / 2).min(self.width) {
                if (self.values[self.place(i, j)] - here).abs() < reach {
                    sum += raw[j * self.width + i];
                    count += 1.0;
                }
            }
        }
        if count > 0.0 { sum / count } else { 0.0 }
    }
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
