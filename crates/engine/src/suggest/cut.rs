//! Where a function on the vertices of the light sculpt has a value: loops and open runs, and
//! plane sections among them.

use mesh::{DVec3, TriTopology};

use super::ground::Ground;
use super::runs;

/// A loop, or a run from boundary to boundary.
#[derive(Clone, Debug)]
pub(super) struct Run {
    pub closed: bool,
    /// A point on each edge that is crossed.
    pub points: Vec<DVec3>,
    /// Triangles that it runs through.
    pub triangles: Vec<u32>,
}

impl Run {
    pub fn length(&self) -> f64 {
        runs::length(&self.points, self.closed)
    }

    pub fn centroid(&self) -> DVec3 {
        runs::centroid(&self.points, self.closed)
    }
}

/// The half-edge of a triangle that runs from a vertex for which `above` is `from` to one for
/// which it isn't.
fn crossing(
    topology: &TriTopology,
    t: u32,
    from: bool,
    above: &dyn Fn(u32) -> bool,
) -> Option<u32> {
    (3 * t..3 * t + 3).find(|&h| above(topology.from(h)) == from && above(topology.to(h)) != from)
}

/// Runs between vertices for which `above` holds and others, through these triangles; `cut`
/// gives the point on an edge.
pub(super) fn trace(
    topology: &TriTopology,
    triangles: impl Iterator<Item = u32>,
    above: &dyn Fn(u32) -> bool,
    cut: &dyn Fn(u32, u32) -> DVec3,
    seen: &mut [bool],
) -> Vec<Run> {
    let point = |h: u32| cut(topology.from(h), topology.to(h));
    let mut found = Vec::new();
    let mut touched = Vec::new();
    for start in triangles {
        if seen[start as usize] || crossing(topology, start, true, above).is_none() {
            continue;
        }
        // Back to the boundary, or once around.
        let mut first = start;
        let mut closed = false;
        while let Some(h) = crossing(topology, first, false, above) {
            match topology.twin(h) {
                Some(twin) if twin / 3 == start => {
                    closed = true;
                    break;
                }
                Some(twin) => first = twin / 3,
                None => break,
            }
        }
        if closed {
            first = start;
        }
        let mut points = Vec::new();
        let mut through = Vec::new();
        if !closed && let Some(h) = crossing(topology, first, false, above) {
            points.push(point(h));
        }
        let mut at = Some(first);
        while let Some(t) = at {
            if seen[t as usize] {
                break;
            }
            seen[t as usize] = true;
            touched.push(t);
            through.push(t);
            let Some(h) = crossing(topology, t, true, above) else {
                break;
            };
            points.push(point(h));
            at = topology.twin(h).map(|twin| twin / 3);
        }
        found.push(Run {
            closed,
            points,
            triangles: through,
        });
    }
    for t in touched {
        seen[t as usize] = false;
    }
    found
}

/// The runs in which a plane cuts the light sculpt.
pub(super) fn section(ground: &Ground<'_>, origin: DVec3, normal: DVec3) -> Vec<Run> {
    let height: Vec<f64> = ground
        .at
        .iter()
        .map(|&p| (p - origin).dot(normal))
        .collect();
    let above = |v: u32| height[v as usize] >= 0.0;
    let cut = |a: u32, b: u32| {
        let (ha, hb) = (height[a as usize], height[b as usize]);
        ground.at[a as usize].lerp(ground.at[b as usize], ha / (ha - hb))
    };
    let topology = &ground.topology;
    let mut seen = vec![false; topology.triangles.len()];
    let all = 0..topology.triangles.len() as u32;
    trace(topology, all, &above, &cut, &mut seen)
}

/// How often a closed run in the plane through `centre` goes around it.
pub(super) fn encloses(run: &Run, centre: DVec3, normal: DVec3) -> bool {
    let one = normal.any_orthonormal_vector();
    let two = normal.cross(one);
    let flat = |p: DVec3| ((p - centre).dot(one), (p - centre).dot(two));
    let turned: f64 = runs::pieces(run.points.len(), true)
        .map(|(i, j)| {
            let ((ax, ay), (bx, by)) = (flat(run.points[i]), flat(run.points[j]));
            (ax * by - ay * bx).atan2(ax * bx + ay * by)
        })
        .sum();
    run.closed && turned.abs() > std::f64::consts::PI
}

/// Area within a closed run in a plane of this unit normal, square model units.
pub(super) fn area(run: &Run, normal: DVec3) -> f64 {
    let first = run.points.first().copied().unwrap_or(DVec3::ZERO);
    let sum: f64 = runs::pieces(run.points.len(), true)
        .map(|(i, j)| {
            (run.points[i] - first)
                .cross(run.points[j] - first)
                .dot(normal)
        })
        .sum();
    sum.abs() / 2.0
}
