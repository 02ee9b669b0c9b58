//! From a point and a direction to the strip, loop or vertex that is meant.

use std::f64::consts::FRAC_1_SQRT_2;
use std::sync::Arc;

use mesh::{DVec3, QuadTopology, SurfaceIndex, TriMesh};

use super::LoopPlace;
use super::draft::Draft;
use super::fault::EditFault;

/// A direction says how a loop runs if this share of it lies along the surface: within some 17°
/// of square it doesn't.
const ALONG: f64 = 0.3;

/// The nearest quad within one edge, and the side by which a strip enters it whose loops run along
/// the place's direction: corner `4 * quad + side`.
///
/// # Errors
/// [`EditFault::NoPlace`], [`EditFault::NoDirection`].
pub(super) fn strip_entry(draft: &Draft<'_>, place: LoopPlace) -> Result<u32, EditFault> {
    let (quad, normal) = nearest_quad(draft, place.at, "quad")?;
    let along = tangent(place.along, normal)?;
    let corners = draft.mesh.quads[quad].map(|v| draft.mesh.positions[v as usize]);
    let middle = |side: usize| (corners[side % 4] + corners[(side + 1) % 4]) / 2.0;
    let way = |side: usize| {
        let passed = middle(side + 2) - middle(side);
        passed.normalize_or_zero().dot(along)
    };
    let side = (1..4).fold(0, |best, s| if way(s) > way(best) { s } else { best });
    Ok((4 * quad + side) as u32)
}

/// The nearest edge within one edge length that runs along the place's direction, as the corner
/// that runs its way; of an edge of the boundary, the corner that it has.
///
/// # Errors
/// [`EditFault::NoPlace`], [`EditFault::NoDirection`].
pub(super) fn loop_corner(
    draft: &Draft<'_>,
    topology: &QuadTopology,
    place: LoopPlace,
) -> Result<u32, EditFault> {
    let (_, normal) = nearest_quad(draft, place.at, "edge that runs its way")?;
    let along = tangent(place.along, normal)?;
    let at = |v: u32| draft.mesh.positions[v as usize];
    let mut best: Option<(f64, u32)> = None;
    for (q, quad) in draft.mesh.quads.iter().enumerate() {
        for side in 0..4 {
            let corner = (4 * q + side) as u32;
            let (a, b) = (at(quad[side]), at(quad[(side + 1) % 4]));
            let cosine = (b - a).normalize_or_zero().dot(along);
            let counts = if topology.twin[corner as usize].is_some() {
                cosine
            } else {
                cosine.abs()
            };
            if counts < FRAC_1_SQRT_2 {
                continue;
            }
            let distance = from_segment(place.at, a, b);
            if best.is_none_or(|(least, _)| distance < least) {
                best = Some((distance, corner));
            }
        }
    }
    near_enough(draft, "edge that runs its way", best)
}

/// The nearest vertex within one edge.
///
/// # Errors
/// [`EditFault::NoPlace`].
pub(super) fn vertex(draft: &Draft<'_>, at: DVec3) -> Result<u32, EditFault> {
    let mut used = vec![false; draft.mesh.positions.len()];
    for &v in draft.mesh.quads.iter().flatten() {
        used[v as usize] = true;
    }
    let mut best: Option<(f64, u32)> = None;
    for (v, p) in draft.mesh.positions.iter().enumerate() {
        let distance = p.distance(at);
        if used[v] && best.is_none_or(|(least, _)| distance < least) {
            best = Some((distance, v as u32));
        }
    }
    near_enough(draft, "vertex", best)
}

fn near_enough<T>(
    draft: &Draft<'_>,
    what: &'static str,
    best: Option<(f64, T)>,
) -> Result<T, EditFault> {
    match best {
        Some((distance, found)) if distance <= draft.edge => Ok(found),
        other => Err(EditFault::NoPlace {
            what,
            distance: other.map_or(f64::INFINITY, |(distance, _)| distance),
            limit: draft.edge,
        }),
    }
}

fn nearest_quad(
    draft: &Draft<'_>,
    at: DVec3,
    what: &'static str,
) -> Result<(usize, DVec3), EditFault> {
    let triangles = TriMesh {
        positions: draft.mesh.positions.iter().map(|p| p.as_vec3()).collect(),
        triangles: draft.mesh.triangulated(),
    };
    let found = SurfaceIndex::new(Arc::new(triangles)).closest(at);
    let best = found.map(|c| (c.distance, c.triangle as usize / 2));
    let quad = near_enough(draft, what, best)?;
    let [a, b, c, d] = draft.mesh.quads[quad].map(|v| draft.mesh.positions[v as usize]);
    Ok((quad, (c - a).cross(d - b).normalize_or_zero()))
}

/// The unit part of a direction along the surface.
fn tangent(along: DVec3, normal: DVec3) -> Result<DVec3, EditFault> {
    let unit = along.normalize_or_zero();
    let flat = unit - normal * unit.dot(normal);
    if flat.length() < ALONG {
        return Err(EditFault::NoDirection);
    }
    Ok(flat.normalize())
}

fn from_segment(p: DVec3, a: DVec3, b: DVec3) -> f64 {
    let d = b - a;
    let t = ((p - a).dot(d) / d.length_squared().max(f64::MIN_POSITIVE)).clamp(0.0, 1.0);
    p.distance(a + d * t)
}
