//! Robustness: the engine over two hundred made shapes, and over sculpts from elsewhere.
//!
//! ```text
//! recipe ─▶ distance function ─▶ triangles ─▶ defects ─▶ case ─┐
//! folder of sculpts ─▶ case ───────────────────────────────────┤
//!                                                              ▼
//!                          child process: intake ─▶ session ─▶ check ─▶ verify ─▶ record
//!                                                              ▼
//!                          parent: table, JSON, summary, exit status
//! ```
//!
//! A run ends in a sound surface or in a refusal that says why. Anything else (a panic, a
//! process that dies, one that never ends, a surface that isn't sound) is a failure.

pub mod cases;
pub mod defects;
pub mod double;
pub mod guide_file;
pub mod make;
pub mod parent;
pub mod random;
pub mod recipe;
pub mod record;
pub mod run;
pub mod solid;
pub mod study;
pub mod summary;
pub mod trend;
pub mod verify;
