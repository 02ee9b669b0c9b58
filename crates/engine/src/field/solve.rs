//! The smoothest 4-direction field with given directions along chains.

use std::f64::consts::FRAC_PI_2;

use mesh::TriTopology;
use numeric::{Spd, SpdError};

use super::curvature::Pull;
use super::frames::Frames;
use crate::model::WorkSurface;

/// Directions that chains give to their vertices, as angles in the vertices' frames.
///
/// Where chains meet at other angles than square, the vertex is left free.
pub(super) fn directions_of_chains(
    surface: &WorkSurface,
    topology: &TriTopology,
    frames: &Frames,
) -> Vec<Option<f64>> {
    let mut sums = vec![(0.0f64, 0.0f64, 0u32); surface.positions.len()];
    for chain in &surface.chains {
        let n = chain.vertices.len();
        let last = if chain.closed { n } else { n.saturating_sub(1) };
        for i in 0..last {
            let (a, b) = (chain.vertices[i], chain.vertices[(i + 1) % n]);
            let Some(edge) = topology.edge_between(a, b) else {
                continue;
            };
            for v in [a, b] {
                let angle = 4.0 * frames.of_edge(topology, edge, v);
                let sum = &mut sums[v as usize];
                sum.0 += angle.cos();
                sum.1 += angle.sin();
                sum.2 += 1;
            }
        }
    }
    sums.iter()
        .map(|&(x, y, n)| {
            let agree = (x * x + y * y).sqrt();
            (n > 0 && agree > 0.5 * f64::from(n)).then(|| y.atan2(x) / 4.0)
        })
        .collect()
}

/// Minimises the sum over edges of |z_j − r_ij z_i|², z the fourth power of the
/// direction, and of weight × |z_i − p_i|², p that of the pull (equation 16 there), with the given
/// vertices fixed; with neither, the smallest eigenvector by inverse iteration.
pub(super) fn smoothest(
    topology: &TriTopology,
    frames: &Frames,
    fixed: &[Option<f64>],
    pull: &Pull,
) -> Result<Vec<f64>, SpdError> {
    let vertices = topology.vertex_count();
    let mut slot = vec![usize::MAX; vertices];
    let mut free = 0;
    for v in 0..vertices {
        if fixed[v].is_none() && topology.fan(v as u32).next().is_some() {
            slot[v] = free;
            free += 1;
        }
    }
    let mut lower = Vec::with_capacity(topology.edge_count() * 6);
    let mut right = vec![0.0; 2 * free];
    let mut diagonal = vec![1e-9; free];
    let mut pulled = 0.0;
    for v in 0..vertices {
        if slot[v] != usize::MAX && pull.weight[v] > 0.0 {
            let (s, c) = (4.0 * pull.angle[v]).sin_cos();
            diagonal[slot[v]] += pull.weight[v];
            right[2 * slot[v]] += pull.weight[v] * c;
            right[2 * slot[v] + 1] += pull.weight[v] * s;
            pulled += pull.weight[v];
        }
    }
    for edge in 0..topology.edge_count() as u32 {
        let h = topology.half_of_edge(edge);
        let (a, b) = (topology.from(h) as usize, topology.to(h) as usize);
        let turn = 4.0 * frames.transport(h);
        let (c, s) = (turn.cos(), turn.sin());
        for v in [a, b] {
            if slot[v] != usize::MAX {
                diagonal[slot[v]] += 1.0;
            }
        }
        match (slot[a], slot[b]) {
            (usize::MAX, usize::MAX) => {}
            (i, usize::MAX) => {
                // Carried back from b to a: the conjugate turn.
                let z = 4.0 * fixed[b].unwrap_or(0.0) - turn;
                right[2 * i] += z.cos();
                right[2 * i + 1] += z.sin();
            }
            (usize::MAX, j) => {
                let z = 4.0 * fixed[a].unwrap_or(0.0) + turn;
                right[2 * j] += z.cos();
                right[2 * j + 1] += z.sin();
            }
            (i, j) => {
                // Block (j, i) is −r, r the rotation by `turn`; the matrix is symmetric.
                lower.push((2 * j, 2 * i, -c));
                lower.push((2 * j, 2 * i + 1, s));
                lower.push((2 * j + 1, 2 * i, -s));
                lower.push((2 * j + 1, 2 * i + 1, -c));
            }
        }
    }
    // `Spd` folds (row, column) into the lower triangle; the block above names each pair once.
    let mut entries = lower;
    for (i, d) in diagonal.iter().enumerate() {
        entries.push((2 * i, 2 * i, *d));
        entries.push((2 * i + 1, 2 * i + 1, *d));
    }
    let mut x = Vec::new();
    if free > 0 {
        let system = Spd::factor(2 * free, &entries)?;
        // A pull too weak to tell leaves it to the eigenvector.
        if fixed.iter().any(Option::is_some) || pulled > 1e-3 {
            x = system.solve(&right);
        } else {
            x = (0..2 * free)
                .map(|i| ((i * 7919 % 1009) as f64 / 1009.0) - 0.5)
                .collect();
            for _ in 0..30 {
                x = system.solve(&x);
                let length = x
                    .iter()
                    .map(|v| v * v)
                    .sum::<f64>()
                    .sqrt()
                    .max(f64::MIN_POSITIVE);
                x.iter_mut().for_each(|v| *v /= length);
            }
        }
    }
    Ok((0..vertices)
        .map(|v| {
            let angle = match (fixed[v], slot[v]) {
                (Some(angle), _) => angle,
                (None, usize::MAX) => 0.0,
                (None, i) => x[2 * i + 1].atan2(x[2 * i]) / 4.0,
            };
            angle.rem_euclid(FRAC_PI_2)
        })
        .collect())
}
