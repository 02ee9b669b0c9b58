//! The sculpt made light, with what every search of guides asks of it.

use std::cmp::Reverse;
use std::collections::BinaryHeap;
use std::sync::Arc;

use base::Task;
use mesh::{DVec3, SurfaceIndex, TriMesh, TriTopology};

use super::SuggestError;
use crate::model::Sculpt;
use crate::symmetry::Half;
use crate::work::{LightHalf, WorkError};

/// Triangles of the light sculpt, whatever the quads' size: enough for the thinnest limb that
/// quads can go around, few enough for a second's work.
const FEWEST: f64 = 12_000.0;
/// And at most so many.
const MOST: f64 = 40_000.0;
/// Wanted edge of the light sculpt over the quads'.
const RATIO: f64 = 0.5;
/// Area of an equilateral triangle over the square of its edge.
const EQUILATERAL: f64 = 0.433;
/// `LightHalf` collapses edges below this share of the length that it is given.
const COLLAPSED: f64 = 0.3;

/// The light sculpt.
pub(super) struct Ground<'a> {
    pub sculpt: &'a Sculpt,
    /// Edge of the quads, model units.
    pub edge: f64,
    /// Mean edge of the light sculpt, model units.
    pub fine: f64,
    pub topology: TriTopology,
    /// Vertices of the light sculpt, model units.
    pub at: Vec<DVec3>,
    /// Closest points on the light sculpt.
    pub index: SurfaceIndex,
    /// The sculpt's diagonal, model units.
    pub diagonal: f64,
}

impl<'a> Ground<'a> {
    /// Makes a sculpt light.
    pub fn new(sculpt: &'a Sculpt, edge: f64, task: &Task) -> Result<Self, SuggestError> {
        let area = sculpt.mesh.area();
        let of = |triangles: f64| (area / (EQUILATERAL * triangles)).sqrt();
        let wanted = (RATIO * edge).clamp(of(MOST), of(FEWEST));
        let whole = Half {
            mesh: sculpt.mesh.as_ref().clone(),
            on_plane: vec![false; sculpt.mesh.positions.len()],
            plane: None,
        };
        // Collapses leave edges from the threshold to about twice as long.
        let light = LightHalf::new(&whole, sculpt, 0.7 * wanted / COLLAPSED, task)?;
        let mesh = light.triangles();
        let topology = TriTopology::new(mesh.positions.len(), &mesh.triangles).map_err(|_| {
            WorkError::NotManifold {
                at: mesh
                    .positions
                    .first()
                    .map_or([0.0; 3], |p| p.as_dvec3().to_array()),
            }
        })?;
        let at: Vec<DVec3> = mesh.positions.iter().map(|p| p.as_dvec3()).collect();
        Ok(Self {
            sculpt,
            edge,
            fine: mean_edge(&topology, &at),
            index: SurfaceIndex::new(Arc::new(mesh)),
            topology,
            at,
            diagonal: sculpt.mesh.diagonal(),
        })
    }

    /// The light sculpt's triangles.
    pub fn mesh(&self) -> &TriMesh {
        self.index.mesh()
    }

    /// Unit normal of the sculpt at its point nearest to `p`.
    pub fn normal(&self, p: DVec3) -> DVec3 {
        let found = self.sculpt.index.closest(p);
        found.map_or(DVec3::ZERO, |c| {
            let normal = self.sculpt.mesh.area_normal(c.triangle as usize);
            normal.normalize_or_zero()
        })
    }

    /// Points of a run on the light sculpt put onto the sculpt: the nearest that faces as the
    /// light one does, so that none lands on another wall.
    pub fn onto_sculpt(&self, points: &[DVec3]) -> Vec<DVec3> {
        let place = |&p: &DVec3| {
            let Some(light) = self.index.closest(p) else {
                return p;
            };
            let facing = self.mesh().area_normal(light.triangle as usize);
            let faces = |t: u32| self.sculpt.mesh.area_normal(t as usize).dot(facing) > 0.0;
            let reach = self.edge.max(self.fine);
            let found = self.sculpt.index.closest_where(light.point, reach, faces);
            found.map_or(light.point, |c| c.point)
        };
        points.iter().map(place).collect()
    }

    /// Share of directions over the surface in which nothing of the sculpt stands, mean over
    /// points: near 0 on an inner wall, near 1 on a bare outside.
    pub fn exposure(&self, points: &[DVec3]) -> f64 {
        const TILTS: [(f64, f64); 5] =
            [(0.0, 0.0), (0.8, 0.0), (-0.8, 0.0), (0.0, 0.8), (0.0, -0.8)];
        let step = (points.len() / 24).max(1);
        let (mut free, mut asked) = (0u32, 0u32);
        for &p in points.iter().step_by(step) {
            let normal = self.normal(p);
            let across = normal.any_orthonormal_vector();
            let along = normal.cross(across);
            for (x, y) in TILTS {
                let way = normal + x * across + y * along;
                let from = p + 2e-3 * self.diagonal * normal;
                asked += 1;
                free += u32::from(self.sculpt.index.ray(from, way, self.diagonal).is_none());
            }
        }
        f64::from(free) / f64::from(asked.max(1))
    }

    /// Light vertices next to a run's points.
    pub fn vertices_at(&self, points: &[DVec3], closed: bool) -> Vec<u32> {
        let mut all = Vec::new();
        for p in mesh::runs::even(points, closed, 0.7 * self.fine) {
            if let Some(found) = self.index.closest(p) {
                all.extend(self.topology.triangles[found.triangle as usize]);
            }
        }
        all.sort_unstable();
        all.dedup();
        all
    }

    /// Lowers `to` to the distance from vertices along edges, as far as `reach` (Dijkstra).
    pub fn spread(&self, from: &[u32], reach: f64, to: &mut [f64]) {
        let mut queue = BinaryHeap::new();
        for &v in from {
            to[v as usize] = 0.0;
            queue.push(Reverse((0u64, v)));
        }
        while let Some(Reverse((bits, v))) = queue.pop() {
            // Bits of a positive float rise with it.
            let so_far = f64::from_bits(bits);
            if so_far > to[v as usize] {
                continue;
            }
            for (u, _) in self.topology.neighbours(v) {
                let total = so_far + self.at[u as usize].distance(self.at[v as usize]);
                if total <= reach && total < to[u as usize] {
                    to[u as usize] = total;
                    queue.push(Reverse((total.to_bits(), u)));
                }
            }
        }
    }

    /// Vertices of each boundary loop.
    pub fn boundaries(&self) -> Vec<Vec<u32>> {
        crate::symmetry::boundary_loops(self.mesh())
    }
}

fn mean_edge(topology: &TriTopology, at: &[DVec3]) -> f64 {
    let count = topology.edge_count();
    let sum: f64 = (0..count as u32)
        .map(|e| {
            let [a, b] = topology.ends(e).map(|v| at[v as usize]);
            a.distance(b)
        })
        .sum();
    sum / count.max(1) as f64
}
