//! Regions: what the marked edges cut the surface into, and how far each is from
//! being a patch.

use std::collections::BTreeSet;

use super::marks::Marks;
use crate::field::{Field, Singularity};

/// A corner-counting walk along one boundary loop of a region.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Loop {
    /// Half-edges with the region on their left, in order.
    pub halves: Vec<u32>,
    /// Inner angle, in quarter turns, at the start of each half-edge; `None` where one
    /// curve passes straight on.
    pub turns: Vec<u8>,
}

impl Loop {
    /// Sum over the loop of 2 − quarters: convex corners less concave ones.
    #[cfg(test)]
    pub fn bend(&self) -> i32 {
        self.turns.iter().map(|&q| 2 - i32::from(q)).sum()
    }

    /// Number of convex corners.
    pub fn corners(&self) -> usize {
        self.turns.iter().filter(|&&q| q == 1).count()
    }

    /// Sum over concave places of quarters − 2.
    pub fn concavity(&self) -> i32 {
        self.turns.iter().map(|&q| (i32::from(q) - 2).max(0)).sum()
    }
}

/// A connected set of triangles bounded by marked edges.
#[derive(Clone, Debug, Default)]
pub struct Region {
    /// Triangles.
    pub triangles: Vec<u32>,
    /// Boundary loops, by lowest half-edge.
    pub loops: Vec<Loop>,
    /// V − E + F of the region cut open along the marks.
    pub euler: i64,
    /// Singularities that stay after near pairs of opposite sign are taken out.
    pub singularities: Vec<Singularity>,
    /// Area over that of a flat shape with such sides; 0 where it isn't known or no patch.
    pub bulge: f64,
}

impl Region {
    /// Number of convex corners on all loops.
    pub fn corners(&self) -> usize {
        self.loops.iter().map(Loop::corners).sum()
    }

    /// Whether the region is a disk.
    pub fn is_disk(&self) -> bool {
        self.euler == 1 && self.loops.len() == 1
    }

    /// Whether it can be filled: a disk of three to six convex corners, none concave.
    pub fn is_patch(&self) -> bool {
        self.shape().is_patch()
    }

    /// How far from a good patch, 0 at best; see [`Shape::disorder`].
    pub fn disorder(&self) -> f64 {
        self.shape().disorder()
    }

    /// What its worth hangs on.
    pub fn shape(&self) -> Shape {
        let mut shape = Shape::of_loops(self.euler, self.loops.iter());
        shape.singularities = self.singularities.len();
        shape.bulge = self.bulge;
        shape
    }
}

/// What a region's worth hangs on.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Shape {
    /// V − E + F of the region cut open along the marks.
    pub euler: i64,
    /// Boundary loops.
    pub loops: usize,
    /// Convex corners on all loops.
    pub corners: usize,
    /// Sum over concave places of quarters − 2.
    pub concavity: i32,
    /// Singularities that stay after near pairs of opposite sign are taken out.
    pub singularities: usize,
    /// Area over that of a flat shape with such sides; 0 where it isn't known or no patch.
    pub bulge: f64,
}

impl Shape {
    /// A shape with these boundary loops, as yet without singularities or bulge.
    pub fn of_loops<'a>(euler: i64, loops: impl Iterator<Item = &'a Loop>) -> Self {
        let mut shape = Self {
            euler,
            ..Self::default()
        };
        for one in loops {
            shape.loops += 1;
            shape.corners += one.corners();
            shape.concavity += one.concavity();
        }
        shape
    }

    /// Whether it can be filled: a disk of three to six convex corners, none concave.
    pub fn is_patch(&self) -> bool {
        let disk = self.euler == 1 && self.loops == 1;
        disk && (3..=6).contains(&self.corners) && self.concavity == 0
    }

    /// How far from a good patch, 0 at best. The weights order what is mended first:
    /// holes, concave places, too few or too many corners, singularities that
    /// would share a patch.
    pub fn disorder(&self) -> f64 {
        let holes = (1 - self.euler).max(0) as f64 + if self.loops == 0 { 2.0 } else { 0.0 };
        let corners = self.corners as f64;
        // Each cut that opens a hole adds four corners.
        let opened = corners + 4.0 * holes;
        let off = (3.0 - opened).max(0.0) * 1.5 + (opened - 5.0).max(0.0);
        let crowd = (self.singularities as f64 - 1.0).max(0.0);
        // A grid between the sides can't follow what bulges far out between them: an ear, a toe.
        let bulge = (self.bulge - FLAT_ENOUGH).clamp(0.0, MOST_BULGE);
        6.0 * holes + 4.0 * f64::from(self.concavity) + off + 0.8 * crowd + 0.6 * bulge
    }
}

/// Area, over the flat one, that a grid can still be laid on: an eighth of a ball has 1.47.
const FLAT_ENOUGH: f64 = 1.6;
/// More bulge than this is no worse: one cut can't mend all of it.
const MOST_BULGE: f64 = 3.0;

/// What regions are measured with.
#[derive(Default)]
pub struct RegionScale {
    /// Singularities of opposite sign nearer than this cancel (model units).
    pub cancel: f64,
    /// Area of each triangle, square model units; empty where bulges are no matter.
    pub areas: Vec<f64>,
    /// Length of each edge, model units.
    pub lengths: Vec<f64>,
}

impl RegionScale {
    /// For a surface with these positions.
    pub fn of(field: &Field, positions: &[mesh::DVec3], cancel: f64) -> Self {
        let topology = &field.topology;
        let place = |v: u32| positions[v as usize];
        Self {
            cancel,
            areas: topology
                .triangles
                .iter()
                .map(|t| {
                    let [a, b, c] = t.map(place);
                    (b - a).cross(c - a).length() / 2.0
                })
                .collect(),
            lengths: (0..topology.edge_count() as u32)
                .map(|e| {
                    let [a, b] = topology.ends(e).map(place);
                    a.distance(b)
                })
                .collect(),
        }
    }

    /// Area of triangles, square model units.
    pub fn area(&self, triangles: &[u32]) -> f64 {
        triangles.iter().map(|&t| self.areas[t as usize]).sum()
    }

    /// Lengths of a loop's sides, from its first corner on, model units.
    pub fn sides(&self, field: &Field, one: &Loop) -> Vec<f64> {
        let first = one.turns.iter().position(|&q| q == 1).unwrap_or(0);
        let n = one.halves.len();
        let mut sides: Vec<f64> = Vec::new();
        for k in 0..n {
            let i = (first + k) % n;
            if one.turns[i] == 1 {
                sides.push(0.0);
            }
            if let Some(side) = sides.last_mut() {
                *side += self.lengths[field.topology.edge(one.halves[i]) as usize];
            }
        }
        sides
    }

    /// Area of a patch over that of a flat shape with its sides: a rectangle of the opposite
    /// sides' means, or a regular polygon of its circumference.
    pub fn bulge(&self, field: &Field, one: &Loop, area: f64) -> f64 {
        let sides = self.sides(field, one);
        let flat = match sides[..] {
            [a, b, c, d] => (a + c) * (b + d) / 4.0,
            _ => {
                let corners = sides.len() as f64;
                let around: f64 = sides.iter().sum();
                around * around / (4.0 * corners * (std::f64::consts::PI / corners).tan())
            }
        };
        area / flat.max(1e-300)
    }
}

/// Marks that walks over regions leave, kept between walks to save time.
pub struct Scratch {
    /// By triangle: the round in which it was found; 0 where it is in no region found yet.
    pub seen: Vec<u32>,
    vertex_round: Vec<u32>,
    round: u32,
}

impl Scratch {
    /// Nothing seen yet.
    pub fn new(field: &Field) -> Self {
        Self {
            seen: vec![0; field.topology.triangles.len()],
            vertex_round: vec![0; field.topology.vertex_count()],
            round: 0,
        }
    }
}

/// The region that contains a triangle; its triangles are in the order of the walk.
pub fn region_of(
    field: &Field,
    marks: &Marks,
    seed: u32,
    scale: &RegionScale,
    scratch: &mut Scratch,
) -> Region {
    let topology = &field.topology;
    scratch.round += 1;
    let mut triangles = vec![seed];
    scratch.seen[seed as usize] = scratch.round;
    let mut rim: Vec<u32> = Vec::new();
    let (mut inner_edges, mut inner_vertices) = (0i64, 0i64);
    let mut i = 0;
    while i < triangles.len() {
        for k in 0..3 {
            let h = 3 * triangles[i] + k;
            let v = topology.from(h);
            if scratch.vertex_round[v as usize] != scratch.round {
                scratch.vertex_round[v as usize] = scratch.round;
                inner_vertices += i64::from(!marks.is_marked(v));
            }
            let across = match topology.twin(h) {
                Some(g) if marks.curve_of_edge[topology.edge(h) as usize].is_none() => g,
                _ => {
                    rim.push(h);
                    continue;
                }
            };
            inner_edges += 1;
            let next = across / 3;
            if scratch.seen[next as usize] == 0 {
                scratch.seen[next as usize] = scratch.round;
                triangles.push(next);
            }
        }
        i += 1;
    }
    rim.sort_unstable();
    let loops = loops_of(field, marks, &rim);
    let inside: Vec<Singularity> = field
        .singularities
        .iter()
        .filter(|s| scratch.seen[s.triangle as usize] == scratch.round)
        .copied()
        .collect();
    let mut region = Region {
        euler: inner_vertices - inner_edges / 2 + triangles.len() as i64,
        loops,
        singularities: without_near_pairs(field, inside, scale.cancel),
        triangles,
        bulge: 0.0,
    };
    if !scale.areas.is_empty()
        && region.is_patch()
        && let [one] = &region.loops[..]
    {
        region.bulge = scale.bulge(field, one, scale.area(&region.triangles));
    }
    region
}

/// All regions, by lowest triangle, their triangles in the order of the walk.
pub fn all_regions(field: &Field, marks: &Marks, scale: &RegionScale) -> Vec<Region> {
    let mut scratch = Scratch::new(field);
    let mut regions = Vec::new();
    for t in 0..scratch.seen.len() {
        if scratch.seen[t] == 0 {
            regions.push(region_of(field, marks, t as u32, scale, &mut scratch));
        }
    }
    regions
}

fn loops_of(field: &Field, marks: &Marks, rim: &[u32]) -> Vec<Loop> {
    let mut left: BTreeSet<u32> = rim.iter().copied().collect();
    let mut loops = Vec::new();
    while let Some(&first) = left.first() {
        loops.push(walked(field, marks, first, |h| left.remove(&h)));
    }
    loops
}

/// The loop from a half-edge on, as far as `free` answers that a half-edge wasn't passed before.
pub(super) fn walked(
    field: &Field,
    marks: &Marks,
    first: u32,
    mut free: impl FnMut(u32) -> bool,
) -> Loop {
    let mut one = Loop::default();
    let mut h = first;
    while free(h) {
        one.halves.push(h);
        let (following, quarters) = step(field, marks, h);
        one.turns.push(quarters);
        h = following;
    }
    // turns[i] was measured at the end of half-edge i; move it to the start.
    if !one.turns.is_empty() {
        one.turns.rotate_right(1);
    }
    one
}

/// The half-edge that follows on the region's boundary, and the quarters at the vertex between.
fn step(field: &Field, marks: &Marks, half: u32) -> (u32, u8) {
    let topology = &field.topology;
    let mut g = topology.next(half);
    while marks.curve_of_edge[topology.edge(g) as usize].is_none() {
        match topology.twin(g) {
            Some(across) => g = topology.next(across),
            None => break,
        }
    }
    let vertex = topology.from(g);
    let quarters = marks
        .sector_from(field, vertex, topology.edge(g))
        .map_or(2, |s| s.quarters);
    (g, quarters)
}

/// Takes out pairs of opposite index that lie nearer than `reach`, nearest first.
pub(super) fn without_near_pairs(
    field: &Field,
    mut found: Vec<Singularity>,
    reach: f64,
) -> Vec<Singularity> {
    let centres: Vec<mesh::DVec3> = found
        .iter()
        .map(|s| {
            let corners = field.topology.triangles[s.triangle as usize];
            corners
                .iter()
                .map(|&v| field.smooth[v as usize])
                .sum::<mesh::DVec3>()
                / 3.0
        })
        .collect();
    let mut pairs: Vec<(f64, usize, usize)> = Vec::new();
    for i in 0..found.len() {
        for j in i + 1..found.len() {
            let distance = centres[i].distance(centres[j]);
            if distance < reach && found[i].quarters.signum() != found[j].quarters.signum() {
                pairs.push((distance, i, j));
            }
        }
    }
    pairs.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)).then(a.2.cmp(&b.2)));
    for (_, i, j) in pairs {
        let (a, b) = (found[i].quarters, found[j].quarters);
        if a * b < 0 {
            let gone = a.abs().min(b.abs());
            found[i].quarters -= a.signum() * gone;
            found[j].quarters -= b.signum() * gone;
        }
    }
    found.retain(|s| s.quarters != 0);
    found
}
