//! Curves that part two singular places of one kind that lie close together.
//!
//! Where fewer than two quads fit between the places, as on the tip of a thin limb, no curve from the
//! starts along the rim happens to run between them. So these curves start from between the places
//! and run both ways to the rim.

use rayon::prelude::*;

use super::cuts::Gaps;
use super::lay::{Candidate, Cause, Laying};
use super::regions::Region;
use super::trace::{edge_run, walk};

/// Quads within which singular places crowd: starts lie a quad apart, so further apart they are parted by some.
const CROWD: f64 = 2.0;

impl Laying<'_> {
    /// Streamlines through the middle between each singular place and the nearest one of its kind, if
    /// that is near.
    pub(super) fn between(&self, region: &Region) -> Vec<Candidate> {
        let rim = Gaps::of(self.field, self.positions, &self.marks, region);
        let limit = self.walk_limit(region);
        let corners = |t: u32| self.field.topology.triangles[t as usize];
        let open = |v: &u32| !self.marks.is_marked(*v);
        let middle = |&(a, b): &(u32, u32)| {
            let from: Vec<u32> = corners(a).into_iter().filter(open).collect();
            let run = self.paths(&from, &corners(b), CROWD * self.quad, &[], |_| true)?;
            run.get(run.len() / 2).copied().filter(open)
        };
        let mut middles: Vec<u32> = self.pairs(region).iter().filter_map(middle).collect();
        middles.sort_unstable();
        middles.dedup();
        let across = |&v: &u32| {
            let angle = self.field.angle[v as usize];
            [0.0, std::f64::consts::FRAC_PI_2]
                .map(|turn| self.both_ways(region, &rim, v, angle + turn, limit))
        };
        let found: Vec<_> = middles.par_iter().map(across).collect();
        found.into_iter().flatten().flatten().collect()
    }

    /// For each singular place of a region the nearest one of its kind, if that is near, as triangles; each
    /// pair once.
    fn pairs(&self, region: &Region) -> Vec<(u32, u32)> {
        let all = &region.singularities;
        let mut pairs: Vec<(u32, u32)> = Vec::new();
        for one in all {
            let others = all
                .iter()
                .filter(|s| s.triangle != one.triangle && s.quarters * one.quarters > 0);
            let way = |t: u32| self.middle(t).distance(self.middle(one.triangle));
            let near = others.filter(|s| way(s.triangle) < CROWD * self.quad);
            if let Some(near) = near.min_by(|a, b| {
                way(a.triangle)
                    .total_cmp(&way(b.triangle))
                    .then(a.triangle.cmp(&b.triangle))
            }) {
                pairs.push((
                    one.triangle.min(near.triangle),
                    one.triangle.max(near.triangle),
                ));
            }
        }
        pairs.sort_unstable();
        pairs.dedup();
        pairs
    }

    /// The streamline through an unmarked vertex, from rim to rim.
    pub(super) fn both_ways(
        &self,
        region: &Region,
        rim: &Gaps,
        vertex: u32,
        angle: f64,
        limit: f64,
    ) -> Option<Candidate> {
        let arm = |angle: f64| {
            let line = walk(self.field, &self.marks, vertex, angle, limit)?;
            let met = line.crossings.last().filter(|_| line.arrived)?;
            let (run, _) = edge_run(self.field, &self.marks, vertex, &line)?;
            self.land(region, rim, run, rim.rim.place(met.0)?, met.1)
        };
        let (one, gap) = arm(angle)?;
        let (other, other_gap) = arm(angle + std::f64::consts::PI)?;
        let mut run: Vec<u32> = one.into_iter().rev().collect();
        if other[1..].iter().any(|v| run.contains(v)) {
            return None;
        }
        run.extend(&other[1..]);
        let cost = self.by_length(&run) + self.crowding(gap) + self.crowding(other_gap);
        Some(Candidate {
            run,
            cost,
            cause: Cause::Part,
        })
    }
}
