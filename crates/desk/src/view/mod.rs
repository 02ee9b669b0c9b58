//! The view: what it shows, where the eye is, and the stroke under way.

mod paint;
mod pointer;
mod show;

pub(crate) use pointer::{Grip, LoopGrip};

use std::sync::Arc;
use std::time::{Duration, Instant};

use egui::{Pos2, Rect, TextureId, pos2};
use engine::model::Sculpt;
use glam::DVec2;
use mesh::{DVec3, QuadMesh, TriMesh};
use render::{Camera, Scene};
use session::draw::Snap;
use session::{Layer, LayerSide};

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

/// A layer in the view.
pub(crate) struct LayerView {
    pub name: String,
    pub shown: Shown,
    /// Shares its arrays with the layer that the surface is cleared of.
    sculpt: Sculpt,
}

/// What of the scene must be brought up to date.
#[derive(Clone, Copy, Debug, Default)]
struct Stale {
    sculpt: bool,
    layers: bool,
    surface: bool,
    guides: bool,
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
    /// Layers of the job, in its order.
    pub(crate) layers: Vec<LayerView>,
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
    /// The sculpt, and a lighter one to turn, until they are in the scene.
    fine: Option<Sculpt>,
    light: Option<TriMesh>,
    /// Whether there is a lighter sculpt.
    has_light: bool,
    /// Quads of the surface before, and until when others are lit up.
    fresh: Option<(show::Shapes, Instant)>,
    /// Slots of layers in the scene.
    layer_slots: usize,
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
            layers: Vec::new(),
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
            has_light: false,
            fresh: None,
            layer_slots: 0,
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
    pub(crate) fn show_sculpt(&mut self, sculpt: &Sculpt, light: Option<TriMesh>) {
        self.bounds = sculpt.mesh.bounds().unwrap_or((DVec3::ZERO, DVec3::ONE));
        self.fine = Some(sculpt.clone());
        self.has_light = light.is_some();
        self.light = light;
        self.stale = Stale {
            sculpt: true,
            layers: false,
            surface: true,
            guides: true,
        };
        self.fresh = None;
        self.frame();
    }

    /// The surface is another; quads that weren't in the one before are lit up for a moment.
    pub(crate) fn surface_changed(&mut self, before: Option<&QuadMesh>) {
        self.stale.surface = true;
        self.stale.guides = true;
        let before = before.map(show::shapes);
        self.fresh = before.map(|before| (before, Instant::now()));
    }

    /// Shows a job's layers, those that were shown already as they were.
    pub(crate) fn show_layers(&mut self, layers: &[Layer]) {
        let same = |(old, new): (&LayerView, &Layer)| {
            old.name == new.name && Arc::ptr_eq(&old.sculpt.mesh, &new.mesh.mesh)
        };
        if self.layers.len() == layers.len() && self.layers.iter().zip(layers).all(same) {
            return;
        }
        let view = |layer: &Layer| {
            let old = self.layers.iter().find(|old| old.name == layer.name);
            // What lies over the surface would hide it.
            let first = match layer.side {
                LayerSide::Under => Shown::Full,
                LayerSide::Over => Shown::Ghost,
            };
            LayerView {
                name: layer.name.clone(),
                shown: old.map_or(first, |old| old.shown),
                sculpt: layer.mesh.clone(),
            }
        };
        self.layers = layers.iter().map(view).collect();
        self.stale.layers = true;
    }

    /// A layer is called otherwise: how it is shown stays.
    pub(crate) fn rename_layer(&mut self, old: &str, new: &str) {
        if let Some(layer) = self.layers.iter_mut().find(|layer| layer.name == old) {
            layer.name = new.to_owned();
        }
    }

    /// Middle and radius of a ball that holds everything.
    pub(crate) fn ball(&self) -> (DVec3, f64) {
        let layers = self.layers.iter();
        let layers = layers.filter_map(|layer| layer.sculpt.mesh.bounds());
        let (low, high) = layers.fold(self.bounds, |(low, high), bounds| {
            (low.min(bounds.0), high.max(bounds.1))
        });
        ((low + high) / 2.0, (high - low).length() / 2.0)
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
