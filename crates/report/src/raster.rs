//! Which triangle each sample of a picture sees.
//!
//! All rays of a picture are parallel, so the first triangle along each is found for all of
//! them at once by a depth buffer: triangles are sorted into bands of rows and each band is
//! filled by itself. Equal depths go to the lower triangle, so neither the order nor the number
//! of threads shows.

use rayon::prelude::*;

use crate::camera::Camera;

/// Samples per pixel along each axis.
pub(crate) const SAMPLES: u32 = 2;
/// Rows of samples in a band.
const BAND: usize = 64;
/// Triangles sorted into bands at a time.
const CHUNK: usize = 1 << 16;
const NOTHING: u32 = u32::MAX;

/// What every sample sees.
#[derive(Clone, Debug)]
pub(crate) struct Layer {
    width: usize,
    height: usize,
    ids: Vec<u32>,
    depths: Vec<f32>,
}

/// A triangle seen by a sample.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Seen {
    pub triangle: u32,
    /// Pixels, less nearer the viewer.
    pub depth: f32,
}

impl Layer {
    /// Fills triangles whose corners were projected by `camera`.
    pub fn new(camera: &Camera, corners: &[[f32; 3]], triangles: &[[u32; 3]]) -> Self {
        let width = (camera.width * SAMPLES) as usize;
        let height = (camera.height * SAMPLES) as usize;
        let bands = height.div_ceil(BAND);
        let sorted: Vec<Vec<Vec<u32>>> = triangles
            .par_chunks(CHUNK)
            .enumerate()
            .map(|(chunk, part)| sort_into_bands(part, chunk * CHUNK, corners, width, bands))
            .collect();
        let mut layer = Self {
            width,
            height,
            ids: vec![NOTHING; width * height],
            depths: vec![f32::INFINITY; width * height],
        };
        let fill = |(band, (ids, depths)): (usize, (&mut [u32], &mut [f32]))| {
            let mut rows = Rows {
                width,
                first: band * BAND,
                ids,
                depths,
            };
            for chunk in &sorted {
                for &t in &chunk[band] {
                    let [a, b, c] = triangles[t as usize].map(|v| sampled(corners[v as usize]));
                    rows.fill(t, [a, b, c], camera.near);
                }
            }
        };
        layer
            .ids
            .par_chunks_mut(BAND * width)
            .zip(layer.depths.par_chunks_mut(BAND * width))
            .enumerate()
            .for_each(fill);
        layer
    }

    /// What the sample in this column and row sees.
    pub fn at(&self, column: usize, row: usize) -> Option<Seen> {
        if column >= self.width || row >= self.height {
            return None;
        }
        let at = row * self.width + column;
        (self.ids[at] != NOTHING).then(|| Seen {
            triangle: self.ids[at],
            depth: self.depths[at],
        })
    }

    /// Depth seen at a place in the picture, pixels; infinite where nothing is.
    pub fn depth_at(&self, x_px: f32, y_px: f32) -> f32 {
        let (x, y) = (x_px * SAMPLES as f32, y_px * SAMPLES as f32);
        if x < 0.0 || y < 0.0 {
            return f32::INFINITY;
        }
        self.at(x as usize, y as usize)
            .map_or(f32::INFINITY, |seen| seen.depth)
    }
}

/// A corner in sample units: the sample in column `i` is at `i + 0.5`.
fn sampled([x, y, z]: [f32; 3]) -> [f64; 3] {
    [
        f64::from(x) * f64::from(SAMPLES),
        f64::from(y) * f64::from(SAMPLES),
        f64::from(z),
    ]
}

fn sort_into_bands(
    part: &[[u32; 3]],
    first: usize,
    corners: &[[f32; 3]],
    width: usize,
    bands: usize,
) -> Vec<Vec<u32>> {
    let mut sorted = vec![Vec::new(); bands];
    let limit = [width as f64, (bands * BAND) as f64];
    for (i, triangle) in part.iter().enumerate() {
        let Some(points) = places(triangle, corners) else {
            continue;
        };
        let span = |axis: usize| {
            let low = points.iter().map(|p| p[axis]).fold(f64::INFINITY, f64::min);
            let high = points
                .iter()
                .map(|p| p[axis])
                .fold(f64::NEG_INFINITY, f64::max);
            samples_between(low, high, limit[axis])
        };
        let (Some(_), Some((top, bottom))) = (span(0), span(1)) else {
            continue;
        };
        for band in &mut sorted[top / BAND..=bottom / BAND] {
            band.push((first + i) as u32);
        }
    }
    sorted
}

/// Corners in sample units; `None` when one doesn't exist or isn't finite.
fn places(triangle: &[u32; 3], corners: &[[f32; 3]]) -> Option<[[f64; 3]; 3]> {
    let mut points = [[0.0; 3]; 3];
    for (point, &v) in points.iter_mut().zip(triangle) {
        *point = sampled(*corners.get(v as usize)?);
        if !point.iter().all(|v| v.is_finite()) {
            return None;
        }
    }
    Some(points)
}

/// First and last sample whose centre lies from `low` to `high`, within `0..limit`.
fn samples_between(low: f64, high: f64, limit: f64) -> Option<(usize, usize)> {
    let first = (low - 0.5).ceil().max(0.0);
    let last = (high - 0.5).floor().min(limit - 1.0);
    (first <= last).then_some((first as usize, last as usize))
}

/// Some rows of the picture while they are filled.
struct Rows<'a> {
    width: usize,
    first: usize,
    ids: &'a mut [u32],
    depths: &'a mut [f32],
}

impl Rows<'_> {
    /// Edge functions as in Pineda, "A parallel algorithm for polygon rasterization",
    /// SIGGRAPH 1988. Samples on a side belong to both triangles; depth decides.
    fn fill(&mut self, id: u32, [a, b, c]: [[f64; 3]; 3], near: f32) {
        let area = (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0]);
        if area == 0.0 {
            return;
        }
        let low = |axis: usize| a[axis].min(b[axis]).min(c[axis]);
        let high = |axis: usize| a[axis].max(b[axis]).max(c[axis]);
        let rows = self.ids.len() / self.width;
        let top = self.first as f64;
        let Some((left, right)) = samples_between(low(0), high(0), self.width as f64) else {
            return;
        };
        let Some((upper, lower)) = samples_between(low(1) - top, high(1) - top, rows as f64) else {
            return;
        };
        // Roundings of a shared side must not open a gap.
        let least = -1e-9;
        for row in upper..=lower {
            let y = row as f64 + top + 0.5;
            for column in left..=right {
                let x = column as f64 + 0.5;
                let v = ((c[0] - a[0]) * (a[1] - y) - (c[1] - a[1]) * (a[0] - x)) / area;
                let w = ((b[0] - a[0]) * (y - a[1]) - (b[1] - a[1]) * (x - a[0])) / area;
                let u = 1.0 - v - w;
                if u < least || v < least || w < least {
                    continue;
                }
                let depth = (u * a[2] + v * b[2] + w * c[2]) as f32;
                let at = row * self.width + column;
                let nearer =
                    depth < self.depths[at] || (depth == self.depths[at] && id < self.ids[at]);
                if nearer && depth >= near {
                    self.depths[at] = depth;
                    self.ids[at] = id;
                }
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::camera::Frame;
    use mesh::DVec3;

    fn square(depth: f64, size: f64) -> [DVec3; 4] {
        [[-1., -1.], [1., -1.], [1., 1.], [-1., 1.]]
            .map(|[x, y]| DVec3::new(x * size, y * size, depth))
    }

    #[test]
    fn nearer_hides_further_and_equal_goes_to_the_lower_id() {
        let frame = Frame {
            height: 100,
            margin: 0.1,
        };
        let points: Vec<DVec3> = [square(0.0, 1.0), square(1.0, 0.5), square(0.0, 1.0)].concat();
        let camera = Camera::fitting(DVec3::Z, points.iter().copied(), frame).unwrap();
        let corners: Vec<[f32; 3]> = points.iter().map(|&p| camera.project(p)).collect();
        let triangles = [
            [0, 1, 2],
            [0, 2, 3],
            [4, 5, 6],
            [4, 6, 7],
            [8, 9, 10],
            [8, 10, 11],
        ];
        let layer = Layer::new(&camera, &corners, &triangles);
        let id = |x, y| layer.at(x, y).map(|seen| seen.triangle);
        assert_eq!(id(10, 10), None);
        assert_eq!(id(150, 170), Some(0));
        assert_eq!(id(30, 40), Some(1));
        assert_eq!(id(110, 130), Some(2));
        let covered = (0..200 * 200)
            .filter(|i| id(i % 200, i / 200).is_some())
            .count();
        assert_eq!(covered, 160 * 160);
    }
}
