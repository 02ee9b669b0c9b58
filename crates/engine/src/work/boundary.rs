//! Rails along the boundary of the half: openings that follow the sculpt's own boundary,
//! the cut along the plane, and the rest.

use super::edit::EditMesh;
use super::rail::Rail;
use crate::guides::GuideCurves;
use crate::model::{ChainSource, Curve};
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
    let mut named: Vec<Named> = (0..curves.curves.len())
        .filter(|&i| curves.on_boundary.get(i).copied().unwrap_or(false))
        .filter_map(|i| Named::new(i, &curves.curves[i], 10.0 * tolerance))
        .collect();
    let mut source_of = |a: DVec3, b: DVec3| {
        if on_plane(a) && on_plane(b) {
            return ChainSource::Plane;
        }
        let follows = |one: &mut Named| [a, b, (a + b) / 2.0].iter().all(|&p| one.has(p));
        let found = named
            .iter_mut()
            .find_map(|one| follows(one).then_some(one.rail.source));
        found.unwrap_or(ChainSource::Boundary)
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

/// A curve that is a piece of the sculpt's boundary.
struct Named {
    rail: Rail,
    low: DVec3,
    high: DVec3,
    slack: f64,
    /// Where the last point was found: the next one lies close by.
    last: f64,
}

impl Named {
    fn new(index: usize, curve: &Curve, slack: f64) -> Option<Self> {
        let rail = Rail::new(ChainSource::Curve(index), curve.closed, &curve.points)?;
        let low = curve.points.iter().copied().reduce(DVec3::min)?;
        let high = curve.points.iter().copied().reduce(DVec3::max)?;
        Some(Self {
            rail,
            low: low - slack,
            high: high + slack,
            slack,
            last: 0.0,
        })
    }

    /// Whether a point is on the curve.
    fn has(&mut self, p: DVec3) -> bool {
        if p.cmplt(self.low).any() || p.cmpgt(self.high).any() {
            return false;
        }
        let window = 0.02 * self.rail.length();
        let mut found = self
            .rail
            .nearest_between(p, self.last - window, self.last + window);
        if found.distance > self.slack {
            found = self.rail.nearest(p);
        }
        if found.distance <= self.slack {
            self.last = self.rail.normalised(found.param);
        }
        found.distance <= self.slack
    }
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
