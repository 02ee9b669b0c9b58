//! Vertices that a curve must pass: meetings with other rails, ends, first stops.

use mesh::DVec3;

use super::Stop;
use super::meet::{Meeting, meetings};
use crate::work::WorkError;
use crate::work::edit::NONE;
use crate::work::project::foot;
use crate::work::remesh::Remesher;

/// All stops of a rail, rising; an open rail gets one at each end.
pub(super) fn stops(work: &mut Remesher<'_>, rail: u32) -> Result<Vec<Stop>, WorkError> {
    let mut stops: Vec<Stop> = Vec::new();
    for meeting in meetings(work, rail) {
        let vertex = node_on_rail(work, &meeting, &stops)?;
        if stops.iter().all(|s| s.vertex != vertex) {
            stops.push(Stop {
                param: meeting.param,
                vertex,
            });
        }
    }
    let (closed, length) = (
        work.rails[rail as usize].closed,
        work.rails[rail as usize].length(),
    );
    if !closed {
        let near = 0.5 * work.edge;
        if stops.first().is_none_or(|s| s.param > near) {
            let vertex = free_node(work, work.rails[rail as usize].at(0.0), &stops)?;
            stops.insert(0, Stop { param: 0.0, vertex });
        }
        if stops.last().is_none_or(|s| s.param < length - near) || stops.len() < 2 {
            let vertex = free_node(work, work.rails[rail as usize].at(length), &stops)?;
            stops.push(Stop {
                param: length,
                vertex,
            });
        }
        // The first and last stop are the ends, wherever they were found.
        if let Some(first) = stops.first_mut() {
            first.param = 0.0;
        }
        if let Some(last) = stops.last_mut() {
            last.param = length;
        }
    }
    Ok(stops)
}

/// The vertex of a laid rail at an arc length of it: one that is there already, one that
/// can be slid there, or a new one.
fn node_on_rail(
    work: &mut Remesher<'_>,
    meeting: &Meeting,
    stops: &[Stop],
) -> Result<u32, WorkError> {
    let whole = work.rails[meeting.other as usize].length();
    let closed = work.rails[meeting.other as usize].closed;
    let target = work.rails[meeting.other as usize].at(meeting.other_param);
    let mut best: Option<(f64, u32, f64)> = None;
    for h in work.mesh.edges() {
        let Some(seg) = work.mesh.segment_of(h) else {
            continue;
        };
        let segment = &work.mesh.segments[seg as usize];
        if segment.rail != meeting.other {
            continue;
        }
        let mut param = meeting.other_param;
        if closed {
            param += ((segment.params[0] - param) / whole).ceil() * whole;
        }
        let within = param.clamp(segment.params[0], segment.params[1]);
        let off = if within == param {
            0.0
        } else {
            work.rails[meeting.other as usize]
                .at(within)
                .distance(target)
        };
        if best.is_none_or(|(least, ..)| off < least) {
            best = Some((off, h, within));
        }
    }
    let Some((_, h, param)) = best else {
        return free_node(work, target, stops);
    };
    let seg = work.mesh.seg[h as usize];
    let segment = work.mesh.segments[seg as usize];
    let length = segment.params[1] - segment.params[0];
    for end in 0..2 {
        let v = segment.ends[end];
        let off = (segment.params[end] - param).abs();
        let taken = stops.iter().any(|s| s.vertex == v);
        if off < 0.1 * work.edge && !taken && work.mesh.inside_rail(v).is_none() {
            return Ok(v);
        }
        if off < 0.3 * length.max(0.5 * work.edge)
            && !taken
            && let Some(both) = work.mesh.inside_rail(v)
        {
            let [one, two] = both.map(|s| work.mesh.segments[s as usize]);
            let own = one.params[1] + (param - segment.params[end]);
            let change = own - one.params[1];
            if own > one.params[0] && two.params[0] + change < two.params[1] {
                work.mesh.slide(both, own);
                work.mesh.pos[v as usize] = target;
                return Ok(v);
            }
        }
    }
    let param = param.clamp(
        segment.params[0] + 0.05 * length,
        segment.params[1] - 0.05 * length,
    );
    let at = work.rails[meeting.other as usize].at(param);
    work.split_at(h, at, param)
}

/// A vertex on no rail, moved to a point of the surface.
pub(super) fn free_node(
    work: &mut Remesher<'_>,
    at: DVec3,
    stops: &[Stop],
) -> Result<u32, WorkError> {
    let mut best: Option<(f64, u32)> = None;
    for v in 0..work.mesh.pos.len() as u32 {
        if work.mesh.out[v as usize] == NONE
            || work.mesh.on_rail[v as usize]
            || stops.iter().any(|s| s.vertex == v)
        {
            continue;
        }
        let distance = work.mesh.pos[v as usize].distance_squared(at);
        if best.is_none_or(|(least, _)| distance < least) {
            best = Some((distance, v));
        }
    }
    let Some((_, v)) = best else {
        return Err(WorkError::Broken(
            "no vertex is free for a curve's end".to_owned(),
        ));
    };
    work.mesh.pos[v as usize] = at;
    if let Some(found) = foot(work.sculpt, at, work.normals[v as usize], 3.0 * work.edge) {
        work.normals[v as usize] = found.normal;
    }
    Ok(v)
}
