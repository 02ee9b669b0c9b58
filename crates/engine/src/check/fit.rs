//! Distances between the surface and the sculpt, both ways.

use mesh::DVec3;
use rayon::prelude::*;

use super::CheckError;
use super::measures::{FitMeasures, ReverseMeasures};
use super::sampling;
use super::space::{Segments, angle_deg, mean, quantile};
use super::surface::Surface;
use crate::model::Sculpt;
use crate::spread::{self, SculptSample};

/// A nearest point this near to the boundary is on it, edges.
const RIM: f64 = 1e-6;

/// From the surface to the sculpt.
pub(super) fn forward(
    surface: &Surface,
    sculpt: &Sculpt,
    samples: usize,
) -> Result<FitMeasures, CheckError> {
    let pct = 100.0 / sculpt.mesh.diagonal();
    let rows: Vec<[f64; 3]> = sampling::on_surface(surface, samples)
        .par_iter()
        .map(|sample| {
            let foot = sculpt.index.closest(sample.at)?;
            let normal = smooth_normal(sculpt, foot.triangle, foot.barycentric);
            let outside = (sample.at - foot.point).dot(normal) >= 0.0;
            let signed = if outside {
                foot.distance
            } else {
                -foot.distance
            };
            Some([foot.distance, signed, angle_deg(sample.normal, normal)])
        })
        .collect::<Option<_>>()
        .ok_or(CheckError::NoSculpt)?;
    let column = |i: usize| rows.iter().map(|r| r[i]).collect::<Vec<f64>>();
    let (mut distances, mut angles) = (column(0), column(2));
    let vertices = surface
        .mesh
        .positions
        .par_iter()
        .zip(&surface.topology.valence);
    let farthest: Vec<f64> = vertices
        .filter(|(_, valence)| **valence > 0)
        .map(|(&p, _)| sculpt.index.closest(p).map_or(0.0, |foot| foot.distance))
        .collect();
    Ok(FitMeasures {
        rms_pct: rms(&distances) * pct,
        p99_pct: quantile(&mut distances, 0.99) * pct,
        max_pct: quantile(&mut distances, 1.0) * pct,
        signed_mean_pct: mean(&column(1)) * pct,
        vertices_max_pct: farthest.iter().copied().fold(0.0, f64::max) * pct,
        normal_dev_mean_deg: mean(&angles),
        normal_dev_p95_deg: quantile(&mut angles, 0.95),
    })
}

fn smooth_normal(sculpt: &Sculpt, triangle: u32, weights: [f64; 3]) -> DVec3 {
    let corners = sculpt.mesh.triangles[triangle as usize];
    let normals = corners.map(|v| sculpt.normals[v as usize].as_dvec3());
    let sum = weights[0] * normals[0] + weights[1] * normals[1] + weights[2] * normals[2];
    sum.normalize_or_zero()
}

/// Root mean square, 0 for no values.
pub(super) fn rms(values: &[f64]) -> f64 {
    mean(&values.iter().map(|d| d * d).collect::<Vec<_>>()).sqrt()
}

/// What part of space the surface covers: where the nearest point isn't on its boundary.
pub(super) struct Cover<'a> {
    surface: &'a Surface<'a>,
    rim: Segments,
}

impl<'a> Cover<'a> {
    pub fn new(surface: &'a Surface<'a>) -> Self {
        Self {
            surface,
            rim: surface.some_edges(surface.boundary_edges()),
        }
    }

    pub fn surface(&self) -> &'a Surface<'a> {
        self.surface
    }

    /// Distance to the surface if the nearest point isn't on the boundary.
    pub fn distance(&self, p: DVec3) -> Option<f64> {
        let foot = self.surface.triangles.nearest_point(p)?;
        let is_inside = self.rim.distance(foot) > RIM * self.surface.mean_edge;
        is_inside.then(|| foot.distance(p))
    }
}

/// From the sculpt to the surface: the samples with their distances where covered.
pub(super) fn reverse(
    cover: &Cover,
    sculpt: &Sculpt,
    samples: usize,
) -> Vec<(SculptSample, Option<f64>)> {
    spread::on_sculpt(&sculpt.mesh, |_| samples)
        .par_iter()
        .map(|sample| (*sample, cover.distance(sample.at)))
        .collect()
}

/// Sums those up.
pub(super) fn sum_up(rows: &[(SculptSample, Option<f64>)], sculpt: &Sculpt) -> ReverseMeasures {
    let pct = 100.0 / sculpt.mesh.diagonal();
    let mut covered: Vec<f64> = rows.iter().filter_map(|r| r.1).collect();
    ReverseMeasures {
        ignored_share: 1.0 - covered.len() as f64 / rows.len().max(1) as f64,
        p99_pct: quantile(&mut covered, 0.99) * pct,
        max_pct: quantile(&mut covered, 1.0) * pct,
    }
}
