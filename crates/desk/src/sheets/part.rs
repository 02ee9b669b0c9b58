//! The part as a whole: how many quads, symmetry, and how things are shown.

use egui::{DragValue, Slider, Ui};
use files::{FACES, PlaneSpec, Size};
use render::{Fixed, Projection};

use crate::desk::Desk;
use crate::view::Shown;

impl Desk {
    pub(super) fn part_sheet(&mut self, ui: &mut Ui) {
        ui.heading("Part");
        self.size(ui);
        self.symmetry(ui);
        ui.separator();
        ui.heading("View");
        self.looks(ui);
    }

    fn size(&mut self, ui: &mut Ui) {
        let Some(job) = &self.job else {
            return;
        };
        let density = job.document.spec().density;
        ui.horizontal(|ui| match density.size {
            Size::Faces(mut faces) => {
                let label = ui.label("Quads");
                let field = DragValue::new(&mut faces).range(FACES).speed(10.0);
                if ui.add(field).labelled_by(label.id).changed() {
                    self.change_on("faces", format!("Ask for {faces} quads"), |spec| {
                        spec.density.size = Size::Faces(faces);
                    });
                }
            }
            Size::Edge(mut edge) => {
                let label = ui.label("Edge");
                let field = DragValue::new(&mut edge).range(1e-6..=1e6).speed(0.01);
                if ui.add(field).labelled_by(label.id).changed() {
                    self.change_on("edge", format!("Ask for edges of {edge}"), |spec| {
                        spec.density.size = Size::Edge(edge);
                    });
                }
            }
        });
        ui.horizontal(|ui| {
            let mut adapt = density.adapt;
            let label = ui.label("Follow bends");
            let slider = Slider::new(&mut adapt, 0.0..=1.0).fixed_decimals(2);
            if ui
                .add(slider)
                .labelled_by(label.id)
                .on_hover_text("0: even quads; 1: as small as bends need.")
                .changed()
            {
                self.change_on("adapt", format!("Adapt {adapt:.2}"), |spec| {
                    spec.density.adapt = adapt
                });
            }
        });
        let mut straddle = density.straddle;
        let text =
            "Quads lie half inside, half outside where the sculpt bends, so that its volume stays.";
        if ui
            .checkbox(&mut straddle, "Keep the volume")
            .on_hover_text(text)
            .changed()
        {
            self.change("Keep the volume", |spec| spec.density.straddle = straddle);
        }
    }

    fn symmetry(&mut self, ui: &mut Ui) {
        let Some(job) = &self.job else {
            return;
        };
        let symmetry = job.document.spec().symmetry.clone();
        ui.horizontal_wrapped(|ui| {
            ui.label("Mirror plane");
            for (word, plane) in PlaneSpec::WORDS {
                let chosen = symmetry.plane == plane;
                if ui.selectable_label(chosen, word).clicked() && !chosen {
                    self.change(format!("Mirror plane {word}"), |spec| {
                        spec.symmetry.plane = plane
                    });
                }
            }
        });
        if symmetry.plane != PlaneSpec::None {
            ui.horizontal_wrapped(|ui| {
                ui.label("Other side");
                for (word, sides) in files::Sides::WORDS {
                    let chosen = symmetry.sides == sides;
                    let text = match sides {
                        files::Sides::Mirror => "The exact image of the first.",
                        files::Sides::Fit => "The same quads, fitted to its own surface.",
                    };
                    if ui
                        .selectable_label(chosen, word)
                        .on_hover_text(text)
                        .clicked()
                        && !chosen
                    {
                        self.change(format!("Other side: {word}"), |spec| {
                            spec.symmetry.sides = sides
                        });
                    }
                }
            });
        }
    }

    fn looks(&mut self, ui: &mut Ui) {
        let view = &mut self.view;
        how_shown(ui, "Sculpt", "", &mut view.sculpt);
        how_shown(ui, "Surface", "", &mut view.surface);
        for (i, layer) in view.layers.iter_mut().enumerate() {
            let name = format!("Layer {}", layer.name);
            how_shown(
                ui,
                &name,
                crate::palette::of_layer(i).words,
                &mut layer.shown,
            );
        }
        ui.checkbox(&mut view.through, "Hidden guides show through");
        ui.horizontal_wrapped(|ui| {
            let text = "Everything in the picture (Home).";
            if ui.button("Frame").on_hover_text(text).clicked() {
                view.frame();
            }
            for (word, fixed) in [
                ("front", Fixed::Front),
                ("back", Fixed::Back),
                ("left", Fixed::Left),
                ("right", Fixed::Right),
                ("above", Fixed::Above),
                ("below", Fixed::Below),
            ] {
                if ui.button(word).clicked() {
                    view.camera.look_from(fixed);
                }
            }
        });
        let mut parallel = view.camera.projection == Projection::Parallel;
        if ui.checkbox(&mut parallel, "Parallel view").changed() {
            view.camera.projection = if parallel {
                Projection::Parallel
            } else {
                Projection::Perspective
            };
        }
    }
}

/// A row to show something whole, as a ghost, or not; `tip` says how it looks.
fn how_shown(ui: &mut Ui, name: &str, tip: &str, shown: &mut Shown) {
    ui.horizontal_wrapped(|ui| {
        let label = ui.label(name);
        if !tip.is_empty() {
            label.on_hover_text(tip);
        }
        for (how, word) in Shown::ALL {
            let response = ui.add(egui::Button::selectable(*shown == how, word));
            response.widget_info(|| {
                let label = format!("{name} {word}");
                egui::WidgetInfo::selected(egui::Role::RadioButton, true, *shown == how, label)
            });
            if response.clicked() {
                *shown = how;
            }
        }
    });
}
