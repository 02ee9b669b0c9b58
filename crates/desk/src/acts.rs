//! What the artist does, whether by pen, key or button.

use std::path::Path;

use egui::{Context, Key, KeyboardShortcut, Modifiers, ViewportCommand};
use files::{
    ChangeSpec, EditSpec, GuideKind, GuideSpec, JobError, JobSpec, KeepOutPlace, KeepOutSpec,
    PinSpec, RegionSpec,
};
use glam::DVec2;
use mesh::DVec3;
use session::Changed;
use session::draw::{DrawError, Drawn, Hit, Ray, free_name};

use crate::desk::Desk;
use crate::hand::Hand;
use crate::opening::Start;
use crate::view::{Drag, Grip, LoopGrip};

/// How strongly lines are smoothed.
const SMOOTH: f64 = 0.4;
/// Farthest that a slide goes, as a share of the way to the neighbour.
const MOST_SLIDE: f64 = 0.9;

impl Desk {
    /// Changes the job as one step; says why if a job can't be so.
    pub(crate) fn change(
        &mut self,
        label: impl Into<String>,
        edit: impl FnOnce(&mut JobSpec),
    ) -> bool {
        let Some(job) = &mut self.job else {
            return false;
        };
        let changed = job.document.change(label, edit);
        self.done(changed)
    }

    /// As [`Desk::change`], one step with those of the same key.
    pub(crate) fn change_on(
        &mut self,
        key: &str,
        label: impl Into<String>,
        edit: impl FnOnce(&mut JobSpec),
    ) {
        if let Some(job) = &mut self.job {
            let changed = job.document.change_on(key, label, edit);
            self.done(changed);
        }
    }

    fn done(&mut self, changed: Result<bool, JobError>) -> bool {
        match changed {
            Ok(changed) => {
                if changed {
                    self.word = None;
                    self.view.guides_changed();
                }
                changed
            }
            Err(problem) => {
                let first = problem.problems.first().map(|p| p.fault.to_string());
                self.word = Some((first.unwrap_or_else(|| problem.to_string()), true));
                false
            }
        }
    }

    pub(crate) fn pick(&mut self, name: Option<String>) {
        if self.picked != name {
            self.picked = name;
            self.renaming = None;
            self.view.guides_changed();
        }
    }

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
        let moved = if slides {
            job.pen
                .slid(points, hit.point - *from, job.plane(), tolerance)
        } else {
            let reach = self.view.bend(*from);
            Ok(job
                .pen
                .bent(points, *closed, *from, hit.point, reach, tolerance))
        };
        let name = name.clone();
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
                    let path = drag.path.clone();
                    self.draw(kind, &path);
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
            (Some(Grip::Middle(at)), _) => {
                let hit = self.hit(last);
                if let Some(hit) = hit {
                    self.bar_poles(*at, hit.point.distance(*at));
                }
            }
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
                    return;
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
            Hand::Nudge | Hand::NoPoles => {}
        }
    }

    /// Where the sculpt is under a pixel of the picture.
    fn hit(&self, pixel: DVec2) -> Option<Hit> {
        self.job.as_ref()?.pen.hit(&self.view.ray(pixel))
    }

    fn say(&mut self, problem: DrawError) {
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

    fn edit(&mut self, label: &str, change: ChangeSpec) {
        self.change(label, |spec| {
            spec.edits.push(EditSpec {
                change,
                recount: true,
                line: 0,
            });
        });
    }

    fn slide(&mut self, grip: LoopGrip, to: DVec2) {
        let hit = self.hit(to);
        if let Some(hit) = hit {
            let by = (hit.point - grip.at).dot(grip.left) / grip.across.max(f64::MIN_POSITIVE);
            let share = by.clamp(-MOST_SLIDE, MOST_SLIDE);
            let (at, along) = (grip.on, grip.along);
            self.edit("Slide a loop", ChangeSpec::Slide { at, along, share });
        }
    }

    fn bar_poles(&mut self, at: DVec3, reach: f64) {
        if reach <= 0.0 {
            return;
        }
        self.change("Bar poles from a place", |spec| {
            let name = free_name("no poles", spec.keep_outs.iter().map(|k| k.name.as_str()));
            spec.keep_outs.push(KeepOutSpec {
                name,
                place: KeepOutPlace::Region(RegionSpec::Around { at, reach }),
                line: 0,
            });
        });
    }

    fn pin(&mut self, at: DVec3, valence: u32) {
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

    pub(crate) fn delete_picked(&mut self) {
        if let Some(name) = self.picked.clone()
            && self.change(format!("Delete '{name}'"), |spec| {
                spec.guides.retain(|g| g.name != name)
            })
        {
            self.pick(None);
        }
    }

    /// Cuts the picked guide: a closed one open, an open one in two, at its middle point.
    pub(crate) fn split_picked(&mut self) {
        use session::draw::{split_closed, split_open};
        let Some(name) = self.picked.clone() else {
            return;
        };
        self.change(format!("Split '{name}'"), |spec| {
            let taken: Vec<String> = spec.guides.iter().map(|g| g.name.clone()).collect();
            let Some(place) = spec.guides.iter().position(|g| g.name == name) else {
                return;
            };
            let guide = &mut spec.guides[place];
            let middle = guide.points.len() / 2;
            if guide.closed {
                guide.points = split_closed(&guide.points, middle, guide.points[middle]);
                (guide.closed, guide.kind, guide.loops) = (false, GuideKind::Line, 0);
            } else if let Some([first, second]) = split_open(
                &guide.points,
                middle.saturating_sub(1),
                guide.points[middle],
            ) {
                guide.points = first;
                guide.count = None;
                let mut other = guide.clone();
                other.points = second;
                other.name = free_name(&name, taken.iter().map(String::as_str));
                spec.guides.insert(place + 1, other);
            }
        });
    }

    /// Joins the picked open guide to the open one whose end is nearest.
    pub(crate) fn join_picked(&mut self) {
        let Some(name) = self.picked.clone() else {
            return;
        };
        let reach = self.job.as_ref().map_or(0.0, |job| 60.0 * job.tolerance());
        let joined = self.change(format!("Join '{name}'"), |spec| {
            let Some(mine) = spec
                .guides
                .iter()
                .find(|g| g.name == name && !g.closed)
                .cloned()
            else {
                return;
            };
            let others = spec
                .guides
                .iter()
                .enumerate()
                .filter(|(_, g)| g.name != name && !g.closed);
            let found = others.filter_map(|(i, g)| {
                Some((i, session::draw::joined(&mine.points, &g.points, reach)?))
            });
            let shortest = found.min_by(|a, b| {
                let long = |points: &[DVec3]| mesh::runs::length(points, false);
                long(&a.1).total_cmp(&long(&b.1))
            });
            if let Some((other, points)) = shortest {
                spec.guides.remove(other);
                if let Some(guide) = spec.guides.iter_mut().find(|g| g.name == name) {
                    guide.points = points;
                    guide.count = None;
                }
            }
        });
        if !joined {
            self.word = Some((
                "No end of another open guide is near an end of this one.".to_owned(),
                true,
            ));
        }
    }

    pub(crate) fn undo(&mut self) {
        self.back_and_forth(|document| document.undo());
    }

    pub(crate) fn redo(&mut self) {
        self.back_and_forth(|document| document.redo());
    }

    fn back_and_forth(&mut self, step: impl FnOnce(&mut session::Document) -> bool) {
        if let Some(job) = &mut self.job {
            step(&mut job.document);
            let gone = |name: &String| job.document.spec().guides.iter().all(|g| g.name != *name);
            if self.picked.as_ref().is_some_and(gone) {
                self.picked = None;
            }
            self.word = None;
            self.view.guides_changed();
        }
    }

    pub(crate) fn save(&mut self) {
        if let Some(job) = &mut self.job {
            match job.document.save() {
                Ok(()) => {
                    job.watched.wrote(&job.document);
                    self.word = Some((
                        format!("Saved as {}.", job.document.path().display()),
                        false,
                    ));
                }
                Err(problem) => self.word = Some((problem.to_string(), true)),
            }
        }
    }

    /// Takes up what changed outside.
    pub(crate) fn reload(&mut self) {
        let Some(job) = &mut self.job else {
            return;
        };
        let changed = std::mem::take(&mut job.outside);
        if changed.contains(&Changed::Sculpt) {
            let path = job.document.path().to_owned();
            return self.open_file(&path);
        }
        job.ordered.clear();
        if changed.contains(&Changed::Job)
            && let Err(problem) = job.document.reload()
        {
            self.word = Some((problem.to_string(), true));
        }
    }

    pub(crate) fn open_file(&mut self, path: &Path) {
        self.open(Start::of_file(path));
    }

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
