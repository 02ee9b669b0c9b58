//! Whole surfaces through the session, on sculpts known exactly and on the coat.

// A panic is how a test fails.
#![allow(clippy::unwrap_used)]

mod ball;
mod clashes;
mod cloth;
mod coat;
mod draw;
mod hand;
mod holding;
mod keeping;
mod mirror;
mod openings;
mod refusals;
mod support;
mod together;
mod tube;
