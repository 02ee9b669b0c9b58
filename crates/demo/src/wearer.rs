//! The wearer, whom the coat rests on.

use mesh::DVec3;

use crate::sdf::{BentAxis, Column, Profile, Shape, blend_max, blend_min, ellipsoid, round_cone};
use crate::shape::arm_axis;

/// The wearer, whom the coat rests on: trunk, legs and arms as plain solids.
#[derive(Clone, Debug)]
pub(crate) struct Wearer {
    trunk: Column,
    arm: BentAxis,
}

impl Wearer {
    pub(crate) fn new() -> Self {
        let trunk = Column {
            width: Profile::new(&[
                (76.0, 15.0),
                (86.0, 18.6),
                (92.0, 18.6),
                (100.0, 17.0),
                (108.0, 16.2),
                (118.0, 17.2),
                (128.0, 18.8),
                (138.0, 19.6),
                (150.0, 18.0),
            ]),
            depth: Profile::new(&[
                (76.0, 10.5),
                (86.0, 13.4),
                (92.0, 13.4),
                (100.0, 11.8),
                (108.0, 11.0),
                (118.0, 12.0),
                (128.0, 12.8),
                (138.0, 11.6),
                (150.0, 9.0),
            ]),
            centre: Profile::new(&[
                (80.0, -0.6),
                (109.0, 0.2),
                (128.0, -0.2),
                (140.0, -1.6),
                (150.0, -2.4),
            ]),
        };
        Self {
            trunk,
            arm: arm_axis(),
        }
    }
}

impl Shape for Wearer {
    fn distance(&self, p: DVec3) -> f64 {
        let p = DVec3::new(p.x.abs(), p.y, p.z);
        let across = (p.x * p.x + 20.0).sqrt() - 20f64.sqrt();
        let roof = (p.y - (148.2 - 0.36 * across - 0.012 * (p.z + 2.0).powi(2))) * 0.93;
        let mut d = blend_max(
            blend_max(self.trunk.distance(p), roof, 7.0),
            76.0 - p.y,
            6.0,
        );
        let (hip, knee) = (DVec3::new(9.3, 84.0, -0.5), DVec3::new(10.5, 48.0, 1.0));
        d = blend_min(d, round_cone(p, hip, 9.4, knee, 6.4), 4.0);
        d = blend_min(
            d,
            round_cone(p, knee, 6.4, DVec3::new(11.0, 8.0, -2.0), 4.5),
            3.0,
        );
        let place = self.arm.place(p);
        let along = place.along.clamp(0.0, self.arm.length + 2.0);
        let radius = 6.6 - 3.2 * along / self.arm.length;
        let arm = p.distance(self.arm.at(along).0) - radius;
        let shoulder = ellipsoid(p, DVec3::new(18.0, 136.5, -1.5), DVec3::new(7.5, 7.0, 7.2));
        blend_min(blend_min(d, arm, 3.0), shoulder, 3.0)
    }
}
