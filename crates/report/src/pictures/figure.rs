//! Pictures of a whole figure.

use base::Task;
use mesh::{DVec3, QuadMesh};

use super::draw::{Section, Sheet, hollow_px, painted, swatch};
use super::{Legend, Picture, frame_of, pack};
use crate::camera::Camera;
use crate::input::{ReportError, ReportInput, sound};
use crate::model::Surface;
use crate::paint::{Look, Patches, Quads, lining};

/// A part of a figure as it is shown.
#[derive(Clone, Copy)]
pub struct PartView<'a> {
    /// Its name.
    pub name: &'a str,
    /// Its surface.
    pub surface: &'a QuadMesh,
}

/// The figure from all around, and with each part in a tint of its own; pictures are `height`
/// pixels high, within [`ReportInput::PICTURE_PX`].
///
/// # Errors
/// [`ReportError`] for a surface or height that can't be drawn, or when cancelled.
pub fn figure_pictures(
    parts: &[PartView],
    height: u32,
    task: &Task,
) -> Result<Vec<Picture>, ReportError> {
    if !ReportInput::PICTURE_PX.contains(&height) {
        return Err(ReportError::PictureSize { px: height });
    }
    let mut whole = QuadMesh::default();
    let mut part_of_quad = Vec::new();
    for (number, part) in (0u32..).zip(parts) {
        sound(part.surface)?;
        let first = whole.positions.len() as u32;
        whole.positions.extend(&part.surface.positions);
        let quads = part.surface.quads.iter();
        whole.quads.extend(quads.map(|q| q.map(|v| v + first)));
        part_of_quad.resize(whole.quads.len(), number);
    }
    let surface = Surface::new(&whole);
    let tints = Patches::new(&surface, &part_of_quad);
    let mut sheets = Vec::new();
    let three_quarter = DVec3::new(0.62, 0.3, 0.75);
    let views = [
        ("front", "from the front", DVec3::Z, true),
        ("three-quarter", "from three-quarter", three_quarter, false),
        ("side", "from its left side", DVec3::X, false),
        ("back", "from the back", -DVec3::Z, true),
    ];
    for (key, words, toward, with_parts) in views {
        task.checkpoint()?;
        let corners = whole.positions.iter().copied();
        let Some(camera) = Camera::fitting(toward, corners, frame_of(height)) else {
            continue;
        };
        let quads = Quads::new(&surface, &camera, hollow_px(&camera));
        let inside = vec![swatch("the inner side, striped", lining(), Legend::Area)];
        sheets.push(Sheet {
            name: format!("figure-{key}"),
            section: Section::Figure,
            caption: format!("{} quads, {words}.", whole.quads.len()),
            legend: if quads.shows_lining() { inside } else { vec![] },
            canvas: painted(&quads, Look::Plain),
        });
        if with_parts {
            let named = parts.iter().zip(0u32..);
            let legend = named.filter_map(|(part, number)| {
                let quad = part_of_quad.iter().position(|p| *p == number)?;
                Some(swatch(part.name, tints.tint(quad), Legend::Area))
            });
            sheets.push(Sheet {
                name: format!("parts-{key}"),
                section: Section::Parts,
                caption: format!("{} parts, {words}.", parts.len()),
                legend: legend.collect(),
                canvas: painted(&quads, Look::Patches(&tints)),
            });
        }
    }
    sheets.sort_by_key(|sheet| sheet.section);
    sheets.into_iter().map(pack).collect()
}
