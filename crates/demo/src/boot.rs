//! The left boot: rubber, knee-high, with a sole and a low heel.

use mesh::DVec3;

use crate::cut::Opening;
use crate::noise::Noise;
use crate::sdf::{Shape, blend_max, blend_min, ellipsoid, round_cone};

/// Height of the boot's top over the ground, cm.
const TOP: f64 = 52.0;
/// The foot's middle from the figure's, cm.
const SIDE: f64 = 11.6;

/// The boot as a solid.
pub(crate) struct Boot {
    creases: Noise,
}

impl Boot {
    pub(crate) fn left(seed: u64) -> Self {
        Self {
            creases: Noise::new(seed, 21),
        }
    }

    pub(crate) fn bounds() -> [DVec3; 2] {
        [
            DVec3::new(1.03, -2.07, -13.11),
            DVec3::new(22.17, 64.93, 24.87),
        ]
    }

    /// Its top.
    pub(crate) fn opening() -> Opening {
        Opening {
            name: "top",
            origin: DVec3::new(SIDE, TOP, 0.0),
            normal: DVec3::Y,
            centre: DVec3::new(SIDE, TOP + 3.0, 0.0),
            reach: 13.0,
        }
    }

    /// Outline of the sole from above: heel, waist, ball, toe.
    fn outline(p: DVec3) -> f64 {
        let flat = DVec3::new(p.x, 0.0, p.z);
        let at = |x: f64, z: f64| DVec3::new(SIDE + x, 0.0, z);
        let back = round_cone(flat, at(0.0, -4.6), 3.9, at(0.3, 4.0), 3.6);
        let front = round_cone(flat, at(0.3, 4.0), 3.6, at(0.7, 13.2), 4.9);
        let toe = round_cone(flat, at(0.7, 13.2), 4.9, at(0.3, 16.2), 4.1);
        blend_min(blend_min(back, front, 2.0), toe, 1.5)
    }
}

impl Shape for Boot {
    fn distance(&self, p: DVec3) -> f64 {
        let at = |x: f64, y: f64, z: f64| DVec3::new(SIDE + x, y, z);
        let leg = round_cone(p, at(-0.5, 54.0, -0.6), 7.6, at(-0.4, 30.0, -1.4), 6.9);
        let shin = round_cone(p, at(-0.4, 30.0, -1.4), 6.9, at(0.0, 13.0, -1.6), 5.3);
        let heel = ellipsoid(p, at(0.0, 5.8, -3.2), DVec3::new(4.3, 6.8, 5.6));
        let instep = round_cone(p, at(0.1, 9.0, 0.6), 4.4, at(0.5, 4.4, 11.0), 3.9);
        let toe = ellipsoid(p, at(0.5, 4.4, 13.4), DVec3::new(4.9, 4.0, 6.6));
        let mut d = blend_min(leg, shin, 3.0);
        d = blend_min(d, heel, 4.0);
        d = blend_min(d, instep, 3.5);
        d = blend_min(d, toe, 3.0);
        // Loose rubber falls into creases above the ankle.
        let ankle = (-((p.y - 16.0) / 5.5).powi(2)).exp();
        let slant = p.y + 0.35 * p.z;
        d -= 0.22 * ankle * (1.15 * slant + 1.4 * self.creases.gradient(0.16 * p)).sin();
        // The sole stands out all round.
        d = blend_max(d, 1.2 - p.y, 0.8);
        let sole = blend_max(Self::outline(p) - 0.35, (p.y - 1.6).abs() - 1.2, 0.7);
        let block = blend_max(
            blend_max(Self::outline(p) - 0.15, p.z + 1.0, 0.9),
            (p.y - 1.3).abs() - 1.5,
            0.7,
        );
        d = blend_min(d, sole, 0.6);
        blend_min(d, block, 0.8)
    }
}
