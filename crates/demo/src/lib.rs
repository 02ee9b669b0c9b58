//! Demo sculpts, made by code: a lighthouse keeper's oilskin coat and exact test sculpts.
//!
//! ```text
//! distance function ─▶ sparse grid ─▶ dual marching cubes ─▶ plane cuts ─▶ plain wall
//!     plain wall ─▶ drape ─▶ sewn detail, grain ─▶ sculpt ─▶ guides
//! ```
//!
//! ```
//! let torus = loopwright_demo::torus(2_000);
//! assert!(torus.triangles.len() > 1_800);
//! ```

mod boot;
mod carry;
mod cell;
mod coat;
mod contact;
mod cut;
mod drape;
mod dummy;
mod extract;
mod figures;
mod glove;
mod guides;
mod keeper;
mod noise;
mod relief;
mod sdf;
mod shape;
pub mod solid;
mod tailoring;
#[cfg(test)]
mod tests;
mod wall;
mod wearer;

use mesh::{DVec3, TriMesh};

pub use coat::coat;
pub use figures::{bent_tube, panel, panel_height, sphere, torus};
pub use keeper::{boot, glove, hand, head, jersey};

/// How the demo coat is made.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct DemoOptions {
    /// Triangles wanted. Default 1,000,000.
    pub triangles: usize,
    /// Varies folds and grain. Default 0.
    pub seed: u64,
}

impl Default for DemoOptions {
    fn default() -> Self {
        Self {
            triangles: 1_000_000,
            seed: 0,
        }
    }
}

/// A guide drawn on a demo sculpt.
#[derive(Clone, Debug, PartialEq)]
pub struct DemoGuide {
    /// Unique name.
    pub name: String,
    /// `"ring"`, `"line"` or `"opening"`, as in a job file.
    pub kind: &'static str,
    /// Whether the last point joins the first.
    pub closed: bool,
    /// Quads along it, where promised.
    pub count: Option<u32>,
    /// Points on the sculpt, cm.
    pub points: Vec<DVec3>,
}

/// A demo sculpt with everything that a job needs.
#[derive(Clone, Debug)]
pub struct DemoSculpt {
    /// The sculpt, cm, y up, front +z.
    pub mesh: TriMesh,
    /// Guides on it.
    pub guides: Vec<DemoGuide>,
    /// What is worn beneath, by name: head, left hand, right hand.
    pub under: Vec<(String, TriMesh)>,
    /// What it is, in a sentence or two.
    pub notes: String,
}
