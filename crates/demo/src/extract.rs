//! From a distance function to a quad-dominant closed surface.
//!
//! Dual marching cubes (Nielson 2004): one vertex for each patch of surface in a grid cell,
//! one quad for each grid edge that the surface crosses. Ambiguous cell faces are joined or
//! parted by the asymptotic decider (Nielson & Hamann 1991); where that would put two quad
//! pairs on one edge the face is turned over (Wenger, "Isosurfaces", 2013, sec. on manifold
//! dual contouring), so the result is always manifold.
//!
//! The grid is sparse: blocks of 8³ cells, found by a coarse sweep that skips space by the
//! distance function's Lipschitz bound. Exact values are taken at every second corner and
//! halved in between; the caller then projects vertices onto the zero set.

use std::collections::BTreeMap;

use base::{Cancelled, Task};
use mesh::DVec3;
use rayon::prelude::*;

use crate::cell::{EDGES, FACES, UNCROSSED, corner_offset, decide_faces, is_ambiguous, patches};
use crate::sdf::Shape;

/// Cells along a block's edge.
const BLOCK: usize = 8;
/// Samples along a block's edge, and exact ones among them.
const SAMPLES: usize = BLOCK + 1;
/// Upper bound of a distance function's gradient length.
const LIPSCHITZ: f64 = 1.7;

/// A closed quad surface.
#[derive(Clone, Debug, Default)]
pub(crate) struct QuadSoup {
    pub(crate) positions: Vec<DVec3>,
    pub(crate) quads: Vec<[u32; 4]>,
}

#[derive(Clone, Copy, Debug)]
struct Grid {
    origin: DVec3,
    cell: f64,
    blocks: [usize; 3],
}

impl Grid {
    fn at(&self, index: [usize; 3]) -> DVec3 {
        self.origin + self.cell * DVec3::new(index[0] as f64, index[1] as f64, index[2] as f64)
    }
}

/// What is kept of a block: sign patterns, first vertices, vertices.
struct Block {
    place: [usize; 3],
    patterns: Vec<u8>,
    first: Vec<u16>,
    positions: Vec<DVec3>,
}

/// Extracts the zero set of `shape` within `low..high` (which must contain it) with cells of
/// edge `cell`. Memory and time are proportional to the number of cells crossed.
pub(crate) fn extract(
    shape: &dyn Shape,
    low: DVec3,
    high: DVec3,
    cell: f64,
    task: &Task,
) -> Result<QuadSoup, Cancelled> {
    let size = (high - low) / (cell * BLOCK as f64);
    let blocks = [
        size.x.ceil() as usize,
        size.y.ceil() as usize,
        size.z.ceil() as usize,
    ];
    let grid = Grid {
        origin: low,
        cell,
        blocks,
    };
    let places = near_blocks(shape, &grid);
    task.checkpoint()?;
    let sampled: Vec<(Block, Vec<Unclear>)> = places
        .par_iter()
        .filter_map(|&place| sample(shape, &grid, place))
        .collect();
    task.checkpoint()?;
    let mut unclear: BTreeMap<[usize; 3], Unclear> = BTreeMap::new();
    let mut kept = Vec::with_capacity(sampled.len());
    for (block, cells) in sampled {
        kept.push(block);
        unclear.extend(cells.into_iter().map(|c| (c.cell, c)));
    }
    part_doubled_edges(&mut unclear);
    let table: Vec<[u8; 12]> = (0..=255u8).map(|pattern| patches(pattern, 0)).collect();
    let lookup = Lookup {
        grid,
        table,
        unclear,
        block_of: index_blocks(&grid, &kept),
    };
    kept.par_iter_mut()
        .for_each(|block| lookup.place_vertices(block));
    Ok(lookup.join(&kept))
}

/// Blocks that the surface may touch, in grid order.
fn near_blocks(shape: &dyn Shape, grid: &Grid) -> Vec<[usize; 3]> {
    const COARSE: usize = 4;
    let coarse: Vec<[usize; 3]> = all_places(grid.blocks.map(|n| n.div_ceil(COARSE)));
    let near = |place: [usize; 3], blocks: usize| {
        let half = 0.5 * (blocks * BLOCK) as f64;
        let low = grid.at(place.map(|i| i * blocks * BLOCK));
        let centre = low + half * grid.cell;
        shape.distance(centre).abs() <= LIPSCHITZ * 3f64.sqrt() * half * grid.cell
    };
    let mut found: Vec<[usize; 3]> = coarse
        .par_iter()
        .filter(|&&place| near(place, COARSE))
        .flat_map_iter(|&place| {
            all_places([COARSE; 3])
                .into_iter()
                .map(move |inner| [0, 1, 2].map(|a| place[a] * COARSE + inner[a]))
                .filter(|fine| (0..3).all(|a| fine[a] < grid.blocks[a]))
                .filter(|&fine| near(fine, 1))
        })
        .collect();
    found.sort_unstable_by_key(|p| (p[2], p[1], p[0]));
    found
}

fn all_places(n: [usize; 3]) -> Vec<[usize; 3]> {
    (0..n[2])
        .flat_map(|k| (0..n[1]).flat_map(move |j| (0..n[0]).map(move |i| [i, j, k])))
        .collect()
}

fn sample_index(i: usize, j: usize, k: usize) -> usize {
    (k * SAMPLES + j) * SAMPLES + i
}

/// Samples a block; `None` if the surface doesn't cross it. Positions hold the
/// corner values' crossing points for now and are filled once patches are known.
fn sample(shape: &dyn Shape, grid: &Grid, place: [usize; 3]) -> Option<(Block, Vec<Unclear>)> {
    let values = block_values(shape, grid, place);
    let negative = values.iter().filter(|v| **v < 0.0).count();
    if negative == 0 || negative == values.len() {
        return None;
    }
    let mut block = Block {
        place,
        patterns: vec![0; BLOCK.pow(3)],
        first: vec![0; BLOCK.pow(3)],
        positions: Vec::new(),
    };
    let mut unclear = Vec::new();
    for (c, inner) in all_places([BLOCK; 3]).into_iter().enumerate() {
        let corners: [f64; 8] = std::array::from_fn(|b| {
            values[sample_index(
                inner[0] + (b & 1),
                inner[1] + (b >> 1 & 1),
                inner[2] + (b >> 2),
            )]
        });
        let pattern = (0..8)
            .filter(|&b| corners[b] < 0.0)
            .fold(0u8, |p, b| p | 1 << b);
        block.patterns[c] = pattern;
        if pattern == 0 || pattern == 255 {
            continue;
        }
        let cell: [usize; 3] = std::array::from_fn(|a| place[a] * BLOCK + inner[a]);
        if let Some(joined) = decide_faces(&corners) {
            unclear.push(Unclear {
                cell,
                pattern,
                joined,
            });
        }
        // Crossing points of the twelve edges, in order, until patches are known.
        let origin = grid.at(cell);
        for [a, b] in EDGES {
            let (va, vb) = (corners[a], corners[b]);
            if (va < 0.0) != (vb < 0.0) {
                let (pa, pb) = (corner_offset(a), corner_offset(b));
                block
                    .positions
                    .push(origin + grid.cell * (pa + (pb - pa) * (va / (va - vb))));
            }
        }
    }
    Some((block, unclear))
}

fn block_values(shape: &dyn Shape, grid: &Grid, place: [usize; 3]) -> Vec<f64> {
    let mut v = vec![0.0; SAMPLES.pow(3)];
    let base = place.map(|i| i * BLOCK);
    for k in (0..SAMPLES).step_by(2) {
        for j in (0..SAMPLES).step_by(2) {
            for i in (0..SAMPLES).step_by(2) {
                v[sample_index(i, j, k)] =
                    shape.distance(grid.at([base[0] + i, base[1] + j, base[2] + k]));
            }
        }
    }
    // Halving along x, then y, then z gives equal values on faces shared by two blocks.
    for (axis, stride) in [(0, 1), (1, SAMPLES), (2, SAMPLES * SAMPLES)] {
        for k in (0..SAMPLES).step_by(if axis < 2 { 2 } else { 1 }) {
            for j in (0..SAMPLES).step_by(if axis < 1 { 2 } else { 1 }) {
                for i in 0..SAMPLES {
                    if [i, j, k][axis] % 2 == 1 {
                        let at = sample_index(i, j, k);
                        v[at] = 0.5 * (v[at - stride] + v[at + stride]);
                    }
                }
            }
        }
    }
    v
}

/// A cell with at least one ambiguous face.
#[derive(Clone, Debug)]
struct Unclear {
    cell: [usize; 3],
    pattern: u8,
    /// Bit per face: whether its two inside corners are joined.
    joined: u8,
}

/// Turns over each ambiguous face whose two segments lie in one patch on both sides.
/// A turn only ever splits patches, so one pass is enough.
fn part_doubled_edges(unclear: &mut BTreeMap<[usize; 3], Unclear>) {
    let one_patch = |c: &Unclear, face: usize| {
        let patch = patches(c.pattern, c.joined);
        let sides: Vec<u8> = (0..12)
            .filter(|&e| EDGES[e].iter().all(|c| FACES[face].contains(c)))
            .map(|e| patch[e])
            .collect();
        sides.iter().all(|p| *p == sides[0])
    };
    let cells: Vec<[usize; 3]> = unclear.keys().copied().collect();
    for cell in cells {
        for axis in 0..3 {
            let (high_face, low_face) = (2 * axis + 1, 2 * axis);
            let mut other = cell;
            other[axis] += 1;
            let (Some(a), Some(b)) = (unclear.get(&cell), unclear.get(&other)) else {
                continue;
            };
            if is_ambiguous(a.pattern, high_face)
                && one_patch(a, high_face)
                && one_patch(b, low_face)
            {
                if let Some(a) = unclear.get_mut(&cell) {
                    a.joined ^= 1 << high_face;
                }
                if let Some(b) = unclear.get_mut(&other) {
                    b.joined ^= 1 << low_face;
                }
            }
        }
    }
}

fn index_blocks(grid: &Grid, blocks: &[Block]) -> Vec<u32> {
    let mut block_of = vec![u32::MAX; grid.blocks.iter().product()];
    for (b, block) in blocks.iter().enumerate() {
        let [i, j, k] = block.place;
        block_of[(k * grid.blocks[1] + j) * grid.blocks[0] + i] = b as u32;
    }
    block_of
}

struct Lookup {
    grid: Grid,
    table: Vec<[u8; 12]>,
    unclear: BTreeMap<[usize; 3], Unclear>,
    block_of: Vec<u32>,
}

impl Lookup {
    fn patches_of(&self, cell: [usize; 3], pattern: u8) -> [u8; 12] {
        let ambiguous = (0..6).any(|f| is_ambiguous(pattern, f));
        match self.unclear.get(&cell) {
            Some(c) if ambiguous => patches(pattern, c.joined),
            _ => self.table[pattern as usize],
        }
    }

    /// Replaces crossing points by one mean point a patch.
    fn place_vertices(&self, block: &mut Block) {
        let crossings = std::mem::take(&mut block.positions);
        let mut next = crossings.into_iter();
        for (c, inner) in all_places([BLOCK; 3]).into_iter().enumerate() {
            let pattern = block.patterns[c];
            block.first[c] = block.positions.len() as u16;
            if pattern == 0 || pattern == 255 {
                continue;
            }
            let cell = [0, 1, 2].map(|a| block.place[a] * BLOCK + inner[a]);
            let patch = self.patches_of(cell, pattern);
            let mut sums = [(DVec3::ZERO, 0.0); 4];
            for p in patch.into_iter().filter(|p| *p != UNCROSSED) {
                let slot = &mut sums[p as usize & 3];
                slot.0 += next.next().unwrap_or_default();
                slot.1 += 1.0;
            }
            block
                .positions
                .extend(sums.iter().filter(|s| s.1 > 0.0).map(|s| s.0 / s.1));
        }
    }

    fn join(&self, blocks: &[Block]) -> QuadSoup {
        let mut start = Vec::with_capacity(blocks.len());
        let mut positions = Vec::new();
        for block in blocks {
            start.push(positions.len() as u32);
            positions.extend_from_slice(&block.positions);
        }
        let quads = blocks
            .par_iter()
            .flat_map_iter(|block| self.quads_of(block, blocks, &start))
            .collect();
        QuadSoup { positions, quads }
    }

    fn vertex(
        &self,
        cell: [usize; 3],
        edge: usize,
        blocks: &[Block],
        start: &[u32],
    ) -> Option<u32> {
        let [i, j, k] = cell.map(|c| c / BLOCK);
        let b = self.block_of[(k * self.grid.blocks[1] + j) * self.grid.blocks[0] + i];
        let block = blocks.get(b as usize)?;
        let [x, y, z] = cell.map(|c| c % BLOCK);
        let c = (z * BLOCK + y) * BLOCK + x;
        let patch = self.patches_of(cell, block.patterns[c])[edge];
        (patch != UNCROSSED)
            .then(|| start[b as usize] + u32::from(block.first[c]) + u32::from(patch))
    }

    fn quads_of(&self, block: &Block, blocks: &[Block], start: &[u32]) -> Vec<[u32; 4]> {
        let mut quads = Vec::new();
        for (c, inner) in all_places([BLOCK; 3]).into_iter().enumerate() {
            let pattern = block.patterns[c];
            for axis in 0..3 {
                let (from, to) = (pattern & 1, pattern >> (1 << axis) & 1);
                if from == to {
                    continue;
                }
                let (u, v) = ((axis + 1) % 3, (axis + 2) % 3);
                let cell: [usize; 3] = std::array::from_fn(|a| block.place[a] * BLOCK + inner[a]);
                if cell[u] == 0 || cell[v] == 0 {
                    continue;
                }
                let around = [(0, 0), (1, 0), (1, 1), (0, 1)].map(|(du, dv)| {
                    let mut other = cell;
                    other[u] -= du;
                    other[v] -= dv;
                    // The same grid edge seen from a cell on its other side.
                    let corner = du << u | dv << v;
                    let edge = EDGES
                        .iter()
                        .position(|e| *e == [corner, corner | 1 << axis]);
                    self.vertex(other, edge.unwrap_or(0), blocks, start)
                });
                if let [Some(p), Some(q), Some(r), Some(s)] = around {
                    quads.push(if from == 1 {
                        [p, q, r, s]
                    } else {
                        [s, r, q, p]
                    });
                }
            }
        }
        quads
    }
}

#[cfg(test)]
mod tests;
