//! Lays curves until every region is a patch, the most useful one first.

use std::collections::BinaryHeap;

use mesh::DVec3;
use rayon::prelude::*;

use super::cuts::{Gaps, Rim};
use super::marks::{Marks, Sector, VertexMarks};
use super::reached::Pool;
use super::regions::{Region, RegionScale, Scratch, Shape, all_regions, region_of};
use super::sides::Sides;
use super::slots::has_the_fields_slots;
use super::trace::{edge_run, run_length, walk};
use crate::field::Field;
use crate::queue::Cheapest;

/// Why a curve was laid.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Cause {
    /// It carries on a guide that ends in the open, or a concave corner.
    Onward,
    /// It closes around a limb, so that the limb's rows do.
    Around,
    /// It joins two boundaries of a region that isn't a disk.
    Join,
    /// It parts singularities or corners.
    Part,
    /// It runs over what bulges out of a patch.
    Over,
    /// No curve along the field served; this one is a shortest path.
    Shortest,
}

/// A curve that the layout added.
#[derive(Clone, Debug, PartialEq)]
pub struct LaidCurve {
    /// Work-surface vertices in order.
    pub vertices: Vec<u32>,
    /// Whether it closes on its first vertex.
    pub closed: bool,
    /// Why.
    pub cause: Cause,
}

/// The layout in the making.
pub struct Laying<'a> {
    pub field: &'a Field,
    pub positions: &'a [DVec3],
    pub marks: Marks,
    pub curves: Vec<LaidCurve>,
    /// Curves before the first laid one: the chains.
    pub chains: u32,
    /// Edge length of the coming quads, model units.
    pub quad: f64,
    pub(super) scale: RegionScale,
    pub(super) sides: Sides,
    scratch: Scratch,
    reached: Pool,
}

#[derive(Clone, Debug)]
pub(super) struct Candidate {
    pub run: Vec<u32>,
    pub cost: f64,
    pub cause: Cause,
}

/// How far short of another curve, in quads, a guide may end to be led there directly.
const NEAR_END: f64 = 1.6;

/// Disorder that falls by less than this hasn't fallen.
const LEAST_GAIN: f64 = 1e-6;

/// Shortest paths that are tried for one region.
const MOST_SHORTEST: usize = 240;

/// What marking a run changed.
pub(super) struct Undo {
    pub edges: Vec<u32>,
    vertices: Vec<(u32, VertexMarks)>,
}

impl<'a> Laying<'a> {
    pub fn new(
        field: &'a Field,
        positions: &'a [DVec3],
        marks: Marks,
        chains: u32,
        quad: f64,
        cancel: f64,
    ) -> Self {
        Self {
            scratch: Scratch::new(field),
            reached: Pool::default(),
            sides: Sides::new(field.topology.triangles.len()),
            scale: RegionScale::of(field, positions, cancel * quad),
            field,
            positions,
            marks,
            curves: Vec::new(),
            chains,
            quad,
        }
    }

    /// Lays curves until no region can be bettered; gives the regions that stand.
    /// `rings_first`: closed curves around limbs before anything else.
    pub fn run(&mut self, most: usize, rings_first: bool) -> Vec<Region> {
        if rings_first {
            self.lay_rings(most);
        }
        let mut waiting = all_regions(self.field, &self.marks, &self.scale);
        waiting.reverse();
        let mut done = Vec::new();
        while let Some(region) = waiting.pop() {
            if region.disorder() < 1e-9 || self.curves.len() >= most {
                done.push(region);
                continue;
            }
            let chosen = self.best(&region, &self.candidates(&region)).or_else(|| {
                if region.is_patch() {
                    return None;
                }
                // A shortest path does unless it leaves together what a curve from between parts.
                let shortest = self.best(&region, &self.shortest(&region));
                let between = self.best(&region, &self.between(&region));
                match (shortest, between) {
                    (Some(path), Some(curve)) if curve.0 < path.0 + LEAST_GAIN => Some(path),
                    (path, curve) => curve.or(path),
                }
            });
            match chosen {
                Some((_, candidate)) if self.lay(&candidate.run).is_some() => {
                    self.curves.push(LaidCurve {
                        vertices: candidate.run.clone(),
                        closed: false,
                        cause: candidate.cause,
                    });
                    let mut parts = self.parts(&candidate.run);
                    parts.reverse();
                    waiting.extend(parts);
                }
                _ => done.push(region),
            }
        }
        for region in &mut done {
            region.triangles.sort_unstable();
        }
        let mut done = self.through_pockets(done, most);
        done.sort_by_key(|r| r.triangles.first().copied());
        done
    }

    /// The candidate that lowers the disorder most for its cost, and by how much; `None` if none lowers it.
    fn best(&mut self, region: &Region, candidates: &[Candidate]) -> Option<(f64, Candidate)> {
        let before = region.disorder();
        let rim = Rim::of(region);
        self.sides.set(self.field, &self.marks, region, &self.scale);
        let mut best: Option<(f64, f64, usize)> = None;
        for (i, candidate) in candidates.iter().enumerate() {
            let Some(undo) = self.lay(&candidate.run) else {
                continue;
            };
            if candidate.cause != Cause::Shortest
                && !has_the_fields_slots(&self.marks, self.field, &candidate.run, self.chains)
            {
                self.undo(undo);
                continue;
            }
            let after: f64 = match self.cut(region, &rim, &candidate.run, &undo.edges) {
                Some(parts) => parts.iter().map(Shape::disorder).sum(),
                None => {
                    let parts = self.parts(&candidate.run);
                    parts.iter().map(Region::disorder).sum()
                }
            };
            self.undo(undo);
            let gain = before - after;
            if gain > LEAST_GAIN {
                let score = gain - candidate.cost;
                if best.is_none_or(|b| score > b.0 + 1e-12) {
                    best = Some((score, gain, i));
                }
            }
        }
        best.map(|(_, gain, i)| (gain, candidates[i].clone()))
    }

    /// Marks a run of vertices as the next curve; `None`, with nothing changed, if an end has no room.
    pub(super) fn lay(&mut self, run: &[u32]) -> Option<Undo> {
        let topology = &self.field.topology;
        let edges: Vec<u32> = run
            .windows(2)
            .map(|w| topology.edge_between(w[0], w[1]))
            .collect::<Option<_>>()?;
        if edges.is_empty()
            || edges
                .iter()
                .any(|&e| self.marks.curve_of_edge[e as usize].is_some())
        {
            return None;
        }
        let inner = &run[1..run.len() - 1];
        if inner.iter().any(|&v| self.marks.is_marked(v)) {
            return None;
        }
        let undo = self.mark_edges(run, &edges);
        for i in 1..run.len() - 1 {
            self.marks.pass(self.field, run[i], edges[i - 1], edges[i]);
        }
        let first = self.marks.insert(self.field, run[0], edges[0]);
        let last = self
            .marks
            .insert(self.field, run[run.len() - 1], edges[edges.len() - 1]);
        if first && last {
            Some(undo)
        } else {
            self.undo(undo);
            None
        }
    }

    /// Gives these edges to the next curve; what the run's vertices were before, to go back to.
    pub(super) fn mark_edges(&mut self, run: &[u32], edges: &[u32]) -> Undo {
        let id = self.chains + self.curves.len() as u32;
        for &e in edges {
            self.marks.curve_of_edge[e as usize] = Some(id);
        }
        Undo {
            edges: edges.to_vec(),
            vertices: run
                .iter()
                .map(|&v| (v, self.marks.at[v as usize].clone()))
                .collect(),
        }
    }

    pub(super) fn undo(&mut self, undo: Undo) {
        for e in undo.edges {
            self.marks.curve_of_edge[e as usize] = None;
        }
        // In reverse, so that a vertex at both ends gets its oldest state back.
        for (v, marks) in undo.vertices.into_iter().rev() {
            self.marks.at[v as usize] = marks;
        }
    }

    /// The one or two regions beside a run that was just laid.
    pub(super) fn parts(&mut self, run: &[u32]) -> Vec<Region> {
        let topology = &self.field.topology;
        let mut parts: Vec<Region> = Vec::new();
        for (a, b) in [(run[0], run[1]), (run[1], run[0])] {
            if let Some(h) = topology.half_between(a, b)
                && self.scratch.seen[h as usize / 3] == 0
            {
                parts.push(region_of(
                    self.field,
                    &self.marks,
                    h / 3,
                    &self.scale,
                    &mut self.scratch,
                ));
            }
        }
        for part in &parts {
            for &t in &part.triangles {
                self.scratch.seen[t as usize] = 0;
            }
        }
        parts
    }

    /// Curves along the field that could be laid in a region.
    pub(super) fn candidates(&self, region: &Region) -> Vec<Candidate> {
        let rim = Gaps::of(self.field, self.positions, &self.marks, region);
        let concave = region.loops.iter().any(|l| l.concavity() > 0);
        let limit = self.walk_limit(region);
        let starts = self.starts(region, &rim, concave);
        let found: Vec<Vec<Candidate>> = starts
            .par_iter()
            .map(|&start| self.candidates_from(region, &rim, start, concave, limit))
            .collect();
        found.concat()
    }

    /// Curves that leave a place of a region's boundary.
    fn candidates_from(
        &self,
        region: &Region,
        rim: &Gaps,
        (l, i): (usize, usize),
        concave: bool,
        limit: f64,
    ) -> Vec<Candidate> {
        let mut found = Vec::new();
        let half = region.loops[l].halves[i];
        let vertex = self.field.topology.from(half);
        let Some(sector) =
            self.marks
                .sector_from(self.field, vertex, self.field.topology.edge(half))
        else {
            return found;
        };
        if sector.quarters == 4 {
            found.extend(self.to_near_curve(region, vertex, sector));
        }
        for step in 1..sector.quarters {
            let cause = if concave {
                Cause::Onward
            } else if region.is_disk() {
                Cause::Part
            } else {
                Cause::Join
            };
            if let Some(mut candidate) = self.trace(region, rim, vertex, sector, step, limit) {
                candidate.cause = cause;
                candidate.cost += self.crowding(rim.to_node[l][i]);
                if concave && sector.quarters == 4 && step != 2 {
                    candidate.cost += 2.0;
                }
                found.push(candidate);
            }
        }
        found
    }

    /// For a guide that ends in the open, but no more than about a quad short of another curve
    /// ahead of it: the shortest way there.
    fn to_near_curve(&self, region: &Region, vertex: u32, sector: Sector) -> Option<Candidate> {
        let topology = &self.field.topology;
        let reach = NEAR_END * self.quad;
        let here = self.positions[vertex as usize];
        let edge = sector.from;
        let [a, b] = topology.ends(edge);
        let ahead =
            (here - self.positions[if a == vertex { b } else { a } as usize]).normalize_or_zero();
        let own = self.marks.curve_of_edge[edge as usize];
        let mut goals: Vec<u32> = Vec::new();
        for one in &region.loops {
            for (i, &h) in one.halves.iter().enumerate() {
                let v = topology.from(h);
                let way = self.positions[v as usize] - here;
                let other = self.marks.at[v as usize]
                    .marks
                    .iter()
                    .all(|m| self.marks.curve_of_edge[m.edge as usize] != own);
                if one.turns[i] >= 2
                    && other
                    && way.length() <= reach
                    && way.normalize_or_zero().dot(ahead) > 0.5
                {
                    goals.push(v);
                }
            }
        }
        goals.sort_unstable();
        goals.dedup();
        let run = self.paths(&[vertex], &goals, reach, &[], |_| true)?;
        let length = run_length(self.positions, &run);
        Some(Candidate {
            run,
            cost: 0.2 * length / self.quad - 0.5,
            cause: Cause::Onward,
        })
    }

    /// What a curve costs for its length.
    pub(super) fn by_length(&self, run: &[u32]) -> f64 {
        0.012 * run_length(self.positions, run) / self.quad
    }

    pub(super) fn walk_limit(&self, region: &Region) -> f64 {
        let area = region.triangles.len() as f64 * 0.45 * self.field_edge().powi(2);
        (8.0 * area.sqrt()).max(20.0 * self.quad)
    }

    fn field_edge(&self) -> f64 {
        self.quad * 0.3
    }

    /// What it costs to start or end at this distance from the nearest node: nothing on it or far
    /// from it, more the shorter the arc that would be left.
    pub(super) fn crowding(&self, to_node: f64) -> f64 {
        let quads = to_node / self.quad;
        if quads < 1e-9 {
            -0.25
        } else if quads < 1.5 {
            0.5 * (1.5 - quads)
        } else {
            0.0
        }
    }

    /// Positions on the boundary loops where a curve may start.
    fn starts(&self, region: &Region, rim: &Gaps, concave: bool) -> Vec<(usize, usize)> {
        let mut starts = Vec::new();
        for (l, one) in region.loops.iter().enumerate() {
            let whole: f64 = rim.lengths[l].iter().sum();
            let spacing = self.quad.max(whole / 48.0);
            let mut since = spacing;
            for i in 0..one.halves.len() {
                let vertex = self.field.topology.from(one.halves[i]);
                let wanted = if concave {
                    one.turns[i] > 2
                } else if one.turns[i] != 2 {
                    false
                } else if self.marks.is_node(vertex) {
                    true
                } else {
                    since >= spacing && rim.to_node[l][i] >= 0.6 * self.quad
                };
                if wanted {
                    starts.push((l, i));
                    since = 0.0;
                }
                since += rim.lengths[l][i];
            }
        }
        starts
    }

    fn trace(
        &self,
        region: &Region,
        rim: &Gaps,
        vertex: u32,
        sector: Sector,
        step: u8,
        limit: f64,
    ) -> Option<Candidate> {
        let angle = self.marks.direction_in(self.field, vertex, sector, step);
        let line = walk(self.field, &self.marks, vertex, angle, limit)?;
        if !line.arrived {
            return None;
        }
        let met = line.crossings.last()?;
        let (run, _) = edge_run(self.field, &self.marks, vertex, &line)?;
        let place = rim.rim.place(met.0)?;
        let (run, end_gap) = self.land(region, rim, run, place, met.1)?;
        let length = run_length(self.positions, &run);
        // A short curve is a sliver, unless it brings a guide's end to where it is going.
        if length < 0.7 * self.quad && sector.quarters == 2 {
            return None;
        }
        let mut cost = self.by_length(&run) + self.crowding(end_gap);
        cost += self.nearness_to_singularities(region, &run);
        Some(Candidate {
            run,
            cost,
            cause: Cause::Part,
        })
    }

    /// Middle of a triangle, model units.
    pub(super) fn middle(&self, triangle: u32) -> DVec3 {
        let corners = self.field.topology.triangles[triangle as usize];
        corners
            .iter()
            .map(|&v| self.positions[v as usize])
            .sum::<DVec3>()
            / 3.0
    }

    fn nearness_to_singularities(&self, region: &Region, run: &[u32]) -> f64 {
        let mut cost = 0.0;
        for s in &region.singularities {
            let at = self.middle(s.triangle);
            let near = run
                .iter()
                .map(|&v| self.positions[v as usize].distance(at))
                .fold(f64::INFINITY, f64::min);
            cost += 0.4 * (1.2 - near / self.quad).max(0.0);
        }
        cost
    }

    /// Leads a run to the best vertex of the curve that it met, a node if one is near.
    pub(super) fn land(
        &self,
        region: &Region,
        rim: &Gaps,
        run: Vec<u32>,
        place: (usize, usize),
        share: f64,
    ) -> Option<(Vec<u32>, f64)> {
        let (l, i) = place;
        let one = &region.loops[l];
        let n = one.halves.len();
        let reach = 0.9 * self.quad;
        let mut best: Option<(f64, usize, f64)> = None;
        let mut consider = |j: usize, along: f64| {
            let vertex = self.field.topology.from(one.halves[j]);
            let node = self.marks.is_node(vertex);
            if one.turns[j] < 2 || vertex == run[0] {
                return;
            }
            let gap = if node { 0.0 } else { rim.to_node[l][j] };
            let cost = along / self.quad
                + if node {
                    -0.9
                } else {
                    1.6 * (0.8 - gap / self.quad).max(0.0)
                };
            if best.is_none_or(|b| cost < b.0) {
                best = Some((cost, j, gap));
            }
        };
        let mut along = rim.lengths[l][i] * share;
        let mut j = i;
        for _ in 0..n {
            consider(j, along);
            j = (j + n - 1) % n;
            along += rim.lengths[l][j];
            if along > reach {
                break;
            }
        }
        let mut along = rim.lengths[l][i] * (1.0 - share);
        let mut j = (i + 1) % n;
        for _ in 0..n {
            if along > reach {
                break;
            }
            consider(j, along);
            along += rim.lengths[l][j];
            j = (j + 1) % n;
        }
        let (_, j, gap) = best?;
        let target = self.field.topology.from(one.halves[j]);
        Some((self.lead_to(run, target)?, gap))
    }

    /// Ends a run at `target`, leaving its own way about a quad before the end.
    fn lead_to(&self, mut run: Vec<u32>, target: u32) -> Option<Vec<u32>> {
        let topology = &self.field.topology;
        let last = *run.last()?;
        if topology.edge_between(last, target).is_some() && run.len() >= 2 {
            run.push(target);
            return Some(run);
        }
        let goal = self.positions[target as usize];
        let distance = self.positions[last as usize].distance(goal);
        let mut back = 0.0;
        while run.len() > 1 && back < 1.2 * distance.max(0.4 * self.quad) {
            let gone = run.pop()?;
            back += self.positions[gone as usize].distance(self.positions[*run.last()? as usize]);
        }
        let from = *run.last()?;
        let reach = 4.0 * (distance + back) + 2.0 * self.quad;
        let tail = self.paths(&[from], &[target], reach, &run, |_| true)?;
        run.extend(&tail[1..]);
        Some(run)
    }

    /// Shortest path from any source to the first goal reached, through unmarked vertices and
    /// along edges that are `free`. To one goal, what lies towards it is looked at first: no path is
    /// shorter than the straight line (Hart, Nilsson & Raphael 1968).
    pub(super) fn paths(
        &self,
        sources: &[u32],
        goals: &[u32],
        reach: f64,
        avoid: &[u32],
        free: impl Fn(u32) -> bool,
    ) -> Option<Vec<u32>> {
        let topology = &self.field.topology;
        let at = |v: u32| self.positions[v as usize];
        let ahead = |v: u32| match goals {
            &[goal] => at(v).distance(at(goal)),
            _ => 0.0,
        };
        let mut best = self.reached.taken(self.positions.len());
        let mut queue = BinaryHeap::new();
        for &s in sources {
            best.put(s, 0.0, None);
            queue.push(Cheapest(ahead(s), s));
        }
        let mut found = None;
        while let Some(Cheapest(whole, v)) = queue.pop() {
            let cost = best.cost(v);
            if whole > cost + ahead(v) {
                continue;
            }
            if goals.contains(&v) {
                found = Some(best.run_to(v));
                break;
            }
            if cost > reach || (self.marks.is_marked(v) && cost > 0.0) {
                continue;
            }
            topology.visit_neighbours(v, |w, edge| {
                let taken = self.marks.curve_of_edge[edge as usize].is_some();
                if taken || !free(edge) || (self.marks.is_marked(w) && !goals.contains(&w)) {
                    return;
                }
                let next = cost + at(v).distance(at(w));
                if next < best.cost(w) && !avoid.contains(&w) {
                    best.put(w, next, Some(v));
                    queue.push(Cheapest(next + ahead(w), w));
                }
            });
        }
        self.reached.given_back(best);
        found
    }

    /// Shortest paths across a region, for when no curve along the field serves.
    pub(super) fn shortest(&self, region: &Region) -> Vec<Candidate> {
        let rim = Gaps::of(self.field, self.positions, &self.marks, region);
        let topology = &self.field.topology;
        // With the side that each lies on: between the same two corners, on the same loop.
        let mut open: Vec<(usize, usize, usize)> = Vec::new();
        for (l, one) in region.loops.iter().enumerate() {
            let whole: f64 = rim.lengths[l].iter().sum();
            let spacing = (whole / 16.0).max(0.5 * self.quad);
            let mut since = spacing;
            let first = one.turns.iter().position(|&q| q == 1).unwrap_or(0);
            let mut side = 0;
            for k in 0..one.halves.len() {
                let i = (first + k) % one.halves.len();
                if one.turns[i] == 1 {
                    (side, since) = (side + 1, spacing);
                } else if since >= spacing || one.turns[i] > 2 {
                    open.push((l, i, side));
                    since = 0.0;
                }
                since += rim.lengths[l][i];
            }
        }
        let mut pairs = Vec::new();
        for (n, &(l, i, side)) in open.iter().enumerate() {
            for &(m, j, other) in &open[n + 1..] {
                // A cut off a straight side leaves two corners; one from a loop to itself, the hole.
                let straight =
                    side == other && region.corners() > 1 && region.loops[l].concavity() == 0;
                let serves = if region.is_disk() {
                    !straight
                } else {
                    l != m || region.loops.len() == 1
                };
                if serves {
                    pairs.push(((l, i), (m, j)));
                }
            }
        }
        // From a vertex on its rim a path could leave the region: into one that has both ends too.
        let mut mine = vec![false; topology.edge_count()];
        for &t in &region.triangles {
            for h in 3 * t..3 * t + 3 {
                mine[topology.edge(h) as usize] = true;
            }
        }
        let candidate = |&((l, i), (m, j)): &((usize, usize), (usize, usize))| {
            let from = topology.from(region.loops[l].halves[i]);
            let to = topology.from(region.loops[m].halves[j]);
            let within = |edge: u32| mine[edge as usize];
            if from == to {
                return None;
            }
            let run = self.paths(&[from], &[to], f64::INFINITY, &[], within)?;
            let cost = self.by_length(&run)
                + self.crowding(rim.to_node[l][i])
                + self.crowding(rim.to_node[m][j]);
            Some(Candidate {
                run,
                cost,
                cause: Cause::Shortest,
            })
        };
        let some = pairs.iter().step_by(1 + pairs.len() / MOST_SHORTEST);
        let some: Vec<_> = some.collect();
        some.into_par_iter().filter_map(candidate).collect()
    }
}
