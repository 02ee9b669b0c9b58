//! The real binary on real files: what it writes, what it refuses.

// A panic is how a test fails.
#![allow(clippy::unwrap_used)]

mod clashing;
mod editing;
mod figure;
mod holding;
mod intent;
mod layers;
mod measuring;
mod refusals;
mod running;
mod shading;
mod suggesting;
mod support;
mod surface;
mod trimming;
// Ended by a signal, as Ctrl-C sends it.
#[cfg(unix)]
mod watching;
