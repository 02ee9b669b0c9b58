//! The guides, and the one that is picked.

use egui::{Color32, DragValue, Sense, Stroke, Ui, vec2};
use files::{GuideKind, GuideSpec};

use crate::desk::Desk;
use crate::palette;

impl Desk {
    pub(super) fn guide_sheet(&mut self, ui: &mut Ui) {
        ui.heading("Guides");
        let guides: Vec<GuideSpec> = match &self.job {
            Some(job) => job.document.spec().guides.clone(),
            None => return,
        };
        if guides.is_empty() {
            ui.label("None yet. Take up 'Draw ring' and draw across a limb.");
        }
        for guide in &guides {
            let picked = self.picked.as_deref() == Some(guide.name.as_str());
            let count = guide
                .count
                .map_or(String::new(), |n| format!(", {n} quads"));
            let text = format!("{} ({}{count})", guide.name, guide.kind.word());
            let colour = palette::shown(palette::of_kind(guide.kind));
            ui.horizontal(|ui| {
                swatch(ui, guide.closed, colour);
                if ui.selectable_label(picked, text).clicked() {
                    self.pick(if picked {
                        None
                    } else {
                        Some(guide.name.clone())
                    });
                }
            });
            if picked {
                ui.indent(&guide.name, |ui| self.picked_guide(ui, guide));
            }
        }
    }

    fn picked_guide(&mut self, ui: &mut Ui, guide: &GuideSpec) {
        let name = guide.name.clone();
        ui.horizontal(|ui| {
            let label = ui.label("Name");
            let mut text = self.renaming.clone().unwrap_or_else(|| name.clone());
            let field = ui.text_edit_singleline(&mut text).labelled_by(label.id);
            if field.changed() {
                self.renaming = Some(text.clone());
            }
            if field.lost_focus() && self.renaming.take().is_some() && text.trim() != name {
                self.rename(&name, text.trim());
            }
        });
        let edit = |desk: &mut Desk, key: &str, label: String, change: &dyn Fn(&mut GuideSpec)| {
            desk.change_on(&format!("{key} {name}"), label, |spec| {
                if let Some(guide) = spec.guides.iter_mut().find(|g| g.name == name) {
                    change(guide);
                }
            });
        };
        ui.horizontal(|ui| {
            let mut promised = guide.count.is_some();
            let text = "Whether so many quads lie along it, whatever the rest needs.";
            if ui
                .checkbox(&mut promised, "Quads along it")
                .on_hover_text(text)
                .changed()
            {
                let count = promised.then_some(if guide.closed { 12 } else { 8 });
                edit(self, "promise", format!("Count of '{name}'"), &|g| {
                    g.count = count
                });
            }
            if let Some(mut count) = guide.count {
                let least = if guide.closed { 3 } else { 1 };
                let field = DragValue::new(&mut count).range(least..=files::LARGEST_COUNT);
                if ui
                    .add(field)
                    .on_hover_text("Drag, or click and type.")
                    .changed()
                {
                    edit(
                        self,
                        "count",
                        format!("Ask for {count} along '{name}'"),
                        &|g| g.count = Some(count),
                    );
                }
            }
        });
        if guide.closed && guide.kind == GuideKind::Ring {
            ui.horizontal(|ui| {
                let label = ui.label("Loops beside it");
                let mut loops = guide.loops;
                let field = DragValue::new(&mut loops).range(0..=*files::LOOPS.end());
                if ui.add(field).labelled_by(label.id).changed() {
                    edit(
                        self,
                        "loops",
                        format!("{loops} loops beside '{name}'"),
                        &|g| g.loops = loops,
                    );
                }
            });
        }
        ui.horizontal_wrapped(|ui| {
            for (word, kind) in GuideKind::WORDS {
                let fits = kind == GuideKind::Line || guide.closed;
                let chosen = guide.kind == kind;
                if ui
                    .add_enabled(fits, egui::Button::selectable(chosen, word))
                    .clicked()
                    && !chosen
                {
                    edit(self, "kind", format!("Make '{name}' a {word}"), &|g| {
                        g.kind = kind;
                        if kind != GuideKind::Ring {
                            g.loops = 0;
                        }
                    });
                }
            }
        });
        ui.horizontal_wrapped(|ui| {
            let text = "Cuts a closed guide open, an open one in two.";
            if ui.button("Split").on_hover_text(text).clicked() {
                self.split_picked();
            }
            let text = "Joins it to the open guide whose end is nearest.";
            let join = ui.add_enabled(!guide.closed, egui::Button::new("Join"));
            if join.on_hover_text(text).clicked() {
                self.join_picked();
            }
            if ui
                .button("Delete")
                .on_hover_text("Takes the guide away (Delete).")
                .clicked()
            {
                self.delete_picked();
            }
        });
    }

    fn rename(&mut self, old: &str, new: &str) {
        let renamed = self.change(format!("Rename '{old}' to '{new}'"), |spec| {
            for guide in spec.guides.iter_mut().filter(|g| g.name == old) {
                guide.name = new.to_owned();
            }
            for trim in spec.trims.iter_mut().filter(|t| t.guide == old) {
                trim.guide = new.to_owned();
            }
            for area in &mut spec.keep_outs {
                if let files::KeepOutPlace::Guide { guide, .. } = &mut area.place
                    && guide == old
                {
                    *guide = new.to_owned();
                }
            }
        });
        if renamed {
            self.pick(Some(new.to_owned()));
        }
    }
}

/// A small picture of a guide: closed or open, in its colour.
fn swatch(ui: &mut Ui, closed: bool, colour: Color32) {
    let (rect, _) = ui.allocate_exact_size(vec2(14.0, 14.0), Sense::hover());
    let stroke = Stroke::new(2.0, colour);
    if closed {
        ui.painter().circle_stroke(rect.center(), 5.0, stroke);
    } else {
        ui.painter()
            .line_segment([rect.left_bottom(), rect.right_top()], stroke);
    }
}
