//! Points spread evenly over triangles: the same ones every time.
//!
//! Faces are taken in order, each as often as its area asks (systematic sampling);
//! places within them come from a sequence that fills the square evenly.

use mesh::{DVec3, TriMesh};
use rayon::prelude::*;

/// Cosine of the angle between the sculpt at a point and the nearest quad below which the point is of another
/// wall. A quad across the end of a limb is square to the limb's walls, hence not 0.
pub(crate) const ANOTHER: f64 = -0.3;

/// A point on the sculpt and the triangle that it lies on.
#[derive(Clone, Copy)]
pub(crate) struct SculptSample {
    pub at: DVec3,
    pub triangle: u32,
}

/// Term `i` of the R₂ sequence: fractional parts of multiples of 1/φ₂ and 1/φ₂², where
/// φ₂ ≈ 1.3247 solves x³ = x + 1 (Roberts 2018, the generalised golden ratio).
pub(crate) fn square(i: usize) -> [f64; 2] {
    const STEP: f64 = 0.754_877_666_246_692_8;
    let at = |step: f64| (0.5 + step * i as f64).fract();
    [at(STEP), at(STEP * STEP)]
}

/// About as many points on a sculpt's triangles as `count` says for their area. The same for any number of
/// threads.
pub(crate) fn on_sculpt(mesh: &TriMesh, count: impl Fn(f64) -> usize) -> Vec<SculptSample> {
    const BLOCK: usize = 4096;
    let area = |t: usize| mesh.area_normal(t).length() / 2.0;
    let blocks = mesh.triangles.len().div_ceil(BLOCK);
    let block = |b: usize| b * BLOCK..((b + 1) * BLOCK).min(mesh.triangles.len());
    // Told once for each triangle: on a dense sculpt most of the time goes here.
    let areas_of = |b: usize| -> Vec<f64> { block(b).map(area).collect() };
    let each: Vec<Vec<f64>> = (0..blocks).into_par_iter().map(areas_of).collect();
    let areas = each.iter().map(|areas| areas.iter().sum::<f64>());
    let mut starts = Vec::with_capacity(blocks);
    let mut total = 0.0;
    for a in areas {
        starts.push(total);
        total += a;
    }
    starts.push(total);
    let spread = Spread::new(total, count(total));
    (0..blocks)
        .into_par_iter()
        .flat_map_iter(|b| in_block(mesh, block(b), &each[b], [starts[b], starts[b + 1]], spread))
        .collect()
}

/// The samples on some triangles, over which the sum of areas goes from one value to another.
fn in_block(
    mesh: &TriMesh,
    block: std::ops::Range<usize>,
    areas: &[f64],
    sums: [f64; 2],
    spread: Spread,
) -> Vec<SculptSample> {
    let last = block.end - 1;
    let mut covered = sums[0];
    let mut first = spread.place(covered);
    let mut samples = Vec::new();
    for (t, area) in block.zip(areas) {
        covered += area;
        // Rounding must not part the end of one block from the start of the next.
        let end = if t == last {
            sums[1]
        } else {
            covered.min(sums[1])
        };
        let beyond = spread.place(end);
        // Most triangles of a dense sculpt have none.
        if first < beyond {
            samples.extend((first..beyond).map(|i| SculptSample {
                at: in_triangle(mesh.corners(t), square(i)),
                triangle: t as u32,
            }));
        }
        (covered, first) = (end, beyond);
    }
    samples
}

/// Folds the square onto the triangle: area stays even.
fn in_triangle([a, b, c]: [DVec3; 3], [u, v]: [f64; 2]) -> DVec3 {
    let (u, v) = if u + v > 1.0 {
        (1.0 - u, 1.0 - v)
    } else {
        (u, v)
    };
    a + u * (b - a) + v * (c - a)
}

/// Evenly spaced places along the sum of all areas, at the middles of equal steps.
#[derive(Clone, Copy)]
pub(crate) struct Spread {
    per_area: f64,
    count: usize,
}

impl Spread {
    pub fn new(total: f64, count: usize) -> Self {
        let per_area = if total > 0.0 {
            count as f64 / total
        } else {
            0.0
        };
        Self { per_area, count }
    }

    /// Numbers of the places from one sum of areas up to the next.
    pub fn terms(&self, from: f64, to: f64) -> std::ops::Range<usize> {
        self.place(from)..self.place(to)
    }

    /// Number of the first place beyond a sum of areas, which is none below 0.
    fn place(&self, sum: f64) -> usize {
        // The conversion rounds towards 0.
        ((sum * self.per_area + 0.5) as usize).min(self.count)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use mesh::Vec3;

    #[test]
    fn the_step_solves_its_equation() {
        let x = 1.0 / 0.754_877_666_246_692_8f64;
        assert!((x.powi(3) - x - 1.0).abs() < 1e-12);
    }

    #[test]
    fn sculpt_samples_follow_area_whatever_the_threads() {
        let side = 100u32;
        let mut mesh = TriMesh::default();
        for i in 0..side * side {
            let (x, y) = ((i % side) as f32, (i / side) as f32);
            let n = mesh.positions.len() as u32;
            let corner = |dx: f32, dy: f32| Vec3::new(x + dx, y + dy, 0.0);
            mesh.positions
                .extend([corner(0.0, 0.0), corner(1.0, 0.0), corner(0.0, 1.0)]);
            mesh.triangles.push([n, n + 1, n + 2]);
        }
        let samples = on_sculpt(&mesh, |_| 20_000);
        assert_eq!(samples.len(), 20_000);
        for pair in samples
            .chunks(2)
            .zip(0..)
            .map(|(c, t)| (c[0].triangle, c[1].triangle, t))
        {
            assert_eq!((pair.0, pair.1), (pair.2, pair.2));
        }
        let alone = rayon::ThreadPoolBuilder::new()
            .num_threads(1)
            .build()
            .unwrap();
        let again = alone.install(|| on_sculpt(&mesh, |_| 20_000));
        assert!(samples.iter().zip(&again).all(|(a, b)| a.at == b.at));
    }
}
