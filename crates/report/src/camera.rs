//! A camera for parallel projection.

use mesh::DVec3;

/// Where the picture is taken from, and how large.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Camera {
    right: DVec3,
    up: DVec3,
    /// Unit vector from the model to the viewer.
    pub toward: DVec3,
    centre: DVec3,
    /// Pixels per model unit.
    pub scale: f64,
    /// Pixels.
    pub width: u32,
    /// Pixels.
    pub height: u32,
    /// Anything with less depth is cut away, pixels.
    pub near: f32,
}

/// Limits of a picture's shape.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Frame {
    /// Greatest height, pixels.
    pub height: u32,
    /// Empty rim, as a share of the height.
    pub margin: f64,
}

impl Camera {
    /// Widest picture, as a multiple of the height asked for; wider things make it less high.
    const WIDEST: f64 = 1.4;
    /// Least width and height, as a share of the height asked for.
    const LEAST: f64 = 0.5;

    /// A camera that looks from `toward` and has all points in the frame. `None` when there is
    /// no point.
    pub fn fitting(
        toward: DVec3,
        points: impl Iterator<Item = DVec3>,
        frame: Frame,
    ) -> Option<Self> {
        let (right, up, toward) = axes(toward);
        let mut low = DVec3::INFINITY;
        let mut high = DVec3::NEG_INFINITY;
        for p in points {
            let p = DVec3::new(p.dot(right), p.dot(up), p.dot(toward));
            low = low.min(p);
            high = high.max(p);
        }
        if !(low.is_finite() && high.is_finite()) {
            return None;
        }
        let size = (high - low).max(DVec3::splat(
            1e-9 * (high.abs() + low.abs()).max_element().max(1e-30),
        ));
        let height = f64::from(frame.height);
        let rim = 2.0 * frame.margin * height;
        let scale = ((height - rim) / size.y).min((Self::WIDEST * height - rim) / size.x);
        let fit = |length: f64, most: f64| {
            ((length * scale + rim)
                .ceil()
                .max(Self::LEAST * height)
                .min(most)) as u32
        };
        let middle = (low + high) / 2.0;
        Some(Self {
            right,
            up,
            toward,
            centre: middle.x * right + middle.y * up + middle.z * toward,
            scale,
            width: fit(size.x, Self::WIDEST * height),
            height: fit(size.y, height),
            near: f32::NEG_INFINITY,
        })
    }

    /// Pixels from the left, pixels from the top, and depth in pixels, less nearer the viewer.
    pub fn project(&self, p: DVec3) -> [f32; 3] {
        let d = (p - self.centre) * self.scale;
        [
            (f64::from(self.width) / 2.0 + d.dot(self.right)) as f32,
            (f64::from(self.height) / 2.0 - d.dot(self.up)) as f32,
            -d.dot(self.toward) as f32,
        ]
    }

    /// A direction in the camera's axes: right, up, toward the viewer.
    pub fn turn(&self, v: DVec3) -> [f32; 3] {
        [
            v.dot(self.right) as f32,
            v.dot(self.up) as f32,
            v.dot(self.toward) as f32,
        ]
    }
}

/// Right, up and toward, all unit; y is up unless the view is along it.
fn axes(toward: DVec3) -> (DVec3, DVec3, DVec3) {
    let toward = toward.normalize_or(DVec3::Z);
    let sky = if toward.y.abs() < 0.985 {
        DVec3::Y
    } else {
        -DVec3::Z * toward.y.signum()
    };
    let right = sky.cross(toward).normalize_or(DVec3::X);
    (right, toward.cross(right), toward)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_front_view_has_x_to_the_right_and_y_up() {
        let points = [DVec3::new(-1.0, -2.0, 0.0), DVec3::new(1.0, 2.0, 3.0)];
        let frame = Frame {
            height: 400,
            margin: 0.05,
        };
        let camera = Camera::fitting(DVec3::Z, points.into_iter(), frame).unwrap();
        let [x0, y0, z0] = camera.project(points[0]);
        let [x1, y1, z1] = camera.project(points[1]);
        assert!(x0 < x1 && y0 > y1 && z0 > z1);
        assert_eq!((camera.height, camera.scale), (400, 90.0));
        assert!((y0 - 380.0).abs() < 1e-3 && (y1 - 20.0).abs() < 1e-3);
    }

    #[test]
    fn any_direction_gives_right_angles_and_anything_fits() {
        let frame = Frame {
            height: 300,
            margin: 0.05,
        };
        for toward in [
            DVec3::Y,
            -DVec3::Y,
            DVec3::X,
            DVec3::new(0.1, -3.0, 0.2),
            DVec3::ZERO,
        ] {
            let (right, up, toward) = axes(toward);
            assert!((right.cross(up) - toward).length() < 1e-12);
            assert!((right.length() - 1.0).abs() < 1e-12);
        }
        assert!(Camera::fitting(DVec3::Z, std::iter::empty(), frame).is_none());
        let dot = Camera::fitting(DVec3::Z, std::iter::once(DVec3::ONE), frame).unwrap();
        assert!(dot.project(DVec3::ONE).iter().all(|v| v.is_finite()));
        let wide = [DVec3::ZERO, DVec3::X * 100.0].into_iter();
        let camera = Camera::fitting(DVec3::Z, wide, frame).unwrap();
        assert_eq!((camera.width, camera.height), (420, 150));
    }
}
