//! How the coat is cut and worn: stiffness of its parts, where the cloth has length to
//! spare, where it is held. The drape makes the folds from this.

use mesh::DVec3;

use crate::drape::Cloth;
use crate::noise::Noise;
use crate::relief::{CUFF, collar_level};
use crate::sdf::smooth_step;
use crate::shape::{CoatShape, HEM};

/// Bending stiffness of one layer of oiled cloth, g cm²/s².
const CLOTH: f64 = 110.0;
/// Way that the sleeve is pushed up the arm, cm.
const PUSHED_UP: f64 = 2.2;
/// Way that the cuff sinks until it rests on the arm, cm.
const SUNK: f64 = 0.9;

/// Cut of a coat with this seed.
pub(crate) struct Tailoring<'a> {
    shape: &'a CoatShape,
    even: Noise,
    buckle: Noise,
}

impl<'a> Tailoring<'a> {
    pub(crate) fn new(shape: &'a CoatShape, seed: u64) -> Self {
        Self {
            shape,
            even: Noise::new(seed, 20),
            buckle: Noise::new(seed, 21),
        }
    }

    fn on_sleeve(&self, p: DVec3) -> f64 {
        let place = self.shape.sleeve_place(p);
        let beside = self.shape.sleeve_radius(place.along) + 2.5 - place.distance;
        smooth_step(-1.0, 1.0, beside) * smooth_step(10.0, 18.0, place.along)
    }

    /// Cloth at a place of the plain shape, left half.
    pub(crate) fn cloth(&self, p: DVec3) -> Cloth {
        let place = self.shape.sleeve_place(p);
        let to_end = self.shape.sleeve.length - place.along;
        let sleeve = self.on_sleeve(p) > 0.5;
        let collar = collar_level(p);
        let mut layers = 1.0;
        if sleeve && to_end < CUFF {
            layers = 6.0;
        } else if collar > -1.0 {
            layers = 5.0;
        } else if p.x < 3.7 && p.z > 0.0 || p.y < HEM + 4.0 {
            layers = 3.0;
        } else if p.y > 129.0 && !sleeve {
            layers = 2.0;
        }
        let held_cuff = sleeve && to_end < CUFF;
        let pull = if held_cuff {
            let down = DVec3::NEG_Y - place.tangent * DVec3::NEG_Y.dot(place.tangent);
            SUNK * down.normalize() - PUSHED_UP * place.tangent
        } else {
            DVec3::ZERO
        };
        Cloth {
            bending: CLOTH * layers,
            heavy: 0.40 - 0.34 * self.on_sleeve(p),
            held: held_cuff || collar > 0.0,
            pull,
        }
    }

    /// Length of cloth over length of the plain shape at a place (left half) in a direction.
    pub(crate) fn slack(&self, p: DVec3, direction: DVec3) -> f64 {
        let sleeve = self.on_sleeve(p);
        let mut slack =
            1.0 + 0.06 * self.even.gradient(p / 8.0) + 0.04 * self.even.gradient(p / 19.0 + 3.0);
        if sleeve > 0.0 {
            slack += sleeve * self.sleeve_slack(p, direction);
        }
        slack + (1.0 - sleeve) * self.trunk_slack(p, direction)
    }

    fn sleeve_slack(&self, p: DVec3, direction: DVec3) -> f64 {
        let axis = &self.shape.sleeve;
        let place = self.shape.sleeve_place(p);
        let lengthwise = direction.dot(place.tangent).powi(2);
        let around = axis.around(p, &place);
        let bend = place.along - axis.bend();
        let inside = 0.5 + 0.5 * around.cos();
        let crease = 0.20 * inside * (-(bend / 6.0).powi(2)).exp();
        let lower = 0.05
            * smooth_step(-2.0, 6.0, bend)
            * smooth_step(CUFF, CUFF + 4.0, axis.length - place.along);
        let upper = 0.03 * smooth_step(6.0, -2.0, bend);
        lengthwise * (crease + lower + upper) + (1.0 - lengthwise) * 0.015
    }

    fn trunk_slack(&self, p: DVec3, direction: DVec3) -> f64 {
        let upright = direction.y * direction.y;
        let full = 0.20 * smooth_step(108.0, HEM + 12.0, p.y);
        let waist = (-((p.y - 110.0) / 9.0).powi(2)).exp();
        // A tube turned at the waist is long along one diagonal and short along the other.
        let outward = DVec3::new(p.x, 0.0, p.z).normalize_or_zero();
        let sideways = DVec3::Y.cross(outward);
        let diagonal = direction.y * direction.dot(sideways);
        // Cut for arms held out: at the sides the lowered arms leave cloth to spare.
        let side = outward.x * outward.x;
        let under_arm = 0.10 * side * (-((p.y - 114.0) / 11.0).powi(2)).exp();
        let panel = 0.03 * smooth_step(5.0, 9.0, p.x) * (-((p.y - 112.0) / 14.0).powi(2)).exp();
        upright * (under_arm + panel)
            + (1.0 - upright) * full
            + waist * (0.02 * upright + 0.2 * diagonal * (p.z / 15.0).clamp(-1.0, 1.0))
            + self.drag(p, direction)
    }

    /// Cloth pulled from the armpit towards the front: too wide across the pull.
    fn drag(&self, p: DVec3, direction: DVec3) -> f64 {
        let armpit = DVec3::new(21.0, 124.0, 0.0);
        let from = p - armpit;
        let far = from.length();
        let radial = direction.dot(from / far.max(1e-6)).powi(2);
        let tangential = 1.0 - radial;
        0.10 * (-(far / 15.0).powi(2)).exp() * (tangential - 0.5 * radial)
    }

    /// Folds that wear has left in the cloth, along the normal, cm: where the drape starts from
    /// and what its lengths are measured on.
    pub(crate) fn worn(&self, p: DVec3) -> f64 {
        let trunk = 1.0 - self.on_sleeve(p);
        let skirt = smooth_step(126.0, HEM + 20.0, p.y) * trunk;
        let upright = self
            .buckle
            .gradient(DVec3::new(p.x / 5.0, p.y / 50.0, p.z / 5.0));
        let plain =
            0.30 * self.buckle.gradient(p / 6.0) + 0.10 * self.buckle.gradient(p / 2.7 + 5.0);
        1.2 * skirt * upright + plain
    }

    /// Folds that pull and turn set into the hung cloth, along its normal, cm; either half.
    pub(crate) fn set_folds(&self, p: DVec3) -> f64 {
        let p = DVec3::new(p.x.abs(), p.y, p.z);
        // Front and back have folds of their own, which end at the side.
        let away = smooth_step(1.5, 9.0, p.z.abs());
        away * (1.0 - self.on_sleeve(p)) * (self.drag_folds(p) + self.twist_folds(p))
    }

    /// Crests that fan out from the armpit over chest and back.
    fn drag_folds(&self, p: DVec3) -> f64 {
        let from = p - DVec3::new(22.5, 127.0, 0.0);
        let far = from.length();
        let angle = from.x.hypot(from.z * 0.3).atan2(-from.y);
        let side = if p.z > 0.0 { 0.0 } else { 40.0 };
        let wander = 0.06 * self.even.gradient(p / 9.0);
        let crest = self.crest(DVec3::new(2.1 * (angle + wander) + side, far / 26.0, 0.5));
        1.2 * crest
            * smooth_step(1.5, 8.0, p.x)
            * smooth_step(1.75, 1.25, angle)
            * smooth_step(3.0, 10.0, far)
            * smooth_step(38.0, 18.0, far)
            * smooth_step(134.0, 124.0, p.y)
    }

    /// Slanting crests around the waist.
    fn twist_folds(&self, p: DVec3) -> f64 {
        let around = 17.0 * p.x.atan2(p.z);
        let slant = if p.z > 0.0 { 0.62 } else { -0.55 };
        let across = p.y - slant * around + 2.0 * self.even.gradient(p / 11.0);
        let along = around + slant * p.y;
        let crest = self.crest(DVec3::new(across / 9.0, along / 30.0, 9.5));
        let middle = smooth_step(3.0, 8.0, p.x);
        1.5 * middle * crest * (-((p.y - 107.0) / 11.0).powi(2)).exp()
    }

    /// Sharp crests between wide hollows: ridged noise, mean about 0.
    fn crest(&self, q: DVec3) -> f64 {
        let n = self.buckle.gradient(q);
        let ridge = 1.0 - (n * n + 0.004).sqrt();
        ridge * ridge * ridge - 0.4
    }
}
