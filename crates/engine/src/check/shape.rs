//! Evenness of edges and faces, and the shape of the quads.

use mesh::DVec3;

use super::measures::{ShapeMeasures, SizeMeasures};
use super::space::{angle_deg, mean, quantile};
use super::surface::Surface;

pub(super) fn sizes(surface: &Surface, target_faces: Option<u32>) -> SizeMeasures {
    let mut lengths = surface.lengths.clone();
    let [low, high] = [0.05, 0.95].map(|share| quantile(&mut lengths, share));
    let faces = surface.mesh.quads.len();
    let areas: Vec<f64> = (0..faces).map(|q| surface.area(q)).collect();
    let middle = mean(&areas);
    let squares: Vec<f64> = areas.iter().map(|a| (a - middle) * (a - middle)).collect();
    SizeMeasures {
        mean_edge: surface.mean_edge,
        edge_ratio_p95_p5: if low > 0.0 { high / low } else { f64::INFINITY },
        face_area_cv: if middle > 0.0 {
            mean(&squares).sqrt() / middle
        } else {
            0.0
        },
        face_count_error_pct: target_faces
            .filter(|&wanted| wanted > 0)
            .map(|wanted| 100.0 * (faces as f64 - f64::from(wanted)).abs() / f64::from(wanted)),
    }
}

/// The numbers, and each quad's least scaled Jacobian.
pub(super) struct Shapes {
    pub measures: ShapeMeasures,
    pub jacobians: Vec<f64>,
}

/// Of the scaled Jacobians at a quad's corners the least counts.
pub(super) fn shapes(surface: &Surface) -> Shapes {
    let quads: Vec<Quad> = (0..surface.mesh.quads.len())
        .map(|q| Quad::new(surface.corners(q)))
        .collect();
    let column = |f: fn(&Quad) -> f64| quads.iter().map(f).collect::<Vec<f64>>();
    let jacobians = column(|q| q.jacobian);
    let mut sorted = jacobians.clone();
    let mut angles: Vec<f64> = quads.iter().flat_map(|q| q.angle_devs_deg).collect();
    let measures = ShapeMeasures {
        scaled_jacobian_min: quantile(&mut sorted, 0.0),
        scaled_jacobian_p1: quantile(&mut sorted, 0.01),
        scaled_jacobian_mean: mean(&jacobians),
        angle_dev_mean_deg: mean(&angles),
        angle_dev_p95_deg: quantile(&mut angles, 0.95),
        warp_p95_deg: quantile(&mut column(|q| q.warp_deg), 0.95),
        aspect_p95: quantile(&mut column(|q| q.aspect), 0.95),
    };
    Shapes {
        measures,
        jacobians,
    }
}

struct Quad {
    jacobian: f64,
    angle_devs_deg: [f64; 4],
    warp_deg: f64,
    aspect: f64,
}

impl Quad {
    fn new(p: [DVec3; 4]) -> Self {
        let corners = [0, 1, 2, 3].map(|i| {
            let ahead = (p[(i + 1) % 4] - p[i]).normalize_or_zero();
            let back = (p[(i + 3) % 4] - p[i]).normalize_or_zero();
            (ahead.cross(back), ahead.dot(back))
        });
        let bend = |i: usize, j: usize| angle_deg(corners[i].0, corners[j].0);
        let width = (p[1] + p[2] - p[0] - p[3]).length();
        let height = (p[2] + p[3] - p[0] - p[1]).length();
        Self {
            jacobian: mesh::corner_jacobians(p)
                .into_iter()
                .fold(f64::INFINITY, f64::min),
            angle_devs_deg: corners
                .map(|c| (c.1.clamp(-1.0, 1.0).acos().to_degrees() - 90.0).abs()),
            warp_deg: bend(0, 2).max(bend(1, 3)),
            aspect: width.max(height) / width.min(height).max(f64::MIN_POSITIVE),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn quad(points: [[f64; 2]; 4]) -> Quad {
        Quad::new(points.map(|[x, y]| DVec3::new(x, y, 0.0)))
    }

    #[test]
    fn shapes_of_plane_quads_follow_the_formulas() {
        let oblong = quad([[0.0, 0.0], [3.0, 0.0], [3.0, 2.0], [0.0, 2.0]]);
        assert!((oblong.jacobian - 1.0).abs() < 1e-12 && (oblong.aspect - 1.5).abs() < 1e-12);
        // A rhombus of angle α has the scaled Jacobian sin α at every corner.
        let a = 50f64.to_radians();
        let rhombus = quad([
            [0.0, 0.0],
            [1.0, 0.0],
            [1.0 + a.cos(), a.sin()],
            [a.cos(), a.sin()],
        ]);
        assert!((rhombus.jacobian - a.sin()).abs() < 1e-12);
        assert!(
            rhombus
                .angle_devs_deg
                .iter()
                .all(|d| (d - 40.0).abs() < 1e-9)
        );
        let folded = quad([[0.0, 0.0], [1.0, 0.0], [0.2, 0.2], [0.0, 1.0]]);
        assert!(folded.jacobian < 0.0);
    }

    #[test]
    fn a_folded_quad_is_warped_by_its_fold() {
        // Two corners of a unit square lifted by h turn opposite corners' normals apart by
        // twice atan(√2·h), a dihedral angle (plane trigonometry).
        let h = 0.3f64;
        let [a, b, c, d] = [
            [0.0, 0.0, h],
            [1.0, 0.0, 0.0],
            [1.0, 1.0, h],
            [0.0, 1.0, 0.0],
        ]
        .map(DVec3::from_array);
        let expected = 2.0 * (2f64.sqrt() * h).atan().to_degrees();
        assert!((Quad::new([a, b, c, d]).warp_deg - expected).abs() < 1e-9);
    }
}
