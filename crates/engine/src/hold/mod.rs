//! Hold: quads of an earlier run that later runs leave bit for bit as they are.
//!
//! ```text
//! surface, a marked region ─▶ [`region`]: whole quads with a rim that the rest can be laid against
//! held quads of all holds  ─▶ [`Held`]: one patch, its rim parted into runs with fixed counts
//! ```
//!
//! `guides` makes a curve of each run and ends the artist's guides on them, `work` cuts away what
//! lies on the held side, the stages after it see a boundary with a promised count, and `fill` joins
//! held quads and new ones vertex by vertex along the rim. Nothing moves a held vertex after that.

mod course;
mod error;
mod region;
#[cfg(test)]
mod tests;

use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

use mesh::{DVec3, QuadMesh, QuadTopology, SurfaceIndex, TriMesh};

use crate::model::{Hold, Plane};
pub use course::Course;
pub use error::HoldError;
pub use region::{Region, RegionError, grow};

/// Held vertices this near to the mirror plane lie on it, in held edges.
const ON_PLANE: f64 = 1e-6;

/// Everything that a job holds, as one patch or several.
#[derive(Clone, Debug)]
pub struct Held {
    /// The quads of all holds; vertices that are the same to the bit are one.
    pub mesh: QuadMesh,
    /// For each quad, its hold: index into the job's list.
    pub hold_of_quad: Vec<usize>,
    /// Names of the holds.
    pub names: Vec<String>,
    /// Mean edge length, model units.
    pub edge: f64,
    pub(crate) topology: QuadTopology,
    index: SurfaceIndex,
    /// Edges at which the rest of the surface goes on.
    rim: BTreeSet<[u32; 2]>,
}

/// A stretch of the rim between two corners, with the held quads on its left.
#[derive(Clone, Debug, PartialEq)]
pub struct Run {
    /// Held vertices in order; a closed run doesn't repeat the first.
    pub vertices: Vec<u32>,
    /// Whether the last joins the first.
    pub closed: bool,
    /// The hold that it belongs to: index into the job's list.
    pub hold: usize,
    /// Quarter turns that the rest of the surface has at its ends for a regular vertex there, where
    /// the rim goes on.
    pub quarters: [Option<u8>; 2],
}

impl Run {
    /// Quads along it.
    pub fn count(&self) -> usize {
        self.vertices.len() - usize::from(!self.closed)
    }
}

fn key(a: u32, b: u32) -> [u32; 2] {
    [a.min(b), a.max(b)]
}

impl Held {
    /// Puts the holds of a job together; `None` if there are none.
    ///
    /// # Errors
    /// [`HoldError`] names the hold whose quads can't be laid against, and what to do.
    pub fn new(holds: &[Hold], plane: Option<Plane>) -> Result<Option<Self>, HoldError> {
        if holds.is_empty() {
            return Ok(None);
        }
        let mut mesh = QuadMesh::default();
        let mut hold_of_quad = Vec::new();
        let mut vertex_at: BTreeMap<[u64; 3], u32> = BTreeMap::new();
        let mut seen: BTreeSet<[u32; 4]> = BTreeSet::new();
        let mut rim: BTreeSet<[u32; 2]> = BTreeSet::new();
        for (h, hold) in holds.iter().enumerate() {
            let broken = |what: &'static str| HoldError::Broken {
                hold: hold.name.clone(),
                what,
            };
            if hold.quads.is_empty() {
                return Err(broken("has no quads"));
            }
            if hold.positions.iter().any(|p| !p.is_finite()) {
                return Err(broken("has a vertex that isn't finite"));
            }
            let ids: Vec<u32> = hold
                .positions
                .iter()
                .map(|&p| {
                    // Adding nought makes −0 and 0 one.
                    let p = p + DVec3::ZERO;
                    *vertex_at
                        .entry(p.to_array().map(f64::to_bits))
                        .or_insert_with(|| {
                            mesh.positions.push(p);
                            mesh.positions.len() as u32 - 1
                        })
                })
                .collect();
            let id = |v: u32| ids.get(v as usize).copied();
            for quad in &hold.quads {
                let [Some(a), Some(b), Some(c), Some(d)] = quad.map(id) else {
                    return Err(broken("has a quad with a corner that isn't there"));
                };
                let quad = [a, b, c, d];
                let mut sorted = quad;
                sorted.sort_unstable();
                if sorted.windows(2).any(|w| w[0] == w[1]) {
                    return Err(broken("has a quad with one corner twice"));
                }
                // Two holds may have a quad in common.
                if seen.insert(sorted) {
                    mesh.quads.push(quad);
                    hold_of_quad.push(h);
                }
            }
            for &[a, b] in &hold.rim {
                match (id(a), id(b)) {
                    (Some(a), Some(b)) => drop(rim.insert(key(a, b))),
                    _ => return Err(broken("has a rim with a vertex that isn't there")),
                }
            }
        }
        let names = holds.iter().map(|hold| hold.name.clone()).collect();
        Self::checked(mesh, hold_of_quad, names, rim, plane).map(Some)
    }

    fn checked(
        mesh: QuadMesh,
        hold_of_quad: Vec<usize>,
        names: Vec<String>,
        mut rim: BTreeSet<[u32; 2]>,
        plane: Option<Plane>,
    ) -> Result<Self, HoldError> {
        let topology = mesh.topology();
        let name_at = |v: u32| {
            let quad = mesh.quads.iter().position(|q| q.contains(&v));
            let hold = quad.map_or(0, |q| hold_of_quad[q]);
            names.get(hold).cloned().unwrap_or_default()
        };
        let at = |v: u32| mesh.positions[v as usize].to_array();
        let touches = |v: u32| HoldError::Touches {
            hold: name_at(v),
            at: at(v),
        };
        if let Some(e) = topology.face_count.iter().position(|&n| n > 2) {
            return Err(touches(topology.edges[e][0]));
        }
        if topology.inconsistent_edges > 0 {
            let name = names.first().cloned().unwrap_or_default();
            return Err(HoldError::Broken {
                hold: name,
                what: "has neighbouring quads that wind against each other",
            });
        }
        // A boundary that passes a vertex twice has held quads that meet in a corner alone.
        let mut ends = vec![0u8; mesh.positions.len()];
        for (edge, _) in boundary(&topology) {
            for v in topology.edges[edge] {
                ends[v as usize] += 1;
                if ends[v as usize] > 2 {
                    return Err(touches(v));
                }
            }
        }
        // Where two holds meet, what was a rim of both lies inside.
        rim.retain(|&[a, b]| {
            let edge = topology.edge_between(a, b);
            edge.is_some_and(|e| topology.face_count[e as usize] == 1)
        });
        if rim.is_empty() {
            return Err(HoldError::Everything {
                hold: names.first().cloned().unwrap_or_default(),
            });
        }
        let lengths = topology
            .edges
            .iter()
            .map(|&[a, b]| mesh.positions[a as usize].distance(mesh.positions[b as usize]));
        let edge = lengths.sum::<f64>() / topology.edges.len().max(1) as f64;
        if !(edge.is_finite() && edge > 0.0) {
            return Err(HoldError::Broken {
                hold: names.first().cloned().unwrap_or_default(),
                what: "has quads without size",
            });
        }
        if let Some(plane) = plane {
            let low = |&p: &DVec3| plane.height(p) < -ON_PLANE * edge;
            if let Some(v) = mesh.positions.iter().position(low) {
                return Err(HoldError::BehindPlane {
                    hold: name_at(v as u32),
                    at: at(v as u32),
                });
            }
            // What ends neither at the rim nor at the surface's end ends on the plane.
            if let Some(&[v, _]) = rim.iter().find(|&&[a, b]| {
                let on = |v: u32| plane.height(mesh.positions[v as usize]) <= ON_PLANE * edge;
                on(a) && on(b)
            }) {
                return Err(HoldError::BehindPlane {
                    hold: name_at(v),
                    at: at(v),
                });
            }
        }
        let index = SurfaceIndex::new(Arc::new(TriMesh {
            positions: mesh.positions.iter().map(|p| p.as_vec3()).collect(),
            triangles: mesh.triangulated(),
        }));
        Ok(Self {
            mesh,
            hold_of_quad,
            names,
            edge,
            topology,
            index,
            rim,
        })
    }

    /// Quads of the whole surface that are held.
    pub fn quads_in_all(&self, halves: usize) -> usize {
        self.mesh.quads.len() * halves
    }

    /// The name of the hold that a vertex belongs to.
    pub fn name_of(&self, vertex: u32) -> &str {
        let quad = self.mesh.quads.iter().position(|q| q.contains(&vertex));
        let hold = quad.map_or(0, |q| self.hold_of_quad[q]);
        self.names.get(hold).map_or("", String::as_str)
    }

    /// Distance from a point to the held quads, model units.
    pub fn distance(&self, p: DVec3) -> f64 {
        self.index.closest(p).map_or(f64::INFINITY, |c| c.distance)
    }

    /// Whether the rest of the surface goes on at a vertex.
    pub fn is_on_rim(&self, vertex: u32) -> bool {
        self.rim.iter().any(|edge| edge.contains(&vertex))
    }

    /// The rim in runs, parted where it ends at the plane or at the surface's end, at the vertices of
    /// `landings`, and, if `at_corners`, where it turns: then each side has its own count, else only
    /// all of them together.
    pub fn runs(&self, landings: &BTreeSet<u32>, at_corners: bool) -> Vec<Run> {
        let mut quads_at = vec![0u32; self.mesh.positions.len()];
        for &v in self.mesh.quads.iter().flatten() {
            quads_at[v as usize] += 1;
        }
        let mut hold_of_edge: BTreeMap<[u32; 2], usize> = BTreeMap::new();
        for (edge, corner) in boundary(&self.topology) {
            hold_of_edge.insert(self.topology.edges[edge], self.hold_of_quad[corner / 4]);
        }
        let mut runs = Vec::new();
        for ring in self.topology.boundary_loops() {
            let n = ring.len();
            let on_rim: Vec<bool> = (0..n)
                .map(|i| self.rim.contains(&key(ring[i], ring[(i + 1) % n])))
                .collect();
            let hold = |i: usize| {
                let edge = key(ring[i], ring[(i + 1) % n]);
                hold_of_edge.get(&edge).copied().unwrap_or(0)
            };
            let mut parts: Vec<bool> = (0..n)
                .map(|i| {
                    let before = (i + n - 1) % n;
                    on_rim[before] != on_rim[i]
                        || hold(before) != hold(i)
                        || (at_corners && quads_at[ring[i] as usize] != 2)
                        || landings.contains(&ring[i])
                })
                .collect();
            // A run that closes on one corner would have its ends in one place.
            let only = parts.iter().filter(|&&p| p).count() == 1 && !on_rim.contains(&false);
            if let Some(one) = parts.iter().position(|&p| p).filter(|_| only) {
                parts[(one + n / 2) % n] = true;
            }
            let Some(start) = parts.iter().position(|&p| p) else {
                if on_rim.first() == Some(&true) {
                    runs.push(Run {
                        hold: hold(0),
                        vertices: ring,
                        closed: true,
                        quarters: [None; 2],
                    });
                }
                continue;
            };
            let quarters = |i: usize| {
                let goes_on = on_rim[i] && on_rim[(i + n - 1) % n];
                let rest = 4u32.saturating_sub(quads_at[ring[i] as usize]);
                goes_on.then_some(rest.clamp(1, 3) as u8)
            };
            let mut vertices: Vec<u32> = Vec::new();
            let mut begun = 0;
            for step in 0..n {
                let i = (start + step) % n;
                if !on_rim[i] {
                    continue;
                }
                if vertices.is_empty() {
                    vertices.push(ring[i]);
                    begun = i;
                }
                let next = (i + 1) % n;
                vertices.push(ring[next]);
                if parts[next] {
                    runs.push(Run {
                        vertices: std::mem::take(&mut vertices),
                        closed: false,
                        hold: hold(i),
                        quarters: [quarters(begun), quarters(next)],
                    });
                }
            }
        }
        runs
    }

    /// Edges at which the surface ends, or meets the mirror plane.
    pub fn ends(&self) -> impl Iterator<Item = [u32; 2]> + '_ {
        let edges = boundary(&self.topology).map(|(e, _)| self.topology.edges[e]);
        edges.filter(|edge| !self.rim.contains(edge))
    }

    /// Normal of the held quads at a vertex, of any length.
    pub fn normal(&self, vertex: u32) -> DVec3 {
        let quads = self.mesh.quads.iter().filter(|q| q.contains(&vertex));
        quads
            .map(|quad| {
                let [a, b, c, d] = quad.map(|v| self.mesh.positions[v as usize]);
                (c - a).cross(d - b)
            })
            .sum()
    }

    /// Whether the rim ends at a vertex because the surface, or its half, does.
    pub fn meets_end(&self, vertex: u32) -> bool {
        self.is_on_rim(vertex) && self.ends().any(|edge| edge.contains(&vertex))
    }
}

/// Edges with one quad, each with the corner of that quad that runs it.
fn boundary(topology: &QuadTopology) -> impl Iterator<Item = (usize, usize)> + '_ {
    let corners = topology.edge_of_corner.iter().enumerate();
    corners
        .map(|(corner, &edge)| (edge as usize, corner))
        .filter(|&(edge, _)| topology.face_count[edge] == 1)
}
