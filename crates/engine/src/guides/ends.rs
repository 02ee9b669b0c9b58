//! Ends of lines that nearly reach the plane, the boundary or another guide.

use base::{Finding, Findings, Level, Place};
use mesh::{DVec3, Polyline};

use super::{Drawn, name_of, snap};
use crate::model::{CurveEnd, Guide, GuideKind, Plane, Sculpt};

/// Ends nearer than this to something are taken to mean it, in target edges.
const NEAR: f64 = 0.5;
/// Lines that turn off each other by less run side by side.
const ALONG_DEG: f64 = 30.0;

/// Moves free ends onto what they nearly reach, other guides before the plane.
pub(super) fn snap_ends(
    drawn: &mut [Drawn],
    guides: &[Guide],
    plane: Option<&Plane>,
    sculpt: &Sculpt,
    edge: f64,
    findings: &mut Findings,
) {
    for i in 0..drawn.len() {
        // Held quads stay where they are.
        if drawn[i].line.closed || drawn[i].kind == GuideKind::Hold {
            continue;
        }
        for end in 0..2 {
            if drawn[i].ends[end] == CurveEnd::Plane {
                continue;
            }
            let at = tip(&drawn[i], end);
            let (mut target, mut what) = (None, String::new());
            if let Some((point, name)) = nearest_other(drawn, i, at, edge, guides) {
                target = Some((point, CurveEnd::Free));
                what = format!("guide \"{name}\"");
            } else if let Some(plane) = plane.filter(|plane| plane.height(at).abs() <= NEAR * edge)
            {
                let on = foot_on_plane(sculpt, plane, at, edge);
                target = Some((on, CurveEnd::Plane));
                what = "the mirror plane".to_owned();
            }
            let Some((point, kind)) = target else {
                continue;
            };
            let moved = point.distance(at);
            move_tip(&mut drawn[i], end, point, edge);
            drawn[i].ends[end] = kind;
            if moved > 1e-6 * edge {
                let name = name_of(&drawn[i].guides, guides);
                findings.push(
                    Finding::new("guide-end", Level::Note, format!("An end of guide \"{name}\" was moved onto {what}, which it nearly reached."))
                        .measured(moved, Some(NEAR * edge))
                        .at(Place::Guide { name })
                        .at(Place::Point { at: point.to_array() }),
                );
            }
        }
    }
}

fn tip(drawn: &Drawn, end: usize) -> DVec3 {
    let points = &drawn.line.points;
    if end == 0 {
        points[0]
    } else {
        points[points.len() - 1]
    }
}

/// The nearest point of another guide within reach, and its name.
fn nearest_other(
    drawn: &[Drawn],
    i: usize,
    at: DVec3,
    edge: f64,
    guides: &[Guide],
) -> Option<(DVec3, String)> {
    let mut best: Option<(f64, DVec3, usize)> = None;
    for (j, other) in drawn.iter().enumerate().filter(|&(j, _)| j != i) {
        // Two ends that nearly meet: the end itself before the side.
        let ends = if other.line.closed {
            Vec::new()
        } else {
            vec![tip(other, 0), tip(other, 1)]
        };
        let end = ends
            .into_iter()
            .filter(|p| p.distance(at) <= NEAR * edge)
            .min_by(|a, b| a.distance(at).total_cmp(&b.distance(at)));
        let side = other
            .line
            .nearest(at)
            .filter(|n| n.distance <= NEAR * edge)
            .map(|n| n.point);
        let Some(point) = end.or(side) else { continue };
        let distance = point.distance(at);
        if distance > 1e-6 * edge && runs_beside(&drawn[i], &other.line, at, point) {
            continue;
        }
        if best.is_none_or(|(least, ..)| distance < least) {
            best = Some((distance, point, j));
        }
    }
    best.map(|(_, point, j)| (point, name_of(&drawn[j].guides, guides)))
}

/// Whether a line runs along another at its end and would be bent sideways onto it.
fn runs_beside(drawn: &Drawn, other: &Polyline, at: DVec3, onto: DVec3) -> bool {
    let points = &drawn.line.points;
    let tip = if points.first() == Some(&at) {
        [0, 1.min(points.len() - 1)]
    } else {
        [points.len() - 1, points.len().saturating_sub(2)]
    };
    let along = points[tip[0]] - points[tip[1]];
    let Some(near) = other.nearest(at) else {
        return false;
    };
    let (a, b) = other.piece(near.piece);
    let turn = along.angle_between(b - a);
    let turn = turn.min(std::f64::consts::PI - turn);
    let aside = along.angle_between(onto - at).sin();
    turn < ALONG_DEG.to_radians() && aside > 0.7
}

/// A point on both the plane and the sculpt, or nearly, by turns.
pub(super) fn foot_on_plane(sculpt: &Sculpt, plane: &Plane, at: DVec3, edge: f64) -> DVec3 {
    let mut p = plane.project(at);
    for _ in 0..8 {
        if let Some(found) = snap::onto(sculpt, p, DVec3::ZERO, 2.0 * edge) {
            p = plane.project(found);
        }
    }
    p
}

/// Moves an end, and drops points that would lie behind it.
fn move_tip(drawn: &mut Drawn, end: usize, to: DVec3, edge: f64) {
    let points = &mut drawn.line.points;
    if end == 0 {
        points.reverse();
    }
    let reach = tip_distance(points, to).max(0.05 * edge);
    while points.len() > 2 && points[points.len() - 2].distance(to) < reach {
        points.remove(points.len() - 2);
    }
    let last = points.len() - 1;
    points[last] = to;
    if end == 0 {
        points.reverse();
    }
}

fn tip_distance(points: &[DVec3], to: DVec3) -> f64 {
    points.last().map_or(0.0, |p| p.distance(to))
}
