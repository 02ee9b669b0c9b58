//! The picture in the window.

use egui::{Color32, CursorIcon, Rect, Sense, Stroke, Ui, WidgetInfo, pos2};
use render::Scene;

use crate::desk::{Desk, Job};
use crate::palette;

impl Desk {
    /// The view: pointer work, then the picture.
    pub(crate) fn see(&mut self, ui: &mut Ui, frame: &mut eframe::Frame) {
        let size = ui.available_size();
        let (rect, response) = ui.allocate_exact_size(size, Sense::click_and_drag());
        let first = self.view.rect == Rect::ZERO;
        self.view.rect = rect;
        self.view.pixels_per_point = ui.ctx().pixels_per_point();
        if first {
            self.view.frame();
        }
        let label = format!("The view. {}: {}", self.hand.name(), self.hand.sentence());
        response.widget_info(|| WidgetInfo::labeled(egui::Role::Canvas, true, &label));
        let hovered = response.hovered();
        self.point(&response, ui.ctx());
        if hovered && self.hand != crate::hand::Hand::Look {
            ui.ctx().set_cursor_icon(CursorIcon::Crosshair);
        }
        let dark = ui.visuals().dark_mode;
        if self.view.dark != Some(dark) {
            self.view.dark = Some(dark);
            self.view.stale.surface = true;
            self.view.stale.guides = true;
        }
        self.picture(ui, rect, frame, dark);
        self.over(ui, rect);
    }

    fn picture(&mut self, ui: &Ui, rect: Rect, frame: &eframe::Frame, dark: bool) {
        let Some(state) = frame.wgpu_render_state() else {
            return;
        };
        let view = &mut self.view;
        let mut scene = view
            .scene
            .take()
            .unwrap_or_else(|| Scene::new(state.device.clone(), state.queue.clone()));
        let colours = palette::of(dark);
        let soon = view.update(
            &mut scene,
            self.job.as_ref(),
            self.picked.as_deref(),
            &colours,
        );
        if soon {
            ui.ctx().request_repaint_after(super::FRESH / 4);
        }
        let size = view.size();
        let (centre, radius) = view.ball();
        let was = view.shown_size;
        let pixels = [size.x.round() as u32, size.y.round() as u32];
        let drawn = scene.render(&render::View {
            camera: view.camera,
            size: pixels,
            scale: view.pixels_per_point,
            ground: colours.ground,
            centre,
            radius,
        });
        if let Some(picture) = scene.picture().filter(|_| drawn && was != pixels) {
            let mut renderer = state.renderer.write();
            let filter = eframe::wgpu::FilterMode::Nearest;
            match view.texture {
                Some(id) => renderer.update_egui_texture_from_wgpu_texture(
                    &state.device,
                    picture,
                    filter,
                    id,
                ),
                None => {
                    view.texture =
                        Some(renderer.register_native_texture(&state.device, picture, filter));
                }
            }
            view.shown_size = pixels;
        }
        if !scene.left_out().is_empty() && self.word.is_none() {
            let words = "The graphics device has no memory left for all of this: a part isn't shown. Close other programs, or open a lighter sculpt.";
            self.word = Some((words.to_owned(), true));
        }
        view.scene = Some(scene);
        if let Some(texture) = view.texture {
            let whole = Rect::from_min_max(pos2(0.0, 0.0), pos2(1.0, 1.0));
            ui.painter().image(texture, rect, whole, Color32::WHITE);
        }
    }

    /// The images beyond the mirror plane of a stroke under way, where they are in the picture.
    fn twins(&self, job: &Job, path: &[glam::DVec2]) -> Vec<Vec<egui::Pos2>> {
        let Some(plane) = job.plane() else {
            return Vec::new();
        };
        let image = |pixel: &glam::DVec2| {
            let hit = job.pen.hit(&self.view.ray(*pixel))?;
            self.view.place_of(plane.mirror(hit.point))
        };
        let images: Vec<Option<egui::Pos2>> = path.iter().map(image).collect();
        let runs = images.split(Option::is_none);
        runs.map(|run| run.iter().flatten().copied().collect())
            .collect()
    }

    /// The stroke under way, and what it is drawn to.
    fn over(&self, ui: &Ui, rect: Rect) {
        let painter = ui.painter().with_clip_rect(rect);
        let view = &self.view;
        let colours = palette::of(ui.visuals().dark_mode);
        let scale = view.pixels_per_point;
        let place = |p: &glam::DVec2| rect.min + egui::vec2(p.x as f32, p.y as f32) / scale;
        if let Some(drag) = view.drag.as_ref().filter(|drag| drag.grip.is_none()) {
            let kind = self.hand.draws();
            let colour = kind.map_or(colours.outline, palette::of_kind);
            let path: Vec<egui::Pos2> = drag.path.iter().map(place).collect();
            if self.hand.paints() {
                let paint = palette::shown(colours.outline).gamma_multiply(0.35);
                painter.line(path, Stroke::new(2.0 * view.brush, paint));
                return;
            }
            if let Some(job) = self.job.as_ref().filter(|_| kind.is_some()) {
                let twin = Stroke::new(2.0, palette::shown(colour).gamma_multiply(0.5));
                painter.extend(
                    self.twins(job, &drag.path)
                        .into_iter()
                        .map(|run| egui::Shape::line(run, twin)),
                );
            }
            painter.line(
                path.clone(),
                Stroke::new(5.0, palette::shown(colours.ground[0])),
            );
            painter.line(path, Stroke::new(2.5, palette::shown(colour)));
        }
        if self.hand.paints()
            && let Some(at) = ui.ctx().pointer_hover_pos().filter(|at| rect.contains(*at))
        {
            let rim = Stroke::new(1.5, palette::shown(colours.outline));
            painter.circle_stroke(at, view.brush, rim);
        }
        if let Some(snap) = view.snap
            && let Some(at) = view.place_of(snap.at)
        {
            painter.circle_stroke(at, 9.0, Stroke::new(2.0, palette::shown(colours.outline)));
            let text = format!("at {}", snap.to.words());
            let font = egui::FontId::proportional(13.0);
            let colour = palette::shown(colours.outline);
            painter.text(
                at + egui::vec2(14.0, 0.0),
                egui::Align2::LEFT_CENTER,
                text,
                font,
                colour,
            );
        }
    }
}
