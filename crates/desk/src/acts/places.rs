//! What is asked of places: edits of the surface, pins, painted parts.

use files::{
    AreaSize, AreaSpec, ChangeSpec, EditSpec, KeepOutPlace, KeepOutSpec, PinSpec, RegionSpec,
};
use glam::DVec2;
use mesh::DVec3;
use session::HoldingError;
use session::draw::{Painted, Ray, free_name};

use super::strokes::TRIMS_ARE_WOVEN;
use crate::desk::Desk;
use crate::hand::Hand;
use crate::view::LoopGrip;

/// Farthest that a slide goes, as a share of the way to the neighbour.
const MOST_SLIDE: f64 = 0.9;
/// Density of a newly painted part: quads along a length, over how many there would be.
const DENSER: f64 = 1.5;
/// Holds of one job that names are looked for.
const MOST_HOLDS: u32 = 1000;

impl Desk {
    pub(super) fn edit(&mut self, label: &str, change: ChangeSpec) {
        self.edited = self.change(label, |spec| {
            spec.edits.push(EditSpec {
                change,
                recount: true,
                line: 0,
            });
        });
    }

    pub(super) fn slide(&mut self, grip: LoopGrip, to: DVec2) {
        let hit = self.hit(to);
        if let Some(hit) = hit {
            let by = (hit.point - grip.at).dot(grip.left) / grip.across.max(f64::MIN_POSITIVE);
            let share = by.clamp(-MOST_SLIDE, MOST_SLIDE);
            let (at, along) = (grip.on, grip.along);
            self.edit("Slide a loop", ChangeSpec::Slide { at, along, share });
        }
    }

    /// What the brush has painted becomes what the hand makes of it.
    pub(super) fn paint(&mut self, path: &[DVec2]) {
        let Some(job) = &self.job else {
            return;
        };
        let radius = self.view.brush_pixels();
        let ray = |pixel| self.view.ray(pixel);
        let Painted { outline, rays } = match job.pen.painted(path, radius, ray, job.tolerance()) {
            Ok(painted) => painted,
            Err(problem) => return self.say(problem),
        };
        match self.hand {
            Hand::BarPoles => self.bar_poles(outline.points),
            Hand::Density => self.set_density(outline.points),
            Hand::Hold => self.hold(&rays),
            _ => {}
        }
    }

    fn bar_poles(&mut self, outline: Vec<DVec3>) {
        self.change("Bar poles from a place", |spec| {
            let name = free_name("no poles", spec.keep_outs.iter().map(|k| k.name.as_str()));
            spec.keep_outs.push(KeepOutSpec {
                name,
                place: KeepOutPlace::Region(RegionSpec::Outline(outline)),
                line: 0,
            });
        });
    }

    fn set_density(&mut self, outline: Vec<DVec3>) {
        self.change("Paint a density", |spec| {
            let name = free_name("area", spec.areas.iter().map(|a| a.name.as_str()));
            spec.areas.push(AreaSpec {
                name,
                region: RegionSpec::Outline(outline),
                size: AreaSize::Density(DENSER),
                line: 0,
            });
        });
    }

    /// Holds the quads under the brush. Their file is written at once, for the surface is laid from it;
    /// taking the step back leaves it there.
    fn hold(&mut self, rays: &[Ray]) {
        let Some(job) = &self.job else {
            return;
        };
        let (Some(outcome), Some(quads)) = (&job.outcome, &job.quads) else {
            return;
        };
        let mut painted = quads.under_all(rays);
        let all = painted.len();
        painted.retain(|&quad| !job.is_of_trim(quad));
        if painted.is_empty() && all > 0 {
            self.word = Some((TRIMS_ARE_WOVEN.to_owned(), true));
            return;
        }
        let surface = job.own_part();
        let region = engine::hold::Region::Quads(painted);
        let file = job.document.file();
        let named = |n: u32| format!("held {n}");
        let known = &file.spec().holds;
        let mut free = (1..MOST_HOLDS)
            .map(named)
            .filter(|name| known.iter().all(|h| h.name != *name));
        let ready = free.find_map(|name| {
            let ready = session::holding(file, &surface, &region, outcome.plane, &name);
            // The file of a hold that was taken back is left alone.
            (!matches!(ready, Err(HoldingError::Taken { .. }))).then_some(ready)
        });
        let ready = match ready {
            Some(Ok(ready)) => ready,
            Some(Err(problem)) => {
                self.word = Some((problem.to_string(), true));
                return;
            }
            None => return,
        };
        let name = ready.path.to_string_lossy();
        match files::write_all_or_none(file.folder(), &[(name.as_ref(), &ready.text)]) {
            Ok(()) => {
                self.change(format!("Hold {} quads", ready.quads), |spec| {
                    *spec = ready.spec
                });
            }
            Err(problem) => self.word = Some((problem.to_string(), true)),
        }
    }

    pub(super) fn pin(&mut self, at: DVec3, valence: u32) {
        self.change(format!("Pin a pole of {valence}"), |spec| {
            let name = free_name("pole", spec.pins.iter().map(|p| p.name.as_str()));
            spec.pins.push(PinSpec {
                name,
                at,
                valence,
                line: 0,
            });
        });
    }
}
