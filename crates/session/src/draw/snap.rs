//! What a point of a stroke is drawn to.

use engine::model::Plane;
use mesh::{DVec3, runs};

use super::Pen;

/// What a point was drawn to.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum SnapTo {
    /// The end of an open guide: which one.
    End(usize),
    /// A guide: which one.
    Guide(usize),
    /// The centre line.
    Centre,
    /// An open edge of the sculpt.
    Boundary,
}

impl SnapTo {
    /// In words, after "at".
    pub fn words(self) -> &'static str {
        match self {
            Self::End(_) => "the end of a guide",
            Self::Guide(_) => "a guide",
            Self::Centre => "the centre line",
            Self::Boundary => "an open edge",
        }
    }
}

/// Where a point was drawn to.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Snap {
    /// Where, model units.
    pub at: DVec3,
    /// To what.
    pub to: SnapTo,
}

impl Pen {
    /// What lies within `reach` of a point: ends of guides first, then guides, the centre line, open
    /// edges. `guides` are points and whether they are closed.
    pub fn snap<'a>(
        &self,
        p: DVec3,
        guides: impl Iterator<Item = (&'a [DVec3], bool)> + Clone,
        plane: Option<Plane>,
        reach: f64,
    ) -> Option<Snap> {
        let nearest = |found: &mut dyn Iterator<Item = Snap>| {
            found
                .filter(|snap| snap.at.distance(p) <= reach)
                .min_by(|a, b| a.at.distance(p).total_cmp(&b.at.distance(p)))
        };
        let mut ends = guides
            .clone()
            .enumerate()
            .filter(|(_, g)| !g.1)
            .flat_map(|(i, g)| {
                let both = [g.0.first(), g.0.last()].into_iter().flatten();
                both.map(move |&at| Snap {
                    at,
                    to: SnapTo::End(i),
                })
            });
        if let Some(snap) = nearest(&mut ends) {
            return Some(snap);
        }
        let mut on = guides.enumerate().filter_map(|(i, (points, closed))| {
            let at = nearest_on(points, closed, p)?;
            Some(Snap {
                at,
                to: SnapTo::Guide(i),
            })
        });
        if let Some(snap) = nearest(&mut on) {
            return Some(snap);
        }
        let centre = plane
            .filter(|plane| plane.height(p).abs() <= reach)
            .map(|plane| {
                // Onto the sculpt and onto the plane, in turns: where both are met.
                let mut at = p;
                for _ in 0..4 {
                    at = self.onto(plane.project(at));
                }
                Snap {
                    at: plane.project(at),
                    to: SnapTo::Centre,
                }
            });
        if let Some(snap) = nearest(&mut centre.into_iter()) {
            return Some(snap);
        }
        let mut rims = self.boundaries.iter().filter_map(|rim| {
            let at = rim.nearest(p)?.point;
            Some(Snap {
                at,
                to: SnapTo::Boundary,
            })
        });
        nearest(&mut rims)
    }
}

fn nearest_on(points: &[DVec3], closed: bool, p: DVec3) -> Option<DVec3> {
    let pieces = runs::pieces(points.len(), closed);
    let each = pieces.map(|(i, j)| runs::nearest_on_piece(p, points[i], points[j]));
    each.min_by(|x, y| x.distance(p).total_cmp(&y.distance(p)))
}
