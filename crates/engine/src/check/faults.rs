//! What an artist would send back at a glance, counted to choose between surfaces.

use mesh::QuadMesh;

use super::guides::Track;
use super::surface::Surface;
use super::{CheckError, cuts, guides, limits, rings, shape};
use crate::model::Guide;

/// Faults of a surface. The first that differs decides which of two is the better one.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord)]
pub struct Faults {
    /// Folded quads, and pairs of triangles that pass through each other.
    pub folded: usize,
    /// Closed guides along which no cycle of edges runs, or not one with the promised count.
    pub missing: usize,
    /// Quads more squeezed than the check lets pass.
    pub squeezed: usize,
    /// Guides that edges follow from further off, or at a greater angle, than the check lets pass.
    pub astray: usize,
}

impl Faults {
    /// Worse than any surface has.
    pub const WORST: Self = Self {
        folded: usize::MAX,
        missing: usize::MAX,
        squeezed: usize::MAX,
        astray: usize::MAX,
    };
}

/// Counts the faults of a surface against the guides as drawn.
///
/// # Errors
/// [`CheckError`] for an empty or damaged surface, or a guide that is no curve.
pub fn faults(surface: &QuadMesh, drawn: &[Guide]) -> Result<Faults, CheckError> {
    let surface = Surface::new(surface)?;
    let jacobians = shape::shapes(&surface).jacobians;
    let (mut missing, mut astray) = (0, 0);
    for guide in drawn {
        let track = Track::new(guide, surface.mean_edge)?;
        let kept =
            |cycle: rings::Cycle| guide.count.is_none_or(|n| n as usize == cycle.edges.len());
        if track.is_cycle() && !rings::find(&track, &surface).is_some_and(kept) {
            missing += 1;
        }
        let along = guides::follow(&track, &surface);
        if along.distance_p95 > limits::GUIDE_DISTANCE
            || along.angle_p95_deg > limits::GUIDE_ANGLE_DEG
        {
            astray += 1;
        }
    }
    Ok(Faults {
        folded: jacobians.iter().filter(|&&j| j <= 0.0).count() + cuts::pairs(&surface).len(),
        missing,
        squeezed: jacobians.iter().filter(|&&j| j <= limits::JACOBIAN).count(),
        astray,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::testing::made;

    /// Faults are those that the check finds: none on a sound surface, and what is done to it after.
    #[test]
    fn faults_are_counted_and_come_in_order() {
        let made = made("counts agree");
        let (surface, guides) = (&made.whole.mesh, &made.case.guides);
        assert_eq!(faults(surface, guides).unwrap(), Faults::default());
        let mut asked = guides.clone();
        asked[0].count = Some(13);
        let missing = faults(surface, &asked).unwrap();
        assert_eq!((missing.folded, missing.missing), (0, 1));
        // One vertex pulled far through the wall folds quads and cuts others.
        let mut torn = surface.clone();
        torn.positions[0] = -3.0 * torn.positions[0];
        let worse = faults(&torn, guides).unwrap();
        assert!(worse.folded > 0);
        assert!(Faults::default() < missing && missing < worse);
    }
}
