//! Sparse linear systems and whole-number programs. The only crate that names
//! a solver library.
//!
//! ```
//! use loopwright_numeric::Spd;
//! // | 2 -1 | |x|   |1|
//! // |-1  2 | |y| = |1|
//! let system = Spd::factor(2, &[(0, 0, 2.0), (1, 0, -1.0), (1, 1, 2.0)]).unwrap();
//! let x = system.solve(&[1.0, 1.0]);
//! assert!((x[0] - 1.0).abs() < 1e-12 && (x[1] - 1.0).abs() < 1e-12);
//! ```

mod program;
mod spd;

pub use program::{Program, ProgramError, ProgramLimits, Relation, Solution, Variable};
pub use spd::{Spd, SpdError};
