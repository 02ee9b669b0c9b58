//! The least that any displacement as smooth as the one found needs: a lower bound.
//!
//! However vertices move, a contact's place moves by no more than its corners' amounts
//! s_v = |d_v|, weighted: B s >= r must hold, with r how far each place has to go. Let the
//! found amounts have roughness ρ² = s·R s. Any displacement whose amounts are no rougher and
//! that brings the places off moves vertices, for all λ >= 0 and all g with g_v <= 1, by
//!
//! sum s_v >= g·s >= g·s - λ·(B s - r) >= λ·r - ρ ‖Bᵀλ - g‖,
//!
//! with the norm of R's inverse (weak duality: Boyd & Vandenberghe 2004, section 5.1.3; the
//! last step is the Cauchy-Schwarz inequality). Whatever λ and g, this holds, so a bad choice
//! can only make the bound lower. They are found by going towards the amounts of least sum and
//! bending, in alternating directions (Boyd, Parikh, Chu, Peleato & Eckstein 2011): z stands
//! for s in the sum, y for B s in the rows; g and λ are what ties them.
//!
//! The rows say to which side of which planes near the layer the places of contact have to
//! go: a displacement that clears them around another side of the layer isn't bounded.

use base::{Cancelled, Task};
use numeric::Spd;

use super::fair::{Form, merged};
use super::push::Row;

/// Steps that raise the bound.
const STEPS: usize = 60;
/// The bound is taken anew after so many steps.
const EVERY: usize = 10;

/// A lower bound of the sum of amounts, each as often as `weight` says. `rows` have the
/// weights of contacts' corners, `softness` is what roughness cost beside the sum.
pub(super) fn bound(
    form: &Form,
    weight: &[f64],
    rows: &[Row],
    pressures: &[f64],
    found: &[f64],
    softness: f64,
    task: &Task,
) -> Result<Option<f64>, Cancelled> {
    let size = form.size;
    let dot = |a: &[f64], b: &[f64]| a.iter().zip(b).map(|(a, b)| a * b).sum::<f64>();
    let bends = form.times(found);
    let rough = dot(found, &bends).max(0.0).sqrt();
    let force = |pressures: &[f64]| {
        let mut force = vec![0.0; size];
        for (row, &pressure) in rows.iter().zip(pressures) {
            for &(v, factor) in &row.terms {
                force[v as usize] += pressure * factor;
            }
        }
        force
    };
    let Ok(inverse) = Spd::factor(size, &form.lower) else {
        return Ok(None);
    };
    let value = |pressures: &[f64], g: &[f64]| {
        let gain: f64 = rows
            .iter()
            .zip(pressures)
            .map(|(row, p)| p * row.least)
            .sum();
        let left: Vec<f64> = force(pressures).iter().zip(g).map(|(f, g)| f - g).collect();
        gain - rough * dot(&left, &inverse.solve(&left)).max(0.0).sqrt()
    };
    let deepest = rows.iter().map(|row| row.least).fold(0.0, f64::max);
    if deepest <= 0.0 {
        return Ok(Some(0.0));
    }
    let (tie, row_tie) = (8.0 / deepest, 80.0 / deepest);
    let mut entries: Vec<(usize, usize, f64)> = Vec::new();
    let form_entries = form.lower.iter();
    entries.extend(form_entries.map(|&(row, column, x)| (row, column, softness * x)));
    entries.extend((0..size).map(|i| (i, i, tie)));
    for row in rows {
        for &(a, x) in &row.terms {
            for &(b, y) in &row.terms {
                if a >= b {
                    entries.push((a as usize, b as usize, row_tie * x * y));
                }
            }
        }
    }
    let Ok(system) = Spd::factor(size, &merged(entries)) else {
        return Ok(None);
    };
    let first = force(pressures);
    let mut g: Vec<f64> = (0..size)
        .map(|v| (first[v] - softness * bends[v]).min(weight[v]))
        .collect();
    let mut pressures = pressures.to_vec();
    let mut best = value(&pressures, &g).max(0.0);
    let mut z = found.to_vec();
    let mut y: Vec<f64> = rows
        .iter()
        .map(|row| row.sum(found).max(row.least))
        .collect();
    for step in 1..=STEPS {
        task.checkpoint()?;
        let pull: Vec<f64> = y
            .iter()
            .zip(&pressures)
            .map(|(y, p)| row_tie * y + p)
            .collect();
        let right: Vec<f64> = force(&pull)
            .iter()
            .zip(z.iter().zip(&g))
            .map(|(f, (z, g))| f + tie * z - g)
            .collect();
        let s = system.solve(&right);
        for v in 0..size {
            let all = g[v] + tie * s[v];
            g[v] = all.min(weight[v]);
            z[v] = (all - g[v]) / tie;
        }
        for (i, row) in rows.iter().enumerate() {
            let short = pressures[i] - row_tie * (row.sum(&s) - row.least);
            y[i] = row.least + (-short).max(0.0) / row_tie;
            pressures[i] = short.max(0.0);
        }
        if step % EVERY == 0 {
            best = best.max(value(&pressures, &g));
        }
    }
    Ok(Some(best))
}
