//! Where a function on the vertices of a triangle mesh has a value: loops, and runs from boundary
//! to boundary.

use crate::{DVec3, TriTopology, runs};

/// A loop, or a run from boundary to boundary.
#[derive(Clone, Debug)]
pub struct Run {
    /// Whether it comes back to where it began.
    pub closed: bool,
    /// A point on each edge that is crossed.
    pub points: Vec<DVec3>,
    /// Triangles that it runs through.
    pub triangles: Vec<u32>,
}

impl Run {
    /// Length, model units.
    pub fn length(&self) -> f64 {
        runs::length(&self.points, self.closed)
    }

    /// Mean of its points, weighted by length.
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
pub fn trace(
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
