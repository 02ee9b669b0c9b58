//! Reading chains off the edges that carry segments.

use super::edit::{EditMesh, Segment};
use super::rail::Rail;
use crate::model::Chain;

/// Chains in the order of their rails. A plane rail is parted wherever another rail meets
/// it; other rails are parted only where pieces of them are missing.
pub(super) fn chains(mesh: &EditMesh, rails: &[Rail]) -> Vec<Chain> {
    let mut by_rail: Vec<Vec<Segment>> = vec![Vec::new(); rails.len()];
    for h in mesh.edges() {
        if let Some(seg) = mesh.segment_of(h) {
            let segment = mesh.segments[seg as usize];
            by_rail[segment.rail as usize].push(segment);
        }
    }
    let mut chains = Vec::new();
    for (id, (rail, segments)) in rails.iter().zip(by_rail).enumerate() {
        let parts_at = |v: u32| rail.is_plane() && mesh.meets_other_rail(v, id as u32);
        runs(segments, rail, parts_at, &mut chains);
    }
    chains
}

/// Joins segments end to start.
fn runs(
    mut segments: Vec<Segment>,
    rail: &Rail,
    parts_at: impl Fn(u32) -> bool,
    chains: &mut Vec<Chain>,
) {
    segments.sort_by(|a, b| {
        rail.normalised(a.params[0])
            .total_cmp(&rail.normalised(b.params[0]))
    });
    let mut by_start: Vec<(u32, usize)> = segments
        .iter()
        .enumerate()
        .map(|(i, s)| (s.ends[0], i))
        .collect();
    by_start.sort_unstable();
    let starting = |v: u32| {
        let at = by_start.partition_point(|&(start, _)| start < v);
        by_start
            .get(at)
            .filter(|&&(start, _)| start == v)
            .map(|&(_, i)| i)
    };
    let mut ending: Vec<u32> = segments.iter().map(|s| s.ends[1]).collect();
    ending.sort_unstable();
    let opens = |s: &Segment| parts_at(s.ends[0]) || ending.binary_search(&s.ends[0]).is_err();
    let mut used = vec![false; segments.len()];
    // Open runs first, from where they start; what is left is closed.
    let starts: Vec<usize> = (0..segments.len())
        .filter(|&i| opens(&segments[i]))
        .collect();
    for start in starts.into_iter().chain(0..segments.len()) {
        if used[start] {
            continue;
        }
        let mut vertices = vec![segments[start].ends[0]];
        let mut at = Some(start);
        let mut closed = false;
        while let Some(i) = at.filter(|&i| !used[i]) {
            used[i] = true;
            let end = segments[i].ends[1];
            if end == vertices[0] {
                closed = true;
                break;
            }
            vertices.push(end);
            at = if parts_at(end) { None } else { starting(end) };
        }
        chains.push(Chain {
            source: rail.source,
            closed,
            vertices,
        });
    }
}
