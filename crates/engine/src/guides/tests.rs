//! Tests of the stage as a whole.
