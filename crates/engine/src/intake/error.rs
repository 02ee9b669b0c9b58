//! Why a sculpt can't be taken in.

use base::Cancelled;
use thiserror::Error;

/// Why a sculpt can't be taken in; each says what to do.
#[derive(Clone, Debug, PartialEq, Eq, Error)]
#[non_exhaustive]
pub enum IntakeError {
    /// The file held no triangles.
    #[error("the sculpt has no triangles; export it as a triangle or polygon mesh")]
    Empty,
    /// Half-edges are counted in 32 bits.
    #[error("the sculpt has {triangles} triangles, more than {limit}; export a reduced copy")]
    TooLarge {
        /// Triangles in the file.
        triangles: usize,
        /// The most that can be taken in.
        limit: usize,
    },
    /// A triangle names a vertex that isn't there.
    #[error(
        "triangle {triangle} names vertex {vertex}, but the sculpt has {vertices} vertices; the file is damaged: export it again"
    )]
    BadIndex {
        /// Index of the triangle, from 0.
        triangle: usize,
        /// The vertex it names.
        vertex: u32,
        /// Vertices there are.
        vertices: usize,
    },
    /// A coordinate isn't a number.
    #[error(
        "vertex {first} and {others} more have coordinates that are no finite numbers; delete them or export the sculpt again"
    )]
    NotFinite {
        /// First such vertex, from 0.
        first: usize,
        /// How many more there are.
        others: usize,
    },
    /// The named part isn't in the file.
    #[error("the sculpt has no part called '{name}'; {}", list(.known))]
    NoSuchPart {
        /// The name asked for.
        name: String,
        /// The names there are.
        known: Vec<String>,
    },
    /// A part's list of triangles runs past the end.
    #[error(
        "part '{name}' lists triangle {triangle}, but the sculpt has {triangles}; the file is damaged: export it again"
    )]
    BadPart {
        /// Its name.
        name: String,
        /// First triangle that doesn't exist.
        triangle: u32,
        /// Triangles there are.
        triangles: usize,
    },
    /// Every triangle has no area.
    #[error("no triangle of the sculpt has an area; check its scale and export it again")]
    NoArea,
    /// Stopped from outside.
    #[error(transparent)]
    Cancelled(#[from] Cancelled),
}

fn list(known: &[String]) -> String {
    const SHOWN: usize = 20;
    if known.is_empty() {
        return "it has no named parts, so leave `part` out".to_owned();
    }
    let shown = known.iter().take(SHOWN).map(|n| format!("'{n}'"));
    let shown = shown.collect::<Vec<_>>().join(", ");
    match known.len().saturating_sub(SHOWN) {
        0 => format!("it has {shown}"),
        more => format!("it has {shown} and {more} more"),
    }
}
