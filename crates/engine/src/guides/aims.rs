//! Where the drawings of a curve lie.
//!
//! A curve stands for a drawing on each side of the mirror plane, or is the sculpt's own boundary, of
//! which the drawing may cut every corner. One surface can't lie on both sides' drawings; half way
//! between them neither is off by the whole. And where the drawing is about as fine as quads are, their
//! edges cut corners as it does, and vertices in its corners follow it better than any on the boundary.

use mesh::{DVec3, Polyline};

use super::{Drawn, Ground};
use crate::model::{Guide, GuideKind, Plane};

/// Drawn points further from the curve than this aren't of this stretch, in target edges.
const REACH: f64 = 0.6;
/// Drawn pieces longer than this say nothing about what lies between their ends, in target edges.
const FINE: f64 = 2.0;
/// The curve between both ends of a drawn piece is at most so many times as long as the piece.
const DETOUR: f64 = 3.0;
/// Most that an aim is off its curve, in target edges.
const MOST: f64 = 0.3;
/// Rounds of smoothing; points lie an eighth of a target edge apart.
const SMOOTHINGS: usize = 16;

/// A place for each point of the curve: the middle between its drawings, or the point itself where
/// none is fine enough. Empty where that is true of all points.
pub(super) fn aims(
    one: &Drawn,
    guides: &[Guide],
    plane: Option<&Plane>,
    ground: &Ground<'_>,
) -> Vec<DVec3> {
    let edge = ground.edge;
    let along = lengths(&one.line);
    let mut sums = vec![(DVec3::ZERO, 0.0); one.line.points.len()];
    let mut sides = 0;
    for guide in one.guides.iter().filter_map(|&g| guides.get(g)) {
        let image = plane.map(|plane| guide.points.iter().map(|&p| plane.mirror(p)).collect());
        for points in [Some(guide.points.clone()), image].into_iter().flatten() {
            let drawing = pieces(&points, guide.closed, plane);
            sides += usize::from(lay(&drawing, &one.line, &along, edge, &mut sums));
        }
    }
    // What ends the surface needn't lie on the sculpt; the one drawing of any other curve has its jitter
    // smoothed away in the curve.
    let ends = one.rim || one.kind == GuideKind::Opening;
    if sides == 0 || (sides == 1 && !ends) {
        return Vec::new();
    }
    let off = |&(sum, count): &(DVec3, f64)| {
        let off = if count > 0.0 {
            sum / count
        } else {
            DVec3::ZERO
        };
        off.clamp_length_max(MOST * edge)
    };
    let mut offs: Vec<DVec3> = sums.iter().map(off).collect();
    if !ends {
        offs = smooth(&offs, one.line.closed);
        for (off, &p) in offs.iter_mut().zip(&one.line.points) {
            let Some(found) = ground.sculpt.index.closest(p) else {
                continue;
            };
            let normal = ground.sculpt.mesh.area_normal(found.triangle as usize);
            *off -= off.project_onto_normalized(normal.normalize_or_zero());
        }
    }
    let place = |(&p, off): (&DVec3, DVec3)| match plane {
        // In front of the plane, as the point is.
        Some(plane) => {
            let (height, there) = (plane.height(p), plane.height(p + off));
            p + off + plane.normal * (0.5 * height - there).max(0.0)
        }
        None => p + off,
    };
    one.line.points.iter().zip(offs).map(place).collect()
}

/// Length from the first point to each point of a line, and around a closed one.
fn lengths(line: &Polyline) -> Vec<f64> {
    let mut along = vec![0.0];
    for i in 0..line.pieces() {
        let (a, b) = line.piece(i);
        along.push(along[i] + a.distance(b));
    }
    along
}

/// Adds the way from each point of the curve to its place on a drawing; whether at least half of
/// the points have one.
fn lay(
    drawing: &[[DVec3; 2]],
    line: &Polyline,
    along: &[f64],
    edge: f64,
    sums: &mut [(DVec3, f64)],
) -> bool {
    let whole = along.last().copied().unwrap_or(0.0);
    let foot = |p: DVec3| {
        let near = line.nearest(p).filter(|n| n.distance <= REACH * edge)?;
        Some(along[near.piece] + near.point.distance(line.points[near.piece]))
    };
    let mut covered = 0;
    for &[a, b] in drawing {
        let long = a.distance(b);
        let (Some(start), Some(end)) = (foot(a), foot(b)) else {
            continue;
        };
        let mut way = end - start;
        if line.closed {
            way = (way + whole / 2.0).rem_euclid(whole) - whole / 2.0;
        }
        if long > FINE * edge || way.abs() > DETOUR * long || way.abs() < 1e-9 * edge {
            continue;
        }
        for (k, (sum, count)) in sums.iter_mut().enumerate() {
            let mut gone = along[k] - start;
            if line.closed {
                gone = (gone + whole / 2.0).rem_euclid(whole) - whole / 2.0;
            }
            let share = gone / way;
            if (0.0..1.0).contains(&share) {
                *sum += a.lerp(b, share) - line.points[k];
                *count += 1.0;
                covered += 1;
            }
        }
    }
    2 * covered >= sums.len()
}

/// The pieces of a drawing, and what of them lies in front of the plane.
fn pieces(points: &[DVec3], closed: bool, plane: Option<&Plane>) -> Vec<[DVec3; 2]> {
    let drawing = Polyline {
        points: points.to_vec(),
        closed,
    };
    let in_front = |i: usize| {
        let (a, b) = drawing.piece(i);
        let Some(plane) = plane else {
            return Some([a, b]);
        };
        let (high, low) = (plane.height(a), plane.height(b));
        let meet = || plane.project(a.lerp(b, high / (high - low)));
        match (high >= 0.0, low >= 0.0) {
            (true, true) => Some([a, b]),
            (true, false) => Some([a, meet()]),
            (false, true) => Some([meet(), b]),
            (false, false) => None,
        }
    };
    (0..drawing.pieces()).filter_map(in_front).collect()
}

/// Ways off a curve without what changes within half a quad.
fn smooth(offs: &[DVec3], closed: bool) -> Vec<DVec3> {
    let count = offs.len();
    let mut now = offs.to_vec();
    for _ in 0..SMOOTHINGS {
        let old = now.clone();
        for i in 0..count {
            let [before, after] = if closed {
                [(i + count - 1) % count, (i + 1) % count]
            } else {
                [i.saturating_sub(1), (i + 1).min(count - 1)]
            };
            now[i] = (old[before] + old[i] * 2.0 + old[after]) / 4.0;
        }
    }
    now
}
