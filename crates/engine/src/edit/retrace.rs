//! A finished surface carried along with guides that moved a little, its topology kept.
//!
//! Vertices of a moved guide go to the nearest point of its new curve. Vertices some edges around
//! it share the way: the displacement is harmonic on the graph of edges, by Jacobi iteration with
//! uniform weights (the mean value property; Tutte 1963 for the weights). All others keep their
//! places to the bit.

use std::collections::{BTreeMap, BTreeSet};

use base::Task;
use mesh::{DVec3, QuadMesh};

use super::draft::{Draft, Tie};
use super::fault::EditError;
use super::place;
use crate::assemble::{Assembled, Parts};
use crate::conform::rails::Rail;
use crate::conform::scaled_jacobian;
use crate::model::{ChainSource, Curve};

/// How far a guide's vertex may move, quad edges: further, other counts would fit better.
const FARTHEST: f64 = 2.0;
/// Edges around a moved guide within which vertices give way.
const REACH: u32 = 6;
/// Rounds of the Jacobi iteration: error falls by cos(π / 2 REACH) a round at least, so to 3 %.
const ROUNDS: usize = 100;
/// A quad that gives way may not come below this scaled Jacobian; one that is near it or below
/// already, not below this share of what it has.
const SQUARE: f64 = 0.4;
const WORSE: f64 = 0.8;
/// How often vertices of squeezed quads may go back half of their way.
const YIELDS: usize = 8;
/// Rounds of going to and fro between two curves to find where they cross.
const CROSSING: usize = 24;

/// A surface carried along.
#[derive(Clone, Debug)]
pub struct Retraced {
    /// The half, placed.
    pub half: QuadMesh,
    /// The whole surface.
    pub whole: Assembled,
    /// Quads of the whole of which no corner moved.
    pub untouched: usize,
}

/// Why a surface wasn't carried along, so that it is to be computed anew.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Anew {
    /// A guide isn't followed as one whole curve.
    InPieces,
    /// A guide moved too far.
    TooFar,
    /// Quads would be squeezed.
    Squeezed,
    /// Held quads would change.
    Held,
}

/// Carries a surface made for `parts.curves` along to `curves`, which are the same curves in the
/// same order, some of them moved.
///
/// # Errors
/// [`EditError::Cancelled`].
pub fn retrace(
    parts: &Parts<'_>,
    whole: &Assembled,
    curves: &[Curve],
    task: &Task,
) -> Result<Result<Retraced, Anew>, EditError> {
    task.report("edit", 0.0)?;
    let mut draft = Draft::new(parts, whole);
    let Some(new) = moved_rails(parts, curves) else {
        return Ok(Err(Anew::InPieces));
    };
    let Some(ways) = ways_of_guides(&draft, &new) else {
        return Ok(Err(Anew::TooFar));
    };
    task.checkpoint()?;
    let old = draft.mesh.positions.clone();
    let before = draft.clone();
    if !carry(&mut draft, &new, ways) {
        return Ok(Err(Anew::Squeezed));
    }
    if draft.held_changed(&before).is_some() {
        return Ok(Err(Anew::Held));
    }
    let stays = |v: &u32| draft.mesh.positions[*v as usize] == old[*v as usize];
    let quads = draft.mesh.quads.iter();
    let untouched = quads.filter(|quad| quad.iter().all(stays)).count();
    let copies = if draft.plane.is_some() { 2 } else { 1 };
    task.report("edit", 1.0)?;
    Ok(Ok(Retraced {
        whole: draft.finish(parts),
        untouched: copies * untouched,
        half: draft.mesh,
    }))
}

/// The new curve of every run whose guide moved; `None` if a run isn't the whole of its curve.
fn moved_rails(parts: &Parts<'_>, curves: &[Curve]) -> Option<BTreeMap<usize, Rail>> {
    let mut chains = vec![0; curves.len()];
    let mut rails = BTreeMap::new();
    for (run, chain) in parts.surface.chains.iter().enumerate() {
        let ChainSource::Curve(c) = chain.source else {
            continue;
        };
        let (old, new) = (parts.curves.get(c)?, curves.get(c)?);
        if old.points == new.points {
            continue;
        }
        chains[c] += 1;
        if chains[c] > 1 || chain.closed != new.closed {
            return None;
        }
        rails.insert(run, Rail::new(new.points.clone(), new.closed, false));
    }
    Some(rails)
}

/// How far each vertex of a moved guide goes; `None` if one goes too far.
fn ways_of_guides(draft: &Draft<'_>, new: &BTreeMap<usize, Rail>) -> Option<BTreeMap<u32, DVec3>> {
    let mut runs_of_vertex: BTreeMap<u32, BTreeSet<usize>> = BTreeMap::new();
    for (edge, runs) in &draft.runs_of_edge {
        for &v in edge {
            runs_of_vertex.entry(v).or_default().extend(runs);
        }
    }
    let mut ways = BTreeMap::new();
    for (v, runs) in runs_of_vertex {
        if runs.iter().all(|run| !new.contains_key(run)) {
            continue;
        }
        let at = draft.mesh.positions[v as usize];
        let there = match runs.iter().copied().collect::<Vec<_>>().as_slice() {
            &[run] => alone(draft, run, new.get(&run)?, v),
            many => crossing(draft, many, new, at),
        };
        if there.distance(at) > FARTHEST * draft.edge {
            return None;
        }
        ways.insert(v, there - at);
    }
    Some(ways)
}

/// Where a vertex of one moved guide goes: as far off the new curve as it was off the old.
fn alone(draft: &Draft<'_>, run: usize, new: &Rail, v: u32) -> DVec3 {
    let at = draft.mesh.positions[v as usize];
    let old = &draft.runs[run].rail;
    let on_old = old.at(old.nearest(at, None));
    let ends = [old.at(0.0), old.at(old.length())];
    let ends = ends.map(|end| !old.closed && end.distance(on_old) <= 1e-6 * draft.edge);
    let s = match (ends, draft.ties[v as usize]) {
        // An end stays an end, whichever way the curve is drawn.
        ([first, last], Tie::Fixed) if first || last => {
            let length = new.length();
            let nearer = new.at(0.0).distance(on_old) <= new.at(length).distance(on_old);
            if nearer { 0.0 } else { length }
        }
        _ => new.nearest(on_old, None),
    };
    new.at(s) + (at - on_old)
}

/// Where a vertex on several runs goes: where they cross, nearest to where it is.
fn crossing(draft: &Draft<'_>, runs: &[usize], new: &BTreeMap<usize, Rail>, at: DVec3) -> DVec3 {
    let mut there = at;
    for _ in 0..CROSSING {
        for &run in runs {
            let rail = new.get(&run).unwrap_or(&draft.runs[run].rail);
            there = rail.at(rail.nearest(there, None));
        }
    }
    // On the plane to the bit, if one of them is the centre line.
    let on_plane = runs.iter().any(|&run| draft.runs[run].rail.on_plane);
    match draft.plane {
        Some(plane) if on_plane => plane.project(there),
        _ => there,
    }
}

/// Moves the guides' vertices and lets those around them give way, less where that would squeeze
/// quads. Whether none is.
fn carry(draft: &mut Draft<'_>, new: &BTreeMap<usize, Rail>, ways: BTreeMap<u32, DVec3>) -> bool {
    let free: Vec<(u32, Vec<u32>)> = zone(draft, &ways)
        .into_iter()
        .filter(|(v, _)| !ways.contains_key(v) && draft.ties[*v as usize] != Tie::Fixed)
        .collect();
    let mut way = ways.clone();
    for _ in 0..ROUNDS {
        let next: Vec<DVec3> = free
            .iter()
            .map(|(_, around)| {
                let sum: DVec3 = around.iter().filter_map(|n| way.get(n)).sum();
                sum / around.len().max(1) as f64
            })
            .collect();
        for ((v, _), to) in free.iter().zip(next) {
            way.insert(*v, to);
        }
    }
    way.retain(|_, by| *by != DVec3::ZERO);
    let before = draft.clone();
    let normals = place::normals(&before);
    for _ in 0..YIELDS {
        for (&v, &by) in &way {
            let wanted = before.mesh.positions[v as usize] + by;
            draft.mesh.positions[v as usize] = match before.ties[v as usize] {
                _ if ways.contains_key(&v) || by == DVec3::ZERO => wanted,
                Tie::Run(run) => place::along_run(&before, run, v, wanted).at,
                Tie::Fixed => continue,
                Tie::Free => {
                    let height = place::height(&before, &normals, v);
                    place::on_sculpt(&before, wanted, normals[v as usize], height).at
                }
            };
        }
        let squeezed = squeezed(&before.mesh, &draft.mesh);
        if squeezed.is_empty() {
            for (&run, rail) in new {
                draft.runs[run].rail = rail.clone();
            }
            return true;
        }
        for v in squeezed {
            if !ways.contains_key(&v)
                && let Some(by) = way.get_mut(&v)
            {
                *by /= 2.0;
            }
        }
    }
    false
}

/// Vertices of quads that are narrower than they may be.
fn squeezed(before: &QuadMesh, after: &QuadMesh) -> BTreeSet<u32> {
    let jacobian = |mesh: &QuadMesh, quad: &[u32; 4]| {
        scaled_jacobian(quad.map(|v| mesh.positions[v as usize]))
    };
    let narrow =
        |quad: &&[u32; 4]| jacobian(after, quad) < SQUARE.min(WORSE * jacobian(before, quad));
    let quads = after.quads.iter().filter(narrow);
    quads.flatten().copied().collect()
}

/// Vertices less than [`REACH`] edges from a moved one, as far as other guides, with their
/// neighbours.
fn zone(draft: &Draft<'_>, ways: &BTreeMap<u32, DVec3>) -> BTreeMap<u32, Vec<u32>> {
    let mut around: Vec<Vec<u32>> = vec![Vec::new(); draft.mesh.positions.len()];
    for &[a, b] in &draft.mesh.topology().edges {
        around[a as usize].push(b);
        around[b as usize].push(a);
    }
    let starts = ways.iter().filter(|(_, by)| **by != DVec3::ZERO);
    let mut rim: Vec<u32> = starts.map(|(&v, _)| v).collect();
    let mut zone: BTreeSet<u32> = rim.iter().copied().collect();
    for _ in 1..REACH {
        let mut further = Vec::new();
        for &n in rim.iter().flat_map(|&v| &around[v as usize]) {
            // What lies beyond another guide isn't touched.
            if zone.insert(n) && draft.ties[n as usize] == Tie::Free {
                further.push(n);
            }
        }
        rim = further;
    }
    zone.into_iter()
        .map(|v| (v, std::mem::take(&mut around[v as usize])))
        .collect()
}
