//! A stroke along the surface becomes a line or an opening.

use mesh::{DVec3, runs};

use super::tidy::simplified;
use super::{DrawError, Drawn, Pen, Ray};

/// Points of a line before it is made simple.
const ALONG: f64 = 160.0;
/// Rounds of smoothing at full strength.
const ROUNDS: f64 = 24.0;
/// A stroke whose ends are this share of its length apart, or nearer, is closed.
const CLOSING: f64 = 0.15;

impl Pen {
    /// The line of a stroke along the surface, smoothed on it: `smooth` from 0 (as drawn) to 1. Gaps where
    /// the stroke leaves the sculpt are bridged along it.
    ///
    /// # Errors
    /// [`DrawError`].
    pub fn line(&self, stroke: &[Ray], smooth: f64, tolerance: f64) -> Result<Drawn, DrawError> {
        self.curve(stroke, false, smooth, tolerance)
    }

    /// The opening of a closed stroke.
    ///
    /// # Errors
    /// [`DrawError`]; [`DrawError::TooShort`] where the stroke's ends don't meet.
    pub fn opening(&self, stroke: &[Ray], smooth: f64, tolerance: f64) -> Result<Drawn, DrawError> {
        let open = self.curve(stroke, false, 0.0, tolerance)?;
        let (Some(first), Some(last)) = (open.points.first(), open.points.last()) else {
            return Err(DrawError::Missed);
        };
        if first.distance(*last) > CLOSING * runs::length(&open.points, false) {
            return Err(DrawError::TooShort);
        }
        self.curve(stroke, true, smooth, tolerance)
    }

    /// The open edge of the sculpt that passes nearest to a point, within `reach`.
    ///
    /// # Errors
    /// [`DrawError::NoBoundary`].
    pub fn boundary_near(&self, at: DVec3, reach: f64, tolerance: f64) -> Result<Drawn, DrawError> {
        let near = self
            .boundaries
            .iter()
            .filter_map(|rim| Some((rim.nearest(at)?.distance, rim)))
            .filter(|(distance, _)| *distance <= reach)
            .min_by(|a, b| a.0.total_cmp(&b.0));
        let (_, rim) = near.ok_or(DrawError::NoBoundary)?;
        Ok(Drawn {
            points: simplified(&rim.points, true, tolerance),
            closed: true,
        })
    }

    fn curve(
        &self,
        stroke: &[Ray],
        closed: bool,
        smooth: f64,
        tolerance: f64,
    ) -> Result<Drawn, DrawError> {
        let mut touched: Vec<DVec3> = Vec::new();
        for hit in stroke.iter().filter_map(|ray| self.hit(ray)) {
            if touched
                .last()
                .is_none_or(|last| last.distance(hit.point) > 0.0)
            {
                touched.push(hit.point);
            }
        }
        if touched.is_empty() {
            return Err(DrawError::Missed);
        }
        let long = runs::length(&touched, closed);
        if long <= tolerance {
            return Err(DrawError::TooShort);
        }
        let mut points = runs::even(&touched, closed, long / ALONG);
        self.smooth_on(&mut points, closed, smooth);
        Ok(Drawn {
            points: simplified(&points, closed, tolerance),
            closed,
        })
    }

    /// Smooths a curve and puts it back on the sculpt, in turns; ends stay.
    pub fn smooth_on(&self, points: &mut [DVec3], closed: bool, smooth: f64) {
        let rounds = (ROUNDS * smooth.clamp(0.0, 1.0)).round() as usize;
        for _ in 0..rounds.max(1) {
            if rounds > 0 {
                runs::smooth(points, closed, 2);
            }
            for p in points.iter_mut() {
                *p = self.onto(*p);
            }
        }
    }
}
