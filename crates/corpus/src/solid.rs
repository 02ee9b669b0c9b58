//! Solids put together from balls, limbs and rings.

use demo::solid::{Noise, Shape, blend_max, blend_min, ellipsoid, round_cone};
use mesh::DVec3;

/// One piece of a solid, cm.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Piece {
    /// An ellipsoid along the axes.
    Ball {
        /// Its centre.
        centre: DVec3,
        /// Its half axes.
        radii: DVec3,
    },
    /// A cone with round ends.
    Limb {
        /// One end.
        a: DVec3,
        /// Radius there.
        ra: f64,
        /// The other end.
        b: DVec3,
        /// Radius there.
        rb: f64,
    },
    /// A torus.
    Ring {
        /// Its centre.
        centre: DVec3,
        /// Unit normal of its plane.
        axis: DVec3,
        /// From the centre to the middle of the tube.
        radius: f64,
        /// Of the tube.
        tube: f64,
    },
    /// A box along the axes with rounded edges.
    Block {
        /// Its centre.
        centre: DVec3,
        /// Half its edges.
        half: DVec3,
        /// Radius of its edges.
        rounding: f64,
    },
}

impl Piece {
    fn distance(&self, p: DVec3) -> f64 {
        match *self {
            Self::Ball { centre, radii } => ellipsoid(p, centre, radii),
            Self::Limb { a, ra, b, rb } => round_cone(p, a, ra, b, rb),
            Self::Ring {
                centre,
                axis,
                radius,
                tube,
            } => {
                let height = (p - centre).dot(axis);
                let flat = (p - centre - height * axis).length() - radius;
                flat.hypot(height) - tube
            }
            Self::Block {
                centre,
                half,
                rounding,
            } => {
                let q = (p - centre).abs() - half + rounding;
                q.max(DVec3::ZERO).length() + q.max_element().min(0.0) - rounding
            }
        }
    }

    fn bounds(&self) -> (DVec3, DVec3) {
        match *self {
            Self::Ball { centre, radii } => (centre - radii, centre + radii),
            Self::Limb { a, ra, b, rb } => ((a - ra).min(b - rb), (a + ra).max(b + rb)),
            Self::Ring {
                centre,
                radius,
                tube,
                ..
            } => (centre - radius - tube, centre + radius + tube),
            Self::Block { centre, half, .. } => (centre - half, centre + half),
        }
    }
}

/// Hollows a solid out to a wall.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Hollow {
    /// Thickness of the wall, cm.
    pub thickness: f64,
    /// What lies higher is taken off, cm.
    pub top: f64,
    /// What lies lower is taken off, cm.
    pub bottom: f64,
}

/// Unevenness of a solid.
#[derive(Clone, Copy, Debug)]
pub struct Bumps {
    /// Where it comes from.
    pub noise: Noise,
    /// From bump to bump, cm.
    pub wavelength: f64,
    /// Height, cm.
    pub height: f64,
}

/// A solid: its pieces blended.
#[derive(Clone, Debug, Default)]
pub struct Solid {
    /// Blended one after another.
    pub pieces: Vec<Piece>,
    /// Width of the blends, cm.
    pub blend: f64,
    /// Unevenness.
    pub bumps: Option<Bumps>,
    /// Whether the half at x > 0 is shown on both sides.
    pub mirrored: bool,
    /// Wall in place of the solid.
    pub hollow: Option<Hollow>,
}

impl Solid {
    /// Half of its least thickness, cm.
    pub fn thinnest(&self) -> f64 {
        let of_piece = |piece: &Piece| match *piece {
            Piece::Ball { radii, .. } => radii.min_element(),
            Piece::Limb { ra, rb, .. } => ra.min(rb),
            Piece::Ring { tube, .. } => tube,
            Piece::Block { half, .. } => half.min_element(),
        };
        let wall = self.hollow.map_or(f64::MAX, |h| h.thickness / 2.0);
        self.pieces.iter().map(of_piece).fold(wall, f64::min)
    }

    /// A box that holds it.
    pub fn bounds(&self) -> (DVec3, DVec3) {
        let start = (DVec3::INFINITY, DVec3::NEG_INFINITY);
        let (mut low, mut high) = self.pieces.iter().fold(start, |(low, high), piece| {
            let (l, h) = piece.bounds();
            (low.min(l), high.max(h))
        });
        if self.mirrored {
            high.x = high.x.abs().max(low.x.abs());
            low.x = -high.x;
        }
        let spare = self.blend
            + 1.0
            + self.bumps.map_or(0.0, |b| 3.0 * b.height)
            + self.hollow.map_or(0.0, |h| h.thickness);
        // Not on round numbers: a grid that runs through a plane of symmetry has ties.
        (low - spare - 0.0137, high + spare + 0.0171)
    }
}

impl Shape for Solid {
    fn distance(&self, p: DVec3) -> f64 {
        let p = if self.mirrored {
            DVec3::new(p.x.abs(), p.y, p.z)
        } else {
            p
        };
        let mut pieces = self.pieces.iter();
        let Some(first) = pieces.next() else {
            return f64::MAX;
        };
        let mut d = pieces.fold(first.distance(p), |d, piece| {
            blend_min(d, piece.distance(p), self.blend.max(1e-3))
        });
        if let Some(bumps) = self.bumps {
            d += bumps.height * bumps.noise.gradient(p / bumps.wavelength);
        }
        if let Some(hollow) = self.hollow {
            let round = 0.6 * hollow.thickness;
            d = d.abs() - 0.5 * hollow.thickness;
            d = blend_max(d, p.y - hollow.top, round);
            d = blend_max(d, hollow.bottom - p.y, round);
        }
        d
    }
}
