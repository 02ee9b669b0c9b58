//! Finer triangles where curves come close to each other.

use super::Remesher;
use crate::work::grid::Grid;

/// Target edge over the gap between two curves: two rows of triangles fit in.
const SHARE: f64 = 0.5;
/// Least target edge, as a share of the usual one.
const FINEST: f64 = 0.25;
/// Curves that part at less than this slope from where they meet come close; others cross.
const SLOPE: f64 = 0.35;
/// How fast target edges grow with distance.
const GROWTH: f64 = 0.3;

impl Remesher<'_> {
    /// Sets the target edge at each vertex.
    pub fn set_sizes(&mut self) {
        self.sizes = vec![self.edge; self.mesh.pos.len()];
        let reach = self.edge / SHARE;
        let grid = Grid::of(&self.mesh, self.edge, |v| self.mesh.on_rail[v as usize]);
        for v in 0..self.mesh.pos.len() as u32 {
            if self.mesh.on_rail[v as usize] && self.mesh.has_vertex(v) {
                let gap = self.gap(v, reach, &grid);
                self.sizes[v as usize] = (SHARE * gap).clamp(FINEST * self.edge, self.edge);
            }
        }
        self.grade();
    }

    /// Distance from a vertex inside a rail to another curve, or to another part of its
    /// own, that runs past it on the same side of the cloth.
    fn gap(&self, v: u32, reach: f64, grid: &Grid) -> f64 {
        let at = self.mesh.pos[v as usize];
        let normal = self.normals[v as usize];
        let Some(own) = self.mesh.inside_rail(v) else {
            return reach;
        };
        let own = self.mesh.segments[own[0] as usize];
        let (rail, param) = (own.rail, own.params[1]);
        let to_end = self.along_to_node(v, reach / SLOPE);
        let mut gap = reach;
        grid.near(at, reach, |u| {
            let distance = self.mesh.pos[u as usize].distance(at);
            if distance >= gap || self.normals[u as usize].dot(normal) < 0.3 {
                return;
            }
            let runs_past = match self.param_on(u, rail) {
                // The same rail: far along it, near in space.
                Some(other) => self.apart(rail, param, other) > 3.0 * distance + self.edge,
                None => distance < SLOPE * to_end,
            };
            if runs_past {
                gap = distance;
            }
        });
        gap
    }

    fn apart(&self, rail: u32, one: f64, two: f64) -> f64 {
        let rail = &self.rails[rail as usize];
        let gap = (one - two).abs();
        if rail.closed {
            let turn = gap.rem_euclid(rail.length());
            turn.min(rail.length() - turn)
        } else {
            gap
        }
    }

    fn param_on(&self, v: u32, rail: u32) -> Option<f64> {
        self.mesh.rail_edges(v).find_map(|(_, seg)| {
            let segment = &self.mesh.segments[seg as usize];
            let end = segment.ends.iter().position(|&u| u == v)?;
            (segment.rail == rail).then_some(segment.params[end])
        })
    }

    /// Arc length to the nearest node on a vertex's rail, at most `most`.
    fn along_to_node(&self, v: u32, most: f64) -> f64 {
        let mut nearest = most;
        for forward in [false, true] {
            let (mut at, mut sum) = (v, 0.0);
            // Each step adds length, and a closed rail comes back to where it began.
            while let Some([arriving, leaving]) = self.mesh.inside_rail(at) {
                let segment = self.mesh.segments[if forward { leaving } else { arriving } as usize];
                sum += segment.params[1] - segment.params[0];
                at = segment.ends[usize::from(forward)];
                if sum >= nearest || at == v {
                    sum = nearest;
                    break;
                }
            }
            nearest = nearest.min(sum);
        }
        nearest
    }

    /// Lets target edges grow no faster than with a share of the distance.
    fn grade(&mut self) {
        // Small sizes reach no further than a few edges, so few sweeps do.
        for _ in 0..6 {
            let mut any = false;
            for h in 0..self.mesh.twin.len() as u32 {
                if !self.mesh.is_edge(h) {
                    continue;
                }
                let (a, b) = (self.mesh.from(h) as usize, self.mesh.to(h) as usize);
                let step = GROWTH * self.mesh.pos[a].distance(self.mesh.pos[b]);
                let before = [self.sizes[a], self.sizes[b]];
                self.sizes[a] = before[0].min(before[1] + step);
                self.sizes[b] = before[1].min(self.sizes[a] + step);
                any |= before != [self.sizes[a], self.sizes[b]];
            }
            if !any {
                break;
            }
        }
    }
}
