//! Walks along strips and loops, with their right and left told apart.

use mesh::QuadTopology;

use super::draft::Draft;
use super::fault::EditFault;

/// A quad of a strip and the side by which it is entered: corner `4 * quad + side`.
pub(super) type Entry = u32;

/// A strip in the order in which it is walked.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct StripWalk {
    pub entries: Vec<Entry>,
    pub closed: bool,
}

fn opposite(corner: u32) -> u32 {
    corner - corner % 4 + (corner + 2) % 4
}

fn next(corner: u32) -> u32 {
    corner - corner % 4 + (corner + 1) % 4
}

fn prev(corner: u32) -> u32 {
    corner - corner % 4 + (corner + 3) % 4
}

/// The strip that enters a quad by a side.
///
/// # Errors
/// [`EditFault::StripCrosses`] where it passes one quad twice.
pub(super) fn strip(
    draft: &Draft<'_>,
    topology: &QuadTopology,
    entry: Entry,
) -> Result<StripWalk, EditFault> {
    let mut seen = vec![false; draft.mesh.quads.len()];
    let mut visit = |entry: Entry| {
        let quad = entry as usize / 4;
        if std::mem::replace(&mut seen[quad], true) {
            return Err(EditFault::StripCrosses {
                at: draft.mesh.centre(quad).to_array(),
            });
        }
        Ok(())
    };
    let mut ahead = vec![entry];
    visit(entry)?;
    let mut at = entry;
    while let Some(there) = topology.twin[opposite(at) as usize] {
        if there == entry {
            return Ok(StripWalk {
                entries: ahead,
                closed: true,
            });
        }
        visit(there)?;
        ahead.push(there);
        at = there;
    }
    let mut behind = Vec::new();
    let mut at = entry;
    while let Some(there) = topology.twin[at as usize] {
        at = opposite(there);
        visit(at)?;
        behind.push(at);
    }
    behind.reverse();
    behind.extend(ahead);
    Ok(StripWalk {
        entries: behind,
        closed: false,
    })
}

/// How a loop ends.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum LoopEnd {
    /// Square on the surface's boundary.
    Boundary,
    /// At a vertex through which no edge goes straight on.
    Pole(u32),
}

/// A run of inner edges straight through regular vertices; each as the corner of the quad on its
/// left, which runs along it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct LoopWalk {
    pub corners: Vec<u32>,
    /// Both ends, or none if it closes.
    pub ends: Option<[LoopEnd; 2]>,
}

/// The loop through the inner edge along which a corner runs.
///
/// # Errors
/// [`EditFault::LoopCrosses`] where it passes one vertex twice.
pub(super) fn edge_loop(
    draft: &Draft<'_>,
    topology: &QuadTopology,
    corner: u32,
) -> Result<LoopWalk, EditFault> {
    let mut seen = vec![false; draft.mesh.positions.len()];
    let mut visit = |vertex: u32| {
        if std::mem::replace(&mut seen[vertex as usize], true) {
            return Err(EditFault::LoopCrosses {
                at: draft.mesh.positions[vertex as usize].to_array(),
            });
        }
        Ok(())
    };
    let mut corners = vec![corner];
    visit(from(draft, corner))?;
    let mut at = corner;
    let last = loop {
        let to = from(draft, next(at));
        match straight_on(topology, to, at) {
            Ok(there) if there == corner => {
                return Ok(LoopWalk {
                    corners,
                    ends: None,
                });
            }
            Ok(there) => {
                visit(to)?;
                corners.push(there);
                at = there;
            }
            Err(end) => break end,
        }
    };
    // Backwards: ahead on the other side of the same edges.
    let mut behind = Vec::new();
    let mut back = topology.twin[corner as usize].unwrap_or(corner);
    let first = loop {
        let to = from(draft, next(back));
        if !behind.is_empty() {
            visit(to)?;
        }
        match straight_on(topology, to, back) {
            Ok(there) => {
                behind.extend(topology.twin[there as usize]);
                back = there;
            }
            Err(end) => break end,
        }
    };
    behind.reverse();
    behind.extend(corners);
    Ok(LoopWalk {
        corners: behind,
        ends: Some([first, last]),
    })
}

/// Vertex that a corner's side runs from.
pub(super) fn from(draft: &Draft<'_>, corner: u32) -> u32 {
    draft.mesh.quads[corner as usize / 4][corner as usize % 4]
}

/// The corner that runs on straight through the vertex `to` in which `corner` ends.
fn straight_on(topology: &QuadTopology, to: u32, corner: u32) -> Result<u32, LoopEnd> {
    let valence = topology.valence[to as usize];
    if topology.on_boundary[to as usize] {
        return Err(if valence == 3 {
            LoopEnd::Boundary
        } else {
            LoopEnd::Pole(to)
        });
    }
    if valence != 4 {
        return Err(LoopEnd::Pole(to));
    }
    let across = topology.twin[next(corner) as usize].ok_or(LoopEnd::Pole(to))?;
    Ok(next(across))
}

/// Vertices of the quad on the left of a loop's edge, and of the one on its right: both ends of
/// the edge, and the vertices beside them.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Beside {
    pub edge: [u32; 2],
    pub left: [u32; 2],
    pub right: [u32; 2],
}

/// What lies beside a loop's edge; `None` for one on the boundary.
pub(super) fn beside(draft: &Draft<'_>, topology: &QuadTopology, corner: u32) -> Option<Beside> {
    let other = topology.twin[corner as usize]?;
    Some(Beside {
        edge: [from(draft, corner), from(draft, next(corner))],
        left: [from(draft, prev(corner)), from(draft, opposite(corner))],
        right: [from(draft, opposite(other)), from(draft, prev(other))],
    })
}
