//! Pictures and a page about a finished surface, for the artist and for whoever signs it off.
//!
//! ```text
//! ReportInput ─▶ check ─▶ pictures ─┬─▶ PNG files
//!                                   └─▶ html: one file, nothing fetched
//! Findings, tables ─────────────────────▶ findings_json: for programs
//! ```
//!
//! Pictures are parallel projections computed on the CPU: each sample's ray meets the
//! nearest triangle, found by filling triangles into a depth buffer, since all rays of a
//! picture are parallel. Y points up and +z to the front. The same input gives the same bytes
//! for any number of threads.
//!
//! ```
//! use base::{Finding, Findings, Level};
//! let mut findings = Findings::default();
//! findings.push(Finding::new("quads-only", Level::Pass, "All 1,800 faces are quads."));
//! let json = loopwright_report::findings_json(&findings, &[]);
//! assert_eq!(json["ready"], true);
//! ```

mod camera;
mod canvas;
mod closeup;
mod colour;
mod fidelity;
mod html;
mod input;
mod json;
mod lettering;
mod light;
mod model;
mod paint;
mod palette;
mod pictures;
mod png;
mod raster;
mod strokes;
#[cfg(test)]
mod testing;

pub use html::{FigurePage, figure_html, html, html_with};
pub use input::{
    GuideView, LayersView, PoleView, ReportError, ReportInput, StageView, Table, TrimView,
};
pub use json::findings_json;
pub use pictures::{Legend, PartView, Picture, Swatch, figure_pictures, pictures};
