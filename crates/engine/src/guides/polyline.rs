//! Polylines: lengths, nearest points, even spacing.

use mesh::DVec3;

/// Points joined by straight pieces; a closed one doesn't repeat the first.
#[derive(Clone, Debug, Default, PartialEq)]
pub(super) struct Polyline {
    /// Points, model units.
    pub points: Vec<DVec3>,
    /// Whether the last joins the first.
    pub closed: bool,
}

/// A nearest point of a polyline.
#[derive(Clone, Copy, Debug)]
pub(super) struct Near {
    /// Piece, from its first point on.
    pub piece: usize,
    /// Where, model units.
    pub point: DVec3,
    /// Distance, model units.
    pub distance: f64,
}

impl Polyline {
    /// Number of pieces.
    pub fn pieces(&self) -> usize {
        if self.closed {
            self.points.len()
        } else {
            self.points.len().saturating_sub(1)
        }
    }

    /// Both ends of a piece.
    pub fn piece(&self, i: usize) -> (DVec3, DVec3) {
        (self.points[i], self.points[(i + 1) % self.points.len()])
    }

    /// Whole length, model units.
    pub fn length(&self) -> f64 {
        (0..self.pieces())
            .map(|i| self.piece(i))
            .map(|(a, b)| a.distance(b))
            .sum()
    }

    /// The nearest point; of equally near ones the first. `None` without points.
    pub fn nearest(&self, p: DVec3) -> Option<Near> {
        let mut best: Option<Near> = None;
        for piece in 0..self.pieces() {
            let (a, b) = self.piece(piece);
            let ab = b - a;
            let share =
                ((p - a).dot(ab) / ab.length_squared().max(f64::MIN_POSITIVE)).clamp(0.0, 1.0);
            let point = a + ab * share;
            let distance = point.distance(p);
            if best.is_none_or(|near| distance < near.distance) {
                best = Some(Near {
                    piece,
                    point,
                    distance,
                });
            }
        }
        best
    }

    /// Mean distance of this one's points to another polyline, model units.
    pub fn mean_distance_to(&self, other: &Polyline) -> f64 {
        let sum: f64 = self
            .points
            .iter()
            .map(|&p| other.nearest(p).map_or(f64::INFINITY, |n| n.distance))
            .sum();
        sum / self.points.len().max(1) as f64
    }

    /// Whether every point lies within a distance of another polyline, model units.
    pub fn lies_within(&self, other: &Polyline, reach: f64) -> bool {
        let near = |&p: &DVec3| other.nearest(p).is_some_and(|n| n.distance <= reach);
        self.points.iter().all(near)
    }

    /// The same line with points `spacing` apart or a little less; ends stay.
    pub fn even(&self, spacing: f64) -> Polyline {
        let length = self.length();
        let count = (length / spacing)
            .ceil()
            .clamp(if self.closed { 3.0 } else { 1.0 }, 1e6) as usize;
        let step = length / count as f64;
        let mut points = Vec::with_capacity(count + 1);
        let (mut next, mut sum) = (0.0, 0.0);
        for i in 0..self.pieces() {
            let (a, b) = self.piece(i);
            let long = a.distance(b);
            while points.len() < count && next <= sum + long && long > 0.0 {
                points.push(a.lerp(b, (next - sum) / long));
                next = step * points.len() as f64;
            }
            sum += long;
        }
        if !self.closed
            && let Some(&last) = self.points.last()
        {
            points.push(last);
        }
        Polyline {
            points,
            closed: self.closed,
        }
    }
}
