//! What every other crate shares: findings, progress and cancelling, tolerances.
//!
//! ```text
//! sculpt file ─▶ intake ─▶ symmetry ─▶ guides ─▶ work ─▶ field ─▶ layout
//!             ─▶ quantise ─▶ fill ─▶ conform ─▶ check ─▶ surface, findings, report
//! ```
//!
//! ```
//! use loopwright_base::{Finding, Findings, Level};
//! let mut findings = Findings::default();
//! findings.push(Finding::new("quads-only", Level::Pass, "All 1,800 faces are quads."));
//! assert!(findings.is_ready());
//! ```

mod findings;
mod task;
mod tolerances;

pub use findings::{Finding, Findings, Level, Place};
pub use task::{Cancelled, Task};
pub use tolerances::Tolerances;
