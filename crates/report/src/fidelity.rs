//! How far the surface lies from the sculpt, all over it.

use mesh::SurfaceIndex;
use rayon::prelude::*;

use crate::model::Surface;

/// Closest points asked for at most, over the whole surface; sets how finely quads are sampled.
const QUESTIONS: usize = 120_000;
/// Most intervals along a quad's side.
const FINEST: usize = 8;
/// Steps of the scale's end, in mean edges.
const ENDS: [f64; 9] = [0.005, 0.01, 0.02, 0.05, 0.1, 0.2, 0.5, 1.0, 2.0];

/// Distances on a grid in each quad.
pub(crate) struct Fidelity {
    /// Intervals along a side.
    intervals: usize,
    /// (intervals + 1)² distances a quad, in mean edges.
    values: Vec<f32>,
    /// Distance at the end of the scale, mean edges.
    pub end: f64,
    /// Root of the mean square, mean edges.
    pub rms: f64,
    /// Greatest, mean edges.
    pub greatest: f64,
}

impl Fidelity {
    /// `None` without quads or without a sculpt. Quads that were `added`, such as trims, aren't on the
    /// sculpt and count as nowhere off it.
    pub fn new(surface: &Surface, sculpt: &SurfaceIndex, added: &[u32]) -> Option<Self> {
        let quads = surface.mesh.quads.len();
        if quads == 0 || surface.mean_edge <= 0.0 {
            return None;
        }
        let intervals = (((QUESTIONS / quads) as f64).sqrt() as usize)
            .saturating_sub(1)
            .clamp(1, FINEST);
        let side = intervals + 1;
        let mut is_added = vec![false; quads];
        for &quad in added.iter().filter(|q| (**q as usize) < quads) {
            is_added[quad as usize] = true;
        }
        let values: Option<Vec<f32>> = (0..quads * side * side)
            .into_par_iter()
            .map(|i| {
                let (quad, place) = (i / (side * side), i % (side * side));
                if is_added[quad] {
                    return Some(0.0);
                }
                let uv = [place % side, place / side].map(|k| k as f64 / intervals as f64);
                let near = sculpt.closest(surface.point_at(quad, uv))?;
                Some((near.distance / surface.mean_edge) as f32)
            })
            .collect();
        let values = values?;
        let own = values.chunks_exact(side * side).zip(&is_added);
        let own = own.filter(|(_, added)| !**added).map(|(values, _)| values);
        let mut sorted: Vec<f32> = own.flatten().copied().collect();
        if sorted.is_empty() {
            return None;
        }
        sorted.par_sort_unstable_by(f32::total_cmp);
        let high = f64::from(sorted[(sorted.len() - 1) * 99 / 100]);
        let squares: f64 = sorted.iter().map(|&v| f64::from(v).powi(2)).sum();
        Some(Self {
            intervals,
            end: ENDS
                .into_iter()
                .find(|&end| end >= high)
                .unwrap_or(ENDS[ENDS.len() - 1]),
            rms: (squares / sorted.len() as f64).sqrt(),
            greatest: f64::from(sorted[sorted.len() - 1]),
            values,
        })
    }

    /// Distance at (u, v) of a quad, mean edges; bilinear on the grid.
    pub fn at(&self, quad: usize, uv: [f32; 2]) -> f32 {
        let side = self.intervals + 1;
        let [u, v] = uv.map(|x| x.clamp(0.0, 1.0) * self.intervals as f32);
        let [i, j] = [u, v].map(|x| (x as usize).min(self.intervals - 1));
        let value = |i: usize, j: usize| self.values[quad * side * side + j * side + i];
        let (s, t) = (u - i as f32, v - j as f32);
        let low = value(i, j) * (1.0 - s) + value(i + 1, j) * s;
        let high = value(i, j + 1) * (1.0 - s) + value(i + 1, j + 1) * s;
        low * (1.0 - t) + high * t
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::testing;
    use std::sync::Arc;

    /// A flat quad whose corners lie on a unit sphere is furthest from it in its middle: the
    /// height of the spherical segment, 1 - cos of half the angle between opposite corners
    /// (handbook geometry).
    #[test]
    fn a_ball_of_quads_is_furthest_in_the_middle_of_its_quads() {
        let mesh = testing::ball(4);
        let surface = Surface::new(&mesh);
        let sculpt = SurfaceIndex::new(Arc::new(testing::sphere(256, 128)));
        let fidelity = Fidelity::new(&surface, &sculpt, &[]).unwrap();
        for quad in 0..mesh.quads.len() {
            let corners = mesh.quads[quad].map(|v| mesh.positions[v as usize]);
            let angle = |a: usize, b: usize| corners[a].angle_between(corners[b]);
            // The quad is split along its shorter diagonal.
            let want = 1.0 - (angle(0, 2).min(angle(1, 3)) / 2.0).cos();
            let have = f64::from(fidelity.at(quad, [0.5, 0.5])) * surface.mean_edge;
            assert!((have - want).abs() < 2e-3, "{have} {want}");
            assert!(f64::from(fidelity.at(quad, [0.0, 0.0])) * surface.mean_edge < 1e-3);
        }
        assert!(fidelity.rms > 0.0 && fidelity.rms < fidelity.greatest);
        assert!(fidelity.end >= 0.99 * fidelity.rms);
    }

    #[test]
    fn what_was_added_is_not_held_against_the_sculpt() {
        let mut mesh = testing::ball(4);
        let own = mesh.quads.len() as u32;
        let far = mesh.quads[0].map(|v| {
            mesh.positions.push(3.0 * mesh.positions[v as usize]);
            mesh.positions.len() as u32 - 1
        });
        mesh.quads.push(far);
        let surface = Surface::new(&mesh);
        let sculpt = SurfaceIndex::new(Arc::new(testing::sphere(256, 128)));
        let greatest = |added: &[u32]| Fidelity::new(&surface, &sculpt, added).unwrap().greatest;
        assert!(greatest(&[]) * surface.mean_edge > 1.9);
        assert!(greatest(&[own]) * surface.mean_edge < 0.1);
    }

    #[test]
    fn nothing_gives_nothing() {
        let empty = mesh::QuadMesh::default();
        let sculpt = SurfaceIndex::new(Arc::new(testing::sphere(8, 4)));
        assert!(Fidelity::new(&Surface::new(&empty), &sculpt, &[]).is_none());
        let nothing = SurfaceIndex::new(Arc::new(mesh::TriMesh::default()));
        assert!(Fidelity::new(&Surface::new(&testing::ball(2)), &nothing, &[]).is_none());
    }
}
