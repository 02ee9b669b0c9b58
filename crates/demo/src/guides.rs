//! Guides on the finished sculpt: sections by planes or by levels of a function, and the
//! boundary loops.

use mesh::{DVec3, TriMesh};

/// A run of points where a level crosses the mesh's edges.
#[derive(Clone, Debug)]
pub struct Section {
    /// Points in order, cm.
    pub points: Vec<DVec3>,
    /// Whether the last point joins the first.
    pub closed: bool,
}

impl Section {
    /// Length, cm.
    pub fn length(&self) -> f64 {
        let open: f64 = self.points.windows(2).map(|w| w[0].distance(w[1])).sum();
        match (self.closed, self.points.first(), self.points.last()) {
            (true, Some(a), Some(b)) => open + a.distance(*b),
            _ => open,
        }
    }

    /// Mean of the points.
    pub fn centre(&self) -> DVec3 {
        self.points.iter().copied().sum::<DVec3>() / self.points.len().max(1) as f64
    }

    /// `count` points at even lengths along the run; an open run keeps its ends.
    pub fn resampled(&self, count: usize) -> Vec<DVec3> {
        let mut run = self.points.clone();
        if self.closed {
            run.extend(self.points.first().copied());
        }
        let total = self.length();
        let pieces = if self.closed { count } else { count - 1 };
        let mut out = Vec::with_capacity(count);
        let (mut i, mut done) = (0, 0.0);
        for n in 0..count {
            let want = total * n as f64 / pieces as f64;
            while i + 2 < run.len() && done + run[i].distance(run[i + 1]) < want {
                done += run[i].distance(run[i + 1]);
                i += 1;
            }
            let piece = run[i].distance(run[i + 1]);
            let t = if piece > 0.0 {
                ((want - done) / piece).clamp(0.0, 1.0)
            } else {
                0.0
            };
            out.push(run[i] + t * (run[i + 1] - run[i]));
        }
        out
    }
}

/// All runs where `level` (a value per vertex) crosses zero, over the triangles that `keep`
/// admits (all three corners). Exact zeros count as positive. Deterministic order.
pub fn sections(mesh: &TriMesh, level: &[f64], keep: impl Fn(u32) -> bool) -> Vec<Section> {
    // Two ends for each crossed triangle, keyed by the crossed edge.
    let mut ends: Vec<((u32, u32), u32)> = Vec::new();
    let mut count = 0u32;
    for t in &mesh.triangles {
        if !t.iter().all(|v| keep(*v)) {
            continue;
        }
        let above = t.map(|v| level[v as usize] >= 0.0);
        if above[0] == above[1] && above[1] == above[2] {
            continue;
        }
        for i in 0..3 {
            let (a, b) = (t[i], t[(i + 1) % 3]);
            if above[i] != above[(i + 1) % 3] {
                ends.push(((a.min(b), a.max(b)), count));
            }
        }
        count += 1;
    }
    ends.sort_unstable();
    let mut of_piece: Vec<[usize; 2]> = vec![[usize::MAX; 2]; count as usize];
    let mut edges: Vec<((u32, u32), [u32; 2])> = Vec::new();
    for run in ends.chunk_by(|x, y| x.0 == y.0) {
        let mut pieces = [u32::MAX; 2];
        for (slot, (_, piece)) in pieces.iter_mut().zip(run) {
            *slot = *piece;
            let two = &mut of_piece[*piece as usize];
            let free = usize::from(two[0] != usize::MAX);
            two[free] = edges.len();
        }
        edges.push((run[0].0, pieces));
    }
    let point = |e: usize| {
        let (a, b) = edges[e].0;
        let (la, lb) = (level[a as usize], level[b as usize]);
        let (pa, pb) = (
            mesh.positions[a as usize].as_dvec3(),
            mesh.positions[b as usize].as_dvec3(),
        );
        pa + (pb - pa) * (la / (la - lb))
    };
    let mut used = vec![false; count as usize];
    let mut out = Vec::new();
    // Open runs first, from their ends; what is left is closed.
    let open_ends = (0..edges.len()).filter(|e| edges[*e].1[1] == u32::MAX);
    for start in open_ends.chain(0..edges.len()) {
        let Some(mut piece) = edges[start]
            .1
            .into_iter()
            .find(|p| *p != u32::MAX && !used[*p as usize])
        else {
            continue;
        };
        if edges[start].1[1] != u32::MAX && edges[start].1.iter().any(|p| used[*p as usize]) {
            continue;
        }
        let mut at = start;
        let mut points = vec![point(start)];
        let closed = loop {
            used[piece as usize] = true;
            let two = of_piece[piece as usize];
            at = if two[0] == at { two[1] } else { two[0] };
            if at == start {
                break true;
            }
            points.push(point(at));
            match edges[at]
                .1
                .into_iter()
                .find(|p| *p != u32::MAX && !used[*p as usize])
            {
                Some(next) => piece = next,
                None => break false,
            }
        };
        out.push(Section { points, closed });
    }
    out
}

/// Boundary loops of a mesh.
pub(crate) fn boundary_loops(mesh: &TriMesh, next: &[(u32, u32)]) -> Vec<Section> {
    let mut sorted = next.to_vec();
    sorted.sort_unstable();
    let mut used = vec![false; sorted.len()];
    let mut out = Vec::new();
    for start in 0..sorted.len() {
        let mut points = Vec::new();
        let mut at = start;
        while !std::mem::replace(&mut used[at], true) {
            points.push(mesh.positions[sorted[at].0 as usize].as_dvec3());
            match sorted.binary_search_by_key(&sorted[at].1, |h| h.0) {
                Ok(following) => at = following,
                Err(_) => break,
            }
        }
        if !points.is_empty() {
            out.push(Section {
                points,
                closed: true,
            });
        }
    }
    out
}
