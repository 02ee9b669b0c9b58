//! Ready or not, and what was found.

use base::{Finding, Level, Place};
use egui::{RichText, Ui};
use mesh::DVec3;

use crate::desk::{Desk, Job};

/// Findings shown at once.
const MOST: usize = 200;

impl Desk {
    pub(super) fn finding_sheet(&mut self, ui: &mut Ui) {
        ui.heading("Findings");
        let Some(job) = &self.job else {
            return;
        };
        if let Some(refusal) = &job.refusal {
            let colour = ui.visuals().error_fg_color;
            ui.label(
                RichText::new("No surface for this state.")
                    .color(colour)
                    .strong(),
            );
            ui.label(refusal);
            ui.label("The last surface stays.");
        }
        let all = job.findings();
        if let (Some(outcome), Some(done)) = (&job.outcome, &job.done) {
            let failed = all.iter().filter(|f| f.level == Level::Fail).count();
            let word = match failed {
                0 => "Ready: every check holds.".to_owned(),
                1 => "Not ready: a check fails.".to_owned(),
                n => format!("Not ready: {n} checks fail."),
            };
            ui.strong(word);
            let (quads, poles) = (done.surface.quads.len(), outcome.poles.len());
            ui.label(format!("{quads} quads, {poles} poles."));
        }
        let findings: Vec<Finding> = all.into_iter().take(MOST).cloned().collect();
        let mut go = None;
        for (i, finding) in findings.iter().enumerate() {
            let word = match finding.level {
                Level::Fail => "fails",
                Level::Warn => "look",
                Level::Note => "note",
                Level::Pass => "holds",
            };
            let places = places(finding, job);
            let text = format!("{word}: {}", finding.sentence);
            let response = ui.add(egui::Button::selectable(self.finding == Some(i), text).wrap());
            let hint = if places.is_empty() {
                "It is about the whole."
            } else {
                "Click to go there."
            };
            if response.on_hover_text(hint).clicked() {
                go = Some((i, places));
            }
        }
        if let Some((i, places)) = go {
            self.finding = Some(i);
            self.go_to(places);
        }
    }

    /// Brings places into the middle of the picture and marks them.
    pub(super) fn go_to(&mut self, places: Vec<DVec3>) {
        if let Some(&first) = places.first() {
            let eye = self.view.camera.forward();
            let target = &mut self.view.camera;
            target.target = first;
            // Near enough to see single quads; from outside of the sculpt.
            if let Some(job) = &self.job {
                let edge = job.outcome.as_ref().map_or(0.0, |o| o.edge);
                let near = 60.0 * edge;
                target.distance = if near > 0.0 {
                    target.distance.min(near)
                } else {
                    target.distance
                };
                let normal = job.outcome.as_ref().and_then(|_| {
                    let sculpt = job.pen.sculpt();
                    let found = sculpt.index.closest(first)?;
                    sculpt
                        .mesh
                        .area_normal(found.triangle as usize)
                        .try_normalize()
                });
                if let Some(normal) = normal.filter(|n| n.dot(eye) > -0.2) {
                    target.yaw = normal.x.atan2(normal.z);
                    target.pitch = normal.y.clamp(-1.0, 1.0).asin();
                }
            }
        }
        self.view.marked = places;
    }
}

/// Where a finding is.
fn places(finding: &Finding, job: &Job) -> Vec<DVec3> {
    let of = |place: &Place| match place {
        Place::Point { at } | Place::Vertex { at, .. } | Place::Face { at, .. } => {
            Some(DVec3::from(*at))
        }
        Place::Guide { name } => {
            let guide = job
                .document
                .spec()
                .guides
                .iter()
                .find(|g| g.name == *name)?;
            guide.points.first().copied()
        }
    };
    finding.places.iter().filter_map(of).collect()
}
