//! Guides bent by a drag, and rings slid along their limb.

use engine::model::Plane;
use mesh::{DVec3, runs};

use super::ring::settled;
use super::tidy::simplified;
use super::{DrawError, Pen};

/// Points of a guide while it is bent.
const FINE: f64 = 160.0;

impl Pen {
    /// A guide with the place `from` of it brought to `to`: what lies within `reach` along it follows,
    /// less and less; everything stays on the sculpt, ends that lie beyond stay where they are.
    pub fn bent(
        &self,
        points: &[DVec3],
        closed: bool,
        from: DVec3,
        to: DVec3,
        reach: f64,
        tolerance: f64,
    ) -> Vec<DVec3> {
        let total = runs::length(points, closed);
        let mut fine = runs::even(points, closed, (total / FINE).max(f64::MIN_POSITIVE));
        let count = fine.len();
        let Some(grip) =
            (0..count).min_by(|&i, &j| fine[i].distance(from).total_cmp(&fine[j].distance(from)))
        else {
            return points.to_vec();
        };
        let step = total / count as f64;
        let moved = to - fine[grip];
        for (i, p) in fine.iter_mut().enumerate() {
            let apart = i.abs_diff(grip);
            let apart = if closed {
                apart.min(count - apart)
            } else {
                apart
            };
            let share = (1.0 - apart as f64 * step / reach.max(step)).clamp(0.0, 1.0);
            // A smooth step: flat at the grip and where it ends.
            let weight = share * share * (3.0 - 2.0 * share);
            if weight > 0.0 {
                *p = self.onto(*p + moved * weight);
            }
        }
        simplified(&fine, closed, tolerance)
    }

    /// A ring slid along its limb by a distance along its normal: the sculpt is cut in parallel, and
    /// what the ring has besides a plane cut goes along. One that crosses the plane stays symmetric.
    ///
    /// # Errors
    /// [`DrawError::LimbEnds`], where no ring of about its girth is there.
    pub fn slid(
        &self,
        points: &[DVec3],
        along: DVec3,
        plane: Option<Plane>,
        tolerance: f64,
    ) -> Result<Vec<DVec3>, DrawError> {
        let normal = normal_of(points).ok_or(DrawError::TooShort)?;
        let centre = runs::centroid(points, true);
        let by = normal * along.dot(normal);
        let near = self.onto(points[0] + by);
        let run = self
            .section_at(centre + by, normal, near)
            .map_err(|_| DrawError::LimbEnds)?;
        let (old, new) = (runs::length(points, true), run.length());
        // A limb ends in a cap, or joins a body that is much thicker.
        if !(0.4 * old..=2.5 * old).contains(&new) {
            return Err(DrawError::LimbEnds);
        }
        let mut fine = runs::even(&run.points, true, new / FINE);
        for p in &mut fine {
            // How far the old ring left its own plane on this side.
            let side =
                |q: DVec3| (q - centre - normal * (q - centre).dot(normal)).normalize_or_zero();
            let to = side(*p - by);
            let like = points
                .iter()
                .max_by(|a, b| side(**a).dot(to).total_cmp(&side(**b).dot(to)));
            let off = like.map_or(0.0, |q| (*q - centre).dot(normal));
            *p = self.onto(*p + normal * off);
        }
        runs::smooth(&mut fine, true, 2);
        for p in &mut fine {
            *p = self.onto(*p);
        }
        Ok(settled(fine, plane, points[0], tolerance))
    }
}

/// Unit normal of a closed curve's area: Newell's sum.
pub(super) fn normal_of(points: &[DVec3]) -> Option<DVec3> {
    let centre = runs::centroid(points, true);
    let cross = |(i, j): (usize, usize)| (points[i] - centre).cross(points[j] - centre);
    let sum: DVec3 = runs::pieces(points.len(), true).map(cross).sum();
    sum.try_normalize()
}
