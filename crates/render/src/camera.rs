//! Where the eye is: it turns around a target, shifts, and comes nearer.

use glam::{DMat4, DVec2, DVec3, DVec4};

/// Half the angle of view, top to bottom, radians: 15°.
const HALF_VIEW: f64 = std::f64::consts::PI / 12.0;
/// Furthest that the eye rises over the horizon, radians: just short of straight above.
const MOST_PITCH: f64 = 0.4999 * std::f64::consts::PI;
/// From eye to target, model units: what single-precision numbers on the device can square.
const DISTANCES: std::ops::Range<f64> = 1e-15..1e15;
/// Room around what is framed.
const ROOM: f64 = 1.08;

/// How depth shows.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Projection {
    /// What is further is smaller.
    Perspective,
    /// Sizes stay.
    Parallel,
}

/// A view along an axis; up is +y.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Fixed {
    /// From +z.
    Front,
    /// From −z.
    Back,
    /// From +x.
    Left,
    /// From −x.
    Right,
    /// From +y.
    Above,
    /// From −y.
    Below,
}

/// The eye. Model units.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Camera {
    /// What it turns around.
    pub target: DVec3,
    /// Turn around the upright axis, radians; 0 looks from +z.
    pub yaw: f64,
    /// Rise over the horizon, radians.
    pub pitch: f64,
    /// From eye to target.
    pub distance: f64,
    /// How depth shows.
    pub projection: Projection,
}

impl Default for Camera {
    fn default() -> Self {
        Self {
            target: DVec3::ZERO,
            yaw: 0.5,
            pitch: 0.25,
            distance: 10.0,
            projection: Projection::Perspective,
        }
    }
}

impl Camera {
    /// Unit direction in which the eye looks.
    pub fn forward(&self) -> DVec3 {
        let (sy, cy) = self.yaw.sin_cos();
        let (sp, cp) = self.pitch.sin_cos();
        -DVec3::new(sy * cp, sp, cy * cp)
    }

    /// Unit direction to the right of the picture.
    pub fn right(&self) -> DVec3 {
        let (sy, cy) = self.yaw.sin_cos();
        DVec3::new(cy, 0.0, -sy)
    }

    /// Unit direction to the top of the picture.
    pub fn up(&self) -> DVec3 {
        self.right().cross(self.forward())
    }

    /// Where the eye is.
    pub fn eye(&self) -> DVec3 {
        self.target - self.forward() * self.distance
    }

    /// Turns around the target, radians: to the right, upwards.
    pub fn turn(&mut self, right: f64, up: f64) {
        self.yaw -= right;
        self.pitch = (self.pitch + up).clamp(-MOST_PITCH, MOST_PITCH);
    }

    /// Model units that a pixel spans at the target's depth; `height` of the picture in pixels.
    pub fn units_per_pixel(&self, height: f64) -> f64 {
        2.0 * self.distance * HALF_VIEW.tan() / height.max(1.0)
    }

    /// Model units that a pixel spans at a point.
    pub fn units_per_pixel_at(&self, p: DVec3, height: f64) -> f64 {
        let share = match self.projection {
            Projection::Perspective => (p - self.eye()).dot(self.forward()) / self.distance,
            Projection::Parallel => 1.0,
        };
        self.units_per_pixel(height) * share.max(1e-6)
    }

    /// Shifts the picture by pixels, right and down.
    pub fn shift(&mut self, pixels: DVec2, size: DVec2) {
        let unit = self.units_per_pixel(size.y);
        self.target += (self.up() * pixels.y - self.right() * pixels.x) * unit;
    }

    /// Comes nearer (`factor` below 1) or goes back; what is at `pointer` (pixels) stays there: `under`, or
    /// what lies at the target's depth. Where numbers would end, nothing happens.
    pub fn zoom(&mut self, pointer: DVec2, size: DVec2, factor: f64, under: Option<DVec3>) {
        let fixed = under.unwrap_or_else(|| {
            let (origin, direction) = self.ray(pointer, size);
            let depth = (self.target - origin).dot(self.forward());
            origin + direction * (depth / direction.dot(self.forward()))
        });
        // All of the view shrinks towards the fixed point.
        let target = fixed + (self.target - fixed) * factor;
        let distance = self.distance * factor;
        if target.is_finite() && DISTANCES.contains(&distance) {
            (self.target, self.distance) = (target, distance);
        }
    }

    /// Turns to a fixed view.
    pub fn look_from(&mut self, fixed: Fixed) {
        use std::f64::consts::{FRAC_PI_2, PI};
        (self.yaw, self.pitch) = match fixed {
            Fixed::Front => (0.0, 0.0),
            Fixed::Back => (PI, 0.0),
            Fixed::Left => (FRAC_PI_2, 0.0),
            Fixed::Right => (-FRAC_PI_2, 0.0),
            Fixed::Above => (0.0, MOST_PITCH),
            Fixed::Below => (0.0, -MOST_PITCH),
        };
    }

    /// Puts a box in the middle, whole, and as large as the picture has room for. A box without numbers
    /// changes nothing.
    pub fn frame(&mut self, low: DVec3, high: DVec3, size: DVec2) {
        let half_box = (high - low) / 2.0;
        if !half_box.is_finite() || !low.is_finite() {
            return;
        }
        let tan = HALF_VIEW.tan() / ROOM;
        let half_view = DVec2::new(tan * size.x / size.y.max(1.0), tan).max(DVec2::splat(1e-6));
        let least = (half_box.length() * 1e-3).max(DISTANCES.start * 1e3);
        let corners = (0..8).map(|corner: u32| {
            let sign = |k: u32| if corner >> k & 1 == 0 { -1.0 } else { 1.0 };
            half_box * DVec3::new(sign(0), sign(1), sign(2))
        });
        self.target = low + half_box;
        self.distance = corners.fold(least, |distance, corner| {
            let across = DVec2::new(corner.dot(self.right()), corner.dot(self.up()));
            let wanted = (across.abs() / half_view).max_element();
            // Corners on this side of the target are larger in perspective.
            let nearer = -corner.dot(self.forward());
            distance.max(match self.projection {
                Projection::Perspective => (wanted + nearer).max(nearer * ROOM),
                Projection::Parallel => wanted,
            })
        });
    }

    /// The line through a pixel: its origin and unit direction.
    pub fn ray(&self, pixel: DVec2, size: DVec2) -> (DVec3, DVec3) {
        let unit = self.units_per_pixel(size.y);
        let x = (pixel.x - size.x / 2.0) * unit;
        let y = (size.y / 2.0 - pixel.y) * unit;
        let across = self.right() * x + self.up() * y;
        match self.projection {
            Projection::Perspective => {
                let direction = (self.forward() * self.distance + across).normalize();
                (self.eye(), direction)
            }
            // From far enough behind that nothing of the model lies behind it.
            Projection::Parallel => {
                let back = self.forward() * (100.0 * self.distance);
                (self.target + across - back, self.forward())
            }
        }
    }

    /// Pixel and depth (model units from the eye) of a point; `None` behind the eye.
    pub fn project(&self, p: DVec3, size: DVec2) -> Option<(DVec2, f64)> {
        let from = p - self.eye();
        let depth = from.dot(self.forward());
        let scale = match self.projection {
            Projection::Perspective if depth <= 0.0 => return None,
            Projection::Perspective => self.distance / depth,
            Projection::Parallel => 1.0,
        } / self.units_per_pixel(size.y);
        let x = size.x / 2.0 + from.dot(self.right()) * scale;
        let y = size.y / 2.0 - from.dot(self.up()) * scale;
        Some((DVec2::new(x, y), depth))
    }

    /// From model units to clip space, for a scene within a ball. Depth is 1 where the ball begins, 0
    /// where it ends.
    pub fn clip_from_model(&self, size: DVec2, centre: DVec3, radius: f64) -> DMat4 {
        let depth = (centre - self.eye()).dot(self.forward());
        let reach = radius.max(1e-9) * 1.01;
        let tan = HALF_VIEW.tan();
        let aspect = size.x / size.y.max(1.0);
        let (r, u, f) = (self.right(), self.up(), self.forward());
        let eye = self.eye();
        let row = |v: DVec3, scale: f64| (v * scale).extend(-v.dot(eye) * scale);
        let rows = match self.projection {
            Projection::Perspective => {
                let far = (depth + reach).max(self.distance * 1e-3);
                // Within the ball, what the eye turns around stays well in view.
                let near = (depth - reach).max((far * 1e-4).min(self.distance * 1e-2));
                let k = near / (far - near);
                let mut z = row(f, -k);
                z.w += k * far;
                [
                    row(r, 1.0 / (tan * aspect)),
                    row(u, 1.0 / tan),
                    z,
                    row(f, 1.0),
                ]
            }
            Projection::Parallel => {
                let half = self.distance * tan;
                let (near, far) = (depth - reach, depth + reach);
                let mut z = row(f, -1.0 / (far - near));
                z.w += far / (far - near);
                [
                    row(r, 1.0 / (half * aspect)),
                    row(u, 1.0 / half),
                    z,
                    DVec4::W,
                ]
            }
        };
        DMat4::from_cols(rows[0], rows[1], rows[2], rows[3]).transpose()
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn cameras() -> impl Strategy<Value = Camera> {
        (
            prop::array::uniform3(-5.0f64..5.0),
            -3.0f64..3.0,
            -1.4f64..1.4,
            1.0f64..50.0,
            any::<bool>(),
        )
            .prop_map(|(target, yaw, pitch, distance, parallel)| Camera {
                target: target.into(),
                yaw,
                pitch,
                distance,
                projection: if parallel {
                    Projection::Parallel
                } else {
                    Projection::Perspective
                },
            })
    }

    const SIZE: DVec2 = DVec2::new(800.0, 600.0);

    proptest! {
        /// A point on a pixel's ray is drawn at that pixel, by projection and by the matrix.
        #[test]
        fn rays_and_pixels_agree(camera in cameras(), x in 0.0f64..800.0, y in 0.0f64..600.0, far in 0.5f64..2.0) {
            let pixel = DVec2::new(x, y);
            let (origin, direction) = camera.ray(pixel, SIZE);
            let depth = (camera.target - origin).dot(camera.forward()) * far;
            let p = origin + direction * (depth / direction.dot(camera.forward()));
            let (found, _) = camera.project(p, SIZE).unwrap();
            prop_assert!(found.distance(pixel) < 1e-5, "{found} {pixel}");
            let matrix = camera.clip_from_model(SIZE, camera.target, camera.distance);
            let clip = matrix * p.extend(1.0);
            let flat = DVec2::new((clip.x / clip.w + 1.0) * 400.0, (1.0 - clip.y / clip.w) * 300.0);
            prop_assert!(flat.distance(pixel) < 1e-5, "{flat} {pixel}");
        }

        /// What is under the pointer stays there while zooming.
        #[test]
        fn zooming_keeps_the_place_under_the_pointer(camera in cameras(), x in 0.0f64..800.0, y in 0.0f64..600.0, factor in 0.3f64..3.0) {
            let pixel = DVec2::new(x, y);
            let mut camera = camera;
            let (origin, direction) = camera.ray(pixel, SIZE);
            let depth = (camera.target - origin).dot(camera.forward()) * 0.9;
            let under = origin + direction * (depth / direction.dot(camera.forward()));
            camera.zoom(pixel, SIZE, factor, Some(under));
            let (found, _) = camera.project(under, SIZE).unwrap();
            prop_assert!(found.distance(pixel) < 1e-4, "{found} {pixel}");
        }

        /// All corners of a framed box are in the picture and within the depths drawn.
        #[test]
        fn framing_shows_all_of_a_box(camera in cameras(), high in prop::array::uniform3(0.1f64..9.0)) {
            let (low, high) = (-DVec3::from(high), DVec3::from(high) * 0.7);
            let mut camera = camera;
            camera.frame(low, high, SIZE);
            let matrix = camera.clip_from_model(SIZE, (low + high) / 2.0, (high - low).length() / 2.0);
            for corner in 0..8 {
                let pick = |k: usize| if corner >> k & 1 == 0 { low[k] } else { high[k] };
                let p = DVec3::new(pick(0), pick(1), pick(2));
                let (at, _) = camera.project(p, SIZE).unwrap();
                prop_assert!(at.x > 0.0 && at.x < 800.0 && at.y > 0.0 && at.y < 600.0, "{at}");
                let clip = matrix * p.extend(1.0);
                let depth = clip.z / clip.w;
                prop_assert!((0.0..=1.0).contains(&depth), "{depth}");
            }
        }
    }

    #[test]
    fn zooming_on_and_on_ends_somewhere() {
        for factor in [0.5, 2.0, f64::NAN, 0.0] {
            let mut camera = Camera::default();
            for _ in 0..2000 {
                camera.zoom(DVec2::new(3.0, 4.0), SIZE, factor, None);
            }
            assert!(
                camera.target.is_finite() && camera.distance > 0.0,
                "{camera:?}"
            );
            let matrix = camera.clip_from_model(SIZE, DVec3::ZERO, 1.0).as_mat4();
            assert!(matrix.is_finite(), "{factor}: {matrix}");
        }
    }

    #[test]
    fn changing_the_projection_keeps_the_size_at_the_target() {
        let mut camera = Camera::default();
        let p = camera.target + camera.right();
        let before = camera.project(p, SIZE).unwrap().0;
        camera.projection = Projection::Parallel;
        assert!(camera.project(p, SIZE).unwrap().0.distance(before) < 1e-9);
    }

    #[test]
    fn fixed_views_look_along_axes_with_y_up() {
        let mut camera = Camera::default();
        for (fixed, from) in [
            (Fixed::Front, DVec3::Z),
            (Fixed::Back, DVec3::NEG_Z),
            (Fixed::Left, DVec3::X),
            (Fixed::Right, DVec3::NEG_X),
            (Fixed::Above, DVec3::Y),
            (Fixed::Below, DVec3::NEG_Y),
        ] {
            camera.look_from(fixed);
            assert!(camera.forward().distance(-from) < 1e-3, "{fixed:?}");
            assert!(camera.up().dot(DVec3::Y) >= 0.0);
        }
    }
}
