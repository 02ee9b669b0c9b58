//! Drawn points onto the sculpt, and the stretches between them.

use mesh::{DVec3, Polyline};

use super::Ground;
use super::error::GuideError;
use crate::model::{Guide, Sculpt};

mod route;
pub(super) use route::Router;

/// A point on the sculpt with its normal there.
#[derive(Clone, Copy, Debug)]
pub(super) struct Snapped {
    pub point: DVec3,
    pub normal: DVec3,
}

/// Snaps drawn points; repeated ones are dropped.
pub(super) fn snap(guide: &Guide, ground: &Ground<'_>) -> Result<Vec<Snapped>, GuideError> {
    let (sculpt, edge) = (ground.sculpt, ground.edge);
    let limit = (2.0 * edge).max(0.03 * ground.diagonal);
    let mut snapped: Vec<Snapped> = Vec::with_capacity(guide.points.len());
    for (i, &p) in guide.points.iter().enumerate() {
        let off = |distance| GuideError::OffSculpt {
            guide: guide.name.clone(),
            point: i + 1,
            distance,
            limit,
        };
        let found = sculpt.index.closest(p).ok_or_else(|| off(f64::INFINITY))?;
        if found.distance > limit {
            return Err(off(found.distance));
        }
        let normal = sculpt
            .mesh
            .area_normal(found.triangle as usize)
            .normalize_or_zero();
        if snapped
            .last()
            .is_none_or(|last| last.point.distance(found.point) > 1e-9 * edge)
        {
            snapped.push(Snapped {
                point: found.point,
                normal,
            });
        }
    }
    if guide.closed
        && snapped.len() > 1
        && snapped[0].point.distance(snapped[snapped.len() - 1].point) <= 1e-9 * edge
    {
        snapped.pop();
    }
    Ok(snapped)
}

/// Steps this many times longer than they should be are jumps.
const JUMP: f64 = 3.0;

/// Fills the stretches between snapped points so that points lie `spacing` apart.
pub(super) fn fill(snapped: &[Snapped], closed: bool, ground: &mut Ground<'_>) -> Polyline {
    let (sculpt, spacing) = (ground.sculpt, ground.spacing());
    let count = snapped.len();
    let mut points = Vec::new();
    let stretches = if closed {
        count
    } else {
        count.saturating_sub(1)
    };
    for i in 0..stretches {
        let (a, b) = (snapped[i], snapped[(i + 1) % count]);
        points.push(a.point);
        let long = a.point.distance(b.point);
        let pieces = (long / spacing).ceil().clamp(1.0, 1e5) as usize;
        match straight(a, b, pieces, sculpt) {
            Some(inner) => points.extend(inner),
            None => points.extend(ground.router.route(a.point, b.point, sculpt)),
        }
    }
    if !closed && let Some(last) = snapped.last() {
        points.push(last.point);
    }
    Polyline { points, closed }.even(spacing)
}

/// Points on the sculpt under the straight piece from a to b, or `None` where the
/// sculpt is far from it, faces away from both ends, or isn't met in even steps: there
/// the nearest points jump from one part of it to another.
fn straight(a: Snapped, b: Snapped, pieces: usize, sculpt: &Sculpt) -> Option<Vec<DVec3>> {
    let long = a.point.distance(b.point);
    let facing = (a.normal + b.normal).normalize_or_zero();
    let longest = JUMP * long / pieces as f64;
    let mut last = a.point;
    let mut inner = Vec::with_capacity(pieces);
    for k in 1..pieces {
        let p = a.point.lerp(b.point, k as f64 / pieces as f64);
        let on = onto(sculpt, p, facing, 0.25 * long)?;
        if on.distance(last) > longest {
            return None;
        }
        inner.push(on);
        last = on;
    }
    (pieces == 1 || last.distance(b.point) <= longest).then_some(inner)
}

/// Puts ways over the sculpt between neighbours that are more than a few `spacing` apart.
pub(super) fn mend(line: &mut Polyline, ground: &mut Ground<'_>) {
    let spacing = ground.spacing();
    let gap = |i: usize| {
        let (a, b) = line.piece(i);
        a.distance(b) > JUMP * spacing
    };
    if !(0..line.pieces()).any(gap) {
        return;
    }
    let mut points = Vec::with_capacity(line.points.len());
    for i in 0..line.points.len() {
        points.push(line.points[i]);
        if i < line.pieces() && gap(i) {
            let (a, b) = line.piece(i);
            points.extend(ground.router.route(a, b, ground.sculpt));
        }
    }
    line.points = points;
}

/// The nearest point of the sculpt that faces like `facing`.
pub(super) fn onto(sculpt: &Sculpt, p: DVec3, facing: DVec3, reach: f64) -> Option<DVec3> {
    let faces =
        |t: u32| facing == DVec3::ZERO || sculpt.mesh.area_normal(t as usize).dot(facing) > 0.0;
    sculpt.index.closest_where(p, reach, faces).map(|c| c.point)
}

/// Takes drawing jitter away: smoothing that doesn't shrink (Taubin 1995, "A signal
/// processing approach to fair surface design"), back onto the sculpt, and even spacing.
/// No point moves further than 0.15 of a target edge.
pub(super) fn smooth(line: &Polyline, sculpt: &Sculpt, edge: f64) -> Polyline {
    const ROUNDS: usize = 12;
    const INWARD: f64 = 0.5;
    const OUTWARD: f64 = -0.526;
    let mut now = line.points.clone();
    let count = now.len();
    for _ in 0..ROUNDS {
        for step in [INWARD, OUTWARD] {
            let old = now.clone();
            for i in 0..count {
                if !line.closed && (i == 0 || i + 1 == count) {
                    continue;
                }
                let middle = (old[(i + count - 1) % count] + old[(i + 1) % count]) / 2.0;
                now[i] = old[i] + (middle - old[i]) * step;
            }
        }
    }
    for (p, &drawn) in now.iter_mut().zip(&line.points) {
        let moved = (*p - drawn).clamp_length_max(0.15 * edge);
        let facing = sculpt.index.closest(drawn).map_or(DVec3::ZERO, |c| {
            sculpt.mesh.area_normal(c.triangle as usize)
        });
        *p = onto(sculpt, drawn + moved, facing, edge).unwrap_or(drawn);
    }
    take_back_jumps(&mut now, line);
    Polyline {
        points: now,
        closed: line.closed,
    }
}

/// Where smoothing made neighbours jump apart, the points from before stand.
fn take_back_jumps(now: &mut [DVec3], before: &Polyline) {
    let count = now.len();
    let usual = before.length() / before.pieces().max(1) as f64;
    // Each sweep takes back the neighbours of what the last one took back.
    for _ in 0..8 {
        let jumps: Vec<usize> = (0..before.pieces())
            .filter(|&i| now[i].distance(now[(i + 1) % count]) > JUMP * usual)
            .collect();
        for &i in &jumps {
            for k in [i, (i + 1) % count] {
                now[k] = before.points[k];
            }
        }
        if jumps.is_empty() {
            break;
        }
    }
}
