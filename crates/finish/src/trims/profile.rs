//! The rim of a trim, seen across its run.

use std::f64::consts::PI;

use mesh::DVec3;

use super::{Edge, Side, Trim};

/// Corner loops lie this share of the thickness from their corner.
pub(crate) const CORNER: f64 = 0.2;
/// Pieces of a half round.
const ARC: usize = 4;
/// A flat rim, whose corners are held.
const FLAT: [(f64, f64); 2] = [(CORNER, 0.0), (1.0 - CORNER, 0.0)];

/// A rim that stands out by `round` in the middle.
fn half_round(round: f64) -> Vec<(f64, f64)> {
    let place = |k: usize| {
        let angle = PI * k as f64 / ARC as f64;
        ((1.0 - angle.cos()) / 2.0, round * angle.sin())
    };
    (1..ARC).map(place).collect()
}

/// The heights of rows and the form of the rim.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Profile {
    /// Heights of the cloth's rows beyond the opening, rising, model units; the opening's isn't
    /// among them.
    pub heights: Vec<f64>,
    /// Whether the last row but one lies straight between its neighbours: it holds a corner.
    pub holds: bool,
    /// Of each vertex of the rim between its corners: its share of the way from the outer to the
    /// inner corner, and how far it stands out, model units.
    pub rim: Vec<(f64, f64)>,
}

impl Profile {
    pub fn new(trim: &Trim) -> Self {
        let thick = trim.thickness;
        let rows = match trim.side {
            Side::Beyond => trim.loops as usize + 1,
            _ => 1,
        };
        match trim.edge {
            Edge::Flat => {
                let corner = match trim.side {
                    Side::Beyond => (CORNER * thick).min(trim.height / rows as f64 / 3.0),
                    _ => CORNER * thick,
                };
                // What is turned in has the opening's own loop for a corner loop.
                let height = match trim.side {
                    Side::Beyond => trim.height,
                    _ => corner,
                };
                let mut heights: Vec<f64> =
                    (1..rows).map(|k| height * k as f64 / rows as f64).collect();
                if trim.side == Side::Beyond {
                    heights.push(height - corner);
                }
                heights.push(height);
                Self {
                    heights,
                    holds: trim.side == Side::Beyond,
                    rim: FLAT.to_vec(),
                }
            }
            Edge::Rounded => {
                let round = match trim.side {
                    Side::Beyond => (thick / 2.0).min(trim.height / 2.0),
                    _ => thick / 2.0,
                };
                let height = trim.height - round;
                let heights = match trim.side {
                    Side::Beyond => (1..=rows)
                        .map(|k| height * k as f64 / rows as f64)
                        .collect(),
                    _ => Vec::new(),
                };
                Self {
                    heights,
                    holds: false,
                    rim: half_round(round),
                }
            }
        }
    }

    /// The form of a band's rims; its rows are the cloth's. A rounded one is a quarter of an ellipse,
    /// as wide as the outer wall's corner lies back from the inner one's: it stands out by a share of
    /// that.
    pub fn upon(trim: &Trim) -> Self {
        let place = |k: usize| {
            let (sin, cos) = (PI / 2.0 * k as f64 / ARC as f64).sin_cos();
            (1.0 - cos, sin + cos - 1.0)
        };
        Self {
            heights: Vec::new(),
            holds: false,
            rim: match trim.edge {
                Edge::Flat => FLAT.to_vec(),
                Edge::Rounded => (1..ARC).map(place).collect(),
            },
        }
    }

    /// Places of the rim between an outer and an inner corner; `out` leads away from the cloth,
    /// and is unit unless rims stand out by a share of it.
    pub fn rim_between(&self, outer: DVec3, inner: DVec3, out: DVec3) -> Vec<DVec3> {
        let place = |&(share, stands): &(f64, f64)| outer.lerp(inner, share) + stands * out;
        self.rim.iter().map(place).collect()
    }
}
