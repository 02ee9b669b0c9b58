//! Edge flips.

use mesh::DVec3;

use super::{Remesher, TILTED};
use crate::work::edit::EditMesh;

impl Remesher<'_> {
    /// Flips edges whose flip brings their four vertices nearer to six neighbours.
    pub(super) fn flip_to_even_valence(&mut self) {
        // Counted once: an edge asks for four, and each count is a walk around a vertex.
        let mut valence = self.valences();
        for h in 0..self.mesh.twin.len() as u32 {
            if self.mesh.is_edge(h)
                && self.flip_evens_valence(h, &valence)
                && self.flip_is_fair(h, false)
            {
                let mut joined = vec![self.mesh.apex(h)];
                joined.extend(self.mesh.twin_of(h).map(|g| self.mesh.apex(g)));
                for v in [self.mesh.from(h), self.mesh.to(h)] {
                    valence[v as usize] -= 1;
                }
                for v in joined {
                    valence[v as usize] += 1;
                }
                self.mesh.flip(h);
            }
        }
    }

    fn valences(&self) -> Vec<usize> {
        let of = |v: u32| {
            if self.mesh.has_vertex(v) {
                self.mesh.valence(v)
            } else {
                0
            }
        };
        (0..self.mesh.pos.len() as u32).map(of).collect()
    }

    fn flip_evens_valence(&self, h: u32, valence: &[usize]) -> bool {
        let Some(g) = self.mesh.twin_of(h) else {
            return false;
        };
        let off = |v: u32, change: i64| {
            let wanted = if self.mesh.on_boundary(v) { 4 } else { 6 };
            let off = valence[v as usize] as i64 + change - wanted;
            off * off
        };
        let (a, b, c, d) = (
            self.mesh.from(h),
            self.mesh.to(h),
            self.mesh.apex(h),
            self.mesh.apex(g),
        );
        let now = off(a, 0) + off(b, 0) + off(c, 0) + off(d, 0);
        off(a, -1) + off(b, -1) + off(c, 1) + off(d, 1) < now
    }

    /// Flips edges whose opposite angles sum to more than a half turn (Delaunay).
    pub fn flip_to_delaunay(&mut self) {
        let flips = |this: &Self, h: u32| this.is_not_delaunay(h) && this.flip_is_fair(h, true);
        self.flip_until_settled(8, flips);
    }

    /// Sweeps over all edges and flips those that `flips` says yes to, until a sweep flips none. What it says
    /// may depend on the two triangles at an edge, on those next to them, and on what else is at their
    /// corners: edges where no flip changed any of that aren't asked again.
    pub(super) fn flip_until_settled(&mut self, sweeps: u32, flips: impl Fn(&Self, u32) -> bool) {
        // The last sweep in which a flip changed the triangles at each vertex; the first asks everywhere.
        let mut changed = vec![0u32; self.mesh.pos.len()];
        for sweep in 1..=sweeps {
            let mut any = false;
            for h in 0..self.mesh.twin.len() as u32 {
                if !self.mesh.is_edge(h) {
                    continue;
                }
                let Some(g) = self.mesh.twin_of(h) else {
                    continue;
                };
                let corners = [
                    self.mesh.from(h),
                    self.mesh.to(h),
                    self.mesh.apex(h),
                    self.mesh.apex(g),
                ];
                let stale = corners.iter().all(|&v| changed[v as usize] + 1 < sweep);
                if !stale && flips(self, h) {
                    self.mesh.flip(h);
                    any = true;
                    for v in corners {
                        changed[v as usize] = sweep;
                    }
                }
            }
            if !any {
                break;
            }
        }
    }

    fn is_not_delaunay(&self, h: u32) -> bool {
        let Some(g) = self.mesh.twin_of(h) else {
            return false;
        };
        let cotangent = |side: u32| {
            let at = self.mesh.pos[self.mesh.apex(side) as usize];
            let u = self.mesh.pos[self.mesh.from(side) as usize] - at;
            let v = self.mesh.pos[self.mesh.to(side) as usize] - at;
            u.dot(v) / u.cross(v).length().max(f64::MIN_POSITIVE)
        };
        cotangent(h) + cotangent(g) < -1e-6
    }

    /// Whether a flip is possible, bends nothing further, tilts no triangle further, makes no
    /// sliver, and joins no two rails unless it parts two rails by it.
    fn flip_is_fair(&self, h: u32, by_angle: bool) -> bool {
        let mesh = &self.mesh;
        if !mesh.can_flip(h) {
            return false;
        }
        let Some(g) = mesh.twin_of(h) else {
            return false;
        };
        let (a, b, c, d) = (mesh.from(h), mesh.to(h), mesh.apex(h), mesh.apex(g));
        let rail = |v: u32| mesh.on_rail[v as usize];
        if rail(c) && rail(d) {
            return false;
        }
        let unjoins = rail(a) && rail(b);
        let [pa, pb, pc, pd] = [a, b, c, d].map(|v| mesh.pos[v as usize]);
        let old = [self.facing_of(h / 3), self.facing_of(g / 3)];
        let new = [
            self.facing([a, d, c], [pa, pd, pc]),
            self.facing([d, b, c], [pd, pb, pc]),
        ];
        let worst = old[0].min(old[1]);
        if new.iter().any(|&f| f < TILTED && f <= worst) {
            return false;
        }
        if worst >= TILTED && !unjoins && !self.flip_keeps_bending(h, g) {
            return false;
        }
        let (before, after) = (
            angle_measure(pa, pb, pc).min(angle_measure(pb, pa, pd)),
            angle_measure(pa, pd, pc).min(angle_measure(pd, pb, pc)),
        );
        if by_angle {
            after > before
        } else {
            after > 0.35 || after > before
        }
    }

    /// Splits edges that join two rails without being part of one, so that a later
    /// stage finds room beside each rail.
    pub fn split_joining_edges(&mut self) -> Result<usize, crate::work::WorkError> {
        let mut count = 0;
        for h in 0..self.mesh.twin.len() as u32 {
            if self.mesh.is_edge(h) && self.joins_rails(h) {
                // Over a bend of one rail a flip does; between two rails only a vertex.
                if self.flip_is_fair(h, true) {
                    self.mesh.flip(h);
                } else {
                    self.split(h)?;
                }
                count += 1;
            }
        }
        Ok(count)
    }

    fn joins_rails(&self, h: u32) -> bool {
        let mesh: &EditMesh = &self.mesh;
        mesh.segment_of(h).is_none()
            && mesh.on_rail[mesh.from(h) as usize]
            && mesh.on_rail[mesh.to(h) as usize]
    }
}

/// A measure from 0 (no area) to 1 (equal sides): area over the sum of squared sides.
pub(super) fn angle_measure(a: DVec3, b: DVec3, c: DVec3) -> f64 {
    let area = (b - a).cross(c - a).length();
    let sides = a.distance_squared(b) + b.distance_squared(c) + c.distance_squared(a);
    if sides > 0.0 {
        2.0 * 3f64.sqrt() * area / sides
    } else {
        0.0
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::symmetry::fixtures::{grid, sculpt_of};

    /// Edges at vertices are counted once and kept count of: the same flips as if they were counted for each edge.
    #[test]
    fn counts_kept_while_flipping_are_those_of_a_walk() {
        // Rows slanted by turns: vertices of five and of seven.
        let sheet = grid(20, 20, [false, false], |u, v| {
            DVec3::new(10.0 * u + 2.5 * (15.0 * v).sin(), 10.0 * v, (4.0 * u).sin())
        });
        let sculpt = sculpt_of(sheet);
        let made = || {
            let mut mesh = EditMesh::build(&sculpt.mesh).unwrap();
            for h in (0..mesh.twin.len() as u32).step_by(7) {
                if mesh.is_edge(h) && mesh.can_flip(h) {
                    mesh.flip(h);
                }
            }
            Remesher::new(mesh, Vec::new(), &sculpt, None, 0.5)
        };
        let (mut kept, mut walked) = (made(), made());
        kept.flip_to_even_valence();
        let mut flips = 0;
        for h in 0..walked.mesh.twin.len() as u32 {
            if walked.mesh.is_edge(h)
                && walked.flip_evens_valence(h, &walked.valences())
                && walked.flip_is_fair(h, false)
            {
                walked.mesh.flip(h);
                flips += 1;
            }
        }
        assert!(flips > 20, "{flips}");
        assert_eq!(kept.mesh.tri, walked.mesh.tri);
    }

    type Choice = dyn Fn(&Remesher<'_>, u32) -> bool;

    /// Edges that no flip came near aren't asked again: the same flips as if all were, on a ridged sheet so
    /// slanted that flips make room for others over many sweeps.
    #[test]
    fn asking_only_where_something_changed_flips_the_same_edges() {
        let sheet = grid(24, 24, [false, false], |u, v| {
            let x = 6.0 * u + 14.0 * v;
            DVec3::new(x, 6.0 * v, -0.8 * (x - 10.0).abs())
        });
        let sculpt = sculpt_of(sheet);
        let made = || {
            let mesh = EditMesh::build(&sculpt.mesh).unwrap();
            Remesher::new(mesh, Vec::new(), &sculpt, None, 0.25)
        };
        let by_angle =
            |this: &Remesher<'_>, h: u32| this.is_not_delaunay(h) && this.flip_is_fair(h, true);
        let by_bend = |this: &Remesher<'_>, h: u32| this.flip_unbends(h);
        let choices: [&Choice; 2] = [&by_angle, &by_bend];
        let mut later = 0;
        for flips in choices {
            let (mut plain, mut swept) = (made(), Vec::new());
            for _ in 0..8 {
                let mut count = 0;
                for h in 0..plain.mesh.twin.len() as u32 {
                    if plain.mesh.is_edge(h) && flips(&plain, h) {
                        plain.mesh.flip(h);
                        count += 1;
                    }
                }
                swept.push(count);
            }
            assert!(swept[0] > 0, "{swept:?}");
            later += swept[1..].iter().sum::<u32>();
            let mut sparing = made();
            sparing.flip_until_settled(8, flips);
            assert_eq!(sparing.mesh.tri, plain.mesh.tri);
        }
        assert!(later > 20, "{later}");
    }
}
