//! Where the surface passes through itself.
//!
//! Mere contact is no cut; [`mesh::pass_through`] decides exactly.

use mesh::pass_through;
use rayon::prelude::*;

use super::surface::Surface;

/// Pairs of triangles without a common vertex that pass through each other.
pub(super) fn pairs(surface: &Surface) -> Vec<[u32; 2]> {
    let triangles = &surface.triangles;
    (0..triangles.corners.len())
        .into_par_iter()
        .flat_map_iter(|t| {
            let apart = move |&n: &usize| {
                let [one, two] = [surface.split[t], surface.split[n]];
                !one.iter().any(|v| two.contains(v))
            };
            let near = triangles.later_neighbours(t).into_iter().filter(apart);
            near.filter(move |&n| pass_through(triangles.corners[t], triangles.corners[n]))
                .map(move |n| [t as u32, n as u32])
        })
        .collect()
}
