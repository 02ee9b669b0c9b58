//! Where to look at a guide from.

use mesh::{DVec3, SurfaceIndex};

use crate::input::GuideView;

/// Most points of a guide after it was laid on the sculpt.
const MOST_POINTS: usize = 4000;
/// Points of a guide that are asked how well they are seen.
const ASKED: usize = 48;
/// A mean normal shorter than this says nothing: the guide runs around something.
const CLEAR: f64 = 0.6;

/// A guide laid on the sculpt.
pub(crate) struct Laid {
    /// Densely spaced, model units; a closed guide repeats its first point.
    pub points: Vec<DVec3>,
    /// Unit normals of the sculpt at `points`.
    normals: Vec<DVec3>,
}

impl Laid {
    /// Steps no longer than `step`, each point moved to the nearest one of the sculpt. `None` for
    /// a guide without points.
    pub fn new(sculpt: &SurfaceIndex, guide: &GuideView, step: f64) -> Option<Self> {
        let mut corners = guide.points.clone();
        if guide.closed {
            corners.extend(guide.points.first());
        }
        let length: f64 = corners.windows(2).map(|w| w[0].distance(w[1])).sum();
        let step = step.max(length / MOST_POINTS as f64);
        let mut drawn = vec![*corners.first()?];
        for pair in corners.windows(2) {
            let parts = if step > 0.0 {
                (pair[0].distance(pair[1]) / step).ceil().max(1.0) as usize
            } else {
                1
            };
            drawn.extend((1..=parts).map(|i| pair[0].lerp(pair[1], i as f64 / parts as f64)));
        }
        let mut laid = Self {
            points: Vec::new(),
            normals: Vec::new(),
        };
        for p in drawn {
            let near = sculpt.closest(p);
            laid.points.push(near.map_or(p, |near| near.point));
            let normal = near.map(|near| sculpt.mesh().area_normal(near.triangle as usize));
            laid.normals
                .push(normal.unwrap_or_default().normalize_or_zero());
        }
        Some(laid)
    }

    fn centre(&self) -> DVec3 {
        self.points.iter().sum::<DVec3>() / self.points.len().max(1) as f64
    }

    /// Twice the area vector of the loop, unit; zero for a straight line.
    fn axis(&self) -> DVec3 {
        let centre = self.centre();
        let sum: DVec3 = self
            .points
            .windows(2)
            .map(|w| (w[0] - centre).cross(w[1] - centre))
            .sum();
        sum.normalize_or_zero()
    }

    /// Direction to the viewer: along the mean normal, or for a guide that runs around something
    /// from the front and a little along its axis, away from `middle`; of directions
    /// near it the one that sees the guide best. Also how well, from 0 to 1 (all of it, squarely).
    pub fn outlook(&self, sculpt: &SurfaceIndex, middle: DVec3) -> (DVec3, f64) {
        let ideal = self.ideal(middle);
        let mut best = (ideal, self.seen_from(sculpt, ideal), f64::NEG_INFINITY);
        best.2 = best.1 + 0.5;
        for i in 0..27i32 {
            let around = DVec3::new(
                f64::from(i % 3 - 1),
                f64::from(i / 3 % 3 - 1),
                f64::from(i / 9 - 1),
            );
            let toward = (ideal + 0.9 * around.normalize_or_zero()).normalize_or(ideal);
            let seen = self.seen_from(sculpt, toward);
            let worth = seen + 0.5 * toward.dot(ideal);
            if worth > best.2 + 1e-9 {
                best = (toward, seen, worth);
            }
        }
        (best.0, best.1)
    }

    fn ideal(&self, middle: DVec3) -> DVec3 {
        let mean = self.normals.iter().sum::<DVec3>() / self.normals.len().max(1) as f64;
        if mean.length() > CLEAR {
            return mean.normalize();
        }
        let axis = self.axis();
        let outward = if axis.dot(self.centre() - middle) < 0.0 {
            -axis
        } else {
            axis
        };
        let front = (DVec3::Z - outward * outward.z).normalize_or(DVec3::X);
        (front + 0.6 * outward).normalize_or(DVec3::Z)
    }

    /// How well the guide is seen: of its points from which nothing of the sculpt is in the
    /// way, the mean of how squarely the sculpt faces the viewer there, 0 to 1.
    fn seen_from(&self, sculpt: &SurfaceIndex, toward: DVec3) -> f64 {
        let count = self.points.len().min(ASKED);
        let lift = 1e-4 * sculpt.mesh().diagonal();
        let seen = |i: usize| {
            let start = self.points[i] + lift * (self.normals[i] + toward);
            let open = sculpt.ray(start, toward, f64::INFINITY).is_none();
            if open {
                self.normals[i].dot(toward).max(0.0)
            } else {
                0.0
            }
        };
        let sum: f64 = (0..count)
            .map(|i| seen(i * self.points.len() / count))
            .sum();
        sum / count.max(1) as f64
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::testing::Sample;

    #[test]
    fn guides_are_laid_on_the_sculpt_and_seen_from_outside() {
        let sample = Sample::new(100);
        for guide in &sample.guides {
            let laid = Laid::new(&sample.sculpt, guide, 0.02).unwrap();
            assert!(laid.points.iter().all(|p| (p.length() - 1.0).abs() < 0.01));
            assert!(laid.points.windows(2).all(|w| w[0].distance(w[1]) < 0.05));
            let (toward, seen) = laid.outlook(&sample.sculpt, DVec3::ZERO);
            assert!(seen >= 0.25, "{} {seen}", guide.name);
            assert!(toward.z > 0.5, "{} {toward}", guide.name);
        }
        // The opening below the middle is looked at from below, the ring above from above.
        let look = |i: usize| {
            Laid::new(&sample.sculpt, &sample.guides[i], 0.02)
                .unwrap()
                .outlook(&sample.sculpt, DVec3::ZERO)
                .0
        };
        assert!(look(0).y > 0.0 && look(1).y < 0.0);
    }

    #[test]
    fn odd_guides_do_no_harm() {
        let sample = Sample::new(100);
        let guide = |points| GuideView {
            name: "x".into(),
            kind: "ring".into(),
            closed: true,
            points,
        };
        assert!(Laid::new(&sample.sculpt, &guide(vec![]), 0.1).is_none());
        let dot = Laid::new(&sample.sculpt, &guide(vec![DVec3::Y; 3]), 0.1).unwrap();
        assert!(dot.outlook(&sample.sculpt, DVec3::ZERO).0.is_finite());
        let fine = Laid::new(&sample.sculpt, &guide(vec![DVec3::X, DVec3::Y]), 1e-12).unwrap();
        assert!(fine.points.len() <= MOST_POINTS + 3);
        let none = SurfaceIndex::new(std::sync::Arc::new(mesh::TriMesh::default()));
        assert!(
            Laid::new(&none, &guide(vec![DVec3::X, DVec3::Y]), 0.1)
                .unwrap()
                .outlook(&none, DVec3::ZERO)
                .0
                .is_finite()
        );
    }
}
