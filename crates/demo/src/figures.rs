//! Test sculpts with exact vertices, for tests of the engine.

use std::f64::consts::TAU;

use mesh::{DVec3, TriMesh};

/// A test sculpt: a sphere of radius 10 about the origin, an icosahedron split to about
/// `triangles` (at least 20, at most 20 million); every vertex exactly on it but for rounding.
pub fn sphere(triangles: usize) -> TriMesh {
    let per_edge = ((triangles as f64 / 20.0).sqrt().round() as usize).clamp(1, 1000);
    let golden = (1.0 + 5f64.sqrt()) / 2.0;
    let mut corners = Vec::new();
    for (s, t) in [(1.0, 1.0), (1.0, -1.0), (-1.0, 1.0), (-1.0, -1.0)] {
        corners.extend([
            DVec3::new(0.0, s, t * golden),
            DVec3::new(s, t * golden, 0.0),
            DVec3::new(t * golden, 0.0, s),
        ]);
    }
    let near = |a: usize, b: usize| (corners[a].distance(corners[b]) - 2.0).abs() < 1e-6;
    let mut points = Vec::new();
    let mut faces = Vec::new();
    for a in 0..12 {
        for b in a + 1..12 {
            for c in b + 1..12 {
                if near(a, b) && near(b, c) && near(c, a) {
                    let outward = corners[a].dot(corners[b].cross(corners[c])) > 0.0;
                    let [b, c] = if outward { [b, c] } else { [c, b] };
                    split_face(
                        [corners[a], corners[b], corners[c]],
                        per_edge,
                        &mut points,
                        &mut faces,
                    );
                }
            }
        }
    }
    weld(&points, &faces)
}

/// Splits a face evenly and puts its points onto the sphere of radius 10.
fn split_face([a, b, c]: [DVec3; 3], n: usize, points: &mut Vec<DVec3>, faces: &mut Vec<[u32; 3]>) {
    let first = points.len() as u32;
    let at = |i: usize, j: usize| first + (i * (i + 1) / 2 + j) as u32;
    for i in 0..=n {
        for j in 0..=i {
            let (u, v, w) = ((n - i) as f64, (i - j) as f64, j as f64);
            points.push(10.0 * (a * u + b * v + c * w).normalize());
        }
    }
    for i in 0..n {
        for j in 0..=i {
            faces.push([at(i, j), at(i + 1, j), at(i + 1, j + 1)]);
            if j < i {
                faces.push([at(i, j), at(i + 1, j + 1), at(i, j + 1)]);
            }
        }
    }
}

/// Joins points that are equal to a millionth.
fn weld(points: &[DVec3], faces: &[[u32; 3]]) -> TriMesh {
    let key = |p: &DVec3| [p.x, p.y, p.z].map(|c| (c * 1e6).round() as i64);
    let mut order: Vec<u32> = (0..points.len() as u32).collect();
    order.sort_by_key(|i| (key(&points[*i as usize]), *i));
    let mut new = vec![0u32; points.len()];
    let mut mesh = TriMesh::default();
    for run in order.chunk_by(|a, b| key(&points[*a as usize]) == key(&points[*b as usize])) {
        for i in run {
            new[*i as usize] = mesh.positions.len() as u32;
        }
        mesh.positions.push(points[run[0] as usize].as_vec3());
    }
    mesh.triangles = faces.iter().map(|f| f.map(|v| new[v as usize])).collect();
    mesh
}

/// A test sculpt: a torus about the y axis, of radius 10 to the middle of a tube of radius
/// 4, with about `triangles` triangles; every vertex exactly on it but for rounding.
pub fn torus(triangles: usize) -> TriMesh {
    let around = ((triangles as f64 / 2.0 * 0.4).sqrt().round() as usize).clamp(3, 3000);
    let along = (triangles / 2 / around).clamp(3, 10_000);
    grid(along, around, true, |u, v| {
        let (u, v) = (u * TAU, v * TAU);
        let out = DVec3::new(u.sin(), 0.0, u.cos());
        10.0 * out + 4.0 * (v.cos() * out - v.sin() * DVec3::Y)
    })
}

/// A test sculpt: an open tube of radius 4 along a quarter turn of radius 14 between two
/// straight pieces of length 16, with about `triangles` triangles; every vertex exactly on it
/// but for rounding. It starts upwards from (0, 0, 0) and ends along +x.
pub fn bent_tube(triangles: usize) -> TriMesh {
    const STRAIGHT: f64 = 16.0;
    const BEND: f64 = 14.0;
    const RADIUS: f64 = 4.0;
    let total = 2.0 * STRAIGHT + BEND * TAU / 4.0;
    let share = RADIUS * TAU / total;
    let around = ((triangles as f64 / 2.0 * share).sqrt().round() as usize).clamp(3, 3000);
    let along = (triangles / 2 / around).clamp(2, 20_000);
    grid(along, around, false, |u, v| {
        let s = u * total;
        let angle = ((s - STRAIGHT) / BEND).clamp(0.0, TAU / 4.0);
        let tangent = DVec3::new(angle.sin(), angle.cos(), 0.0);
        let out = DVec3::new(-angle.cos(), angle.sin(), 0.0);
        let straight =
            s.min(STRAIGHT) * DVec3::Y + (s - STRAIGHT - BEND * angle).max(0.0) * tangent;
        let middle = straight + BEND * (DVec3::X + out);
        let v = v * TAU;
        middle + RADIUS * (v.cos() * out + v.sin() * DVec3::Z)
    })
}

/// Height of [`panel`] above (x, z).
pub fn panel_height(x: f64, z: f64) -> f64 {
    3.0 * (TAU * x / 80.0).cos() * (TAU * z / 80.0).cos()
}

/// A test sculpt: a panel of oilcloth with four corners, 20 by 20 seen from above and slightly
/// domed, with about `triangles` triangles; every vertex exactly on it but for rounding. It faces
/// up, its middle above (0, 0, 0).
pub fn panel(triangles: usize) -> TriMesh {
    let side = ((triangles as f64 / 2.0).sqrt().round() as usize).clamp(1, 3000);
    let at = |i: usize| 20.0 * i as f64 / side as f64 - 10.0;
    let id = |i: usize, j: usize| (i * (side + 1) + j) as u32;
    let squares = (0..side).flat_map(|i| (0..side).map(move |j| (i, j)));
    TriMesh {
        positions: (0..=side)
            .flat_map(|i| (0..=side).map(move |j| (at(i), at(j))))
            .map(|(x, z)| DVec3::new(x, panel_height(x, z), z).as_vec3())
            .collect(),
        triangles: squares
            .flat_map(|(i, j)| {
                let [a, b, c, d] = [id(i, j), id(i, j + 1), id(i + 1, j + 1), id(i + 1, j)];
                [[a, b, c], [a, c, d]]
            })
            .collect(),
    }
}

/// A grid over (u, v), closed in v and, if asked, in u; normals along ∂v × ∂u.
fn grid(along: usize, around: usize, closed: bool, at: impl Fn(f64, f64) -> DVec3) -> TriMesh {
    let rows = if closed { along } else { along + 1 };
    let positions = (0..rows)
        .flat_map(|i| (0..around).map(move |j| (i, j)))
        .map(|(i, j)| at(i as f64 / along as f64, j as f64 / around as f64).as_vec3())
        .collect();
    let id = |i: usize, j: usize| ((i % rows) * around + j % around) as u32;
    let triangles = (0..along)
        .flat_map(|i| (0..around).map(move |j| (i, j)))
        .flat_map(|(i, j)| {
            let [a, b, c, d] = [id(i, j), id(i, j + 1), id(i + 1, j + 1), id(i + 1, j)];
            [[a, b, c], [a, c, d]]
        })
        .collect();
    TriMesh {
        positions,
        triangles,
    }
}

#[cfg(test)]
mod tests {
    use mesh::TriTopology;

    use super::*;

    fn volume(mesh: &TriMesh) -> f64 {
        (0..mesh.triangles.len())
            .map(|t| {
                let [a, b, c] = mesh.corners(t);
                a.dot(b.cross(c)) / 6.0
            })
            .sum()
    }

    #[test]
    fn the_sphere_is_closed_and_has_a_spheres_volume() {
        let mesh = sphere(20_000);
        let topology = TriTopology::new(mesh.positions.len(), &mesh.triangles).unwrap();
        assert_eq!(topology.euler_characteristic(), 2);
        let exact = 4.0 / 3.0 * std::f64::consts::PI * 1000.0;
        assert!((volume(&mesh) / exact - 1.0).abs() < 2e-3);
        assert!((mesh.triangles.len() as f64 / 20_000.0 - 1.0).abs() < 0.05);
    }

    #[test]
    fn the_torus_has_the_volume_by_pappus() {
        let mesh = torus(30_000);
        let topology = TriTopology::new(mesh.positions.len(), &mesh.triangles).unwrap();
        assert_eq!(topology.euler_characteristic(), 0);
        // Pappus' second theorem: area of the section times the way of its centre.
        let exact = std::f64::consts::PI * 16.0 * TAU * 10.0;
        assert!(
            (volume(&mesh) / exact - 1.0).abs() < 3e-3,
            "{}",
            volume(&mesh) / exact
        );
    }

    #[test]
    fn the_panel_is_a_disk_that_faces_up() {
        let mesh = panel(5_000);
        let topology = TriTopology::new(mesh.positions.len(), &mesh.triangles).unwrap();
        assert_eq!(topology.euler_characteristic(), 1);
        assert_eq!(mesh.triangles.len(), 5_000);
        let shadow: f64 = (0..mesh.triangles.len())
            .map(|t| mesh.area_normal(t).y)
            .inspect(|y| assert!(*y > 0.0))
            .sum();
        // Seen from above its triangles add up to the square; the normals are twice as long.
        let area = mesh.area();
        assert!((shadow / 800.0 - 1.0).abs() < 1e-6);
        assert!(area > 400.0 && area < 440.0, "{area}");
    }

    #[test]
    fn the_tube_is_open_at_both_ends_and_faces_out() {
        let mesh = bent_tube(20_000);
        let topology = TriTopology::new(mesh.positions.len(), &mesh.triangles).unwrap();
        assert_eq!(topology.euler_characteristic(), 0);
        assert!((0..topology.edge_count() as u32).any(|e| topology.is_boundary_edge(e)));
        // Pappus' first theorem: circumference times the way of its centre.
        let exact = TAU * 4.0 * (32.0 + 14.0 * TAU / 4.0);
        assert!((mesh.area() / exact - 1.0).abs() < 2e-3);
        for t in 0..mesh.triangles.len() {
            let [a, b, c] = mesh.corners(t);
            let centre = (a + b + c) / 3.0;
            if centre.y < 15.0 && centre.x < 8.0 {
                let out = DVec3::new(centre.x, 0.0, centre.z);
                assert!(mesh.area_normal(t).dot(out) > 0.0);
                assert!((a.x.hypot(a.z) - 4.0).abs() < 1e-5);
            }
        }
    }
}
