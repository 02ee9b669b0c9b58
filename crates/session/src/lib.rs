//! The open job: runs the stages in order and keeps what can be used again.
//!
//! No window, no files of its own: a sculpt and settings go in, an [`Outcome`]
//! comes out. Command line and desk share this one path.

mod checked;
mod cloth;
mod complete;
mod document;
pub mod draw;
mod finish;
mod holding;
mod job;
mod keep;
mod layers;
mod pipeline;
mod placed;
mod sculpt;
mod variants;
mod worker;

pub use ::finish::layers::{Layer, Side as LayerSide};
pub use checked::{checked, mirror};
pub use complete::{CompleteError, Completed, Rest, Stopped, completed};
pub use document::{Changed, Document, DocumentError, Lookout, Recovery, Watched};
pub use finish::FinishError;
pub use holding::{Holding, HoldingError, holding};
pub use job::{
    HoldFileError, guides_of, holds_of, intent_of, lines_named, places_named, plane_of, settings_of,
};
pub use layers::{ClearError, LayerFileError, LayerFiles, LayerProblem, Layered};
pub use pipeline::{Outcome, Session, SessionError, Settings, Size, StageTime, Way};
pub use sculpt::{TakeError, take_in};
pub use worker::{Event, Order, Worker};
