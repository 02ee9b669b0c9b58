//! What an artist would send back at a glance, counted to choose between surfaces.

use mesh::QuadMesh;
use rayon::prelude::*;

use super::guides::Track;
use super::surface::Surface;
use super::{CheckError, cuts, fit, guides, limits, rings, shape};
use crate::model::{Guide, Sculpt};

/// Points on the sculpt for each quad.
const POINTS: usize = 10;
/// Edges from the surface beyond which a place of the sculpt is passed by.
const PASSED: f64 = 0.5;
/// How many squeezed quads a guide without its cycle is as bad as.
const MISSING: usize = 10;

/// Faults of a surface.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Faults {
    /// Folded quads, pairs of triangles that pass through each other, and inner vertices of two edges,
    /// whose two quads lie on one another.
    pub folded: usize,
    /// Closed guides along which no cycle of edges runs, or not one with the promised count.
    pub missing: usize,
    /// Quads more squeezed than the check lets pass.
    pub squeezed: usize,
    /// Guides that edges follow from further off, or at a greater angle, than the check lets pass, each
    /// counted as often as the limit goes into what is measured.
    pub astray: usize,
    /// Quads' worth of the sculpt that lies further off than half an edge: a lobe or a corner that rows
    /// pass by.
    pub passed: usize,
    /// Square distance of all of the sculpt, in that of a quad half an edge off. No fault by itself.
    pub away: usize,
}

impl Faults {
    /// Worse than any surface has.
    pub const WORST: Self = Self {
        folded: usize::MAX,
        missing: usize::MAX,
        squeezed: usize::MAX,
        astray: usize::MAX,
        passed: usize::MAX,
        away: usize::MAX,
    };

    /// How bad they are: the first that differs decides which of two surfaces is the better one. A squeezed
    /// quad, a guide astray and a quad's worth of the sculpt half an edge off are as bad as each other, a
    /// guide without its cycle as bad as ten of them: a whole fold passed by is worse.
    pub fn badness(&self) -> [usize; 2] {
        let missing = self.missing.saturating_mul(MISSING);
        let others = self.squeezed.saturating_add(self.astray);
        let others = others.saturating_add(self.away);
        [self.folded, missing.saturating_add(others)]
    }

    /// Whether nothing is wrong.
    pub fn none(&self) -> bool {
        let faults = [
            self.folded,
            self.missing,
            self.squeezed,
            self.astray,
            self.passed,
        ];
        faults.iter().all(|&count| count == 0)
    }
}

/// Counts the faults of a surface against the sculpt and the guides as drawn.
///
/// # Errors
/// [`CheckError`] for an empty or damaged surface, or a guide that is no curve.
pub fn faults(surface: &QuadMesh, sculpt: &Sculpt, drawn: &[Guide]) -> Result<Faults, CheckError> {
    let surface = Surface::new(surface)?;
    let jacobians = shape::shapes(&surface).jacobians;
    let of_guide = |guide: &Guide| -> Result<(usize, usize), CheckError> {
        let track = Track::new(guide, surface.mean_edge)?;
        let kept =
            |cycle: rings::Cycle| guide.count.is_none_or(|n| n as usize == cycle.edges.len());
        let missing = track.is_cycle() && !rings::find(&track, &surface).is_some_and(kept);
        let along = guides::follow(&track, &surface);
        let off = along.distance_p95 / limits::GUIDE_DISTANCE;
        let off = off.max(along.angle_p95_deg / limits::GUIDE_ANGLE_DEG);
        Ok((
            usize::from(missing),
            if off > 1.0 { off as usize } else { 0 },
        ))
    };
    let told: Vec<_> = drawn.par_iter().map(of_guide).collect();
    let (mut missing, mut astray) = (0, 0);
    for told in told {
        let (one, off) = told?;
        missing += one;
        astray += off;
    }
    let points = POINTS * surface.mesh.quads.len();
    let rows = fit::reverse(&fit::Cover::new(&surface), sculpt, points);
    let off = rows.iter().filter_map(|r| r.1);
    let off = off.map(|away| away / (PASSED * surface.mean_edge));
    let far = off.clone().filter(|&off| off > 1.0).count();
    let square: f64 = off.map(|off| off * off).sum();
    let topology = &surface.topology;
    let two_edged = (0..surface.mesh.positions.len())
        .filter(|&v| topology.valence[v] == 2 && !topology.on_boundary[v])
        .count();
    let folded = jacobians.iter().filter(|&&j| j <= 0.0).count();
    Ok(Faults {
        folded: folded + cuts::pairs(&surface).len() + two_edged,
        missing,
        squeezed: jacobians.iter().filter(|&&j| j <= limits::JACOBIAN).count(),
        astray,
        passed: far / POINTS,
        away: (square / POINTS as f64) as usize,
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
        let sculpt = &made.case.sculpt;
        assert!(faults(surface, sculpt, guides).unwrap().none());
        let mut asked = guides.clone();
        asked[0].count = Some(13);
        let missing = faults(surface, sculpt, &asked).unwrap();
        assert_eq!((missing.folded, missing.missing), (0, 1));
        // One vertex pulled far through the wall folds quads and cuts others.
        let mut torn = surface.clone();
        torn.positions[0] = -3.0 * torn.positions[0];
        let worse = faults(&torn, sculpt, guides).unwrap();
        assert!(worse.folded > 0);
        let bad = [Faults::default(), missing, worse, Faults::WORST].map(|f| f.badness());
        assert!(bad.is_sorted_by(|a, b| a < b), "{bad:?}");
        // The same surface with its top pressed down to one level: the sculpt above that is passed by.
        let mut flat = surface.clone();
        let middle = flat.positions.iter().map(|p| p.y).sum::<f64>() / flat.positions.len() as f64;
        let (low, high) = flat
            .positions
            .iter()
            .fold((f64::MAX, f64::MIN), |(l, h), p| (l.min(p.y), h.max(p.y)));
        for p in &mut flat.positions {
            if p.y > middle + 0.3 * (high - low) {
                p.y = middle + 0.3 * (high - low);
            }
        }
        let [flat, sound] = [&flat, surface].map(|s| faults(s, sculpt, guides).unwrap());
        assert!(flat.passed > 0 && flat.away > sound.away);
        // A quad parted into two along its diagonal, with a vertex of two edges on it.
        let mut parted = surface.clone();
        let [a, b, c, d] = parted.quads[0];
        let middle = parted.positions.len() as u32;
        let at = parted.positions[a as usize].lerp(parted.positions[c as usize], 0.5);
        parted.positions.push(at);
        parted.quads[0] = [a, b, c, middle];
        parted.quads.push([a, middle, c, d]);
        // Its two quads have straight corners, too, which aren't folded to the last bit.
        let bent = parted.positions[middle as usize].lerp(parted.positions[d as usize], 0.2);
        parted.positions[middle as usize] = bent;
        let with = faults(&parted, sculpt, guides).unwrap().folded;
        let of_quads = |m: &QuadMesh| {
            let surface = Surface::new(m).unwrap();
            let jacobians = shape::shapes(&surface).jacobians;
            jacobians.iter().filter(|&&j| j <= 0.0).count()
        };
        assert_eq!(with, of_quads(&parted) + 1);
    }
}
