//! Assemble: the whole surface from the half, its named groups, and a reason for every pole.
//!
//! Takes the placed half mesh and what is known of its vertices, gives the whole mesh.
//! Holds: a vertex on the plane lies on it exactly and is shared; every other vertex
//! has a mirror image that is exact to the bit; faces of the mirrored side are turned
//! so that they face outward.

mod groups;
mod reasons;
#[cfg(test)]
mod tests;
mod whereabouts;

use mesh::{DVec3, QuadMesh};

use crate::fill::Filled;
use crate::layout::Layout;
use crate::model::{Curve, Guide, Plane, Sculpt, WorkSurface};
use crate::quantise::Plan;
pub use reasons::Pole;

/// What the mirrored side becomes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Sides {
    /// An exact copy.
    Mirror,
    /// The same topology, each side placed on its own surface.
    Fit,
}

/// Everything that assembling reads.
pub struct Parts<'a> {
    /// The half mesh, placed.
    pub half: &'a QuadMesh,
    /// Where its vertices come from.
    pub filled: &'a Filled,
    /// The work surface.
    pub surface: &'a WorkSurface,
    /// Its layout.
    pub layout: &'a Layout,
    /// Whole numbers.
    pub plan: &'a Plan,
    /// Curves of the half.
    pub curves: &'a [Curve],
    /// Guides of the job.
    pub guides: &'a [Guide],
    /// The sculpt.
    pub sculpt: &'a Sculpt,
    /// The mirror plane.
    pub plane: Option<Plane>,
    /// What the mirrored side becomes.
    pub sides: Sides,
    /// Edge length of the quads, model units.
    pub edge: f64,
}

impl Parts<'_> {
    /// Where the mirrored side has the image of a point of the half.
    pub(crate) fn image(&self, plane: Plane, at: DVec3) -> DVec3 {
        match self.sides {
            Sides::Mirror => plane.mirror(at),
            Sides::Fit => fitted(self, plane, at, plane.mirror(at)),
        }
    }
}

/// The finished surface and what is known of it.
#[derive(Clone, Debug)]
pub struct Assembled {
    /// All quads, in named groups.
    pub mesh: QuadMesh,
    /// Patch of each quad; mirrored quads share their image's patch.
    pub patch_of_quad: Vec<u32>,
    /// Poles with their reasons.
    pub poles: Vec<Pole>,
}

/// Puts the whole surface together.
pub fn run(parts: &Parts<'_>) -> Assembled {
    let half = parts.half;
    let mut mesh = QuadMesh {
        positions: half.positions.clone(),
        quads: half.quads.clone(),
        groups: Vec::new(),
    };
    let mut patch_of_quad = parts.filled.patch_of_quad.clone();
    let mut half_of_vertex: Vec<u32> = (0..mesh.positions.len() as u32).collect();
    if let Some(plane) = parts.plane {
        (mesh, half_of_vertex) = doubled(half, plane, parts.edge, |at| parts.image(plane, at));
        patch_of_quad.extend(parts.filled.patch_of_quad.iter());
    }
    mesh.groups = groups::named(parts, half.quads.len(), parts.plane.is_some());
    let poles = reasons::of_poles(parts, &mesh, &half_of_vertex);
    Assembled {
        mesh,
        patch_of_quad,
        poles,
    }
}

/// A half mesh with its mirrored side, faces turned, places given by `image`; and for each vertex
/// the vertex of the half that it is or mirrors. `edge` is the quads' edge length (model units).
pub fn doubled(
    half: &QuadMesh,
    plane: Plane,
    edge: f64,
    image: impl Fn(DVec3) -> DVec3,
) -> (QuadMesh, Vec<u32>) {
    // The cut lies on the plane to rounding; anything off it is a good part of a quad away.
    let on_plane = 1e-6 * edge;
    let mut mesh = QuadMesh {
        positions: half.positions.clone(),
        quads: half.quads.clone(),
        groups: Vec::new(),
    };
    let mut half_of_vertex: Vec<u32> = (0..mesh.positions.len() as u32).collect();
    let images: Vec<u32> = (0..half.positions.len())
        .map(|v| {
            let at = half.positions[v];
            if plane.height(at).abs() <= on_plane {
                // What lies on it as near as can be said in f64 stays to the bit.
                if plane.height(at).abs() > 4.0 * f64::EPSILON * (at - plane.origin).length() {
                    mesh.positions[v] = plane.project(at);
                }
                return v as u32;
            }
            mesh.positions.push(image(at));
            half_of_vertex.push(v as u32);
            mesh.positions.len() as u32 - 1
        })
        .collect();
    for quad in &half.quads {
        let [a, b, c, d] = quad.map(|v| images[v as usize]);
        mesh.quads.push([a, d, c, b]);
    }
    (mesh, half_of_vertex)
}

/// The mirror image moved onto its own side's surface, as far off it as its original is.
fn fitted(parts: &Parts<'_>, plane: Plane, at: DVec3, image: DVec3) -> DVec3 {
    let index = &parts.sculpt.index;
    match (
        index.closest(at),
        index.closest_within(image, 2.0 * parts.edge),
    ) {
        (Some(here), Some(there)) if plane.height(there.point) < 0.0 => {
            let offset = plane.mirror(at) - plane.mirror(here.point);
            there.point + offset
        }
        _ => image,
    }
}
