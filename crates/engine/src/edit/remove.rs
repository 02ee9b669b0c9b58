//! A loop out of the surface.

use std::collections::{BTreeMap, BTreeSet};

use super::draft::{Draft, key};
use super::fault::EditFault;
use super::walk::{self, LoopEnd};
use super::{LoopPlace, Played, find, sound};

/// Takes the loop at a place out; the strips on both sides become one.
///
/// # Errors
/// [`EditFault`]; the draft is as it was then.
pub(super) fn play(draft: &mut Draft<'_>, place: LoopPlace) -> Result<Played, EditFault> {
    let topology = draft.mesh.topology();
    let corner = find::loop_corner(draft, &topology, place)?;
    let carried = |draft: &Draft<'_>, a: u32, b: u32| {
        let runs = draft.runs_on(a, b);
        (!runs.is_empty()).then(|| draft.names(runs.to_vec()))
    };
    if topology.twin[corner as usize].is_none() {
        let quad = draft.mesh.quads[corner as usize / 4];
        let (a, b) = (quad[corner as usize % 4], quad[(corner as usize + 1) % 4]);
        let names = carried(draft, a, b).unwrap_or_else(|| "the surface's edge".to_owned());
        return Err(EditFault::Carries { names });
    }
    let found = walk::edge_loop(draft, &topology, corner)?;
    for end in found.ends.into_iter().flatten() {
        if let LoopEnd::Pole(v) = end {
            let at = draft.mesh.positions[v as usize].to_array();
            return Err(EditFault::EndsAtPole { at });
        }
    }
    let mut rungs: BTreeMap<u32, [u32; 2]> = BTreeMap::new();
    let mut merged: Vec<(u32, u32)> = Vec::new();
    for &corner in &found.corners {
        let Some(beside) = walk::beside(draft, &topology, corner) else {
            return Err(EditFault::Folds);
        };
        let [a, b] = beside.edge;
        if let Some(names) = carried(draft, a, b) {
            return Err(EditFault::Carries { names });
        }
        for i in 0..2 {
            rungs.insert(beside.edge[i], [beside.left[i], beside.right[i]]);
        }
        merged.extend(topology.twin[corner as usize].map(|other| (corner, other)));
    }
    let mut paired: Vec<u32> = merged.iter().flat_map(|&(a, b)| [a / 4, b / 4]).collect();
    paired.sort_unstable();
    if paired.windows(2).any(|w| w[0] == w[1]) {
        return Err(EditFault::Folds);
    }
    for (&v, &[left, right]) in &rungs {
        let (one, two) = (draft.runs_on(v, left), draft.runs_on(v, right));
        let set = |runs: &[usize]| runs.iter().copied().collect::<BTreeSet<usize>>();
        let ending: Vec<usize> = set(one).symmetric_difference(&set(two)).copied().collect();
        if !ending.is_empty() {
            let names = draft.names(ending);
            return Err(EditFault::EndsHere { names });
        }
    }
    let after = merge(draft, &rungs, &merged);
    if !sound::is_sound(&after.0, draft.mesh.positions.len(), &topology) {
        return Err(EditFault::Folds);
    }
    let mut lost: BTreeMap<usize, i64> = BTreeMap::new();
    for (&v, &[left, right]) in &rungs {
        draft.runs_of_edge.remove(&key(v, right));
        for run in draft.runs_of_edge.remove(&key(v, left)).unwrap_or_default() {
            *lost.entry(run).or_default() -= 1;
            let edge = draft.runs_of_edge.entry(key(left, right)).or_default();
            edge.push(run);
        }
    }
    let (quads, gone) = after;
    let mut kept = gone.iter().map(|gone| !gone);
    draft.quads.retain(|_| kept.next().unwrap_or(true));
    draft.mesh.quads = quads;
    drop_vertices(draft, &rungs);
    Ok(Played {
        vertices: rungs.len(),
        quads: merged.len(),
        counts: draft.counts(&lost),
        unplaced: 0,
    })
}

/// The quads with each pair in the place of its first, and which of the old ones are gone.
fn merge(
    draft: &Draft<'_>,
    rungs: &BTreeMap<u32, [u32; 2]>,
    pairs: &[(u32, u32)],
) -> (Vec<[u32; 4]>, Vec<bool>) {
    let mut quads = draft.mesh.quads.clone();
    let mut gone = vec![false; quads.len()];
    for &(left, right) in pairs {
        let (keep, drop, far) = if left < right {
            (left, right, 1)
        } else {
            (right, left, 0)
        };
        gone[drop as usize / 4] = true;
        let q = keep as usize / 4;
        for i in [keep as usize % 4, (keep as usize + 1) % 4] {
            if let Some(ends) = rungs.get(&draft.mesh.quads[q][i]) {
                quads[q][i] = ends[far];
            }
        }
    }
    let mut kept = gone.iter().map(|gone| !gone);
    quads.retain(|_| kept.next().unwrap_or(true));
    (quads, gone)
}

/// Takes the loop's vertices out and numbers the others anew, in their order.
fn drop_vertices(draft: &mut Draft<'_>, gone: &BTreeMap<u32, [u32; 2]>) {
    let n = draft.mesh.positions.len();
    let stays: Vec<bool> = (0..n as u32).map(|v| !gone.contains_key(&v)).collect();
    let mut new_of_old = vec![0u32; n];
    let mut count = 0;
    for v in 0..n {
        new_of_old[v] = count;
        count += u32::from(stays[v]);
    }
    fn keep<T>(items: &mut Vec<T>, stays: &[bool]) {
        let mut stay = stays.iter();
        items.retain(|_| stay.next().copied().unwrap_or(true));
    }
    keep(&mut draft.mesh.positions, &stays);
    keep(&mut draft.ties, &stays);
    keep(&mut draft.reasons, &stays);
    for v in draft.mesh.quads.iter_mut().flatten() {
        *v = new_of_old[*v as usize];
    }
    draft.runs_of_edge = std::mem::take(&mut draft.runs_of_edge)
        .into_iter()
        .map(|([a, b], runs)| {
            let [a, b] = [a, b].map(|v| new_of_old[v as usize]);
            (key(a, b), runs)
        })
        .collect();
}
