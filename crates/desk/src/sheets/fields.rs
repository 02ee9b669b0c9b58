//! Fields of a list's row: a label, what it says, and what assistive technology hears.

use std::ops::RangeInclusive;

use egui::emath::Numeric;
use egui::{Button, DragValue, Id, Role, Ui, WidgetInfo};

/// A number, if it was changed, and whether a change ended. `of` is the thing that has it.
pub(super) fn number<N: Numeric>(
    ui: &mut Ui,
    (label, of, tip): (&str, &str, &str),
    mut value: N,
    range: RangeInclusive<N>,
    speed: f64,
) -> (Option<N>, bool) {
    ui.horizontal(|ui| {
        ui.label(label);
        let field = DragValue::new(&mut value).range(range).speed(speed);
        let field = ui.add(field).on_hover_text(tip);
        field.widget_info(|| {
            WidgetInfo::labeled(Role::SpinButton, true, format!("{label} of {of}"))
        });
        let ended = field.drag_stopped() || field.lost_focus();
        (field.changed().then_some(value), ended)
    })
    .inner
}

/// One of a few words, if another was chosen.
pub(super) fn choice<T: Copy + PartialEq>(
    ui: &mut Ui,
    (label, of): (&str, &str),
    words: &[(&str, T)],
    now: T,
) -> Option<T> {
    let mut chosen = None;
    ui.horizontal_wrapped(|ui| {
        ui.label(label);
        for &(word, value) in words {
            let response = ui.add(Button::selectable(value == now, word));
            response.widget_info(|| {
                let label = format!("{label} of {of}: {word}");
                WidgetInfo::selected(Role::RadioButton, true, value == now, label)
            });
            if response.clicked() && value != now {
                chosen = Some(value);
            }
        }
    });
    chosen
}

/// A text that counts once the field is left, if it is another then.
pub(super) fn text(ui: &mut Ui, (label, of): (&str, &str), value: &str) -> Option<String> {
    ui.horizontal(|ui| {
        ui.label(label);
        let id = Id::unique(("typing", label, of));
        let typed = ui.data(|data| data.get_temp::<String>(id));
        let mut text = typed.unwrap_or_else(|| value.to_owned());
        let field = ui.text_edit_singleline(&mut text);
        field
            .widget_info(|| WidgetInfo::labeled(Role::TextInput, true, format!("{label} of {of}")));
        if field.changed() {
            ui.data_mut(|data| data.insert_temp(id, text.clone()));
        }
        if !field.lost_focus() {
            return None;
        }
        ui.data_mut(|data| data.remove::<String>(id));
        let text = text.trim();
        (text != value && !ui.input(|i| i.key_pressed(egui::Key::Escape))).then(|| text.to_owned())
    })
    .inner
}

/// A button that is heard with the thing that it is for.
pub(super) fn button(ui: &mut Ui, word: &str, of: &str) -> bool {
    let button = ui.button(word);
    button.widget_info(|| WidgetInfo::labeled(Role::Button, true, format!("{word} {of}")));
    button.clicked()
}

/// How far a drag of one pixel changes a length: some hundredths of it, of a quad's edge at least.
pub(super) fn length_speed(value: f64, edge: f64) -> f64 {
    0.01 * value.abs().max(0.2 * edge).max(1e-6)
}
