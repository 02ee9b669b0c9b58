//! How wide patches are between their sides, not only along them: a sleeve that is gathered at both
//! ends is wider than either.

use mesh::DVec3;
use rayon::prelude::*;

use super::flat::{Flat, corner_uv};
use super::{Arc, Patch, Spacing, directed};
use crate::field::Field;
use crate::model::WorkSurface;

/// Nearest that a pole may lie to a side of the plane shape, as a share of its inner radius.
const INSIDE: f64 = 0.25;

/// What the surface is worth along one family of strips: those that run beside a side.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Width {
    /// Mean way across all strips of the family, model units times density: so many quads' edges.
    pub across: f64,
    /// Area over `across`: the mean way along a strip, in the same units.
    pub along: f64,
}

/// For each patch the widths of its families of strips, `None` where a patch can't be laid flat.
///
/// There is one for each side. In a patch of four sides family i is what leaves side i, as far as the
/// middle; in a patch around a pole it lies across the spoke from side i to the pole.
///
/// With u from 0 to 1 across a family as the patch is laid flat, n quads are 1 / (n |∇u|) long;
/// the mean is that of its logarithm over the area, so that the best n leaves as much too long as
/// too short.
pub(super) fn widths(
    surface: &WorkSurface,
    field: &Field,
    spacing: &Spacing,
    arcs: &[Arc],
    patches: &[Patch],
) -> Vec<Option<Vec<Width>>> {
    let steps = |arc: usize| (arcs[arc].length * arcs[arc].density).max(f64::MIN_POSITIVE);
    let of = |patch: &Patch| {
        let flat = Flat::new(surface, field, spacing, arcs, patch, &steps).ok()?;
        let blocks = Blocks::of(patch, &flat);
        let mut sums = vec![Sum::default(); patch.sides.len()];
        for (corners, uv) in flat.vertices.iter().zip(&flat.uv) {
            let p = corners.map(|v| surface.positions[v as usize]);
            for (family, share) in blocks.shares(*uv) {
                let density = |along: DVec3| {
                    let of = |&v: &u32| {
                        directed(
                            spacing.density[v as usize],
                            spacing.across[v as usize],
                            along,
                        )
                    };
                    corners.iter().map(of).sum::<f64>() / 3.0
                };
                sums[family].add(p, share, density);
            }
        }
        sums.into_iter().map(Sum::width).collect()
    };
    patches.par_iter().map(of).collect()
}

/// A mean over a patch's triangles.
#[derive(Clone, Copy, Default)]
struct Sum {
    logs: f64,
    area: f64,
    quads: f64,
}

impl Sum {
    /// One triangle, on whose corners a linear function has these values.
    fn add(&mut self, p: [DVec3; 3], values: [f64; 3], density: impl Fn(DVec3) -> f64) {
        let across = (p[1] - p[0]).cross(p[2] - p[0]);
        let double = across.length();
        if double <= 0.0 {
            return;
        }
        // The gradient: each value times the opposite edge turned.
        let slope: DVec3 = (0..3)
            .map(|i| across.cross(p[(i + 2) % 3] - p[(i + 1) % 3]) * values[i])
            .sum::<DVec3>()
            / (double * double);
        let steep = slope.length();
        if steep <= 0.0 {
            return;
        }
        let along = slope / steep;
        let here = density(along);
        self.logs += double * (here / steep).ln();
        self.area += double;
        self.quads += double / 2.0 * here * density(across.cross(along) / double);
    }

    fn width(self) -> Option<Width> {
        let across = (self.logs / self.area).exp();
        (self.area > 0.0 && across.is_finite() && across > 0.0).then(|| Width {
            across,
            along: self.quads / across,
        })
    }
}

/// A patch's plane shape in blocks of four sides: itself, or one at each corner, round the pole.
struct Blocks {
    corners: Vec<[f64; 2]>,
    /// The pole, and the foot of its spoke on each side.
    pole: [f64; 2],
    feet: Vec<[f64; 2]>,
}

impl Blocks {
    fn of(patch: &Patch, flat: &Flat) -> Self {
        let n = patch.sides.len();
        let corners = corner_uv(n);
        if n == 4 {
            return Self {
                corners,
                pole: [0.0; 2],
                feet: Vec::new(),
            };
        }
        let singular = |s: &crate::field::Singularity| {
            let i = patch.triangles.binary_search(&s.triangle).ok()?;
            let uv = flat.uv[i];
            Some(middle(uv))
        };
        let mut pole = patch
            .singularities
            .first()
            .and_then(singular)
            .unwrap_or([0.0; 2]);
        // Drawn towards the middle until it is well inside.
        let inner = (std::f64::consts::PI / n as f64).cos();
        let off = |p: [f64; 2]| {
            (0..n)
                .map(|i| {
                    let [a, b] = [corners[i], corners[(i + 1) % n]];
                    let (along, to) = (sub(b, a), sub(p, a));
                    cross(along, to) / dot(along, along).sqrt() / inner
                })
                .fold(f64::INFINITY, f64::min)
        };
        let least = off(pole);
        if least < INSIDE {
            // The middle is 1 away from each side, and the way there is straight.
            let keep = (1.0 - INSIDE) / (1.0 - least);
            pole = pole.map(|x| x * keep);
        }
        let feet = (0..n)
            .map(|i| {
                let [a, b] = [corners[i], corners[(i + 1) % n]];
                let along = sub(b, a);
                let share = dot(sub(pole, a), along) / dot(along, along);
                let share = share.clamp(INSIDE, 1.0 - INSIDE);
                [0, 1].map(|k| a[k] + share * along[k])
            })
            .collect();
        Self {
            corners,
            pole,
            feet,
        }
    }

    /// The families that a triangle belongs to, with how far across them its corners lie.
    fn shares(&self, uv: [[f64; 2]; 3]) -> [(usize, [f64; 3]); 2] {
        let n = self.corners.len();
        let middle = middle(uv);
        if self.feet.is_empty() {
            let [u, v] = middle;
            return [
                (if v < 0.5 { 0 } else { 2 }, uv.map(|c| c[0])),
                (if u > 0.5 { 1 } else { 3 }, uv.map(|c| c[1])),
            ];
        }
        // The spokes before and after it.
        let to = sub(middle, self.pole);
        let ahead = |i: usize| cross(sub(self.feet[i], self.pole), to) >= 0.0;
        let block = (0..n)
            .find(|&i| ahead((i + n - 1) % n) && !ahead(i))
            .unwrap_or(0);
        let before = (block + n - 1) % n;
        let at = uv.map(|c| {
            within(
                [
                    self.corners[block],
                    self.feet[block],
                    self.pole,
                    self.feet[before],
                ],
                c,
            )
        });
        [(before, at.map(|c| c[0])), (block, at.map(|c| c[1]))]
    }
}

/// Bilinear coordinates of a point in a convex block, by Newton's method.
fn within([o, a, b, c]: [[f64; 2]; 4], p: [f64; 2]) -> [f64; 2] {
    let (u, v) = (sub(a, o), sub(c, o));
    let w = sub(sub(b, a), v);
    let [mut s, mut t] = [0.5, 0.5];
    for _ in 0..8 {
        let off = [0, 1].map(|k| o[k] + s * u[k] + t * v[k] + s * t * w[k] - p[k]);
        let (ds, dt) = (
            [0, 1].map(|k| u[k] + t * w[k]),
            [0, 1].map(|k| v[k] + s * w[k]),
        );
        let det = cross(ds, dt);
        if det.abs() < 1e-12 {
            break;
        }
        s -= cross(off, dt) / det;
        t -= cross(ds, off) / det;
    }
    [s, t]
}

/// The middle of a triangle in the plane.
fn middle(uv: [[f64; 2]; 3]) -> [f64; 2] {
    [0, 1].map(|a| (uv[0][a] + uv[1][a] + uv[2][a]) / 3.0)
}

fn sub(a: [f64; 2], b: [f64; 2]) -> [f64; 2] {
    [a[0] - b[0], a[1] - b[1]]
}

fn dot(a: [f64; 2], b: [f64; 2]) -> f64 {
    a[0] * b[0] + a[1] * b[1]
}

fn cross(a: [f64; 2], b: [f64; 2]) -> f64 {
    a[0] * b[1] - a[1] * b[0]
}

#[cfg(test)]
mod tests {
    use std::f64::consts::{PI, TAU};

    use crate::layout::ArcSource;
    use crate::symmetry::PlaneChoice;
    use crate::symmetry::fixtures::{grid, on_tube, sculpt_of};
    use crate::testing::{Case, all_made};

    /// A triangle lies in one family each way, so all families together are worth the area twice, but
    /// for triangles in corners, which are flat one way.
    #[test]
    fn families_of_strips_cover_a_surface_twice() {
        for made in all_made() {
            let surface = &made.laid.surface;
            let area: f64 = surface
                .triangles
                .iter()
                .map(|t| {
                    let [a, b, c] = t.map(|v| surface.positions[v as usize]);
                    (b - a).cross(c - a).length() / 2.0
                })
                .sum();
            let all = made.laid.layout.widths.iter().flatten().flatten();
            let covered: f64 = all.map(|w| w.across * w.along).sum();
            assert!(
                (covered / (2.0 * area) - 1.0).abs() < 1e-3,
                "{}: {covered} {area}",
                made.case.name
            );
        }
    }

    /// A barrel of radius r at height y, whose strips from end to end are as wide around as 2 π times
    /// the mean of r: that of its logarithm over the area of a surface of revolution, for which
    /// handbooks have 2 π ∫ r √(1 + r'²) dy. Along its ends it measures 2 π alone.
    #[test]
    fn a_barrel_is_as_wide_as_the_mean_of_its_radius() {
        let radius = |y: f64| 1.0 + 0.8 * (PI * y / 4.0).sin();
        let case = Case {
            name: "barrel",
            sculpt: sculpt_of(grid(160, 120, [true, false], |u, v| {
                on_tube(radius(4.0 * v), u, 4.0 * v)
            })),
            guides: vec![],
            plane: PlaneChoice::None,
            edge: 0.5,
            faces: None,
        };
        let layout = case.laid().unwrap().layout;
        let around: f64 = layout
            .patches
            .iter()
            .zip(&layout.widths)
            .flat_map(|(patch, widths)| patch.sides.iter().zip(widths.as_ref().unwrap()))
            .filter(|(side, _)| {
                let on_opening =
                    |arc: usize| matches!(layout.arcs[arc].source, ArcSource::Chain(_));
                side.iter().all(|used| on_opening(used.arc))
            })
            .map(|(_, width)| width.across)
            .sum();
        let (mut logs, mut area) = (0.0, 0.0);
        for i in 0..1000 {
            let y = (f64::from(i) + 0.5) * 4.0 / 1000.0;
            let slope = 0.8 * PI / 4.0 * (PI * y / 4.0).cos();
            let ring = radius(y) * (1.0 + slope * slope).sqrt();
            logs += ring * radius(y).ln();
            area += ring;
        }
        // Both ends count a half each.
        let wanted = 2.0 * TAU * (logs / area).exp();
        assert!((around / wanted - 1.0).abs() < 0.03, "{around} {wanted}");
        assert!(around > 1.3 * 2.0 * TAU);
    }
}
