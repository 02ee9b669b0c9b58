//! How often a surface goes around a point: generalised winding numbers (Jacobson, Kavan &
//! Sorkine-Hornung 2013), with what is far away taken as one dipole (Barill, Dickson,
//! Schmidt, Levin & Jacobson 2018, its first term).

use std::f64::consts::PI;
use std::sync::Arc;

use super::SurfaceIndex;
use crate::DVec3;

/// A node counts as far beyond this many of its radii (2 in Barill et al.).
const FAR: f64 = 3.0;

/// A node of the tree seen from afar.
#[derive(Clone, Copy, Debug, Default)]
struct Dipole {
    /// Centre of its area.
    centre: DVec3,
    /// Sum of its triangles' areas along their normals.
    moment: DVec3,
    /// Sum of its triangles' areas.
    area: f64,
    /// Distance from the centre beyond which it is far, squared.
    far: f64,
}

/// Winding numbers about a surface: 1 inside of a closed surface that faces out, 0 outside;
/// about a surface with openings, above one half where most directions end inside of it.
///
/// ```
/// use std::sync::Arc;
/// use loopwright_mesh::{DVec3, SurfaceIndex, TriMesh, Vec3, Winding};
/// let mesh = TriMesh {
///     positions: vec![Vec3::ZERO, Vec3::X, Vec3::Y, Vec3::Z],
///     triangles: vec![[0, 2, 1], [0, 1, 3], [1, 2, 3], [2, 0, 3]],
/// };
/// let winding = Winding::new(Arc::new(SurfaceIndex::new(Arc::new(mesh))));
/// assert!((winding.number(DVec3::splat(0.1)) - 1.0).abs() < 1e-9);
/// assert!(winding.number(DVec3::splat(0.9)).abs() < 0.05);
/// ```
#[derive(Clone, Debug)]
pub struct Winding {
    index: Arc<SurfaceIndex>,
    dipoles: Vec<Dipole>,
}

impl Winding {
    /// Prepares a surface. Cost n.
    pub fn new(index: Arc<SurfaceIndex>) -> Self {
        let mut dipoles = vec![Dipole::default(); index.nodes.len()];
        // Children come after their node.
        for at in (0..index.nodes.len()).rev() {
            let node = &index.nodes[at];
            let mut sum = Dipole::default();
            let mut weighted = DVec3::ZERO;
            if node.count > 0 {
                for &t in index.leaf(node) {
                    let [a, b, c] = index.mesh.corners(t as usize);
                    let moment = (b - a).cross(c - a) / 2.0;
                    let area = moment.length();
                    sum.moment += moment;
                    sum.area += area;
                    weighted += area * (a + b + c) / 3.0;
                }
            } else {
                for child in [at + 1, at + node.link as usize] {
                    let part = dipoles[child];
                    sum.moment += part.moment;
                    sum.area += part.area;
                    weighted += part.area * part.centre;
                }
            }
            let (low, high) = (super::corner(node.low), super::corner(node.high));
            sum.centre = if sum.area > 0.0 {
                weighted / sum.area
            } else {
                (low + high) / 2.0
            };
            let radius = (high - sum.centre).max(sum.centre - low);
            sum.far = FAR * FAR * radius.length_squared();
            dipoles[at] = sum;
        }
        Self { index, dipoles }
    }

    /// The winding number about a point, within a few hundredths. On the surface itself it is
    /// anything between those of both sides.
    pub fn number(&self, p: DVec3) -> f64 {
        let mut sum = 0.0;
        let mut stack = Vec::with_capacity(64);
        if !self.dipoles.is_empty() {
            stack.push(0);
        }
        while let Some(at) = stack.pop() {
            let (node, dipole) = (&self.index.nodes[at], &self.dipoles[at]);
            let to = dipole.centre - p;
            let squared = to.length_squared();
            if squared > dipole.far {
                sum += dipole.moment.dot(to) / (squared * squared.sqrt()) / (4.0 * PI);
            } else if node.count > 0 {
                for &t in self.index.leaf(node) {
                    sum += solid_angle(self.index.mesh.corners(t as usize), p) / (4.0 * PI);
                }
            } else {
                stack.extend([at + node.link as usize, at + 1]);
            }
        }
        sum
    }
}

/// Solid angle of a triangle seen from `p`, above 0 from behind (Van Oosterom & Strackee 1983).
fn solid_angle(corners: [DVec3; 3], p: DVec3) -> f64 {
    let [a, b, c] = corners.map(|q| q - p);
    let (la, lb, lc) = (a.length(), b.length(), c.length());
    let volume = a.dot(b.cross(c));
    let below = la * lb * lc + a.dot(b) * lc + b.dot(c) * la + c.dot(a) * lb;
    2.0 * volume.atan2(below)
}
