//! Cutting the sculpt on the plane.

use mesh::{DVec3, TriMesh};

use super::{Half, SymmetryError, boundary_edges};
use crate::model::Plane;

/// "Vertex not kept".
const NONE: u32 = u32::MAX;

/// The part of `mesh` with height >= 0. Vertices within `tolerance` of the plane are
/// moved onto it, triangles that cross it are parted.
pub(super) fn cut(mesh: &TriMesh, plane: Plane, tolerance: f64) -> Result<Half, SymmetryError> {
    let heights: Vec<f64> = mesh
        .positions
        .iter()
        .map(|p| {
            let height = plane.height(p.as_dvec3());
            if height.abs() <= tolerance {
                0.0
            } else {
                height
            }
        })
        .collect();
    let mut new_of = vec![NONE; mesh.positions.len()];
    let mut out = TriMesh::default();
    let mut crossing = Vec::new();
    for (t, corners) in mesh.triangles.iter().enumerate() {
        let h = corners.map(|v| heights[v as usize]);
        if h.iter().all(|&x| x <= 0.0) {
            continue;
        }
        if h.iter().any(|&x| x < 0.0) {
            crossing.push(t);
            continue;
        }
        let kept = corners.map(|v| keep(v, mesh, &heights, &plane, &mut new_of, &mut out));
        out.triangles.push(kept);
    }
    part_crossing(mesh, &plane, &heights, &crossing, &mut new_of, &mut out);
    if out.triangles.is_empty() {
        let highest = heights.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        return Err(SymmetryError::NothingInFront { highest });
    }
    let mut on_plane = vec![false; out.positions.len()];
    for [a, _] in boundary_edges(&out) {
        let height = plane.height(out.positions[a as usize].as_dvec3());
        on_plane[a as usize] = height.abs() <= tolerance;
    }
    Ok(Half {
        mesh: out,
        on_plane,
        plane: Some(plane),
    })
}

fn keep(
    v: u32,
    mesh: &TriMesh,
    heights: &[f64],
    plane: &Plane,
    new_of: &mut [u32],
    out: &mut TriMesh,
) -> u32 {
    if new_of[v as usize] == NONE {
        new_of[v as usize] = out.positions.len() as u32;
        let p = mesh.positions[v as usize];
        let on = heights[v as usize] == 0.0;
        out.positions.push(if on {
            plane.project(p.as_dvec3()).as_vec3()
        } else {
            p
        });
    }
    new_of[v as usize]
}

fn part_crossing(
    mesh: &TriMesh,
    plane: &Plane,
    heights: &[f64],
    crossing: &[usize],
    new_of: &mut [u32],
    out: &mut TriMesh,
) {
    let crosses = |a: u32, b: u32| {
        (heights[a as usize] > 0.0 && heights[b as usize] < 0.0)
            || (heights[a as usize] < 0.0 && heights[b as usize] > 0.0)
    };
    // Each crossed edge gets one vertex, computed from its lower end on, whichever triangle asks.
    let mut edges: Vec<[u32; 2]> = Vec::new();
    for &t in crossing {
        let [a, b, c] = mesh.triangles[t];
        edges.extend(
            [[a, b], [b, c], [c, a]]
                .into_iter()
                .filter(|&[a, b]| crosses(a, b))
                .map(|[a, b]| [a.min(b), a.max(b)]),
        );
    }
    edges.sort_unstable();
    edges.dedup();
    let first = out.positions.len() as u32;
    for &[a, b] in &edges {
        let (ha, hb) = (heights[a as usize], heights[b as usize]);
        let [pa, pb] = [a, b].map(|v| mesh.positions[v as usize].as_dvec3());
        let at: DVec3 = pa.lerp(pb, ha / (ha - hb));
        out.positions.push(plane.project(at).as_vec3());
    }
    for &t in crossing {
        let corners = mesh.triangles[t];
        let mut polygon: Vec<u32> = Vec::with_capacity(4);
        for i in 0..3 {
            let (a, b) = (corners[i], corners[(i + 1) % 3]);
            if heights[a as usize] >= 0.0 {
                polygon.push(keep(a, mesh, heights, plane, new_of, out));
            }
            if crosses(a, b)
                && let Ok(at) = edges.binary_search(&[a.min(b), a.max(b)])
            {
                polygon.push(first + at as u32);
            }
        }
        fan(&polygon, out);
    }
}

/// One or two triangles, along the shorter diagonal.
fn fan(polygon: &[u32], out: &mut TriMesh) {
    match *polygon {
        [a, b, c] => out.triangles.push([a, b, c]),
        [a, b, c, d] => {
            let length = |x: u32, y: u32| {
                out.positions[x as usize].distance_squared(out.positions[y as usize])
            };
            if length(a, c) <= length(b, d) {
                out.triangles.extend([[a, b, c], [a, c, d]]);
            } else {
                out.triangles.extend([[a, b, d], [b, c, d]]);
            }
        }
        _ => {}
    }
}
