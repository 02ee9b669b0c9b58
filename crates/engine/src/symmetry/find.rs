//! Looking for the mirror plane.
//!
//! Candidates are the coordinate planes through the middle and the planes square to the
//! principal axes of the surface; each is refined by matching mirrored points with their
//! closest points on the sculpt and solving for the plane that mirrors the matches best:
//! for pairs p, q about their means, |mirror(p) − q|² = |p − q|² + 4 (n·p)(n·q), so the
//! normal is the eigenvector of the least eigenvalue of the symmetric part of Σ p qᵀ
//! (an iterated closest point scheme after Besl & McKay 1992, with a mirror for the motion).

use base::Task;
use mesh::DVec3;
use rayon::prelude::*;

use super::{SymmetryError, samples};
use crate::model::{Plane, Sculpt};

/// A plane is accepted when the 95th percentile of the mirrored points' distances is
/// below this share of the diagonal.
const ACCEPTED: f64 = 0.02;

/// Distances of mirrored points to the sculpt, model units.
pub(super) fn residuals(sculpt: &Sculpt, plane: &Plane, points: &[DVec3]) -> Vec<f64> {
    points
        .par_iter()
        .map(|&p| {
            sculpt
                .index
                .closest(plane.mirror(p))
                .map_or(f64::INFINITY, |c| c.distance)
        })
        .collect()
}

/// The plane that mirrors the sculpt best.
pub(super) fn find(sculpt: &Sculpt, task: &Task) -> Result<Plane, SymmetryError> {
    let points = samples::spread(&sculpt.mesh, 600);
    let diagonal = sculpt.mesh.diagonal();
    let centre = points.iter().sum::<DVec3>() / points.len().max(1) as f64;
    let (_, axes) = eigen(&moments(points.iter().map(|&p| (p - centre, p - centre))));
    let mut normals = vec![DVec3::X, DVec3::Y, DVec3::Z];
    normals.extend(axes);
    // Two like axes leave their turn open: try between them as well.
    for (a, b) in [(0, 1), (1, 2), (0, 2)] {
        normals.extend([axes[a] + axes[b], axes[a] - axes[b]]);
    }
    // Rough to fine: most candidates fall out before much is asked of the sculpt.
    let starts = normals.iter().map(|n| Plane {
        origin: centre,
        normal: n.normalize_or(DVec3::X),
    });
    let rough: Vec<DVec3> = points.iter().copied().step_by(4).collect();
    let candidates = ranked(sculpt, starts, &rough);
    task.checkpoint()?;
    let refined_roughly = candidates
        .iter()
        .take(4)
        .map(|p| refined(sculpt, *p, &rough, 12));
    let candidates = ranked(sculpt, refined_roughly, &points);
    task.checkpoint()?;
    let best = candidates.first().map(|p| {
        let plane = refined(sculpt, *p, &points, 12);
        (score(sculpt, &plane, &points), plane)
    });
    let Some((residual, plane)) = best else {
        return Err(SymmetryError::Empty);
    };
    let limit = ACCEPTED * diagonal;
    let off = samples::percentile(&residuals(sculpt, &plane, &points), 0.95);
    if off > limit {
        return Err(SymmetryError::NoPlane {
            residual: off,
            limit,
        });
    }
    Ok(squared_up(sculpt, plane, residual, &points, diagonal))
}

/// Root mean square of the residuals.
fn score(sculpt: &Sculpt, plane: &Plane, points: &[DVec3]) -> f64 {
    let off = residuals(sculpt, plane, points);
    (off.iter().map(|d| d * d).sum::<f64>() / off.len().max(1) as f64).sqrt()
}

/// Planes, the one with the least score first; ties by order.
fn ranked(sculpt: &Sculpt, planes: impl Iterator<Item = Plane>, points: &[DVec3]) -> Vec<Plane> {
    let mut scored: Vec<(f64, Plane)> = planes.map(|p| (score(sculpt, &p, points), p)).collect();
    scored.sort_by(|a, b| a.0.total_cmp(&b.0));
    scored.into_iter().map(|(_, plane)| plane).collect()
}

fn refined(sculpt: &Sculpt, start: Plane, points: &[DVec3], rounds: usize) -> Plane {
    let mut plane = start;
    let diagonal = sculpt.mesh.diagonal();
    for _ in 0..rounds {
        let pairs: Vec<(DVec3, DVec3)> = points
            .par_iter()
            .filter_map(|&p| sculpt.index.closest(plane.mirror(p)).map(|c| (p, c.point)))
            .collect();
        let count = pairs.len().max(1) as f64;
        let mean_p = pairs.iter().map(|x| x.0).sum::<DVec3>() / count;
        let mean_q = pairs.iter().map(|x| x.1).sum::<DVec3>() / count;
        let (values, axes) = eigen(&moments(
            pairs.iter().map(|&(p, q)| (p - mean_p, q - mean_q)),
        ));
        let least = (0..3)
            .min_by(|&i, &j| values[i].total_cmp(&values[j]))
            .unwrap_or(0);
        let mut normal = axes[least];
        if normal.dot(plane.normal) < 0.0 {
            normal = -normal;
        }
        let next = Plane {
            origin: (mean_p + mean_q) / 2.0,
            normal,
        };
        let moved =
            (next.normal - plane.normal).length() + next.height(plane.origin).abs() / diagonal;
        plane = next;
        if moved < 1e-9 {
            break;
        }
    }
    plane
}

/// A coordinate plane through the origin if the found one is nearly that and mirrors
/// hardly better; else the found one, its normal towards the greater coordinate.
fn squared_up(
    sculpt: &Sculpt,
    plane: Plane,
    residual: f64,
    points: &[DVec3],
    diagonal: f64,
) -> Plane {
    let longest = plane.normal.abs().max_element();
    for axis in [DVec3::X, DVec3::Y, DVec3::Z] {
        if plane.normal.dot(axis).abs() < longest {
            continue;
        }
        let through_origin = Plane {
            origin: DVec3::ZERO,
            normal: axis,
        };
        let mut through_middle = Plane {
            origin: axis * plane.origin.dot(axis),
            normal: axis,
        };
        if through_middle.origin.length() < 0.001 * diagonal {
            through_middle = through_origin;
        }
        for candidate in [through_origin, through_middle] {
            if score(sculpt, &candidate, points) <= 1.05 * residual + 1e-4 * diagonal {
                return candidate;
            }
        }
        let sign = plane.normal.dot(axis).signum();
        return Plane {
            origin: plane.origin,
            normal: plane.normal * sign,
        };
    }
    plane
}

/// Symmetric part of the sum of outer products.
fn moments(pairs: impl Iterator<Item = (DVec3, DVec3)>) -> [[f64; 3]; 3] {
    let mut sum = [[0.0; 3]; 3];
    for (p, q) in pairs {
        let (p, q) = (p.to_array(), q.to_array());
        for i in 0..3 {
            for j in 0..3 {
                sum[i][j] += (p[i] * q[j] + p[j] * q[i]) / 2.0;
            }
        }
    }
    sum
}

/// Eigenvalues and unit eigenvectors of a symmetric matrix, by Jacobi's rotations.
fn eigen(matrix: &[[f64; 3]; 3]) -> ([f64; 3], [DVec3; 3]) {
    let mut a = *matrix;
    let mut v = [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]];
    for _ in 0..32 {
        for (p, q) in [(0, 1), (0, 2), (1, 2)] {
            if a[p][q] == 0.0 {
                continue;
            }
            let theta = (a[q][q] - a[p][p]) / (2.0 * a[p][q]);
            let sign = if theta < 0.0 { -1.0 } else { 1.0 };
            let t = sign / (theta.abs() + (theta * theta + 1.0).sqrt());
            let c = 1.0 / (t * t + 1.0).sqrt();
            let s = t * c;
            for k in 0..3 {
                let (x, y) = (a[k][p], a[k][q]);
                (a[k][p], a[k][q]) = (c * x - s * y, s * x + c * y);
            }
            for k in 0..3 {
                let (x, y) = (a[p][k], a[q][k]);
                (a[p][k], a[q][k]) = (c * x - s * y, s * x + c * y);
            }
            for row in &mut v {
                let (x, y) = (row[p], row[q]);
                (row[p], row[q]) = (c * x - s * y, s * x + c * y);
            }
        }
    }
    let column = |i: usize| DVec3::new(v[0][i], v[1][i], v[2][i]).normalize_or(DVec3::X);
    (
        [a[0][0], a[1][1], a[2][2]],
        [column(0), column(1), column(2)],
    )
}
