//! A hand: limbs that leave a body side by side and across.

use demo::solid::{self, Opening, Shape, blend_min, ellipsoid, round_cone};
use mesh::DVec3;

use crate::support::{sculpt_of, settings, sound};

/// A palm with four fingers and a thumb, the wrist cut open; cm.
struct Hand {
    /// How far each finger bends to the palm, cm at its tip.
    bend: f64,
}

impl Shape for Hand {
    fn distance(&self, p: DVec3) -> f64 {
        let palm = ellipsoid(p, DVec3::new(0.0, 4.6, 0.0), DVec3::new(4.2, 5.2, 1.8));
        let wrist = round_cone(
            p,
            DVec3::new(0.0, -6.0, 0.0),
            2.6,
            DVec3::new(0.0, 2.0, 0.0),
            2.4,
        );
        let mut d = blend_min(palm, wrist, 1.6);
        for (k, length) in [5.6, 6.6, 6.2, 4.8].into_iter().enumerate() {
            let x = -2.9 + 1.95 * k as f64;
            let root = DVec3::new(0.9 * x, 8.2, 0.0);
            let tip = DVec3::new(1.35 * x, 9.0 + length, self.bend);
            d = blend_min(d, round_cone(p, root, 0.95, tip, 0.7), 0.5);
        }
        let thumb = round_cone(
            p,
            DVec3::new(-2.6, 2.8, 0.6),
            1.3,
            DVec3::new(-7.4, 7.0, 2.2),
            0.85,
        );
        blend_min(d, thumb, 0.9)
    }
}

/// On a hand the rows between the fingers, across the palm and round the thumb close only if the
/// poles at the limbs' roots lie in line with each other. Four strips ran over the hand and back,
/// across themselves, before the plan was searched for that.
#[test]
fn the_rows_of_a_hand_close() {
    let cuff = Opening {
        name: "cuff",
        origin: DVec3::new(0.0, -4.0, 0.0),
        normal: DVec3::NEG_Y,
        centre: DVec3::new(0.0, -6.0, 0.0),
        reach: 6.0,
    };
    let room = (DVec3::new(-9.5, -10.0, -3.5), DVec3::new(6.5, 17.5, 5.0));
    let hand = Hand { bend: 1.0 };
    let task = base::Task::default();
    let mesh = solid::triangles(&hand, room, 0.22, &[cuff], &task).unwrap();
    let (sculpt, settings) = (sculpt_of(mesh), settings(Vec::new(), 900));
    let (outcome, _) = sound(&sculpt, &settings);
    let strips = outcome.surface.topology().strips();
    assert_eq!(strips.iter().filter(|s| s.crosses_itself()).count(), 0);
}
