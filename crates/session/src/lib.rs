//! The open job: runs the stages in order and keeps what can be used again.
//!
//! No window, no files of its own: a sculpt and settings go in, an [`Outcome`]
//! comes out. Command line and desk share this one path.

mod keep;
mod pipeline;

pub use pipeline::{Outcome, Session, SessionError, Settings, Size, StageTime, Way};
