//! What the pen does on the view.

use egui::Key;
use files::GuideKind;

/// What a primary drag or click on the view does; the other buttons turn and shift in every one.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Hand {
    /// Turns the view, picks guides.
    Look,
    /// A stroke across a limb becomes a ring.
    DrawRing,
    /// A stroke along the surface becomes a line.
    DrawLine,
    /// A closed stroke, or a click at a boundary, becomes an opening.
    DrawOpening,
    /// Drags points of guides; drags a whole ring along its limb.
    Reshape,
    /// Puts in, takes out and slides loops.
    Loops,
    /// Moves a vertex along the sculpt.
    Nudge,
    /// Asks for a pole of three or five.
    Pin,
    /// Paints a place without poles.
    BarPoles,
    /// Paints a part with smaller or larger quads.
    Density,
    /// Paints quads that stay as they are.
    Hold,
}

impl Hand {
    /// All, in the order of the row of hands.
    pub const ALL: [Hand; 11] = [
        Hand::Look,
        Hand::DrawRing,
        Hand::DrawLine,
        Hand::DrawOpening,
        Hand::Reshape,
        Hand::Loops,
        Hand::Nudge,
        Hand::Pin,
        Hand::BarPoles,
        Hand::Density,
        Hand::Hold,
    ];

    /// Its name on the desk.
    pub fn name(self) -> &'static str {
        match self {
            Hand::Look => "Look round",
            Hand::DrawRing => "Draw ring",
            Hand::DrawLine => "Draw line",
            Hand::DrawOpening => "Draw opening",
            Hand::Reshape => "Reshape guide",
            Hand::Loops => "Change loops",
            Hand::Nudge => "Nudge vertex",
            Hand::Pin => "Pin pole",
            Hand::BarPoles => "Bar poles",
            Hand::Density => "Paint density",
            Hand::Hold => "Hold quads",
        }
    }

    /// What it does, in a sentence.
    pub fn sentence(self) -> &'static str {
        match self {
            Hand::Look => "Drag to turn the view; click a guide to pick it.",
            Hand::DrawRing => "Draw a stroke across a limb: the ring closes around it by itself.",
            Hand::DrawLine => "Draw along the surface: the line is smoothed on it.",
            Hand::DrawOpening => {
                "Draw a closed stroke, or click near a rim: the surface will end there."
            }
            Hand::Reshape => {
                "Drag a guide to bend it; hold Shift to slide a whole ring along its limb."
            }
            Hand::Loops => {
                "Click a quad's edge to put a loop in beside it; hold Shift to take one out; drag to slide it."
            }
            Hand::Nudge => "Drag a vertex of the surface along the sculpt.",
            Hand::Pin => "Click where a pole of five is wanted; hold Shift for one of three.",
            Hand::BarPoles => "Paint over a place: no pole will lie in it.",
            Hand::Density => {
                "Paint over a part: its quads become smaller, or larger, as its row in the list says."
            }
            Hand::Hold => "Paint over quads: later runs leave them as they are.",
        }
    }

    /// The key that takes it up: digits along the row.
    pub fn key(self) -> Key {
        match self {
            Hand::Look => Key::Num0,
            Hand::DrawRing => Key::Num1,
            Hand::DrawLine => Key::Num2,
            Hand::DrawOpening => Key::Num3,
            Hand::Reshape => Key::Num4,
            Hand::Loops => Key::Num5,
            Hand::Nudge => Key::Num6,
            Hand::Pin => Key::Num7,
            Hand::BarPoles => Key::Num8,
            Hand::Density => Key::Num9,
            Hand::Hold => Key::Minus,
        }
    }

    /// What kind of guide it draws.
    pub fn draws(self) -> Option<GuideKind> {
        match self {
            Hand::DrawRing => Some(GuideKind::Ring),
            Hand::DrawLine => Some(GuideKind::Line),
            Hand::DrawOpening => Some(GuideKind::Opening),
            _ => None,
        }
    }

    /// Whether it paints with a brush.
    pub fn paints(self) -> bool {
        matches!(self, Hand::BarPoles | Hand::Density | Hand::Hold)
    }

    /// Whether it needs a surface to work on.
    pub fn needs_surface(self) -> bool {
        matches!(self, Hand::Loops | Hand::Nudge | Hand::Hold)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_hand_has_a_name_and_a_key_of_its_own() {
        for (i, one) in Hand::ALL.iter().enumerate() {
            for other in &Hand::ALL[i + 1..] {
                assert_ne!(one.name(), other.name());
                assert_ne!(one.key(), other.key());
            }
            assert!(one.sentence().ends_with('.'));
        }
    }
}
