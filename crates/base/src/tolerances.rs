//! Every length that decides "the same" or "on", in one place.

/// Lengths scaled by the model's size.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Tolerances {
    /// Two points nearer than this are one when the sculpt is welded (model units).
    pub weld: f64,
    /// A sculpt vertex nearer to the mirror plane than this is moved onto it (model units).
    pub plane: f64,
}

impl Tolerances {
    /// Tolerances of a model with this bounding-box diagonal (model units).
    ///
    /// `weld` is 1e-6 of the diagonal, a few steps of f32 at that size;
    /// `plane` is 1e-5 of it, below what a sculpt's triangles can show.
    pub fn of_diagonal(diagonal: f64) -> Self {
        Self {
            weld: 1e-6 * diagonal,
            plane: 1e-5 * diagonal,
        }
    }
}
