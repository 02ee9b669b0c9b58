//! Strokes and clicks on the view.

use egui::Modifiers;
use files::{ChangeSpec, GuideKind, GuideSpec};
use glam::DVec2;
use session::draw::{DrawError, Drawn, Hit, Ray, free_name};

use crate::desk::Desk;
use crate::hand::Hand;
use crate::view::{Drag, Grip, LoopGrip};

/// How strongly lines are smoothed.
const SMOOTH: f64 = 0.4;

/// Why the pen does nothing on what isn't the run's own surface.
pub(super) const TRIMS_ARE_WOVEN: &str = "This is a trim or the lining: it is made anew each time, from its numbers. Change those in the list of trims or in the job; its quads can't be held or changed by hand.";

impl Desk {
    /// Goes on while a drag lasts.
    pub(crate) fn dragging(&mut self, modifiers: Modifiers) {
        let (Some(job), Some(drag)) = (&self.job, &self.view.drag) else {
            return;
        };
        let (
            Some(Grip::Guide {
                name,
                points,
                closed,
                from,
            }),
            Some(&pixel),
        ) = (&drag.grip, drag.path.last())
        else {
            return;
        };
        let ray = self.view.ray(pixel);
        let Some(hit) = job.pen.hit(&ray) else {
            return;
        };
        let tolerance = job.tolerance();
        let slides = modifiers.shift && *closed;
        // An end goes to what it is brought to.
        let end = [points.first(), points.last()].iter().position(|end| {
            !closed && end.is_some_and(|p| p.distance(*from) <= self.view.reach(*p))
        });
        let snap = end.and_then(|_| {
            let others = job.guides_but(name);
            job.pen
                .snap(hit.point, others, job.plane(), self.view.reach(hit.point))
        });
        let to = snap.map_or(hit.point, |snap| snap.at);
        let moved = if slides {
            job.pen
                .slid(points, hit.point - *from, job.plane(), tolerance)
        } else {
            let reach = self.view.bend(*from);
            let mut bent = job.pen.bent(points, *closed, *from, to, reach, tolerance);
            let last = bent.len().saturating_sub(1);
            if let (Some(_), Some(p)) = (snap, end.and_then(|k| bent.get_mut(k * last))) {
                *p = to;
            }
            Ok(bent)
        };
        let name = name.clone();
        self.view.snap = snap;
        match moved {
            Ok(points) => {
                let what = if slides { "Slide" } else { "Bend" };
                self.change_on(
                    &format!("drag {name}"),
                    format!("{what} '{name}'"),
                    |spec| {
                        if let Some(guide) = spec.guides.iter_mut().find(|g| g.name == name) {
                            guide.points = points;
                        }
                    },
                );
            }
            Err(problem) => self.word = Some((problem.to_string(), true)),
        }
    }

    /// A drag ended.
    pub(crate) fn dropped(&mut self, drag: &Drag) {
        if let Some(job) = &mut self.job {
            job.document.settle();
        }
        let Some(&last) = drag.path.last() else {
            return;
        };
        match (&drag.grip, self.hand) {
            (None, hand) => {
                if let Some(kind) = hand.draws() {
                    self.draw(kind, &drag.path);
                } else if hand.paints() {
                    self.paint(&drag.path);
                } else if let Some(&first) = drag.path.first() {
                    self.say_if_trim(first);
                }
            }
            (Some(Grip::Guide { name, .. }), _) => self.pick(Some(name.clone())),
            (Some(Grip::Vertex(at)), _) => {
                let hit = self.hit(last);
                if let Some(to) = hit.map(|hit| hit.point) {
                    self.edit(
                        "Nudge a vertex",
                        ChangeSpec::Move {
                            at: *at,
                            to,
                            relax: 1,
                        },
                    );
                }
            }
            (Some(Grip::Loop(grip)), _) => self.slide(*grip, last),
        }
    }

    /// A click on the view.
    pub(crate) fn clicked(&mut self, pixel: DVec2, modifiers: Modifiers) {
        let Some(job) = &self.job else {
            return;
        };
        let ray = self.view.ray(pixel);
        match self.hand {
            Hand::Look | Hand::Reshape | Hand::DrawRing | Hand::DrawLine => {
                let name = job
                    .guide_under(&ray, &self.view)
                    .map(|(guide, _)| guide.name.clone());
                self.pick(name);
            }
            Hand::DrawOpening => {
                let Some(hit) = job.pen.hit(&ray) else {
                    return self.say(DrawError::Missed);
                };
                let reach = 4.0 * self.view.reach(hit.point);
                let found = job.pen.boundary_near(hit.point, reach, job.tolerance());
                self.add(GuideKind::Opening, found);
            }
            Hand::Loops => {
                let Some(grip) = job.loop_under(&ray) else {
                    return self.say_if_trim(pixel);
                };
                if modifiers.shift {
                    let LoopGrip { on: at, along, .. } = grip;
                    self.edit("Take a loop out", ChangeSpec::Remove { at, along });
                } else {
                    let LoopGrip { at, along, .. } = grip;
                    self.edit(
                        "Put a loop in",
                        ChangeSpec::Insert {
                            at,
                            along,
                            share: 0.5,
                        },
                    );
                }
            }
            Hand::Pin => {
                if let Some(hit) = job.pen.hit(&ray) {
                    self.pin(hit.point, if modifiers.shift { 3 } else { 5 });
                }
            }
            Hand::BarPoles | Hand::Density | Hand::Hold => self.paint(&[pixel]),
            Hand::Nudge => self.say_if_trim(pixel),
        }
    }

    /// Says why nothing can be done by hand, where a trim lies under a pixel of the picture.
    fn say_if_trim(&mut self, pixel: DVec2) {
        let ray = self.view.ray(pixel);
        if self.hand.needs_surface() && self.job.as_ref().is_some_and(|j| j.is_trim_under(&ray)) {
            self.word = Some((TRIMS_ARE_WOVEN.to_owned(), true));
        }
    }

    /// Where the sculpt is under a pixel of the picture.
    pub(super) fn hit(&self, pixel: DVec2) -> Option<Hit> {
        self.job.as_ref()?.pen.hit(&self.view.ray(pixel))
    }

    pub(super) fn say(&mut self, problem: DrawError) {
        self.word = Some((problem.to_string(), true));
    }

    /// Makes a guide of a stroke.
    fn draw(&mut self, kind: GuideKind, path: &[DVec2]) {
        let Some(job) = &self.job else {
            return;
        };
        let rays: Vec<Ray> = path.iter().map(|&pixel| self.view.ray(pixel)).collect();
        let tolerance = job.tolerance();
        let mut drawn = match kind {
            GuideKind::Ring => job.pen.ring(&rays, job.plane(), tolerance),
            GuideKind::Line => job.pen.line(&rays, SMOOTH, tolerance),
            GuideKind::Opening => job.pen.opening(&rays, SMOOTH, tolerance),
        };
        if let Ok(Drawn {
            points,
            closed: false,
        }) = &mut drawn
        {
            // Ends of lines go to what they were drawn to.
            let ends = [rays.first(), rays.last()].map(|ray| {
                let hit = job.pen.hit(ray?)?;
                Some(job.snapped(hit, &self.view))
            });
            if let (Some(p), Some(at)) = (points.first_mut(), ends[0]) {
                *p = at;
            }
            if let (Some(p), Some(at)) = (points.last_mut(), ends[1]) {
                *p = at;
            }
        }
        self.add(kind, drawn);
    }

    fn add(&mut self, kind: GuideKind, drawn: Result<Drawn, DrawError>) {
        let drawn = match drawn {
            Ok(drawn) => drawn,
            Err(problem) => return self.say(problem),
        };
        let Some(job) = &self.job else {
            return;
        };
        let guides = &job.document.spec().guides;
        let name = free_name(kind.word(), guides.iter().map(|g| g.name.as_str()));
        let guide = GuideSpec {
            closed: drawn.closed,
            ..GuideSpec::new(&name, kind, drawn.points)
        };
        if self.change(format!("Draw {} '{name}'", kind.word()), |spec| {
            spec.guides.push(guide)
        }) {
            self.pick(Some(name));
        }
    }
}
