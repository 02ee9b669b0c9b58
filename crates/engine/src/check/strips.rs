//! Strips of quads, and those that spiral.

use std::f64::consts::{PI, TAU};

use mesh::{DVec3, Strip};

use super::guides::Track;
use super::measures::StripMeasures;
use super::rings::Cycle;
use super::surface::Surface;

/// A strip that turns more often than this round one ring in one stay near it coils.
const MOST_LAPS: f64 = 1.5;
/// A strip passes through a ring's edges at most this often.
const MOST_CROSSINGS: usize = 2;

/// The numbers, and the first quad of each strip at fault.
pub(super) struct Strips {
    pub measures: StripMeasures,
    pub at_fault: Vec<u32>,
}

pub(super) fn measure(surface: &Surface, rings: &[(&Track, Option<&Cycle>)]) -> Strips {
    let centres: Vec<DVec3> = (0..surface.mesh.quads.len())
        .map(|q| surface.mesh.centre(q))
        .collect();
    let views: Vec<View> = rings
        .iter()
        .map(|(track, cycle)| View::new(track, *cycle, &centres))
        .collect();
    let mut measures = StripMeasures::default();
    let mut at_fault = Vec::new();
    for strip in surface.topology.strips() {
        let crosses = strip.crosses_itself();
        let recrosses = views.iter().any(|v| v.crossings(&strip) > MOST_CROSSINGS);
        let coils = views.iter().any(|v| v.laps(&strip) > MOST_LAPS);
        measures.strips += 1;
        measures.closed += usize::from(strip.closed);
        measures.self_crossings += usize::from(crosses);
        measures.ring_recrossings += usize::from(recrosses);
        measures.ring_coils += usize::from(coils);
        if crosses || recrosses || coils {
            measures.spirals += 1;
            at_fault.extend(strip.quads.first());
        }
        let share = distinct(strip.quads) as f64 / centres.len() as f64;
        measures.longest_share = measures.longest_share.max(share);
    }
    Strips { measures, at_fault }
}

fn distinct(mut quads: Vec<u32>) -> usize {
    quads.sort_unstable();
    quads.dedup();
    quads.len()
}

/// All quads as one closed guide sees them.
struct View<'a> {
    /// Angle of each quad's centre around the guide, rad.
    angle: Vec<f64>,
    /// Whether it is within one mean radius of the guide.
    is_near: Vec<bool>,
    cycle: &'a [u32],
}

impl<'a> View<'a> {
    fn new(track: &Track, cycle: Option<&'a Cycle>, centres: &[DVec3]) -> Self {
        let count = track.outline.len() as f64;
        let middle = track.outline.iter().sum::<DVec3>() / count;
        let spokes: Vec<DVec3> = track.outline.iter().map(|p| *p - middle).collect();
        let radius = spokes.iter().map(|s| s.length()).sum::<f64>() / count;
        let normal = flattest_axis(&spokes);
        let across = normal.any_orthonormal_vector();
        let up = normal.cross(across);
        let angle = |c: &DVec3| (*c - middle).dot(up).atan2((*c - middle).dot(across));
        Self {
            angle: centres.iter().map(angle).collect(),
            is_near: centres
                .iter()
                .map(|&c| track.line.distance(c) <= radius)
                .collect(),
            cycle: cycle.map_or(&[], |c| &c.edges),
        }
    }

    /// How often a strip passes through the ring's edges.
    fn crossings(&self, strip: &Strip) -> usize {
        let on_ring = |e: &&u32| self.cycle.binary_search(e).is_ok();
        strip.rungs.iter().filter(on_ring).count()
    }

    /// Most laps that a strip makes round the ring in one stay near it.
    fn laps(&self, strip: &Strip) -> f64 {
        let quads: Vec<usize> = strip.quads.iter().map(|&q| q as usize).collect();
        // A closed strip is walked from a place away from the ring, if there is one.
        let start = quads.iter().position(|&q| !self.is_near[q]).unwrap_or(0);
        let (start, steps) = if strip.closed {
            (start, quads.len())
        } else {
            (0, quads.len() - 1)
        };
        let (mut turn, mut most) = (0.0, 0.0f64);
        for i in start..start + steps {
            let [here, there] = [i, i + 1].map(|i| quads[i % quads.len()]);
            if self.is_near[here] && self.is_near[there] {
                let step = self.angle[there] - self.angle[here];
                turn += (step + PI).rem_euclid(TAU) - PI;
            } else {
                most = most.max(f64::abs(turn));
                turn = 0.0;
            }
        }
        most.max(turn.abs()) / TAU
    }
}

/// The unit direction in which the vectors reach least: the eigenvector of the least
/// eigenvalue of their scatter matrix, by Jacobi rotations (Golub & Van Loan, 8.5).
fn flattest_axis(vectors: &[DVec3]) -> DVec3 {
    const SWEEPS: usize = 16;
    let mut m = [[0.0f64; 3]; 3];
    for v in vectors.iter().map(|v| v.to_array()) {
        for i in 0..3 {
            for j in 0..3 {
                m[i][j] += v[i] * v[j];
            }
        }
    }
    let mut axes = [DVec3::X, DVec3::Y, DVec3::Z];
    for _ in 0..SWEEPS {
        for (p, q) in [(0, 1), (0, 2), (1, 2)] {
            if m[p][q] == 0.0 {
                continue;
            }
            let theta = (m[q][q] - m[p][p]) / (2.0 * m[p][q]);
            let t = theta.signum() / (theta.abs() + theta.hypot(1.0));
            let c = 1.0 / t.hypot(1.0);
            let s = t * c;
            for k in 0..3 {
                let (a, b) = (m[k][p], m[k][q]);
                (m[k][p], m[k][q]) = (c * a - s * b, s * a + c * b);
            }
            for k in 0..3 {
                let (a, b) = (m[p][k], m[q][k]);
                (m[p][k], m[q][k]) = (c * a - s * b, s * a + c * b);
            }
            let (a, b) = (axes[p], axes[q]);
            (axes[p], axes[q]) = (c * a - s * b, s * a + c * b);
        }
    }
    let least = (1..3).fold(0, |best, i| if m[i][i] < m[best][best] { i } else { best });
    axes[least].try_normalize().unwrap_or(DVec3::Z)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_flattest_axis_of_a_tilted_ellipse_is_its_normal() {
        let normal = DVec3::new(1.0, 2.0, -0.5).normalize();
        let across = normal.any_orthonormal_vector();
        let up = normal.cross(across);
        let ring: Vec<DVec3> = (0..17)
            .map(|i| TAU * f64::from(i) / 17.0)
            .map(|a| 3.0 * a.cos() * across + 2.0 * a.sin() * up)
            .collect();
        assert!(flattest_axis(&ring).dot(normal).abs() > 1.0 - 1e-12);
    }
}
