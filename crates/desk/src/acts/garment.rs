//! What is done to trims and layers.

use std::path::Path;

use files::{GuideKind, LayerSpec, TrimKind, TrimSpec};
use session::draw::free_name;

use crate::desk::Desk;

/// Height of a new trim, thickness of it and clearance of a new layer: in edges of quads.
const HEIGHT: f64 = 1.5;
const THICKNESS: f64 = 0.25;
/// Height and thickness of a new band, in the same: it lies on cloth that bends under it.
const BAND: [f64; 2] = [1.0, 0.15];
const CLEARANCE: f64 = 0.1;

impl Desk {
    /// The guide that a new trim goes to, and what it is there: the picked one, else the first opening,
    /// if it has none.
    pub(crate) fn place_for_trim(&self) -> Option<(&str, TrimKind)> {
        let spec = self.job.as_ref()?.document.spec();
        let bare = |name: &str| spec.trims.iter().all(|trim| trim.guide != name);
        let free = || spec.guides.iter().filter(|guide| bare(&guide.name));
        let picked = free().find(|guide| self.picked.as_ref() == Some(&guide.name));
        let guide = picked.or_else(|| free().find(|guide| guide.kind == GuideKind::Opening))?;
        let kind = match guide.kind {
            GuideKind::Opening => TrimKind::Cuff,
            GuideKind::Ring | GuideKind::Line => TrimKind::Band,
        };
        Some((guide.name.as_str(), kind))
    }

    /// Adds a trim where one can be.
    pub(crate) fn add_trim(&mut self) {
        let (Some(job), Some((guide, kind))) = (&self.job, self.place_for_trim()) else {
            return;
        };
        let (spec, edge) = (job.document.spec(), job.edge());
        let name = free_name("trim", spec.trims.iter().map(|t| t.name.as_str()));
        let sizes = match kind {
            TrimKind::Band => BAND,
            _ => [HEIGHT, THICKNESS],
        };
        let [height, thickness] = sizes.map(|n| round_length(n * edge));
        let trim = TrimSpec::new(&name, kind, guide, height, thickness);
        if self.change(format!("Add '{name}'"), |spec| spec.trims.push(trim)) {
            self.picked_trim = Some(name);
        }
    }

    /// Changes a trim as one step; answers whether it did.
    pub(crate) fn change_trim(
        &mut self,
        name: &str,
        label: String,
        edit: impl FnOnce(&mut TrimSpec),
    ) -> bool {
        self.change(label, |spec| {
            if let Some(trim) = spec.trims.iter_mut().find(|t| t.name == name) {
                edit(trim);
            }
        })
    }

    /// Adds a file as a layer, named from the job's folder where it lies in it.
    pub(crate) fn add_layer(&mut self, path: &Path) {
        let Some(job) = &self.job else {
            return;
        };
        let (spec, edge) = (job.document.spec(), job.edge());
        let folder = std::path::absolute(job.document.file().folder());
        let inside = folder.ok().and_then(|f| path.strip_prefix(f).ok());
        let stem = path.file_stem().unwrap_or_default().to_string_lossy();
        let taken = spec.layers.iter().map(|l| l.name.as_str());
        let name = if taken.clone().any(|name| name == stem) || stem.trim().is_empty() {
            free_name(stem.trim(), taken)
        } else {
            stem.trim().to_owned()
        };
        let clearance = round_length(CLEARANCE * edge);
        let layer = LayerSpec::new(&name, inside.unwrap_or(path), clearance);
        if self.change(format!("Add layer '{name}'"), |spec| {
            spec.layers.push(layer)
        }) {
            self.picked_layer = Some(name);
        }
    }

    /// Changes a layer as one step; answers whether it did.
    pub(crate) fn change_layer(
        &mut self,
        name: &str,
        label: String,
        edit: impl FnOnce(&mut LayerSpec),
    ) -> bool {
        self.change(label, |spec| {
            if let Some(layer) = spec.layers.iter_mut().find(|l| l.name == name) {
                edit(layer);
            }
        })
    }

    /// Ends a step that goes on, such as a drag of a number.
    pub(crate) fn settle(&mut self) {
        if let Some(job) = &mut self.job {
            job.document.settle();
        }
    }
}

/// A length to one digit, as a person would say it.
pub(crate) fn round_length(length: f64) -> f64 {
    format!("{length:.0e}").parse().unwrap_or(length)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lengths_are_said_to_one_digit() {
        let said = [0.3719, 0.0449, 8.6, 9.7, 1234.0].map(round_length);
        assert_eq!(said, [0.4, 0.04, 9.0, 10.0, 1000.0]);
    }
}
