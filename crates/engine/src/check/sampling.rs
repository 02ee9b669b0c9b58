//! Evenly spread points on quads: the same ones every time.

use mesh::DVec3;

use super::surface::Surface;
use crate::spread::{Spread, square};

/// A point on the checked surface with the unit normal there.
#[derive(Clone, Copy)]
pub(super) struct Sample {
    pub at: DVec3,
    pub normal: DVec3,
}

/// About `count` points on the quads, taken as bilinear patches.
pub(super) fn on_surface(surface: &Surface, count: usize) -> Vec<Sample> {
    let areas: Vec<f64> = (0..surface.mesh.quads.len())
        .map(|q| surface.area(q))
        .collect();
    let spread = Spread::new(areas.iter().sum(), count);
    let mut samples = Vec::with_capacity(count);
    let mut covered = 0.0;
    for (q, area) in areas.iter().enumerate() {
        for i in spread.terms(covered, covered + area) {
            samples.push(on_patch(surface.corners(q), square(i)));
        }
        covered += area;
    }
    samples
}

fn on_patch([p, q, r, s]: [DVec3; 4], [u, v]: [f64; 2]) -> Sample {
    let (low, high) = (p.lerp(q, u), s.lerp(r, u));
    let across = (q - p).lerp(r - s, v);
    Sample {
        at: low.lerp(high, v),
        normal: across.cross(high - low).normalize_or_zero(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use mesh::QuadMesh;

    #[test]
    fn samples_on_a_square_have_its_moments() {
        // Of the unit square: centroid 1/2, mean square distance from it 1/6 (handbook).
        let mesh = QuadMesh {
            positions: vec![DVec3::ZERO, DVec3::X, DVec3::new(1.0, 1.0, 0.0), DVec3::Y],
            quads: vec![[0, 1, 2, 3]],
            groups: vec![],
        };
        let surface = Surface::new(&mesh).unwrap();
        let samples = on_surface(&surface, 1000);
        assert_eq!(samples.len(), 1000);
        let middle = DVec3::new(0.5, 0.5, 0.0);
        let mean = samples.iter().map(|s| s.at).sum::<DVec3>() / 1000.0;
        let spread = samples
            .iter()
            .map(|s| s.at.distance_squared(middle))
            .sum::<f64>()
            / 1000.0;
        assert!(mean.distance(middle) < 2e-3 && (spread - 1.0 / 6.0).abs() < 2e-3);
        assert!(samples.iter().all(|s| s.normal == DVec3::Z));
    }
}
