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

/// A strip beside a line that crosses itself does so this near to the line's crossing, edges.
const LOOP_REACH: f64 = 2.0;
/// Samples, a quarter of an edge each, that a curve that comes back to itself has run at least.
const APART: usize = 6;
/// Longer curves aren't searched for places where they cross themselves.
const MOST_SAMPLES: usize = 4000;

/// The numbers, and the first quad of each strip at fault.
pub(super) struct Strips {
    pub measures: StripMeasures,
    pub at_fault: Vec<u32>,
    /// Guides that cross themselves and strips with them.
    pub drawn: Vec<String>,
}

pub(super) fn measure(
    surface: &Surface,
    rings: &[(&Track, Option<&Cycle>)],
    tracks: &[Track],
) -> Strips {
    let loops: Vec<(usize, DVec3)> = tracks
        .iter()
        .enumerate()
        .flat_map(|(i, t)| {
            crossings_of(t, surface.mean_edge)
                .into_iter()
                .map(move |p| (i, p))
        })
        .collect();
    let mut drawn = std::collections::BTreeSet::new();
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
        let as_drawn = crosses && {
            let near = |q: &u32| {
                let reach = LOOP_REACH * surface.mean_edge;
                let found = loops
                    .iter()
                    .find(|l| l.1.distance(centres[*q as usize]) <= reach);
                found.map(|l| l.0)
            };
            let of: Vec<Option<usize>> = twice(strip.quads.clone()).iter().map(near).collect();
            drawn.extend(
                of.iter()
                    .flatten()
                    .filter(|_| of.iter().all(Option::is_some)),
            );
            of.iter().all(Option::is_some)
        };
        measures.drawn_crossings += usize::from(as_drawn);
        measures.strips += 1;
        measures.closed += usize::from(strip.closed);
        measures.self_crossings += usize::from(crosses);
        measures.ring_recrossings += usize::from(recrosses);
        measures.ring_coils += usize::from(coils);
        if crosses && !as_drawn || recrosses || coils {
            measures.spirals += 1;
            at_fault.extend(strip.quads.first());
        }
        let share = distinct(strip.quads) as f64 / centres.len() as f64;
        measures.longest_share = measures.longest_share.max(share);
    }
    let name = |i: usize| tracks[i].guide.name.clone();
    Strips {
        measures,
        at_fault,
        drawn: drawn.into_iter().map(name).collect(),
    }
}

/// Quads that a strip passes twice.
fn twice(mut quads: Vec<u32>) -> Vec<u32> {
    quads.sort_unstable();
    let mut found: Vec<u32> = quads
        .windows(2)
        .filter(|w| w[0] == w[1])
        .map(|w| w[0])
        .collect();
    found.dedup();
    found
}

/// Places where a drawn curve crosses itself.
pub(super) fn crossings_of(track: &Track, mean_edge: f64) -> Vec<DVec3> {
    let n = track.samples.len();
    let mut found: Vec<DVec3> = Vec::new();
    if n > MOST_SAMPLES {
        return found;
    }
    for i in 0..n {
        for j in i + APART..n {
            let apart = if track.guide.closed {
                (j - i).min(n - (j - i))
            } else {
                j - i
            };
            let middle = (track.samples[i] + track.samples[j]) / 2.0;
            let near = track.samples[i].distance(track.samples[j]) <= 0.3 * mean_edge;
            if apart >= APART
                && near
                && super::space::line_angle_deg(track.tangents[i], track.tangents[j]) > 10.0
                && found.iter().all(|p| p.distance(middle) > mean_edge)
            {
                found.push(middle);
            }
        }
    }
    found
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
pub(super) fn flattest_axis(vectors: &[DVec3]) -> DVec3 {
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
