//! Writers: a quad surface as OBJ or GLB, a sculpt as PLY, and files that are written whole or not at all.

mod glb;
mod mirror;
mod obj;
mod place;
mod ply;
mod shade;

pub use glb::{EncodeError, GlbOptions, GlbPart, glb};
pub use mirror::{MirrorPlane, symmetric_triangles};
pub use obj::{held_text, obj_text, shaded_obj_text};
pub use place::{WriteError, check_writable, write_all_or_none, write_whole};
pub use ply::ply_bytes;

/// Name of the quads that are in no group.
const REST: &str = "surface";
