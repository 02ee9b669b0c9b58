//! Elements, defects and valences.

use std::collections::BTreeMap;

use super::measures::{Counts, PoleMeasures};
use super::surface::Surface;

/// Numbers of elements and defects, with the elements at fault.
pub(super) struct Elements {
    pub counts: Counts,
    pub poles: PoleMeasures,
    /// Faces with fewer than four different corners.
    pub broken_faces: Vec<u32>,
    pub unused: Vec<u32>,
    /// Vertices with more than one fan.
    pub pinched: Vec<u32>,
    /// Edges with more than two faces.
    pub heavy: Vec<u32>,
    /// Edges whose faces disagree.
    pub clashing: Vec<u32>,
}

/// A forest of disjoint sets over indices.
struct Sets(Vec<u32>);

impl Sets {
    fn new(size: usize) -> Self {
        Self((0..size as u32).collect())
    }

    fn root(&mut self, mut i: u32) -> u32 {
        while self.0[i as usize] != i {
            let up = self.0[self.0[i as usize] as usize];
            self.0[i as usize] = up;
            i = up;
        }
        i
    }

    fn join(&mut self, i: u32, j: u32) {
        let (a, b) = (self.root(i), self.root(j));
        self.0[a.max(b) as usize] = a.min(b);
    }

    /// How many sets the given indices are in.
    fn count(&mut self, of: impl Iterator<Item = u32>) -> usize {
        let mut roots: Vec<u32> = of.map(|i| self.root(i)).collect();
        roots.sort_unstable();
        roots.dedup();
        roots.len()
    }
}

pub(super) fn measure(surface: &Surface) -> Elements {
    let topology = &surface.topology;
    let quads = &surface.mesh.quads;
    let vertices = 0..surface.mesh.positions.len() as u32;
    let is_broken = |&q: &u32| {
        let mut corners = quads[q as usize];
        corners.sort_unstable();
        corners.windows(2).any(|w| w[0] == w[1])
    };
    let broken_faces: Vec<u32> = (0..quads.len() as u32).filter(is_broken).collect();
    let unused: Vec<u32> = vertices
        .clone()
        .filter(|&v| topology.valence[v as usize] == 0)
        .collect();
    let edges = 0..topology.edges.len() as u32;
    let heavy: Vec<u32> = edges
        .filter(|&e| topology.face_count[e as usize] > 2)
        .collect();
    let pinched = pinched_vertices(surface);
    let clashing = clashing_edges(surface);
    let mut pieces = Sets::new(surface.mesh.positions.len());
    let mut rims = Sets::new(surface.mesh.positions.len());
    for (e, &[a, b]) in topology.edges.iter().enumerate() {
        pieces.join(a, b);
        if topology.face_count[e] == 1 {
            rims.join(a, b);
        }
    }
    let used = vertices.filter(|&v| topology.valence[v as usize] > 0);
    let on_rim = surface.boundary_edges().map(|e| topology.edges[e][0]);
    let counts = Counts {
        vertices: surface.mesh.positions.len(),
        faces: quads.len(),
        quad_share: 1.0 - broken_faces.len() as f64 / quads.len() as f64,
        unused_vertices: unused.len(),
        nonmanifold_edges: heavy.len(),
        nonmanifold_vertices: pinched.len(),
        inconsistent_edges: clashing.len(),
        components: pieces.count(used),
        euler: topology.euler_characteristic(),
        boundary_loops: rims.count(on_rim),
    };
    Elements {
        poles: poles(surface, counts.euler),
        counts,
        broken_faces,
        unused,
        pinched,
        heavy,
        clashing,
    }
}

/// Corners, sorted by the edge that they start.
fn corners_by_edge(surface: &Surface) -> Vec<(u32, u32)> {
    let of_corner = surface.topology.edge_of_corner.iter();
    let mut corners: Vec<(u32, u32)> = of_corner.zip(0..).map(|(&e, c)| (e, c)).collect();
    corners.sort_unstable();
    corners
}

/// Vertices whose faces don't hang together through edges at them.
fn pinched_vertices(surface: &Surface) -> Vec<u32> {
    let quads = &surface.mesh.quads;
    let vertex = |corner: u32| quads[corner as usize / 4][corner as usize % 4];
    let next = |corner: u32| corner - corner % 4 + (corner + 1) % 4;
    let mut fans = Sets::new(4 * quads.len());
    for run in corners_by_edge(surface).chunk_by(|x, y| x.0 == y.0) {
        for pair in run.windows(2) {
            // The ends of each side, the lower vertex first.
            let ends = [pair[0].1, pair[1].1].map(|c| {
                let n = next(c);
                if vertex(c) < vertex(n) {
                    [c, n]
                } else {
                    [n, c]
                }
            });
            fans.join(ends[0][0], ends[1][0]);
            fans.join(ends[0][1], ends[1][1]);
        }
    }
    let mut fan_of: Vec<(u32, u32)> = (0..4 * quads.len() as u32)
        .map(|corner| (vertex(corner), fans.root(corner)))
        .collect();
    fan_of.sort_unstable();
    fan_of.dedup();
    fan_of
        .chunk_by(|x, y| x.0 == y.0)
        .filter(|fans| fans.len() > 1)
        .map(|fans| fans[0].0)
        .collect()
}

fn clashing_edges(surface: &Surface) -> Vec<u32> {
    let quads = &surface.mesh.quads;
    let vertex = |corner: u32| quads[corner as usize / 4][corner as usize % 4];
    let corners = corners_by_edge(surface);
    let runs = corners.chunk_by(|x, y| x.0 == y.0);
    runs.filter(|run| matches!(run, [(_, g), (_, h)] if vertex(*g) == vertex(*h)))
        .map(|run| run[0].0)
        .collect()
}

fn poles(surface: &Surface, euler: i64) -> PoleMeasures {
    let topology = &surface.topology;
    let mut by_valence: BTreeMap<u32, usize> = BTreeMap::new();
    let mut found = PoleMeasures::default();
    let mut sum = 0i64;
    for (&valence, &on_boundary) in topology.valence.iter().zip(&topology.on_boundary) {
        if valence == 0 {
            continue;
        }
        if on_boundary {
            sum += 3 - i64::from(valence);
            found.corners += usize::from(valence == 2);
            found.boundary_other += usize::from(valence != 2 && valence != 3);
        } else {
            sum += 4 - i64::from(valence);
            *by_valence.entry(valence).or_default() += 1;
        }
    }
    let count = |keep: fn(u32) -> bool| by_valence.iter().filter(|e| keep(*e.0)).map(|e| e.1).sum();
    found.poles = count(|v| v != 4);
    found.poles_over_5 = count(|v| v > 5);
    found.valence_2 = count(|v| v == 2);
    found.valence_identity_residual = (sum - 4 * euler).unsigned_abs();
    found.interior_valences = by_valence.into_iter().collect();
    found
}
