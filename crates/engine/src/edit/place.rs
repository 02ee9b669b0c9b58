//! Where new and moved vertices lie.

use mesh::DVec3;

use super::draft::{Draft, Tie};

/// Vertices so near to the mirror plane lie on it, quad edges: rounding, no more.
const ON_PLANE: f64 = 1e-6;

/// A place for a vertex.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Placed {
    pub at: DVec3,
    /// Whether the sculpt, or the run, was found there.
    pub found: bool,
}

/// Area-weighted normals of the quads at each vertex, unit; on the mirror plane those of the whole
/// surface, which lie in it.
pub(super) fn normals(draft: &Draft<'_>) -> Vec<DVec3> {
    let mut normals = vec![DVec3::ZERO; draft.mesh.positions.len()];
    for quad in &draft.mesh.quads {
        let [a, b, c, d] = quad.map(|v| draft.mesh.positions[v as usize]);
        let normal = (c - a).cross(d - b);
        for &v in quad {
            normals[v as usize] += normal;
        }
    }
    if let Some(plane) = draft.plane {
        for (normal, &p) in normals.iter_mut().zip(&draft.mesh.positions) {
            if plane.height(p).abs() <= ON_PLANE * draft.edge {
                *normal -= plane.normal * normal.dot(plane.normal);
            }
        }
    }
    normals.into_iter().map(DVec3::normalize_or_zero).collect()
}

/// The point a `share` of the way from a vertex to its neighbour: on the run if the edge between
/// them is one's, else on the sculpt where it faces the same way; as far off either as the two
/// ends are, so that faces go on straddling it.
pub(super) fn between(
    draft: &Draft<'_>,
    normals: &[DVec3],
    [from, to]: [u32; 2],
    share: f64,
) -> Placed {
    let at = |v: u32| draft.mesh.positions[v as usize];
    let chord = at(from).lerp(at(to), share);
    if let Some(&run) = draft.runs_on(from, to).first() {
        let reach = 2.0 * at(from).distance(at(to));
        return on_run(draft, run, [(from, 1.0 - share), (to, share)], chord, reach);
    }
    let normal = normals[from as usize]
        .lerp(normals[to as usize], share)
        .normalize_or_zero();
    let height = height(draft, normals, from) * (1.0 - share) + height(draft, normals, to) * share;
    on_sculpt(draft, chord, normal, height)
}

/// The point of a run nearest to `chord`, as far off it as the given vertices are, by weight.
fn on_run(
    draft: &Draft<'_>,
    run: usize,
    ends: [(u32, f64); 2],
    chord: DVec3,
    reach: f64,
) -> Placed {
    let rail = &draft.runs[run].rail;
    let mut offset = DVec3::ZERO;
    let mut near = 0.0;
    for (v, weight) in ends {
        let p = draft.mesh.positions[v as usize];
        let s = rail.nearest(p, None);
        offset += (p - rail.at(s)) * weight;
        near = s;
    }
    let s = rail.nearest(chord, Some((near, reach)));
    let at = rail.at(s) + offset;
    let at = match draft.plane {
        Some(plane) if rail.on_plane => plane.project(at),
        _ => at,
    };
    Placed { at, found: true }
}

/// The point of a run nearest to `wanted`, as far off it as a vertex is.
pub(super) fn along_run(draft: &Draft<'_>, run: usize, vertex: u32, wanted: DVec3) -> Placed {
    let p = draft.mesh.positions[vertex as usize];
    let reach = 2.0 * p.distance(wanted);
    on_run(draft, run, [(vertex, 0.5), (vertex, 0.5)], wanted, reach)
}

/// Where the sculpt is nearest to a point and faces along `normal`, raised by `height`.
pub(super) fn on_sculpt(draft: &Draft<'_>, at: DVec3, normal: DVec3, height: f64) -> Placed {
    let unplaced = Placed { at, found: false };
    let Some(foot) = foot(draft, at, normal) else {
        return unplaced;
    };
    let there = foot + normal * height;
    // Only vertices of the centre line may come to lie on the mirror plane.
    let apart = draft
        .plane
        .is_none_or(|plane| plane.height(there) > 0.5 * plane.height(at));
    if apart {
        Placed {
            at: there,
            found: true,
        }
    } else {
        unplaced
    }
}

fn foot(draft: &Draft<'_>, at: DVec3, normal: DVec3) -> Option<DVec3> {
    let sculpt = &draft.sculpt;
    let facing = |t: u32| sculpt.mesh.area_normal(t as usize).dot(normal) > 0.0;
    let closest = sculpt.index.closest_where(at, draft.edge, facing);
    closest.map(|c| c.point)
}

/// How far a vertex lies outside of the sculpt, model units; below 0 inside.
pub(super) fn height(draft: &Draft<'_>, normals: &[DVec3], vertex: u32) -> f64 {
    let (p, normal) = (
        draft.mesh.positions[vertex as usize],
        normals[vertex as usize],
    );
    foot(draft, p, normal).map_or(0.0, |foot| (p - foot).dot(normal))
}

/// What ties a new vertex of an edge.
pub(super) fn tie_between(draft: &Draft<'_>, a: u32, b: u32) -> Tie {
    match draft.runs_on(a, b) {
        [] => Tie::Free,
        &[run] => Tie::Run(run),
        _ => Tie::Fixed,
    }
}
