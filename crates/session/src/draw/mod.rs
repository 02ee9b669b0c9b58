//! Guides from a pen's strokes: the geometry behind drawing, without a window.
//!
//! The window sends what the pen touched as rays through the model; what comes back are points on the
//! sculpt, as a job's guides have them. Lengths are in model units. Costs go with the sculpt's
//! triangles once a ring or an opening (one pass over them, some 10 ms a million), else with the
//! stroke.

mod line;
mod paint;
mod pick;
mod reshape;
mod ring;
mod snap;
#[cfg(test)]
mod tests;
mod tidy;

use engine::model::{Plane, Sculpt};
use mesh::{DVec3, Polyline, TriTopology};
use thiserror::Error;

pub use paint::Painted;
pub use pick::{OnGuide, OnSurface, QuadIndex, guide_under};
pub use snap::{Snap, SnapTo};
pub use tidy::{free_name, joined, simplified, split_closed, split_open};

/// A straight line from the eye through a place of the view.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Ray {
    /// Where it begins, model units.
    pub origin: DVec3,
    /// Its unit direction.
    pub direction: DVec3,
}

impl Ray {
    /// The point at a distance.
    pub fn at(&self, distance: f64) -> DVec3 {
        self.origin + self.direction * distance
    }
}

/// Where a ray meets the sculpt first.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Hit {
    /// Where, model units.
    pub point: DVec3,
    /// Unit normal of the sculpt there.
    pub normal: DVec3,
    /// Distance along the ray.
    pub distance: f64,
}

/// A curve that a stroke makes.
#[derive(Clone, Debug, PartialEq)]
pub struct Drawn {
    /// Points on the sculpt, as few as tell the curve.
    pub points: Vec<DVec3>,
    /// Whether the last joins the first.
    pub closed: bool,
}

/// Why a stroke makes no guide.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Error)]
pub enum DrawError {
    /// Nothing was touched.
    #[error("The stroke doesn't touch the sculpt. Draw over it")]
    Missed,
    /// Too short.
    #[error("The stroke is too short to tell where it goes. Draw a longer one")]
    TooShort,
    /// The cut around runs into a boundary.
    #[error(
        "The cut under this stroke runs into an open edge of the sculpt, so it can't close around. Draw it further from the edge, or draw a line"
    )]
    Open,
    /// The stroke isn't across a limb.
    #[error(
        "The ring under this stroke would be far longer than the stroke. Draw right across the limb, or draw a line"
    )]
    NotAcross,
    /// No boundary near.
    #[error(
        "There is no open edge of the sculpt here. Draw a closed stroke where the surface is to end"
    )]
    NoBoundary,
    /// The limb ends.
    #[error("The limb ends here: the ring can't be slid any further")]
    LimbEnds,
    /// The sculpt's own joints are broken.
    #[error("The sculpt isn't a proper surface, so it can't be cut")]
    NotManifold,
}

/// A pen over a sculpt.
#[derive(Debug)]
pub struct Pen {
    sculpt: Sculpt,
    topology: TriTopology,
    boundaries: Vec<Polyline>,
}

impl Pen {
    /// Takes up a pen: looks once over the sculpt.
    ///
    /// # Errors
    /// [`DrawError::NotManifold`], which no sculpt is that was taken in.
    pub fn new(sculpt: Sculpt) -> Result<Self, DrawError> {
        let mesh = &sculpt.mesh;
        let topology = TriTopology::new(mesh.positions.len(), &mesh.triangles)
            .map_err(|_| DrawError::NotManifold)?;
        let boundaries = engine::guides::Rims::of(&sculpt).into_loops();
        Ok(Self {
            sculpt,
            topology,
            boundaries,
        })
    }

    /// The sculpt.
    pub fn sculpt(&self) -> &Sculpt {
        &self.sculpt
    }

    /// Open edges of the sculpt, each a closed curve.
    pub fn boundaries(&self) -> &[Polyline] {
        &self.boundaries
    }

    /// Where a ray meets the sculpt first.
    pub fn hit(&self, ray: &Ray) -> Option<Hit> {
        let found = self
            .sculpt
            .index
            .ray(ray.origin, ray.direction, f64::INFINITY)?;
        let normal = self.sculpt.mesh.area_normal(found.triangle as usize);
        Some(Hit {
            point: found.point,
            normal: normal.normalize_or_zero(),
            distance: found.distance,
        })
    }

    /// The point of the sculpt nearest to a point; the point itself if there is no sculpt.
    pub fn onto(&self, p: DVec3) -> DVec3 {
        self.sculpt.index.closest(p).map_or(p, |found| found.point)
    }

    /// The mirror image of a guide on the sculpt's other side; `None` where the guide crosses or lies on
    /// the plane, whose image is itself.
    pub fn twin(&self, points: &[DVec3], plane: Plane, tolerance: f64) -> Option<Vec<DVec3>> {
        let heights = || points.iter().map(|&p| plane.height(p));
        let one_side = heights().all(|h| h >= -tolerance) || heights().all(|h| h <= tolerance);
        let off = heights().any(|h| h.abs() > tolerance);
        (one_side && off).then(|| points.iter().map(|&p| plane.mirror(p)).collect())
    }
}
