//! Extraction of small shapes.

use mesh::TriTopology;

use super::*;
use crate::noise::Noise;
use crate::sdf::ellipsoid;
use crate::wall::from_quads;

/// A ball full of holes at the scale of the cells: many ambiguous faces.
struct Sponge(Noise);

impl Shape for Sponge {
    fn distance(&self, p: DVec3) -> f64 {
        let holes = 1.2 * self.0.gradient(p / 1.9);
        holes.max(p.length() - 9.0)
    }
}

struct Egg;

impl Shape for Egg {
    fn distance(&self, p: DVec3) -> f64 {
        ellipsoid(p, DVec3::ZERO, DVec3::new(6.0, 4.0, 5.0))
    }
}

fn topology(soup: &QuadSoup) -> TriTopology {
    let triangles: Vec<[u32; 3]> = soup
        .quads
        .iter()
        .flat_map(|&[a, b, c, d]| [[a, b, c], [a, c, d]])
        .collect();
    TriTopology::new(soup.positions.len(), &triangles).unwrap()
}

#[test]
fn a_sponge_comes_out_closed_and_manifold() {
    for seed in 0..6 {
        let soup = extract(
            &Sponge(Noise::new(seed, 0)),
            DVec3::splat(-10.3),
            DVec3::splat(10.3),
            1.0,
            &Task::default(),
        )
        .unwrap();
        let topology = topology(&soup);
        assert!(soup.quads.len() > 1000);
        assert!((0..topology.edge_count() as u32).all(|e| !topology.is_boundary_edge(e)));
    }
}

#[test]
fn an_egg_comes_out_as_a_sphere_facing_outwards() {
    let soup = extract(
        &Egg,
        DVec3::splat(-8.1),
        DVec3::splat(8.3),
        0.5,
        &Task::default(),
    )
    .unwrap();
    assert_eq!(topology(&soup).euler_characteristic(), 2);
    // Vertices are means of crossings, a little within; projected they enclose the exact volume
    // but for the faces' flatness.
    let wall = from_quads(soup, &Egg, 0.5, 2);
    let at = |v: u32| wall.positions[v as usize];
    let volume: f64 = wall
        .triangles
        .iter()
        .map(|t| at(t[0]).dot(at(t[1]).cross(at(t[2]))) / 6.0)
        .sum();
    let exact = 4.0 / 3.0 * std::f64::consts::PI * 6.0 * 4.0 * 5.0;
    assert!((volume / exact - 1.0).abs() < 0.01, "{volume} of {exact}");
    assert!(wall.positions.iter().all(|p| Egg.distance(*p).abs() < 1e-3));
}
