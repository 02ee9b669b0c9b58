//! Where the two walls of cloth meet: the edges of a sculpt that has a thickness.
//!
//! From a vertex of a wall the way inward soon comes out of the other wall, which faces away; from
//! the rim of cuff or hem it goes on between both. What hangs together by walls is a wall's side; as far as each
//! side is nearest, it grows over the rim, and where two of them meet there runs the edge of the cloth.

use std::collections::{BTreeMap, BinaryHeap};

use base::{Cancelled, Task};
use mesh::{DVec3, TriTopology, runs};
use rayon::prelude::*;

use crate::model::Sculpt;
use crate::queue::Cheapest;

/// Thicker than this many quads, walls have room for quads between them.
const THIN: f64 = 0.5;
/// The way through a wall is at most this many times as long as in the middle of all.
const UNEVEN: f64 = 2.0;
/// How squarely it comes out, a cosine.
const SQUARE: f64 = 0.8;
/// Share of the sculpt that has another wall behind it, if it is cloth.
const CLOTH: f64 = 0.6;
/// Vertices that are asked whether it is.
const ASKED: usize = 2_000;
/// Neighbours on one side face alike, a cosine.
const ALIKE: f64 = 0.5;
/// What is nearer than this to a rim, in quads, doesn't tell what hangs together.
const WELL_INSIDE: f64 = 0.25;
/// A side is at least so many quads large.
const LEAST_SIDE: f64 = 4.0;
/// An edge is at least so many quads long.
const LEAST_EDGE: f64 = 4.0;
/// And the sides face away from each other, a cosine, along this share of it.
const AWAY: (f64, f64) = (-0.3, 0.7);
/// Points of an edge, in quads apart, and rounds in which they are smoothed.
const POINTS: (f64, usize) = (0.25, 8);

/// Closed curves along which both walls of cloth meet, for quads of this edge length (model units).
/// Points lie on the sculpt. None for a sculpt that isn't cloth.
///
/// # Errors
/// That the work was cancelled.
pub fn edges_of_cloth(
    sculpt: &Sculpt,
    edge: f64,
    task: &Task,
) -> Result<Vec<Vec<DVec3>>, Cancelled> {
    let count = sculpt.mesh.positions.len();
    let mut through: Vec<f64> = (0..count)
        .step_by(count / ASKED + 1)
        .filter_map(|v| thickness(sculpt, v, THIN * edge, edge))
        .collect();
    let asked = count.div_ceil(count / ASKED + 1);
    if (through.len() as f64) < CLOTH * asked as f64 || through.is_empty() {
        return Ok(Vec::new());
    }
    through.sort_by(f64::total_cmp);
    let reach = UNEVEN * through[through.len() / 2];
    task.checkpoint()?;
    let wall: Vec<bool> = (0..count)
        .into_par_iter()
        .map(|v| thickness(sculpt, v, reach, edge).is_some())
        .collect();
    task.checkpoint()?;
    // Intake leaves nothing that has none.
    let Ok(topology) = TriTopology::new(count, &sculpt.mesh.triangles) else {
        return Ok(Vec::new());
    };
    let sides = Sides::grown(sculpt, &topology, &wall, edge);
    task.checkpoint()?;
    Ok(sides.meetings(sculpt, edge))
}

/// How far the other wall is behind a vertex; `None` if there is none within `reach`.
fn thickness(sculpt: &Sculpt, v: usize, reach: f64, edge: f64) -> Option<f64> {
    let inward = -sculpt.normals[v].as_dvec3();
    let off = 1e-4 * edge;
    let from = sculpt.mesh.positions[v].as_dvec3() + off * inward;
    let hit = sculpt.index.ray(from, inward, reach)?;
    let facing = sculpt
        .mesh
        .area_normal(hit.triangle as usize)
        .normalize_or_zero();
    (facing.dot(inward) >= SQUARE).then_some(hit.distance + off)
}

/// To which side of the cloth each vertex belongs.
struct Sides {
    /// By vertex; none where nothing of a side hangs together with it.
    side: Vec<Option<u32>>,
    /// By vertex: the nearest vertex of the side's wall.
    wall: Vec<Option<u32>>,
}

impl Sides {
    fn grown(sculpt: &Sculpt, topology: &TriTopology, wall: &[bool], edge: f64) -> Self {
        let mesh = &*sculpt.mesh;
        let count = mesh.positions.len();
        let normal = |v: u32| sculpt.normals[v as usize].as_dvec3();
        // A few vertices of a rim that pass for a wall must not join both sides there.
        let rim = (0..count as u32).filter(|&v| !wall[v as usize]).collect();
        let off = nearest(topology, sculpt, rim, WELL_INSIDE * edge);
        let inside = |v: u32| wall[v as usize] && off[v as usize].is_none();
        let mut parent: Vec<u32> = (0..count as u32).collect();
        for e in 0..topology.edge_count() as u32 {
            let [a, b] = topology.ends(e);
            if inside(a) && inside(b) && normal(a).dot(normal(b)) >= ALIKE {
                let (a, b) = (root(&mut parent, a), root(&mut parent, b));
                parent[a.max(b) as usize] = a.min(b);
            }
        }
        let mut area = vec![0.0; count];
        for (i, t) in mesh.triangles.iter().enumerate() {
            let third = mesh.area_normal(i).length() / 6.0;
            for &v in t {
                area[root(&mut parent, v) as usize] += third;
            }
        }
        let least = LEAST_SIDE * edge * edge;
        let large = |v: u32, parent: &mut [u32]| area[root(parent, v) as usize] >= least;
        let sources = (0..count as u32)
            .filter(|&v| inside(v) && large(v, &mut parent))
            .collect();
        let wall = nearest(topology, sculpt, sources, f64::INFINITY);
        let side = wall
            .iter()
            .map(|w| w.map(|w| root(&mut parent, w)))
            .collect();
        Self { side, wall }
    }

    /// Closed curves between two sides that face away from each other.
    fn meetings(&self, sculpt: &Sculpt, edge: f64) -> Vec<Vec<DVec3>> {
        let mesh = &*sculpt.mesh;
        let at = |v: u32| mesh.positions[v as usize].as_dvec3();
        let facing = |v: u32| {
            let wall = self.wall[v as usize].unwrap_or(v);
            sculpt.normals[wall as usize].as_dvec3()
        };
        // From the middle of an edge between two sides to that of the next one, anticlockwise
        // around the side of the lower number.
        let mut next: BTreeMap<[u32; 2], [u32; 2]> = BTreeMap::new();
        for t in &mesh.triangles {
            let of = t.map(|v| self.side[v as usize]);
            // The corner that is alone.
            let Some(k) =
                (0..3).find(|&k| of[(k + 1) % 3] == of[(k + 2) % 3] && of[k] != of[(k + 1) % 3])
            else {
                continue;
            };
            let (a, b, c) = (t[k], t[(k + 1) % 3], t[(k + 2) % 3]);
            let [into, out] = [[a, b], [a, c]].map(|[x, y]| [x.min(y), x.max(y)]);
            if of[k] < of[(k + 1) % 3] {
                next.insert(out, into);
            } else {
                next.insert(into, out);
            }
        }
        let mut found: Vec<Vec<DVec3>> = Vec::new();
        while let Some((&start, _)) = next.first_key_value() {
            let mut run = vec![start];
            let mut here = next.remove(&start);
            while let Some(edge) = here {
                if edge == start {
                    break;
                }
                run.push(edge);
                here = next.remove(&edge);
            }
            let away = run
                .iter()
                .filter(|e| facing(e[0]).dot(facing(e[1])) <= AWAY.0)
                .count();
            if here != Some(start) || (away as f64) < AWAY.1 * run.len() as f64 {
                continue;
            }
            let points: Vec<DVec3> = run.iter().map(|e| (at(e[0]) + at(e[1])) / 2.0).collect();
            if runs::length(&points, true) < LEAST_EDGE * edge {
                continue;
            }
            let mut points = runs::even(&points, true, POINTS.0 * edge);
            runs::smooth(&mut points, true, POINTS.1);
            let on = |p: DVec3| sculpt.index.closest(p).map_or(p, |c| c.point);
            found.push(points.into_iter().map(on).collect());
        }
        found
    }
}

/// By vertex: the source that is nearest along edges, within `reach` (Dijkstra).
fn nearest(
    topology: &TriTopology,
    sculpt: &Sculpt,
    sources: Vec<u32>,
    reach: f64,
) -> Vec<Option<u32>> {
    let at = |v: u32| sculpt.mesh.positions[v as usize].as_dvec3();
    let count = topology.vertex_count();
    let mut gone = vec![f64::INFINITY; count];
    let mut nearest = vec![None; count];
    let mut queue = BinaryHeap::new();
    for v in sources {
        gone[v as usize] = 0.0;
        nearest[v as usize] = Some(v);
        queue.push(Cheapest(0.0, v));
    }
    while let Some(Cheapest(so_far, v)) = queue.pop() {
        if so_far > gone[v as usize] {
            continue;
        }
        topology.visit_neighbours(v, |u, _| {
            let next = so_far + at(v).distance(at(u));
            if next <= reach && next < gone[u as usize] {
                gone[u as usize] = next;
                nearest[u as usize] = nearest[v as usize];
                queue.push(Cheapest(next, u));
            }
        });
    }
    nearest
}

fn root(parent: &mut [u32], mut v: u32) -> u32 {
    while parent[v as usize] != v {
        parent[v as usize] = parent[parent[v as usize] as usize];
        v = parent[v as usize];
    }
    v
}

#[cfg(test)]
mod tests {
    use std::f64::consts::TAU;

    use mesh::{TriMesh, Vec3};

    use super::*;
    use crate::symmetry::fixtures::sculpt_of;
    use crate::testing::ball;

    /// A sleeve of cloth 10 long and 3 in radius, its walls so thick, each rim one row further out.
    fn sleeve(thick: f64) -> TriMesh {
        let rows = 40;
        let way = |i: usize| 10.0 * i as f64 / rows as f64;
        let mut profile: Vec<[f64; 2]> = (0..=rows).map(|i| [3.0, way(i)]).collect();
        profile.push([3.0 - thick / 2.0, 10.0 + thick / 2.0]);
        profile.extend((0..=rows).rev().map(|i| [3.0 - thick, way(i)]));
        profile.push([3.0 - thick / 2.0, -thick / 2.0]);
        let (around, along) = (72, profile.len());
        let mut positions = Vec::new();
        let mut triangles = Vec::new();
        for i in 0..around {
            let angle = TAU * i as f64 / around as f64;
            for [radius, height] in &profile {
                let at = [radius * angle.cos(), radius * angle.sin(), *height];
                positions.push(Vec3::from_array(at.map(|x| x as f32)));
            }
            for k in 0..along {
                let [a, b] = [i, (i + 1) % around].map(|i| i * along);
                let [p, q, r, s] = [a + k, b + k, b + (k + 1) % along, a + (k + 1) % along];
                let quad = [p, q, r, s].map(|v| v as u32);
                triangles.push([quad[0], quad[1], quad[2]]);
                triangles.push([quad[0], quad[2], quad[3]]);
            }
        }
        TriMesh {
            positions,
            triangles,
        }
    }

    #[test]
    fn both_edges_of_a_sleeve_of_cloth_are_found() {
        let thick = 0.2;
        let found = edges_of_cloth(&sculpt_of(sleeve(thick)), 1.0, &Task::default()).unwrap();
        assert_eq!(found.len(), 2);
        assert_ne!(found[0][0].z > 5.0, found[1][0].z > 5.0);
        for ring in &found {
            let height = if ring[0].z > 5.0 {
                10.0 + thick / 2.0
            } else {
                -thick / 2.0
            };
            // Once around, on the rim.
            let long = runs::length(ring, true);
            assert!((long - TAU * (3.0 - thick / 2.0)).abs() < 0.5, "{long}");
            for p in ring {
                assert!((p.z - height).abs() < 0.7 * thick, "{p} {height}");
                assert!(
                    (p.x.hypot(p.y) - 3.0 + thick / 2.0).abs() < 0.7 * thick,
                    "{p}"
                );
            }
        }
    }

    #[test]
    fn what_is_solid_or_has_room_for_quads_between_its_walls_has_none() {
        let task = Task::default();
        let none = |sculpt: TriMesh| edges_of_cloth(&sculpt_of(sculpt), 1.0, &task).unwrap();
        assert!(none(sleeve(0.8)).is_empty());
        assert!(none(ball(4)).is_empty());
    }
}
