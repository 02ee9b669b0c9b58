//! The coat's plain shape, before it falls into folds, and the wearer within.

use mesh::DVec3;

use crate::cut::Opening;
use crate::sdf::{AxisPlace, BentAxis, Column, Profile, Shape, blend_max, blend_min};

/// Length of sleeve below the wrist that is cut away again, cm.
const SPARE: f64 = 4.0;

/// Height of the hem over the ground, cm.
pub(crate) const HEM: f64 = 47.0;
/// Height where the collar stands up from the shoulders at the back, cm.
pub(crate) const COLLAR_SEAM: f64 = 147.6;

/// The coat as a smooth solid, symmetric about x = 0.
#[derive(Clone, Debug)]
pub(crate) struct CoatShape {
    body: Column,
    /// Axis of the left sleeve.
    pub(crate) sleeve: BentAxis,
    radius: Profile,
}

/// Axis of the left arm from the shoulder joint to the wrist.
pub(crate) fn arm_axis() -> BentAxis {
    let upper = DVec3::new(0.766, -0.643, 0.06);
    let fore = DVec3::new(0.56, -0.66, 0.50);
    BentAxis::new(DVec3::new(14.8, 136.8, -1.6), upper, 31.0, fore, 27.0, 15.0)
}

impl CoatShape {
    pub(crate) fn new() -> Self {
        let body = Column {
            width: Profile::new(&[
                (38.0, 34.0),
                (47.0, 33.0),
                (62.0, 29.6),
                (78.0, 26.4),
                (92.0, 24.0),
                (100.0, 21.6),
                (106.0, 20.9),
                (118.0, 21.6),
                (128.0, 22.0),
                (138.0, 21.0),
                (150.0, 18.5),
            ]),
            depth: Profile::new(&[
                (38.0, 29.0),
                (47.0, 28.0),
                (62.0, 24.2),
                (78.0, 20.8),
                (92.0, 18.0),
                (100.0, 15.2),
                (106.0, 14.4),
                (118.0, 15.0),
                (128.0, 15.0),
                (138.0, 13.4),
                (150.0, 11.0),
            ]),
            centre: Profile::new(&[
                (40.0, 0.5),
                (90.0, 0.3),
                (109.0, 0.2),
                (128.0, -0.4),
                (140.0, -1.6),
                (150.0, -2.4),
            ]),
        };
        let sleeve = arm_axis();
        let end = sleeve.length;
        let radius = Profile::new(&[
            (0.0, 7.9),
            (12.0, 7.8),
            (30.0, 7.4),
            (44.0, 6.7),
            (end - 6.0, 6.0),
            (end + SPARE, 5.7),
        ]);
        Self {
            body,
            sleeve,
            radius,
        }
    }

    /// Sleeve radius at a length along its axis, cm.
    pub(crate) fn sleeve_radius(&self, along: f64) -> f64 {
        self.radius.at(along).0
    }

    /// Point and direction of the collar's axis.
    pub(crate) fn collar_axis() -> (DVec3, DVec3) {
        (
            DVec3::new(0.0, 147.0, -2.4),
            DVec3::new(0.0, 1.0, 0.14).normalize(),
        )
    }

    /// Where a point of the left half lies along the sleeve.
    pub(crate) fn sleeve_place(&self, p: DVec3) -> AxisPlace {
        self.sleeve.place(p)
    }

    /// Distance to the trunk with shoulders, without sleeve and collar.
    pub(crate) fn trunk(&self, p: DVec3) -> f64 {
        let across = (p.x * p.x + 20.0).sqrt() - 20f64.sqrt();
        let roof = (p.y - (149.3 - 0.36 * across - 0.012 * (p.z + 2.0).powi(2))) * 0.93;
        blend_max(blend_max(self.body.distance(p), roof, 7.0), 42.0 - p.y, 1.0)
    }

    fn sleeve_distance(&self, p: DVec3) -> f64 {
        let place = self.sleeve.place(p);
        let end = self.sleeve.length + SPARE;
        if place.along < 0.0 {
            return p.distance(self.sleeve.at(0.0).0) - self.sleeve_radius(0.0);
        }
        let (radius, slope) = self.radius.at(place.along.min(end));
        let side = (place.distance - radius) / (1.0 + slope * slope).sqrt();
        blend_max(side, place.along - end, 1.0)
    }

    fn collar_distance(&self, p: DVec3) -> f64 {
        let (foot, axis) = Self::collar_axis();
        let along = (p - foot).dot(axis);
        let off = p - foot - along * axis;
        let radius = 7.9 - 0.035 * along.clamp(-4.0, 14.0);
        let side = ((off.x / 0.96).powi(2) + (off.z / 1.06).powi(2)).sqrt() - radius;
        blend_max(side, along - 13.5, 1.0).max(-4.0 - along)
    }

    /// The planes where the coat ends: neck, left wrist, right wrist, hem.
    pub(crate) fn openings(&self) -> Vec<Opening> {
        let (wrist, along) = self.sleeve.at(self.sleeve.length);
        let flip = DVec3::new(-1.0, 1.0, 1.0);
        let neck = DVec3::new(0.0, 154.2, -1.4);
        let plane = |name, origin: DVec3, normal: DVec3, reach| {
            let normal = normal.normalize();
            Opening {
                name,
                origin,
                normal,
                centre: origin + 3.0 * normal,
                reach,
            }
        };
        vec![
            plane("neck", neck, DVec3::new(0.0, 1.0, 0.28), 14.0),
            plane("left wrist", wrist, along, 13.0),
            plane("right wrist", wrist * flip, along * flip, 13.0),
            plane("hem", DVec3::new(0.0, HEM, 0.0), DVec3::NEG_Y, 90.0),
        ]
    }

    /// A box that holds the solid, cm.
    pub(crate) fn bounds() -> (DVec3, DVec3) {
        (
            DVec3::new(-71.37, 38.13, -43.21),
            DVec3::new(71.61, 165.3, 43.47),
        )
    }
}

impl Shape for CoatShape {
    fn distance(&self, p: DVec3) -> f64 {
        let p = DVec3::new(p.x.abs(), p.y, p.z);
        let mut d = self.trunk(p);
        if p.x > 4.0 {
            d = blend_min(d, self.sleeve_distance(p), 4.0);
        }
        if p.y > 138.0 {
            d = blend_min(d, self.collar_distance(p), 3.0);
        }
        d
    }
}
