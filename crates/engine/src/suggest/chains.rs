//! Limbs as chains of level loops: the sculpt is swept by the distance from a boundary or a
//! tip, and where one loop goes over into one loop, and nothing else begins or ends, lies a
//! piece of a tube. (The arcs of a Reeb graph: Reeb 1946; of distances on a mesh: Hilaga,
//! Shinagawa, Kohmura & Kunii 2001.)

use mesh::{DVec3, Run};

use super::ground::Ground;

/// A loop shorter than this many quads can't be ringed by quads.
pub(super) const LEAST_QUADS: f64 = 4.0;
/// A side branch that ends in a cap is a bump, no limb, below this depth over its width.
const BUMP: f64 = 0.6;
/// Fewest loops of a chain.
const LEAST_LOOPS: usize = 4;
/// Rounds in which bumps are taken off.
const ROUNDS: usize = 4;
/// Most levels that a sweep is cut into.
const MOST_LEVELS: f64 = 400.0;

/// What a limb ends in.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum End {
    /// It closes.
    Cap,
    /// The sculpt's boundary.
    Boundary,
    /// It grows out of something.
    Body,
}

/// Loops one after the other along a tube.
#[derive(Clone, Debug)]
pub(super) struct Chain {
    pub loops: Vec<Run>,
    pub ends: [End; 2],
    /// Triangles of the light sculpt between its loops, rising.
    pub triangles: Vec<u32>,
}

/// A loop or run with the pieces of the sculpt on both sides of it.
struct Contour {
    run: Run,
    length: f64,
    below: u32,
    above: u32,
    counts: bool,
}

/// Pieces of triangles between neighbouring levels, joined to connected bands.
struct Bands {
    lowest: Vec<i32>,
    first: Vec<u32>,
    parent: Vec<u32>,
}

impl Bands {
    fn new(ground: &Ground<'_>, level: &[i32]) -> Self {
        let topology = &ground.topology;
        let (mut lowest, mut first, mut total) = (Vec::new(), Vec::new(), 0u32);
        for t in &topology.triangles {
            let l = t.map(|v| level[v as usize]);
            let (low, high) = (l[0].min(l[1]).min(l[2]), l[0].max(l[1]).max(l[2]));
            lowest.push(low);
            first.push(total);
            total += (high - low) as u32 + 1;
        }
        let mut bands = Self {
            lowest,
            first,
            parent: (0..total).collect(),
        };
        for e in 0..topology.edge_count() as u32 {
            let h = topology.half_of_edge(e);
            let Some(twin) = topology.twin(h) else {
                continue;
            };
            let [a, b] = topology.ends(e).map(|v| level[v as usize]);
            for band in a.min(b)..=a.max(b) {
                let (x, y) = (bands.piece(h / 3, band), bands.piece(twin / 3, band));
                let (x, y) = (bands.root(x), bands.root(y));
                bands.parent[x.max(y) as usize] = x.min(y);
            }
        }
        for piece in 0..total {
            bands.parent[piece as usize] = bands.root(piece);
        }
        bands
    }

    fn piece(&self, t: u32, band: i32) -> u32 {
        self.first[t as usize] + (band - self.lowest[t as usize]) as u32
    }

    fn root(&self, mut piece: u32) -> u32 {
        while self.parent[piece as usize] != piece {
            piece = self.parent[piece as usize];
        }
        piece
    }

    /// Pieces of a triangle.
    fn of(&self, t: usize) -> std::ops::Range<u32> {
        let end = self.first.get(t + 1).copied();
        self.first[t]..end.unwrap_or(self.parent.len() as u32)
    }
}

/// Chains of loops of a distance function.
pub(super) fn chains(ground: &Ground<'_>, distance: &[f64]) -> Vec<Chain> {
    let furthest = distance.iter().fold(0.0_f64, |m, &d| m.max(d));
    let step = ground.fine.max(furthest / MOST_LEVELS);
    if !(furthest.is_finite() && step > 0.0) {
        return Vec::new();
    }
    let level: Vec<i32> = distance.iter().map(|d| (d / step).floor() as i32).collect();
    let bands = Bands::new(ground, &level);
    let mut contours = contours(ground, distance, &level, step, &bands);
    let mut at_boundary = vec![false; bands.parent.len()];
    for h in 0..3 * ground.topology.triangles.len() as u32 {
        if ground.topology.twin(h).is_none() {
            let [a, b] =
                [ground.topology.from(h), ground.topology.to(h)].map(|v| level[v as usize]);
            for band in a.min(b)..=a.max(b) {
                let root = bands.parent[bands.piece(h / 3, band) as usize];
                at_boundary[root as usize] = true;
            }
        }
    }
    let mut linked = link(&contours, &bands, &at_boundary);
    for _ in 0..ROUNDS {
        let mut bumps = false;
        for (chain, ends) in &linked {
            let longest = chain
                .iter()
                .map(|&c| contours[c].length)
                .fold(0.0, f64::max);
            let depth = (chain.len() + 1) as f64 * step;
            let caps = ends.contains(&End::Cap) && ends.contains(&End::Body);
            if caps && depth < BUMP * longest / std::f64::consts::PI {
                chain.iter().for_each(|&c| contours[c].counts = false);
                bumps = true;
            }
        }
        if !bumps {
            break;
        }
        linked = link(&contours, &bands, &at_boundary);
    }
    let covered = |chain: &[usize]| {
        let mut roots: Vec<u32> = chain
            .iter()
            .flat_map(|&c| [contours[c].below, contours[c].above])
            .collect();
        roots.sort_unstable();
        // What lies beyond the first and the last loop isn't between loops.
        let ends = [
            chain.first().map(|&c| contours[c].below),
            chain.last().map(|&c| contours[c].above),
        ];
        roots.retain(|r| !ends.contains(&Some(*r)));
        (0..ground.topology.triangles.len())
            .filter(|&t| {
                bands
                    .of(t)
                    .any(|p| roots.binary_search(&bands.parent[p as usize]).is_ok())
            })
            .map(|t| t as u32)
            .collect::<Vec<u32>>()
    };
    linked
        .iter()
        .filter(|(chain, _)| chain.len() >= LEAST_LOOPS)
        .map(|(chain, ends)| Chain {
            triangles: covered(chain),
            loops: chain.iter().map(|&c| contours[c].run.clone()).collect(),
            ends: *ends,
        })
        .collect()
}

/// Loops and runs of all levels, lowest first.
fn contours(
    ground: &Ground<'_>,
    distance: &[f64],
    level: &[i32],
    step: f64,
    bands: &Bands,
) -> Vec<Contour> {
    let topology = &ground.topology;
    let least = LEAST_QUADS * ground.edge;
    let mut crossed: Vec<(i32, u32)> = Vec::new();
    for (t, corners) in topology.triangles.iter().enumerate() {
        let l = corners.map(|v| level[v as usize]);
        let (low, high) = (l[0].min(l[1]).min(l[2]), l[0].max(l[1]).max(l[2]));
        crossed.extend((low + 1..=high).map(|k| (k, t as u32)));
    }
    crossed.sort_unstable();
    let mut seen = vec![false; topology.triangles.len()];
    let mut found = Vec::new();
    for run in crossed.chunk_by(|a, b| a.0 == b.0) {
        let k = run[0].0;
        let value = f64::from(k) * step;
        let above = |v: u32| level[v as usize] >= k;
        let cut = |a: u32, b: u32| {
            let (da, db) = (distance[a as usize], distance[b as usize]);
            let share = ((value - da) / (db - da)).clamp(0.0, 1.0);
            let [a, b] = [a, b].map(|v| ground.at[v as usize]);
            if share.is_finite() {
                a.lerp(b, share)
            } else {
                a
            }
        };
        let triangles = run.iter().map(|r| r.1);
        for run in mesh::trace(topology, triangles, &above, &cut, &mut seen) {
            let length = run.length();
            let Some(&on) = run.triangles.first() else {
                continue;
            };
            found.push(Contour {
                below: bands.parent[bands.piece(on, k - 1) as usize],
                above: bands.parent[bands.piece(on, k) as usize],
                counts: length >= least,
                length,
                run,
            });
        }
    }
    found
}

/// Maximal chains of contours, each alone in the bands between.
fn link(contours: &[Contour], bands: &Bands, at_boundary: &[bool]) -> Vec<(Vec<usize>, [End; 2])> {
    // Contours that bound each band, those at its lower side first.
    let mut lower: Vec<Vec<usize>> = vec![Vec::new(); bands.parent.len()];
    let mut upper = lower.clone();
    for (c, contour) in contours.iter().enumerate().filter(|(_, c)| c.counts) {
        lower[contour.above as usize].push(c);
        upper[contour.below as usize].push(c);
    }
    let next = |c: usize| -> Option<usize> {
        let band = contours[c].above as usize;
        match (lower[band].as_slice(), upper[band].as_slice()) {
            (&[_], &[d]) if contours[d].run.closed => Some(d),
            _ => None,
        }
    };
    let end = |band: u32| {
        let band = band as usize;
        let at_end = || lower[band].iter().chain(&upper[band]);
        if at_end().filter(|&&c| contours[c].run.closed).count() > 1 {
            End::Body
        } else if at_boundary[band] {
            End::Boundary
        } else {
            End::Cap
        }
    };
    let mut follows = vec![false; contours.len()];
    let closed = |c: &usize| contours[*c].counts && contours[*c].run.closed;
    for c in (0..contours.len()).filter(closed) {
        if let Some(d) = next(c) {
            follows[d] = true;
        }
    }
    let mut all = Vec::new();
    for first in (0..contours.len()).filter(closed).filter(|&c| !follows[c]) {
        let mut chain = vec![first];
        let mut at = first;
        while let Some(d) = next(at) {
            chain.push(d);
            at = d;
        }
        let ends = [end(contours[first].below), end(contours[at].above)];
        all.push((chain, ends));
    }
    all
}

/// The longest stretch of a chain whose loops run mostly over free triangles. Where it was cut
/// another limb goes on.
pub(super) fn free_stretch(chain: &Chain, taken: &[bool]) -> Option<Chain> {
    let free = |run: &Run| {
        let covered = run.triangles.iter().filter(|t| taken[**t as usize]);
        2 * covered.count() <= run.triangles.len()
    };
    let mut best = 0..0;
    let mut from = 0;
    for i in 0..=chain.loops.len() {
        if !chain.loops.get(i).is_some_and(free) {
            if i - from > best.len() {
                best = from..i;
            }
            from = i + 1;
        }
    }
    if best.len() < LEAST_LOOPS {
        return None;
    }
    let mut ends = chain.ends;
    if best.start > 0 {
        ends[0] = End::Body;
    }
    if best.end < chain.loops.len() {
        ends[1] = End::Body;
    }
    Some(Chain {
        loops: chain.loops[best].to_vec(),
        ends,
        triangles: chain
            .triangles
            .iter()
            .copied()
            .filter(|t| !taken[*t as usize])
            .collect(),
    })
}

/// Middle of each loop of a chain.
pub(super) fn centres(chain: &Chain) -> Vec<DVec3> {
    chain.loops.iter().map(Run::centroid).collect()
}
