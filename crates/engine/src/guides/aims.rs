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
/// The curve between both ends of a drawn piece is at most so many times as long as the piece, or as
/// long as this, in target edges: a short piece may leave out a spike that quads can't show.
const DETOUR: f64 = 3.0;
const SPIKE: f64 = 2.0;
/// Most that an aim is off its curve, in target edges.
const MOST: f64 = 0.5;
/// Drawings that differ by no more than this are one, in target edges.
const ALIKE: f64 = 1e-6;
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
    let mut drawings: Vec<Vec<Option<DVec3>>> = Vec::new();
    let mut own = None;
    for (k, guide) in one.guides.iter().filter_map(|&g| guides.get(g)).enumerate() {
        let itself = Some(guide.points.clone());
        let image = plane.map(|plane| guide.points.iter().map(|&p| plane.mirror(p)).collect());
        for (mirrored, points) in [(false, itself), (true, image)] {
            let Some(points) = points else { continue };
            let ways = ways(
                &pieces(&points, guide.closed, plane),
                &one.line,
                &along,
                edge,
            );
            if 2 * ways.iter().flatten().count() < ways.len() {
                continue;
            }
            if k == 0 && mirrored == one.mirrored {
                own = Some(drawings.len());
            }
            drawings.push(ways);
        }
    }
    let middle = |k: usize| {
        let ways = drawings.iter().filter_map(|ways| ways[k]);
        let (sum, count) = ways.fold((DVec3::ZERO, 0.0), |(sum, n), way| (sum + way, n + 1.0));
        sum / f64::max(count, 1.0)
    };
    // What ends the surface needn't lie on the sculpt. Any other curve is its own drawing without the
    // jitter, and that stays away: it goes only by what the drawings differ.
    let ends = one.rim || one.kind == GuideKind::Opening;
    let off = |k: usize| {
        let from = match own {
            _ if ends => Some(DVec3::ZERO),
            Some(own) => drawings[own][k],
            None => None,
        };
        from.map_or(DVec3::ZERO, |from| {
            (middle(k) - from).clamp_length_max(MOST * edge)
        })
    };
    let mut offs: Vec<DVec3> = (0..one.line.points.len()).map(off).collect();
    if offs.iter().all(|off| off.length() <= ALIKE * edge) {
        return Vec::new();
    }
    if !ends {
        offs = smooth(&offs, one.line.closed);
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

/// The way from each point of the curve to its place on a drawing, where that has one.
fn ways(drawing: &[[DVec3; 2]], line: &Polyline, along: &[f64], edge: f64) -> Vec<Option<DVec3>> {
    let whole = along.last().copied().unwrap_or(0.0);
    let short = |way: f64| {
        if line.closed {
            (way + whole / 2.0).rem_euclid(whole) - whole / 2.0
        } else {
            way
        }
    };
    let foot = |p: DVec3| {
        let near = line.nearest(p).filter(|n| n.distance <= REACH * edge)?;
        Some(along[near.piece] + near.point.distance(line.points[near.piece]))
    };
    let mut found = vec![None; line.points.len()];
    for &[a, b] in drawing {
        let long = a.distance(b);
        let (Some(start), Some(end)) = (foot(a), foot(b)) else {
            continue;
        };
        let way = short(end - start);
        if long > FINE * edge
            || way.abs() > (DETOUR * long).max(SPIKE * edge)
            || way.abs() < 1e-9 * edge
        {
            continue;
        }
        for (k, found) in found.iter_mut().enumerate() {
            let share = short(along[k] - start) / way;
            if (0.0..1.0).contains(&share) {
                *found = Some(a.lerp(b, share) - line.points[k]);
            }
        }
    }
    found
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
