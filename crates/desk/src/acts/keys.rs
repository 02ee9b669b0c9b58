//! Keys, and the window's own wishes.

use egui::{Context, Key, KeyboardShortcut, Modifiers, ViewportCommand};

use crate::desk::Desk;
use crate::hand::Hand;
use crate::sheets::FileWish;

impl Desk {
    /// Keys that work anywhere but while text is typed.
    pub(crate) fn keys(&mut self, ctx: &Context) {
        let dropped = ctx.input(|i| i.raw.dropped_files.first().map(|f| f.path().to_owned()));
        if let Some(path) = dropped {
            self.open_file(&path);
        }
        let pressed = |modifiers, key| {
            ctx.input_mut(|i| i.consume_shortcut(&KeyboardShortcut::new(modifiers, key)))
        };
        let command = Modifiers::COMMAND;
        if pressed(command | Modifiers::SHIFT, Key::Z) || pressed(command, Key::Y) {
            self.redo();
        }
        if pressed(command, Key::Z) {
            self.undo();
        }
        if pressed(command | Modifiers::SHIFT, Key::S) {
            self.ask_file(FileWish::SaveAs);
        }
        if pressed(command, Key::O) {
            self.ask_file(FileWish::Open);
        }
        if pressed(command, Key::S) {
            self.save();
        }
        if pressed(Modifiers::NONE, Key::F1) {
            self.help = !self.help;
        }
        if ctx.egui_wants_keyboard_input() {
            return;
        }
        for hand in Hand::ALL {
            if pressed(Modifiers::NONE, hand.key()) {
                self.hand = hand;
            }
        }
        if pressed(Modifiers::NONE, Key::Delete) || pressed(Modifiers::NONE, Key::Backspace) {
            self.delete_picked();
        }
        if pressed(Modifiers::NONE, Key::Home) {
            self.view.frame();
        }
        for (key, right, up) in [
            (Key::ArrowLeft, -0.1, 0.0),
            (Key::ArrowRight, 0.1, 0.0),
            (Key::ArrowUp, 0.0, 0.1),
            (Key::ArrowDown, 0.0, -0.1),
        ] {
            if pressed(Modifiers::ALT, key) {
                self.view.camera.turn(right, up);
            }
        }
    }

    /// Asks before what isn't saved is given up.
    pub(crate) fn closing(&mut self, ctx: &Context) {
        let wants = ctx.input(|i| i.viewport().close_requested());
        let unsaved = self
            .job
            .as_ref()
            .is_some_and(|job| !job.document.is_saved());
        if wants && unsaved && !self.asks_to_close {
            self.asks_to_close = true;
            ctx.send_viewport_cmd(ViewportCommand::CancelClose);
        }
    }
}
