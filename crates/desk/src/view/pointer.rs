//! Pointer work on the view.

use egui::{Context, Modifiers, PointerButton, Pos2, Response};
use glam::DVec2;
use mesh::DVec3;
use session::draw::{Hit, Ray, guide_under};

use super::{Drag, View};
use crate::desk::{Desk, Job};
use crate::hand::Hand;

/// Pixels, at 100 %, within which things are under the pointer.
const REACH: f64 = 10.0;
/// Radians that the view turns per pixel of a drag.
const TURN: f64 = 0.008;
/// Length of guide that follows a bend on either side, pixels at 100 %.
const BEND: f64 = 130.0;

/// What a drag has taken hold of.
#[derive(Clone, Debug)]
pub(crate) enum Grip {
    /// A guide, at a place of it, as it was then.
    Guide {
        name: String,
        points: Vec<DVec3>,
        closed: bool,
        from: DVec3,
    },
    /// A vertex of the surface.
    Vertex(DVec3),
    /// A loop of the surface.
    Loop(LoopGrip),
}

/// A loop under the pointer.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct LoopGrip {
    /// A place on the strip.
    pub at: DVec3,
    /// A place on the edge nearest to it.
    pub on: DVec3,
    /// Unit direction of that edge.
    pub along: DVec3,
    /// Unit direction to its left, on the surface.
    pub left: DVec3,
    /// Length of the edges across.
    pub across: f64,
}

impl Desk {
    pub(super) fn point(&mut self, response: &Response, ctx: &Context) {
        let (modifiers, scroll, zoom) =
            ctx.input(|i| (i.modifiers, i.smooth_scroll_delta(), i.zoom_delta()));
        self.view.turning = false;
        let pointer = response.interact_pointer_pos().or(response.hover_pos());
        if response.dragged_by(PointerButton::Secondary)
            || response.dragged_by(PointerButton::Middle)
        {
            let shifts = response.dragged_by(PointerButton::Middle) || modifiers.shift;
            self.move_view(response.drag_delta(), shifts);
        } else {
            self.primary(response, pointer, modifiers);
        }
        let factor = f64::from((-scroll.y * 0.004).exp() / zoom);
        if response.hovered() && factor != 1.0 {
            let size = self.view.size();
            let pixel = pointer.map_or(size / 2.0, |at| self.view.pixel(at));
            let under = self
                .job
                .as_ref()
                .and_then(|job| job.pen.hit(&self.view.ray(pixel)));
            self.view
                .camera
                .zoom(pixel, size, factor, under.map(|hit| hit.point));
            self.view.turning = true;
        }
    }

    fn move_view(&mut self, delta: egui::Vec2, shifts: bool) {
        let scale = f64::from(self.view.pixels_per_point);
        let delta = DVec2::new(f64::from(delta.x), f64::from(delta.y));
        self.view.turning = true;
        if shifts {
            let size = self.view.size();
            self.view.camera.shift(delta * scale, size);
        } else {
            self.view.camera.turn(delta.x * TURN, delta.y * TURN);
        }
    }

    fn primary(&mut self, response: &Response, pointer: Option<Pos2>, modifiers: Modifiers) {
        if self.job.is_none() {
            return;
        }
        let by = PointerButton::Primary;
        if response.drag_started_by(by) {
            let began = response.ctx.input(|i| i.pointer.press_origin()).or(pointer);
            if let Some(began) = began {
                let pixel = self.view.pixel(began);
                let grip = self.grip(pixel);
                self.view.drag = Some(Drag {
                    path: vec![pixel],
                    grip,
                });
            }
        }
        self.view.snap = None;
        if response.dragged_by(by)
            && let Some(at) = pointer
        {
            let pixel = self.view.pixel(at);
            if self.hand == Hand::Look {
                self.move_view(response.drag_delta(), modifiers.shift);
            } else if let Some(drag) = &mut self.view.drag
                && drag
                    .path
                    .last()
                    .is_none_or(|last| last.distance(pixel) >= 2.0)
            {
                drag.path.push(pixel);
                self.dragging(modifiers);
            }
        }
        if response.drag_stopped_by(by)
            && let Some(drag) = self.view.drag.take()
        {
            if self.hand != Hand::Look {
                self.dropped(&drag);
            }
        } else if response.clicked_by(by)
            && let Some(at) = pointer
        {
            let pixel = self.view.pixel(at);
            self.clicked(pixel, modifiers);
        } else if self.hand.draws().is_some()
            && let (Some(at), Some(job)) = (response.hover_pos(), &self.job)
        {
            let ray = self.view.ray(self.view.pixel(at));
            let reach = |hit: &Hit| self.view.reach(hit.point);
            let snap = job
                .pen
                .hit(&ray)
                .and_then(|hit| job.snap(hit.point, reach(&hit)));
            self.view.snap = snap;
        }
    }

    /// What a drag that begins here takes hold of.
    fn grip(&self, pixel: DVec2) -> Option<Grip> {
        let job = self.job.as_ref()?;
        let ray = self.view.ray(pixel);
        match self.hand {
            Hand::Reshape => {
                let (guide, from) = job.guide_under(&ray, &self.view)?;
                Some(Grip::Guide {
                    name: guide.name.clone(),
                    points: guide.points.clone(),
                    closed: guide.closed,
                    from,
                })
            }
            Hand::Nudge => {
                let surface = &job.outcome.as_ref()?.surface;
                let found = job.quads.as_ref()?.under(&ray)?;
                let own = surface.quads.get(found.quad as usize)?;
                own.contains(&found.vertex)
                    .then(|| Grip::Vertex(surface.positions[found.vertex as usize]))
            }
            Hand::Loops => job.loop_under(&ray).map(Grip::Loop),
            _ => None,
        }
    }
}

impl View {
    /// The ray through a pixel of the picture.
    pub(crate) fn ray(&self, pixel: DVec2) -> Ray {
        let (origin, direction) = self.camera.ray(pixel, self.size());
        Ray { origin, direction }
    }

    /// Model units of a length in pixels at 100 %, at a point.
    fn length(&self, pixels: f64, at: DVec3) -> f64 {
        let pixels = pixels * f64::from(self.pixels_per_point);
        pixels * self.camera.units_per_pixel_at(at, self.size().y)
    }

    /// Radius of the brush, pixels of the picture.
    pub(crate) fn brush_pixels(&self) -> f64 {
        f64::from(self.brush * self.pixels_per_point)
    }

    /// Model units within which things are under the pointer.
    pub(crate) fn reach(&self, at: DVec3) -> f64 {
        self.length(REACH, at)
    }

    /// Model units of a guide that follow a bend.
    pub(crate) fn bend(&self, at: DVec3) -> f64 {
        self.length(BEND, at)
    }
}

impl Job {
    pub(crate) fn guides(&self) -> impl Iterator<Item = (&[DVec3], bool)> + Clone {
        let guides = self.document.spec().guides.iter();
        guides.map(|g| (&g.points[..], g.closed))
    }

    /// The guides but one, as [`Job::guides`].
    pub(crate) fn guides_but<'a>(
        &'a self,
        name: &'a str,
    ) -> impl Iterator<Item = (&'a [DVec3], bool)> + Clone {
        let guides = self.document.spec().guides.iter();
        guides
            .filter(move |g| g.name != name)
            .map(|g| (&g.points[..], g.closed))
    }

    fn snap(&self, p: DVec3, reach: f64) -> Option<session::draw::Snap> {
        self.pen.snap(p, self.guides(), self.plane(), reach)
    }

    /// A hit with its point drawn to what is near.
    pub(crate) fn snapped(&self, hit: Hit, view: &View) -> DVec3 {
        let snap = self.snap(hit.point, view.reach(hit.point));
        snap.map_or(hit.point, |snap| snap.at)
    }

    pub(crate) fn guide_under(&self, ray: &Ray, view: &View) -> Option<(&files::GuideSpec, DVec3)> {
        let depth = self
            .pen
            .hit(ray)
            .map_or(view.camera.target, |hit| hit.point);
        let found = guide_under(&self.pen, ray, self.guides(), view.reach(depth))?;
        Some((self.document.spec().guides.get(found.guide)?, found.at))
    }

    /// Whether a trim's quad is what lies under a ray: hands change the run's own surface.
    pub(crate) fn is_trim_under(&self, ray: &Ray) -> bool {
        let found = self.quads.as_ref().and_then(|quads| quads.under(ray));
        found.is_some_and(|found| self.is_of_trim(found.quad))
    }

    /// Whether a quad of the surface that is shown is a trim's.
    pub(crate) fn is_of_trim(&self, quad: u32) -> bool {
        let own = self.outcome.as_ref().map_or(0, |o| o.surface.quads.len());
        quad as usize >= own
    }

    /// The loop under a ray, where it lies before layers move it: edits are played there.
    pub(crate) fn loop_under(&self, ray: &Ray) -> Option<LoopGrip> {
        let surface = &self.outcome.as_ref()?.surface;
        let found = self.quads.as_ref()?.under(ray)?;
        let quad = surface.quads.get(found.quad as usize)?;
        let shown = &self.surface()?.positions;
        let moved = |v: u32| shown[v as usize] - surface.positions[v as usize];
        let moved = quad.iter().map(|&v| moved(v)).sum::<DVec3>() / 4.0;
        let corners = quad.map(|v| surface.positions[v as usize]);
        let corner = |k: usize| corners[(found.side + k) % 4];
        let (a, b) = (corner(0), corner(1));
        let along = (b - a).try_normalize()?;
        let normal = (corners[2] - corners[0]).cross(corners[3] - corners[1]);
        Some(LoopGrip {
            at: found.at - moved,
            on: (a + b) / 2.0,
            along,
            left: normal.cross(along).try_normalize()?,
            across: (corner(3).distance(a) + corner(2).distance(b)) / 2.0,
        })
    }
}
