//! What lies under the pen.

use std::collections::BTreeSet;
use std::sync::Arc;

use mesh::{DVec3, QuadMesh, SurfaceIndex, TriMesh, runs};

use super::{Hit, Pen, Ray};

/// A place on a guide.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct OnGuide {
    /// Which of the guides.
    pub guide: usize,
    /// Which piece of it, from point to point.
    pub piece: usize,
    /// Where, model units.
    pub at: DVec3,
    /// Distance to the ray, model units.
    pub distance: f64,
}

/// The guide nearest to a ray and within `reach` of it; guides that the sculpt hides aren't found.
/// `guides` are points and whether they are closed.
pub fn guide_under<'a>(
    pen: &Pen,
    ray: &Ray,
    guides: impl Iterator<Item = (&'a [DVec3], bool)>,
    reach: f64,
) -> Option<OnGuide> {
    let hit = pen.hit(ray);
    // A guide's pieces may run a little below the surface.
    let seen = |along: f64| hit.is_none_or(|hit: Hit| along <= hit.distance + 4.0 * reach);
    let mut best: Option<OnGuide> = None;
    for (guide, (points, closed)) in guides.enumerate() {
        for (piece, (i, j)) in runs::pieces(points.len(), closed).enumerate() {
            let (along, at) = nearest_to_ray(ray, points[i], points[j]);
            let distance = ray.at(along).distance(at);
            if distance <= reach
                && along > 0.0
                && seen(along)
                && best.is_none_or(|b| distance < b.distance)
            {
                best = Some(OnGuide {
                    guide,
                    piece,
                    at,
                    distance,
                });
            }
        }
    }
    best
}

/// The point of a straight piece that is nearest to a ray, and how far along the ray that is.
fn nearest_to_ray(ray: &Ray, a: DVec3, b: DVec3) -> (f64, DVec3) {
    let piece = b - a;
    let from = a - ray.origin;
    // Both across the ray: what is left is a piece in a plane and the origin.
    let flat = |v: DVec3| v - ray.direction * v.dot(ray.direction);
    let (p, f) = (flat(piece), flat(from));
    let share = (-f.dot(p) / p.length_squared().max(f64::MIN_POSITIVE)).clamp(0.0, 1.0);
    let at = a + piece * share;
    ((at - ray.origin).dot(ray.direction), at)
}

/// A place on a surface of quads.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct OnSurface {
    /// The quad.
    pub quad: u32,
    /// Where, model units.
    pub at: DVec3,
    /// Its corner nearest to the place: a vertex.
    pub vertex: u32,
    /// Its edge nearest to the place: from this corner (0 to 3) to the next.
    pub side: usize,
}

/// A surface of quads, to be asked what lies under the pen.
#[derive(Debug)]
pub struct QuadIndex {
    quads: Vec<[u32; 4]>,
    positions: Vec<DVec3>,
    index: SurfaceIndex,
}

impl QuadIndex {
    /// Takes a surface in: two triangles a quad, cost n log n.
    pub fn new(surface: &QuadMesh) -> Self {
        let mesh = TriMesh {
            positions: surface.positions.iter().map(|p| p.as_vec3()).collect(),
            triangles: surface.triangulated(),
        };
        Self {
            quads: surface.quads.clone(),
            positions: surface.positions.clone(),
            index: SurfaceIndex::new(Arc::new(mesh)),
        }
    }

    /// The quad under a ray: the first that it meets, seen from either side.
    pub fn under(&self, ray: &Ray) -> Option<OnSurface> {
        let hit = self.index.ray(ray.origin, ray.direction, f64::INFINITY)?;
        let quad = hit.triangle / 2;
        let vertices = self.quads.get(quad as usize)?;
        let corners = vertices.map(|v| self.positions[v as usize]);
        let place = hit.point;
        let nearest = |of: &dyn Fn(usize) -> f64| {
            (0..4).min_by(|&i, &j| of(i).total_cmp(&of(j))).unwrap_or(0)
        };
        let vertex = nearest(&|i| corners[i].distance(place));
        let side =
            nearest(&|i| super::tidy::distance_to_piece(place, corners[i], corners[(i + 1) % 4]));
        Some(OnSurface {
            quad,
            at: place,
            vertex: vertices[vertex],
            side,
        })
    }

    /// The quads that any of the rays meets first, rising.
    pub fn under_all(&self, rays: &[Ray]) -> Vec<u32> {
        let met: BTreeSet<u32> = rays
            .iter()
            .filter_map(|ray| Some(self.under(ray)?.quad))
            .collect();
        met.into_iter().collect()
    }
}
