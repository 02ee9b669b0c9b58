//! A picture while it is painted.

use rayon::prelude::*;

use crate::colour::{Rgb, encode, mix};
use crate::raster::SAMPLES;

/// Pixels in linear light, rows from the top.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Canvas {
    pub width: usize,
    pub height: usize,
    pixels: Vec<Rgb>,
}

impl Canvas {
    /// Paints every pixel as the mean of its samples. `sample` is given a column and a row of
    /// samples; where it gives nothing the ground shows.
    pub fn painted(
        width: u32,
        height: u32,
        ground: Rgb,
        sample: impl Fn(usize, usize) -> Option<Rgb> + Sync,
    ) -> Self {
        let (width, height, s) = (width as usize, height as usize, SAMPLES as usize);
        let mut pixels = vec![ground; width * height];
        pixels
            .par_chunks_mut(width.max(1))
            .enumerate()
            .for_each(|(y, row)| {
                for (x, pixel) in row.iter_mut().enumerate() {
                    let mut sum = [0.0; 3];
                    for k in 0..s * s {
                        let colour = sample(x * s + k % s, y * s + k / s).unwrap_or(ground);
                        (0..3).for_each(|i| sum[i] += colour[i]);
                    }
                    *pixel = sum.map(|v| v / (s * s) as f32);
                }
            });
        Self {
            width,
            height,
            pixels,
        }
    }

    /// Mixes a colour into a pixel; nothing happens outside the picture.
    pub fn blend(&mut self, x: i64, y: i64, colour: Rgb, share: f32) {
        let (Ok(x), Ok(y)) = (usize::try_from(x), usize::try_from(y)) else {
            return;
        };
        if x < self.width && y < self.height {
            let pixel = &mut self.pixels[y * self.width + x];
            *pixel = mix(*pixel, colour, share);
        }
    }

    /// Adds rows below.
    pub fn extend(&mut self, rows: usize, ground: Rgb) {
        self.height += rows;
        self.pixels.resize(self.width * self.height, ground);
    }

    /// Three bytes a pixel, sRGB.
    pub fn bytes(&self) -> Vec<u8> {
        self.pixels
            .par_iter()
            .flat_map_iter(|p| p.map(encode))
            .collect()
    }
}
