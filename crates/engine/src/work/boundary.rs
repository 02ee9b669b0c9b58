//! Rails along the boundary of the half: openings that follow the sculpt's own boundary,
//! the cut along the plane, and the rest.

use super::edit::EditMesh;
use super::rail::Rail;
use crate::guides::GuideCurves;
use crate::model::ChainSource;
use base::Tolerances;
use mesh::DVec3;

/// Puts every boundary edge on a rail.
pub(super) fn tag(
    mesh: &mut EditMesh,
    plane_height: impl Fn(DVec3) -> Option<f64>,
    curves: &GuideCurves,
    diagonal: f64,
) -> Vec<Rail> {
    let tolerance = Tolerances::of_diagonal(diagonal).plane;
    let on_plane = |p: DVec3| plane_height(p).is_some_and(|h| h.abs() <= tolerance);
    let named: Vec<(ChainSource, Rail)> = (0..curves.curves.len())
        .filter(|&i| curves.on_boundary.get(i).copied().unwrap_or(false))
        .filter_map(|i| {
            let curve = &curves.curves[i];
            let source = ChainSource::Curve(i);
            Rail::new(source, curve.closed, &curve.points).map(|rail| (source, rail))
        })
        .collect();
    let source_of = |a: DVec3, b: DVec3| {
        if on_plane(a) && on_plane(b) {
            return ChainSource::Plane;
        }
        let middle = (a + b) / 2.0;
        let slack = 10.0 * tolerance;
        let follows = |rail: &Rail| {
            [middle, a, b]
                .iter()
                .all(|&p| rail.nearest(p).distance <= slack)
        };
        named
            .iter()
            .find(|(_, rail)| follows(rail))
            .map_or(ChainSource::Boundary, |&(source, _)| source)
    };
    let mut seen = vec![false; mesh.twin.len()];
    let mut rails = Vec::new();
    for h in 0..mesh.twin.len() as u32 {
        if mesh.twin_of(h).is_some() || !mesh.alive((h / 3) as usize) || seen[h as usize] {
            continue;
        }
        let mut edges = Vec::new();
        let mut at = h;
        while !seen[at as usize] {
            seen[at as usize] = true;
            edges.push(at);
            at = mesh.out[mesh.to(at) as usize];
        }
        let sources: Vec<ChainSource> = edges
            .iter()
            .map(|&e| {
                source_of(
                    mesh.pos[mesh.from(e) as usize],
                    mesh.pos[mesh.to(e) as usize],
                )
            })
            .collect();
        tag_loop(mesh, &edges, &sources, &mut rails);
    }
    rails
}

/// Parts one boundary loop into runs of one source.
fn tag_loop(mesh: &mut EditMesh, edges: &[u32], sources: &[ChainSource], rails: &mut Vec<Rail>) {
    let count = edges.len();
    let change = (0..count).find(|&i| sources[i] != sources[(i + count - 1) % count]);
    let Some(first) = change else {
        add_run(mesh, edges, sources[0], true, rails);
        return;
    };
    let turned: Vec<(u32, ChainSource)> = (0..count)
        .map(|i| (edges[(first + i) % count], sources[(first + i) % count]))
        .collect();
    for run in turned.chunk_by(|a, b| a.1 == b.1) {
        let edges: Vec<u32> = run.iter().map(|&(e, _)| e).collect();
        add_run(mesh, &edges, run[0].1, false, rails);
    }
}

fn add_run(
    mesh: &mut EditMesh,
    edges: &[u32],
    source: ChainSource,
    closed: bool,
    rails: &mut Vec<Rail>,
) {
    let mut points: Vec<DVec3> = edges
        .iter()
        .map(|&e| mesh.pos[mesh.from(e) as usize])
        .collect();
    if !closed && let Some(&last) = edges.last() {
        points.push(mesh.pos[mesh.to(last) as usize]);
    }
    let Some(rail) = Rail::new(source, closed, &points) else {
        return;
    };
    let id = rails.len() as u32;
    let mut param = 0.0;
    for &e in edges {
        let (a, b) = (mesh.from(e), mesh.to(e));
        let end = param + mesh.length(e);
        mesh.tag_edge(e, id, [a, b], [param, end]);
        param = end;
    }
    rails.push(rail);
}
