//! Lays closed curves around limbs and handles, before anything else.

use std::f64::consts::TAU;

use super::lay::{Cause, LaidCurve, Laying, Undo};
use super::regions::{Loop, Region, Shape, all_regions, without_near_pairs};
use super::rings::{Ring, Search};

/// Area that a ring must cut off on either side, in halves of a ball of its girth.
const LIMB: f64 = 1.6;

/// A part of the surface, the rings that may be laid in it, and what each is worth there.
struct Part {
    region: Region,
    /// In the order that they were found in.
    rings: Vec<(usize, Ring)>,
    worth: Vec<f64>,
}

/// What a ring cuts off: shape and area.
type Cut = (Shape, f64);

impl Laying<'_> {
    /// Lays a closed curve around each limb and handle that has none.
    pub(super) fn lay_rings(&mut self, most: usize) {
        let search = Search::new(self.field, self.positions);
        for region in all_regions(self.field, &self.marks, &self.scale) {
            if region.disorder() < 1e-9 {
                continue;
            }
            // A body without any curve needs one, wherever.
            let mut first = region.loops.is_empty();
            let found = search.rings(&self.marks, &region.triangles, self.quad);
            let rings = found.into_iter().enumerate().collect();
            let mut parts = vec![self.weighed(region, rings, first)];
            while self.curves.len() < most {
                let mut best: Option<(f64, usize, usize, usize)> = None;
                for (p, part) in parts.iter().enumerate() {
                    for (i, (&worth, ring)) in part.worth.iter().zip(&part.rings).enumerate() {
                        let better = |b: &(f64, usize, usize, usize)| {
                            worth > b.0 || (worth == b.0 && ring.0 < b.1)
                        };
                        if best.as_ref().is_none_or(better) {
                            best = Some((worth, ring.0, p, i));
                        }
                    }
                }
                let Some((_, _, p, i)) = best else { break };
                let mut part = parts.swap_remove(p);
                let (_, ring) = part.rings.remove(i);
                part.worth.remove(i);
                first = false;
                if self.lay_ring(&ring.vertices).is_none() {
                    parts.push(part);
                    continue;
                }
                // Rings elsewhere are worth what they were; those beside this one are looked at anew.
                for region in self.parts(&ring.vertices) {
                    self.sides
                        .set(self.field, &self.marks, &region, &self.scale);
                    let topology = &self.field.topology;
                    let inside = |ring: &Ring| {
                        let half = topology.half_between(ring.vertices[0], ring.vertices[1]);
                        half.is_some_and(|h| self.sides.number_of(h / 3).is_some())
                    };
                    let (here, rest) = part.rings.into_iter().partition(|r| inside(&r.1));
                    part.rings = rest;
                    let here = self.weighed(region, here, first);
                    parts.push(here);
                }
                self.curves.push(LaidCurve {
                    vertices: ring.vertices,
                    closed: true,
                    cause: Cause::Around,
                });
            }
        }
    }

    /// Rings of a region with what they are worth; those that aren't needed, and so won't be once
    /// others are laid, are dropped for good.
    fn weighed(&mut self, region: Region, rings: Vec<(usize, Ring)>, first: bool) -> Part {
        self.sides
            .set(self.field, &self.marks, &region, &self.scale);
        let mut part = Part {
            region,
            rings: Vec::new(),
            worth: Vec::new(),
        };
        for (order, ring) in rings {
            let worth = self.worth_of(&part.region, &ring, first);
            if worth > 0.0 {
                part.rings.push((order, ring));
                part.worth.push(worth);
            }
        }
        part
    }

    /// What a ring is worth where it would be laid now; 0 where it can't be or isn't needed. The
    /// `first` curve of a body without any is always needed.
    fn worth_of(&mut self, region: &Region, ring: &Ring, first: bool) -> f64 {
        let Some(edges) = self.free_ring(&ring.vertices) else {
            return 0.0;
        };
        if let Some(cut) = self.cut_by_ring(region, &edges) {
            return worth(ring, &cut, first);
        }
        let Some(undo) = self.lay_ring(&ring.vertices) else {
            return 0.0;
        };
        let parts = self.parts(&ring.vertices);
        self.undo(undo);
        let cut: Vec<Cut> = parts
            .iter()
            .map(|r| (r.shape(), self.scale.area(&r.triangles)))
            .collect();
        worth(ring, &cut, first)
    }

    /// What a ring cuts a region into whose triangles are numbered in `sides`; `None` in a region
    /// with handles, where only a walk over the triangles can tell.
    fn cut_by_ring(&self, region: &Region, edges: &[u32]) -> Option<[Cut; 2]> {
        if region.euler != 2 - region.loops.len() as i64 {
            return None;
        }
        let odd = self.sides.odd_side(self.field, edges)?;
        let whole = self.sides.whole_area();
        let mut cut: [(Vec<&Loop>, f64); 2] =
            [odd.area(), whole - odd.area()].map(|area| (Vec::new(), area));
        for one in &region.loops {
            let number = self.sides.number_of(*one.halves.first()? / 3)?;
            cut[usize::from(!odd.has(number))].0.push(one);
        }
        let mut here = true;
        Some(cut.map(|(loops, area)| {
            let side = std::mem::replace(&mut here, false);
            // The ring is one more loop.
            let mut shape = Shape::of_loops(1 - loops.len() as i64, loops.iter().copied());
            shape.loops += 1;
            let inside = self.sides.singularities.iter();
            let inside = inside.filter(|s| odd.has(s.0) == side).map(|s| s.1);
            let left = without_near_pairs(self.field, inside.collect(), self.scale.cancel);
            shape.singularities = left.len();
            (shape, area)
        }))
    }

    /// Edges of a closed run; `None` if it isn't free.
    fn free_ring(&self, ring: &[u32]) -> Option<Vec<u32>> {
        let topology = &self.field.topology;
        let n = ring.len();
        if ring.iter().any(|&v| self.marks.is_marked(v)) {
            return None;
        }
        (0..n)
            .map(|i| topology.edge_between(ring[i], ring[(i + 1) % n]))
            .collect()
    }

    /// Marks a closed run; `None`, with nothing changed, if it isn't free.
    fn lay_ring(&mut self, ring: &[u32]) -> Option<Undo> {
        let edges = self.free_ring(ring)?;
        let n = ring.len();
        let undo = self.mark_edges(ring, &edges);
        for i in 0..n {
            self.marks
                .pass(self.field, ring[i], edges[(i + n - 1) % n], edges[i]);
        }
        Some(undo)
    }
}

/// What a ring is worth that cuts a region into these parts; 0 for one that isn't needed.
fn worth(ring: &Ring, parts: &[Cut], first: bool) -> f64 {
    // Half a ball of the ring's girth: the least that ends a limb.
    let end = ring.length * ring.length / TAU;
    let [one, two] = parts else {
        // It cuts a handle.
        let whole: f64 = parts.iter().map(|p| p.1).sum();
        return 10.0 * whole / (ring.length * ring.length);
    };
    let tube = |s: &Shape| s.euler == 0 && s.corners == 0 && s.singularities == 0;
    if tube(&one.0) || tube(&two.0) {
        return 0.0;
    }
    let least = one.1.min(two.1) / end;
    // With two limbs or more on either side it runs around the body between them, however little
    // of that lies on one side.
    let between = one.0.loops > 2 && two.0.loops > 2;
    if least >= LIMB || first || between {
        least
    } else {
        0.0
    }
}

#[cfg(test)]
mod tests {
    use super::super::tests::{grounds, marks_of};
    use super::*;

    #[test]
    fn rings_cut_off_what_a_walk_over_the_triangles_finds() {
        let mut told = 0;
        for (case, curves, surface, field) in grounds() {
            let marks = marks_of(surface, field, curves, case.edge);
            let chains = surface.chains.len() as u32;
            let mut laying = Laying::new(field, &surface.positions, marks, chains, case.edge, 3.0);
            let search = Search::new(field, &surface.positions);
            for region in all_regions(field, &laying.marks, &laying.scale) {
                let rings = search.rings(&laying.marks, &region.triangles, case.edge);
                laying
                    .sides
                    .set(field, &laying.marks, &region, &laying.scale);
                for ring in rings {
                    let Some(edges) = laying.free_ring(&ring.vertices) else {
                        continue;
                    };
                    let Some(mut cut) = laying.cut_by_ring(&region, &edges) else {
                        continue;
                    };
                    let undo = laying.lay_ring(&ring.vertices).unwrap();
                    let parts = laying.parts(&ring.vertices);
                    laying.undo(undo);
                    let area = |r: &Region| laying.scale.area(&r.triangles);
                    let mut walked: Vec<Cut> = parts.iter().map(|r| (r.shape(), area(r))).collect();
                    cut.sort_by(|a, b| a.1.total_cmp(&b.1));
                    walked.sort_by(|a, b| a.1.total_cmp(&b.1));
                    assert_eq!(walked.len(), 2, "{}", case.name);
                    for (one, other) in cut.iter().zip(&walked) {
                        assert!((one.1 - other.1).abs() < 1e-9 * other.1, "{}", case.name);
                        assert_eq!(
                            one.0,
                            Shape {
                                bulge: 0.0,
                                ..other.0
                            },
                            "{}",
                            case.name
                        );
                    }
                    told += 1;
                }
            }
        }
        assert!(told > 20, "{told}");
    }
}
