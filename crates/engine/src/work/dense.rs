//! The half sculpt at full resolution, with rails on its edges.
//!
//! Curves are laid and openings cut here, not on the reduced mesh: where two curves or
//! two walls of a cloth come closer than a work edge, only the sculpt's own triangles tell
//! them apart. Vertices aren't moved yet; a rail's vertices lie within a sculpt's edge of
//! it and go onto it once the mesh is reduced.

use base::Task;
use mesh::DVec3;

use super::edit::{EditMesh, Segment};
use super::error::WorkError;
use super::rail::Rail;
use super::reduce;
use crate::model::Sculpt;

/// Corners are looked for this far before and after, in edges of the work surface.
const CORNER_REACH: f64 = 1.5;
/// A rail that turns further than this within the reach has a corner, radians.
const CORNER_TURN: f64 = 0.9;

/// Times that long edges are halved at most.
const SWEEPS: usize = 40;

/// The dense mesh under work.
pub(super) struct Dense<'a> {
    /// The mesh.
    pub mesh: EditMesh,
    /// Curves, boundaries and the plane's cut.
    pub rails: Vec<Rail>,
    /// The surface it came from.
    pub sculpt: &'a Sculpt,
    /// Target edge of the work surface, model units.
    pub edge: f64,
    /// More vertices than this are refused.
    most_vertices: usize,
}

impl<'a> Dense<'a> {
    /// Takes a mesh whose boundary lies on rails already.
    pub fn new(mesh: EditMesh, rails: Vec<Rail>, sculpt: &'a Sculpt, edge: f64) -> Self {
        let area: f64 = (0..mesh.tri.len())
            .map(|t| mesh.area_normal(t).length() / 2.0)
            .sum();
        // Even triangles of this edge several times over, and room for long boundaries.
        let most_vertices = (8.0 * area / (edge * edge)) as usize + 4 * mesh.pos.len() + 10_000;
        Self {
            mesh,
            rails,
            sculpt,
            edge,
            most_vertices,
        }
    }

    /// Splits an edge in the middle; on a rail, at half the way along it.
    pub fn split(&mut self, h: u32) -> Result<u32, WorkError> {
        self.room()?;
        let (a, b) = (self.mesh.from(h), self.mesh.to(h));
        let middle = (self.mesh.pos[a as usize] + self.mesh.pos[b as usize]) / 2.0;
        Ok(self.mesh.split(h, middle))
    }

    /// Splits an edge of a rail at an arc length.
    pub fn split_at(&mut self, h: u32, at: DVec3, param: f64) -> Result<u32, WorkError> {
        self.room()?;
        Ok(self.mesh.split_at_param(h, at, param))
    }

    fn room(&self) -> Result<(), WorkError> {
        if self.mesh.pos.len() >= self.most_vertices {
            return Err(WorkError::TooFine {
                vertices: self.most_vertices,
            });
        }
        Ok(())
    }

    /// Splits edges longer than the target where the sculpt is that coarse.
    pub fn split_long(&mut self) -> Result<(), WorkError> {
        // Each sweep halves the longest edges, so a few dozen reach any length.
        for _ in 0..SWEEPS {
            if !self.halve_long()? {
                break;
            }
        }
        Ok(())
    }

    /// The same for needles, a lathe's long thin triangles: parted each for itself they would get thinner
    /// from sweep to sweep and more than the area explains, so they are made wider in between. What lies
    /// closer than half a work edge is told apart less well by it.
    pub fn split_needles(&mut self, task: &Task) -> Result<(), WorkError> {
        for _ in 0..SWEEPS {
            reduce::widen(&mut self.mesh, &self.rails, 0.5 * self.edge, task)?;
            if !self.halve_long()? {
                break;
            }
        }
        Ok(())
    }

    /// Splits edges longer than the target in the middle, the longest first, for in a flat triangle
    /// the other two sides could be split for ever; whether there were any.
    fn halve_long(&mut self) -> Result<bool, WorkError> {
        let mut long: Vec<(f64, u32, u32)> = self
            .mesh
            .edges()
            .map(|h| (self.mesh.length(h), h))
            .filter(|&(length, _)| length > self.edge)
            .map(|(length, h)| (length, self.mesh.from(h), self.mesh.to(h)))
            .collect();
        long.sort_by(|x, y| y.0.total_cmp(&x.0).then((x.1, x.2).cmp(&(y.1, y.2))));
        for &(_, a, b) in &long {
            if let Some(h) = self.mesh.edge_between(a, b) {
                self.split(h)?;
            }
        }
        Ok(!long.is_empty())
    }

    /// Pins a vertex of each rail where the rail turns sharply, so that the corner stays.
    pub fn pin_corners(&mut self) {
        for rail in 0..self.rails.len() as u32 {
            for param in self.rails[rail as usize].corners(CORNER_REACH * self.edge, CORNER_TURN) {
                self.pin(rail, param);
            }
        }
    }

    /// Pins the vertex next to an arc length of a rail, moved to that arc length.
    fn pin(&mut self, rail: u32, param: f64) {
        let whole = self.rails[rail as usize].length();
        let closed = self.rails[rail as usize].closed;
        let turned = |s: &Segment| {
            let turns = ((s.params[0] - param) / whole).ceil();
            param + if closed { turns * whole } else { 0.0 }
        };
        let holds =
            |s: &&Segment| s.rail == rail && (s.params[0]..=s.params[1]).contains(&turned(s));
        let Some(segment) = self.mesh.segments.iter().find(holds).copied() else {
            return;
        };
        let at = turned(&segment);
        let nearer = usize::from(at - segment.params[0] > segment.params[1] - at);
        let v = segment.ends[nearer];
        if let Some(both) = self.mesh.inside_rail(v) {
            let arriving = self.mesh.segments[both[0] as usize];
            self.mesh
                .slide(both, arriving.params[1] + at - segment.params[nearer]);
            self.mesh.pinned[v as usize] = true;
            if self.mesh.on_boundary(v) {
                self.mesh.pos[v as usize] = self.rails[rail as usize].at(param);
            }
        }
    }

    /// Moves the vertices of rails onto them: inside a rail to their arc length; where
    /// rails meet onto the boundary's rail, else to the middle of the rails' points.
    pub fn snap_to_rails(&mut self) {
        for v in 0..self.mesh.pos.len() as u32 {
            if !self.mesh.on_rail[v as usize] || !self.mesh.has_vertex(v) {
                continue;
            }
            let (mut sum, mut count) = (DVec3::ZERO, 0.0);
            let mut fixed: Option<DVec3> = None;
            for (h, seg) in self.mesh.rail_edges(v) {
                let segment = &self.mesh.segments[seg as usize];
                let end = usize::from(segment.ends[1] == v);
                let rail = &self.rails[segment.rail as usize];
                let at = rail.at(segment.params[end]);
                if self.mesh.twin_of(h).is_none() && (fixed.is_none() || rail.is_plane()) {
                    fixed = Some(at);
                }
                sum += at;
                count += 1.0;
            }
            if count > 0.0 {
                self.mesh.pos[v as usize] = fixed.unwrap_or(sum / count);
            }
        }
    }
}
