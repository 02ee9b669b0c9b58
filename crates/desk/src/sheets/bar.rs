//! Above the view: the job as a file, and the row of hands.

use egui::{Button, DragValue, Ui};

use crate::desk::Desk;
use crate::hand::Hand;
use crate::opening::Start;
use crate::sheets::FileWish;
use crate::view::BRUSH;

impl Desk {
    pub(super) fn bar(&mut self, ui: &mut Ui) {
        ui.horizontal_wrapped(|ui| {
            let name = self
                .job
                .as_ref()
                .map_or("no job", |job| job.document.spec().name.as_str());
            let saved = self.job.as_ref().is_none_or(|job| job.document.is_saved());
            ui.strong(name);
            ui.label(if saved { "saved" } else { "not saved" });
            let text = "Opens a job or a sculpt (Ctrl+O).";
            if ui.button("Open").on_hover_text(text).clicked() {
                self.ask_file(FileWish::Open);
            }
            let save = ui.add_enabled(!saved, Button::new("Save"));
            if save
                .on_hover_text("Writes the job file, whole or not at all (Ctrl+S).")
                .clicked()
            {
                self.save();
            }
            let text = "Writes the job to another file (Ctrl+Shift+S).";
            let save_as = ui.add_enabled(self.job.is_some(), Button::new("Save as"));
            if save_as.on_hover_text(text).clicked() {
                self.ask_file(FileWish::SaveAs);
            }
            let (undo, redo) = self.job.as_ref().map_or((None, None), |job| {
                let own = |label: Option<&str>| label.map(str::to_owned);
                (
                    own(job.document.undo_label()),
                    own(job.document.redo_label()),
                )
            });
            let back = ui.add_enabled(undo.is_some(), Button::new("Undo"));
            let text = undo.map_or_else(String::new, |label| format!("{label} (Ctrl+Z)"));
            if back.on_hover_text(text).clicked() {
                self.undo();
            }
            let again = ui.add_enabled(redo.is_some(), Button::new("Redo"));
            let text = redo.map_or_else(String::new, |label| format!("{label} (Ctrl+Shift+Z)"));
            if again.on_hover_text(text).clicked() {
                self.redo();
            }
            let example = ui
                .button("Example")
                .on_hover_text("Opens the keeper's coat to try things on.");
            if example.clicked() {
                self.open(Start::Example);
            }
            if ui
                .button("Help")
                .on_hover_text("Keys and pointer actions (F1).")
                .clicked()
            {
                self.help = !self.help;
            }
        });
        ui.horizontal_wrapped(|ui| {
            for hand in Hand::ALL {
                let has = !hand.needs_surface() || self.surface().is_some();
                let button = Button::selectable(self.hand == hand, hand.name());
                let text = format!("{} (key {})", hand.sentence(), hand.key().name());
                if ui.add_enabled(has, button).on_hover_text(text).clicked() {
                    self.hand = hand;
                }
            }
            if self.hand.paints() {
                let label = ui.label("Brush");
                let field = DragValue::new(&mut self.view.brush).range(BRUSH.1);
                ui.add(field.fixed_decimals(0))
                    .labelled_by(label.id)
                    .on_hover_text("Radius of the brush.");
            }
        });
    }
}
