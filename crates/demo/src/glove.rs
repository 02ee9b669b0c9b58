//! The keeper's left hand, carved as a tailor's dummy has it, and the glove on it: a fisherman's,
//! knitted with a thumb and one bag for the fingers, with a wide end at the wrist.

use mesh::DVec3;

use crate::cut::Opening;
use crate::dummy::{Hand, HandFrame};
use crate::noise::Noise;
use crate::sdf::{Shape, blend_max, blend_min, round_cone};

/// The fingers of a tailor's dummy, carved in one piece: place across the hand, where they end if
/// stretched, slope to the side, length, radius; cm.
const FINGERS: [(f64, f64, f64, f64, f64); 4] = [
    (2.1, 8.8, 0.03, 9.0, 1.1),
    (0.7, 9.1, 0.01, 9.6, 1.15),
    (-0.7, 9.0, -0.01, 9.4, 1.1),
    (-2.1, 8.6, -0.03, 8.4, 1.05),
];

/// The dummy's thumb in the hand's own frame: root and knuckle, cm.
const THUMB: [DVec3; 2] = [DVec3::new(3.4, -0.9, 2.9), DVec3::new(6.6, -1.7, 5.6)];

/// From the sleeve's end to the wrist, cm.
const BEYOND: f64 = 1.0;
/// From the hand to the glove's outside, cm.
const THICKNESS: f64 = 0.34;
/// Where the glove ends, along the arm from the wrist, cm.
const END: f64 = -5.6;

/// The hand as a solid.
pub(crate) struct DummyHand(HandFrame);

impl DummyHand {
    pub(crate) fn left() -> Self {
        Self(HandFrame::new(1.0, BEYOND))
    }

    pub(crate) fn bounds(&self) -> [DVec3; 2] {
        self.0.bounds()
    }

    /// Where the thumb's knuckle is.
    pub(crate) fn knuckle(&self) -> DVec3 {
        self.0.world(THUMB[1])
    }

    /// Distance along the thumb from its knuckle, negative towards its root, cm.
    pub(crate) fn along_thumb(&self, p: DVec3) -> f64 {
        let [root, knuckle] = THUMB;
        (self.0.local(p) - knuckle).dot((knuckle - root).normalize())
    }

    /// Distance along the arm from the wrist, negative up the arm, cm.
    pub(crate) fn along(&self, p: DVec3) -> f64 {
        self.0.local(p).x
    }
}

impl Shape for DummyHand {
    fn distance(&self, p: DVec3) -> f64 {
        let q = self.0.local(p);
        let fingers = FINGERS.map(|(z, x, spread, length, radius)| {
            Hand::finger(q, DVec3::new(x - 2.2, -0.1, z), spread, length, radius)
        });
        let together = fingers
            .into_iter()
            .fold(1e3, |d, one| blend_min(d, one, 2.4));
        let mut d = blend_min(Hand::palm(q), together, 0.9);
        let [root, knuckle] = THUMB;
        let thumb = blend_min(
            round_cone(q, root, 1.4, knuckle, 1.15),
            round_cone(q, knuckle, 1.15, DVec3::new(9.4, -2.4, 7.4), 0.95),
            0.4,
        );
        d = blend_min(d, thumb, 1.0);
        blend_max(d, -9.0 - q.x, 0.6)
    }
}

/// The glove as a solid.
pub(crate) struct Glove {
    hand: DummyHand,
    grain: Noise,
}

impl Glove {
    pub(crate) fn left(seed: u64) -> Self {
        Self {
            hand: DummyHand::left(),
            grain: Noise::new(seed, 20),
        }
    }

    pub(crate) fn bounds(&self) -> [DVec3; 2] {
        self.hand.bounds()
    }

    /// The wrist, where the glove ends.
    pub(crate) fn opening(&self) -> Opening {
        let origin = self.hand.0.world(DVec3::new(END, 0.0, 0.0));
        let normal = origin - self.hand.0.world(DVec3::ZERO);
        Opening {
            name: "wrist",
            origin,
            normal: normal.normalize(),
            centre: origin,
            reach: 9.0,
        }
    }

    /// Distance along the arm from the wrist, negative up the arm, cm.
    pub(crate) fn along(&self, p: DVec3) -> f64 {
        self.hand.along(p)
    }
}

impl Shape for Glove {
    fn distance(&self, p: DVec3) -> f64 {
        let q = self.hand.0.local(p);
        let arm = q * DVec3::new(1.0, 1.16, 1.0);
        let up = DVec3::new(-8.4, 0.0, 0.0);
        let end = round_cone(arm, up, 4.25, DVec3::new(-0.5, 0.0, 0.0), 3.1);
        let mut d = blend_min(self.hand.distance(p) - THICKNESS, end, 1.2);
        // Three ribs on the back of the hand, as knitters make them.
        for across in [2.0, 0.0, -2.0] {
            let from = DVec3::new(1.0, 1.9, 0.8 * across);
            let to = DVec3::new(6.0, 1.75, across);
            d = blend_min(d, round_cone(q, from, 0.16, to, 0.14), 0.3);
        }
        // Rings of ribbing at the wrist, then the grain of wool.
        let ribbing = (-((q.x + 3.2) / 1.9).powi(4)).exp();
        d - 0.07 * ribbing * (3.6 * q.x).sin() - 0.018 * self.grain.gradient(2.4 * p)
    }
}
