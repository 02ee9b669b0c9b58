//! Where a curve crosses or touches what was laid before.

use mesh::DVec3;

use crate::work::dense::Dense;
use crate::work::edit::NONE;
use crate::work::project::foot;
use crate::work::rail::Rail;

/// A meeting of two rails.
#[derive(Clone, Copy, Debug)]
pub(super) struct Meeting {
    /// Arc length on the new rail.
    pub param: f64,
    /// The rail laid before.
    pub other: u32,
    /// Arc length on that.
    pub other_param: f64,
}

/// Meetings of a rail with all rails that have edges already, rising along it.
pub(super) fn meetings(work: &Dense<'_>, rail: u32) -> Vec<Meeting> {
    let mut laid: Vec<u32> = work
        .mesh
        .segments
        .iter()
        .map(|s| s.rail)
        .filter(|&r| r != NONE && r != rail)
        .collect();
    laid.sort_unstable();
    laid.dedup();
    let mut all = Vec::new();
    for other in laid {
        crossings(work, rail, other, &mut all);
        if !work.rails[rail as usize].closed {
            touching_ends(work, rail, other, &mut all);
        }
    }
    all.sort_by(|a, b| a.param.total_cmp(&b.param).then(a.other.cmp(&b.other)));
    // An end that touches also looks like a crossing: keep one of two close ones.
    let apart = 0.5 * work.edge;
    let mut kept: Vec<Meeting> = Vec::new();
    for meeting in all {
        let double =
            |m: &Meeting| m.other == meeting.other && (m.param - meeting.param).abs() < apart;
        if !kept.iter().any(double) {
            kept.push(meeting);
        }
    }
    kept
}

/// Walks along the rail in steps no longer than the distance to the other rail, and looks
/// for changes of side close to it.
fn crossings(work: &Dense<'_>, rail: u32, other: u32, found: &mut Vec<Meeting>) {
    let (this, that) = (&work.rails[rail as usize], &work.rails[other as usize]);
    let fine = 0.25 * work.edge;
    let near = 0.6 * work.edge;
    let (mut param, end) = (0.0, this.length());
    let mut last: Option<(f64, f64)> = None;
    while param <= end {
        let at = this.at(param);
        let on = that.nearest(at);
        if on.distance < near {
            let side = side(work, that, at, on.param);
            if let Some((before, side_before)) = last
                && side * side_before < 0.0
            {
                found.push(crossing(
                    work,
                    this,
                    that,
                    other,
                    [before, param],
                    [side_before, side],
                ));
            }
            if side != 0.0 {
                last = Some((param, side));
            }
        } else {
            last = None;
        }
        if param >= end {
            break;
        }
        param = (param + (on.distance - near).max(fine)).min(end);
    }
}

/// Signed distance from the other rail, seen along the surface: positive on its left.
fn side(work: &Dense<'_>, that: &Rail, p: DVec3, param: f64) -> f64 {
    let normal =
        foot(work.sculpt, p, DVec3::ZERO, 3.0 * work.edge).map_or(DVec3::ZERO, |f| f.normal);
    let at_end = !that.closed && (param <= 0.0 || param >= that.length());
    if at_end {
        return 0.0;
    }
    (p - that.at(param)).dot(normal.cross(that.direction(param)))
}

/// Narrows a change of side down by halving.
fn crossing(
    work: &Dense<'_>,
    this: &Rail,
    that: &Rail,
    other: u32,
    between: [f64; 2],
    sides: [f64; 2],
) -> Meeting {
    let [mut low, mut high] = between;
    for _ in 0..30 {
        let middle = (low + high) / 2.0;
        let at = this.at(middle);
        let side = side(work, that, at, that.nearest(at).param);
        if side * sides[0] > 0.0 {
            low = middle;
        } else {
            high = middle;
        }
    }
    let param = (low + high) / 2.0;
    Meeting {
        param,
        other,
        other_param: that.nearest(this.at(param)).param,
    }
}

/// Ends of an open curve that lie on another rail.
fn touching_ends(work: &Dense<'_>, rail: u32, other: u32, found: &mut Vec<Meeting>) {
    let (this, that) = (&work.rails[rail as usize], &work.rails[other as usize]);
    for param in [0.0, this.length()] {
        let on = that.nearest(this.at(param));
        if on.distance < 0.25 * work.edge {
            found.retain(|m: &Meeting| m.other != other || (m.param - param).abs() > work.edge);
            found.push(Meeting {
                param,
                other,
                other_param: on.param,
            });
        }
    }
}
