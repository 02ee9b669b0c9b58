//! A loop into a strip.

use std::collections::BTreeMap;

use super::draft::{Draft, key};
use super::fault::EditFault;
use super::{LoopPlace, Played, find, place, walk};

/// Splits the strip at a place by a new loop.
///
/// # Errors
/// [`EditFault`]; the draft is as it was then.
pub(super) fn play(
    draft: &mut Draft<'_>,
    place: LoopPlace,
    share: f64,
) -> Result<Played, EditFault> {
    if !(share > 0.0 && share < 1.0) {
        let (low, high) = (0.0, 1.0);
        return Err(EditFault::Share { share, low, high });
    }
    let topology = draft.mesh.topology();
    let entry = find::strip_entry(draft, place)?;
    let strip = walk::strip(draft, &topology, entry)?;
    let normals = place::normals(draft);
    let mut played = Played::default();
    let mut gained: BTreeMap<usize, i64> = BTreeMap::new();
    let mut middle: BTreeMap<[u32; 2], u32> = BTreeMap::new();
    // Rungs from their right end to their left one: entered ones, and what an open strip leaves by.
    for &entry in &strip.entries {
        let quad = draft.mesh.quads[entry as usize / 4];
        let corner = |i: u32| quad[((entry + i) % 4) as usize];
        for [right, left] in [[corner(1), corner(0)], [corner(2), corner(3)]] {
            if middle.contains_key(&key(right, left)) {
                continue;
            }
            let new = draft.mesh.positions.len() as u32;
            middle.insert(key(right, left), new);
            let placed = place::between(draft, &normals, [right, left], share);
            played.vertices += 1;
            played.unplaced += usize::from(!placed.found);
            draft.ties.push(place::tie_between(draft, right, left));
            draft.mesh.positions.push(placed.at);
            draft.reasons.push(None);
        }
    }
    for (&[a, b], &new) in &middle {
        for run in draft.runs_of_edge.remove(&[a, b]).unwrap_or_default() {
            *gained.entry(run).or_default() += 1;
            for half in [key(a, new), key(b, new)] {
                draft.runs_of_edge.entry(half).or_default().push(run);
            }
        }
    }
    for &entry in &strip.entries {
        let q = entry as usize / 4;
        let quad = draft.mesh.quads[q];
        let at = |i: u32| ((entry + i) % 4) as usize;
        let on = |i: u32, j: u32| middle.get(&key(quad[at(i)], quad[at(j)])).copied();
        let (Some(entered), Some(left_by)) = (on(0, 1), on(2, 3)) else {
            continue;
        };
        // The old quad keeps the left part, the new one has the right.
        let mut right = quad;
        right[at(0)] = entered;
        right[at(3)] = left_by;
        draft.mesh.quads[q][at(1)] = entered;
        draft.mesh.quads[q][at(2)] = left_by;
        draft.mesh.quads.push(right);
        draft.quads.push(draft.quads[q]);
        played.quads += 1;
    }
    played.counts = draft.counts(&gained);
    Ok(played)
}
