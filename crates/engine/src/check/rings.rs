//! The closed cycle of edges along a ring or a closed opening.

use super::guides::Track;
use super::space::mean;
use super::surface::Surface;

/// Half widths of the bands around the guide that are searched, widest first, edges.
pub(super) const BANDS: [f64; 4] = [0.35, 0.25, 0.15, 0.08];
/// An edge runs along the guide if it turns off by no more than this, deg.
const TURN_DEG: f64 = 45.0;
/// 95 % of the guide must lie this near its cycle, edges.
pub(super) const COVER: f64 = 0.5;

/// A closed cycle of edges.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Cycle {
    /// Edges, rising.
    pub edges: Vec<u32>,
    /// Vertices, rising; as many as edges.
    pub vertices: Vec<u32>,
}

/// The nearest simple cycle that covers the guide, if there is one.
pub(super) fn find(track: &Track, surface: &Surface) -> Option<Cycle> {
    let offsets: Vec<f64> = surface
        .mesh
        .positions
        .iter()
        .map(|&p| track.line.distance(p) / surface.mean_edge)
        .collect();
    let runs_along = directions(track, surface, &offsets);
    BANDS.iter().find_map(|&band| {
        let near = runs_along.iter().copied().filter(|&e| {
            let ends = surface.topology.edges[e as usize];
            ends.iter().all(|&v| offsets[v as usize] <= band)
        });
        let covering = simple_cycles(surface, near.collect())
            .into_iter()
            .filter(|cycle| {
                let edges = surface.some_edges(cycle.edges.iter().map(|&e| e as usize));
                track.is_covered(&edges, COVER * surface.mean_edge)
            });
        let offset = |cycle: &Cycle| {
            let of = |&v: &u32| offsets[v as usize];
            mean(&cycle.vertices.iter().map(of).collect::<Vec<_>>())
        };
        covering.min_by(|x, y| offset(x).total_cmp(&offset(y)))
    })
}

/// Edges near the guide that run along it, rising: those of an open guide's run, if it has one.
pub(super) fn beside(track: &Track, surface: &Surface) -> Vec<u32> {
    let positions = surface.mesh.positions.iter();
    let offset = |&p: &mesh::DVec3| track.line.distance(p) / surface.mean_edge;
    directions(track, surface, &positions.map(offset).collect::<Vec<f64>>())
}

/// Edges near the guide that run along it, rising.
fn directions(track: &Track, surface: &Surface, offsets: &[f64]) -> Vec<u32> {
    let is_near = |&e: &usize| {
        let ends = surface.topology.edges[e];
        ends.iter().all(|&v| offsets[v as usize] <= BANDS[0])
    };
    let runs_along = |&e: &usize| {
        let [from, to] = surface.edges.ends[e];
        let middle = (from + to) / 2.0;
        let away: Vec<f64> = track.samples.iter().map(|s| s.distance(middle)).collect();
        // At a sharp corner the nearest sample may be on the other leg.
        let reach =
            away.iter().copied().fold(f64::INFINITY, f64::min) + BANDS[0] * surface.mean_edge;
        (0..away.len()).filter(|&i| away[i] <= reach).any(|i| {
            let turn = super::space::line_angle_deg(surface.direction(e), track.tangents[i]);
            turn <= TURN_DEG
        })
    };
    (0..surface.lengths.len())
        .filter(is_near)
        .filter(runs_along)
        .map(|e| e as u32)
        .collect()
}

/// Takes dangling ends off, then gives every connected rest in which each vertex has
/// two edges.
fn simple_cycles(surface: &Surface, mut chosen: Vec<u32>) -> Vec<Cycle> {
    let ends = |e: u32| surface.topology.edges[e as usize];
    let mut degree = vec![0u32; surface.mesh.positions.len()];
    for v in chosen.iter().flat_map(|&e| ends(e)) {
        degree[v as usize] += 1;
    }
    loop {
        let before = chosen.len();
        chosen.retain(|&e| {
            let [a, b] = ends(e).map(|v| v as usize);
            let stays = degree[a] > 1 && degree[b] > 1;
            if !stays {
                degree[a] -= 1;
                degree[b] -= 1;
            }
            stays
        });
        if chosen.len() == before {
            break;
        }
    }
    let mut at: Vec<(u32, u32)> = chosen
        .iter()
        .flat_map(|&e| ends(e).map(|v| (v, e)))
        .collect();
    at.sort_unstable();
    let edges_at = |v: u32| {
        let from = at.partition_point(|x| x.0 < v);
        at[from..].iter().take_while(move |x| x.0 == v).map(|x| x.1)
    };
    let mut seen = vec![false; surface.lengths.len()];
    let mut cycles = Vec::new();
    for &start in &chosen {
        if std::mem::replace(&mut seen[start as usize], true) {
            continue;
        }
        let mut edges = vec![start];
        let mut done = 0;
        while let Some(&edge) = edges.get(done) {
            done += 1;
            for next in ends(edge).into_iter().flat_map(edges_at) {
                if !std::mem::replace(&mut seen[next as usize], true) {
                    edges.push(next);
                }
            }
        }
        let mut vertices: Vec<u32> = edges.iter().flat_map(|&e| ends(e)).collect();
        vertices.sort_unstable();
        vertices.dedup();
        if vertices.iter().all(|&v| degree[v as usize] == 2) {
            edges.sort_unstable();
            cycles.push(Cycle { edges, vertices });
        }
    }
    cycles
}
