//! The trims, and the one that is picked.

use egui::Ui;
use files::{FLARE, LiningSpec, TRIM_LOOPS, TrimDirection, TrimEdge, TrimEnd};
use files::{TrimFront, TrimKind, TrimSide, TrimSpec};

use super::fields::{button, choice, length_speed, number, text};
use crate::acts::round_length;
use crate::desk::{Desk, Job};

/// Lengths that a field takes, model units: the job file takes any above 0.
const LENGTH: std::ops::RangeInclusive<f64> = 1e-6..=1e6;

impl Desk {
    pub(super) fn trim_sheet(&mut self, ui: &mut Ui) {
        ui.heading("Trims");
        let Some(job) = &self.job else {
            return;
        };
        let spec = job.document.spec();
        let guides: Vec<String> = spec.guides.iter().map(|g| g.name.clone()).collect();
        let trims = spec.trims.clone();
        if guides.is_empty() {
            ui.label("A cuff, a collar or a hem is put at an opening, a band along a ring: draw one first.");
        } else if trims.is_empty() {
            ui.label("None yet: cloth with thickness, at an opening or as a band along a ring.");
        }
        for trim in &trims {
            let picked = self.picked_trim.as_ref() == Some(&trim.name);
            let (kind, at) = (kind_word(trim.kind), &trim.guide);
            let row = format!("{} ({kind} at '{at}')", trim.name);
            if ui.selectable_label(picked, row).clicked() {
                self.picked_trim = (!picked).then(|| trim.name.clone());
            }
            if picked {
                ui.indent(("trim", &trim.name), |ui| {
                    self.picked_trim(ui, trim, &guides)
                });
            }
        }
        let bare = self.place_for_trim().is_some();
        let add = ui.add_enabled(bare, egui::Button::new("Add a trim"));
        let tip = "At the guide that is picked; else at the first opening that has none.";
        let add = add.on_hover_text(tip).on_disabled_hover_text(tip);
        if add.clicked() {
            self.add_trim();
        }
        self.lining(ui);
    }

    /// A second wall inside of the whole part.
    fn lining(&mut self, ui: &mut Ui) {
        let Some(job) = &self.job else {
            return;
        };
        let (edge, lining) = (job.edge(), job.document.spec().lining);
        let mut lined = lining.is_some();
        let tip = "A second wall inside of the whole part, closed at every opening.";
        if ui
            .checkbox(&mut lined, "Lining")
            .on_hover_text(tip)
            .changed()
        {
            let thickness = round_length(0.1 * edge);
            self.change("Lining", |spec| {
                spec.lining = lined.then_some(LiningSpec { thickness });
            });
        }
        if let Some(LiningSpec { thickness }) = lining {
            let field = ("Thickness", "the lining", "From wall to wall.");
            let speed = length_speed(thickness, edge);
            let (changed, ended) = number(ui, field, thickness, LENGTH, speed);
            if let Some(thickness) = changed {
                self.change_on("lining", "Thickness of the lining", |spec| {
                    spec.lining = Some(LiningSpec { thickness });
                });
            }
            if ended {
                self.settle();
            }
        }
    }

    fn picked_trim(&mut self, ui: &mut Ui, trim: &TrimSpec, guides: &[String]) {
        let name = trim.name.as_str();
        let edge = self.job.as_ref().map_or(1.0, Job::edge);
        if let Some(new) = text(ui, ("Name", name), name) {
            let label = format!("Rename '{name}' to '{new}'");
            if self.change_trim(name, label, |trim| trim.name.clone_from(&new)) {
                self.picked_trim = Some(new);
            }
        }
        let numbers = guides.iter().map(String::as_str).zip(0..);
        let numbers: Vec<(&str, usize)> = numbers.collect();
        let at = guides.iter().position(|g| *g == trim.guide);
        if let Some(to) = choice(ui, ("At", name), &numbers, at.unwrap_or(usize::MAX)) {
            let guide = guides[to].clone();
            let label = format!("Put '{name}' at '{guide}'");
            self.change_trim(name, label, |trim| trim.guide = guide);
        }
        if let Some(kind) = choice(ui, ("Kind", name), &TrimKind::WORDS, trim.kind) {
            let label = format!("Make '{name}' a {}", kind_word(kind));
            self.change_trim(name, label, |trim| {
                // The side goes with the kind until it is chosen by itself.
                if trim.side == trim.kind.side() {
                    trim.side = kind.side();
                }
                trim.kind = kind;
            });
        }
        let tip = "How far its cloth reaches from the opening; of a band, from edge to edge.";
        let field = ("Height", name, tip);
        let speed = length_speed(trim.height, edge);
        self.trim_number(ui, trim, field, trim.height, (LENGTH, speed), |t, v| {
            t.height = v
        });
        let field = ("Thickness", name, "From wall to wall.");
        let speed = length_speed(trim.thickness, edge);
        self.trim_number(ui, trim, field, trim.thickness, (LENGTH, speed), |t, v| {
            t.thickness = v
        });
        if trim.side != TrimSide::Upon {
            self.trim_across(ui, trim);
        }
        if let Some(edge) = choice(ui, ("Edge", name), &TrimEdge::WORDS, trim.edge) {
            self.change_trim(name, format!("Edge of '{name}'"), |trim| trim.edge = edge);
        }
        if let Some(side) = choice(ui, ("Side", name), &TrimSide::WORDS, trim.side) {
            self.change_trim(name, format!("Side of '{name}'"), |trim| trim.side = side);
        }
        // What lies upon the surface goes where the surface does.
        if trim.side != TrimSide::Upon {
            self.trim_direction(ui, trim);
        }
        self.trim_front(ui, trim, edge);
        if button(ui, "Take out", name) {
            let label = format!("Take out '{name}'");
            self.change(label, |spec| spec.trims.retain(|t| t.name != name));
        }
    }

    fn trim_across(&mut self, ui: &mut Ui, trim: &TrimSpec) {
        let name = trim.name.as_str();
        let tip = "Degrees that it leans outward; below 0 inward.";
        let field = ("Flare", name, tip);
        self.trim_number(ui, trim, field, trim.flare, (FLARE, 0.25), |t, v| {
            t.flare = v
        });
        let tip = "Loops across its height, beside those that hold corners.";
        let field = ("Loops", name, tip);
        self.trim_number(ui, trim, field, trim.loops, (TRIM_LOOPS, 0.05), |t, v| {
            t.loops = v
        });
    }

    fn trim_direction(&mut self, ui: &mut Ui, trim: &TrimSpec) {
        let name = trim.name.as_str();
        let mut follow = trim.follow;
        let follows = ui.checkbox(&mut follow, "Lies on the sculpt where that goes on");
        if follows.changed() {
            self.change_trim(name, format!("'{name}' on the sculpt"), |trim| {
                trim.follow = follow
            });
        }
        let mut words = TrimDirection::WORDS.to_vec();
        if let TrimDirection::Fixed(_) = trim.direction {
            words.push(("as in the job file", trim.direction));
        }
        if let Some(way) = choice(ui, ("Headed along", name), &words, trim.direction) {
            self.change_trim(name, format!("Direction of '{name}'"), |t| {
                t.direction = way
            });
        }
    }

    fn trim_front(&mut self, ui: &mut Ui, trim: &TrimSpec, edge: f64) {
        let name = trim.name.as_str();
        if let Some(front) = choice(ui, ("Front", name), &TrimFront::WORDS, trim.front) {
            let lap = round_length(edge);
            self.change_trim(name, format!("Front of '{name}'"), |trim| {
                trim.front = front;
                if front == TrimFront::Closed {
                    (trim.front_width, trim.front_at) = (0.0, None);
                }
                (trim.lap, trim.upper) = match front {
                    TrimFront::Overlap => (lap, trim.upper),
                    _ => (0.0, TrimEnd::Right),
                };
            });
        }
        if trim.front != TrimFront::Closed {
            let tip = "How wide the gap is, as far as vertices allow; 0: one vertex alone.";
            let speed = length_speed(trim.front_width, edge);
            let limits = (0.0..=*LENGTH.end(), speed);
            let field = ("Gap", name, tip);
            self.trim_number(ui, trim, field, trim.front_width, limits, |trim, v| {
                trim.front_width = v;
            });
        }
        if trim.front == TrimFront::Overlap {
            let tip = "How far one end lies over the other.";
            let (field, speed) = (("Lap", name, tip), length_speed(trim.lap, edge));
            self.trim_number(ui, trim, field, trim.lap, (LENGTH, speed), |trim, v| {
                trim.lap = v;
            });
            let end = choice(ui, ("End on top", name), &TrimEnd::WORDS, trim.upper);
            if let Some(upper) = end {
                self.change_trim(name, format!("End on top of '{name}'"), |trim| {
                    trim.upper = upper;
                });
            }
        }
    }

    /// A number of a trim; a drag of it is one step.
    fn trim_number<N: egui::emath::Numeric>(
        &mut self,
        ui: &mut Ui,
        trim: &TrimSpec,
        (label, of, tip): (&str, &str, &str),
        value: N,
        (range, speed): (std::ops::RangeInclusive<N>, f64),
        set: impl FnOnce(&mut TrimSpec, N),
    ) {
        let (changed, ended) = number(ui, (label, of, tip), value, range, speed);
        if let Some(value) = changed {
            let name = &trim.name;
            let key = format!("trim {name} {label}");
            self.change_on(&key, format!("{label} of '{name}'"), |spec| {
                if let Some(trim) = spec.trims.iter_mut().find(|t| t.name == *name) {
                    set(trim, value);
                }
            });
        }
        if ended {
            self.settle();
        }
    }
}

fn kind_word(kind: TrimKind) -> &'static str {
    let all = TrimKind::WORDS.iter();
    all.filter(|(_, of)| *of == kind)
        .map(|(word, _)| *word)
        .next()
        .unwrap_or_default()
}
