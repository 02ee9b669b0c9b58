//! What openings are shaped like.

use std::f64::consts::{SQRT_2, TAU};

use engine::model::GuideKind;

use crate::draw::{on_plate, plate};
use crate::support::{sculpt_of, settings, sound};

/// A drop: three quarters of a circle, and its two ends' tangents as far as the tip where they meet at a
/// right angle. With a corner there, the row round the opening left that corner both ways and crossed itself.
#[test]
fn rows_close_round_an_opening_with_one_tip() {
    let sculpt = sculpt_of(plate());
    let (radius, steps) = (6.0, 45u32);
    let arc = (0..=steps).map(|i| TAU / 8.0 + 0.75 * TAU * f64::from(i) / f64::from(steps));
    let mut drop: Vec<[f64; 2]> = arc.map(|a| [radius * a.cos(), radius * a.sin()]).collect();
    drop.push([radius * SQRT_2, 0.0]);
    let opening = on_plate("drop", GuideKind::Opening, true, &drop);
    let (_, measures) = sound(&sculpt, &settings(vec![opening], 800));
    assert_eq!(measures.strips.spirals, 0);
}
