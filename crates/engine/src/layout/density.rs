//! How dense quads are wanted at each vertex of the work surface: by curvature, by areas, beside
//! rings with loops.

use mesh::DVec3;

use super::{ArcSource, LayoutOptions};
use crate::field::Field;
use crate::intent::Aims;
use crate::model::WorkSurface;

/// Density at `adapt = 1` where the surface turns by a radian within a quad, over that of a
/// flat place.
const DENSEST: f64 = 2.0;
/// Rounds of averaging over neighbours, so that sizes change gradually: about three quads.
const ROUNDS: usize = 20;

/// How dense quads are wanted at each vertex of the work surface.
#[derive(Clone, Debug, PartialEq)]
pub struct Spacing {
    /// Quads along a quad edge's length; 1 where size is even.
    pub density: Vec<f64>,
    /// Along a unit vector t quads are 1 + (across · t)² times as dense.
    pub across: Vec<DVec3>,
    /// For each chain, how much denser quads are along each of its edges because it bends there.
    pub bends: Vec<Vec<f64>>,
}

/// Density along a unit vector, given the one without regard to direction.
pub(crate) fn directed(density: f64, across: DVec3, along: DVec3) -> f64 {
    density * (1.0 + across.dot(along).powi(2))
}

impl Spacing {
    /// Even quads.
    pub fn even(vertices: usize) -> Self {
        Self {
            density: vec![1.0; vertices],
            across: vec![DVec3::ZERO; vertices],
            bends: Vec::new(),
        }
    }

    /// How much denser quads are along each edge of a curve because it bends.
    pub(super) fn bends_of(&self, source: ArcSource, edges: usize) -> Vec<f64> {
        match source {
            ArcSource::Chain(c) => self.bends.get(c).cloned(),
            ArcSource::Laid(_) => None,
        }
        .unwrap_or_else(|| vec![1.0; edges])
    }

    /// Whether quads are wanted of one size all over.
    pub fn is_even(&self) -> bool {
        self.density.iter().all(|&d| d == 1.0) && self.across.iter().all(|&a| a == DVec3::ZERO)
    }

    /// Density along the edge between two vertices.
    pub fn along_edge(&self, positions: &[DVec3], a: u32, b: u32) -> f64 {
        let (a, b) = (a as usize, b as usize);
        let along = (positions[b] - positions[a]).normalize_or_zero();
        let of = |v: usize| directed(self.density[v], self.across[v], along);
        (of(a) + of(b)) / 2.0
    }

    /// Quad edges' lengths that a run of vertices is worth, at each of its vertices, from its first.
    pub fn along(&self, positions: &[DVec3], run: &[u32]) -> Vec<f64> {
        let mut sum = 0.0;
        let mut worth = vec![0.0];
        for w in run.windows(2) {
            let length = positions[w[0] as usize].distance(positions[w[1] as usize]);
            sum += length * self.along_edge(positions, w[0], w[1]);
            worth.push(sum);
        }
        worth
    }
}

/// The spacing that curvature and the artist's aims ask for.
///
/// With a budget the sizes that are not asked for outright are scaled so that the number of
/// faces stays; without, they stay as they are.
pub(super) fn spacing(
    surface: &WorkSurface,
    field: &Field,
    aims: &Aims,
    options: &LayoutOptions,
) -> Spacing {
    let count = surface.positions.len();
    let mut spacing = Spacing::even(count);
    let bent = by_curvature(surface, field, options.quad_edge, options.adapt);
    let free: Vec<f64> = (0..count).map(|v| bent[v] * aims.density[v]).collect();
    spacing.across = aims.across.clone();
    let mut areas = vec![0.0; count];
    for t in &surface.triangles {
        let [a, b, c] = t.map(|v| surface.positions[v as usize]);
        let area = (b - a).cross(c - a).length();
        t.iter().for_each(|&v| areas[v as usize] += area);
    }
    // Sizes, not densities, are mixed where an edge length that was asked for fades out.
    let mixed = |scale: f64, v: usize| {
        let (edge, share) = aims.edge[v];
        1.0 / ((1.0 - share) / (scale * free[v]) + share * edge / options.quad_edge)
    };
    let nothing = aims.edge.iter().all(|e| e.1 == 0.0)
        && aims.density.iter().all(|&d| d == 1.0)
        && aims.across.iter().all(|&a| a == DVec3::ZERO);
    let mut scale = 1.0;
    if !nothing && options.budget {
        // Faces go with the square of the density.
        let whole: f64 = areas.iter().sum();
        let faces = |scale: f64| -> f64 {
            let of = |v: usize| {
                areas[v] * mixed(scale, v).powi(2) * (1.0 + aims.across[v].length_squared())
            };
            (0..count).map(of).sum()
        };
        let (mut low, mut high): (f64, f64) = (0.2, 2.0);
        for _ in 0..40 {
            scale = (low * high).sqrt();
            if faces(scale) < whole {
                low = scale;
            } else {
                high = scale;
            }
        }
    }
    for v in 0..count {
        spacing.density[v] = mixed(scale, v);
    }
    spacing
}

/// Density that follows curvature, over the mean one: all 1 at `adapt = 0`. `quad_edge` in
/// model units.
///
/// Curvature is taken on the smoothed copy that the field lives on, hence at the scale of the
/// quads, as the greatest turn of the normal along an edge, by length.
fn by_curvature(surface: &WorkSurface, field: &Field, quad_edge: f64, adapt: f64) -> Vec<f64> {
    let count = surface.positions.len();
    let adapt = adapt.clamp(0.0, 1.0);
    if adapt == 0.0 {
        return vec![1.0; count];
    }
    let mut normals = vec![DVec3::ZERO; count];
    let mut areas = vec![0.0; count];
    for t in &surface.triangles {
        let [a, b, c] = t.map(|v| field.smooth[v as usize]);
        let normal = (b - a).cross(c - a);
        for &v in t {
            normals[v as usize] += normal;
            areas[v as usize] += normal.length();
        }
    }
    let normals: Vec<DVec3> = normals.iter().map(|n| n.normalize_or_zero()).collect();
    let around: Vec<Vec<u32>> = (0..count as u32)
        .map(|v| field.topology.neighbours(v).iter().map(|n| n.0).collect())
        .collect();
    let mut wanted: Vec<f64> = (0..count)
        .map(|v| {
            let turn = around[v]
                .iter()
                .map(|&w| {
                    let length = field.smooth[v]
                        .distance(field.smooth[w as usize])
                        .max(1e-12);
                    normals[v].angle_between(normals[w as usize]) / length
                })
                .filter(|turn| turn.is_finite())
                .fold(0.0, f64::max);
            1.0 + adapt * (DENSEST - 1.0) * (turn * quad_edge).min(1.0)
        })
        .collect();
    for _ in 0..ROUNDS {
        wanted = (0..count)
            .map(|v| {
                let mean = around[v].iter().map(|&w| wanted[w as usize]).sum::<f64>()
                    / around[v].len().max(1) as f64;
                if around[v].is_empty() {
                    wanted[v]
                } else {
                    (wanted[v] + mean) / 2.0
                }
            })
            .collect();
    }
    // Faces go with the square of the density, so this mean keeps their number.
    let (mut sum, mut whole) = (0.0, 0.0);
    for v in 0..count {
        sum += wanted[v] * wanted[v] * areas[v];
        whole += areas[v];
    }
    let mean = (sum / f64::max(whole, 1e-300)).sqrt().max(1e-12);
    wanted.iter().map(|w| w / mean).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_run_is_worth_the_integral_of_its_density() {
        let positions: Vec<DVec3> = (0..5).map(|i| DVec3::new(f64::from(i), 0.0, 0.0)).collect();
        let mut spacing = Spacing::even(5);
        assert!(spacing.is_even());
        spacing.density = vec![1.0, 1.0, 2.0, 3.0, 3.0];
        let worth = spacing.along(&positions, &[0, 1, 2, 3, 4]);
        // Trapezoidal rule by hand.
        assert_eq!(worth, [0.0, 1.0, 2.5, 5.0, 8.0]);
        // Across a ring twice as dense, along it as before.
        spacing.across = vec![DVec3::X; 5];
        assert_eq!(spacing.along(&positions, &[0, 1])[1], 2.0);
        spacing.across = vec![DVec3::Y; 5];
        assert_eq!(spacing.along(&positions, &[0, 1])[1], 1.0);
    }
}
