//! The desk's view: plain slices in, a picture out. Knows nothing of meshes, guides or windows.
//!
//! ```text
//! triangles, quads ─┐
//! pieces of lines ──┼─▶ Scene (buffers for each slot) ─▶ one pass ─▶ a texture that a window shows
//! marks ────────────┘            ▲
//! Camera ────────────────────────┘
//! ```
//!
//! Nothing is drawn again while nothing changed. Colours are sRGB with opacity; lengths are model units,
//! widths and sizes pixels ([`View::scale`]). Solid faces come first, then ghosts; lines and marks are drawn over them in the
//! order of their slots, lifted a few pixels towards the eye off what they lie on.
//!
//! ```no_run
//! use glam::{DVec2, DVec3};
//! use loopwright_render::{Camera, Item, Look, Offscreen, RenderError, Slot, View};
//!
//! # fn main() -> Result<(), RenderError> {
//! let mut out = Offscreen::new()?;
//! let triangle = Item::Mesh {
//!     positions: &[[0.0, 0.0, 0.0], [1.0, 0.0, 0.0], [0.0, 1.0, 0.0]],
//!     normals: &[],
//!     triangles: &[[0, 1, 2]],
//! };
//! out.scene.set(Slot(0), &triangle);
//! out.scene.set_look(
//!     Slot(0),
//!     Look {
//!         colour: [0, 158, 115, 255],
//!         ..Look::default()
//!     },
//! );
//! let mut camera = Camera::default();
//! camera.frame(DVec3::ZERO, DVec3::new(1.0, 1.0, 0.0), DVec2::new(640.0, 480.0));
//! let view = View {
//!     camera,
//!     size: [640, 480],
//!     scale: 1.0,
//!     ground: [[236, 239, 236, 255], [203, 211, 208, 255]],
//!     centre: DVec3::new(0.5, 0.5, 0.0),
//!     radius: 1.0,
//! };
//! let pixels = out.picture(&view)?;
//! assert_eq!(pixels.len(), 640 * 480);
//! # Ok(())
//! # }
//! ```

mod camera;
mod geometry;
mod item;
mod offscreen;
mod pipelines;
mod scene;

pub use camera::{Camera, Fixed, Projection};
pub use item::{Hatch, Item, Look, Mark, Piece, Shape, Slot, View};
pub use offscreen::{Offscreen, RenderError};
pub use scene::Scene;
