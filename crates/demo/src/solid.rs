//! The coat's tools for others: from any distance function to triangles with real boundaries,
//! and guides drawn on them.
//!
//! ```
//! use loopwright_demo::solid::{self, Opening, Shape};
//! use mesh::DVec3;
//!
//! struct Hat;
//! impl Shape for Hat {
//!     fn distance(&self, p: DVec3) -> f64 {
//!         p.length() - 8.0
//!     }
//! }
//! let brim = Opening {
//!     name: "brim",
//!     origin: DVec3::ZERO,
//!     normal: DVec3::NEG_Y,
//!     centre: DVec3::NEG_Y,
//!     reach: 20.0,
//! };
//! let box_of = (DVec3::splat(-9.0), DVec3::splat(9.0));
//! let hat = solid::triangles(&Hat, box_of, 0.5, &[brim], &base::Task::default()).unwrap();
//! let half_a_ball = std::f64::consts::TAU * 64.0;
//! assert!((hat.area() / half_a_ball - 1.0).abs() < 0.01);
//! assert_eq!(solid::rims(&hat).len(), 1);
//! ```

use base::{Cancelled, Task};
use mesh::{DVec3, TriMesh};

pub use crate::cut::Opening;
pub use crate::guides::{Section, sections};
pub use crate::noise::Noise;
pub use crate::sdf::{Shape, blend_max, blend_min, ellipsoid, round_cone};

use crate::cut::cut;
use crate::extract::extract;
use crate::guides::boundary_loops;
use crate::wall::from_quads;

/// Triangles of edge about `cell` (cm) on the zero set of `shape`, which must lie within the
/// box (lowest, highest corner), cut at `openings` one after another.
///
/// # Errors
/// [`Cancelled`].
pub fn triangles(
    shape: &dyn Shape,
    (low, high): (DVec3, DVec3),
    cell: f64,
    openings: &[Opening],
    task: &Task,
) -> Result<TriMesh, Cancelled> {
    let soup = extract(shape, low, high, cell, task)?;
    let mut wall = from_quads(soup, shape, cell, 2);
    for (rail, opening) in openings.iter().enumerate() {
        task.checkpoint()?;
        cut(&mut wall, opening, rail as u8, shape, cell);
    }
    wall.relax(shape, openings, cell, 4);
    Ok(wall.to_mesh())
}

/// Boundary loops of a mesh, in the order of their first vertices.
pub fn rims(mesh: &TriMesh) -> Vec<Section> {
    let mut halves: Vec<(u32, u32)> = mesh
        .triangles
        .iter()
        .flat_map(|t| [(t[0], t[1]), (t[1], t[2]), (t[2], t[0])])
        .collect();
    halves.sort_unstable();
    let single = |h: &&(u32, u32)| halves.binary_search(&(h.1, h.0)).is_err();
    let next: Vec<(u32, u32)> = halves.iter().filter(single).copied().collect();
    boundary_loops(mesh, &next)
}
