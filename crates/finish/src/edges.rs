//! Hard edges: where a garment is to look sharp, by angle, along guides and at trims.

use base::{Finding, Findings, Level};
use mesh::{DVec3, QuadMesh};

/// What makes edges hard.
#[derive(Clone, Debug, Default)]
pub struct Asked {
    /// Edges whose faces turn by more than this are hard, degrees.
    pub angle_deg: f64,
    /// Runs of vertices along guides that are hard, and whether the last is joined to the first.
    pub runs: Vec<(Vec<u32>, bool)>,
    /// Edges of which a trim says whether they are hard, whatever their angle.
    pub trims: Vec<(bool, Vec<[u32; 2]>)>,
}

/// Hard edges.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Hard {
    /// Both ends, lower first, sorted.
    pub edges: Vec<[u32; 2]>,
    /// What the artist is told.
    pub findings: Findings,
}

/// Finds the hard edges of a surface.
pub fn run(surface: &QuadMesh, asked: &Asked) -> Hard {
    let topology = surface.topology();
    let facing = |quad: usize| {
        let [a, b, c, d] = surface.quads[quad].map(|v| surface.positions[v as usize]);
        (c - a).cross(d - b).normalize_or_zero()
    };
    let normals: Vec<DVec3> = (0..surface.quads.len()).map(facing).collect();
    let sorted = |mut edges: Vec<[u32; 2]>| {
        edges.iter_mut().for_each(|e| e.sort_unstable());
        edges.sort_unstable();
        edges.dedup();
        edges
    };
    let of_trims = |wanted: bool| {
        let all = asked.trims.iter().filter(|(hard, _)| *hard == wanted);
        sorted(all.flat_map(|(_, edges)| edges).copied().collect())
    };
    let (hard_trims, soft_trims) = (of_trims(true), of_trims(false));
    let limit = asked.angle_deg.to_radians().cos();
    let turns = |(corner, twin): (usize, &Option<u32>)| {
        let twin = (*twin)? as usize;
        let edge = topology.edges[topology.edge_of_corner[corner] as usize];
        let sharp = normals[corner / 4].dot(normals[twin / 4]) < limit;
        (corner < twin && sharp && soft_trims.binary_search(&edge).is_err()).then_some(edge)
    };
    let by_angle = sorted(topology.twin.iter().enumerate().filter_map(turns).collect());
    let pieces = |(run, closed): &(Vec<u32>, bool)| -> Vec<[u32; 2]> {
        let pieces = mesh::runs::pieces(run.len(), *closed);
        pieces.map(|(i, j)| [run[i], run[j]]).collect()
    };
    // The surface's end has one side only.
    let within = |edge: &[u32; 2]| {
        let found = topology.edge_between(edge[0], edge[1]);
        found.is_some_and(|e| topology.face_count[e as usize] == 2)
    };
    let mut by_guide = sorted(asked.runs.iter().flat_map(pieces).collect());
    by_guide.retain(within);
    let counts = [by_angle.len(), by_guide.len(), hard_trims.len()];
    let edges = sorted([by_angle, by_guide, hard_trims].concat());
    let sentence = format!(
        "{} of {} edges are hard: {} by their angle of more than {}°, {} along guides, {} at trims.",
        edges.len(),
        topology.edges.len(),
        counts[0],
        asked.angle_deg,
        counts[1],
        counts[2]
    );
    let mut findings = Findings::default();
    let finding = Finding::new("hard-edges", Level::Note, sentence);
    findings.push(finding.measured(edges.len() as f64, None));
    Hard { edges, findings }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::trims::tests::tube;

    /// An n-sided prism's faces turn by 360° / n at its edges (elementary geometry).
    #[test]
    fn edges_of_a_prism_are_hard_below_its_angle() {
        let surface = tube(8, 4, 1.0, |_, _| 5.0);
        let count = |angle_deg: f64| {
            let asked = Asked {
                angle_deg,
                ..Asked::default()
            };
            run(&surface, &asked).edges.len()
        };
        assert_eq!((count(44.0), count(46.0)), (4 * 8, 0));
    }

    #[test]
    fn guides_and_trims_stand_above_the_angle() {
        let surface = tube(8, 4, 1.0, |_, _| 5.0);
        let ring: Vec<u32> = (16..24).collect();
        let end: Vec<u32> = (0..8).collect();
        let side: Vec<[u32; 2]> = (0..4).map(|j| [8 * j, 8 * j + 8]).collect();
        let asked = |angle_deg: f64, hard: bool| Asked {
            angle_deg,
            runs: vec![(ring.clone(), true), (end.clone(), true)],
            trims: vec![(hard, side.clone())],
        };
        // The opening's own edges have nothing on the other side.
        assert_eq!(run(&surface, &asked(60.0, true)).edges.len(), 8 + 4);
        assert_eq!(run(&surface, &asked(40.0, false)).edges.len(), 32 - 4 + 8);
    }
}
