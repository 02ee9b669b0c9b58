//! How the surface's edges follow a guide.

use mesh::DVec3;

use super::CheckError;
use super::space::{Segments, line_angle_deg, quantile};
use super::surface::Surface;
use crate::model::{Guide, GuideKind};

/// Spacing of the samples on a guide, edges.
const STEP: f64 = 0.25;
/// Edges this near a sample may answer for its direction, edges.
const REACH: f64 = 0.15;
/// An edge faces a guide if the stretch between its ends' feet is this share of its length.
const FACING: f64 = 0.25;
/// Fewest pieces that a guide is sampled in.
const FEWEST: usize = 4;

/// A guide as a polyline with evenly spaced samples.
pub(super) struct Track<'a> {
    pub guide: &'a Guide,
    /// Points without repeats; a closed one's first point is repeated at the end.
    pub outline: Vec<DVec3>,
    /// Its pieces, searchable.
    pub line: Segments,
    /// Samples about a quarter of an edge apart.
    pub samples: Vec<DVec3>,
    /// Direction of the guide at each sample, of any length.
    pub tangents: Vec<DVec3>,
}

impl<'a> Track<'a> {
    pub fn new(guide: &'a Guide, mean_edge: f64) -> Result<Self, CheckError> {
        let bad = || CheckError::BadGuide {
            name: guide.name.clone(),
        };
        if guide.points.iter().any(|p| !p.is_finite()) {
            return Err(bad());
        }
        let mut outline = guide.points.clone();
        outline.extend(guide.points.first().filter(|_| guide.closed));
        outline.dedup();
        if outline.len() < 2 {
            return Err(bad());
        }
        let line = Segments::new(outline.windows(2).map(|w| [w[0], w[1]]).collect());
        let samples = sample(&outline, STEP * mean_edge, guide.closed);
        let tangents = tangents(&samples, guide.closed);
        Ok(Self {
            guide,
            outline,
            line,
            samples,
            tangents,
        })
    }

    /// Whether the guide promises a closed run of edges.
    pub fn is_cycle(&self) -> bool {
        self.guide.closed && self.guide.kind != GuideKind::Line
    }

    /// Whether 95 % of the guide lies within `reach` (model units) of the segments.
    pub fn is_covered(&self, by: &Segments, reach: f64) -> bool {
        let mut distances: Vec<f64> = self.samples.iter().map(|&p| by.distance(p)).collect();
        quantile(&mut distances, 0.95) <= reach
    }
}

/// Most samples of one guide; a longer one is sampled more coarsely.
const MOST: f64 = 100_000.0;

fn sample(outline: &[DVec3], step: f64, closed: bool) -> Vec<DVec3> {
    let mut along = vec![0.0];
    for w in outline.windows(2) {
        along.push(along[along.len() - 1] + w[0].distance(w[1]));
    }
    let length = along[along.len() - 1];
    let count = ((length / step).ceil().min(MOST) as usize).max(FEWEST);
    let kept = if closed { count } else { count + 1 };
    let mut piece = 0;
    (0..kept)
        .map(|i| {
            let at = length * i as f64 / count as f64;
            while piece + 2 < along.len() && along[piece + 1] < at {
                piece += 1;
            }
            let share = (at - along[piece]) / (along[piece + 1] - along[piece]);
            outline[piece].lerp(outline[piece + 1], share.clamp(0.0, 1.0))
        })
        .collect()
}

/// Central differences, one-sided at the ends of an open guide.
fn tangents(samples: &[DVec3], closed: bool) -> Vec<DVec3> {
    let n = samples.len();
    (0..n)
        .map(|i| {
            let (before, after) = if closed {
                ((i + n - 1) % n, (i + 1) % n)
            } else {
                (i.saturating_sub(1), (i + 1).min(n - 1))
            };
            samples[after] - samples[before]
        })
        .collect()
}

/// How the surface's edges follow a guide.
pub(super) struct Following {
    /// 95th percentile of the distance to the nearest edge, edges.
    pub distance_p95: f64,
    /// 95th percentile of the angle to the best edge beside it, deg.
    pub angle_p95_deg: f64,
    /// The point of the guide that is farthest from an edge.
    pub farthest: DVec3,
    /// The point at which the edges turn off most.
    pub most_turned: DVec3,
}

/// Measures how a guide is followed.
///
/// An edge is held against the chord of the guide that it faces, so that a coarse ring
/// isn't blamed for cutting corners; one that faces none, against the tangent.
pub(super) fn follow(track: &Track, surface: &Surface) -> Following {
    let mut distances = Vec::with_capacity(track.samples.len());
    let mut angles = Vec::with_capacity(track.samples.len());
    for (&sample, &tangent) in track.samples.iter().zip(&track.tangents) {
        let distance = surface.edges.distance(sample);
        let reach = (REACH * surface.mean_edge).max(distance * (1.0 + 1e-9));
        let near = surface.edges.within(sample, reach);
        let angle = |&e: &usize| {
            let along = chord(track, surface, e).unwrap_or(tangent);
            line_angle_deg(surface.direction(e), along)
        };
        distances.push(distance);
        angles.push(near.iter().map(angle).fold(90.0, f64::min));
    }
    let worst = |values: &[f64]| {
        let rising =
            (0..values.len()).max_by(|&i, &j| values[i].total_cmp(&values[j]).then(j.cmp(&i)));
        rising.map_or(DVec3::ZERO, |i| track.samples[i])
    };
    Following {
        farthest: worst(&distances),
        most_turned: worst(&angles),
        distance_p95: quantile(&mut distances, 0.95) / surface.mean_edge,
        angle_p95_deg: quantile(&mut angles, 0.95),
    }
}

/// From the point of the guide nearest to an edge's start to the one nearest to its end.
fn chord(track: &Track, surface: &Surface, edge: usize) -> Option<DVec3> {
    let [from, to] = surface.edges.ends[edge].map(|p| track.line.nearest_point(p));
    let chord = to - from;
    (chord.length() >= FACING * surface.lengths[edge] && chord != DVec3::ZERO).then_some(chord)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn circle(points: usize) -> Guide {
        let at = |i: usize| std::f64::consts::TAU * i as f64 / points as f64;
        Guide {
            name: "cuff".to_owned(),
            kind: GuideKind::Ring,
            closed: true,
            count: None,
            points: (0..points)
                .map(|i| DVec3::new(at(i).cos(), at(i).sin(), 0.0))
                .collect(),
        }
    }

    #[test]
    fn samples_are_evenly_spaced_and_tangents_square_to_the_radius() {
        let guide = circle(500);
        let track = Track::new(&guide, 0.1).unwrap();
        // Circumference 2π in steps of at most 0.025.
        assert_eq!(track.samples.len(), 252);
        for (p, t) in track.samples.iter().zip(&track.tangents) {
            assert!((p.length() - 1.0).abs() < 1e-4);
            assert!(p.dot(t.normalize()).abs() < 1e-2);
        }
        let open = Guide {
            closed: false,
            ..circle(2)
        };
        let track = Track::new(&open, 100.0).unwrap();
        assert_eq!(track.samples.len(), FEWEST + 1);
        assert!((track.samples[1].x - 0.5).abs() < 1e-12);
    }

    #[test]
    fn a_guide_of_one_place_is_refused() {
        let guide = Guide {
            points: vec![DVec3::ONE; 3],
            ..circle(3)
        };
        assert!(matches!(
            Track::new(&guide, 1.0),
            Err(CheckError::BadGuide { .. })
        ));
    }
}
