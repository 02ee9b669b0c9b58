//! The layers, and the one that is picked.

use egui::Ui;
use files::{LayerSide, LayerSpec};

use super::FileWish;
use super::fields::{button, choice, length_speed, number, text};
use crate::acts::round_length;
use crate::desk::{Desk, Job};

/// Clearances that a field takes, model units: the job file takes any above 0.
const CLEARANCE: std::ops::RangeInclusive<f64> = 1e-6..=1e6;
/// Margins that a field takes, model units.
const MARGIN: std::ops::RangeInclusive<f64> = 0.0..=1e6;

impl Desk {
    pub(super) fn layer_sheet(&mut self, ui: &mut Ui) {
        ui.heading("Layers");
        let Some(job) = &self.job else {
            return;
        };
        let layers = job.document.spec().layers.clone();
        if layers.is_empty() {
            ui.label("None yet: a body or another part, which the surface keeps clear of.");
        }
        for layer in &layers {
            let picked = self.picked_layer.as_ref() == Some(&layer.name);
            let side = side_word(layer.side);
            let row = format!("{} ({side} the surface)", layer.name);
            if ui.selectable_label(picked, row).clicked() {
                self.picked_layer = (!picked).then(|| layer.name.clone());
            }
            if picked {
                ui.indent(("layer", &layer.name), |ui| self.picked_layer(ui, layer));
            }
        }
        let tip = "Another mesh under or over this part: PLY, OBJ, STL, GLB or glTF.";
        if ui.button("Add a layer").on_hover_text(tip).clicked() {
            self.ask_file(FileWish::Layer);
        }
    }

    fn picked_layer(&mut self, ui: &mut Ui, layer: &LayerSpec) {
        let name = layer.name.as_str();
        let edge = self.job.as_ref().map_or(1.0, Job::edge);
        ui.weak(layer.file.display().to_string());
        if let Some(new) = text(ui, ("Name", name), name) {
            let label = format!("Rename '{name}' to '{new}'");
            if self.change_layer(name, label, |layer| layer.name.clone_from(&new)) {
                self.view.rename_layer(name, &new);
                self.picked_layer = Some(new);
            }
        }
        let part = layer.part.as_deref().unwrap_or_default();
        if let Some(new) = text(ui, ("Part of the file", name), part) {
            self.change_layer(name, format!("Part of '{name}'"), |layer| {
                layer.part = (!new.is_empty()).then_some(new);
            });
        }
        if let Some(side) = choice(ui, ("Side", name), &LayerSide::WORDS, layer.side) {
            self.change_layer(name, format!("Side of '{name}'"), |layer| {
                layer.side = side;
                // What is over the surface is seen.
                if side == LayerSide::Over {
                    layer.margin = None;
                }
            });
        }
        let tip = "Least distance between it and the surface.";
        let speed = length_speed(layer.clearance, edge);
        let field = ("Clearance", name, tip);
        self.layer_number(
            ui,
            layer,
            field,
            layer.clearance,
            (CLEARANCE, speed),
            |l, v| l.clearance = v,
        );
        if layer.side == LayerSide::Under {
            let mut drops = layer.margin.is_some();
            let tip = "What of it can never be seen is left out of a copy of it that a run writes; its own file stays as it is.";
            let hidden = ui.checkbox(&mut drops, "Leave out its hidden faces");
            if hidden.on_hover_text(tip).changed() {
                let margin = drops.then(|| round_length(2.0 * edge));
                self.change_layer(name, format!("Hidden faces of '{name}'"), |layer| {
                    layer.margin = margin;
                });
            }
        }
        if let Some(margin) = layer.margin {
            let tip = "How far from what can be seen faces stay.";
            let speed = length_speed(margin, edge);
            let field = ("Margin", name, tip);
            self.layer_number(ui, layer, field, margin, (MARGIN, speed), |l, v| {
                l.margin = Some(v)
            });
        }
        if button(ui, "Take out", name) {
            let label = format!("Take out '{name}'");
            self.change(label, |spec| spec.layers.retain(|l| l.name != name));
        }
    }

    /// A number of a layer; a drag of it is one step.
    fn layer_number(
        &mut self,
        ui: &mut Ui,
        layer: &LayerSpec,
        field: (&str, &str, &str),
        value: f64,
        (range, speed): (std::ops::RangeInclusive<f64>, f64),
        set: impl FnOnce(&mut LayerSpec, f64),
    ) {
        let (changed, ended) = number(ui, field, value, range, speed);
        if let Some(value) = changed {
            let (name, label) = (&layer.name, field.0);
            let key = format!("layer {name} {label}");
            self.change_on(&key, format!("{label} of '{name}'"), |spec| {
                if let Some(layer) = spec.layers.iter_mut().find(|l| l.name == *name) {
                    set(layer, value);
                }
            });
        }
        if ended {
            self.settle();
        }
    }
}

fn side_word(side: LayerSide) -> &'static str {
    match side {
        LayerSide::Under => "under",
        LayerSide::Over => "over",
    }
}
