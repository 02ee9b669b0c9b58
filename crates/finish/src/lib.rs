//! From surface to garment: what is added once the surface stands.
//!
//! ```text
//! surface ─▶ trims ─▶ lining ─▶ layers ─▶ facing, hard edges ─▶ garment
//! ```
//!
//! Each is a folder with a `run` function from typed inputs to a typed output plus
//! findings, as the engine's stages are. The same input gives the same output, bit for
//! bit, for any number of threads. No files, no screen.

pub mod edges;
pub mod facing;
pub mod layers;
pub mod lining;
mod told;
pub mod trims;
