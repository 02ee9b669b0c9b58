//! The mesh while its edges are collapsed.

use super::Candidate;
use super::quadric::Quadric;
use crate::{DVec3, TriMesh, Vec3};

const NONE: u32 = u32::MAX;
/// Weight of the planes that hold a boundary, in squares of its edges' lengths.
const BORDER: f64 = 10.0;
/// A triangle may turn by an angle of at most this cosine in one collapse.
const MOST_TURN: f64 = 0.2;
/// An edge between vertices that want the same place still costs this share of its
/// squared length, so that flat regions collapse evenly.
const LENGTH_SHARE: f64 = 1e-9;

/// How much the plane of a triangle counts.
#[derive(Clone, Copy, PartialEq, Eq)]
pub(super) enum Weighting {
    /// By its area, and boundaries are held by planes square to them.
    Area,
    /// Every triangle the same, and boundaries aren't held.
    Count,
}

pub(super) struct Reducer {
    positions: Vec<DVec3>,
    quadrics: Vec<Quadric>,
    triangles: Vec<[u32; 3]>,
    dead: Vec<bool>,
    /// A circle of corners (3 × triangle + i) for each vertex: the corner after each one.
    after: Vec<u32>,
    /// Some corner of each vertex; [`NONE`] if it has none.
    corner: Vec<u32>,
    stamp: Vec<u32>,
    /// Whether a vertex is on the boundary.
    rim: Vec<bool>,
    /// Last question that each vertex was marked for.
    mark: Vec<u32>,
    question: u32,
    /// Vertices with triangles.
    pub vertices: usize,
}

impl Reducer {
    pub fn new(mesh: &TriMesh, weighting: Weighting) -> Self {
        let sound = |t: &&[u32; 3]| {
            let exist = t.iter().all(|&v| {
                let p = mesh.positions.get(v as usize);
                p.is_some_and(|p| p.is_finite())
            });
            exist && t[0] != t[1] && t[1] != t[2] && t[2] != t[0]
        };
        let triangles: Vec<[u32; 3]> = mesh.triangles.iter().filter(sound).copied().collect();
        let count = mesh.positions.len();
        let mut this = Self {
            positions: mesh.positions.iter().map(|p| p.as_dvec3()).collect(),
            quadrics: vec![Quadric::default(); count],
            dead: vec![false; triangles.len()],
            after: (0..3 * triangles.len() as u32).collect(),
            corner: vec![NONE; count],
            stamp: vec![0; count],
            rim: vec![false; count],
            mark: vec![0; count],
            question: 1,
            vertices: 0,
            triangles,
        };
        for c in 0..this.after.len() as u32 {
            let v = this.triangles[c as usize / 3][c as usize % 3] as usize;
            match this.corner[v] {
                NONE => {
                    this.corner[v] = c;
                    this.vertices += 1;
                }
                first => this.after.swap(first as usize, c as usize),
            }
        }
        this.weigh(weighting);
        this
    }

    fn weigh(&mut self, weighting: Weighting) {
        for t in 0..self.triangles.len() {
            let [a, b, c] = self.corners(t);
            let normal = (b - a).cross(c - a);
            let area = normal.length() / 2.0;
            let weight = match weighting {
                Weighting::Area => area,
                Weighting::Count => 1.0,
            };
            let plane = Quadric::of_plane(a, normal.normalize_or_zero(), weight);
            for v in self.triangles[t] {
                self.quadrics[v as usize] = self.quadrics[v as usize].plus(&plane);
            }
        }
        for t in 0..self.triangles.len() {
            for i in 0..3 {
                let ends = [self.triangles[t][i], self.triangles[t][(i + 1) % 3]];
                if self.shared(ends).count() != 1 {
                    continue;
                }
                ends.iter().for_each(|&v| self.rim[v as usize] = true);
                if weighting == Weighting::Count {
                    continue;
                }
                let [p, q] = ends.map(|v| self.positions[v as usize]);
                let [a, b, c] = self.corners(t);
                let normal = (b - a).cross(c - a).cross(q - p).normalize_or_zero();
                let wall = Quadric::of_plane(p, normal, BORDER * p.distance_squared(q));
                for v in ends {
                    self.quadrics[v as usize] = self.quadrics[v as usize].plus(&wall);
                }
            }
        }
    }

    /// Triangles, dead ones too.
    pub fn triangle_count(&self) -> usize {
        self.triangles.len()
    }

    /// A triangle's corners if it still lives.
    pub fn living(&self, t: usize) -> Option<[u32; 3]> {
        (!self.dead[t]).then(|| self.triangles[t])
    }

    /// How often each vertex has changed.
    pub fn stamps(&self) -> &[u32] {
        &self.stamp
    }

    /// Whether both ends are on the boundary, or neither.
    pub fn is_like(&self, [u, v]: [u32; 2]) -> bool {
        self.rim[u as usize] == self.rim[v as usize]
    }

    fn corners(&self, t: usize) -> [DVec3; 3] {
        self.triangles[t].map(|v| self.positions[v as usize])
    }

    /// Living triangles at a vertex.
    fn around(&self, v: u32) -> impl Iterator<Item = usize> + '_ {
        let first = self.corner[v as usize];
        let mut at = first;
        std::iter::from_fn(move || {
            if at == NONE {
                return None;
            }
            let t = at as usize / 3;
            at = self.after[at as usize];
            if at == first {
                at = NONE;
            }
            Some(t)
        })
        .filter(|&t| !self.dead[t])
    }

    /// Living triangles at both ends of an edge.
    fn shared(&self, [u, v]: [u32; 2]) -> impl Iterator<Item = usize> + '_ {
        self.around(u)
            .filter(move |&t| self.triangles[t].contains(&v))
    }

    /// Vertices that share an edge with `v`, rising.
    pub fn neighbours(&self, v: u32) -> Vec<u32> {
        let mut found: Vec<u32> = self.around(v).flat_map(|t| self.triangles[t]).collect();
        found.sort_unstable();
        found.dedup();
        found.retain(|&w| w != v);
        found
    }

    /// All edges, lower vertex first, sorted.
    pub fn edges(&self) -> Vec<[u32; 2]> {
        let mut edges = Vec::new();
        for v in 0..self.corner.len() as u32 {
            edges.extend(
                self.neighbours(v)
                    .into_iter()
                    .filter(|&w| w > v)
                    .map(|w| [v, w]),
            );
        }
        edges
    }

    /// Where an edge would best collapse to, and at what cost.
    pub fn candidate(&self, ends: [u32; 2]) -> Candidate {
        let [u, v] = ends.map(|v| v as usize);
        let sum = self.quadrics[u].plus(&self.quadrics[v]);
        let (p, q) = (self.positions[u], self.positions[v]);
        let length = p.distance_squared(q);
        // A near-singular optimum can lie far off; then the better end or the middle does.
        let best = sum
            .least()
            .filter(|x| x.distance_squared((p + q) / 2.0) <= length);
        let to = best.unwrap_or_else(|| {
            let better = |x: DVec3, y: DVec3| if sum.at(y) < sum.at(x) { y } else { x };
            better(better((p + q) / 2.0, p), q)
        });
        Candidate {
            cost: sum.at(to) + LENGTH_SHARE * length * length,
            ends,
            stamps: ends.map(|v| self.stamp[v as usize]),
            to,
        }
    }

    /// Whether nothing at the edge's ends has changed since its cost was found.
    pub fn is_current(&self, candidate: &Candidate) -> bool {
        candidate.ends.map(|v| self.stamp[v as usize]) == candidate.stamps
    }

    /// Makes candidates at a vertex and its neighbours out of date.
    pub fn touch_around(&mut self, v: u32) {
        for w in self.neighbours(v) {
            self.stamp[w as usize] += 1;
        }
    }

    /// Collapses an edge into its first end, which moves; false if that can't be done well.
    pub fn collapse(&mut self, ends: [u32; 2], to: DVec3) -> bool {
        let [u, v] = ends;
        if !self.keeps_topology(ends) || self.turns_over(ends, to) {
            return false;
        }
        for c in self.circle(v) {
            let t = c as usize / 3;
            if self.triangles[t].contains(&u) {
                self.dead[t] = true;
            } else if !self.dead[t] {
                self.triangles[t][c as usize % 3] = u;
            }
        }
        self.join_circles(u, v);
        self.quadrics[u as usize] = self.quadrics[u as usize].plus(&self.quadrics[v as usize]);
        self.positions[u as usize] = to;
        self.rim[u as usize] |= self.rim[v as usize];
        for w in ends {
            self.stamp[w as usize] += 1;
        }
        self.vertices -= 1;
        true
    }

    /// All corners at a vertex, dead ones too.
    fn circle(&self, v: u32) -> Vec<u32> {
        let mut corners = Vec::with_capacity(16);
        let mut at = self.corner[v as usize];
        while at != NONE && corners.first() != Some(&at) {
            corners.push(at);
            at = self.after[at as usize];
        }
        corners
    }

    /// Merges the circle of `v` into that of `u` without the dead corners.
    fn join_circles(&mut self, u: u32, v: u32) {
        let mut living = self.circle(u);
        living.extend(self.circle(v));
        living.retain(|&c| !self.dead[c as usize / 3]);
        for (i, &c) in living.iter().enumerate() {
            self.after[c as usize] = living[(i + 1) % living.len()];
        }
        self.corner[u as usize] = living.first().copied().unwrap_or(NONE);
        self.corner[v as usize] = NONE;
    }

    /// The link condition (Dey, Edelsbrunner, Guha & Nekhayev 1999): the ends' common
    /// neighbours are the corners opposite the edge, and no boundary closes up.
    fn keeps_topology(&mut self, [u, v]: [u32; 2]) -> bool {
        let between = self.shared([u, v]).count();
        let (u_rim, v_rim) = (self.rim[u as usize], self.rim[v as usize]);
        if between == 0 || between > 2 || (between == 2 && u_rim && v_rim) {
            return false;
        }
        let (near, _) = self.mark_around(u);
        let (far, common) = self.mark_around(v);
        // The smallest closed and open surfaces stay.
        let least = if u_rim || v_rim { 3 } else { 4 };
        common == between && near + far >= 2 * common + least
    }

    /// Marks the neighbours of a vertex; returns how many there are, and how many of them
    /// the call before had marked.
    fn mark_around(&mut self, v: u32) -> (usize, usize) {
        let before = self.question;
        self.question += 1;
        let (mut all, mut again) = (0, 0);
        let first = self.corner[v as usize];
        let mut at = first;
        while at != NONE {
            let t = at as usize / 3;
            for w in self.triangles[t] {
                let mark = &mut self.mark[w as usize];
                if w != v && !self.dead[t] && *mark != self.question {
                    all += 1;
                    again += usize::from(*mark == before);
                    *mark = self.question;
                }
            }
            at = self.after[at as usize];
            if at == first {
                break;
            }
        }
        (all, again)
    }

    /// Whether a triangle at the ends, other than those that vanish, would turn over.
    fn turns_over(&self, [u, v]: [u32; 2], to: DVec3) -> bool {
        let bad = |w: u32, other: u32| {
            let mut stay = self
                .around(w)
                .filter(|&t| !self.triangles[t].contains(&other));
            stay.any(|t| {
                let normal = |[a, b, c]: [DVec3; 3]| (b - a).cross(c - a);
                let old = self.corners(t);
                let mut new = old;
                for i in 0..3 {
                    if self.triangles[t][i] == w {
                        new[i] = to;
                    }
                }
                let (old, new) = (normal(old), normal(new));
                let size = old.length() * new.length();
                size > 0.0 && old.dot(new) < MOST_TURN * size
                    || (new == DVec3::ZERO && old != DVec3::ZERO)
            })
        };
        bad(u, v) || bad(v, u)
    }

    /// The living triangles with the vertices that they use.
    pub fn finish(self) -> TriMesh {
        let mut name = vec![NONE; self.positions.len()];
        let mut mesh = TriMesh::default();
        let living = self
            .triangles
            .iter()
            .zip(&self.dead)
            .filter(|(_, dead)| !**dead);
        for (t, _) in living {
            let named = t.map(|v| {
                let slot = &mut name[v as usize];
                if *slot == NONE {
                    *slot = mesh.positions.len() as u32;
                    mesh.positions.push(self.positions[v as usize].as_vec3());
                }
                *slot
            });
            mesh.triangles.push(named);
        }
        debug_assert!(mesh.positions.iter().all(|p: &Vec3| p.is_finite()));
        mesh
    }
}
