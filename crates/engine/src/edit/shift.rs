//! Loops and vertices moved over the sculpt.

use std::collections::BTreeMap;

use mesh::DVec3;

use super::draft::{Draft, Tie};
use super::fault::EditFault;
use super::{LoopPlace, Played, find, place, walk};

/// Rounds in which neighbours of a moved vertex are evened out, and the share of the way to the
/// mean of its neighbours that a vertex takes in each.
const ROUNDS: u32 = 8;
const STEP: f64 = 0.5;

/// Slides the loop at a place towards its left (above 0) or right neighbour.
///
/// # Errors
/// [`EditFault`]; the draft is as it was then.
pub(super) fn slide(
    draft: &mut Draft<'_>,
    place: LoopPlace,
    share: f64,
) -> Result<Played, EditFault> {
    if !(share > -1.0 && share < 1.0) {
        let (low, high) = (-1.0, 1.0);
        return Err(EditFault::Share { share, low, high });
    }
    let topology = draft.mesh.topology();
    let corner = find::loop_corner(draft, &topology, place)?;
    let carries = |names| EditFault::Carries { names };
    if topology.twin[corner as usize].is_none() {
        let runs = draft.runs_at(walk::from(draft, corner));
        return Err(carries(match draft.names(runs) {
            names if names.is_empty() => "the surface's edge".to_owned(),
            names => names,
        }));
    }
    let found = walk::edge_loop(draft, &topology, corner)?;
    let mut towards: BTreeMap<u32, u32> = BTreeMap::new();
    for &corner in &found.corners {
        let Some(beside) = walk::beside(draft, &topology, corner) else {
            continue;
        };
        let [a, b] = beside.edge;
        let runs = draft.runs_on(a, b);
        if !runs.is_empty() {
            return Err(carries(draft.names(runs.to_vec())));
        }
        let side = if share > 0.0 {
            beside.left
        } else {
            beside.right
        };
        for i in 0..2 {
            towards.insert(beside.edge[i], side[i]);
        }
    }
    // A loop that ends at a pole slides but for the pole.
    for end in found.ends.into_iter().flatten() {
        if let walk::LoopEnd::Pole(v) = end {
            towards.remove(&v);
        }
    }
    let normals = place::normals(draft);
    let mut moved = Vec::with_capacity(towards.len());
    for (&v, &neighbour) in &towards {
        let tied = match draft.ties[v as usize] {
            Tie::Free => false,
            Tie::Run(run) => !draft.runs_on(v, neighbour).contains(&run),
            Tie::Fixed => true,
        };
        if tied {
            return Err(draft.tied(v));
        }
        let placed = place::between(draft, &normals, [v, neighbour], share.abs());
        moved.push((v, placed));
    }
    let unplaced = moved.iter().filter(|(_, p)| !p.found).count();
    for &(v, placed) in &moved {
        draft.mesh.positions[v as usize] = placed.at;
    }
    Ok(Played {
        vertices: moved.len(),
        unplaced,
        ..Played::default()
    })
}

/// Moves the vertex nearest to one point to another, and evens out vertices up to `relax` edges
/// around it.
///
/// # Errors
/// [`EditFault`]; the draft is as it was then.
pub(super) fn shift(
    draft: &mut Draft<'_>,
    from: DVec3,
    to: DVec3,
    relax: u32,
) -> Result<Played, EditFault> {
    let vertex = find::vertex(draft, from)?;
    let normals = place::normals(draft);
    let height = place::height(draft, &normals, vertex);
    let placed = match draft.ties[vertex as usize] {
        Tie::Free => place::on_sculpt(draft, to, normals[vertex as usize], height),
        Tie::Run(run) => place::along_run(draft, run, vertex, to),
        Tie::Fixed => {
            return Err(draft.tied(vertex));
        }
    };
    if !placed.found {
        return Err(EditFault::NoPlace {
            what: "sculpt that faces the vertex's way",
            distance: f64::INFINITY,
            limit: draft.edge,
        });
    }
    draft.mesh.positions[vertex as usize] = placed.at;
    let evened = even_out(draft, vertex, relax);
    Ok(Played {
        vertices: 1 + evened,
        ..Played::default()
    })
}

/// Draws free vertices up to `reach` edges from `centre` towards the mean of their neighbours, over
/// the sculpt. How many.
fn even_out(draft: &mut Draft<'_>, centre: u32, reach: u32) -> usize {
    let mut around: Vec<Vec<u32>> = vec![Vec::new(); draft.mesh.positions.len()];
    for &[a, b] in &draft.mesh.topology().edges {
        around[a as usize].push(b);
        around[b as usize].push(a);
    }
    let mut edges_from: BTreeMap<u32, u32> = BTreeMap::from([(centre, 0)]);
    let mut rim = vec![centre];
    for step in 1..=reach {
        let mut further = Vec::new();
        for n in rim.iter().flat_map(|&v| around[v as usize].iter().copied()) {
            edges_from.entry(n).or_insert_with(|| {
                further.push(n);
                step
            });
        }
        if further.is_empty() {
            break;
        }
        rim = further;
    }
    let free: Vec<u32> = edges_from
        .keys()
        .copied()
        .filter(|&v| v != centre && draft.ties[v as usize] == Tie::Free)
        .collect();
    let normals = place::normals(draft);
    let heights: Vec<f64> = free
        .iter()
        .map(|&v| place::height(draft, &normals, v))
        .collect();
    for _ in 0..ROUNDS {
        let normals = place::normals(draft);
        let old = draft.mesh.positions.clone();
        for (&v, &height) in free.iter().zip(&heights) {
            let near = &around[v as usize];
            let mean =
                near.iter().map(|&n| old[n as usize]).sum::<DVec3>() / near.len().max(1) as f64;
            let wanted = old[v as usize].lerp(mean, STEP);
            let placed = place::on_sculpt(draft, wanted, normals[v as usize], height);
            if placed.found {
                draft.mesh.positions[v as usize] = placed.at;
            }
        }
    }
    free.len()
}
