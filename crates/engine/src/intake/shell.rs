//! Triangles with what lies across each of their sides, while they are being repaired.
//!
//! Half-edge `3 t + i` runs from corner `i` to corner `i + 1` of triangle `t`. Until the
//! pieces are oriented, two half-edges of one edge may run in the same direction.

use mesh::{DVec3, Vec3};

/// No half-edge or piece.
pub(super) const NONE: u32 = u32::MAX;

/// A triangle mesh under repair.
pub(super) struct Shell {
    pub positions: Vec<Vec3>,
    pub triangles: Vec<[u32; 3]>,
    /// Half-edge across each half-edge, or [`NONE`].
    pub twin: Vec<u32>,
    /// Triangles taken away.
    pub dead: Vec<bool>,
}

/// An edge with more than two triangles: its half-edges, rising.
pub(super) type HeavyEdge = Vec<u32>;

/// What linking found.
#[derive(Default)]
pub(super) struct Linking {
    pub heavy: Vec<HeavyEdge>,
    /// Triangles on the same three vertices as a lower one; they are dead now.
    pub copies: Vec<u32>,
}

impl Shell {
    pub fn new(positions: Vec<Vec3>, triangles: Vec<[u32; 3]>) -> Self {
        Self {
            twin: vec![NONE; triangles.len() * 3],
            dead: vec![false; triangles.len()],
            positions,
            triangles,
        }
    }

    pub fn from(&self, half: u32) -> u32 {
        self.triangles[half as usize / 3][half as usize % 3]
    }

    pub fn to(&self, half: u32) -> u32 {
        self.from(next(half))
    }

    /// The vertex opposite a half-edge in its triangle.
    pub fn apex(&self, half: u32) -> u32 {
        self.from(previous(half))
    }

    pub fn point(&self, vertex: u32) -> DVec3 {
        self.positions[vertex as usize].as_dvec3()
    }

    pub fn corners(&self, triangle: usize) -> [DVec3; 3] {
        self.triangles[triangle].map(|v| self.point(v))
    }

    pub fn centre(&self, triangle: usize) -> DVec3 {
        let [a, b, c] = self.corners(triangle);
        (a + b + c) / 3.0
    }

    pub fn area(&self, triangle: usize) -> f64 {
        let [a, b, c] = self.corners(triangle);
        (b - a).cross(c - a).length() / 2.0
    }

    pub fn living(&self) -> impl Iterator<Item = usize> {
        (0..self.triangles.len()).filter(|&t| !self.dead[t])
    }

    /// Makes two half-edges each other's twin; `NONE` cuts the other one open.
    pub fn tie(&mut self, g: u32, h: u32) {
        if g != NONE {
            self.twin[g as usize] = h;
        }
        if h != NONE {
            self.twin[h as usize] = g;
        }
    }

    /// Takes a triangle away; its neighbours get boundary edges.
    pub fn kill(&mut self, triangle: usize) {
        self.dead[triangle] = true;
        for h in 3 * triangle..3 * triangle + 3 {
            let across = self.twin[h];
            self.tie(across, NONE);
            self.twin[h] = NONE;
        }
    }

    /// Finds the twins of all living half-edges anew, and kills copies of triangles.
    /// Half-edges are put into buckets by lower vertex: 12 bytes a triangle meanwhile.
    pub fn link(&mut self) -> Linking {
        self.twin.fill(NONE);
        let mut found = Linking::default();
        let (offsets, mut halves) = self.buckets();
        for v in 0..self.positions.len() {
            let bucket = &mut halves[offsets[v] as usize..offsets[v + 1] as usize];
            bucket.sort_unstable_by_key(|&h| (self.from(h).max(self.to(h)), h));
            let mut start = 0;
            while start < bucket.len() {
                let far = |h: u32| self.from(h).max(self.to(h));
                let other = far(bucket[start]);
                let run = bucket[start..].iter().take_while(|&&h| far(h) == other);
                let end = start + run.count();
                self.link_edge(&bucket[start..end], &mut found);
                start = end;
            }
        }
        found.copies.sort_unstable();
        found.copies.dedup();
        for &t in &found.copies {
            self.dead[t as usize] = true;
        }
        found
    }

    fn buckets(&self) -> (Vec<u32>, Vec<u32>) {
        let mut offsets = vec![0u32; self.positions.len() + 1];
        let lower = |h: u32| self.from(h).min(self.to(h)) as usize;
        let living = || self.living().flat_map(|t| 3 * t as u32..3 * t as u32 + 3);
        living().for_each(|h| offsets[lower(h) + 1] += 1);
        for v in 1..offsets.len() {
            offsets[v] += offsets[v - 1];
        }
        let mut halves = vec![0u32; offsets.last().map_or(0, |&n| n as usize)];
        let mut next = offsets.clone();
        for h in living() {
            let slot = &mut next[lower(h)];
            halves[*slot as usize] = h;
            *slot += 1;
        }
        (offsets, halves)
    }

    /// Links the half-edges of one edge. Copies of a triangle meet at all three of their
    /// edges, so each edge can leave them out by itself.
    fn link_edge(&mut self, run: &[u32], found: &mut Linking) {
        match *run {
            [_] => {}
            [g, h] if self.apex(g) != self.apex(h) => self.tie(g, h),
            _ => {
                let mut by_apex: Vec<(u32, u32)> = run.iter().map(|&h| (self.apex(h), h)).collect();
                by_apex.sort_unstable();
                let mut kept: HeavyEdge = Vec::new();
                for same in by_apex.chunk_by(|x, y| x.0 == y.0) {
                    kept.push(same[0].1);
                    found.copies.extend(same[1..].iter().map(|e| e.1 / 3));
                }
                kept.sort_unstable();
                match kept[..] {
                    [g, h] => self.tie(g, h),
                    [_] => {}
                    _ => found.heavy.push(kept),
                }
            }
        }
    }
}

/// The following half-edge in the same triangle.
pub(super) fn next(half: u32) -> u32 {
    if half % 3 == 2 { half - 2 } else { half + 1 }
}

/// The half-edge before, in the same triangle.
pub(super) fn previous(half: u32) -> u32 {
    if half.is_multiple_of(3) {
        half + 2
    } else {
        half - 1
    }
}
