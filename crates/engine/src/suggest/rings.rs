//! Rings: at a place, the shortest loop that a plane through the limb's middle cuts.

use std::f64::consts::PI;

use mesh::{DVec3, Run, runs};

use super::cut;
use super::ground::Ground;
use super::limbs::{self, Limb};
use super::places::Place;
use crate::model::Plane;

/// Planes are tilted by at most this much from square, degrees,
const TILT: f64 = 25.0;
/// in steps from this down to an eighth of it.
const FIRST_TILT: f64 = 8.0;
/// A tilt that shortens the loop by less than this share isn't worth it.
const WORTH: f64 = 5e-4;
/// Points of a ring, at least and at most.
const POINTS: (usize, usize) = (16, 160);

/// A ring as it could be drawn.
#[derive(Clone, Debug)]
pub(super) struct Ring {
    /// Points on the sculpt, model units.
    pub points: Vec<DVec3>,
    /// Length, model units.
    pub length: f64,
    /// 4π area / length².
    pub roundness: f64,
}

/// The ring at a place.
pub(super) fn ring(
    ground: &Ground<'_>,
    limb: &Limb,
    place: &Place,
    plane: Option<&Plane>,
) -> Option<Ring> {
    let station = limb.stations.get(place.station)?;
    let (mut centre, mut along) = (station.centre, station.along);
    // A limb along the mirror plane gets rings that are their own mirror images.
    let own_mirror = plane.filter(|plane| {
        plane.height(centre).abs() < 0.3 * station.radius() && along.dot(plane.normal).abs() < 0.3
    });
    if let Some(plane) = own_mirror {
        centre = plane.project(centre);
        along = (along - along.dot(plane.normal) * plane.normal).normalize_or_zero();
    }
    let (mut run, normal) = shortest(ground, centre, along, station.girth, own_mirror)?;
    let roundness = 4.0 * PI * cut::area(&run, normal) / run.length().powi(2);
    let spacing = (0.5 * ground.edge)
        .min(run.length() / POINTS.0 as f64)
        .max(run.length() / POINTS.1 as f64);
    run.points = runs::even(&run.points, true, spacing);
    // Two rounds take off what the light sculpt's triangles put on.
    runs::smooth(&mut run.points, true, 2);
    let points = ground.onto_sculpt(&run.points);
    Some(Ring {
        length: runs::length(&points, true),
        points,
        roundness,
    })
}

/// The shortest section through `centre` with a plane that is nearly square to `along`, and
/// that plane's normal. Pattern search (Hooke & Jeeves 1961) over two tilts; with a mirror
/// plane, over the one that keeps the section its own image.
fn shortest(
    ground: &Ground<'_>,
    centre: DVec3,
    along: DVec3,
    expected: f64,
    own_mirror: Option<&Plane>,
) -> Option<(Run, DVec3)> {
    let first =
        own_mirror.map_or_else(|| along.any_orthonormal_vector(), |p| along.cross(p.normal));
    let first = first.normalize_or_zero();
    let second = along.cross(first);
    let sides: &[DVec3] = if own_mirror.is_some() {
        &[first]
    } else {
        &[first, second]
    };
    let at = |tilt: [f64; 2]| {
        let side = tilt[0].to_radians().tan() * first + tilt[1].to_radians().tan() * second;
        let normal = (along + side).normalize_or_zero();
        let run = limbs::around(ground, centre, normal, expected)?;
        Some((run, normal))
    };
    let mut tilt = [0.0; 2];
    let (mut best, mut normal) = at(tilt)?;
    let mut length = best.length();
    let mut step = FIRST_TILT;
    while step > FIRST_TILT / 10.0 {
        let mut better = false;
        for axis in 0..sides.len() {
            for sign in [1.0, -1.0] {
                let mut next = tilt;
                next[axis] += sign * step;
                if next[0].hypot(next[1]) > TILT {
                    continue;
                }
                if let Some((run, n)) = at(next)
                    && run.length() < length * (1.0 - WORTH)
                {
                    length = run.length();
                    (best, normal, tilt) = (run, n, next);
                    better = true;
                    break;
                }
            }
        }
        if !better {
            step /= 2.0;
        }
    }
    Some((best, normal))
}
