//! Places of a patch's inner vertices in its plane shape.
//!
//! The patch itself is laid flat by a harmonic map, which crowds a long patch into the corner of a
//! regular shape. Straight lines to a pole in the middle would leave the crowded part without quads;
//! so the quads are laid into the same shape by the same rule, each inner vertex the mean of
//! its neighbours (Tutte 1963). What both maps crowd comes out even, and nothing folds in the plane.

use mesh::DVec3;
use numeric::{Spd, SpdError};

/// Places of the vertices after the first `outer`, each the mean of its neighbours along quads' edges.
pub(super) fn even(
    uv: &[[f64; 2]],
    outer: usize,
    quads: &[[u32; 4]],
) -> Result<Vec<[f64; 2]>, SpdError> {
    let free = uv.len() - outer;
    if free == 0 {
        return Ok(Vec::new());
    }
    // Each inner edge has a quad on both sides, so a half of it in each makes one.
    let mut entries = Vec::with_capacity(8 * quads.len() + free);
    let mut diagonal = vec![0.0; free];
    let mut right = [vec![0.0; free], vec![0.0; free]];
    for quad in quads {
        for k in 0..4 {
            let ends = [quad[k] as usize, quad[(k + 1) % 4] as usize];
            for [x, y] in [ends, [ends[1], ends[0]]] {
                let Some(row) = x.checked_sub(outer) else {
                    continue;
                };
                diagonal[row] += 0.5;
                match y.checked_sub(outer) {
                    Some(column) if column < row => entries.push((row, column, -0.5)),
                    Some(_) => {}
                    None => {
                        for axis in 0..2 {
                            right[axis][row] += 0.5 * uv[y][axis];
                        }
                    }
                }
            }
        }
    }
    entries.extend(diagonal.iter().enumerate().map(|(i, &d)| (i, i, d)));
    let system = Spd::factor(free, &entries)?;
    let solved = [system.solve(&right[0]), system.solve(&right[1])];
    Ok((0..free).map(|i| [solved[0][i], solved[1][i]]).collect())
}

/// How far quads are from squares, summed over their corners: 0 for one of two equal edges at a right
/// angle, 1 where the edges lie along each other, up to 2 where the quad is turned over there.
pub(super) fn unlike_squares(quads: &[[u32; 4]], at: impl Fn(u32) -> DVec3) -> f64 {
    let of_quad = |quad: &[u32; 4]| -> f64 {
        let p = quad.map(&at);
        let normal = (p[2] - p[0]).cross(p[3] - p[1]).normalize_or_zero();
        let of_corner = |k: usize| {
            let (a, b) = (p[(k + 1) % 4] - p[k], p[(k + 3) % 4] - p[k]);
            let squares = a.length_squared() + b.length_squared();
            1.0 - 2.0 * a.cross(b).dot(normal) / squares.max(1e-300)
        };
        (0..4).map(of_corner).sum()
    };
    quads.iter().map(of_quad).sum()
}
