//! How a ring lies around its limb: square to it, or on a slant.

use std::f64::consts::{PI, TAU};

use mesh::DVec3;

use super::guides::Track;
use super::space::line_angle_deg;
use super::strips::flattest_axis;
use crate::model::{GuideKind, Sculpt};

/// Normals along a ring around a limb differ along the limb by no more than this share of all that
/// they differ; more, and there is no axis to speak of.
const LEAST_SHARE: f64 = 0.05;

/// Angle between a ring's plane's normal and the axis of the limb beneath it, deg; `None` where it
/// is no ring around a limb.
///
/// Along a ring around a tube or a cone the surface's normals all make the same angle with the
/// axis, on whatever slant the ring lies, and turn about it once.
pub(super) fn of(track: &Track, sculpt: &Sculpt) -> Option<f64> {
    if !track.guide.closed || track.guide.kind != GuideKind::Ring {
        return None;
    }
    let normal = |&p: &DVec3| {
        let found = sculpt.index.closest(p)?;
        let normal = sculpt.mesh.area_normal(found.triangle as usize);
        normal.try_normalize()
    };
    let normals: Vec<DVec3> = track.samples.iter().filter_map(normal).collect();
    let off_mean = |all: &[DVec3]| {
        let mean = all.iter().sum::<DVec3>() / all.len().max(1) as f64;
        all.iter().map(|v| *v - mean).collect::<Vec<DVec3>>()
    };
    let spread = off_mean(&normals);
    let axis = flattest_axis(&spread);
    let all: f64 = spread.iter().map(|v| v.length_squared()).sum();
    let along: f64 = spread.iter().map(|v| v.dot(axis).powi(2)).sum();
    let across = axis.any_orthonormal_vector();
    let up = axis.cross(across);
    let angles: Vec<f64> = normals
        .iter()
        .map(|n| n.dot(up).atan2(n.dot(across)))
        .collect();
    let turned: f64 = (0..angles.len())
        .map(|i| angles[(i + 1) % angles.len()] - angles[i])
        .map(|step| (step + PI).rem_euclid(TAU) - PI)
        .sum();
    let around = (turned.abs() / TAU).round() == 1.0;
    (around && along <= LEAST_SHARE * all)
        .then(|| line_angle_deg(flattest_axis(&off_mean(&track.samples)), axis))
}
