//! Why a surface can't be checked.

use base::Cancelled;
use thiserror::Error;

/// Why a surface can't be checked.
#[derive(Clone, Debug, PartialEq, Eq, Error)]
#[non_exhaustive]
pub enum CheckError {
    /// There is nothing to check.
    #[error("the surface has no quads")]
    Empty,
    /// A quad names a vertex that isn't there.
    #[error("quad {quad} names vertex {vertex}, but the surface has {vertices} vertices")]
    BadQuad {
        /// The quad, from 0.
        quad: usize,
        /// The vertex it names.
        vertex: u32,
        /// Vertices there are.
        vertices: usize,
    },
    /// A coordinate isn't a number.
    #[error("vertex {vertex} of the surface has coordinates that are no finite numbers")]
    NotFinite {
        /// The first such vertex, from 0.
        vertex: usize,
    },
    /// All vertices lie at one place.
    #[error("the surface has no area: all its edges have length 0")]
    NoArea,
    /// The sculpt has nothing to measure against.
    #[error("the sculpt has no triangles with an area")]
    NoSculpt,
    /// A guide that is no curve.
    #[error("guide '{name}' needs at least two different points with finite coordinates")]
    BadGuide {
        /// Its name.
        name: String,
    },
    /// Stopped from outside.
    #[error(transparent)]
    Cancelled(#[from] Cancelled),
}
