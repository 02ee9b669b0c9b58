//! Quads that pass through each other, or are folded, in the inner corners of a sculpt.
//!
//! There the nearest point of the sculpt may lie on the wrong wall, whatever way it faces. So the
//! vertices of such quads leave the sculpt: they go to where their neighbours are on average, which
//! spans the corner as a soap film would (the discrete membrane; from memory, Botsch et al.,
//! "Polygon Mesh Processing", 2010, chapter 4), in a region that grows until the quads are apart. Then they go back
//! to the sculpt as far as that leaves them so.

use std::sync::Arc;

use mesh::{DVec3, QuadMesh, SurfaceIndex, TriMesh, pass_through, split_quad};
use rayon::prelude::*;

use super::rails::Seat;
use super::shape::jacobian_of;
use super::{Scene, normal_at, onto_surface};

/// Rounds of parting; the region grows by a ring of neighbours after each [`GROW`] of them.
const ROUNDS: usize = 16;
const GROW: usize = 4;
/// Rounds in which walls of cloth are moved outward, and how far in each, in quads.
const OUTWARD: (usize, f64) = (8, 0.04);
/// Sweeps of averaging in a round.
const SWEEPS: usize = 4;
/// A quad below this scaled Jacobian is as bad as one that passes through another.
const FOLDED: f64 = 0.3;
/// Rounds of going back to the sculpt.
const BACK: usize = 6;

/// Parts quads that pass through each other; gives how many vertices were moved.
pub(super) fn uncross(mesh: &mut QuadMesh, scene: &Scene) -> usize {
    let before = mesh.positions.clone();
    let mut bad = bad_quads(mesh, scene);
    let mut best = (bad.len(), before.clone());
    if !bad.is_empty() {
        part_walls(mesh, scene, &bad, &mut best);
        mesh.positions.clone_from(&best.1);
        bad = bad_quads(mesh, scene);
    }
    for round in 0..ROUNDS {
        if bad.is_empty() {
            break;
        }
        let region = region_of(mesh, scene, &bad, round / GROW);
        for _ in 0..SWEEPS {
            for &v in &region {
                let v = v as usize;
                let around = &scene.around[v];
                let sum: DVec3 = around.iter().map(|&n| mesh.positions[n as usize]).sum();
                let mean = sum / around.len() as f64;
                if scene.is_apart(mean) {
                    mesh.positions[v] = mean;
                }
            }
        }
        bad = bad_quads(mesh, scene);
        if bad.len() < best.0 {
            best = (bad.len(), mesh.positions.clone());
        }
    }
    mesh.positions = best.1;
    back_to_sculpt(mesh, scene, &before, best.0);
    let moved = mesh.positions.iter().zip(&before).filter(|(a, b)| a != b);
    moved.count()
}

/// Moves both walls of thin cloth outward where quads pass through each other: across a sharp bend the
/// chords of the outer wall run within the inner one's, and no film would part them. Keeps the places
/// at which fewest quads are bad.
fn part_walls(mesh: &mut QuadMesh, scene: &Scene, bad: &[u32], best: &mut (usize, Vec<DVec3>)) {
    let mut bad = bad.to_vec();
    for _ in 0..OUTWARD.0 {
        let region = region_of(mesh, scene, &bad, 0);
        let outward: Vec<DVec3> = region
            .iter()
            .map(|&v| OUTWARD.1 * scene.edge * normal_at(mesh, scene, v as usize))
            .collect();
        for (&v, step) in region.iter().zip(outward) {
            let to = mesh.positions[v as usize] + step;
            if scene.is_apart(to) {
                mesh.positions[v as usize] = to;
            }
        }
        bad = bad_quads(mesh, scene);
        if bad.len() < best.0 {
            *best = (bad.len(), mesh.positions.clone());
        }
        if bad.is_empty() {
            break;
        }
    }
}

/// Takes vertices that were moved back to the sculpt, where the quads there don't get bad again.
fn back_to_sculpt(mesh: &mut QuadMesh, scene: &Scene, before: &[DVec3], left: usize) {
    let film = mesh.positions.clone();
    let mut moved: Vec<usize> = (0..film.len()).filter(|&v| film[v] != before[v]).collect();
    for share in [1.0, 0.5] {
        let mut trying = moved.clone();
        for &v in &trying {
            let normal = normal_at(mesh, scene, v);
            if let Some(foot) = onto_surface(scene, film[v], normal, None) {
                let goal = film[v].lerp(foot.point, share);
                if scene.is_apart(goal) {
                    mesh.positions[v] = goal;
                }
            }
        }
        for _ in 0..BACK {
            let bad = bad_quads(mesh, scene);
            if bad.len() <= left {
                break;
            }
            for v in bad.iter().flat_map(|&q| mesh.quads[q as usize]) {
                mesh.positions[v as usize] = film[v as usize];
            }
        }
        if bad_quads(mesh, scene).len() > left {
            mesh.positions.clone_from(&film);
        }
        trying.retain(|&v| mesh.positions[v] == film[v]);
        moved = trying;
    }
}

/// Free vertices of these quads and of `rings` rings of neighbours around them, rising.
fn region_of(mesh: &QuadMesh, scene: &Scene, quads: &[u32], rings: usize) -> Vec<u32> {
    let mut region: Vec<u32> = quads.iter().flat_map(|&q| mesh.quads[q as usize]).collect();
    for _ in 0..rings {
        let ring: Vec<u32> = region
            .iter()
            .flat_map(|&v| scene.around[v as usize].iter().copied())
            .collect();
        region.extend(ring);
        region.sort_unstable();
        region.dedup();
    }
    region.sort_unstable();
    region.dedup();
    let free =
        |v: &u32| scene.seats[*v as usize] == Seat::Free && !scene.around[*v as usize].is_empty();
    region.retain(free);
    region
}

/// Quads that are folded, or pass through another one or its mirror image; rising.
fn bad_quads(mesh: &QuadMesh, scene: &Scene) -> Vec<u32> {
    worse_quads(mesh, scene, FOLDED)
}

/// Quads below a scaled Jacobian, or that pass through another one or its mirror image; rising.
pub(super) fn worse_quads(mesh: &QuadMesh, scene: &Scene, least: f64) -> Vec<u32> {
    let corners_of = |split: &[[u32; 3]]| -> Vec<[DVec3; 3]> {
        let at = |t: &[u32; 3]| t.map(|v| mesh.positions[v as usize]);
        split.iter().map(at).collect()
    };
    let mut split: Vec<[u32; 3]> = mesh
        .quads
        .iter()
        .flat_map(|&q| split_quad(&mesh.positions, q))
        .collect();
    let own = split.len();
    let mut corners = corners_of(&split);
    if let Some(plane) = scene.plane {
        // The image of what lies near the plane, all of its vertices but those on it its own.
        let count = mesh.positions.len() as u32;
        let on = |v: u32| plane.height(mesh.positions[v as usize]).abs() < 1e-9 * scene.edge;
        for t in 0..own {
            let low = corners[t].map(|p| plane.height(p)).into_iter();
            if low.fold(f64::INFINITY, f64::min) < scene.edge {
                let [a, b, c] = split[t].map(|v| if on(v) { v } else { v + count });
                split.push([a, c, b]);
                let [a, b, c] = corners[t].map(|p| plane.mirror(p));
                corners.push([a, c, b]);
            }
        }
    }
    let soup = TriMesh {
        positions: corners.iter().flatten().map(|p| p.as_vec3()).collect(),
        triangles: (0..corners.len() as u32)
            .map(|t| [3 * t, 3 * t + 1, 3 * t + 2])
            .collect(),
    };
    let index = SurfaceIndex::new(Arc::new(soup));
    // Boxes are of rounded corners: a little further than they say.
    let reach = 1e-5 * scene.edge;
    let crosses = |t: usize| {
        let [a, b, c] = corners[t];
        let mut found = false;
        index.visit_near((a.min(b).min(c), a.max(b).max(c)), reach, |n, _| {
            let n = n as usize;
            let joined = split[t].iter().any(|v| split[n].contains(v));
            found = found || (!joined && pass_through(corners[t], corners[n]));
        });
        found
    };
    let is_bad = |&q: &u32| {
        jacobian_of(mesh, q) < least || crosses(2 * q as usize) || crosses(2 * q as usize + 1)
    };
    (0..mesh.quads.len() as u32)
        .into_par_iter()
        .filter(is_bad)
        .collect()
}

#[cfg(test)]
mod tests {
    use super::super::tests::bare_scene;
    use super::*;

    /// A sheet of quads and the same sheet as the sculpt below it, by a formula of columns and rows.
    fn sheet(columns: u32, rows: u32, at: impl Fn(f64, f64) -> DVec3) -> (QuadMesh, Scene) {
        let (mut quads, mut triangles) = (Vec::new(), Vec::new());
        let id = |i: u32, j: u32| j * (columns + 1) + i;
        for (j, i) in (0..rows).flat_map(|j| (0..columns).map(move |i| (j, i))) {
            let [a, b, c, d] = [id(i, j), id(i + 1, j), id(i + 1, j + 1), id(i, j + 1)];
            quads.push([a, b, c, d]);
            triangles.extend([[a, b, c], [a, c, d]]);
        }
        let places = (0..=rows).flat_map(|j| (0..=columns).map(move |i| (i, j)));
        let positions: Vec<DVec3> = places
            .map(|(i, j)| at(f64::from(i), f64::from(j)))
            .collect();
        let under = TriMesh {
            positions: positions.iter().map(|p| p.as_vec3()).collect(),
            triangles,
        };
        let mesh = QuadMesh {
            positions,
            quads,
            groups: vec![],
        };
        let scene = bare_scene(&mesh, under);
        (mesh, scene)
    }

    #[test]
    fn a_fold_in_a_flat_sheet_is_laid_open_on_the_sheet() {
        let (mut mesh, scene) = sheet(6, 6, |x, y| DVec3::new(x, y, 0.0));
        assert_eq!(uncross(&mut mesh.clone(), &scene), 0);
        // One vertex beyond its neighbour.
        mesh.positions[24] = DVec3::new(4.6, 3.0, 0.0);
        assert!(!bad_quads(&mesh, &scene).is_empty());
        assert!(uncross(&mut mesh, &scene) > 0);
        assert!(bad_quads(&mesh, &scene).is_empty());
        assert!(mesh.positions.iter().all(|p| p.z.abs() < 1e-6));
    }

    #[test]
    fn walls_of_a_narrow_fold_that_pass_through_each_other_are_parted() {
        // Two walls 0.4 apart that meet at the bottom, between x = 3 and x = 4.
        let wall = |x: f64, y: f64| match x {
            x if x <= 3.0 => DVec3::new(-0.2, y, 3.0 - x),
            x => DVec3::new(0.2, y, x - 4.0),
        };
        let (mut mesh, scene) = sheet(7, 6, wall);
        assert!(bad_quads(&mesh, &scene).is_empty());
        mesh.positions[26].x = 0.5;
        assert!(!bad_quads(&mesh, &scene).is_empty());
        uncross(&mut mesh, &scene);
        assert!(bad_quads(&mesh, &scene).is_empty());
    }

    #[test]
    fn walls_of_cloth_over_an_edge_are_parted_outward() {
        // Two walls 0.2 apart over a ridge, the lower one's vertices half way between the upper one's: the
        // upper one's chords cut off what the lower one keeps.
        let ridge = |x: f64| -(x - 3.0).abs();
        let (upper, scene) = sheet(6, 4, |x, y| DVec3::new(x, y, ridge(x)));
        let mut mesh = upper.clone();
        let count = mesh.positions.len() as u32;
        for p in &upper.positions {
            // The ridge of the lower wall lies above the chord between the upper one's neighbours.
            let x = p.x + 0.5;
            mesh.positions.push(DVec3::new(x, p.y, ridge(x) - 0.2));
        }
        for p in &mut mesh.positions[..count as usize] {
            p.x += 0.0;
            if p.x == 3.0 {
                p.z = -0.75;
            }
        }
        let below = upper
            .quads
            .iter()
            .map(|q| [q[0], q[3], q[2], q[1]].map(|v| v + count));
        mesh.quads.extend(below);
        let under = TriMesh::clone(scene.index.mesh());
        let scene = bare_scene(&mesh, under);
        assert!(!bad_quads(&mesh, &scene).is_empty());
        let bad = bad_quads(&mesh, &scene);
        let mut best = (bad.len(), mesh.positions.clone());
        part_walls(&mut mesh, &scene, &bad, &mut best);
        assert_eq!(best.0, 0);
    }

    #[test]
    fn the_mirror_image_counts_as_another_wall() {
        let (mut mesh, mut scene) = sheet(5, 5, |x, y| DVec3::new(0.5, x, y));
        scene.plane = Some(crate::model::Plane {
            origin: DVec3::ZERO,
            normal: DVec3::X,
        });
        assert!(bad_quads(&mesh, &scene).is_empty());
        mesh.positions[14].x = -0.2;
        assert!(!bad_quads(&mesh, &scene).is_empty());
        uncross(&mut mesh, &scene);
        assert!(bad_quads(&mesh, &scene).is_empty());
    }
}
