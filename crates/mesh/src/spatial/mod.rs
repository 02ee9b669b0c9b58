//! Closest points and rays on a dense triangle mesh.
//!
//! A bounding-volume hierarchy of 32-byte nodes over the mesh's triangles
//! (about 30 bytes a triangle), built once. All answers are independent of how the
//! tree was walked: of several triangles at exactly the same distance the one
//! with the lowest index wins.

mod build;
mod near;
mod query;
mod triangle;
mod winding;

#[cfg(test)]
mod tests;

use std::sync::Arc;

use crate::{DVec3, TriMesh};
use build::Node;

pub(crate) use triangle::closest_on_triangle;
pub use winding::Winding;

/// A point on a surface that is nearest to another point.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Closest {
    /// Index into [`TriMesh::triangles`].
    pub triangle: u32,
    /// The nearest point, model units.
    pub point: DVec3,
    /// Distance from the point asked about, model units.
    pub distance: f64,
    /// Weights of the triangle's three corners at `point`; each from 0 to 1, sum 1.
    pub barycentric: [f64; 3],
}

/// Where a ray first meets a surface.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct RayHit {
    /// Index into [`TriMesh::triangles`].
    pub triangle: u32,
    /// Distance from the ray's origin, model units.
    pub distance: f64,
    /// The point met, model units.
    pub point: DVec3,
}

/// A triangle mesh with a bounding-volume hierarchy for closest points and rays.
///
/// Triangles with a corner that isn't finite or doesn't exist are never found.
/// Triangles without area are found by closest-point queries, but never by rays.
/// Cloning is cheap for the mesh, but copies the tree; share it behind an `Arc`.
///
/// ```
/// use std::sync::Arc;
/// use loopwright_mesh::{DVec3, SurfaceIndex, TriMesh, Vec3};
/// let mesh = TriMesh {
///     positions: vec![Vec3::ZERO, Vec3::X, Vec3::Y],
///     triangles: vec![[0, 1, 2]],
/// };
/// let index = SurfaceIndex::new(Arc::new(mesh));
/// let near = index.closest(DVec3::new(0.25, 0.25, 2.0)).unwrap();
/// assert_eq!((near.triangle, near.distance), (0, 2.0));
/// ```
#[derive(Clone, Debug)]
pub struct SurfaceIndex {
    mesh: Arc<TriMesh>,
    /// Depth-first; empty for a mesh without usable triangles.
    nodes: Vec<Node>,
    /// Triangle indices; each leaf owns a run of them.
    order: Vec<u32>,
    /// Largest absolute coordinate, model units; scales the slack of pruning.
    extent: f64,
}

impl SurfaceIndex {
    /// Builds the index. Cost n log n, on all threads of the current rayon pool;
    /// the result doesn't depend on their number.
    pub fn new(mesh: Arc<TriMesh>) -> Self {
        let (nodes, order) = build::build(&mesh);
        let extent = nodes.first().map_or(0.0, |root| {
            let reach = root
                .low
                .map(f32::abs)
                .into_iter()
                .chain(root.high.map(f32::abs));
            f64::from(reach.fold(0.0, f32::max))
        });
        Self {
            mesh,
            nodes,
            order,
            extent,
        }
    }

    /// The mesh that is indexed.
    pub fn mesh(&self) -> &Arc<TriMesh> {
        &self.mesh
    }

    /// Bytes held above the mesh.
    pub fn bytes(&self) -> usize {
        self.nodes.capacity() * size_of::<Node>() + self.order.capacity() * size_of::<u32>()
    }
}

#[inline]
fn corner([x, y, z]: [f32; 3]) -> DVec3 {
    DVec3::new(f64::from(x), f64::from(y), f64::from(z))
}
