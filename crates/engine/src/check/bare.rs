//! What of the sculpt no quad lies near.
//!
//! Distances from the surface to the sculpt don't tell that a limb's end is missing: each quad may lie on
//! the sculpt and yet a third of it be bare. Distances the other way do, but for walls that face away from
//! the nearest quad, as the inner one of thick cloth does, and for what lies beyond the surface's openings.

use mesh::DVec3;

use super::fit::Cover;
use super::surface::Surface;
use crate::model::Sculpt;
use crate::spread::{ANOTHER, SculptSample};

/// A place further than this from the surface is bare, edges.
const BARE: f64 = 2.0;

/// What is bare.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Bare {
    /// Share of the sculpt's area.
    pub share: f64,
    /// Furthest place, and how far it is, edges.
    pub furthest: (DVec3, f64),
}

/// Finds it among points of the sculpt with their distances; `None` if it is less than a quad's worth.
pub(super) fn find(
    cover: &Cover,
    sculpt: &Sculpt,
    rows: &[(SculptSample, Option<f64>)],
) -> Option<Bare> {
    let surface = cover.surface();
    let edge = surface.mean_edge;
    let is_far = |away: f64| away > BARE * edge;
    let mut bare: Vec<(DVec3, f64)> = Vec::new();
    for (sample, away) in rows {
        let Some(away) = away.filter(|&away| is_far(away)) else {
            continue;
        };
        let normal = sculpt.mesh.area_normal(sample.triangle as usize);
        if same_wall(surface, sample.at, normal.normalize_or_zero()) {
            bare.push((sample.at, away / edge));
        }
    }
    let share = bare.len() as f64 / rows.len().max(1) as f64;
    let quads = surface.mesh.quads.len();
    let quad = (0..quads).map(|q| surface.area(q)).sum::<f64>() / quads as f64;
    let furthest = bare
        .into_iter()
        .reduce(|a, b| if b.1 > a.1 { b } else { a })?;
    (share * sculpt.mesh.area() >= quad).then_some(Bare { share, furthest })
}

/// Whether the triangle nearest to a place faces as the sculpt does there, or not much away from it.
fn same_wall(surface: &Surface, at: DVec3, normal: DVec3) -> bool {
    surface.triangles.nearest(at).is_some_and(|(t, _)| {
        let [a, b, c] = surface.triangles.corners[t];
        (b - a).cross(c - a).normalize_or_zero().dot(normal) > ANOTHER
    })
}
