//! Whole surfaces through the session, on sculpts known exactly and on the coat.

// A panic is how a test fails.
#![allow(clippy::unwrap_used)]

mod ball;
mod coat;
mod mirror;
mod refusals;
mod support;
mod tube;
