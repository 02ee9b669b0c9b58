//! Moving vertices along the surface and along rails.

use mesh::DVec3;
use rayon::prelude::*;

use super::{REACH, Remesher, TILTED};
use crate::work::edit::EditMesh;
use crate::work::project::{Foot, foot_from};

impl Remesher<'_> {
    /// Moves each vertex towards the middle of its neighbours, all at once, and takes back
    /// what turned triangles over.
    pub fn relax(&mut self) {
        self.relax_rails();
        let before: Vec<f64> = self.all_facings();
        let moved: Vec<Option<Foot>> = (0..self.mesh.pos.len() as u32)
            .into_par_iter()
            .map(|v| self.relaxed(v))
            .collect();
        let old_pos = self.mesh.pos.clone();
        let old_normals = self.normals.clone();
        for (v, foot) in moved.iter().enumerate() {
            if let Some(foot) = foot {
                self.mesh.pos[v] = foot.point;
                self.normals[v] = foot.normal;
                self.feet[v] = Some(foot.triangle);
            }
        }
        // Each sweep takes back whole triangles, so few are needed.
        for _ in 0..10 {
            let now = self.all_facings();
            let mut any = false;
            for t in 0..self.mesh.tri.len() {
                if !self.mesh.alive(t) || now[t] >= TILTED || now[t] >= before[t] {
                    continue;
                }
                for v in self.mesh.tri[t] {
                    let v = v as usize;
                    if self.mesh.pos[v] != old_pos[v] {
                        self.mesh.pos[v] = old_pos[v];
                        self.normals[v] = old_normals[v];
                        any = true;
                    }
                }
            }
            if !any {
                break;
            }
        }
    }

    fn all_facings(&self) -> Vec<f64> {
        (0..self.mesh.tri.len() as u32)
            .into_par_iter()
            .map(|t| {
                if self.mesh.alive(t as usize) {
                    self.facing_of(t)
                } else {
                    1.0
                }
            })
            .collect()
    }

    /// New place of a vertex that is on no rail.
    fn relaxed(&self, v: u32) -> Option<Foot> {
        if !self.mesh.has_vertex(v) || self.mesh.on_rail[v as usize] {
            return None;
        }
        let at = self.mesh.pos[v as usize];
        let (mut sum, mut weight, mut normal) = (DVec3::ZERO, 0.0, DVec3::ZERO);
        for h in self.mesh.outgoing(v) {
            let area_normal = self.mesh.area_normal((h / 3) as usize);
            // Area-weighted centres of the triangles around; triangles that lie wrong
            // count by their size all the same, so that the middle lies within the ring.
            let size = area_normal.length() + 1e-3 * self.edge * self.edge;
            let centre = (at
                + self.mesh.pos[self.mesh.to(h) as usize]
                + self.mesh.pos[self.mesh.apex(h) as usize])
                / 3.0;
            sum += centre * size;
            weight += size;
            normal += area_normal;
        }
        let own = self.normals[v as usize];
        let normal = if normal.dot(own) > 0.0 {
            normal.normalize_or_zero()
        } else {
            own
        };
        let target = sum / weight;
        let flat = target - normal * (target - at).dot(normal);
        let near = self.feet[v as usize];
        let found = match self.crest(v, flat) {
            Some(crest) => foot_from(self.sculpt, crest, DVec3::ZERO, 0.5 * self.edge, near)?,
            None => foot_from(self.sculpt, flat, normal, REACH * self.edge, near)?,
        };
        (!self.behind_plane(found.point)).then_some(found)
    }

    /// Slides vertices inside rails halfway to the middle between their neighbours.
    fn relax_rails(&mut self) {
        for v in 0..self.mesh.pos.len() as u32 {
            if !self.mesh.on_rail[v as usize] || !self.mesh.has_vertex(v) {
                continue;
            }
            let Some(both) = self.mesh.inside_rail(v) else {
                continue;
            };
            let [arriving, leaving] = both.map(|s| self.mesh.segments[s as usize]);
            let (before, after) = (
                arriving.params[1] - arriving.params[0],
                leaving.params[1] - leaving.params[0],
            );
            // Of two neighbours with different target lengths the finer one gets less.
            let [one, two] = [arriving.ends[0], leaving.ends[1]].map(|u| self.sizes[u as usize]);
            let wanted = (before + after) * one / (one + two);
            let step = (wanted - before) / 2.0;
            if step.abs() < 1e-3 * self.edge {
                continue;
            }
            self.try_slide(v, both, arriving.params[1] + step);
        }
    }

    /// Slides a vertex along its rail unless a triangle would tilt further.
    fn try_slide(&mut self, v: u32, both: [u32; 2], param: f64) {
        let rail = self.mesh.segments[both[0] as usize].rail;
        let old = self.mesh.pos[v as usize];
        let facings: Vec<(u32, f64)> = self
            .mesh
            .outgoing(v)
            .map(|h| (h / 3, self.facing_of(h / 3)))
            .collect();
        self.mesh.pos[v as usize] = self.rails[rail as usize].at(param);
        let worse = facings.iter().any(|&(t, before)| {
            let now = self.facing_of(t);
            now < TILTED && now < before
        });
        if worse {
            self.mesh.pos[v as usize] = old;
            return;
        }
        self.mesh.slide(both, param);
        let (at, normal) = (self.mesh.pos[v as usize], self.normals[v as usize]);
        let reach = REACH * self.edge;
        if let Some(found) = foot_from(self.sculpt, at, normal, reach, self.feet[v as usize]) {
            self.normals[v as usize] = found.normal;
            self.feet[v as usize] = Some(found.triangle);
        }
    }

    /// Gives vertices of folded triangles and their neighbours a plain average of their
    /// neighbours, without asking whether single triangles get worse.
    pub fn unfold(&mut self) {
        let mut vertices: Vec<u32> = Vec::new();
        for t in self.folded() {
            for v in self.mesh.tri[t as usize] {
                vertices.push(v);
                vertices.extend(self.mesh.neighbours(v));
            }
        }
        vertices.sort_unstable();
        vertices.dedup();
        vertices.retain(|&v| !self.mesh.on_rail[v as usize]);
        for _ in 0..4 {
            for &v in &vertices {
                self.centre_among_neighbours(v);
            }
        }
    }

    pub(super) fn centre_among_neighbours(&mut self, v: u32) {
        let mesh: &EditMesh = &self.mesh;
        let (mut sum, mut count, mut normal) = (DVec3::ZERO, 0.0, DVec3::ZERO);
        for u in mesh.neighbours(v) {
            sum += mesh.pos[u as usize];
            normal += self.normals[u as usize];
            count += 1.0;
        }
        let (middle, normal) = (sum / count, normal.normalize_or_zero());
        let reach = REACH * self.edge;
        let found = foot_from(self.sculpt, middle, normal, reach, self.feet[v as usize]);
        if let Some(found) = found.filter(|f| !self.behind_plane(f.point)) {
            self.mesh.pos[v as usize] = found.point;
            self.normals[v as usize] = found.normal;
            self.feet[v as usize] = Some(found.triangle);
        }
    }
}
