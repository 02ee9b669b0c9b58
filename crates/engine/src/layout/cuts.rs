//! What a region falls into along a curve that is tried, told without walking over the region.

use mesh::DVec3;

use super::lay::Laying;
use super::marks::Marks;
use super::regions::{Loop, Region, Shape, walked, without_near_pairs};
use crate::field::Field;

/// Where each half-edge stands on its region's boundary.
pub(super) struct Rim {
    /// Half-edge, loop and position, by half-edge.
    places: Vec<(u32, u32, u32)>,
}

impl Rim {
    /// The rim of a region.
    pub fn of(region: &Region) -> Self {
        let mut places = Vec::new();
        for (l, one) in region.loops.iter().enumerate() {
            let halves = one.halves.iter().enumerate();
            places.extend(halves.map(|(i, &h)| (h, l as u32, i as u32)));
        }
        places.sort_unstable();
        Self { places }
    }

    /// Loop and position of a half-edge.
    pub fn place(&self, half: u32) -> Option<(usize, usize)> {
        let i = self.places.binary_search_by_key(&half, |p| p.0).ok()?;
        let (_, l, position) = self.places[i];
        Some((l as usize, position as usize))
    }
}

/// A rim with the lengths along it.
pub(super) struct Gaps {
    /// Where half-edges stand.
    pub rim: Rim,
    /// By loop and position: distance along the loop to the nearest node or corner, model units.
    pub to_node: Vec<Vec<f64>>,
    /// By loop and position: length of the half-edge, model units.
    pub lengths: Vec<Vec<f64>>,
}

impl Gaps {
    /// Those of a region.
    pub fn of(field: &Field, positions: &[DVec3], marks: &Marks, region: &Region) -> Self {
        let topology = &field.topology;
        let mut gaps = Self {
            rim: Rim::of(region),
            to_node: Vec::new(),
            lengths: Vec::new(),
        };
        for one in &region.loops {
            let n = one.halves.len();
            let length: Vec<f64> = one
                .halves
                .iter()
                .map(|&h| {
                    positions[topology.from(h) as usize]
                        .distance(positions[topology.to(h) as usize])
                })
                .collect();
            let mut near = vec![f64::INFINITY; n];
            for (i, &h) in one.halves.iter().enumerate() {
                if one.turns[i] != 2 || marks.is_node(topology.from(h)) {
                    near[i] = 0.0;
                }
            }
            // Twice, so that distances run over the place where the loop's list starts.
            for _ in 0..2 {
                for i in 0..n {
                    near[(i + 1) % n] = near[(i + 1) % n].min(near[i] + length[i]);
                }
                for i in (0..n).rev() {
                    near[i] = near[i].min(near[(i + 1) % n] + length[i]);
                }
            }
            gaps.to_node.push(near);
            gaps.lengths.push(length);
        }
        gaps
    }
}

impl Laying<'_> {
    /// The shapes of what a region, whose triangles are numbered in `sides`, falls into along a run
    /// that was just laid from its rim to its rim. `None` where only a walk over the triangles can
    /// tell: in a region with handles, or for a run that is none.
    pub(super) fn cut(
        &self,
        region: &Region,
        rim: &Rim,
        run: &[u32],
        edges: &[u32],
    ) -> Option<Vec<Shape>> {
        let topology = &self.field.topology;
        let left = topology.half_between(run[0], run[1])?;
        let right = topology.half_between(run[1], run[0])?;
        let all: usize = region.loops.iter().map(|l| l.halves.len()).sum();
        let most = all + 2 * edges.len();
        let one = self.loop_from(left, most);
        // Beside the run the loop has half-edges of the region's rim, before and after it.
        let after = *one.halves.get(edges.len())?;
        let (met, _) = rim.place(after)?;
        let (begun, _) = rim.place(*one.halves.last()?)?;
        if one.halves.contains(&right) {
            return self.joined(region, one, (begun, met), edges.len());
        }
        let other = self.loop_from(right, most);
        let whole = region.loops[met].halves.len() + 2 * edges.len();
        let planar = region.euler == 2 - region.loops.len() as i64;
        if met != begun || !planar || one.halves.len() + other.halves.len() != whole {
            return None;
        }
        let odd = self.sides.odd_side(self.field, edges)?;
        let is_odd = |half: u32| Some(odd.has(self.sides.number_of(half / 3)?));
        let left_is_odd = is_odd(left)?;
        if left_is_odd == is_odd(right)? {
            return None;
        }
        let mut loops: [Vec<&Loop>; 2] = [vec![&one], vec![&other]];
        for (l, kept) in region.loops.iter().enumerate() {
            if l != met {
                let with_left = is_odd(*kept.halves.first()?)? == left_is_odd;
                loops[usize::from(!with_left)].push(kept);
            }
        }
        let parts = [true, false].into_iter().zip(&loops);
        let shapes = parts.map(|(on_left, loops)| {
            let here = on_left == left_is_odd;
            let mut shape = Shape::of_loops(2 - loops.len() as i64, loops.iter().copied());
            let inside = self.sides.singularities.iter();
            let inside = inside.filter(|s| odd.has(s.0) == here).map(|s| s.1);
            let left = without_near_pairs(self.field, inside.collect(), self.scale.cancel);
            shape.singularities = left.len();
            if let [one] = loops[..]
                && shape.is_patch()
            {
                let area = if here {
                    odd.area()
                } else {
                    self.sides.whole_area() - odd.area()
                };
                shape.bulge = self.scale.bulge(self.field, one, area);
            }
            shape
        });
        Some(shapes.collect())
    }

    /// The one shape that is left where a run joins two loops.
    fn joined(
        &self,
        region: &Region,
        one: Loop,
        (begun, met): (usize, usize),
        edges: usize,
    ) -> Option<Vec<Shape>> {
        let length = |l: usize| region.loops[l].halves.len();
        if begun == met || one.halves.len() != length(begun) + length(met) + 2 * edges {
            return None;
        }
        let others = region.loops.iter().enumerate();
        let others = others.filter(|(l, _)| *l != begun && *l != met);
        let loops = others.map(|(_, l)| l).chain([&one]);
        let mut shape = Shape::of_loops(region.euler + 1, loops);
        shape.singularities = region.singularities.len();
        if shape.is_patch() {
            let area = self.sides.whole_area();
            shape.bulge = self.scale.bulge(self.field, &one, area);
        }
        Some(vec![shape])
    }

    /// The loop that a half-edge is on, from it on; what there is of it after `most` half-edges.
    fn loop_from(&self, first: u32, most: usize) -> Loop {
        let mut passed = 0;
        walked(self.field, &self.marks, first, |h| {
            passed += 1;
            passed == 1 || (h != first && passed <= most)
        })
    }
}

#[cfg(test)]
mod tests {
    use super::super::regions::all_regions;
    use super::super::tests::{grounds, marks_of};
    use super::*;

    fn sorted(mut shapes: Vec<Shape>) -> Vec<Shape> {
        shapes.sort_by(|a, b| {
            let key = |s: &Shape| (s.euler, s.loops, s.corners, s.concavity, s.singularities);
            key(a).cmp(&key(b)).then(a.bulge.total_cmp(&b.bulge))
        });
        shapes
    }

    #[test]
    fn cuts_are_what_a_walk_over_the_triangles_finds() {
        let (mut told, mut parted, mut joined) = (0, 0, 0);
        for (case, curves, surface, field) in grounds() {
            let marks = marks_of(surface, field, curves, case.edge);
            let chains = surface.chains.len() as u32;
            let mut laying = Laying::new(field, &surface.positions, marks, chains, case.edge, 3.0);
            let mut waiting = all_regions(field, &laying.marks, &laying.scale);
            while let Some(region) = waiting.pop() {
                let rim = Rim::of(&region);
                laying
                    .sides
                    .set(field, &laying.marks, &region, &laying.scale);
                let mut last = None;
                for candidate in laying.candidates(&region) {
                    let Some(undo) = laying.lay(&candidate.run) else {
                        continue;
                    };
                    let cut = laying.cut(&region, &rim, &candidate.run, &undo.edges);
                    let walked: Vec<Region> = laying.parts(&candidate.run);
                    laying.undo(undo);
                    let Some(cut) = cut else { continue };
                    told += 1;
                    parted += usize::from(cut.len() == 2);
                    joined += usize::from(cut.len() == 1);
                    let (cut, walked) = (
                        sorted(cut),
                        sorted(walked.iter().map(Region::shape).collect()),
                    );
                    assert_eq!(cut.len(), walked.len(), "{}", case.name);
                    for (one, other) in cut.iter().zip(&walked) {
                        assert!((one.bulge - other.bulge).abs() < 1e-9, "{}", case.name);
                        let bulge = one.bulge;
                        assert_eq!(*one, Shape { bulge, ..*other }, "{}", case.name);
                    }
                    last = Some(candidate.run);
                }
                // On with what is left beside some curve, as long as that is worth it.
                if let Some(run) = last
                    && region.triangles.len() > 60
                    && laying.lay(&run).is_some()
                {
                    waiting.extend(laying.parts(&run));
                }
            }
        }
        assert!(
            told > 1000 && parted > 500 && joined > 20,
            "{told} {parted} {joined}"
        );
    }
}
