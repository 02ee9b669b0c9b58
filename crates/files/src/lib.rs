//! Files: sculpt readers, surface writers, the job file.
//!
//! ```text
//! sculpt file ─▶ read_sculpt ─▶ RawSculpt ─▶ (intake)
//! ```

mod sculpt;

pub use sculpt::{
    RawPart, RawSculpt, ReadError, ReadNotes, ReadProblem, SculptFormat, Spot, parse_sculpt,
    read_sculpt,
};
