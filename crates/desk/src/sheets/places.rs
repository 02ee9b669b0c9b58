//! What is asked of places besides guides: a row each, to be shown, changed or taken out.

use egui::{DragValue, Ui};
use files::{AreaSize, ChangeSpec, JobSpec, KeepOutPlace, RegionSpec};
use mesh::DVec3;

use crate::desk::Desk;

/// Least and greatest density of a part, as the job file takes it.
const DENSITY: std::ops::RangeInclusive<f64> = 0.25..=4.0;

/// Takes one thing out of the job.
type TakeOut = fn(&mut JobSpec, usize);

/// One row.
struct Row {
    words: String,
    /// Where it is.
    at: Option<DVec3>,
    /// Its number among its like.
    number: usize,
    take_out: TakeOut,
    /// Density, for a part that has one.
    density: Option<f64>,
}

impl Desk {
    pub(super) fn place_sheet(&mut self, ui: &mut Ui) {
        ui.heading("Places");
        let Some(job) = &self.job else {
            return;
        };
        let rows = rows(job.document.spec());
        if rows.is_empty() {
            ui.label("None yet: pins, painted places, held quads and changed loops come here.");
        }
        for row in rows {
            ui.horizontal(|ui| {
                let seen = ui.add_enabled(row.at.is_some(), egui::Button::new(&row.words));
                if seen.on_hover_text("Click to go there.").clicked() {
                    self.finding = None;
                    self.go_to(row.at.into_iter().collect());
                }
                if let Some(mut density) = row.density {
                    let field = DragValue::new(&mut density).range(DENSITY).speed(0.01);
                    let text = "Quads along a length, over how many there would be.";
                    let field = ui.add(field.fixed_decimals(2)).on_hover_text(text);
                    field.widget_info(|| {
                        let label = format!("Density of {}", row.words);
                        egui::WidgetInfo::labeled(egui::Role::SpinButton, true, label)
                    });
                    if field.changed() {
                        let label = format!("Density {density:.2}");
                        self.change_on(&format!("density {}", row.number), label, |spec| {
                            if let Some(area) = spec.areas.get_mut(row.number) {
                                area.size = AreaSize::Density(density);
                            }
                        });
                    }
                }
                let out = ui.button("Take out");
                out.widget_info(|| {
                    let label = format!("Take out {}", row.words);
                    egui::WidgetInfo::labeled(egui::Role::Button, true, label)
                });
                if out.clicked() {
                    let label = format!("Take out {}", row.words);
                    self.change(label, |spec| (row.take_out)(spec, row.number));
                }
            });
        }
    }
}

fn rows(spec: &JobSpec) -> Vec<Row> {
    let row = |number, words: String, at, take_out| Row {
        words,
        at,
        number,
        take_out,
        density: None,
    };
    let mut rows = Vec::new();
    for (i, pin) in spec.pins.iter().enumerate() {
        let words = format!("{} of {}", pin.name, pin.valence);
        rows.push(row(i, words, Some(pin.at), |spec, i| {
            spec.pins.remove(i);
        }));
    }
    for (i, kept) in spec.keep_outs.iter().enumerate() {
        let at = match &kept.place {
            KeepOutPlace::Region(region) => middle(region),
            KeepOutPlace::Guide { .. } => None,
        };
        rows.push(row(i, kept.name.clone(), at, |spec, i| {
            spec.keep_outs.remove(i);
        }));
    }
    for (i, area) in spec.areas.iter().enumerate() {
        let mut row = row(i, area.name.clone(), middle(&area.region), |spec, i| {
            spec.areas.remove(i);
        });
        if let AreaSize::Density(density) = area.size {
            row.density = Some(density);
        }
        rows.push(row);
    }
    for (i, hold) in spec.holds.iter().enumerate() {
        rows.push(row(i, hold.name.clone(), None, |spec, i| {
            spec.holds.remove(i);
        }));
    }
    for (i, edit) in spec.edits.iter().enumerate() {
        let (what, at) = match edit.change {
            ChangeSpec::Insert { at, .. } => ("loop put in", at),
            ChangeSpec::Remove { at, .. } => ("loop taken out", at),
            ChangeSpec::Slide { at, .. } => ("loop slid", at),
            ChangeSpec::Move { to, .. } => ("vertex nudged", to),
        };
        rows.push(row(i, format!("{}: {what}", i + 1), Some(at), |spec, i| {
            spec.edits.remove(i);
        }));
    }
    rows
}

fn middle(region: &RegionSpec) -> Option<DVec3> {
    match region {
        RegionSpec::Around { at, .. } => Some(*at),
        RegionSpec::Outline(points) => {
            let count = points.len().max(1) as f64;
            Some(points.iter().sum::<DVec3>() / count)
        }
    }
}
