//! The run of the finished surface's vertices along a guide, in order.

use std::collections::BTreeMap;

use mesh::QuadMesh;

use super::CheckError;
use super::guides::Track;
use super::rings;
use super::surface::Surface;
use crate::model::{Guide, GuideKind};

/// No vertex of an opening's boundary is further from its guide, edges.
const STRAY: f64 = 0.75;

/// Vertices in order, each joined to the next by an edge.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct GuideRun {
    /// Indices into the surface's vertices.
    pub vertices: Vec<u32>,
    /// Whether the last is joined to the first.
    pub closed: bool,
}

/// Finds the run of edges along a guide, from the surface and the drawn points alone; `None` where
/// there is no whole one.
///
/// # Errors
/// [`CheckError`] for an empty or damaged surface, or a guide that is no curve.
pub fn run_along(surface: &QuadMesh, guide: &Guide) -> Result<Option<GuideRun>, CheckError> {
    let surface = Surface::new(surface)?;
    let track = Track::new(guide, surface.mean_edge)?;
    let (edges, closed) = if guide.closed {
        match rings::find(&track, &surface) {
            Some(cycle) => (cycle.edges, true),
            None => {
                let vertices = boundary(&track, &surface);
                return Ok(vertices.map(|vertices| GuideRun {
                    vertices,
                    closed: true,
                }));
            }
        }
    } else {
        (rings::beside(&track, &surface), false)
    };
    let mut beside: BTreeMap<u32, Vec<u32>> = BTreeMap::new();
    for e in edges {
        let [from, to] = surface.topology.edges[e as usize];
        beside.entry(from).or_default().push(to);
        beside.entry(to).or_default().push(from);
    }
    let vertices = match (closed, guide.points.first(), guide.points.last()) {
        (true, ..) => around(&beside),
        (false, Some(&from), Some(&to)) => {
            let near = |p| {
                let away = |v: &u32| surface.at(*v).distance(p);
                beside
                    .keys()
                    .copied()
                    .min_by(|a, b| away(a).total_cmp(&away(b)))
            };
            match (near(from), near(to)) {
                (Some(a), Some(b)) => between(&beside, a, b),
                _ => Vec::new(),
            }
        }
        _ => Vec::new(),
    };
    Ok((vertices.len() > 1).then_some(GuideRun { vertices, closed }))
}

/// The boundary loop that an opening's guide covers and that strays nowhere from it: where the guide
/// is drawn with jitter, edges may turn off from it and yet be its.
fn boundary(track: &Track, surface: &Surface) -> Option<Vec<u32>> {
    if track.guide.kind != GuideKind::Opening {
        return None;
    }
    let near = |&v: &u32| track.line.distance(surface.at(v)) <= STRAY * surface.mean_edge;
    surface.topology.boundary_loops().into_iter().find(|run| {
        let edges = (0..run.len()).filter_map(|i| {
            let edge = surface
                .topology
                .edge_between(run[i], run[(i + 1) % run.len()]);
            edge.map(|e| e as usize)
        });
        run.iter().all(near)
            && track.is_covered(&surface.some_edges(edges), rings::COVER * surface.mean_edge)
    })
}

/// A simple cycle from its lowest vertex towards that one's lower neighbour.
fn around(beside: &BTreeMap<u32, Vec<u32>>) -> Vec<u32> {
    let Some((&start, next)) = beside.iter().next() else {
        return Vec::new();
    };
    let mut run = vec![start];
    let mut at = next.iter().copied().min();
    while let Some(v) = at.filter(|&v| v != start && run.len() <= beside.len()) {
        let before = run[run.len() - 1];
        run.push(v);
        at = beside
            .get(&v)
            .and_then(|n| n.iter().copied().find(|&n| n != before));
    }
    run
}

/// The path with the fewest edges; of several the one that lower vertices lead.
fn between(beside: &BTreeMap<u32, Vec<u32>>, from: u32, to: u32) -> Vec<u32> {
    let mut came: BTreeMap<u32, u32> = BTreeMap::from([(from, from)]);
    let mut reached = vec![from];
    let mut done = 0;
    while let Some(&v) = reached.get(done) {
        done += 1;
        for &n in beside.get(&v).into_iter().flatten() {
            came.entry(n).or_insert_with(|| {
                reached.push(n);
                v
            });
        }
    }
    let mut run = vec![to];
    while let Some(&v) = came.get(&run[run.len() - 1]) {
        if v == run[run.len() - 1] {
            run.reverse();
            return run;
        }
        run.push(v);
    }
    Vec::new()
}

#[cfg(test)]
mod tests {
    use super::*;
    use mesh::DVec3;

    /// A sheet of 4 × 3 unit quads in the xy plane; vertex 5 y + x.
    fn sheet() -> QuadMesh {
        let at = |x: u32, y: u32| 5 * y + x;
        QuadMesh {
            positions: (0..4)
                .flat_map(|y| (0..5).map(move |x| DVec3::new(f64::from(x), f64::from(y), 0.0)))
                .collect(),
            quads: (0..3)
                .flat_map(|y| (0..4).map(move |x| (x, y)))
                .map(|(x, y)| [at(x, y), at(x + 1, y), at(x + 1, y + 1), at(x, y + 1)])
                .collect(),
            groups: vec![],
        }
    }

    fn guide(closed: bool, points: &[[f64; 2]]) -> Guide {
        Guide {
            name: "edge".to_owned(),
            kind: GuideKind::Opening,
            closed,
            count: None,
            points: points.iter().map(|p| DVec3::new(p[0], p[1], 0.0)).collect(),
        }
    }

    #[test]
    fn runs_are_found_in_order() {
        let around = guide(true, &[[0.0, 0.0], [4.0, 0.0], [4.0, 3.0], [0.0, 3.0]]);
        let run = run_along(&sheet(), &around).unwrap().unwrap();
        assert!(run.closed);
        assert_eq!(
            run.vertices,
            [0, 1, 2, 3, 4, 9, 14, 19, 18, 17, 16, 15, 10, 5]
        );
        let side = guide(false, &[[4.0, 0.05], [2.0, -0.05], [0.0, 0.0]]);
        let run = run_along(&sheet(), &side).unwrap().unwrap();
        assert_eq!((run.vertices, run.closed), (vec![4, 3, 2, 1, 0], false));
        let nowhere = guide(false, &[[0.0, 0.5], [4.0, 0.5]]);
        assert_eq!(run_along(&sheet(), &nowhere).unwrap(), None);
    }
}
