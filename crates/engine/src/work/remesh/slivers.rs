//! Triangles with hardly any area.

use super::{Remesher, angle_measure};
use crate::work::edit::{Collapse, NONE};

/// Triangles below this measure (see [`angle_measure`]) are slivers: about 8° for a needle.
const SLIVER: f64 = 0.22;

impl Remesher<'_> {
    /// Flips or collapses slivers away where that makes nothing worse; some stay.
    pub fn remove_slivers(&mut self) {
        for _ in 0..4 {
            let mut any = false;
            for t in 0..self.mesh.tri.len() as u32 {
                if self.mesh.alive(t as usize) && self.measure(t) < SLIVER {
                    any |= self.flip_sliver(t) || self.collapse_sliver(t) || self.spread_sliver(t);
                }
            }
            if !any {
                break;
            }
        }
    }

    fn measure(&self, t: u32) -> f64 {
        let [a, b, c] = self.mesh.tri[t as usize].map(|v| self.mesh.pos[v as usize]);
        angle_measure(a, b, c)
    }

    /// Flips the longest edge of a sliver, across which its apex lies close.
    fn flip_sliver(&mut self, t: u32) -> bool {
        let mut sides = [3 * t, 3 * t + 1, 3 * t + 2];
        sides.sort_by(|&x, &y| self.mesh.length(y).total_cmp(&self.mesh.length(x)));
        let h = sides[0];
        let Some(g) = self.mesh.twin_of(h) else {
            return false;
        };
        let mesh = &self.mesh;
        let (a, b, c, d) = (mesh.from(h), mesh.to(h), mesh.apex(h), mesh.apex(g));
        if !mesh.can_flip(h) || (mesh.on_rail[c as usize] && mesh.on_rail[d as usize]) {
            return false;
        }
        let [pa, pb, pc, pd] = [a, b, c, d].map(|v| mesh.pos[v as usize]);
        let measure = angle_measure(pa, pd, pc).min(angle_measure(pd, pb, pc));
        let facing = self
            .facing([a, d, c], [pa, pd, pc])
            .min(self.facing([d, b, c], [pd, pb, pc]));
        let before = self.facing_of(g / 3).min(super::TILTED);
        if measure <= self.measure(t).min(self.measure(g / 3)) || facing < before {
            return false;
        }
        self.mesh.flip(h);
        true
    }

    /// Collapses an edge of a sliver, the shortest first.
    fn collapse_sliver(&mut self, t: u32) -> bool {
        let mut sides = [3 * t, 3 * t + 1, 3 * t + 2];
        sides.sort_by(|&x, &y| self.mesh.length(x).total_cmp(&self.mesh.length(y)));
        let before = self.measure(t);
        for h in sides {
            let rails = &self.rails;
            let plan = self
                .mesh
                .plan_collapse(h, |rail, param| rails[rail as usize].at(param));
            if let Some(plan) = plan
                && !self.collapse_joins_rails(&plan)
                && self.worst_after(&plan) > before
            {
                self.mesh.collapse(plan);
                return true;
            }
        }
        false
    }

    /// Moves a corner that is on no rail into the middle of its neighbours, if that makes
    /// the worst triangle at it better.
    fn spread_sliver(&mut self, t: u32) -> bool {
        let worst = |mesh: &Self, v: u32| {
            let measures = mesh.mesh.outgoing(v).map(|h| mesh.measure(h / 3));
            measures.fold(f64::INFINITY, f64::min)
        };
        for v in self.mesh.tri[t as usize] {
            if self.mesh.on_rail[v as usize] {
                continue;
            }
            let (at, normal) = (self.mesh.pos[v as usize], self.normals[v as usize]);
            let before = worst(self, v);
            self.centre_among_neighbours(v);
            let folds = self.mesh.outgoing(v).any(|h| self.facing_of(h / 3) < 0.0);
            if !folds && worst(self, v) > 1.5 * before {
                return true;
            }
            self.mesh.pos[v as usize] = at;
            self.normals[v as usize] = normal;
        }
        false
    }

    /// Least measure of the triangles that a collapse would change; below 0 if one of them
    /// would be turned over.
    fn worst_after(&self, plan: &Collapse) -> f64 {
        let mesh = &self.mesh;
        let h = plan.half_edge;
        let ends = [mesh.from(h), mesh.to(h)];
        let kept = if ends[0] == plan.gone {
            ends[1]
        } else {
            ends[0]
        };
        let twin = mesh.twin[h as usize];
        let dropped = [h / 3, if twin == NONE { NONE } else { twin / 3 }];
        let mut worst = 1.0f64;
        for v in ends {
            for out in mesh.outgoing(v).filter(|out| !dropped.contains(&(out / 3))) {
                let (x, y) = (mesh.to(out), mesh.apex(out));
                let [px, py] = [x, y].map(|u| mesh.pos[u as usize]);
                let facing = self.facing([kept, x, y], [plan.at, px, py]);
                if facing < self.facing_of(out / 3).min(super::TILTED) {
                    return -1.0;
                }
                worst = worst.min(angle_measure(plan.at, px, py));
            }
        }
        worst
    }
}
