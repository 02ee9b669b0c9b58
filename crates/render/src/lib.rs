//! The desk's view: plain slices in, a picture out. Knows nothing of meshes, guides or windows.
//!
//! ```text
//! triangles, quads ─┐
//! pieces of lines ──┼─▶ Scene (a buffer for each slot) ─▶ one pass ─▶ a texture that a window shows
//! marks ────────────┘            ▲
//! Camera ────────────────────────┘
//! ```
//!
//! Nothing is drawn again while nothing changed. Colours are sRGB with opacity; lengths are model units,
//! widths and sizes pixels.

mod camera;
mod offscreen;
mod pipelines;
mod scene;

pub use camera::{Camera, Fixed, Projection};
pub use offscreen::{Offscreen, RenderError};
pub use scene::{Item, Look, Mark, Piece, Scene, Shape, Slot, View};
