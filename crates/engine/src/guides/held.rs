//! Held quads among the guides: each run of their rim becomes a curve with a fixed count, and of a
//! guide that runs through them only what lies outside is laid.

use std::collections::BTreeSet;

use mesh::{DVec3, Polyline};

use super::ends::foot_on_plane;
use super::shared::{length_at, stretch};
use super::{Drawn, Ground, snap};
use crate::hold::{Held, HoldError, Run};
use crate::model::{CurveEnd, Guide, GuideKind, Plane, Share};

/// A guide this near to held quads lies on them, in held edges.
const INSIDE: f64 = 0.3;
/// A gap between stretches on held quads, or an end sticking out of them, shorter than this is none,
/// in held edges.
const GAP: f64 = 0.5;
/// Held edges this far beside a guide don't follow it, in held edges.
const BESIDE: f64 = 0.4;
/// Longer stretches are led through their middle, in held edges.
const LONG: f64 = 3.0;
/// Farther from the sculpt than this the rest can't go on from a rim, in held edges.
const FAR: f64 = 2.0;
/// An end of the surface is one if an opening or the sculpt's boundary is this near, in held edges.
const END: f64 = 0.75;
/// A vertex this near to the mirror plane lies on it, in held edges.
const ON_PLANE: f64 = 1e-6;

/// What guides have on held quads.
struct Inside {
    /// First and last point of the stretch, by number along the line, which may run over its end.
    from: usize,
    to: usize,
    /// Held vertices at which it begins and ends.
    landings: [u32; 2],
    /// Held edges that stand for it.
    count: u32,
}

/// Takes from each curve what lies on held quads; gives the held vertices at which curves end.
pub(super) fn part(
    drawn: &mut Vec<Drawn>,
    guides: &[Guide],
    held: &Held,
    plane: Option<&Plane>,
    ground: &Ground<'_>,
) -> Result<BTreeSet<u32>, HoldError> {
    ends_are_there(drawn, held, plane, ground)?;
    let mut landings = BTreeSet::new();
    let mut parted = Vec::with_capacity(drawn.len());
    for whole in std::mem::take(drawn) {
        parted.extend(outside(whole, guides, held, plane, ground, &mut landings)?);
    }
    *drawn = parted;
    Ok(landings)
}

/// Sees to it that the surface still ends where held quads end.
fn ends_are_there(
    drawn: &[Drawn],
    held: &Held,
    plane: Option<&Plane>,
    ground: &Ground<'_>,
) -> Result<(), HoldError> {
    let openings = drawn.iter().filter(|d| d.kind == GuideKind::Opening);
    let lines: Vec<&Polyline> = openings
        .map(|d| &d.line)
        .chain(ground.rims.loops())
        .collect();
    for [a, b] in held.ends() {
        let [p, q] = [a, b].map(|v| held.mesh.positions[v as usize]);
        let middle = p.midpoint(q);
        let on =
            |p: DVec3| plane.is_some_and(|plane| plane.height(p).abs() <= ON_PLANE * held.edge);
        let near = |line: &&Polyline| {
            line.nearest(middle)
                .is_some_and(|n| n.distance <= END * held.edge)
        };
        let is_there = (on(p) && on(q)) || lines.iter().any(near);
        if !is_there {
            return Err(HoldError::NoEnd {
                hold: held.name_of(a).to_owned(),
                at: middle.to_array(),
            });
        }
    }
    Ok(())
}

/// The pieces of a curve that lie outside of held quads.
fn outside(
    whole: Drawn,
    guides: &[Guide],
    held: &Held,
    plane: Option<&Plane>,
    ground: &Ground<'_>,
    landings: &mut BTreeSet<u32>,
) -> Result<Vec<Drawn>, HoldError> {
    let guide = whole.guides.first().and_then(|&g| guides.get(g));
    let stretches = stretches(&whole.line, held);
    if stretches.is_empty() {
        return Ok(vec![whole]);
    }
    let name = || guide.map_or_else(String::new, |g| g.name.clone());
    let found: Vec<Inside> = stretches
        .into_iter()
        .map(|s| inside(&whole.line, s, held, &name))
        .collect::<Result<_, _>>()?;
    let kept: u32 = found.iter().map(|i| i.count).sum();
    let hold = || {
        found
            .first()
            .map_or("", |i| held.name_of(i.landings[0]))
            .to_owned()
    };
    let gaps = gaps(&whole.line, &found);
    // What ends on held quads elsewhere than on their rim lies beyond the end of the surface.
    let beyond = |gap: &[Option<u32>; 2]| {
        gap.iter().any(Option::is_some) && gap.iter().flatten().all(|&v| !held.is_on_rim(v))
    };
    let gaps: Vec<[Option<u32>; 2]> = gaps.into_iter().filter(|g| !beyond(g)).collect();
    let rest = match whole.count {
        None => None,
        Some(count) => {
            let least = gaps.len() as u32;
            let rest = count
                .checked_sub(kept)
                .filter(|&rest| if least == 0 { rest == 0 } else { rest >= least });
            // A guide that crosses the plane has its count once on either side.
            let drawn = guide.and_then(|g| g.count).unwrap_or(count);
            let sides = if drawn > count { 2 } else { 1 };
            Some(rest.ok_or_else(|| HoldError::Count {
                guide: name(),
                hold: hold(),
                count: drawn,
                kept: sides * kept,
                whole: gaps.is_empty(),
                advice: sides * (kept + least),
            })?)
        }
    };
    let mut shares = whole.shares.clone();
    if let (Some(count), Some(&guide), true) = (rest, whole.guides.first(), gaps.len() > 1) {
        shares.push(Share { guide, count });
    }
    let mut pieces = Vec::new();
    for gap in &gaps {
        landings.extend(gap.iter().flatten());
        let whole_length = whole.line.length();
        let at_landing = |v: u32| {
            let near = whole.line.nearest(foot(v, held, plane, ground)?.point)?;
            Some(length_at(&whole.line, &near))
        };
        let from = gap[0].and_then(at_landing).unwrap_or(0.0);
        let mut to = gap[1].and_then(at_landing).unwrap_or(whole_length);
        if to <= from && whole.line.closed {
            to += whole_length;
        }
        let mut line = stretch(&whole.line, from, to);
        let last = line.points.len() - 1;
        for (end, k) in [(0, 0), (1, last)] {
            if let Some(v) = gap[end]
                && !whole.rim
                && let Some(foot) = foot(v, held, plane, ground)
            {
                line.points[k] = foot.point;
            }
        }
        pieces.push(Drawn {
            count: rest.filter(|_| gaps.len() == 1),
            shares: shares.clone(),
            ends: [0, 1].map(|end| match gap[end] {
                None => whole.ends[end],
                Some(_) => CurveEnd::Free,
            }),
            line,
            partly_held: true,
            ..whole.clone()
        });
    }
    Ok(pieces)
}

/// Stretches of points that lie on held quads, first and last; they may run over a closed line's
/// end.
fn stretches(line: &Polyline, held: &Held) -> Vec<[usize; 2]> {
    let n = line.points.len();
    let mut on: Vec<bool> = line
        .points
        .iter()
        .map(|&p| held.distance(p) <= INSIDE * held.edge)
        .collect();
    if !on.contains(&true) {
        return Vec::new();
    }
    if !on.contains(&false) {
        return vec![[0, if line.closed { n } else { n - 1 }]];
    }
    let start = if line.closed {
        on.iter().position(|&o| o).unwrap_or(0)
    } else {
        0
    };
    let at = |k: usize| (start + k) % n;
    let mut k = 0;
    while k < n {
        let first = k;
        while k < n && !on[at(k)] {
            k += 1;
        }
        let long: f64 = (first..k)
            .map(|k| line.points[at(k)].distance(line.points[at(k + 1)]))
            .sum();
        if k > first && long < GAP * held.edge {
            (first..k).for_each(|k| on[at(k)] = true);
        }
        k += 1;
    }
    if !on.contains(&false) {
        return vec![[0, if line.closed { n } else { n - 1 }]];
    }
    let start = if line.closed {
        on.iter().position(|&o| !o).unwrap_or(0)
    } else {
        0
    };
    let mut found = Vec::new();
    let mut open = None;
    for k in start..start + n {
        match (on[k % n], open) {
            (true, None) => open = Some(k),
            (false, Some(first)) => {
                found.push([first, k - 1]);
                open = None;
            }
            _ => {}
        }
    }
    if let Some(first) = open {
        found.push([first, start + n - 1]);
    }
    found
}

/// The held edges of one stretch.
fn inside(
    line: &Polyline,
    [from, to]: [usize; 2],
    held: &Held,
    name: &impl Fn() -> String,
) -> Result<Inside, HoldError> {
    let n = line.points.len();
    let points: Vec<DVec3> = (from..=to).map(|k| line.points[k % n]).collect();
    let length: f64 = points.windows(2).map(|w| w[0].distance(w[1])).sum();
    let whole_ring = line.closed && to - from == n;
    let at = |p: DVec3, anywhere: bool| held.nearest_vertex(p, !anywhere).unwrap_or(0);
    let share = |i: usize, of: usize| points[(points.len() - 1) * i / of];
    let through: Vec<u32> = if whole_ring {
        let mut all: Vec<u32> = (0..4).map(|i| at(share(i, 4), true)).collect();
        all.push(all[0]);
        all
    } else {
        let first = at(share(0, 1), !line.closed && from == 0);
        let last = at(share(1, 1), !line.closed && to == n - 1);
        match length > LONG * held.edge {
            true => vec![first, at(share(1, 2), true), last],
            false => vec![first, last],
        }
    };
    let landings = [through[0], through[through.len() - 1]];
    let hold = held.name_of(landings[0]).to_owned();
    let broken = |distance: f64, at: DVec3| HoldError::Guide {
        guide: name(),
        hold: hold.clone(),
        distance,
        at: at.to_array(),
    };
    let Some(course) = held.course(&points, &through) else {
        return Err(broken(length, share(1, 2)));
    };
    // A guide comes up to the rim from up to so far, and its end may lie between two vertices.
    let ends = GAP + INSIDE;
    let limit = if length <= held.edge { ends } else { BESIDE };
    let near_end = [0, 1].iter().any(|&i| {
        let end = held.mesh.positions[landings[i] as usize];
        course.at.distance(end) <= held.edge
    });
    if course.off > held.edge * if near_end { ends } else { limit } {
        return Err(broken(course.off, course.at));
    }
    Ok(Inside {
        from,
        to,
        landings,
        count: course.vertices.len() as u32 - 1,
    })
}

/// What lies between stretches: the held vertices at which each gap begins and ends, none where the
/// curve itself does.
fn gaps(line: &Polyline, found: &[Inside]) -> Vec<[Option<u32>; 2]> {
    let n = line.points.len();
    let mut gaps = Vec::new();
    let (Some(first), Some(last)) = (found.first(), found.last()) else {
        return gaps;
    };
    if !line.closed && first.from > 0 {
        gaps.push([None, Some(first.landings[0])]);
    }
    for pair in found.windows(2) {
        gaps.push([Some(pair[0].landings[1]), Some(pair[1].landings[0])]);
    }
    if line.closed && last.to - first.from < n - 1 {
        gaps.push([Some(last.landings[1]), Some(first.landings[0])]);
    }
    if !line.closed && last.to < n - 1 {
        gaps.push([Some(last.landings[1]), None]);
    }
    gaps
}

/// A point of the sculpt under a held vertex.
struct Foot {
    point: DVec3,
    on_plane: bool,
    distance: f64,
}

fn foot(v: u32, held: &Held, plane: Option<&Plane>, ground: &Ground<'_>) -> Option<Foot> {
    let at = held.mesh.positions[v as usize];
    let reach = FAR * held.edge;
    let on_plane = plane.filter(|plane| plane.height(at).abs() <= ON_PLANE * held.edge);
    let ending = if held.meets_end(v) {
        let rims = ground.rims.loops();
        rims.filter_map(|rim| rim.nearest(at))
            .filter(|n| n.distance <= END * held.edge)
            .min_by(|a, b| a.distance.total_cmp(&b.distance))
            .map(|n| n.point)
    } else {
        None
    };
    let point = match (on_plane, ending) {
        (Some(plane), _) => foot_on_plane(ground.sculpt, plane, at, ground.edge.max(held.edge)),
        (None, Some(point)) => point,
        (None, None) => snap::onto(ground.sculpt, at, held.normal(v), reach)?,
    };
    Some(Foot {
        point,
        on_plane: on_plane.is_some(),
        distance: point.distance(at),
    })
}

/// A curve for each run of the rim; `first` is the job's number of guides, after which one stands in
/// for each hold.
pub(super) fn rims(
    runs: &[Run],
    first: usize,
    held: &Held,
    plane: Option<&Plane>,
    ground: &Ground<'_>,
) -> Result<Vec<Drawn>, HoldError> {
    let limit = FAR * held.edge;
    let off = |run: &Run, distance: f64, at: DVec3| HoldError::OffSculpt {
        hold: held.names.get(run.hold).cloned().unwrap_or_default(),
        distance,
        limit,
        at: at.to_array(),
    };
    let curve = |run: &Run| {
        let n = run.vertices.len();
        let mut feet = Vec::with_capacity(n);
        for &v in &run.vertices {
            let at = held.mesh.positions[v as usize];
            let away = || {
                ground
                    .sculpt
                    .index
                    .closest(at)
                    .map_or(f64::INFINITY, |c| c.distance)
            };
            let found = foot(v, held, plane, ground).ok_or_else(|| off(run, away(), at))?;
            if found.distance > limit {
                return Err(off(run, found.distance, at));
            }
            feet.push(found);
        }
        let mut points = Vec::new();
        for k in 0..run.count() {
            let (a, b) = (&feet[k], &feet[(k + 1) % n]);
            let facing = held.normal(run.vertices[k]) + held.normal(run.vertices[(k + 1) % n]);
            let steps = (a.point.distance(b.point) / ground.spacing())
                .ceil()
                .max(1.0) as usize;
            points.push(a.point);
            for step in 1..steps.min(1000) {
                let p = a.point.lerp(b.point, step as f64 / steps as f64);
                points.push(snap::onto(ground.sculpt, p, facing, limit).unwrap_or(p));
            }
        }
        if !run.closed {
            points.extend(feet.last().map(|f| f.point));
        }
        let end = |foot: Option<&Foot>| match foot {
            Some(foot) if foot.on_plane && !run.closed => CurveEnd::Plane,
            _ => CurveEnd::Free,
        };
        Ok(Drawn {
            guides: vec![first + run.hold],
            kind: GuideKind::Hold,
            count: Some(run.count() as u32),
            shares: Vec::new(),
            line: Polyline {
                points,
                closed: run.closed,
            },
            ends: [end(feet.first()), end(feet.last())],
            rim: false,
            mirrored: false,
            partly_held: false,
        })
    };
    runs.iter().map(curve).collect()
}
