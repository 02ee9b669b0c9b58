//! Guides and the mirror plane.

use base::{Finding, Findings, Level, Place};
use mesh::{DVec3, Polyline};

use super::error::GuideError;
use super::{Drawn, Ground, name_of, rim, shared, snap};
use crate::model::{CurveEnd, Guide, Plane};

/// A guide within this of the plane at an end meets it; one that reaches no further over
/// it doesn't cross it. In target edges.
const HAIR: f64 = 0.02;

/// The part of a guide in front of the plane, in one piece or several; a guide that lies
/// behind it, or mostly, is mirrored first.
pub(super) fn halve(
    mut whole: Drawn,
    guide: &Guide,
    plane: &Plane,
    ground: &mut Ground<'_>,
) -> Result<Vec<Drawn>, GuideError> {
    let hair = HAIR * ground.edge;
    let mut heights = heights(&whole.line, plane);
    let front = heights.iter().filter(|&&h| h > 0.0).count();
    if 3 * front < heights.len() {
        whole.mirrored = true;
        mirror(&mut whole, plane, ground);
        heights = self::heights(&whole.line, plane);
    }
    if heights.iter().all(|&h| h >= -hair) {
        touch(&mut whole, plane, hair);
        return Ok(vec![whole]);
    }
    let pieces = in_front(&whole.line, &heights, plane, ground.edge);
    let name = || guide.name.clone();
    let count = match (whole.count, pieces.len()) {
        (None, _) => None,
        (Some(n), 1) if n % 2 == 0 => Some(n / 2),
        (Some(count), 1) => {
            return Err(GuideError::OddCount {
                guide: name(),
                count,
            });
        }
        (Some(_), parts) => {
            return Err(GuideError::CountInPieces {
                guide: name(),
                parts,
            });
        }
    };
    Ok(pieces
        .into_iter()
        .map(|(line, ends)| Drawn {
            count,
            line,
            ends,
            ..whole.clone()
        })
        .collect())
}

fn heights(line: &Polyline, plane: &Plane) -> Vec<f64> {
    line.points.iter().map(|&p| plane.height(p)).collect()
}

/// Puts the ends of an open guide exactly on the plane if they are within a hair of it.
fn touch(whole: &mut Drawn, plane: &Plane, hair: f64) {
    if whole.line.closed {
        return;
    }
    let last = whole.line.points.len() - 1;
    for (end, i) in [(0, 0), (1, last)] {
        let p = whole.line.points[i];
        if plane.height(p).abs() <= hair {
            whole.line.points[i] = plane.project(p);
            whole.ends[end] = CurveEnd::Plane;
        }
    }
}

/// Mirrors a guide and puts it on the sculpt's other side, or on its boundary there.
fn mirror(whole: &mut Drawn, plane: &Plane, ground: &mut Ground<'_>) {
    let sculpt = ground.sculpt;
    for p in &mut whole.line.points {
        let facing = sculpt.index.closest(*p).map_or(DVec3::ZERO, |c| {
            sculpt.mesh.area_normal(c.triangle as usize)
        });
        let turned = facing - 2.0 * facing.dot(plane.normal) * plane.normal;
        *p = plane.mirror(*p);
        if let Some(found) = snap::onto(sculpt, *p, turned, 3.0 * ground.edge) {
            *p = found;
        }
    }
    snap::mend(&mut whole.line, ground);
    let along = rim::along(&whole.line, whole.kind, ground.rims, ground.edge);
    whole.rim = along.is_some();
    if let Some(along) = along {
        whole.line = along;
    }
}

/// Pieces with height >= 0, their ends exactly on the plane where it cuts them.
fn in_front(
    line: &Polyline,
    heights: &[f64],
    plane: &Plane,
    edge: f64,
) -> Vec<(Polyline, [CurveEnd; 2])> {
    let count = line.points.len();
    let front = |i: usize| heights[i % count] >= 0.0;
    // Start behind the plane if the line closes, so that no piece is parted at the start.
    let start = if line.closed {
        (0..count).find(|&i| !front(i)).unwrap_or(0)
    } else {
        0
    };
    let mut pieces: Vec<(Vec<DVec3>, [CurveEnd; 2])> = Vec::new();
    let mut open: Option<(Vec<DVec3>, CurveEnd)> = None;
    if front(start) {
        open = Some((vec![line.points[start]], CurveEnd::Free));
    }
    let meet = |i: usize, j: usize| {
        let (hi, hj) = (heights[i], heights[j]);
        plane.project(line.points[i].lerp(line.points[j], hi / (hi - hj)))
    };
    for step in 0..line.pieces() {
        let (i, j) = ((start + step) % count, (start + step + 1) % count);
        match (front(i), front(j)) {
            (true, true) => {
                if let Some((points, _)) = &mut open {
                    points.push(line.points[j]);
                }
            }
            (true, false) => {
                if let Some((mut points, end)) = open.take() {
                    points.push(meet(i, j));
                    pieces.push((points, [end, CurveEnd::Plane]));
                }
            }
            (false, true) => open = Some((vec![meet(i, j), line.points[j]], CurveEnd::Plane)),
            (false, false) => {}
        }
    }
    if let Some((points, end)) = open {
        pieces.push((points, [end, CurveEnd::Free]));
    }
    pieces
        .into_iter()
        .map(|(points, ends)| {
            let mut points = points;
            points.dedup_by(|a, b| a.distance(*b) < 1e-6 * edge);
            (
                Polyline {
                    points,
                    closed: false,
                },
                ends,
            )
        })
        .filter(|(line, _)| line.length() > 0.3 * edge)
        .collect()
}

/// Drawings of one thing on both sides of the plane differ by this on average, in target edges.
const ALIKE: f64 = 0.5;

/// Makes one curve of guides that coincide, and of a guide and its drawing on the other side.
pub(super) fn merge(
    drawn: &mut Vec<Drawn>,
    guides: &[Guide],
    edge: f64,
    findings: &mut Findings,
) -> Result<(), GuideError> {
    let mut kept: Vec<Drawn> = Vec::with_capacity(drawn.len());
    for one in drawn.drain(..) {
        let by_symmetry = |other: &Drawn| {
            other.kind == one.kind
                && other.mirrored != one.mirrored
                && other.line.mean_distance_to(&one.line) < ALIKE * edge
                && one.line.mean_distance_to(&other.line) < ALIKE * edge
        };
        let on_each_other = |other: &Drawn| {
            other.line.lies_within(&one.line, shared::ON * edge)
                && one.line.lies_within(&other.line, shared::ON * edge)
        };
        let same = |other: &&mut Drawn| {
            other.line.closed == one.line.closed && (by_symmetry(other) || on_each_other(other))
        };
        let Some(other) = kept.iter_mut().find(same) else {
            kept.push(one);
            continue;
        };
        let (a, b) = (name_of(&other.guides, guides), name_of(&one.guides, guides));
        let how = if other.mirrored == one.mirrored {
            "lie on each other and are one"
        } else {
            "are one by symmetry"
        };
        if let (Some(x), Some(y)) = (other.count, one.count)
            && x != y
        {
            let count_of = |of: &[usize]| of.iter().find_map(|&g| guides.get(g)?.count);
            return Err(GuideError::CountsDiffer {
                how,
                one_count: count_of(&other.guides).unwrap_or(x),
                two_count: count_of(&one.guides).unwrap_or(y),
                one: a,
                two: b,
            });
        }
        findings.push(
            Finding::new(
                "guides-alike",
                Level::Note,
                format!("Guides \"{a}\" and \"{b}\" {how}; the middle between them is followed."),
            )
            .at(Place::Guide { name: b }),
        );
        other.count = other.count.or(one.count);
        other.kind = shared::stronger(other.kind, one.kind);
        if one.rim && !other.rim {
            other.line = one.line;
            other.ends = one.ends;
            other.rim = true;
        }
        other.guides.extend(one.guides);
    }
    *drawn = kept;
    Ok(())
}
