//! Guides that mean the sculpt's own boundary.

use mesh::{DVec3, Polyline};

use crate::model::{GuideKind, Sculpt};
use crate::symmetry::boundary_loops;

/// A loop whose points stray further than this from the guide isn't what it means, in target edges.
const WANDER: f64 = 1.5;

/// A sculpt's boundary loops, with the surface on the left. Finding them reads every triangle.
#[derive(Clone, Debug)]
pub struct Rims(Vec<Polyline>);

impl Rims {
    /// Those of a sculpt.
    pub fn of(sculpt: &Sculpt) -> Self {
        let loops = boundary_loops(&sculpt.mesh).into_iter();
        let rim = |vertices: Vec<u32>| Polyline {
            points: vertices
                .iter()
                .map(|&v| sculpt.mesh.positions[v as usize].as_dvec3())
                .collect(),
            closed: true,
        };
        Self(loops.map(rim).collect())
    }

    /// The boundaries, each a closed curve.
    pub fn into_loops(self) -> Vec<Polyline> {
        self.0
    }

    pub(super) fn loops(&self) -> impl Iterator<Item = &Polyline> {
        self.0.iter()
    }
}

/// The loop, or the piece of one, that a guide runs along: within 0.6 of a target edge for
/// an opening, 0.3 for other guides.
pub(super) fn along(line: &Polyline, kind: GuideKind, rims: &Rims, edge: f64) -> Option<Polyline> {
    let reach = edge * if kind == GuideKind::Opening { 0.6 } else { 0.3 };
    rims.0.iter().find_map(|rim| {
        let close = |p: &DVec3| rim.nearest(*p).is_some_and(|n| n.distance <= reach);
        if !line.points.iter().all(close) {
            return None;
        }
        let found = if line.closed {
            whole(line, rim)
        } else {
            piece(line, rim)
        }?;
        let back = |p: &DVec3| {
            line.nearest(*p)
                .is_some_and(|n| n.distance <= WANDER * edge)
        };
        found.points.iter().all(back).then_some(found)
    })
}

/// The loop that an opening goes round, told by its drawn points alone: all lie within 0.6 of a
/// target edge of the loop and follow each other once round it. Between them the drawing may cut
/// the loop's corners by many target edges; the opening still is the loop.
pub(super) fn around(drawn: &[DVec3], rims: &Rims, edge: f64) -> Option<Polyline> {
    rims.0.iter().find_map(|rim| {
        let nearest = drawn.iter().map(|&p| rim.nearest(p));
        let nearest: Vec<_> = nearest.collect::<Option<_>>()?;
        if nearest.iter().any(|n| n.distance > 0.6 * edge) {
            return None;
        }
        // Places as pieces and shares of a piece, so that several points may lie on one piece.
        let count = rim.pieces() as f64;
        let place = |i: usize| {
            let (a, b) = rim.piece(nearest[i].piece);
            let share = nearest[i].point.distance(a) / a.distance(b).max(f64::MIN_POSITIVE);
            nearest[i].piece as f64 + share.min(1.0)
        };
        let step = |i: usize| (place((i + 1) % drawn.len()) - place(i)).rem_euclid(count);
        let forward: f64 = (0..drawn.len()).map(step).sum();
        // Steps forward sum to the turns made; all backward, each is a turn less its length.
        let turns = forward / count;
        let against = drawn.len() as f64 - 1.0;
        let once = (turns - 1.0).abs() < 0.5;
        let once_against = (turns - against).abs() < 0.5;
        (drawn.len() > 3 && (once || once_against)).then(|| {
            let mut found = rim.clone();
            if once_against && !once {
                found.points.reverse();
            }
            found
        })
    })
}

/// The whole loop, in the guide's direction.
fn whole(line: &Polyline, rim: &Polyline) -> Option<Polyline> {
    let mut found = rim.clone();
    if turns_against(line, rim)? {
        found.points.reverse();
    }
    Some(found)
}

/// Whether a guide runs against a loop, by the steps of its nearest places.
fn turns_against(line: &Polyline, rim: &Polyline) -> Option<bool> {
    let count = rim.pieces();
    let places: Option<Vec<usize>> = line
        .points
        .iter()
        .map(|&p| rim.nearest(p).map(|n| n.piece))
        .collect();
    let steps: i64 = places?
        .windows(2)
        .map(|w| {
            let step = (w[1] + count - w[0]) % count;
            if step > count / 2 {
                step as i64 - count as i64
            } else {
                step as i64
            }
        })
        .sum();
    Some(steps < 0)
}

/// The piece of a loop between the places nearest to a guide's ends.
fn piece(line: &Polyline, rim: &Polyline) -> Option<Polyline> {
    let (first, last) = (
        rim.nearest(*line.points.first()?)?,
        rim.nearest(*line.points.last()?)?,
    );
    let against = turns_against(line, rim)?;
    let (from, to) = if against {
        (last, first)
    } else {
        (first, last)
    };
    let count = rim.points.len();
    let mut points = vec![from.point];
    let mut at = from.piece;
    let mut steps = 0;
    while at != to.piece
        || (steps == 0 && from.piece == to.piece && comes_before(rim, to.point, from.point, at))
    {
        at = (at + 1) % count;
        points.push(rim.points[at]);
        steps += 1;
        if steps > count {
            return None;
        }
    }
    points.push(to.point);
    points.dedup();
    if against {
        points.reverse();
    }
    (points.len() >= 2).then_some(Polyline {
        points,
        closed: false,
    })
}

/// Whether `p` lies before `q` on a piece.
fn comes_before(rim: &Polyline, p: DVec3, q: DVec3, piece: usize) -> bool {
    let start = rim.points[piece];
    p.distance_squared(start) < q.distance_squared(start)
}
