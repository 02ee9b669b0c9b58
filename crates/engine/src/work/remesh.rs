//! Even triangles: split long edges, collapse short ones, flip towards six neighbours,
//! relax along the surface, and back onto the sculpt (Botsch & Kobbelt 2004, "A remeshing
//! approach to multiresolution modeling"). Edges on rails are only split and collapsed
//! along their rail; their vertices slide on it.

mod crease;
mod flips;
mod relax;
mod sizes;
mod slivers;

use mesh::DVec3;
use rayon::prelude::*;

use flips::angle_measure;

use super::edit::{Collapse, EditMesh, NONE};
use super::error::WorkError;
use super::project::{Foot, foot, foot_from};
use super::rail::Rail;
use crate::model::{Plane, Sculpt};

/// Edges longer than this times the target are split, as in the paper.
const LONG: f64 = 4.0 / 3.0;
/// Edges shorter than this times the target are collapsed, as in the paper.
const SHORT: f64 = 4.0 / 5.0;
/// How far a point may be from its foot on the sculpt, in target edges.
const REACH: f64 = 3.0;
/// Cosine between a triangle and the sculpt below which it counts as tilted.
const TILTED: f64 = 0.2;

/// A mesh under work, with all that its operations need.
pub(super) struct Remesher<'a> {
    /// The mesh.
    pub mesh: EditMesh,
    /// The curves it must follow.
    pub rails: Vec<Rail>,
    /// The surface it must lie on.
    pub sculpt: &'a Sculpt,
    /// The mirror plane, which no vertex may cross.
    pub plane: Option<Plane>,
    /// Target edge length where nothing asks for less, model units.
    pub edge: f64,
    /// Unit normal of the sculpt under each vertex.
    pub normals: Vec<DVec3>,
    /// Triangle of the sculpt that each vertex was last put on: the next question starts there.
    pub feet: Vec<Option<u32>>,
    /// Target edge length at each vertex, model units.
    pub sizes: Vec<f64>,
    /// More vertices than this are refused.
    pub most_vertices: usize,
}

impl<'a> Remesher<'a> {
    /// Starts from a reduced mesh, and puts it on the sculpt.
    pub fn new(
        mesh: EditMesh,
        rails: Vec<Rail>,
        sculpt: &'a Sculpt,
        plane: Option<Plane>,
        edge: f64,
    ) -> Self {
        let count = mesh.pos.len();
        let normals = (0..count as u32).map(|v| mesh.vertex_normal(v)).collect();
        // Even triangles of this edge, twice over, and room for the boundary.
        let area: f64 = (0..mesh.tri.len())
            .filter(|&t| mesh.alive(t))
            .map(|t| mesh.area_normal(t).length() / 2.0)
            .sum();
        let most_vertices = (8.0 * area / (edge * edge)) as usize + 4 * count + 10_000;
        Self {
            mesh,
            rails,
            sculpt,
            plane,
            edge,
            normals,
            feet: vec![None; count],
            sizes: vec![edge; count],
            most_vertices,
        }
    }

    /// Goes over from a lighter copy of the sculpt to the sculpt itself, unless it is on that already. Vertices
    /// inside go onto it as they are next evened out; those on rails are there.
    pub fn settle_on(&mut self, sculpt: &'a Sculpt) -> bool {
        if std::ptr::eq(self.sculpt, sculpt) {
            return false;
        }
        self.sculpt = sculpt;
        self.feet.fill(None);
        let (mesh, normals, reach) = (&self.mesh, &self.normals, REACH * self.edge);
        let on_rail = (0..mesh.pos.len() as u32).into_par_iter();
        let on_rail = on_rail.filter(|&v| mesh.on_rail[v as usize] && mesh.has_vertex(v));
        let feet: Vec<(u32, Option<Foot>)> = on_rail
            .map(|v| {
                let (at, normal) = (mesh.pos[v as usize], normals[v as usize]);
                (v, foot(sculpt, at, normal, reach))
            })
            .collect();
        for (v, foot) in feet {
            if let Some(foot) = foot {
                self.normals[v as usize] = foot.normal;
                self.feet[v as usize] = Some(foot.triangle);
            }
        }
        true
    }

    /// One round: split, collapse, flip, relax.
    pub fn round(&mut self) -> Result<(), WorkError> {
        self.split_long()?;
        self.collapse_short();
        self.flip_to_even_valence();
        self.flip_to_unbend();
        self.relax();
        Ok(())
    }

    /// Target length of an edge.
    fn size_of(&self, h: u32) -> f64 {
        let (a, b) = (self.mesh.from(h), self.mesh.to(h));
        self.sizes[a as usize].min(self.sizes[b as usize])
    }

    /// Splits edges that are too long, until none is; the longest first, for in a flat
    /// triangle the other two sides could be split for ever.
    fn split_long(&mut self) -> Result<(), WorkError> {
        // Each sweep halves the longest edges, so a few dozen reach any length.
        for _ in 0..40 {
            let mut long: Vec<(f64, u32, u32)> = self
                .mesh
                .edges()
                .map(|h| (self.mesh.length(h), h))
                .filter(|&(length, h)| length > LONG * self.size_of(h))
                .map(|(length, h)| (length, self.mesh.from(h), self.mesh.to(h)))
                .collect();
            if long.is_empty() {
                break;
            }
            long.sort_by(|x, y| y.0.total_cmp(&x.0).then((x.1, x.2).cmp(&(y.1, y.2))));
            for (_, a, b) in long {
                if let Some(h) = self.mesh.edge_between(a, b) {
                    self.split(h)?;
                }
            }
        }
        Ok(())
    }

    /// Splits an edge in the middle; the new vertex lies on the rail or the sculpt.
    pub fn split(&mut self, h: u32) -> Result<u32, WorkError> {
        if self.mesh.pos.len() >= self.most_vertices {
            return Err(WorkError::TooFine {
                vertices: self.most_vertices,
            });
        }
        let (a, b) = (self.mesh.from(h), self.mesh.to(h));
        let normal = (self.normals[a as usize] + self.normals[b as usize]).normalize_or_zero();
        let size = (self.sizes[a as usize] + self.sizes[b as usize]) / 2.0;
        let middle = (self.mesh.pos[a as usize] + self.mesh.pos[b as usize]) / 2.0;
        let at = match self.mesh.segment_of(h) {
            Some(seg) => {
                let segment = &self.mesh.segments[seg as usize];
                self.rails[segment.rail as usize].at((segment.params[0] + segment.params[1]) / 2.0)
            }
            None => middle,
        };
        let length = self.mesh.length(h);
        let new = self.mesh.split(h, at);
        self.normals.push(normal);
        self.feet
            .push(self.feet[a as usize].or(self.feet[b as usize]));
        self.sizes.push(size);
        if self.mesh.segment_of(h).is_none() {
            // No further than half the edge, or splitting might never end.
            self.put_on_sculpt(new, length / 2.0);
        }
        Ok(new)
    }

    /// Moves a vertex inside to its foot on the sculpt, unless that would turn a triangle over.
    fn put_on_sculpt(&mut self, v: u32, reach: f64) {
        let old = self.mesh.pos[v as usize];
        let near = self.feet[v as usize];
        let normal = self.normals[v as usize];
        let Some(foot) = foot_from(self.sculpt, old, normal, reach, near) else {
            return;
        };
        if self.behind_plane(foot.point) {
            return;
        }
        self.feet[v as usize] = Some(foot.triangle);
        let tilted = self.tilted_around(v);
        self.mesh.pos[v as usize] = foot.point;
        let normal = std::mem::replace(&mut self.normals[v as usize], foot.normal);
        if self.tilted_around(v) > tilted {
            self.mesh.pos[v as usize] = old;
            self.normals[v as usize] = normal;
        }
    }

    fn behind_plane(&self, p: DVec3) -> bool {
        self.plane.is_some_and(|plane| plane.height(p) <= 0.0)
    }

    /// How a triangle with these corners at these places faces the sculpt: 1 flat on it,
    /// below 0 turned over. A triangle without area counts as turned over.
    fn facing(&self, corners: [u32; 3], at: [DVec3; 3]) -> f64 {
        let normal = (at[1] - at[0]).cross(at[2] - at[0]);
        let wanted: DVec3 = corners.iter().map(|&v| self.normals[v as usize]).sum();
        let scale = normal.length() * wanted.length();
        if scale > 0.0 {
            normal.dot(wanted) / scale
        } else {
            -1.0
        }
    }

    /// As `facing`, of a triangle as it stands.
    fn facing_of(&self, triangle: u32) -> f64 {
        let corners = self.mesh.tri[triangle as usize];
        self.facing(corners, corners.map(|v| self.mesh.pos[v as usize]))
    }

    fn tilted_around(&self, v: u32) -> usize {
        self.mesh
            .outgoing(v)
            .filter(|h| self.facing_of(h / 3) < TILTED)
            .count()
    }

    /// Collapses edges that are too short.
    fn collapse_short(&mut self) {
        for h in 0..self.mesh.twin.len() as u32 {
            if !self.mesh.is_edge(h) || self.mesh.length(h) >= SHORT * self.size_of(h) {
                continue;
            }
            let rails = &self.rails;
            let plan = self
                .mesh
                .plan_collapse(h, |rail, param| rails[rail as usize].at(param));
            if let Some(plan) = plan.map(|plan| self.mesh.on_crest(plan))
                && self.collapse_is_fair(&plan)
            {
                self.mesh.collapse(plan);
            }
        }
    }

    /// Whether a collapse makes no edge too long, tilts no triangle further and joins no two rails.
    fn collapse_is_fair(&self, plan: &Collapse) -> bool {
        let mesh = &self.mesh;
        let h = plan.half_edge;
        let gone = plan.gone;
        let kept = if mesh.from(h) == gone {
            mesh.to(h)
        } else {
            mesh.from(h)
        };
        let twin = mesh.twin[h as usize];
        if self.collapse_joins_rails(plan) {
            return false;
        }
        let dropped = [h / 3, if twin == NONE { NONE } else { twin / 3 }];
        let longest = LONG * self.sizes[kept as usize].min(self.sizes[gone as usize]);
        [gone, kept].into_iter().all(|v| {
            mesh.outgoing(v)
                .filter(|out| !dropped.contains(&(out / 3)))
                .all(|out| {
                    let (x, y) = (mesh.to(out), mesh.apex(out));
                    let [px, py] = [x, y].map(|u| mesh.pos[u as usize]);
                    let facing = self.facing([kept, x, y], [plan.at, px, py]);
                    let upright = facing >= TILTED || facing >= self.facing_of(out / 3);
                    let old = px.distance(mesh.pos[v as usize]);
                    upright && px.distance(plan.at) <= longest.max(old)
                })
        })
    }

    /// Whether a collapse makes an edge between two rails that isn't there yet.
    fn collapse_joins_rails(&self, plan: &Collapse) -> bool {
        let mesh = &self.mesh;
        let h = plan.half_edge;
        let [from, to] = [mesh.from(h), mesh.to(h)];
        let kept = if from == plan.gone { to } else { from };
        if !mesh.on_rail[kept as usize] || mesh.segment_of(h).is_some() {
            return false;
        }
        let apexes = [Some(mesh.apex(h)), mesh.twin_of(h).map(|g| mesh.apex(g))];
        mesh.neighbours(plan.gone)
            .any(|x| x != kept && !apexes.contains(&Some(x)) && mesh.on_rail[x as usize])
    }

    /// Drops dead parts; normals and sizes follow.
    pub fn compact(&mut self) {
        let live: Vec<bool> = (0..self.mesh.pos.len() as u32)
            .map(|v| self.mesh.has_vertex(v))
            .collect();
        let mut at = live.iter();
        self.normals.retain(|_| at.next().copied().unwrap_or(false));
        let mut at = live.iter();
        self.feet.retain(|_| at.next().copied().unwrap_or(false));
        let mut at = live.iter();
        self.sizes.retain(|_| at.next().copied().unwrap_or(false));
        self.mesh.compact();
    }
}

impl Remesher<'_> {
    /// Triangles that face away from the sculpt under them: from the normals at their
    /// corners, and from every part of the sculpt nearby (in a knife-edged fold the
    /// corners' normals may be those of the other side).
    pub fn folded(&self) -> Vec<u32> {
        let near = 0.35 * self.edge;
        (0..self.mesh.tri.len() as u32)
            .into_par_iter()
            .filter(|&t| self.mesh.alive(t as usize) && self.facing_of(t) <= 0.0)
            .filter(|&t| {
                let (normal, centre) = (
                    self.mesh.area_normal(t as usize),
                    self.mesh.centre(t as usize),
                );
                normal == DVec3::ZERO || foot(self.sculpt, centre, normal, near).is_none()
            })
            .collect()
    }
}
