//! The view: what it shows, where the eye is, and the stroke under way.

mod paint;
mod pointer;
mod show;

pub(crate) use pointer::{Grip, LoopGrip};

use std::time::{Duration, Instant};

use egui::{Pos2, Rect, TextureId, pos2};
use engine::model::Sculpt;
use glam::DVec2;
use mesh::{DVec3, TriMesh};
use render::{Camera, Scene};
use session::Outcome;
use session::draw::Snap;

/// How long what changed in a surface is lit up.
const FRESH: Duration = Duration::from_millis(1600);

/// Radius of the brush at first, and the least and greatest, points of the window.
pub(crate) const BRUSH: (f32, std::ops::RangeInclusive<f32>) = (28.0, 6.0..=160.0);

/// How one of the layers is shown.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Shown {
    /// As it is.
    Full,
    /// What is behind shows through.
    Ghost,
    /// Not at all.
    Hidden,
}

impl Shown {
    pub const ALL: [(Shown, &'static str); 3] = [
        (Shown::Full, "full"),
        (Shown::Ghost, "ghost"),
        (Shown::Hidden, "hidden"),
    ];
}

/// What of the scene must be brought up to date.
#[derive(Clone, Copy, Debug, Default)]
struct Stale {
    sculpt: bool,
    surface: bool,
    guides: bool,
}

/// A mesh with normals, as the renderer takes it.
struct Triangles {
    positions: Vec<[f32; 3]>,
    normals: Vec<[f32; 3]>,
    triangles: Vec<[u32; 3]>,
}

/// A drag on the view.
#[derive(Clone, Debug)]
pub(crate) struct Drag {
    /// Where it has been, pixels of the picture.
    pub path: Vec<DVec2>,
    /// What was taken hold of.
    pub grip: Option<pointer::Grip>,
}

/// The view.
pub struct View {
    pub(crate) camera: Camera,
    pub(crate) sculpt: Shown,
    pub(crate) surface: Shown,
    /// Whether guides behind something show faintly.
    pub(crate) through: bool,
    pub(crate) drag: Option<Drag>,
    /// Radius of the brush, points of the window.
    pub(crate) brush: f32,
    /// What the pen is drawn to.
    pub(crate) snap: Option<Snap>,
    /// Where the finding that is shown lies.
    pub(crate) marked: Vec<DVec3>,
    rect: Rect,
    pixels_per_point: f32,
    bounds: (DVec3, DVec3),
    stale: Stale,
    fine: Option<Triangles>,
    light: Option<Triangles>,
    /// Quads of the surface before, and until when others are lit up.
    fresh: Option<(show::Shapes, Instant)>,
    turning: bool,
    /// Half the mean length of the surface's edges, model units.
    half_a_quad: f32,
    scene: Option<Scene>,
    texture: Option<TextureId>,
    dark: Option<bool>,
    /// Size of the picture that the window has, pixels.
    shown_size: [u32; 2],
}

impl Default for View {
    fn default() -> Self {
        Self {
            camera: Camera::default(),
            sculpt: Shown::Full,
            surface: Shown::Full,
            through: true,
            drag: None,
            brush: BRUSH.0,
            snap: None,
            marked: Vec::new(),
            rect: Rect::ZERO,
            pixels_per_point: 1.0,
            bounds: (DVec3::ZERO, DVec3::ONE),
            stale: Stale::default(),
            fine: None,
            light: None,
            fresh: None,
            turning: false,
            half_a_quad: 0.0,
            scene: None,
            texture: None,
            dark: None,
            shown_size: [0; 2],
        }
    }
}

impl View {
    /// Shows another sculpt, whole.
    pub(crate) fn show_sculpt(&mut self, sculpt: &Sculpt, light: Option<&TriMesh>) {
        self.bounds = sculpt.mesh.bounds().unwrap_or((DVec3::ZERO, DVec3::ONE));
        self.fine = Some(Triangles {
            positions: sculpt.mesh.positions.iter().map(|p| p.to_array()).collect(),
            normals: sculpt.normals.iter().map(|n| n.to_array()).collect(),
            triangles: sculpt.mesh.triangles.clone(),
        });
        self.light = light.map(|mesh| Triangles {
            positions: mesh.positions.iter().map(|p| p.to_array()).collect(),
            normals: show::normals(mesh),
            triangles: mesh.triangles.clone(),
        });
        self.stale = Stale {
            sculpt: true,
            surface: true,
            guides: true,
        };
        self.fresh = None;
        self.frame();
    }

    /// The surface is another; quads that weren't in the one before are lit up for a moment.
    pub(crate) fn surface_changed(&mut self, before: Option<&Outcome>) {
        self.stale.surface = true;
        self.stale.guides = true;
        let before = before.map(|outcome| show::shapes(&outcome.surface));
        self.fresh = before.map(|before| (before, Instant::now()));
    }

    /// Guides, marks or what is picked changed.
    pub(crate) fn guides_changed(&mut self) {
        self.stale.guides = true;
    }

    /// Everything in the picture.
    pub(crate) fn frame(&mut self) {
        let size = self.size();
        self.camera.frame(self.bounds.0, self.bounds.1, size);
    }

    /// Width and height of the picture, pixels.
    pub(crate) fn size(&self) -> DVec2 {
        let size = self.rect.size() * self.pixels_per_point;
        DVec2::new(f64::from(size.x).max(1.0), f64::from(size.y).max(1.0))
    }

    /// Pixel of the picture under a place of the window.
    pub(crate) fn pixel(&self, at: Pos2) -> DVec2 {
        let at = (at - self.rect.min) * self.pixels_per_point;
        DVec2::new(f64::from(at.x), f64::from(at.y))
    }

    pub(crate) fn place_of(&self, p: DVec3) -> Option<Pos2> {
        let (pixel, _) = self.camera.project(p, self.size())?;
        let at = pixel / f64::from(self.pixels_per_point);
        let place = self.rect.min + pos2(at.x as f32, at.y as f32).to_vec2();
        self.rect.contains(place).then_some(place)
    }
}
