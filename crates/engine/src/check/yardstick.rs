//! The fit held against decimations of the sculpt to as many vertices.
//!
//! Triangles that are free to lie anywhere come nearer to the sculpt than quads that
//! follow guides; the ratios say how much is given away: to plain decimation in sweeps,
//! the common yardstick, and to cheapest first, near the best that any mesh can do.

use std::sync::Arc;

use base::Task;
use mesh::{SurfaceIndex, TriMesh, decimate, decimate_in_sweeps};
use rayon::prelude::*;

use super::CheckError;
use super::fit::{Cover, rms};
use super::measures::YardstickMeasures;
use super::surface::Surface;
use crate::model::Sculpt;
use crate::spread::SculptSample;

/// Distances below this share of the diagonal are rounding.
const ROUNDING: f64 = 1e-12;

/// `None` where the covered part of the sculpt has no more vertices than the surface.
pub(super) fn measure(
    surface: &Surface,
    cover: &Cover,
    sculpt: &Sculpt,
    rows: &[(SculptSample, Option<f64>)],
    task: &Task,
) -> Result<Option<YardstickMeasures>, CheckError> {
    let covered: Vec<bool> = (0..sculpt.mesh.triangles.len())
        .into_par_iter()
        .map(|t| {
            let [a, b, c] = sculpt.mesh.corners(t);
            cover.distance((a + b + c) / 3.0).is_some()
        })
        .collect();
    task.report("check", 0.85)?;
    let part = covered_part(&sculpt.mesh, &covered);
    let wanted = surface.topology.valence.iter().filter(|&&n| n > 0).count();
    if part.positions.len() <= wanted {
        return Ok(None);
    }
    let plain = decimate_in_sweeps(&part, wanted);
    task.report("check", 0.9)?;
    let best = decimate(&part, wanted);
    task.report("check", 0.95)?;
    let decimation_vertices = plain.positions.len();
    let [plain, best] = [plain, best].map(|reduced| SurfaceIndex::new(Arc::new(reduced)));
    let both: Vec<[f64; 3]> = rows
        .par_iter()
        .filter(|(sample, _)| covered[sample.triangle as usize])
        .filter_map(|(sample, distance)| {
            let [plain, best] = [&plain, &best].map(|index| index.closest(sample.at));
            distance.and_then(|d| Some([d, plain?.distance, best?.distance]))
        })
        .collect();
    if both.is_empty() {
        return Ok(None);
    }
    let column = |i: usize| rms(&both.iter().map(|d| d[i]).collect::<Vec<f64>>());
    let diagonal = sculpt.mesh.diagonal();
    let ratio = |to: f64| column(0) / to.max(ROUNDING * diagonal);
    Ok(Some(YardstickMeasures {
        rms_ratio: ratio(column(1)),
        rms_ratio_to_best: ratio(column(2)),
        decimation_rms_pct: 100.0 * column(1) / diagonal,
        decimation_vertices,
    }))
}

/// The marked triangles, with the vertices that they use.
fn covered_part(mesh: &TriMesh, covered: &[bool]) -> TriMesh {
    const NONE: u32 = u32::MAX;
    let mut name = vec![NONE; mesh.positions.len()];
    let mut part = TriMesh::default();
    for (t, _) in mesh
        .triangles
        .iter()
        .zip(covered)
        .filter(|(_, is_covered)| **is_covered)
    {
        let named = t.map(|v| {
            let slot = &mut name[v as usize];
            if *slot == NONE {
                *slot = part.positions.len() as u32;
                part.positions.push(mesh.positions[v as usize]);
            }
            *slot
        });
        part.triangles.push(named);
    }
    part
}
