//! Joining of vertices at the same place.
//!
//! Points are put into cells of a grid, sorted by cell, and compared within their
//! cell and with the cells that they nearly touch. Cost n log n.

use mesh::{DVec3, Vec3};
use rayon::prelude::*;

/// Cell size in tolerances: few points share a cell, and few lie near its walls.
const CELL: f64 = 64.0;
/// Most cells along an axis, so that three cell numbers fit in 63 bits.
const MAX_CELLS: f64 = 2_000_000.0;
/// Each point is compared with at most this many of its cell (in order of x, y, z) and of
/// each cell beside it, so that no input makes the work quadratic.
const CROWD: usize = 64;

/// Which vertices are one.
pub(super) struct Weld {
    /// For each vertex, the lowest vertex at its place (itself if it is that one).
    pub first: Vec<u32>,
}

/// Finds vertices nearer than `tolerance` (model units) to each other, in chains.
/// Only vertices marked in `used` take part; all of those are finite.
pub(super) fn weld(positions: &[Vec3], used: &[bool], tolerance: f64) -> Weld {
    let mut first: Vec<u32> = (0..positions.len() as u32).collect();
    let Some(grid) = Grid::new(positions, used, tolerance) else {
        return Weld { first };
    };
    let entries = grid.sorted(positions, used);
    let mut start = 0;
    for run in entries.chunk_by(|x, y| x.0 == y.0) {
        start += run.len();
        join_cell(positions, run, tolerance, &mut first);
        for &(key, v) in run {
            for other in grid.later_neighbours(positions[v as usize].as_dvec3(), key) {
                let rest = &entries[start..];
                let from = rest.partition_point(|e| e.0 < other);
                let near = rest[from..].iter().take_while(|e| e.0 == other);
                for &(_, w) in near.take(CROWD) {
                    join_near(positions, v, w, tolerance, &mut first);
                }
            }
        }
    }
    for v in 0..first.len() {
        first[v] = root(&mut first, v as u32);
    }
    Weld { first }
}

struct Grid {
    low: DVec3,
    cell: f64,
    tolerance: f64,
}

impl Grid {
    fn new(positions: &[Vec3], used: &[bool], tolerance: f64) -> Option<Self> {
        let mut bounds: Option<(Vec3, Vec3)> = None;
        for (p, _) in positions.iter().zip(used).filter(|(_, used)| **used) {
            let (low, high) = bounds.unwrap_or((*p, *p));
            bounds = Some((low.min(*p), high.max(*p)));
        }
        let (low, high) = bounds?;
        let low = low.as_dvec3();
        let extent = (high.as_dvec3() - low).max_element();
        let cell = (CELL * tolerance)
            .max(extent / MAX_CELLS)
            .max(f64::MIN_POSITIVE);
        Some(Self {
            low,
            cell,
            tolerance,
        })
    }

    fn coordinates(&self, p: DVec3) -> DVec3 {
        (p - self.low) / self.cell
    }

    fn key(c: [u64; 3]) -> u64 {
        (c[0] << 42) | (c[1] << 21) | c[2]
    }

    fn sorted(&self, positions: &[Vec3], used: &[bool]) -> Vec<(u64, u32)> {
        let mut entries: Vec<(u64, u32)> = positions
            .par_iter()
            .enumerate()
            .filter(|(v, _)| used[*v])
            .map(|(v, p)| {
                let c = self.coordinates(p.as_dvec3()).to_array().map(|x| x as u64);
                (Self::key(c), v as u32)
            })
            .collect();
        entries.par_sort_unstable();
        entries
    }

    /// Keys, greater than the point's own, of the cells within the tolerance of a point.
    fn later_neighbours(&self, p: DVec3, own: u64) -> impl Iterator<Item = u64> {
        let at = self.coordinates(p).to_array();
        let slack = self.tolerance / self.cell * 1.001;
        let spans = at.map(|x| (((x - slack).max(0.0)) as u64, (x + slack) as u64));
        let inside = spans.iter().all(|(low, high)| low == high);
        let [x, y, z] = spans.map(|(low, high)| low..=high);
        let keys = x.flat_map(move |x| {
            let z = z.clone();
            y.clone()
                .flat_map(move |y| z.clone().map(move |z| Self::key([x, y, z])))
        });
        keys.filter(move |&key| !inside && key > own)
    }
}

/// Joins near points within a cell.
fn join_cell(positions: &[Vec3], run: &[(u64, u32)], tolerance: f64, first: &mut [u32]) {
    if run.len() < 2 {
        return;
    }
    let mut members: Vec<u32> = run.iter().map(|e| e.1).collect();
    if members.len() > CROWD {
        let compare = |v: u32, w: u32| {
            let [p, q] = [v, w].map(|v| (positions[v as usize] + Vec3::ZERO).to_array());
            let axes = p.iter().zip(&q).map(|(a, b)| a.total_cmp(b));
            axes.fold(std::cmp::Ordering::Equal, std::cmp::Ordering::then)
        };
        members.sort_unstable_by(|&v, &w| compare(v, w).then(v.cmp(&w)));
    }
    for (i, &v) in members.iter().enumerate() {
        for &w in members[i + 1..].iter().take(CROWD) {
            join_near(positions, v, w, tolerance, first);
        }
    }
}

fn join_near(positions: &[Vec3], v: u32, w: u32, tolerance: f64, first: &mut [u32]) {
    let (p, q) = (
        positions[v as usize].as_dvec3(),
        positions[w as usize].as_dvec3(),
    );
    if p.distance_squared(q) <= tolerance * tolerance {
        join(first, v, w);
    }
}

fn join(first: &mut [u32], v: u32, w: u32) {
    let (a, b) = (root(first, v), root(first, w));
    first[a.max(b) as usize] = a.min(b);
}

fn root(first: &mut [u32], mut v: u32) -> u32 {
    while first[v as usize] != v {
        let up = first[first[v as usize] as usize];
        first[v as usize] = up;
        v = up;
    }
    v
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn welded(points: &[Vec3], tolerance: f64) -> Vec<u32> {
        weld(points, &vec![true; points.len()], tolerance).first
    }

    #[test]
    fn copies_and_near_points_join_the_lowest_index() {
        let e = 1e-4;
        let points = [
            Vec3::ZERO,
            Vec3::X,
            Vec3::new(-0.0, 0.0, e),
            Vec3::X,
            Vec3::new(0.0, 3.0 * e, 0.0),
        ];
        assert_eq!(welded(&points, 1.5e-4), vec![0, 1, 0, 1, 4]);
    }

    #[test]
    fn a_crowd_joins_copies_and_ends() {
        let mut points = vec![Vec3::splat(1e6)];
        points.extend((0..20_000).map(|i| Vec3::new((i / 2) as f32 * 1e-6, 0.0, 0.0)));
        let first = welded(&points, 1e-9);
        assert!(
            (1..points.len())
                .step_by(2)
                .all(|v| first[v + 1] == v as u32)
        );
    }

    proptest! {
        /// Brute force gives the same pairs: those nearer than the tolerance, in chains.
        #[test]
        fn agrees_with_all_pairs(raw in prop::collection::vec((0u8..40, 0u8..40, 0u8..3), 1..60)) {
            let points: Vec<Vec3> = raw
                .iter()
                .map(|&(x, y, z)| Vec3::new(f32::from(x), f32::from(y), f32::from(z)) * 0.01)
                .collect();
            for tolerance in [0.0, 0.0101, 0.015] {
                let mut slow: Vec<u32> = (0..points.len() as u32).collect();
                for v in 0..points.len() as u32 {
                    for w in v + 1..points.len() as u32 {
                        join_near(&points, v, w, tolerance, &mut slow);
                    }
                }
                for v in 0..slow.len() {
                    slow[v] = root(&mut slow, v as u32);
                }
                prop_assert_eq!(welded(&points, tolerance), slow);
            }
        }
    }
}
