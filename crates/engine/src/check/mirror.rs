//! Exactness of mirror symmetry.

use super::measures::MirrorMeasures;
use super::surface::Surface;
use super::tree::{Bounds, BoxTree};
use crate::model::Plane;

/// The numbers, and the faces without a mirror image.
pub(super) struct Mirror {
    pub measures: MirrorMeasures,
    pub faces: Vec<u32>,
}

pub(super) fn measure(surface: &Surface, plane: &Plane) -> Mirror {
    let positions = &surface.mesh.positions;
    let boxes: Vec<Bounds> = positions.iter().map(|&p| Bounds::around(&[p])).collect();
    let tree = BoxTree::new(&boxes);
    let mut error = 0.0f64;
    let mut image = Vec::with_capacity(positions.len());
    for &p in positions {
        let mirrored = plane.mirror(p);
        let squared = |v: u32| positions[v as usize].distance_squared(mirrored);
        let (v, d) = tree
            .nearest(mirrored, squared)
            .unwrap_or((0, f64::INFINITY));
        image.push(v);
        error = error.max(d.sqrt());
    }
    let sorted = |mut q: [u32; 4]| {
        q.sort_unstable();
        q
    };
    let mut known: Vec<[u32; 4]> = surface.mesh.quads.iter().map(|&q| sorted(q)).collect();
    known.sort_unstable();
    let has_image = |q: &[u32; 4]| {
        let mirrored = sorted(q.map(|v| image[v as usize]));
        known.binary_search(&mirrored).is_ok()
    };
    let faces: Vec<u32> = (0..)
        .zip(&surface.mesh.quads)
        .filter(|(_, q)| !has_image(q))
        .map(|(i, _)| i)
        .collect();
    Mirror {
        measures: MirrorMeasures {
            error: error / surface.mean_edge,
            faces_missing: faces.len(),
        },
        faces,
    }
}
