//! The order of vertices along rails: none passes its neighbour, for then a quad between them has no
//! width, or is turned over.

use mesh::{DVec3, QuadMesh};

use super::Scene;
use super::rails::Seat;
use crate::fill::Filled;
use crate::layout::{ArcSource, Layout};

/// Most that a vertex takes of the way to its neighbour at once.
const MOST: f64 = 0.5;
/// Share of the way between its two neighbours that a vertex keeps from either: without it, one that
/// is drawn to a crease comes half of the way nearer each round, until nothing is left.
const KEPT: f64 = 0.2;

/// For each vertex, its neighbours along the chain that it lies on: those on both sides of it on its
/// arc, and at a node those of both arcs.
pub(super) fn kin_of(filled: &Filled, layout: &Layout) -> Vec<Vec<u32>> {
    let mut kin: Vec<Vec<u32>> = vec![Vec::new(); filled.mesh.positions.len()];
    for (arc, run) in layout.arcs.iter().zip(&filled.arcs) {
        if !matches!(arc.source, ArcSource::Chain(_)) {
            continue;
        }
        for pair in run.windows(2) {
            for [v, n] in [[pair[0], pair[1]], [pair[1], pair[0]]] {
                if v != n && !kin[v as usize].contains(&n) {
                    kin[v as usize].push(n);
                }
            }
        }
    }
    kin
}

impl Scene {
    /// Signed length from a vertex at `s` on a rail to a neighbour along it, the short way around a
    /// closed one; `None` if the neighbour isn't on the rail.
    pub fn way_to(&self, mesh: &QuadMesh, rail: usize, s: f64, neighbour: u32) -> Option<f64> {
        let there = match self.seats[neighbour as usize] {
            Seat::On { rail: other, s } if other == rail => s,
            Seat::Pinned => self.foot_of(mesh, rail, s, neighbour)?,
            _ => return None,
        };
        Some(self.short_way(rail, there - s))
    }

    /// Where a pinned vertex lies on a rail that passes it or ends there.
    fn foot_of(&self, mesh: &QuadMesh, rail: usize, s: f64, pinned: u32) -> Option<f64> {
        let (curve, own) = (&self.rails[rail], mesh.positions[pinned as usize]);
        let at = self.homes.get(&pinned).copied().unwrap_or(own);
        let on = |foot: &f64| curve.at(*foot).distance(at) <= 1e-6 * self.edge;
        // Near at hand first: a rail may pass the node twice.
        let reach = 2.0 * curve.at(s).distance(at) + 0.1 * self.edge;
        let near = Some(curve.nearest(at, Some((s, reach)))).filter(on);
        near.or_else(|| Some(curve.nearest(at, None)).filter(on))
    }

    pub fn short_way(&self, rail: usize, way: f64) -> f64 {
        let curve = &self.rails[rail];
        if curve.closed {
            let whole = curve.length();
            (way + whole / 2.0).rem_euclid(whole) - whole / 2.0
        } else {
            way
        }
    }

    /// The length along its rail that a vertex may take on its way from `s` to `wanted`, without
    /// coming too near to its neighbours.
    pub fn in_order(&self, mesh: &QuadMesh, v: usize, rail: usize, s: f64, wanted: f64) -> f64 {
        let (mut low, mut high) = (f64::NEG_INFINITY, f64::INFINITY);
        for &n in &self.kin[v] {
            let Some(way) = self.way_to(mesh, rail, s, n) else {
                continue;
            };
            if way < 0.0 {
                low = low.max(way);
            } else {
                high = high.min(way);
            }
        }
        let between = high - low;
        let kept = if between.is_finite() {
            KEPT * between
        } else {
            0.0
        };
        let low = (low + kept).min(0.0).max(MOST * low);
        let high = (high - kept).max(0.0).min(MOST * high);
        s + self.short_way(rail, wanted - s).clamp(low, high)
    }
}

/// A quad whose shortest side is no longer than this share of its longest, or whose area is no
/// larger than this share of that squared, is none.
const FLAT: f64 = 1e-6;
/// Rounds in which vertices of such quads are moved to where their neighbours are on average.
const ROUNDS: usize = 4;

/// Quads without area or with two corners in one place.
fn flat_quads(mesh: &QuadMesh) -> Vec<u32> {
    let flat = |q: &u32| {
        let p = mesh.quads[*q as usize].map(|v| mesh.positions[v as usize]);
        let sides = [0, 1, 2, 3].map(|i| p[i].distance(p[(i + 1) % 4]));
        let longest = sides.into_iter().fold(0.0, f64::max);
        let shortest = sides.into_iter().fold(f64::INFINITY, f64::min);
        let area = (p[2] - p[0]).cross(p[3] - p[1]).length() / 2.0;
        shortest <= FLAT * longest || area <= FLAT * longest * longest
    };
    (0..mesh.quads.len() as u32).filter(flat).collect()
}

/// Opens quads that have come to nothing by moving their free vertices off the sculpt, to where
/// their neighbours are on average; gives a place where that doesn't help, if there is one.
pub(super) fn open(mesh: &mut QuadMesh, scene: &Scene) -> Option<DVec3> {
    for _ in 0..ROUNDS {
        let flat = flat_quads(mesh);
        if flat.is_empty() {
            return None;
        }
        let mut of_flat: Vec<u32> = flat.iter().flat_map(|&q| mesh.quads[q as usize]).collect();
        of_flat.sort_unstable();
        of_flat.dedup();
        for v in of_flat {
            let around = &scene.around[v as usize];
            if scene.seats[v as usize] == Seat::Free && !around.is_empty() {
                let sum: DVec3 = around.iter().map(|&n| mesh.positions[n as usize]).sum();
                mesh.positions[v as usize] = sum / around.len() as f64;
            }
        }
    }
    let first = *flat_quads(mesh).first()?;
    Some(mesh.positions[mesh.quads[first as usize][0] as usize])
}

#[cfg(test)]
mod tests {
    use mesh::TriMesh;

    use super::super::rails::Rail;
    use super::super::tests::bare_scene;
    use super::*;

    /// Two unit squares in a row, their lower sides on a rail along x that ends at the last corner.
    fn row(seats: [Seat; 6]) -> (QuadMesh, Scene) {
        let at = |x: f64, y: f64| DVec3::new(x, y, 0.0);
        let positions = vec![
            at(0.0, 0.0),
            at(1.0, 0.0),
            at(2.0, 0.0),
            at(0.0, 1.0),
            at(1.0, 1.0),
            at(2.0, 1.0),
        ];
        let mesh = QuadMesh {
            positions: positions.clone(),
            quads: vec![[0, 1, 4, 3], [1, 2, 5, 4]],
            groups: vec![],
        };
        let under = TriMesh {
            positions: positions.iter().map(|p| p.as_vec3()).collect(),
            triangles: vec![[0, 2, 5], [0, 5, 3]],
        };
        let mut scene = bare_scene(&mesh, under);
        scene.kin = vec![vec![1], vec![0, 2], vec![1], vec![], vec![], vec![]];
        scene.rails = vec![Rail::new(vec![positions[0], positions[2]], false, false)];
        scene.seats = seats.to_vec();
        (mesh, scene)
    }

    #[test]
    fn no_vertex_passes_its_neighbour_on_a_rail() {
        let on = |s| Seat::On { rail: 0, s };
        for last in [Seat::Pinned, on(2.0)] {
            let free = Seat::Free;
            let (mesh, scene) = row([Seat::Pinned, on(1.0), last, free, free, free]);
            // Half of the way at most, on either side.
            assert_eq!(scene.in_order(&mesh, 1, 0, 1.0, 1.9), 1.5);
            assert_eq!(scene.in_order(&mesh, 1, 0, 1.0, -3.0), 0.5);
            assert_eq!(scene.in_order(&mesh, 1, 0, 1.0, 1.2), 1.2);
        }
    }

    /// A crease that draws a vertex to its neighbour round after round: the two came together until
    /// their quad had no width, and a sound sculpt was refused.
    #[test]
    fn no_vertex_comes_together_with_its_neighbour_over_many_rounds() {
        let on = |s| Seat::On { rail: 0, s };
        let free = Seat::Free;
        let (mut mesh, mut scene) = row([Seat::Pinned, on(1.0), Seat::Pinned, free, free, free]);
        let mut s = 1.0;
        for _ in 0..60 {
            s = scene.in_order(&mesh, 1, 0, s, 2.0);
            scene.seats[1] = on(s);
            mesh.positions[1] = DVec3::new(s, 0.0, 0.0);
        }
        assert!((1.5..=1.6 + 1e-9).contains(&s), "{s}");
        // Once too near, it may leave but come no nearer.
        assert_eq!(scene.in_order(&mesh, 1, 0, 1.9, 2.0), 1.9);
        assert!(scene.in_order(&mesh, 1, 0, 1.9, 1.0) < 1.9);
    }

    #[test]
    fn a_quad_that_has_come_to_nothing_opens_or_is_told() {
        let (free, pinned) = (Seat::Free, Seat::Pinned);
        let (mut mesh, scene) = row([pinned, free, pinned, pinned, pinned, pinned]);
        mesh.positions[1] = mesh.positions[0];
        assert_eq!(flat_quads(&mesh), [0]);
        assert_eq!(open(&mut mesh, &scene), None);
        assert!(flat_quads(&mesh).is_empty());
        let (mut mesh, scene) = row([pinned; 6]);
        mesh.positions[1] = mesh.positions[0];
        assert_eq!(open(&mut mesh, &scene), Some(mesh.positions[0]));
    }
}
