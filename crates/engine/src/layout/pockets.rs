//! Curves over what bulges out of a patch, which a grid between its sides alone would pass by.
//!
//! Laid flat, a patch shows how uneven its quads will be: its plane shape is shared out evenly among
//! them. Where little of the plane shape stands for much of the surface (a hem that flares, a toe, an ear), a
//! curve along the field is laid over it, so that its length is counted and quads are spread anew on both sides.

use std::f64::consts::FRAC_PI_2;

use rayon::prelude::*;

use super::cuts::Gaps;
use super::flat::{Flat, corner_uv, on_side};
use super::lay::{Candidate, Cause, LaidCurve, Laying};
use super::regions::Region;
use super::slots::has_the_fields_slots;

/// How many times as large as in the mean of its patch a quad may become until it passes the surface by.
const WIDER: f64 = 3.0;
/// Quads' worth of what is passed by from which on a curve is sought,
const DEEP: f64 = 6.0;
/// and the share of it that may stay.
const LESS: f64 = 0.7;
/// What the ends of a curve near to nodes cost (see [`Candidate`]), in shares of what is passed by.
const CROWDED: f64 = 0.25;
/// Curves that are tried in a patch.
const TRIED: usize = 12;

/// How uneven the quads of a patch would be.
struct Stretch {
    /// Of each triangle of the patch, how many times as large as in the mean quads on it would be; its
    /// logarithm.
    larger: Vec<f64>,
    /// What is passed by, in quads.
    passed: f64,
}

/// A patch, and how uneven its quads would be; none if it can't be laid flat.
type Part = (Region, Option<Stretch>);

impl Laying<'_> {
    /// Lays curves through patches whose quads would be too uneven, as long as that betters it;
    /// gives the patches that stand. Triangles of each are in rising order, before and after.
    pub(super) fn through_pockets(&mut self, patches: Vec<Region>, most: usize) -> Vec<Region> {
        let mut waiting = self.stretched(patches);
        waiting.reverse();
        let mut done = Vec::new();
        while let Some((patch, stretch)) = waiting.pop() {
            let cut = match stretch {
                Some(stretch) if stretch.passed > DEEP && self.curves.len() < most => {
                    self.cut_over(&patch, &stretch)
                }
                _ => None,
            };
            match cut {
                Some((candidate, parts)) if self.lay(&candidate.run).is_some() => {
                    self.curves.push(LaidCurve {
                        vertices: candidate.run,
                        closed: false,
                        cause: Cause::Over,
                    });
                    waiting.extend(parts.into_iter().rev());
                }
                _ => done.push(patch),
            }
        }
        done
    }

    fn stretched(&self, patches: Vec<Region>) -> Vec<Part> {
        let one = |patch: Region| {
            let stretch = self.stretch(&patch);
            (patch, stretch)
        };
        patches.into_par_iter().map(one).collect()
    }

    /// The curve that leaves least of a patch passed by, ends that crowd counted in, and what it parts the patch into.
    fn cut_over(&mut self, patch: &Region, stretch: &Stretch) -> Option<(Candidate, Vec<Part>)> {
        let mut candidates: Vec<(f64, Candidate)> = {
            let larger = self.larger_at(patch, stretch);
            let over = |c: &Candidate| c.run.iter().map(|&v| larger[v as usize]).sum::<f64>();
            let found = self.candidates(patch).into_iter();
            let found = found.chain(self.over_the_top(patch, &larger));
            found.map(|c| (over(&c), c)).collect()
        };
        candidates.retain(|c| c.0 > 0.0);
        // Those that run longest where most is passed by.
        candidates.sort_by(|a, b| b.0.total_cmp(&a.0));
        let mut best: Option<(f64, Candidate, Vec<Part>)> = None;
        let mut tried = 0;
        for (_, candidate) in candidates {
            if tried == TRIED {
                break;
            }
            let Some(parts) = self.parted(&candidate) else {
                continue;
            };
            tried += 1;
            let parts = self.stretched(parts);
            let left: Option<f64> = parts.iter().map(|p| Some(p.1.as_ref()?.passed)).sum();
            let Some(left) = left.map(|left| left / stretch.passed).filter(|&l| l < LESS) else {
                continue;
            };
            let score = left + CROWDED * candidate.cost;
            if best.as_ref().is_none_or(|b| score < b.0) {
                best = Some((score, candidate, parts));
            }
        }
        best.map(|(_, candidate, parts)| (candidate, parts))
    }

    /// Curves both ways from where most is passed by.
    fn over_the_top(&self, patch: &Region, larger: &[f64]) -> Vec<Candidate> {
        let corners = |&t: &u32| self.field.topology.triangles[t as usize];
        let free = |v: &u32| larger[*v as usize] > 0.0 && !self.marks.is_marked(*v);
        let vertices = patch.triangles.iter().flat_map(corners).filter(free);
        let higher = |a: &u32, b: &u32| {
            larger[*a as usize]
                .total_cmp(&larger[*b as usize])
                .then(b.cmp(a))
        };
        let Some(top) = vertices.max_by(higher) else {
            return Vec::new();
        };
        let rim = Gaps::of(self.field, self.positions, &self.marks, patch);
        let (angle, limit) = (self.field.angle[top as usize], self.walk_limit(patch));
        let ways = [0.0, FRAC_PI_2].into_iter();
        ways.filter_map(|turn| self.both_ways(patch, &rim, top, angle + turn, limit))
            .collect()
    }

    /// What a curve parts a patch into, if that is two patches with the poles that the field has there.
    fn parted(&mut self, candidate: &Candidate) -> Option<Vec<Region>> {
        let undo = self.lay(&candidate.run)?;
        let along = has_the_fields_slots(&self.marks, self.field, &candidate.run, self.chains);
        let mut parts = if along {
            self.parts(&candidate.run)
        } else {
            Vec::new()
        };
        self.undo(undo);
        for part in &mut parts {
            part.triangles.sort_unstable();
        }
        let has_its_poles = |part: &Region| {
            let turned: i32 = part.singularities.iter().map(|s| s.quarters).sum();
            part.is_patch() && part.corners() as i32 + turned == 4
        };
        (parts.len() == 2 && parts.iter().all(has_its_poles)).then_some(parts)
    }

    /// By vertex of the work surface: how far beyond [`WIDER`] quads there would be; 0 outside the patch.
    fn larger_at(&self, patch: &Region, stretch: &Stretch) -> Vec<f64> {
        let topology = &self.field.topology;
        let mut sums = vec![(0.0, 0.0); topology.vertex_count()];
        for (&t, larger) in patch.triangles.iter().zip(&stretch.larger) {
            for v in topology.triangles[t as usize] {
                let sum = &mut sums[v as usize];
                *sum = (sum.0 + larger, sum.1 + 1.0);
            }
        }
        let beyond = |(sum, count): (f64, f64)| (sum / count.max(1.0) - WIDER.ln()).max(0.0);
        sums.into_iter().map(beyond).collect()
    }

    /// How uneven the quads of a patch would be; `None` for what can't be laid flat.
    fn stretch(&self, patch: &Region) -> Option<Stretch> {
        if !patch.is_patch() {
            return None;
        }
        let rim = self.rim_by_length(patch)?;
        let even = |_, _| 1.0;
        let flat = Flat::of_rim(self.positions, self.field, &even, &patch.triangles, &rim).ok()?;
        let plane = |[a, b, c]: &[[f64; 2]; 3]| {
            ((b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0])).abs() / 2.0
        };
        let planes: Vec<f64> = flat.uv.iter().map(plane).collect();
        let areas = || {
            patch
                .triangles
                .iter()
                .map(|&t| self.scale.areas[t as usize])
        };
        let mean = areas().sum::<f64>() / planes.iter().sum::<f64>();
        let times = |(area, plane): (f64, &f64)| {
            let times = area / (mean * plane).max(f64::MIN_POSITIVE);
            times.clamp(1e-12, 1e12).ln()
        };
        let larger: Vec<f64> = areas().zip(&planes).map(times).collect();
        let beyond = areas().zip(&larger);
        let passed: f64 = beyond.map(|(a, l)| a * (l - WIDER.ln()).max(0.0)).sum();
        Some(Stretch {
            larger,
            passed: passed / (self.quad * self.quad),
        })
    }

    /// Where the half-edges of a patch's rim start on its plane shape, by lengths along its sides.
    fn rim_by_length(&self, patch: &Region) -> Option<Vec<(u32, [f64; 2])>> {
        let [one] = &patch.loops[..] else { return None };
        let n = one.halves.len();
        let first = one.turns.iter().position(|&q| q == 1)?;
        let sides = self.scale.sides(self.field, one);
        let corners = corner_uv(sides.len());
        let mut rim = Vec::with_capacity(n);
        let (mut side, mut gone) = (0, 0.0);
        for i in (0..n).map(|k| (first + k) % n) {
            if one.turns[i] == 1 && i != first {
                (side, gone) = (side + 1, 0.0);
            }
            let share = gone / sides[side].max(f64::MIN_POSITIVE);
            let at = on_side(corners[side], corners[(side + 1) % corners.len()], share);
            rim.push((one.halves[i], at));
            gone += self.scale.lengths[self.field.topology.edge(one.halves[i]) as usize];
        }
        Some(rim)
    }
}

#[cfg(test)]
mod tests {
    use mesh::DVec3;

    use super::super::regions::all_regions;
    use super::super::tests::marks_of;
    use super::*;
    use crate::symmetry::PlaneChoice;
    use crate::symmetry::fixtures::{grid, sculpt_of};
    use crate::testing::Case;

    /// A plate of 10 × 10 with a hill of this height in its middle, as one patch: what is passed by
    /// before and after curves are laid over it, and how many are.
    fn plate(height: f64) -> (f64, f64, usize) {
        let hill = |x: f64, y: f64| height * (-(x * x + y * y) / 1.5).exp();
        let mesh = grid(80, 80, [false; 2], |u, v| {
            let (x, y) = (10.0 * u - 5.0, 10.0 * v - 5.0);
            DVec3::new(x, y, hill(x, y))
        });
        let case = Case {
            name: "plate",
            sculpt: sculpt_of(mesh),
            guides: Vec::new(),
            plane: PlaneChoice::None,
            edge: 0.8,
            faces: None,
        };
        let (_, curves, surface, field) = case.with_field();
        let marks = marks_of(&surface, &field, &curves, case.edge);
        let chains = surface.chains.len() as u32;
        let mut laying = Laying::new(&field, &surface.positions, marks, chains, case.edge, 8.0);
        let mut patches = all_regions(&field, &laying.marks, &laying.scale);
        assert_eq!(patches.len(), 1);
        patches[0].triangles.sort_unstable();
        let passed = |laying: &Laying, patches: &[Region]| -> f64 {
            let stretches = patches.iter().map(|p| laying.stretch(p).unwrap());
            stretches.map(|s| s.passed).sum()
        };
        let before = passed(&laying, &patches);
        let after = laying.through_pockets(patches, 100);
        assert!(after.iter().all(Region::is_patch));
        let triangles: usize = after.iter().map(|p| p.triangles.len()).sum();
        assert_eq!(triangles, surface.triangles.len());
        (before, passed(&laying, &after), laying.curves.len())
    }

    #[test]
    fn a_curve_goes_over_a_hill_in_a_patch_and_none_over_level_ground() {
        let (before, after, curves) = plate(5.0);
        assert!(before > DEEP && curves > 0, "{before} {curves}");
        assert!(after < LESS * before, "{before} {after}");
        assert_eq!(plate(0.0), (0.0, 0.0, 0));
    }
}
