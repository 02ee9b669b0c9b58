//! Meshes: dense triangle meshes, quad meshes with loops and strips, and
//! spatial queries. Knows nothing of files, stages or screens.
//!
//! ```
//! use loopwright_mesh::{QuadMesh, DVec3};
//! let mesh = QuadMesh {
//!     positions: vec![DVec3::ZERO, DVec3::X, DVec3::new(1., 1., 0.), DVec3::Y],
//!     quads: vec![[0, 1, 2, 3]],
//!     groups: vec![],
//! };
//! assert_eq!(mesh.topology().boundary_loops().len(), 1);
//! ```

mod crossing;
mod decimate;
mod gap;
mod kept;
mod level;
mod polyline;
mod quad;
pub mod runs;
mod spatial;
mod topology;
mod triangles;

pub use crossing::pass_through;
pub use decimate::{decimate, decimate_in_sweeps};
pub use gap::{Gap, gap};
pub use glam::{DMat3, DVec3, Vec3};
pub use kept::kept_quads;
pub use level::{Run, trace};
pub use polyline::{Near, Polyline};
pub use quad::{Group, QuadMesh, QuadTopology, Strip, corner_jacobians, split_quad};
pub use spatial::{Closest, RayHit, SurfaceIndex, Winding};
pub use topology::{Fan, TopologyError, TriTopology};
pub use triangles::TriMesh;
