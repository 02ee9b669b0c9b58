//! Guides that run together: where two of them share a stretch, that stretch becomes a curve of
//! its own, which stands for both; and a line that crosses itself is parted in its loop.
//!
//! A work surface can't have two chains on the same edges, nor quads in a gap that is narrower
//! than they can be. So curves that lie on each other are made one, and curves that run
//! beside each other with less room than that are refused.

use mesh::{DVec3, Polyline};

use super::error::GuideError;
use super::{Drawn, Ground, name_of};
use crate::model::{CurveEnd, Guide, GuideKind, Share};

/// Curves this near each other are one: as near as edges have to follow a guide. In target edges.
pub(super) const ON: f64 = 0.15;
/// Curves side by side need this much room for a strip between them. In target edges.
const ROOM: f64 = 0.4;
/// A stretch shorter than this is no more than a crossing or a touch, in target edges.
const STRETCH: f64 = 1.0;
/// Pieces that a curve is searched for loops in, in target edges at most.
const FINE: f64 = 0.5;
/// Curves that cross at less than this angle leave no usable quads between them: the corners there
/// have a scaled Jacobian of its sine at best, and the check asks for more than 0.1 of all.
const LEAST_CROSSING_DEG: f64 = 15.0;
/// Curves that part at less than this angle leave no corner of a quad between them.
const LEAST_PARTING_DEG: f64 = 20.0;
/// Curves that turn off each other by less than this run side by side.
const ALONG_DEG: f64 = 30.0;
/// Most partings; each shortens what is left, so this isn't reached by drawing.
const MOST: usize = 1000;

/// Parts curves where they share stretches, and lines that cross themselves.
pub(super) fn part(
    drawn: &mut Vec<Drawn>,
    guides: &[Guide],
    ground: &Ground<'_>,
) -> Result<(), GuideError> {
    let edge = ground.edge;
    let mut i = 0;
    while i < drawn.len() && drawn.len() < MOST {
        match loop_of(&drawn[i].line, edge) {
            Some(_) if drawn[i].line.closed && drawn[i].kind != GuideKind::Line => {
                let at = loop_of(&drawn[i].line, edge).map_or(0.0, |l| l[0]);
                return Err(GuideError::CrossesItself {
                    guide: name_of(&drawn[i].guides, guides),
                    at: at_length(&drawn[i].line, at).to_array(),
                });
            }
            Some([from, to]) => {
                let whole = drawn.remove(i);
                let middle = (from + to) / 2.0;
                let cuts = if whole.line.closed {
                    let length = whole.line.length();
                    vec![middle, (middle + length / 2.0) % length]
                } else {
                    vec![middle]
                };
                for (k, piece) in pieces(&whole, &cuts).into_iter().enumerate() {
                    drawn.insert(i + k, piece);
                }
            }
            None => i += 1,
        }
    }
    let mut again = drawn.len() > 1;
    while again && drawn.len() < MOST {
        again = false;
        'pairs: for i in 0..drawn.len() {
            for j in i + 1..drawn.len() {
                if !boxes_meet(&drawn[i].line, &drawn[j].line, edge) {
                    continue;
                }
                match shared(&drawn[i], &drawn[j], ground) {
                    Some(Meeting::Along(run)) => join(drawn, [i, j], run, edge),
                    Some(Meeting::Touch(at)) => touch(drawn, [i, j], at),
                    None => continue,
                }
                again = true;
                break 'pairs;
            }
        }
    }
    for i in 0..drawn.len() {
        for j in i + 1..drawn.len() {
            if boxes_meet(&drawn[i].line, &drawn[j].line, edge) {
                room_between(&drawn[i], &drawn[j], guides, edge)?;
            }
        }
    }
    Ok(())
}

/// Whether two lines may come within an edge of each other.
fn boxes_meet(one: &Polyline, two: &Polyline, edge: f64) -> bool {
    let corners = |line: &Polyline| {
        let low = line.points.iter().copied().reduce(DVec3::min);
        let high = line.points.iter().copied().reduce(DVec3::max);
        Some((low? - edge, high? + edge))
    };
    match (corners(one), corners(two)) {
        (Some(a), Some(b)) => a.0.cmple(b.1).all() && b.0.cmple(a.1).all(),
        _ => false,
    }
}

/// The same curve with further points, so that no piece is longer than this.
fn with_pieces_below(line: &Polyline, most: f64) -> Polyline {
    let mut points = Vec::with_capacity(line.points.len());
    for i in 0..line.pieces() {
        let (a, b) = line.piece(i);
        let parts = (a.distance(b) / most).ceil().clamp(1.0, MOST as f64) as usize;
        points.extend((0..parts).map(|k| a.lerp(b, k as f64 / parts as f64)));
    }
    points.extend(line.points.last().filter(|_| !line.closed));
    Polyline {
        points,
        closed: line.closed,
    }
}

/// Arc lengths between which a curve comes back to itself; `None` if it doesn't.
fn loop_of(line: &Polyline, edge: f64) -> Option<[f64; 2]> {
    // A coarse sculpt's rim has pieces of several edges and very short ones beside them.
    let line = &with_pieces_below(line, FINE * edge);
    let lengths = lengths(line);
    let whole = line.length();
    let spacing = whole / line.pieces().max(1) as f64;
    let long = |i: usize| line.piece(i).0.distance(line.piece(i).1);
    let longest = (0..line.pieces()).map(long).fold(spacing, f64::max);
    for i in 0..line.pieces() {
        let (a, b) = line.piece(i);
        let middle = (a + b) / 2.0;
        let mut j = i + 1;
        while j < line.pieces() {
            // Points come nearer by no more than a step at a time: far ones are stepped over.
            let (c, d) = line.piece(j);
            let away = ((c + d) / 2.0).distance(middle);
            let (at, step) = (j, (away / longest) as usize);
            j += step.max(1);
            let apart = lengths[at] - lengths[i];
            let apart = if line.closed {
                apart.min(whole - apart)
            } else {
                apart
            };
            if apart < 1.5 * edge {
                continue;
            }
            // Pieces that cross are nearer to each other than either is long.
            let near = away <= 0.75 * spacing;
            if near && (b - a).angle_between(d - c).sin().abs() > ALONG_DEG.to_radians().sin() / 2.0
            {
                return Some([lengths[i], lengths[at]]);
            }
        }
    }
    None
}

/// How two curves lie on each other.
#[derive(Clone, Copy, Debug)]
enum Meeting {
    /// Along a stretch.
    Along(Run),
    /// At one place, by arc length on the second, without crossing.
    Touch(f64),
}

/// A stretch that two curves share, by arc length on each; on the second, rising.
#[derive(Clone, Copy, Debug)]
struct Run {
    on_first: [f64; 2],
    on_second: [f64; 2],
}

/// The longest stretch of the second curve that lies on the first, or where it touches it.
fn shared(first: &Drawn, second: &Drawn, ground: &Ground<'_>) -> Option<Meeting> {
    let edge = ground.edge;
    let (one, two) = (&first.line, &second.line);
    let lengths = lengths(two);
    let count = two.points.len();
    let lies_on: Vec<bool> = (0..count)
        .map(|k| {
            let Some(near) = one.nearest(two.points[k]) else {
                return false;
            };
            near.distance <= ON * edge && runs_along(one, near.piece, direction(two, k))
        })
        .collect();
    if lies_on.iter().all(|&on| !on) {
        return touch_of(one, two, ground);
    }
    // A closed curve that lies on the other all along but for its seam has been merged before.
    let start = if two.closed {
        lies_on.iter().position(|&on| !on).unwrap_or(0)
    } else {
        0
    };
    let mut best: Option<(f64, usize, usize)> = None;
    let mut k = 0;
    while k < count {
        let at = |k: usize| (start + k) % count;
        if !lies_on[at(k)] {
            k += 1;
            continue;
        }
        let from = k;
        while k + 1 < count && lies_on[at(k + 1)] {
            k += 1;
        }
        let (a, b) = (lengths[at(from)], lengths[at(k)]);
        let long = if b >= a { b - a } else { b - a + two.length() };
        if best.is_none_or(|(most, ..)| long > most) {
            best = Some((long, at(from), at(k)));
        }
        k += 1;
    }
    let (long, from, to) = best?;
    let whole = two.length().min(one.length());
    if long < STRETCH * edge && long < 0.8 * whole {
        return touch_of(one, two, ground);
    }
    let crossing = 2.0 * ON / LEAST_CROSSING_DEG.to_radians().sin();
    if long < crossing * edge && sides(one, two, from, to, ground) < 0.0 {
        return None;
    }
    let foot = |k: usize| one.nearest(two.points[k]).map(|n| length_at(one, &n));
    Some(Meeting::Along(Run {
        on_first: [foot(from)?, foot(to)?],
        on_second: [lengths[from], lengths[to]],
    }))
}

/// Where a curve comes up to another and goes off again on the same side, by arc length on the
/// second: the place nearest to the first within reach, away from the ends of both.
fn touch_of(one: &Polyline, two: &Polyline, ground: &Ground<'_>) -> Option<Meeting> {
    let edge = ground.edge;
    let count = two.points.len();
    let reach = |k: usize| one.nearest(two.points[k]).map(|n| n.distance);
    let near: Vec<f64> = (0..count)
        .map(|k| reach(k).unwrap_or(f64::INFINITY))
        .collect();
    let lengths = lengths(two);
    let (whole_one, whole_two) = (one.length(), two.length());
    let inside = |k: usize| {
        let on_two = two.closed || lengths[k].min(whole_two - lengths[k]) > 0.5 * edge;
        let on_one = one.nearest(two.points[k]).is_some_and(|n| {
            let at = length_at(one, &n);
            one.closed || at.min(whole_one - at) > 0.5 * edge
        });
        on_two && on_one
    };
    let at = |k: usize, step: usize| {
        if two.closed {
            Some((k + step) % count)
        } else {
            (k + step)
                .checked_sub(count)
                .map_or(Some(k + step), |_| None)
        }
    };
    let steps = (1.5 * edge * count as f64 / whole_two).ceil() as usize;
    let touches = |&k: &usize| {
        let behind = if two.closed {
            Some((k + count - steps % count) % count)
        } else {
            k.checked_sub(steps)
        };
        let sides =
            |a: usize, b: usize| side_of(one, two, a, ground) * side_of(one, two, b, ground);
        let same_side = match (behind, at(k, steps)) {
            (Some(a), Some(b)) => sides(a, b) > 0.0,
            _ => false,
        };
        near[k] > 1e-6 * edge && near[k] <= ON * edge && inside(k) && same_side
    };
    let found = (0..count)
        .filter(|k| near[*k] <= ON * edge)
        .filter(touches)
        .min_by(|&a, &b| near[a].total_cmp(&near[b]))?;
    Some(Meeting::Touch(lengths[found]))
}

/// On which side of a curve a point of another lies: the sign of the result.
fn side_of(one: &Polyline, two: &Polyline, k: usize, ground: &Ground<'_>) -> f64 {
    let p = two.points[k];
    let (Some(near), Some(on)) = (one.nearest(p), ground.sculpt.index.closest(p)) else {
        return 0.0;
    };
    let mesh = &ground.sculpt.mesh;
    let normal = mesh.area_normal(on.triangle as usize).normalize_or_zero();
    let (a, b) = one.piece(near.piece);
    (p - near.point).dot(normal.cross(b - a))
}

/// Cuts the second curve where it touches the first, and puts it onto it there.
fn touch(drawn: &mut Vec<Drawn>, [i, j]: [usize; 2], at: f64) {
    let second = drawn.remove(j);
    let length = second.line.length();
    let mut cuts = vec![at];
    if second.line.closed {
        cuts.push((at + length / 2.0) % length);
        cuts.sort_by(f64::total_cmp);
    }
    let place = at_length(&second.line, at);
    let onto = drawn[i].line.nearest(place).map_or(place, |n| n.point);
    for mut piece in pieces(&second, &cuts) {
        let last = piece.line.points.len() - 1;
        for k in [0, last] {
            if piece.line.points[k].distance(place) <= 1e-6 * length {
                piece.line.points[k] = onto;
            }
        }
        drawn.push(piece);
    }
}

/// Below 0 if the second curve lies on different sides of the first before and after a stretch; 0
/// where one of them ends there.
fn sides(one: &Polyline, two: &Polyline, from: usize, to: usize, ground: &Ground<'_>) -> f64 {
    let count = two.points.len();
    let side = |k: Option<usize>| k.map_or(0.0, |k| side_of(one, two, k, ground));
    let (before, after) = if two.closed {
        (Some((from + count - 1) % count), Some((to + 1) % count))
    } else {
        (from.checked_sub(1), Some(to + 1).filter(|&k| k < count))
    };
    side(before) * side(after)
}

/// Makes the shared stretch a curve of its own.
fn join(drawn: &mut Vec<Drawn>, [i, j]: [usize; 2], run: Run, edge: f64) {
    let second = drawn.remove(j);
    let first = drawn.remove(i);
    let cut = |of: &Drawn, at: [f64; 2]| {
        let mut cuts: Vec<f64> = at.into_iter().map(|l| to_end(&of.line, l, edge)).collect();
        cuts.sort_by(f64::total_cmp);
        cuts
    };
    let (cuts_first, cuts_second) = (cut(&first, run.on_first), cut(&second, run.on_second));
    let first_pieces = pieces(&first, &cuts_first);
    let second_pieces = pieces(&second, &cuts_second);
    let on = |piece: &Drawn, other: &Polyline| piece.line.mean_distance_to(other) <= ON * edge;
    let mut shared: Option<Drawn> = None;
    let mut rest = Vec::new();
    for piece in first_pieces {
        if shared.is_none() && on(&piece, &second.line) {
            shared = Some(piece);
        } else {
            rest.push(piece);
        }
    }
    let mut taken = false;
    for mut piece in second_pieces {
        if let Some(shared) = &mut shared {
            if !taken && on(&piece, &first.line) {
                taken = true;
                for g in piece.guides {
                    if !shared.guides.contains(&g) {
                        shared.guides.push(g);
                    }
                }
                for share in piece.shares {
                    if !shared.shares.contains(&share) {
                        shared.shares.push(share);
                    }
                }
                shared.kind = stronger(shared.kind, piece.kind);
                if piece.rim && !shared.rim {
                    shared.line = piece.line;
                    shared.rim = true;
                }
                continue;
            }
            // Ends that were cut meet the shared stretch where it ends.
            let tips = [shared.line.points.first(), shared.line.points.last()];
            let last = piece.line.points.len() - 1;
            for k in [0, last] {
                let p = piece.line.points[k];
                let nearest = tips
                    .into_iter()
                    .flatten()
                    .min_by(|a, b| a.distance(p).total_cmp(&b.distance(p)));
                if let Some(&tip) = nearest.filter(|t| t.distance(p) <= 2.0 * ON * edge) {
                    piece.line.points[k] = tip;
                }
            }
        }
        rest.push(piece);
    }
    drawn.extend(shared);
    drawn.extend(rest);
}

/// What two curves on each other are together: the surface ends at an opening whatever else runs
/// there, and a ring has its promises.
pub(super) fn stronger(a: GuideKind, b: GuideKind) -> GuideKind {
    match (a, b) {
        (GuideKind::Opening, _) | (_, GuideKind::Opening) => GuideKind::Opening,
        (GuideKind::Ring, _) | (_, GuideKind::Ring) => GuideKind::Ring,
        _ => GuideKind::Line,
    }
}

/// An arc length, or the open curve's end that is near to it.
fn to_end(line: &Polyline, at: f64, edge: f64) -> f64 {
    let whole = line.length();
    let near = 0.5 * edge;
    match at {
        _ if line.closed => at,
        at if at < near => 0.0,
        at if at > whole - near => whole,
        at => at,
    }
}

/// A curve cut at arc lengths, rising; its count becomes one that all pieces share.
fn pieces(whole: &Drawn, cuts: &[f64]) -> Vec<Drawn> {
    let line = &whole.line;
    let length = line.length();
    let mut knots: Vec<f64> = cuts.to_vec();
    if line.closed {
        knots.extend(cuts.first().map(|c| c + length));
    } else {
        knots.insert(0, 0.0);
        knots.push(length);
    }
    knots.dedup_by(|a, b| *a - *b <= 1e-6 * length);
    if knots.len() < 2 {
        return vec![whole.clone()];
    }
    let mut shares = whole.shares.clone();
    if let (Some(count), Some(&guide)) = (whole.count, whole.guides.first()) {
        shares.push(Share { guide, count });
    }
    let last = knots.len() - 2;
    let cut = |(k, w): (usize, &[f64])| Drawn {
        count: None,
        shares: shares.clone(),
        line: stretch(line, w[0], w[1]),
        ends: [
            if k == 0 && !line.closed {
                whole.ends[0]
            } else {
                CurveEnd::Free
            },
            if k == last && !line.closed {
                whole.ends[1]
            } else {
                CurveEnd::Free
            },
        ],
        ..whole.clone()
    };
    knots.windows(2).enumerate().map(cut).collect()
}

/// The piece of a line between two arc lengths; past a closed one's length it goes on around.
pub(super) fn stretch(line: &Polyline, from: f64, to: f64) -> Polyline {
    let whole = line.length();
    let lengths = lengths(line);
    let mut inner: Vec<(f64, DVec3)> = Vec::new();
    for round in [0.0, whole] {
        if round > 0.0 && !line.closed {
            break;
        }
        let points = lengths.iter().zip(&line.points);
        inner.extend(points.map(|(&l, &p)| (l + round, p)));
    }
    let slack = 1e-3 * whole / line.pieces().max(1) as f64;
    let mut points = vec![at_length(line, from)];
    points.extend(
        inner
            .into_iter()
            .filter(|&(l, _)| l > from + slack && l < to - slack)
            .map(|(_, p)| p),
    );
    points.push(at_length(line, to));
    Polyline {
        points,
        closed: false,
    }
}

/// Arc length at each point.
fn lengths(line: &Polyline) -> Vec<f64> {
    let mut sum = 0.0;
    let steps = line.points.windows(2).map(|w| w[0].distance(w[1]));
    let mut lengths = vec![0.0];
    lengths.extend(steps.map(|step| {
        sum += step;
        sum
    }));
    lengths
}

pub(super) fn length_at(line: &Polyline, near: &mesh::Near) -> f64 {
    lengths(line)[near.piece] + line.points[near.piece].distance(near.point)
}

fn at_length(line: &Polyline, at: f64) -> DVec3 {
    let whole = line.length();
    let mut left = if line.closed && at > whole {
        at - whole
    } else {
        at
    };
    for i in 0..line.pieces() {
        let (a, b) = line.piece(i);
        let long = a.distance(b);
        if left <= long && long > 0.0 {
            return a.lerp(b, left / long);
        }
        left -= long;
    }
    let last = if line.closed {
        line.points.first()
    } else {
        line.points.last()
    };
    last.copied().unwrap_or_default()
}

fn direction(line: &Polyline, k: usize) -> DVec3 {
    let count = line.points.len();
    let (before, after) = if line.closed {
        ((k + count - 1) % count, (k + 1) % count)
    } else {
        (k.saturating_sub(1), (k + 1).min(count - 1))
    };
    line.points[after] - line.points[before]
}

/// Whether a piece of a line runs along a direction, either way.
fn runs_along(line: &Polyline, piece: usize, direction: DVec3) -> bool {
    let (a, b) = line.piece(piece);
    let turn = (b - a).angle_between(direction);
    turn.min(std::f64::consts::PI - turn) <= ALONG_DEG.to_radians()
}

/// Refuses curves that run side by side without room for quads between them.
fn room_between(
    first: &Drawn,
    second: &Drawn,
    guides: &[Guide],
    edge: f64,
) -> Result<(), GuideError> {
    let (one, two) = (&first.line, &second.line);
    let lengths = lengths(two);
    let (mut from, mut least) = (None::<f64>, (f64::INFINITY, DVec3::ZERO));
    for (k, &p) in two.points.iter().enumerate() {
        let near = one.nearest(p);
        let beside = near.is_some_and(|n| {
            n.distance < ROOM * edge && runs_along(one, n.piece, direction(two, k))
        });
        let Some(near) = near.filter(|_| beside) else {
            (from, least) = (None, (f64::INFINITY, DVec3::ZERO));
            continue;
        };
        let start = *from.get_or_insert(lengths[k]);
        if near.distance < least.0 {
            least = (near.distance, p);
        }
        // Curves that meet at a node come near each other there; how near tells the angle.
        let node = 2.0 * ROOM / LEAST_PARTING_DEG.to_radians().sin();
        let crossing = 2.0 * ROOM / LEAST_CROSSING_DEG.to_radians().sin();
        let most = match least.0 {
            d if d > ON * edge => STRETCH,
            _ if meets_at_end(first, second, edge) => node / 2.0,
            _ => crossing,
        };
        if lengths[k] - start > most * edge {
            return Err(GuideError::TooClose {
                one: name_of(&first.guides, guides),
                two: name_of(&second.guides, guides),
                at: least.1.to_array(),
                distance: least.0,
                room: ROOM * edge,
                on: ON * edge,
            });
        }
    }
    Ok(())
}

/// Whether an end of one of two curves lies on the other.
fn meets_at_end(first: &Drawn, second: &Drawn, edge: f64) -> bool {
    let touches = |a: &Drawn, b: &Drawn| {
        let tips = [a.line.points.first(), a.line.points.last()];
        !a.line.closed
            && tips
                .into_iter()
                .flatten()
                .any(|&p| b.line.nearest(p).is_some_and(|n| n.distance <= ON * edge))
    };
    touches(first, second) || touches(second, first)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn closed(corners: &[[f64; 2]]) -> Polyline {
        let at = |c: &[f64; 2]| DVec3::new(c[0], c[1], 0.0);
        Polyline {
            points: corners.iter().map(at).collect(),
            closed: true,
        }
    }

    /// Found by the robustness corpus: the rim of a sculpt of a thousand triangles, at 1,500 quads.
    #[test]
    fn a_coarse_rim_with_short_pieces_at_its_corners_does_not_cross_itself() {
        let side = [[0.1, 0.0], [3.0, 0.0], [6.0, 0.0], [8.9, 0.0]];
        let mut rim = Vec::new();
        let mut turned = |map: fn([f64; 2]) -> [f64; 2]| rim.extend(side.map(map));
        turned(|[x, y]| [x, y]);
        turned(|[x, y]| [9.0 - y, x]);
        turned(|[x, y]| [9.0 - x, 9.0 - y]);
        turned(|[x, y]| [y, 9.0 - x]);
        // Bevels between the sides, a tenth long.
        for corner in rim.iter_mut().step_by(4) {
            *corner = corner.map(|c| (c - 4.5) * 8.9 / 9.0 + 4.5);
        }
        let rim = closed(&rim);
        for edge in [0.2, 0.5, 1.0, 2.0] {
            assert_eq!(loop_of(&rim, edge), None, "{edge}");
        }
    }

    #[test]
    fn a_coarse_figure_of_eight_crosses_itself() {
        let eight = closed(&[[0.0, 0.0], [9.0, 10.0], [9.0, 0.0], [0.0, 10.0]]);
        for edge in [0.2, 1.0, 3.0] {
            let [from, to] = loop_of(&eight, edge).unwrap();
            // The diagonals cross in their middles.
            let middle = 181.0_f64.sqrt() / 2.0;
            assert!((from - middle).abs() < edge, "{from}");
            assert!((to - (3.0 * middle + 10.0)).abs() < edge, "{to}");
        }
    }
}
