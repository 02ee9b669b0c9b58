//! How much nearer to each other quads lie where a guide bends, so that their edges stay near it.
//!
//! A chord of length h strays from a curve of curvature k by the sagitta k h² / 8 (handbook
//! mensuration, to second order), so for the same distance everywhere the chords go with the inverse
//! root of the curvature. Even spacing and this are mixed as the root of the sum of squares.

use mesh::DVec3;

use crate::model::{Chain, ChainSource, Curve, GuideKind, WorkSurface};

/// Distance of a chord from its guide that is aimed at, in quad edges.
const NEAR: f64 = 0.11;
/// Length on either side of a place over which its turn is taken, in quad edges: sharper bends are
/// one corner to the quads.
const REACH: f64 = 0.5;
/// Most quads that a bend draws together, in those of an even stretch.
const MOST: f64 = 3.0;

/// For each chain, the density of quads along each of its edges over that of a straight stretch.
/// 1 on the mirror plane, on boundaries without a guide and along held quads.
pub(super) fn bends(surface: &WorkSurface, curves: &[Curve], quad: f64) -> Vec<Vec<f64>> {
    let of = |chain: &Chain| {
        let curve = match chain.source {
            ChainSource::Curve(c) => Some(&curves[c]).filter(|c| c.kind != GuideKind::Hold),
            ChainSource::Plane | ChainSource::Boundary => None,
        };
        let Some(curve) = curve else {
            let edges = chain.vertices.len() - usize::from(!chain.closed);
            return vec![1.0; edges];
        };
        let at = |&v: &u32| surface.positions[v as usize];
        let points: Vec<DVec3> = chain.vertices.iter().map(at).collect();
        along(&points, chain.closed, quad, curve.count)
    };
    surface.chains.iter().map(of).collect()
}

/// For each edge of a polyline that has `count` quads, or as many as its length tells, how dense
/// they should be there over those of a straight one: few quads need a vertex in each bend, many don't.
fn along(points: &[DVec3], closed: bool, quad: f64, count: Option<u32>) -> Vec<f64> {
    let n = points.len();
    let mut gone = vec![0.0];
    for i in 1..n + usize::from(closed) {
        gone.push(gone[i - 1] + points[i - 1].distance(points[i % n]));
    }
    let whole = gone[gone.len() - 1];
    let place = |s: f64| {
        let s = if closed {
            s.rem_euclid(whole.max(f64::MIN_POSITIVE))
        } else {
            s.clamp(0.0, whole)
        };
        let i = gone.partition_point(|&g| g <= s).clamp(1, gone.len() - 1) - 1;
        let t = (s - gone[i]) / (gone[i + 1] - gone[i]).max(f64::MIN_POSITIVE);
        points[i].lerp(points[(i + 1) % n], t.clamp(0.0, 1.0))
    };
    let reach = REACH * quad;
    let chord = count.map_or(quad, |n| whole / f64::from(n.max(1)));
    let of_edge = |i: usize| {
        let s = (gone[i] + gone[i + 1]) / 2.0;
        // Towards an open end the turn is taken where there is room for it.
        let s = if closed || whole <= 2.0 * reach {
            s
        } else {
            s.clamp(reach, whole - reach)
        };
        let here = place(s);
        let (before, after) = (here - place(s - reach), place(s + reach) - here);
        let turn = before.angle_between(after);
        let curvature = if turn.is_finite() { turn / reach } else { 0.0 };
        let asked = curvature * chord * chord / (8.0 * NEAR * quad);
        (1.0 + asked).sqrt().min(MOST)
    };
    (0..gone.len() - 1).map(of_edge).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn circle(r: f64) -> Vec<DVec3> {
        let at = |i: u32| {
            let angle = std::f64::consts::TAU * f64::from(i) / 300.0;
            DVec3::new(r * angle.cos(), r * angle.sin(), 0.0)
        };
        (0..300).map(at).collect()
    }

    #[test]
    fn a_circle_asks_for_chords_by_the_sagitta_and_a_straight_line_for_none() {
        let r = 3.0;
        for dense in along(&circle(r), true, 1.0, None) {
            // Chords of sagitta NEAR are sqrt(8 r NEAR) long (handbook mensuration).
            let asked = 1.0 / (8.0 * r * NEAR).sqrt();
            assert!((dense - asked.hypot(1.0)).abs() < 0.01, "{dense}");
        }
        let line: Vec<DVec3> = (0..9).map(|i| DVec3::X * f64::from(i)).collect();
        let straight = along(&line, false, 1.0, Some(3));
        assert!(straight.iter().all(|&d| (d - 1.0).abs() < 1e-9));
    }

    #[test]
    fn bends_draw_few_quads_together_more_than_many() {
        let dense = |count| along(&circle(2.0), true, 1.0, Some(count))[0];
        assert!(
            dense(6) > dense(12) && dense(12) > dense(48),
            "{}",
            dense(12)
        );
        assert!(dense(48) < 1.1);
    }
}
