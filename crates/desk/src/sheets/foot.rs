//! Below the view: what goes on, and what the hand does.

use egui::{ProgressBar, RichText, Ui};

use crate::desk::Desk;

impl Desk {
    pub(super) fn foot(&mut self, ui: &mut Ui) {
        ui.horizontal_wrapped(|ui| {
            if let Some(opening) = &self.opening {
                let (stage, share) = opening.progress();
                let text = format!("Opening {}: {stage}", opening.words);
                ui.add(ProgressBar::new(share).desired_width(220.0).text(text));
            } else if let Some((stage, share)) =
                self.job.as_ref().and_then(|job| job.progress.as_ref())
            {
                let text = format!("Surface: {stage}");
                ui.add(ProgressBar::new(*share).desired_width(220.0).text(text));
            }
            match &self.word {
                Some((word, true)) => {
                    let colour = ui.visuals().error_fg_color;
                    ui.label(RichText::new(word).color(colour));
                }
                Some((word, false)) => {
                    ui.label(word);
                }
                None => {
                    ui.label(self.hand.sentence());
                    ui.weak("Other button: turn. With Shift: shift. Wheel: nearer.");
                }
            }
        });
    }
}
