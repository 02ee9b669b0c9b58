//! Vertices that a curve must pass: meetings with other rails, and ends.

use mesh::DVec3;

use super::Stop;
use super::meet::{Meeting, meetings};
use crate::work::WorkError;
use crate::work::dense::Dense;
use crate::work::edit::Segment;
use crate::work::grid::Grid;
use crate::work::project::foot;

/// A crossing this close to a node of the other rail takes the node, in work edges.
const SAME_NODE: f64 = 0.4;
/// A meeting this close to an open curve's end is its end, in work edges.
const AT_END: f64 = 0.5;

/// All stops of a rail, rising; an open rail gets one at each end.
pub(super) fn stops(work: &mut Dense<'_>, rail: u32, grid: &Grid) -> Result<Vec<Stop>, WorkError> {
    let mut stops: Vec<Stop> = Vec::new();
    for meeting in meetings(work, rail) {
        let vertex = node_on_rail(work, &meeting, &stops, grid)?;
        if stops.iter().all(|s| s.vertex != vertex) {
            stops.push(Stop {
                param: meeting.param,
                vertex,
            });
        }
    }
    if !work.rails[rail as usize].closed {
        add_ends(work, rail, &mut stops, grid)?;
    }
    Ok(stops)
}

/// Makes the first and last stop of an open rail its ends.
fn add_ends(
    work: &Dense<'_>,
    rail: u32,
    stops: &mut Vec<Stop>,
    grid: &Grid,
) -> Result<(), WorkError> {
    let curve = &work.rails[rail as usize];
    let length = curve.length();
    let near = AT_END * work.edge;
    if stops.first().is_none_or(|s| s.param > near) {
        let vertex = free_node(work, curve.at(0.0), stops, grid)?;
        stops.insert(0, Stop { param: 0.0, vertex });
    }
    if stops.len() < 2 || stops.last().is_none_or(|s| s.param < length - near) {
        let vertex = free_node(work, curve.at(length), stops, grid)?;
        stops.push(Stop {
            param: length,
            vertex,
        });
    }
    if let [first, .., last] = &mut stops[..] {
        first.param = 0.0;
        last.param = length;
    }
    Ok(())
}

/// The vertex of a laid rail at an arc length of it: one that is there already, one that
/// can take this arc length, or a new one.
fn node_on_rail(
    work: &mut Dense<'_>,
    meeting: &Meeting,
    stops: &[Stop],
    grid: &Grid,
) -> Result<u32, WorkError> {
    let Some((segment, param)) = segment_at(work, meeting) else {
        let at = work.rails[meeting.other as usize].at(meeting.other_param);
        return free_node(work, at, stops, grid);
    };
    let length = segment.params[1] - segment.params[0];
    let target = work.rails[meeting.other as usize].at(param);
    for end in 0..2 {
        let v = segment.ends[end];
        let off = (segment.params[end] - param).abs();
        if stops.iter().any(|s| s.vertex == v) {
            // Where several rails meet, the node is a stop already.
            if off < SAME_NODE * work.edge {
                return Ok(v);
            }
            continue;
        }
        match work.mesh.inside_rail(v) {
            // Rails already meet here: one node for all of them.
            None if off < SAME_NODE * work.edge => return Ok(v),
            Some(both) if off < 0.3 * length => {
                let arriving = work.mesh.segments[both[0] as usize];
                let shift = param - segment.params[end];
                work.mesh.slide(both, arriving.params[1] + shift);
                if work.mesh.on_boundary(v) {
                    work.mesh.pos[v as usize] = target;
                }
                return Ok(v);
            }
            _ => {}
        }
    }
    let share = ((param - segment.params[0]) / length).clamp(0.05, 0.95);
    let [a, b] = segment.ends;
    let Some(h) = work.mesh.edge_between(a, b) else {
        return Err(WorkError::Broken(format!(
            "the edge {a}–{b} of a rail is gone"
        )));
    };
    let at = work.mesh.pos[a as usize].lerp(work.mesh.pos[b as usize], share);
    work.split_at(h, at, segment.params[0] + share * length)
}

/// The segment of a laid rail that has a meeting's arc length, or comes nearest to it,
/// and the arc length measured on it.
fn segment_at(work: &Dense<'_>, meeting: &Meeting) -> Option<(Segment, f64)> {
    let rail = &work.rails[meeting.other as usize];
    let whole = rail.length();
    let mut best: Option<(f64, Segment, f64)> = None;
    for segment in work
        .mesh
        .segments
        .iter()
        .filter(|s| s.rail == meeting.other)
    {
        let mut param = meeting.other_param;
        if rail.closed {
            param += ((segment.params[0] - param) / whole).ceil() * whole;
        }
        let within = param.clamp(segment.params[0], segment.params[1]);
        let off = if within == param {
            0.0
        } else {
            rail.at(within).distance(rail.at(param))
        };
        if best.is_none_or(|(least, ..)| off < least) {
            best = Some((off, *segment, within));
        }
    }
    best.map(|(_, segment, param)| (segment, param))
}

/// The vertex on no rail that is nearest to a point of the surface, on the same side of it.
fn free_node(work: &Dense<'_>, at: DVec3, stops: &[Stop], grid: &Grid) -> Result<u32, WorkError> {
    let facing = foot(work.sculpt, at, DVec3::ZERO, work.edge).map_or(DVec3::ZERO, |f| f.normal);
    let mut best: Option<(f64, u32)> = None;
    grid.near(at, 1.5 * work.edge, |v| {
        let distance = work.mesh.pos[v as usize].distance_squared(at);
        if best.is_none_or(|(least, _)| distance < least)
            && work.mesh.has_vertex(v)
            && !work.mesh.on_rail[v as usize]
            && stops.iter().all(|s| s.vertex != v)
            && work.mesh.vertex_normal(v).dot(facing) >= 0.0
        {
            best = Some((distance, v));
        }
    });
    best.map(|(_, v)| v)
        .ok_or(WorkError::NoRoom { at: at.to_array() })
}
