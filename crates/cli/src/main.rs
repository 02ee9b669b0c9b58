//! Command line of Loopwright.
fn main() {}
