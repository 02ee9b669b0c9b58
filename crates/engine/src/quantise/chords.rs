//! How many quads a guide needs so that their edges stay near it.
//!
//! On a circle of radius r, n chords stay within the sagitta r (1 − cos(π / n)) (handbook
//! mensuration); a hem that runs over folds has no such formula, so chords are tried.

use mesh::DVec3;

use crate::layout::{ArcSource, Layout, point_along};
use crate::model::WorkSurface;

/// Distance, in quad edges, within which 95 % of a guide should lie from its chords.
const NEAR: f64 = 0.11;
/// Most quads asked for, in multiples of what the length alone asks for.
const MOST: f64 = 3.0;

/// Quads that each arc on a chain needs at this edge length; 0 for laid arcs.
pub(super) fn needed(surface: &WorkSurface, layout: &Layout, edge: f64) -> Vec<u32> {
    layout
        .arcs
        .iter()
        .map(|arc| match arc.source {
            ArcSource::Laid(_) => 0,
            ArcSource::Chain(_) => {
                let points: Vec<DVec3> = arc
                    .vertices
                    .iter()
                    .map(|&v| surface.positions[v as usize])
                    .collect();
                let most = (MOST * arc.length / edge).ceil().max(1.0) as u32;
                (1..=most)
                    .find(|&n| strays(&points, n) <= NEAR * edge)
                    .unwrap_or(most)
            }
        })
        .collect()
}

/// 95th percentile of the distance from a polyline's points to `n` chords of equal arc length.
pub(super) fn strays(points: &[DVec3], n: u32) -> f64 {
    let knots: Vec<DVec3> = (0..=n)
        .map(|k| point_along(points, f64::from(k) / f64::from(n)))
        .collect();
    let mut far: Vec<f64> = Vec::with_capacity(points.len());
    let whole: f64 = points.windows(2).map(|w| w[0].distance(w[1])).sum();
    let mut gone = 0.0;
    for (i, &p) in points.iter().enumerate() {
        if i > 0 {
            gone += points[i - 1].distance(p);
        }
        let k = ((gone / whole.max(1e-300) * f64::from(n)) as usize).min(n as usize - 1);
        let (a, b) = (knots[k], knots[k + 1]);
        let t = ((p - a).dot(b - a) / (b - a).length_squared().max(1e-300)).clamp(0.0, 1.0);
        far.push(p.distance(a.lerp(b, t)));
    }
    far.sort_by(f64::total_cmp);
    far.get((far.len().saturating_sub(1)) * 95 / 100)
        .copied()
        .unwrap_or(0.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn chords_of_a_circle_stray_by_the_sagitta() {
        let n = 12;
        let circle: Vec<DVec3> = (0..=4800)
            .map(|i| {
                let angle = std::f64::consts::TAU * f64::from(i) / 4800.0;
                DVec3::new(angle.cos(), angle.sin(), 0.0)
            })
            .collect();
        // Handbook mensuration: the sagitta is the greatest distance; 95 % of the arc, taken evenly,
        // lies within a chord's distance at 5 % of half its length from the middle.
        let sagitta = 1.0 - (std::f64::consts::PI / f64::from(n)).cos();
        let found = strays(&circle, n);
        assert!(
            found <= sagitta && found > 0.98 * sagitta,
            "{found} of {sagitta}"
        );
    }
}
