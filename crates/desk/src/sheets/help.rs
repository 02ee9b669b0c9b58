//! Help, and what the desk has to ask.

use egui::{Context, Window};

use crate::desk::Desk;
use crate::hand::Hand;

impl Desk {
    pub(super) fn help_window(&mut self, ctx: &Context) {
        let mut open = self.help;
        Window::new("Help").open(&mut open).default_width(460.0).show(ctx, |ui| {
            ui.label("Draw on the sculpt what the quads are to follow; the surface is laid anew each time.");
            ui.label("Begin so: take up 'Draw ring', draw a stroke right across a sleeve, pick the new ring in the list and say how many quads go around it.");
            ui.separator();
            egui::Grid::new("hands").striped(true).show(ui, |ui| {
                for hand in Hand::ALL {
                    ui.monospace(hand.key().name());
                    ui.strong(hand.name());
                    ui.label(hand.sentence());
                    ui.end_row();
                }
            });
            ui.separator();
            for line in [
                "Drag with the other button: turn the view. With Shift, or with the middle button: shift it.",
                "Wheel, or two fingers: nearer and farther, towards the pointer.",
                "Alt and arrows: turn. Home: everything in the picture.",
                "Delete: take the picked guide away.",
                "Ctrl+Z, Ctrl+Shift+Z: undo, redo. Ctrl+S: save; with Shift: as another file. Ctrl+O: open.",
                "Drop a job or a sculpt on the window to open it.",
                "What isn't saved is kept beside the job and offered when it is opened again.",
            ] {
                ui.label(line);
            }
        });
        self.help = open;
    }

    pub(super) fn questions(&mut self, ctx: &Context) {
        self.ask_recovery(ctx);
        self.ask_outside(ctx);
        self.ask_close(ctx);
    }

    fn ask_recovery(&mut self, ctx: &Context) {
        let Some(recovery) = self.job.as_ref().and_then(|job| job.recovery.clone()) else {
            return;
        };
        let mut answer = None;
        Window::new("Unsaved work")
            .collapsible(false)
            .show(ctx, |ui| {
                ui.label(
                    "The desk ended without saving this job. What wasn't saved is still here.",
                );
                ui.horizontal(|ui| {
                    if ui.button("Take it up").clicked() {
                        answer = Some(true);
                    }
                    if ui.button("Drop it").clicked() {
                        answer = Some(false);
                    }
                });
            });
        if let (Some(takes), Some(job)) = (answer, &mut self.job) {
            job.recovery = None;
            let taken = if takes {
                job.document.recover(&recovery)
            } else {
                job.document.drop_kept();
                Ok(())
            };
            if let Err(problem) = taken {
                self.word = Some((format!("What was kept can't be read: {problem}"), true));
            }
            self.view.guides_changed();
        }
    }

    fn ask_outside(&mut self, ctx: &Context) {
        let Some(job) = self.job.as_mut().filter(|job| !job.outside.is_empty()) else {
            return;
        };
        let unsaved = !job.document.is_saved();
        let (mut reloads, mut stays) = (false, false);
        Window::new("Changed outside").collapsible(false).show(ctx, |ui| {
            ui.label("Another program changed the job, its sculpt or what it holds.");
            if unsaved {
                ui.label("What isn't saved here can be brought back with Undo, unless the sculpt is another: then save first.");
            }
            ui.horizontal(|ui| {
                reloads = ui.button("Read anew").clicked();
                stays = ui.button("Stay as it is").clicked();
            });
        });
        if stays {
            job.outside.clear();
        }
        if reloads {
            self.reload();
        }
    }

    fn ask_close(&mut self, ctx: &Context) {
        if !self.asks_to_close {
            return;
        }
        let (mut saves, mut drops, mut stays) = (false, false, false);
        Window::new("Not saved").collapsible(false).show(ctx, |ui| {
            ui.label("This job has changes that aren't saved.");
            ui.horizontal(|ui| {
                saves = ui.button("Save and close").clicked();
                drops = ui.button("Close without saving").clicked();
                stays = ui.button("Go on").clicked();
            });
        });
        if saves {
            self.save();
        }
        if drops && let Some(job) = &self.job {
            job.document.drop_kept();
        }
        let unsaved = self
            .job
            .as_ref()
            .is_some_and(|job| !job.document.is_saved());
        if drops || saves && !unsaved {
            ctx.send_viewport_cmd(egui::ViewportCommand::Close);
        }
        if stays || saves && unsaved {
            self.asks_to_close = false;
        }
    }
}
