//! What the coat is worn over, as far as later chapters need it: head with neck, two hands.

use base::{Cancelled, Task};
use mesh::{DVec3, TriMesh};

use crate::extract::extract;
use crate::sdf::{Shape, blend_max, blend_min, ellipsoid, round_cone};
use crate::shape::arm_axis;
use crate::wall::from_quads;

pub(crate) struct Head;

impl Head {
    /// A box that holds the solid, cm.
    pub(crate) fn bounds() -> [DVec3; 2] {
        let centre = DVec3::new(0.013, 161.0, -0.5);
        let half = DVec3::new(16.03, 24.0, 16.0);
        [centre - half, centre + half]
    }
}

impl Shape for Head {
    fn distance(&self, p: DVec3) -> f64 {
        let p = DVec3::new(p.x.abs(), p.y - 166.5, p.z - 0.5);
        let skull = ellipsoid(p, DVec3::new(0.0, 3.2, -1.6), DVec3::new(7.5, 8.6, 9.3));
        let face = ellipsoid(p, DVec3::new(0.0, -2.6, 1.6), DVec3::new(6.0, 8.8, 6.6));
        let jaw = ellipsoid(p, DVec3::new(0.0, -8.6, 4.0), DVec3::new(4.2, 2.8, 3.9));
        let mut d = blend_min(blend_min(skull, face, 3.0), jaw, 3.0);
        d = blend_max(
            d,
            -ellipsoid(p, DVec3::new(3.2, -0.6, 9.4), DVec3::new(2.1, 1.3, 1.9)),
            1.6,
        );
        let brow = round_cone(
            p,
            DVec3::new(0.0, 1.1, 7.6),
            0.9,
            DVec3::new(4.4, 0.6, 6.0),
            0.6,
        );
        d = blend_min(d, brow, 2.4);
        let eye = ellipsoid(p, DVec3::new(3.1, -0.7, 6.3), DVec3::new(1.35, 1.05, 1.3));
        d = blend_min(d, eye, 0.35);
        let bridge = round_cone(
            p,
            DVec3::new(0.0, 0.6, 7.5),
            0.6,
            DVec3::new(0.0, -3.6, 9.5),
            1.0,
        );
        d = blend_min(d, bridge, 1.3);
        d = blend_min(
            d,
            ellipsoid(p, DVec3::new(1.1, -3.9, 8.3), DVec3::new(0.8, 0.75, 1.2)),
            0.9,
        );
        let philtrum = ellipsoid(p, DVec3::new(0.0, -6.6, 6.3), DVec3::new(3.0, 2.4, 1.9));
        d = blend_min(d, philtrum, 1.6);
        d = blend_min(
            d,
            ellipsoid(p, DVec3::new(0.0, -6.3, 8.1), DVec3::new(2.0, 0.55, 0.75)),
            0.5,
        );
        d = blend_min(
            d,
            ellipsoid(p, DVec3::new(0.0, -7.4, 7.9), DVec3::new(1.7, 0.6, 0.8)),
            0.5,
        );
        let chin = ellipsoid(p, DVec3::new(0.0, -10.0, 6.0), DVec3::new(2.0, 1.5, 1.6));
        d = blend_min(d, chin, 2.0);
        let cheek = ellipsoid(p, DVec3::new(4.1, -3.0, 4.3), DVec3::new(1.5, 1.2, 1.4));
        d = blend_min(d, cheek, 2.0);
        let ear = ellipsoid(p, DVec3::new(7.3, -1.4, -1.2), DVec3::new(0.9, 3.3, 1.9));
        d = blend_min(
            d,
            blend_max(
                ear,
                -ellipsoid(p, DVec3::new(8.3, -1.0, -0.7), DVec3::new(0.7, 1.9, 1.0)),
                0.6,
            ),
            0.7,
        );
        let neck = round_cone(
            p,
            DVec3::new(0.0, -6.0, -1.8),
            5.5,
            DVec3::new(0.0, -24.0, -3.4),
            6.2,
        );
        let shoulders = ellipsoid(p, DVec3::new(0.0, -24.5, -3.2), DVec3::new(9.5, 4.5, 7.0));
        d = blend_min(d, blend_min(neck, shoulders, 4.0), 2.5);
        blend_max(d, -26.0 - p.y, 0.8)
    }
}

/// Where a hand is: wrist at the origin, fingers along +x, palm to -y, thumb to +z.
pub(crate) struct HandFrame {
    origin: DVec3,
    along: DVec3,
    back: DVec3,
    thumb: DVec3,
    mirror: f64,
}

impl HandFrame {
    /// The left hand's (`mirror` 1) or the right one's (-1), its wrist so far beyond the sleeve's
    /// end, cm.
    pub(crate) fn new(mirror: f64, beyond: f64) -> Self {
        let axis = arm_axis();
        let (origin, along) = axis.at(axis.length + beyond);
        let out = DVec3::new(0.80, 0.45, -0.10);
        let back = (out - out.dot(along) * along).normalize();
        let thumb = along.cross(back);
        Self {
            origin,
            along,
            back,
            thumb: if thumb.z >= 0.0 { thumb } else { -thumb },
            mirror,
        }
    }

    /// From the world to the hand's own frame.
    pub(crate) fn local(&self, p: DVec3) -> DVec3 {
        let q = DVec3::new(p.x * self.mirror, p.y, p.z) - self.origin;
        DVec3::new(q.dot(self.along), q.dot(self.back), q.dot(self.thumb))
    }

    /// From the hand's own frame to the world.
    pub(crate) fn world(&self, q: DVec3) -> DVec3 {
        let p = self.origin + q.x * self.along + q.y * self.back + q.z * self.thumb;
        DVec3::new(p.x * self.mirror, p.y, p.z)
    }

    /// A box that holds the hand and what is worn on it, cm.
    pub(crate) fn bounds(&self) -> [DVec3; 2] {
        let near = self.origin + 5.0 * self.along;
        let centre = near * DVec3::new(self.mirror, 1.0, 1.0);
        let half = DVec3::new(24.03, 24.07, 24.01);
        [centre - half, centre + half]
    }
}

/// A relaxed hand.
pub(crate) struct Hand(HandFrame);

impl Hand {
    fn new(mirror: f64) -> Self {
        Self(HandFrame::new(mirror, -2.0))
    }

    /// Distance to a hand without fingers, in its own frame.
    pub(crate) fn palm(q: DVec3) -> f64 {
        let wrist = round_cone(
            q * DVec3::new(1.0, 1.22, 1.0),
            DVec3::new(-8.0, 0.0, 0.0),
            3.3,
            DVec3::new(1.5, 0.0, 0.0),
            2.9,
        );
        let palm = ellipsoid(q, DVec3::new(5.2, -0.2, 0.0), DVec3::new(5.6, 1.65, 4.3));
        let ball = ellipsoid(q, DVec3::new(3.6, -0.9, 2.4), DVec3::new(3.2, 1.5, 1.9));
        blend_min(blend_min(wrist, palm, 2.2), ball, 1.5)
    }

    pub(crate) fn finger(p: DVec3, root: DVec3, spread: f64, length: f64, radius: f64) -> f64 {
        let mut at = root;
        let mut d = f64::MAX;
        let mut bend: f64 = 0.22;
        for (share, taper) in [(0.55, 1.0), (0.25, 0.93), (0.20, 0.86)] {
            let direction = DVec3::new(bend.cos(), -bend.sin(), spread).normalize();
            let next = at + share * length * direction;
            d = blend_min(
                d.min(1e3),
                round_cone(p, at, radius * taper, next, radius * taper * 0.93),
                0.25,
            );
            at = next;
            bend += 0.30;
        }
        d
    }
}

impl Shape for Hand {
    fn distance(&self, p: DVec3) -> f64 {
        let q = self.0.local(p);
        let mut d = Self::palm(q);
        for (z, x, length, radius) in [
            (2.9, 8.8, 9.4, 0.92),
            (0.95, 9.3, 10.2, 0.95),
            (-0.95, 9.0, 9.6, 0.90),
            (-2.75, 8.1, 7.8, 0.80),
        ] {
            d = blend_min(
                d,
                Self::finger(q, DVec3::new(x - 2.2, -0.1, z), 0.06 * z, length, radius),
                0.55,
            );
        }
        let root = DVec3::new(3.4, -0.9, 2.9);
        let knuckle = DVec3::new(6.6, -1.6, 5.2);
        let thumb = blend_min(
            round_cone(q, root, 1.4, knuckle, 1.1),
            round_cone(q, knuckle, 1.1, DVec3::new(9.2, -2.1, 6.1), 0.85),
            0.4,
        );
        d = blend_min(d, thumb, 1.0);
        blend_max(d, -9.0 - q.x, 0.6)
    }
}

/// Head, left hand, right hand: closed surfaces of some 30 thousand triangles each.
pub(crate) fn under_layer(task: &Task) -> Result<Vec<(String, TriMesh)>, Cancelled> {
    let (left, right) = (Hand::new(1.0), Hand::new(-1.0));
    let parts: [(&str, &dyn Shape, [DVec3; 2], f64); 3] = [
        ("head", &Head, Head::bounds(), 0.40),
        ("left hand", &left, left.0.bounds(), 0.235),
        ("right hand", &right, right.0.bounds(), 0.235),
    ];
    parts
        .into_iter()
        .map(|(name, shape, [low, high], cell)| {
            let soup = extract(shape, low, high, cell, task)?;
            let wall = from_quads(soup, shape, cell, 3);
            Ok((name.to_owned(), wall.to_mesh()))
        })
        .collect()
}
