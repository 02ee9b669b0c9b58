//! Polylines: lengths, nearest points, even spacing.

use crate::{DVec3, runs};

/// Points joined by straight pieces; a closed one doesn't repeat the first.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Polyline {
    /// Points, model units.
    pub points: Vec<DVec3>,
    /// Whether the last joins the first.
    pub closed: bool,
}

/// A nearest point of a polyline.
#[derive(Clone, Copy, Debug)]
pub struct Near {
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
        runs::length(&self.points, self.closed)
    }

    /// The nearest point; of equally near ones the first. `None` without points.
    pub fn nearest(&self, p: DVec3) -> Option<Near> {
        let mut best: Option<Near> = None;
        for piece in 0..self.pieces() {
            let (a, b) = self.piece(piece);
            let point = runs::nearest_on_piece(p, a, b);
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
        Polyline {
            points: runs::even(&self.points, self.closed, spacing),
            closed: self.closed,
        }
    }
}
