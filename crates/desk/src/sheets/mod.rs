//! Panels around the view.

mod bar;
mod fields;
mod file;
mod findings;
mod foot;
mod guides;
mod help;
mod layers;
mod part;
mod places;
mod trims;

pub(crate) use file::{FileSheet, FileWish};

use egui::{Panel, ScrollArea, Ui};

use crate::desk::Desk;

impl Desk {
    /// All panels.
    pub(crate) fn sheets(&mut self, ui: &mut Ui) {
        Panel::top("bar").show(ui, |ui| self.bar(ui));
        Panel::bottom("foot").show(ui, |ui| self.foot(ui));
        Panel::left("guides")
            .default_size(270.0)
            .min_size(210.0)
            .show(ui, |ui| {
                ScrollArea::vertical().show(ui, |ui| {
                    self.guide_sheet(ui);
                    ui.separator();
                    self.trim_sheet(ui);
                    ui.separator();
                    self.layer_sheet(ui);
                    ui.separator();
                    self.place_sheet(ui);
                });
            });
        Panel::right("findings")
            .default_size(300.0)
            .min_size(240.0)
            .show(ui, |ui| {
                ScrollArea::vertical().show(ui, |ui| {
                    self.part_sheet(ui);
                    ui.separator();
                    self.finding_sheet(ui);
                });
            });
        self.help_window(ui.ctx());
        self.file_window(ui.ctx());
        self.questions(ui.ctx());
    }
}
