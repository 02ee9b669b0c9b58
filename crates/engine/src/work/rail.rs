//! Curves by arc length: what chains of mesh edges are laid on.

use mesh::DVec3;

use crate::model::ChainSource;

/// A polyline on the sculpt, addressed by arc length.
#[derive(Clone, Debug)]
pub(crate) struct Rail {
    /// What its chain will stand for.
    pub source: ChainSource,
    /// Whether the last point joins the first.
    pub closed: bool,
    points: Vec<DVec3>,
    /// Arc length at each point, and, for a closed rail, back at the first.
    lengths: Vec<f64>,
}

/// The point of a rail that is nearest to another point.
#[derive(Clone, Copy, Debug)]
pub(crate) struct OnRail {
    /// Arc length, model units.
    pub param: f64,
    /// Distance, model units.
    pub distance: f64,
}

impl Rail {
    /// A rail through these points, without repeated ones; `None` if it has no length.
    pub fn new(source: ChainSource, closed: bool, points: &[DVec3]) -> Option<Self> {
        let mut kept: Vec<DVec3> = Vec::with_capacity(points.len());
        for &p in points {
            if kept.last().is_none_or(|&q| q != p) {
                kept.push(p);
            }
        }
        if closed && kept.len() > 1 && kept.first() == kept.last() {
            kept.pop();
        }
        if kept.len() < if closed { 3 } else { 2 } {
            return None;
        }
        let mut lengths = vec![0.0];
        let mut sum = 0.0;
        for i in 1..kept.len() {
            sum += kept[i].distance(kept[i - 1]);
            lengths.push(sum);
        }
        if closed {
            lengths.push(sum + kept[0].distance(kept[kept.len() - 1]));
        }
        Some(Self {
            source,
            closed,
            points: kept,
            lengths,
        })
    }

    /// Whole length, model units.
    pub fn length(&self) -> f64 {
        self.lengths.last().copied().unwrap_or(0.0)
    }

    /// Whether it is the cut along the mirror plane.
    pub fn is_plane(&self) -> bool {
        self.source == ChainSource::Plane
    }

    /// Arc lengths at which the rail turns by more than `least_turn_rad` between what lies
    /// `reach` before and after; of several within `reach`, the sharpest.
    pub fn corners(&self, reach: f64, least_turn_rad: f64) -> Vec<f64> {
        let turn = |param: f64| {
            let at = self.at(param);
            let (before, after) = (at - self.at(param - reach), self.at(param + reach) - at);
            before.angle_between(after)
        };
        let whole = self.length();
        if whole < 4.0 * reach {
            return Vec::new();
        }
        let mut sharp: Vec<(f64, f64)> = self.lengths[..self.points.len()]
            .iter()
            .filter(|&&p| self.closed || (p > reach && p < whole - reach))
            .map(|&p| (turn(p), p))
            .filter(|&(turn, _)| turn > least_turn_rad)
            .collect();
        sharp.sort_by(|a, b| b.0.total_cmp(&a.0).then(a.1.total_cmp(&b.1)));
        let mut kept: Vec<f64> = Vec::new();
        for (_, param) in sharp {
            let apart = |&q: &f64| {
                let gap = (param - q).abs();
                gap.min(if self.closed { whole - gap } else { gap }) > reach
            };
            if kept.iter().all(apart) {
                kept.push(param);
            }
        }
        kept.sort_by(f64::total_cmp);
        kept
    }

    fn pieces(&self) -> usize {
        self.lengths.len() - 1
    }

    fn piece(&self, i: usize) -> (DVec3, DVec3) {
        (self.points[i], self.points[(i + 1) % self.points.len()])
    }

    /// The param within the rail's length: wrapped if closed, clamped if open.
    pub fn normalised(&self, param: f64) -> f64 {
        if self.closed {
            param.rem_euclid(self.length())
        } else {
            param.clamp(0.0, self.length())
        }
    }

    /// The point at an arc length.
    pub fn at(&self, param: f64) -> DVec3 {
        let param = self.normalised(param);
        let i = self.piece_at(param);
        let (a, b) = self.piece(i);
        let span = self.lengths[i + 1] - self.lengths[i];
        if span <= 0.0 {
            a
        } else {
            a.lerp(b, ((param - self.lengths[i]) / span).clamp(0.0, 1.0))
        }
    }

    /// Unit direction at an arc length.
    pub fn direction(&self, param: f64) -> DVec3 {
        let (a, b) = self.piece(self.piece_at(self.normalised(param)));
        (b - a).normalize_or_zero()
    }

    fn piece_at(&self, param: f64) -> usize {
        self.lengths
            .partition_point(|&l| l <= param)
            .saturating_sub(1)
            .min(self.pieces() - 1)
    }

    /// The nearest point of the whole rail.
    pub fn nearest(&self, p: DVec3) -> OnRail {
        self.nearest_of(p, 0..self.pieces())
    }

    /// The nearest point with an arc length from `from` to `to`; on a closed rail both may
    /// lie outside of its length, and so may the answer.
    pub fn nearest_between(&self, p: DVec3, from: f64, to: f64) -> OnRail {
        if !self.closed {
            let (from, to) = (from.max(0.0), to.min(self.length()));
            let found = self.nearest_of(p, self.piece_at(from)..self.piece_at(to) + 1);
            return self.clamped(p, found.param, from, to);
        }
        let whole = self.length();
        if to - from >= whole {
            let found = self.nearest(p);
            let turns = ((from - found.param) / whole).ceil();
            return OnRail {
                param: found.param + turns * whole,
                ..found
            };
        }
        let turn = (from / whole).floor() * whole;
        let (low, high) = (from - turn, to - turn);
        let first = self.piece_at(low);
        let found = if high <= whole {
            self.nearest_of(p, first..self.piece_at(high) + 1)
        } else {
            let one = self.nearest_of(p, first..self.pieces());
            let two = self.nearest_of(p, 0..self.piece_at(high - whole) + 1);
            if one.distance <= two.distance {
                one
            } else {
                OnRail {
                    param: two.param + whole,
                    ..two
                }
            }
        };
        self.clamped(p, found.param + turn, from, to)
    }

    fn clamped(&self, p: DVec3, param: f64, from: f64, to: f64) -> OnRail {
        let param = param.max(from).min(to);
        OnRail {
            param,
            distance: self.at(param).distance(p),
        }
    }

    fn nearest_of(&self, p: DVec3, pieces: std::ops::Range<usize>) -> OnRail {
        let mut best = (f64::INFINITY, 0.0);
        for i in pieces {
            let (a, b) = self.piece(i);
            let ab = b - a;
            let share =
                ((p - a).dot(ab) / ab.length_squared().max(f64::MIN_POSITIVE)).clamp(0.0, 1.0);
            let squared = (a + ab * share).distance_squared(p);
            if squared < best.0 {
                best = (
                    squared,
                    self.lengths[i] + share * (self.lengths[i + 1] - self.lengths[i]),
                );
            }
        }
        OnRail {
            param: best.1,
            distance: best.0.sqrt(),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn square() -> Rail {
        let corners = [DVec3::ZERO, DVec3::X, DVec3::new(1.0, 1.0, 0.0), DVec3::Y];
        Rail::new(ChainSource::Plane, true, &corners).unwrap()
    }

    #[test]
    fn a_closed_rail_wraps() {
        let rail = square();
        assert_eq!(rail.length(), 4.0);
        assert_eq!(rail.at(4.25), DVec3::new(0.25, 0.0, 0.0));
        assert_eq!(rail.at(-0.5), DVec3::new(0.0, 0.5, 0.0));
        let found = rail.nearest_between(DVec3::new(0.25, -0.1, 0.0), 3.5, 4.5);
        assert!((found.param - 4.25).abs() < 1e-12);
        let found = rail.nearest_between(DVec3::new(0.25, -0.1, 0.0), 3.0, 7.0);
        assert!((found.param - 4.25).abs() < 1e-12);
    }

    #[test]
    fn corners_are_found_once() {
        assert_eq!(square().corners(0.2, 0.9), vec![0.0, 1.0, 2.0, 3.0]);
        assert!(square().corners(0.2, 1.6).is_empty());
    }

    #[test]
    fn an_open_rail_ends() {
        let rail = Rail::new(
            ChainSource::Plane,
            false,
            &[DVec3::ZERO, DVec3::ZERO, DVec3::X],
        )
        .unwrap();
        assert_eq!(rail.at(7.0), DVec3::X);
        assert_eq!(
            rail.nearest_between(DVec3::new(5.0, 0.0, 0.0), 0.0, 0.5)
                .param,
            0.5
        );
        assert!(Rail::new(ChainSource::Plane, false, &[DVec3::ZERO; 3]).is_none());
    }
}
