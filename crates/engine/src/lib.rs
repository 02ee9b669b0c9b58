//! The stages from a dense sculpt and drawn guides to an all-quad surface.
//!
//! ```text
//! intake ─▶ symmetry ─▶ hold ─▶ guides ─▶ work ─▶ intent ─▶ field ─▶ layout ─▶ quantise ─▶ fill ─▶ conform ─▶ check
//! ```
//!
//! Each stage is a folder with a `run` function from typed inputs to a typed
//! output plus findings; none knows a later one. The same input gives the same
//! output, bit for bit, for any number of threads. No files, no screen.

pub mod assemble;
pub mod check;
pub mod conform;
pub mod edit;
pub mod field;
pub mod fill;
pub mod guides;
pub mod hold;
pub mod intake;
pub mod intent;
pub mod layout;
pub mod model;
pub mod quantise;
mod queue;
mod spread;
pub mod suggest;
pub mod symmetry;
#[cfg(test)]
pub(crate) mod testing;
pub mod walls;
pub mod work;
