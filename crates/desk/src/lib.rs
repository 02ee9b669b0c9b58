//! The desk: guides are drawn on the sculpt, and the surface follows.
//!
//! ```text
//! pointer, keys ─▶ view, sheets ─▶ acts ─▶ session::Document ─▶ session::Worker ─▶ surface, findings
//!                      ▲                                                               │
//!                      └──────────────── scene (render) ◀──────────────────────────────┘
//! ```
//!
//! What the artist does goes through [`Desk`]'s acts, whether by pen, key or button; what is shown is
//! read from the document and from the worker's last answers. The geometry of strokes is
//! `session::draw`, pictures are `render`; here are only panels, pointer work and their words.

mod acts;
mod desk;
mod hand;
mod opening;
mod palette;
mod sheets;
mod view;

pub use desk::Desk;
pub use hand::Hand;
pub use opening::Start;
