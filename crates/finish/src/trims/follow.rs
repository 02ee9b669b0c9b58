//! How far a trim's cloth finds the sculpt beyond its opening.

use engine::model::Sculpt;
use mesh::DVec3;

/// Steps to a row's height.
const STEPS: usize = 6;
/// Between one step and the next the sculpt may turn by 60°, and 70° in all: further, it is a rim
/// that turns back and no longer the trim.
const TURN: f64 = 0.5;
const TURN_IN_ALL: f64 = 0.34;
/// A step must gain this share of its length: where the sculpt ends it doesn't.
const GAIN: f64 = 0.3;

/// Points on the sculpt at the given heights (rising, model units), measured along it from `from`
/// toward `way`; as many as the sculpt has. `outward` is the surface's normal at `from`.
pub(super) fn along(
    sculpt: &Sculpt,
    from: DVec3,
    outward: DVec3,
    way: DVec3,
    heights: &[f64],
) -> Vec<DVec3> {
    let mut found = Vec::new();
    let (mut at, mut up, mut gone) = (from, outward, 0.0);
    for &height in heights {
        let step = (height - gone) / STEPS as f64;
        for _ in 0..STEPS {
            let along = (way - way.dot(up) * up).normalize_or_zero();
            let Some(near) = sculpt.index.closest_within(at + step * along, step) else {
                return found;
            };
            let triangle = near.triangle as usize;
            let normal = sculpt.mesh.area_normal(triangle).normalize_or_zero();
            let gain = (near.point - at).dot(along);
            if normal.dot(up) < TURN || normal.dot(outward) < TURN_IN_ALL || gain < GAIN * step {
                return found;
            }
            (at, up) = (near.point, normal);
        }
        gone = height;
        found.push(at);
    }
    found
}
