//! Keeps a push from folding quads and from letting the surface cut itself.
//!
//! Around what is at fault vertices move in all three directions: as smoothly as can be, such that
//! quads' corners stay open, quads that would cut each other stay apart where they were nearest
//! before, and what was cleared stays clear. Each of these is taken as linear where things stand,
//! solved for, and looked at exactly again; where that isn't enough, more of the surface moves.

use base::{Cancelled, Task};
use engine::check;
use mesh::{DVec3, QuadMesh, corner_jacobians, gap};
use std::collections::BTreeSet;

use super::contact::{Body, CUTS, Found};
use super::fair::Form;
use super::in_the_way;
use super::push::{Program, Row};
use super::pushing::Pushing;

/// Most rounds, and most without getting better.
const ROUNDS: usize = 16;
const PATIENCE: usize = 4;
/// A quad counts as folded up to this scaled Jacobian; the check fails at 0.1.
const FOLDED: f64 = 0.12;
/// A quad that was worse than that may lose this much more.
const LOSS: f64 = 0.02;
/// Corners up to this much above what they must have are held, and brought this far above it.
const WATCHED: f64 = 0.25;
const SPARE: f64 = 0.06;
/// Rings of quads around a fault that move in the first round; in each later one twice as many.
const RINGS: usize = 3;
/// Quads are held apart by this share of the mean edge, if they were.
const APART: f64 = 0.03;
/// Nothing moves further in a round than this share of the mean edge.
const STEP: f64 = 0.4;
/// How much harder than smoothness rows press.
const STIFFNESS: f64 = 1e5;

/// What is wrong with a pushed surface's shape.
#[derive(Clone, Debug, Default)]
pub(super) struct Faults {
    /// Quads that are folded, rising.
    pub folded: Vec<u32>,
    /// Pairs of quads that pass through each other, rising.
    pub cuts: Vec<[u32; 2]>,
}

impl Faults {
    pub fn len(&self) -> usize {
        self.folded.len() + self.cuts.len()
    }
}

/// The shape that a surface had.
pub(super) struct Shape {
    /// The scaled Jacobian that each quad must have.
    floor: Vec<f64>,
    /// Pairs of quads that passed through each other already, rising.
    cuts: Vec<[u32; 2]>,
    mean_edge: f64,
    around: Vec<Vec<u32>>,
}

impl Shape {
    pub fn of(surface: &QuadMesh) -> Self {
        let floor = |quad: &[u32; 4]| {
            let had = least(quad.map(|v| surface.positions[v as usize]));
            FOLDED.min(had - LOSS)
        };
        let topology = surface.topology();
        let mut around = vec![Vec::new(); surface.positions.len()];
        let mut length = 0.0;
        for &[a, b] in &topology.edges {
            around[a as usize].push(b);
            around[b as usize].push(a);
            length += surface.positions[a as usize].distance(surface.positions[b as usize]);
        }
        Self {
            floor: surface.quads.iter().map(floor).collect(),
            cuts: cuts(surface),
            mean_edge: length / topology.edges.len().max(1) as f64,
            around,
        }
    }

    /// What is wrong that wasn't.
    pub fn faults(&self, surface: &QuadMesh, positions: &[DVec3]) -> Faults {
        let folded = |q: &u32| {
            let corners = surface.quads[*q as usize].map(|v| positions[v as usize]);
            least(corners) <= self.floor[*q as usize]
        };
        let moved = QuadMesh {
            positions: positions.to_vec(),
            quads: surface.quads.clone(),
            groups: Vec::new(),
        };
        let mut cuts = cuts(&moved);
        cuts.retain(|pair| self.cuts.binary_search(pair).is_err());
        Faults {
            folded: (0..surface.quads.len() as u32).filter(folded).collect(),
            cuts,
        }
    }
}

fn least(corners: [DVec3; 4]) -> f64 {
    let each = corner_jacobians(corners).into_iter();
    each.fold(f64::INFINITY, f64::min)
}

fn cuts(surface: &QuadMesh) -> Vec<[u32; 2]> {
    // What can't be looked at was refused before.
    let mut pairs = check::crossings(surface).unwrap_or_default();
    pairs.iter_mut().for_each(|pair| pair.sort_unstable());
    pairs.sort_unstable();
    pairs.dedup();
    pairs
}

/// Mends the shape of a pushed surface, as far as that goes: positions, how they stand beside the
/// layers, and what is still wrong.
pub(super) fn run(
    push: &mut Pushing<'_>,
    bodies: &[Body],
    found: Vec<Found>,
    shape: &Shape,
    task: &Task,
) -> Result<(Vec<DVec3>, Vec<Found>, Faults), Cancelled> {
    let faults = shape.faults(push.surface, &push.positions);
    let mut best = (push.positions.clone(), found, faults);
    let wrong = |found: &[Found], faults: &Faults| in_the_way(found) + faults.len();
    let (mut found, mut faults) = (best.1.clone(), best.2.clone());
    let mut met = BTreeSet::new();
    let mut last = 0;
    for round in 0..ROUNDS {
        let still = best.0 == push.surface.positions;
        if wrong(&best.1, &best.2) == 0 || still || round > last + PATIENCE {
            break;
        }
        task.report("layers", 1.0)?;
        met.extend(faults.cuts.iter().copied());
        let mut mending = Mending {
            push,
            shape,
            rows: Vec::new(),
        };
        mending.gather(bodies, &found);
        let Some(positions) = mending.round(round, &found, &faults, &met, task)? else {
            break;
        };
        push.positions = positions;
        found = push.look(bodies, task)?;
        faults = shape.faults(push.surface, &push.positions);
        if wrong(&found, &faults) < wrong(&best.1, &best.2) {
            best = (push.positions.clone(), found.clone(), faults.clone());
            last = round;
        }
    }
    Ok(best)
}

/// A row over vertices: factors, and what their sum is to be at least.
type SpaceRow = (Vec<(u32, DVec3)>, f64);

struct Mending<'a, 'b> {
    push: &'a mut Pushing<'b>,
    shape: &'a Shape,
    rows: Vec<SpaceRow>,
}

impl Mending<'_, '_> {
    fn gather(&mut self, bodies: &[Body], found: &[Found]) {
        self.push.gather(bodies, found);
    }

    /// One round; none if nothing can move.
    fn round(
        &mut self,
        round: usize,
        found: &[Found],
        faults: &Faults,
        met: &BTreeSet<[u32; 2]>,
        task: &Task,
    ) -> Result<Option<Vec<DVec3>>, Cancelled> {
        let moves = self.moving(round, found, faults);
        let count = moves.iter().flatten().count();
        if count == 0 {
            return Ok(None);
        }
        self.rows_of_layers();
        self.rows_of_corners();
        for &pair in met {
            self.rows_of_pair(pair);
        }
        let rows = self.reduced(&moves);
        let (form, cost) = self.smoothness(&moves, count);
        let program = Program {
            form: &form,
            softness: 1.0,
            cost: &cost,
            rows: &rows,
            stiffness: STIFFNESS,
            most: &[],
        };
        let (solved, _) = program.solve(&vec![0.0; 3 * count], task)?;
        let way = |unknown: usize| match moves[unknown] {
            Some(at) => {
                let way = DVec3::from_slice(&solved[3 * at..3 * at + 3]);
                self.push.halves.kept(unknown, way)
            }
            None => DVec3::ZERO,
        };
        let mut ways: Vec<DVec3> = (0..moves.len()).map(way).collect();
        let most = ways.iter().map(|w| w.length()).fold(0.0, f64::max);
        if !most.is_finite() {
            return Ok(None);
        }
        let limit = STEP * self.shape.mean_edge;
        if most > limit {
            ways.iter_mut().for_each(|w| *w *= limit / most);
        }
        let pushed = self.push.halves.place(&self.push.positions, &ways);
        Ok(Some(match self.push.follow {
            Some(follow) => follow(&pushed),
            None => pushed,
        }))
    }

    /// The number of each unknown among those that move in a round.
    fn moving(&self, round: usize, found: &[Found], faults: &Faults) -> Vec<Option<usize>> {
        let surface = self.push.surface;
        let mut quads: Vec<u32> = faults.folded.clone();
        quads.extend(faults.cuts.iter().flatten());
        for found in found {
            quads.extend(found.crossings.iter().map(|c| c[0]));
            quads.extend(found.close.iter().map(|c| c.0));
        }
        let mut reached = vec![false; surface.positions.len()];
        let mut front: Vec<u32> = quads
            .iter()
            .flat_map(|&q| surface.quads[q as usize])
            .collect();
        for found in found {
            front.extend(&found.wrong);
        }
        for _ in 0..=RINGS << round.min(8) {
            let mut next = Vec::new();
            for v in front {
                if !std::mem::replace(&mut reached[v as usize], true) {
                    next.extend(&self.shape.around[v as usize]);
                }
            }
            front = next;
        }
        let halves = &self.push.halves;
        let mut free = vec![false; halves.len()];
        for (v, _) in reached.iter().enumerate().filter(|r| *r.1) {
            let unknown = halves.unknown[v] as usize;
            free[unknown] = !self.push.still[unknown];
        }
        let mut count = 0;
        let number = |free: bool| {
            free.then(|| {
                count += 1;
                count - 1
            })
        };
        free.into_iter().map(number).collect()
    }

    fn at(&self, v: u32) -> DVec3 {
        self.push.positions[v as usize]
    }

    /// Places stay as far from the layers as they are to be.
    fn rows_of_layers(&mut self) {
        for (_, contact) in &self.push.contacts {
            let quad = self.push.surface.quads[contact.quad as usize];
            let terms = (0..4).map(|i| (quad[i], contact.weights[i] * contact.away));
            let terms: Vec<_> = terms.collect();
            let at: DVec3 = (0..4).map(|i| contact.weights[i] * self.at(quad[i])).sum();
            let height = contact.away.dot(at - contact.foot);
            self.rows.push((terms, contact.wanted - height));
        }
    }

    /// Corners stay open: with sides u and v and the quad's normal n, (u x v) . n is to be at least
    /// a share of their lengths' product. Divided by its root, so that it counts in lengths.
    fn rows_of_corners(&mut self) {
        let surface = self.push.surface;
        for (quad, &floor) in surface.quads.iter().zip(&self.shape.floor) {
            let p = quad.map(|v| self.at(v));
            let jacobians = corner_jacobians(p);
            if jacobians.iter().all(|&j| j > floor + WATCHED) {
                continue;
            }
            let facing = |p: [DVec3; 4]| (p[2] - p[0]).cross(p[3] - p[1]).normalize_or_zero();
            let before = facing(quad.map(|v| surface.positions[v as usize]));
            let normal = (facing(p) + before).normalize_or(before);
            let shortest = 0.2 * self.shape.mean_edge;
            for i in 0..4 {
                let [a, b, d] = [i, (i + 1) % 4, (i + 3) % 4];
                let (u, v) = (p[b] - p[a], p[d] - p[a]);
                let product = u.length().max(shortest) * v.length().max(shortest);
                let scale = 1.0 / product.sqrt();
                let (of_b, of_d) = (scale * v.cross(normal), scale * normal.cross(u));
                let now = scale * u.cross(v).dot(normal);
                let terms = vec![(quad[a], -of_b - of_d), (quad[b], of_b), (quad[d], of_d)];
                self.rows
                    .push((terms, (floor + SPARE) * product * scale - now));
            }
        }
    }

    /// Two quads stay on either side of where they were nearest before the push.
    fn rows_of_pair(&mut self, [one, two]: [u32; 2]) {
        let surface = self.push.surface;
        let [p, q] = [one, two].map(|q| surface.quads[q as usize]);
        let old = |quad: [u32; 4]| quad.map(|v| surface.positions[v as usize]);
        let (old_p, old_q) = (old(p), old(q));
        let mut nearest: Option<(f64, [f64; 4], [f64; 4], DVec3)> = None;
        for cut_p in CUTS {
            for cut_q in CUTS {
                let (a, b) = (cut_p.map(|i| old_p[i]), cut_q.map(|i| old_q[i]));
                let (near, back) = (gap(a, b), gap(b, a));
                if nearest.is_none_or(|n| near.distance < n.0) {
                    let mut weights = [[0.0; 4]; 2];
                    for k in 0..3 {
                        weights[0][cut_p[k]] = near.weights[k];
                        weights[1][cut_q[k]] = back.weights[k];
                    }
                    let way = near.first - near.second;
                    nearest = Some((near.distance, weights[0], weights[1], way));
                }
            }
        }
        let Some((distance, of_p, of_q, way)) = nearest.filter(|n| n.0 > 0.0) else {
            return;
        };
        let away = way / distance;
        let least = (APART * self.shape.mean_edge).min(0.5 * distance);
        let ends = |quad: [u32; 4], weights: [f64; 4], sign: f64| {
            (0..4).map(move |i| (quad[i], sign * weights[i] * away))
        };
        let mut rows = Vec::new();
        for i in 0..4 {
            let mut alone = [0.0; 4];
            alone[i] = 1.0;
            rows.push((alone, of_q));
            rows.push((of_p, alone));
        }
        for (of_p, of_q) in rows {
            let terms: Vec<_> = ends(p, of_p, 1.0).chain(ends(q, of_q, -1.0)).collect();
            let height = |at: &dyn Fn(u32) -> DVec3| -> f64 {
                terms.iter().map(|(v, way)| way.dot(at(*v))).sum()
            };
            let before = height(&|v| surface.positions[v as usize]);
            let now = height(&|v| self.at(v));
            self.rows.push((terms, least.min(before) - now));
        }
    }

    /// Rows over what moves; those with nothing that does are left out.
    fn reduced(&self, moves: &[Option<usize>]) -> Vec<Row> {
        let halves = &self.push.halves;
        let reduce = |(terms, least): &SpaceRow| {
            let mut row = Vec::with_capacity(3 * terms.len());
            for &(v, way) in terms {
                let unknown = halves.unknown[v as usize] as usize;
                if let Some(at) = moves[unknown] {
                    let way = halves.kept(unknown, halves.turned(v as usize, way));
                    row.extend((0..3).map(|axis| ((3 * at + axis) as u32, way[axis])));
                }
            }
            (!row.is_empty()).then_some(Row {
                terms: row,
                least: *least,
            })
        };
        self.rows.iter().filter_map(reduce).collect()
    }

    /// The roughness of the whole push with what moves on top of it: its form in what moves, and
    /// what is linear in it.
    fn smoothness(&self, moves: &[Option<usize>], count: usize) -> (Form, Vec<f64>) {
        let (surface, halves) = (self.push.surface, &self.push.halves);
        let mut pushed = vec![DVec3::ZERO; halves.len()];
        for v in 0..surface.positions.len() {
            if !halves.follows[v] {
                let by = self.push.positions[v] - surface.positions[v];
                pushed[halves.unknown[v] as usize] = halves.turned(v, by);
            }
        }
        let form = &self.push.form;
        let mut cost = vec![0.0; 3 * count];
        for axis in 0..3 {
            let along: Vec<f64> = pushed.iter().map(|p| p[axis]).collect();
            let bends = form.times(&along);
            for (unknown, at) in moves.iter().enumerate() {
                if let Some(at) = at {
                    cost[3 * at + axis] = bends[unknown];
                }
            }
        }
        let mut lower = Vec::new();
        for &(row, column, value) in &form.lower {
            if let (Some(row), Some(column)) = (moves[row], moves[column]) {
                lower.extend((0..3).map(|axis| (3 * row + axis, 3 * column + axis, value)));
            }
        }
        lower.sort_by_key(|e| (e.0, e.1));
        let size = 3 * count;
        (Form { size, lower }, cost)
    }
}
