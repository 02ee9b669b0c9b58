//! Drawn points onto the sculpt, and the stretches between them.

use mesh::{DVec3, Polyline, runs};

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
        let normal = normal_of(sculpt, found.triangle);
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

/// Fills the stretches between snapped points so that points lie `spacing` apart on the sculpt.
pub(super) fn fill(snapped: &[Snapped], closed: bool, ground: &mut Ground<'_>) -> Vec<Snapped> {
    let (sculpt, spacing) = (ground.sculpt, ground.spacing());
    let count = snapped.len();
    let mut way = Vec::new();
    let stretches = if closed {
        count
    } else {
        count.saturating_sub(1)
    };
    for i in 0..stretches {
        let (a, b) = (snapped[i], snapped[(i + 1) % count]);
        way.push(a);
        let long = a.point.distance(b.point);
        let pieces = (long / spacing).ceil().clamp(1.0, 1e5) as usize;
        match straight(a, b, pieces, sculpt) {
            Some(inner) => way.extend(inner),
            None => way.extend(ground.router.route(a, b, sculpt)),
        }
    }
    if !closed && let Some(&last) = snapped.last() {
        way.push(last);
    }
    let mut close = Vec::with_capacity(way.len());
    for (i, &a) in way.iter().enumerate() {
        close.push(a);
        if closed || i + 1 < way.len() {
            halve(
                a,
                way[(i + 1) % way.len()],
                spacing,
                HALVINGS,
                sculpt,
                &mut close,
            );
        }
    }
    even(&close, closed, spacing)
}

/// Most times that a gap between neighbours is halved.
const HALVINGS: u32 = 10;

/// Puts points of the sculpt between two until all lie `spacing` apart: the straight piece between
/// two may leave it, on a crest so far that it comes out on the other wall of a cloth.
fn halve(
    a: Snapped,
    b: Snapped,
    spacing: f64,
    times: u32,
    sculpt: &Sculpt,
    between: &mut Vec<Snapped>,
) {
    let long = a.point.distance(b.point);
    if times == 0 || long <= spacing {
        return;
    }
    let middle = snapped_like(sculpt, (a.point + b.point) / 2.0, a.normal + b.normal, long);
    // Nearer to both ends than they are to each other, or halving leads nowhere.
    let Some(middle) =
        middle.filter(|m| m.point.distance(a.point).max(m.point.distance(b.point)) < 0.95 * long)
    else {
        return;
    };
    halve(a, middle, spacing, times - 1, sculpt, between);
    between.push(middle);
    halve(middle, b, spacing, times - 1, sculpt, between);
}

/// The same way with points `spacing` apart.
fn even(way: &[Snapped], closed: bool, spacing: f64) -> Vec<Snapped> {
    let points: Vec<DVec3> = way.iter().map(|s| s.point).collect();
    let normals: Vec<DVec3> = way.iter().map(|s| s.normal).collect();
    let places = runs::even_places(&points, closed, spacing);
    let at = |place: &runs::OnRun| Snapped {
        point: place.of(&points),
        normal: place.of(&normals).normalize_or_zero(),
    };
    places.iter().map(at).collect()
}

/// The line through snapped points.
pub(super) fn line_of(way: &[Snapped], closed: bool) -> Polyline {
    Polyline {
        points: way.iter().map(|s| s.point).collect(),
        closed,
    }
}

/// Points on the sculpt under the straight piece from a to b: the nearest that face like both ends,
/// or, where those jump as they do under a crest, those that are seen from where both ends face.
/// `None` where the sculpt is far from the piece, faces away from both ends, or isn't met in even
/// steps: there the points jump from one part of it to another.
fn straight(a: Snapped, b: Snapped, pieces: usize, sculpt: &Sculpt) -> Option<Vec<Snapped>> {
    let long = a.point.distance(b.point);
    let facing = (a.normal + b.normal).normalize_or_zero();
    in_steps(a, b, pieces, |p| {
        snapped_like(sculpt, p, facing, 0.25 * long)
    })
    .or_else(|| in_steps(a, b, pieces, |p| seen(sculpt, p, facing, 0.5 * long)))
}

/// What `foot` gives for points along the straight piece from a to b, if it is met in even steps.
fn in_steps(
    a: Snapped,
    b: Snapped,
    pieces: usize,
    foot: impl Fn(DVec3) -> Option<Snapped>,
) -> Option<Vec<Snapped>> {
    let longest = JUMP * a.point.distance(b.point) / pieces as f64;
    let mut last = a.point;
    let mut inner = Vec::with_capacity(pieces);
    for k in 1..pieces {
        let on = foot(a.point.lerp(b.point, k as f64 / pieces as f64))?;
        if on.point.distance(last) > longest {
            return None;
        }
        inner.push(on);
        last = on.point;
    }
    (pieces == 1 || last.distance(b.point) <= longest).then_some(inner)
}

/// Walls that are looked through, to the first that faces the right way.
const WALLS: usize = 4;

/// The nearest point before or behind `p`, seen along `facing`, of what faces that way.
fn seen(sculpt: &Sculpt, p: DVec3, facing: DVec3, reach: f64) -> Option<Snapped> {
    let towards = |direction: DVec3| {
        let (mut from, mut gone) = (p, 0.0);
        for _ in 0..WALLS {
            let hit = sculpt.index.ray(from, direction, reach - gone)?;
            let normal = normal_of(sculpt, hit.triangle);
            gone += hit.distance;
            if normal.dot(facing) > 0.0 {
                let point = hit.point;
                return Some((gone, Snapped { point, normal }));
            }
            // A hair on, or the same wall is met again.
            let hair = 1e-6 * reach;
            from = hit.point + direction * hair;
            gone += hair;
        }
        None
    };
    let sides = [facing, -facing].map(towards).into_iter().flatten();
    let nearest = sides.min_by(|one, two| one.0.total_cmp(&two.0));
    nearest.map(|(_, found)| found)
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
    let snapped = |point: DVec3| {
        let found = ground.sculpt.index.closest(point);
        let normal = found.map_or(DVec3::ZERO, |c| normal_of(ground.sculpt, c.triangle));
        Snapped { point, normal }
    };
    let mut points = Vec::with_capacity(line.points.len());
    for i in 0..line.points.len() {
        points.push(line.points[i]);
        if i < line.pieces() && gap(i) {
            let (a, b) = line.piece(i);
            let [a, b] = [a, b].map(snapped);
            let way = ground.router.route(a, b, ground.sculpt);
            points.extend(way.iter().map(|s| s.point));
        }
    }
    line.points = points;
}

/// Unit normal of a triangle.
fn normal_of(sculpt: &Sculpt, triangle: u32) -> DVec3 {
    let normal = sculpt.mesh.area_normal(triangle as usize);
    normal.normalize_or_zero()
}

/// The nearest point of the sculpt that faces like `facing`.
pub(super) fn onto(sculpt: &Sculpt, p: DVec3, facing: DVec3, reach: f64) -> Option<DVec3> {
    snapped_like(sculpt, p, facing, reach).map(|s| s.point)
}

/// The nearest point of the sculpt that faces like `facing`, with its normal.
fn snapped_like(sculpt: &Sculpt, p: DVec3, facing: DVec3, reach: f64) -> Option<Snapped> {
    let faces =
        |t: u32| facing == DVec3::ZERO || sculpt.mesh.area_normal(t as usize).dot(facing) > 0.0;
    let found = sculpt.index.closest_where(p, reach, faces)?;
    Some(Snapped {
        point: found.point,
        normal: normal_of(sculpt, found.triangle),
    })
}

/// Takes drawing jitter away: smoothing that doesn't shrink (Taubin 1995, "A signal
/// processing approach to fair surface design"), back onto the sculpt, and even spacing.
/// No point moves further than 0.15 of a target edge.
pub(super) fn smooth(way: &[Snapped], closed: bool, sculpt: &Sculpt, edge: f64) -> Polyline {
    const ROUNDS: usize = 12;
    const INWARD: f64 = 0.5;
    const OUTWARD: f64 = -0.526;
    let line = line_of(way, closed);
    let mut now = line.points.clone();
    let count = now.len();
    for _ in 0..ROUNDS {
        for step in [INWARD, OUTWARD] {
            let old = now.clone();
            for i in 0..count {
                if !closed && (i == 0 || i + 1 == count) {
                    continue;
                }
                let middle = (old[(i + count - 1) % count] + old[(i + 1) % count]) / 2.0;
                now[i] = old[i] + (middle - old[i]) * step;
            }
        }
    }
    for (p, drawn) in now.iter_mut().zip(way) {
        let moved = (*p - drawn.point).clamp_length_max(0.15 * edge);
        *p = onto(sculpt, drawn.point + moved, drawn.normal, edge).unwrap_or(drawn.point);
    }
    take_back_jumps(&mut now, &line);
    Polyline {
        points: now,
        closed,
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
