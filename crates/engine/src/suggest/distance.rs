//! Distance along the surface from a set of vertices, by the heat method: Crane, Weischedel &
//! Wardetzky, "Geodesics in heat" (2013). Heat spreads for a short time (their equation 3),
//! its gradients are made unit length, and the function with these gradients is found
//! (their equation 5, a Poisson problem). Both systems are factored once for all sources.

use mesh::DVec3;
use numeric::{Spd, SpdError};

use super::ground::Ground;

/// Time that heat spreads, in squares of the mean edge: above the paper's 1, since ways around
/// limbs matter here, not wrinkles.
const TIME: f64 = 4.0;
/// Greatest cotangent that counts: a needle's would drown all others.
const COTANGENT: f64 = 20.0;
/// Share of the mass matrix that makes the Poisson problem definite.
const ANCHOR: f64 = 1e-6;

/// The factored systems.
pub(super) struct Heat {
    spread: Spd,
    gather: Spd,
    /// Half the cotangent at each corner of each triangle.
    halves: Vec<[f64; 3]>,
}

impl Heat {
    /// Factors both systems.
    pub fn new(ground: &Ground<'_>) -> Result<Self, SpdError> {
        let count = ground.at.len();
        let mut halves = Vec::with_capacity(ground.topology.triangles.len());
        let mut mass = vec![0.0; count];
        let mut stiff: Vec<(usize, usize, f64)> = Vec::new();
        for t in &ground.topology.triangles {
            let p = t.map(|v| ground.at[v as usize]);
            let area = (p[1] - p[0]).cross(p[2] - p[0]).length() / 2.0;
            let cot = cotangents(p, area);
            for i in 0..3 {
                let (j, k) = ((i + 1) % 3, (i + 2) % 3);
                mass[t[i] as usize] += area / 3.0;
                // The edge that lies opposite corner i.
                let (a, b) = (t[j] as usize, t[k] as usize);
                stiff.push((a, a, cot[i]));
                stiff.push((b, b, cot[i]));
                stiff.push((a.max(b), a.min(b), -cot[i]));
            }
            halves.push(cot);
        }
        let whole: f64 = mass.iter().sum();
        let time = TIME * ground.fine * ground.fine;
        let with_mass = |scale: f64, share: f64| {
            let mut entries: Vec<_> = stiff.iter().map(|&(r, c, v)| (r, c, scale * v)).collect();
            // A vertex without area would leave its row empty.
            let least = 1e-9 * whole / count.max(1) as f64;
            entries.extend((0..count).map(|v| (v, v, share * mass[v].max(least))));
            entries
        };
        Ok(Self {
            spread: Spd::factor(count, &with_mass(time, 1.0))?,
            gather: Spd::factor(count, &with_mass(1.0, ANCHOR / whole))?,
            halves,
        })
    }

    /// Distance of each vertex from the nearest of some, model units; at least 0.
    pub fn distance(&self, ground: &Ground<'_>, from: &[u32]) -> Vec<f64> {
        let mut right = vec![0.0; ground.at.len()];
        for &v in from {
            right[v as usize] = 1.0;
        }
        let warm = self.spread.solve(&right);
        right.fill(0.0);
        for (t, cot) in ground.topology.triangles.iter().zip(&self.halves) {
            let p = t.map(|v| ground.at[v as usize]);
            let normal = (p[1] - p[0]).cross(p[2] - p[0]).normalize_or_zero();
            // The gradient up to its length: each value times the opposite edge turned.
            let slope: DVec3 = (0..3)
                .map(|i| normal.cross(p[(i + 2) % 3] - p[(i + 1) % 3]) * warm[t[i] as usize])
                .sum();
            let largest = warm[t[0] as usize]
                .abs()
                .max(warm[t[1] as usize].abs())
                .max(warm[t[2] as usize].abs());
            // Scaled first: far away the heat is tiny, and its square would vanish.
            let away = if largest > 0.0 {
                -(slope / largest).normalize_or_zero()
            } else {
                DVec3::ZERO
            };
            for i in 0..3 {
                let (j, k) = ((i + 1) % 3, (i + 2) % 3);
                let flow = cot[k] * (p[j] - p[i]).dot(away) + cot[j] * (p[k] - p[i]).dot(away);
                right[t[i] as usize] -= flow;
            }
        }
        let mut distance = self.gather.solve(&right);
        let zero =
            from.iter().map(|&v| distance[v as usize]).sum::<f64>() / from.len().max(1) as f64;
        for d in &mut distance {
            *d = (*d - zero).max(0.0);
        }
        distance
    }
}

/// Half cotangents of a triangle's corners, scaled down together where one is too great, so
/// that the matrix stays positive.
fn cotangents(p: [DVec3; 3], area: f64) -> [f64; 3] {
    let double = 2.0 * area;
    if double <= 0.0 {
        return [0.0; 3];
    }
    let cot = [0, 1, 2].map(|i| {
        let (u, v) = (p[(i + 1) % 3] - p[i], p[(i + 2) % 3] - p[i]);
        0.5 * u.dot(v) / double
    });
    let largest = cot.iter().fold(0.0_f64, |m, c| m.max(c.abs()));
    if !largest.is_finite() {
        return [0.0; 3];
    }
    cot.map(|c| c * (COTANGENT / largest).min(1.0))
}
