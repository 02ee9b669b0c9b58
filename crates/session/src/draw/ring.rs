//! A stroke across a limb becomes a ring around it.
//!
//! The stroke and the view's direction span a plane; the sculpt's section with it that the stroke lies on
//! is the ring. On the side that was seen it is bent to follow the stroke, fading out to where the
//! surface turns away.

use engine::model::Plane;
use mesh::{DVec3, Run, runs, trace};

use super::tidy::simplified;
use super::{DrawError, Drawn, Hit, Pen, Ray};

/// Points around a ring before it is made simple.
const AROUND: f64 = 160.0;
/// Length of a ring over its stroke's beyond which the stroke doesn't go across: a stroke over the
/// seen width of a round limb goes a third of the way around.
const ACROSS: f64 = 8.0;

/// A cut's plane.
#[derive(Clone, Copy, Debug)]
struct Cut {
    origin: DVec3,
    /// Unit normal.
    normal: DVec3,
    /// Unit direction of the stroke.
    along: DVec3,
    /// Unit direction of the view.
    view: DVec3,
}

impl Pen {
    /// The ring of a stroke across a limb; one that crosses the plane is made symmetric. Points leave
    /// the ring by at most `tolerance`.
    ///
    /// # Errors
    /// [`DrawError`].
    pub fn ring(
        &self,
        stroke: &[Ray],
        plane: Option<Plane>,
        tolerance: f64,
    ) -> Result<Drawn, DrawError> {
        let hits: Vec<Option<Hit>> = stroke.iter().map(|ray| self.hit(ray)).collect();
        let seen: Vec<DVec3> = hits.iter().flatten().map(|hit| hit.point).collect();
        let middle = *hits
            .iter()
            .flatten()
            .nth(seen.len() / 2)
            .ok_or(DrawError::Missed)?;
        let cut = cut(stroke, &hits).ok_or(DrawError::TooShort)?;
        let mut run = self.section_at(cut.origin, cut.normal, middle.point)?;
        if let Some(plane) = plane
            && crosses(&run.points, plane, tolerance)
            && let Some(square) = cut.normal.reject_from(plane.normal).try_normalize()
        {
            // Cut square to the plane, or the ring would have a kink where its image meets it.
            run = self.section_at(cut.origin, square, middle.point)?;
        }
        let long = run.length();
        let stroke_long = runs::length(&seen, false);
        if long > ACROSS * stroke_long.max(f64::MIN_POSITIVE) {
            return Err(DrawError::NotAcross);
        }
        let mut points = runs::even(&run.points, true, long / AROUND);
        self.bend(&mut points, &cut, &seen);
        runs::smooth(&mut points, true, 1);
        for p in &mut points {
            *p = self.onto(*p);
        }
        Ok(Drawn {
            points: settled(points, plane, middle.point, tolerance),
            closed: true,
        })
    }

    /// The closed run of the section with a plane that passes nearest to a point.
    pub(super) fn section_at(
        &self,
        origin: DVec3,
        normal: DVec3,
        near: DVec3,
    ) -> Result<Run, DrawError> {
        let at = |v: u32| self.sculpt.mesh.positions[v as usize].as_dvec3();
        let height = |v: u32| (at(v) - origin).dot(normal);
        let above = |v: u32| height(v) >= 0.0;
        let cut = |a: u32, b: u32| {
            let (ha, hb) = (height(a), height(b));
            at(a).lerp(at(b), ha / (ha - hb))
        };
        let mut seen = vec![false; self.topology.triangles.len()];
        let all = 0..self.topology.triangles.len() as u32;
        let found = trace(&self.topology, all, &above, &cut, &mut seen);
        let distance = |run: &Run| {
            let each = run.points.iter().map(|p| p.distance_squared(near));
            each.fold(f64::INFINITY, f64::min)
        };
        let nearest = found
            .into_iter()
            .min_by(|a, b| distance(a).total_cmp(&distance(b)))
            .ok_or(DrawError::Missed)?;
        if nearest.closed && nearest.points.len() >= 3 {
            Ok(nearest)
        } else {
            Err(DrawError::Open)
        }
    }

    /// Bends the seen part of a ring so that it follows the stroke's points.
    fn bend(&self, points: &mut [DVec3], cut: &Cut, seen: &[DVec3]) {
        let mut stroke: Vec<(f64, f64)> = seen
            .iter()
            .map(|p| {
                let from = *p - cut.origin;
                (from.dot(cut.along), from.dot(cut.normal))
            })
            .collect();
        stroke.sort_by(|a, b| a.0.total_cmp(&b.0));
        let (Some(&first), Some(&last)) = (stroke.first(), stroke.last()) else {
            return;
        };
        for p in points {
            let u = (*p - cut.origin).dot(cut.along);
            let offset = match stroke.partition_point(|s| s.0 < u) {
                0 => first.1,
                n if n == stroke.len() => last.1,
                n => {
                    let (a, b) = (stroke[n - 1], stroke[n]);
                    a.1 + (b.1 - a.1) * (u - a.0) / (b.0 - a.0).max(f64::MIN_POSITIVE)
                }
            };
            let Some(found) = self.sculpt.index.closest(*p) else {
                continue;
            };
            let normal = self.sculpt.mesh.area_normal(found.triangle as usize);
            // 1 where the surface looks at the eye, 0 where it has turned away.
            let facing = (-cut.view.dot(normal.normalize_or_zero())).clamp(0.0, 1.0);
            let weight = facing * (2.0 - facing);
            *p += cut.normal * (offset * weight);
        }
    }
}

/// The plane through a stroke and the view's direction; `None` for a stroke without a direction.
fn cut(stroke: &[Ray], hits: &[Option<Hit>]) -> Option<Cut> {
    let distances = || hits.iter().flatten().map(|hit| hit.distance);
    let depth = distances().sum::<f64>() / distances().count().max(1) as f64;
    // Rays that miss the sculpt tell the direction as well: a stroke may begin in the air.
    let points: Vec<DVec3> = stroke.iter().map(|ray| ray.at(depth)).collect();
    let view = stroke
        .iter()
        .map(|ray| ray.direction)
        .sum::<DVec3>()
        .try_normalize()?;
    let origin = points.iter().sum::<DVec3>() / points.len() as f64;
    // The principal direction across the view, from the covariance of two coordinates.
    let one = view.any_orthonormal_vector();
    let two = view.cross(one);
    let (mut xx, mut xy, mut yy) = (0.0, 0.0, 0.0);
    for p in &points {
        let (x, y) = ((*p - origin).dot(one), (*p - origin).dot(two));
        xx += x * x;
        xy += x * y;
        yy += y * y;
    }
    if xx + yy <= 0.0 {
        return None;
    }
    let angle = 0.5 * (2.0 * xy).atan2(xx - yy);
    let along = one * angle.cos() + two * angle.sin();
    Some(Cut {
        origin,
        normal: view.cross(along).try_normalize()?,
        along,
        view,
    })
}

/// Whether a curve has points on both sides of the plane, further from it than the tolerance.
fn crosses(points: &[DVec3], plane: Plane, tolerance: f64) -> bool {
    let reaches = |side: f64| points.iter().any(|&p| side * plane.height(p) > tolerance);
    reaches(1.0) && reaches(-1.0)
}

/// A ring made simple; one that crosses the plane is made its own image to the bit: the part on the
/// side of `kept` stays.
pub(super) fn settled(
    points: Vec<DVec3>,
    plane: Option<Plane>,
    kept: DVec3,
    tolerance: f64,
) -> Vec<DVec3> {
    let crossed = plane.filter(|plane| crosses(&points, *plane, tolerance));
    match crossed.and_then(|plane| symmetric(&points, plane, kept, tolerance)) {
        Some(symmetric) => symmetric,
        None => simplified(&points, true, tolerance),
    }
}

/// The longest part on the side of `kept`, and its image; `None` if no part lies there.
fn symmetric(points: &[DVec3], plane: Plane, kept: DVec3, tolerance: f64) -> Option<Vec<DVec3>> {
    let count = points.len();
    let heights: Vec<f64> = points.iter().map(|&p| plane.height(p)).collect();
    let side = if plane.height(kept) < 0.0 { -1.0 } else { 1.0 };
    let inside = |i: usize| side * heights[i % count] > 0.0;
    // The longest stretch on the kept side.
    let starts = (0..count).filter(|&i| inside(i) && !inside(i + count - 1));
    let stretch = |start: usize| (start..start + count).take_while(|&i| inside(i)).count();
    let (start, long) = starts
        .map(|start| (start, stretch(start)))
        .max_by_key(|&(start, long)| (long, std::cmp::Reverse(start)))?;
    let crossing = |a: usize, b: usize| {
        let (a, b) = (a % count, b % count);
        let share = heights[a] / (heights[a] - heights[b]);
        plane.project(points[a].lerp(points[b], share))
    };
    let mut half = vec![crossing(start + count - 1, start)];
    half.extend((start..start + long).map(|i| points[i % count]));
    half.push(crossing(start + long - 1, start + long));
    let mut half = simplified(&half, false, tolerance);
    let image: Vec<DVec3> = half[1..half.len() - 1]
        .iter()
        .rev()
        .map(|&p| plane.mirror(p))
        .collect();
    half.extend(image);
    Some(half)
}
