//! Sewn detail and the grain of oiled cloth: heights over the draped wall, as a function of
//! where a point was before draping.

use mesh::DVec3;

use crate::noise::Noise;
use crate::sdf::{blend_min, smooth_step};
use crate::shape::{COLLAR_SEAM, CoatShape, HEM};

/// Half width of the storm flap over the front closing, cm.
const FLAP: f64 = 3.7;
/// Width of the cuff band, cm.
pub(crate) const CUFF: f64 = 6.2;
/// Length along the sleeve's axis where it is set into the armhole, cm.
const ARMHOLE: f64 = 9.3;

/// Heights of all raised and sunk detail.
pub(crate) struct Relief<'a> {
    shape: &'a CoatShape,
    /// Narrowest step that the mesh can show, cm.
    step: f64,
    fine: Noise,
    coarse: Noise,
    crack: Noise,
}

/// Signed height over the plane of the armhole, positive on the sleeve, cm.
pub(crate) fn armhole_level(shape: &CoatShape, p: DVec3) -> f64 {
    let left = DVec3::new(p.x.abs(), p.y, p.z);
    let (origin, along) = shape.sleeve.at(ARMHOLE);
    // The seam leans outwards at the shoulder.
    let normal = (along + DVec3::new(0.30, 0.25, 0.0)).normalize();
    // What lies far from the sleeve's axis is trunk, wherever the plane goes.
    let place = shape.sleeve_place(left);
    let beside = shape.sleeve_radius(place.along) + 3.5 - place.distance;
    blend_min((left - origin).dot(normal), 2.0 * beside, 5.0)
}

/// Signed height over the seam between shoulders and collar, positive on the collar, cm.
pub(crate) fn collar_level(p: DVec3) -> f64 {
    let (_, axis) = CoatShape::collar_axis();
    let seam = DVec3::new(0.0, COLLAR_SEAM + 1.6, -9.5);
    (p - seam).dot((axis + DVec3::new(0.0, 0.0, 0.0)).normalize())
}

/// Height of the yoke's lower edge at a place on front or back, cm.
fn yoke_edge(p: DVec3) -> f64 {
    let across = p.x.abs();
    if p.z > 0.0 {
        130.4 - 0.10 * across
    } else {
        129.0 - 2.6 * (-(across / 9.0).powi(2)).exp() + 0.02 * across
    }
}

impl<'a> Relief<'a> {
    pub(crate) fn new(shape: &'a CoatShape, seed: u64, edge: f64) -> Self {
        Self {
            shape,
            step: (1.3 * edge).max(0.25),
            fine: Noise::new(seed, 10),
            coarse: Noise::new(seed, 11),
            crack: Noise::new(seed, 12),
        }
    }

    /// 1 well inside (`inside` > 0), 0 outside, with a step as narrow as the mesh can show.
    fn edge(&self, inside: f64) -> f64 {
        smooth_step(-self.step, self.step, inside)
    }

    /// A line of stitches sunk into the cloth; `off` is the distance from it.
    fn stitched(&self, off: f64) -> f64 {
        let width = 0.7 * self.step;
        -0.07 * (-(off / width).powi(2)).exp()
    }

    /// A flat-felled seam: a low band with a sunk line on each side.
    fn felled(&self, off: f64) -> f64 {
        0.10 * self.edge(0.75 - off.abs()) + self.stitched(off.abs() - 0.55)
    }

    /// Height over the draped wall at a place of the plain shape, cm.
    pub(crate) fn height(&self, p: DVec3) -> f64 {
        let left = DVec3::new(p.x.abs(), p.y, p.z);
        let on_sleeve = armhole_level(self.shape, p);
        let on_collar = collar_level(p);
        let mut h = self.trunk(left, on_sleeve, on_collar);
        if on_sleeve > -3.0 {
            h += self.sleeve(left, on_sleeve);
        }
        h += self.collar(left, on_collar);
        h + self.cloth(p)
    }

    fn trunk(&self, p: DVec3, on_sleeve: f64, on_collar: f64) -> f64 {
        let off_collar = self.edge(-on_collar);
        let off_sleeve = self.edge(-on_sleeve);
        let mut h = self.yoke(p, off_sleeve * off_collar);
        if p.z > 0.0 {
            h += self.flap(p) * off_collar + self.pocket(p) * off_sleeve;
        } else {
            h += self.felled(p.x) * off_collar * self.edge(yoke_edge(p) - p.y);
        }
        h + self.stitched(p.y - HEM - 4.0) + 0.05 * self.edge(HEM + 4.0 - p.y)
    }

    fn yoke(&self, p: DVec3, within: f64) -> f64 {
        let over = p.y - yoke_edge(p);
        within * (0.34 * self.edge(over) + self.stitched(over - 1.0))
    }

    fn flap(&self, p: DVec3) -> f64 {
        let band = 0.42 * self.edge(FLAP - p.x) + self.stitched(p.x - FLAP + 0.9);
        (0..6).fold(band, |h, i| {
            let at = 139.5 - 13.4 * f64::from(i);
            h + self.button(((p.x).powi(2) + (p.y - at).powi(2)).sqrt())
        })
    }

    fn button(&self, off: f64) -> f64 {
        let rim = (-((off - 0.85) / 0.3).powi(2)).exp();
        0.30 * smooth_step(1.3 + 0.4 * self.step, 1.3 - 0.6 * self.step, off) + 0.07 * rim
    }

    fn pocket(&self, p: DVec3) -> f64 {
        // A patch pocket under a flap, a little aslant.
        let at = DVec3::new(p.x - 15.2, p.y - 82.0 + 0.10 * (p.x - 15.2), 0.0);
        let within = |half_x: f64, low: f64, high: f64, round: f64| {
            let q = DVec3::new(
                at.x.abs() - half_x + round,
                (at.y - 0.5 * (low + high)).abs() - 0.5 * (high - low) + round,
                0.0,
            );
            round - q.max(DVec3::ZERO).length() - q.x.max(q.y).min(0.0)
        };
        let patch = within(8.2, -13.0, 6.0, 1.5);
        let flap = within(8.9, -0.5, 7.5, 1.2);
        let lift = 0.25 + 0.25 * smooth_step(7.5, -0.5, at.y);
        let mut h = 0.20 * self.edge(patch) + self.stitched(patch - 0.9) * self.edge(-flap);
        h += lift * self.edge(flap) + self.stitched(flap - 0.9);
        h + self.button((at.x.powi(2) + (at.y - 1.6).powi(2)).sqrt()) * 0.9
    }

    fn sleeve(&self, p: DVec3, on_sleeve: f64) -> f64 {
        let place = self.shape.sleeve_place(p);
        let on = self.edge(on_sleeve);
        let to_end = self.shape.sleeve.length - place.along;
        // The set-in seam: the sleeve's head lies over the shoulder's edge.
        let mut h =
            -0.16 * (-(on_sleeve / self.step).powi(2)).exp() + on * self.stitched(on_sleeve - 1.0);
        h += 0.12 * on * smooth_step(6.0, 0.0, on_sleeve);
        let over_cuff = to_end - CUFF;
        h += 0.42 * self.edge(-over_cuff)
            + self.stitched(over_cuff + 0.8)
            + self.stitched(to_end - 0.9);
        // The seam along the back of the sleeve.
        let around = self.shape.sleeve.around(p, &place);
        let off = (around - 2.2) * place.distance;
        h + on * self.felled(off) * self.edge(over_cuff)
    }

    fn collar(&self, p: DVec3, on_collar: f64) -> f64 {
        let seam = -0.14 * (-(on_collar / self.step).powi(2)).exp();
        let top = self.shape.openings()[0].origin;
        let normal = DVec3::new(0.0, 1.0, 0.28).normalize();
        let to_edge = (top - p).dot(normal);
        seam + 0.28 * self.edge(on_collar) * self.edge(2.0 - to_edge)
            + self.edge(on_collar) * self.stitched(to_edge - 2.6)
    }

    /// The grain of heavy oiled cloth: cracks in the dressing, slubs, dents; uneven left to right.
    fn cloth(&self, p: DVec3) -> f64 {
        let worn = smooth_step(-0.3, 0.6, self.coarse.gradient(p / 11.0));
        let crack = self
            .crack
            .crack(p / 1.5 + 0.35 * self.fine.gradient(p / 0.9));
        let cracks = -0.035 * worn * (-(crack / 0.10).powi(2)).exp();
        let dents =
            0.06 * self.coarse.gradient(p / 3.1 + 7.0) + 0.025 * self.fine.gradient(p / 1.2);
        cracks + dents + 0.010 * self.fine.gradient(p / 0.45)
    }
}
