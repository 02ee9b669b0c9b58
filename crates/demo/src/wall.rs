//! A surface in the making: triangles with rails (the planes that its boundaries lie on),
//! relaxed along a shape.

use mesh::{DVec3, TriMesh};
use rayon::prelude::*;

use crate::cut::Opening;
use crate::extract::QuadSoup;
use crate::sdf::Shape;

/// Marks a vertex that lies on no rail.
pub(crate) const FREE: u8 = u8::MAX;

/// Triangles in f64.
#[derive(Clone, Debug, Default)]
pub(crate) struct Wall {
    pub(crate) positions: Vec<DVec3>,
    pub(crate) triangles: Vec<[u32; 3]>,
    /// Which opening's edge a vertex is on, or [`FREE`].
    pub(crate) rail: Vec<u8>,
}

/// Neighbours of each vertex in one flat array.
pub(crate) struct Neighbours {
    start: Vec<u32>,
    list: Vec<u32>,
}

impl Neighbours {
    /// From directed pairs (vertex, neighbour), each in the order given.
    pub(crate) fn new(vertices: usize, pairs: impl Iterator<Item = (u32, u32)> + Clone) -> Self {
        let mut start = vec![0u32; vertices + 1];
        for (a, _) in pairs.clone() {
            start[a as usize + 1] += 1;
        }
        for v in 0..vertices {
            start[v + 1] += start[v];
        }
        let mut fill = start.clone();
        let mut list = vec![0u32; start[vertices] as usize];
        for (a, b) in pairs {
            list[fill[a as usize] as usize] = b;
            fill[a as usize] += 1;
        }
        Self { start, list }
    }

    pub(crate) fn of(&self, v: usize) -> &[u32] {
        &self.list[self.start[v] as usize..self.start[v + 1] as usize]
    }
}

/// Moves an extracted surface onto the zero set and evens it out, then splits quads along
/// their shorter diagonals.
pub(crate) fn from_quads(mut soup: QuadSoup, shape: &dyn Shape, cell: f64, rounds: usize) -> Wall {
    let neighbours = Neighbours::new(
        soup.positions.len(),
        soup.quads
            .iter()
            .flat_map(|q| (0..4).map(move |i| (q[i], q[(i + 1) % 4]))),
    );
    soup.positions.par_iter_mut().for_each(|p| {
        *p = shape.project(*p, cell).0;
        *p = shape.project(*p, cell).0;
    });
    for _ in 0..rounds {
        soup.positions = (0..soup.positions.len())
            .into_par_iter()
            .map(|v| slide(&soup.positions, v, neighbours.of(v), shape, cell))
            .collect();
    }
    let at = |v: u32| soup.positions[v as usize];
    let triangles = soup
        .quads
        .iter()
        .flat_map(|&[a, b, c, d]| {
            if at(a).distance_squared(at(c)) <= at(b).distance_squared(at(d)) {
                [[a, b, c], [a, c, d]]
            } else {
                [[a, b, d], [b, c, d]]
            }
        })
        .collect();
    let rail = vec![FREE; soup.positions.len()];
    Wall {
        positions: soup.positions,
        triangles,
        rail,
    }
}

/// A vertex's next place: half way to its neighbours' mean along the surface.
fn slide(positions: &[DVec3], v: usize, around: &[u32], shape: &dyn Shape, cell: f64) -> DVec3 {
    let p = positions[v];
    if around.is_empty() {
        return p;
    }
    let mean = around.iter().map(|&n| positions[n as usize]).sum::<DVec3>() / around.len() as f64;
    shape.project(p + 0.6 * (mean - p), cell).0
}

impl Wall {
    /// Directed edges of the triangles.
    pub(crate) fn halves(&self) -> impl Iterator<Item = (u32, u32)> + Clone + '_ {
        self.triangles
            .iter()
            .flat_map(|t| [(t[0], t[1]), (t[1], t[2]), (t[2], t[0])])
    }

    /// Following vertex along the boundary for each boundary vertex, in triangle order.
    pub(crate) fn boundary_next(&self) -> Vec<(u32, u32)> {
        let on_rail = |v: u32| self.rail[v as usize] != FREE;
        let mut halves: Vec<(u32, u32)> = self
            .halves()
            .filter(|h| on_rail(h.0) && on_rail(h.1))
            .collect();
        halves.sort_unstable();
        let single = |h: &&(u32, u32)| halves.binary_search(&(h.1, h.0)).is_err();
        halves.iter().filter(single).copied().collect()
    }

    /// Evens out the triangles along the shape; boundary vertices stay on their rails.
    pub(crate) fn relax(&mut self, shape: &dyn Shape, rails: &[Opening], cell: f64, rounds: usize) {
        let neighbours = Neighbours::new(self.positions.len(), self.halves());
        let boundary = self.boundary_next();
        for _ in 0..rounds {
            let mut next: Vec<DVec3> = (0..self.positions.len())
                .into_par_iter()
                .map(|v| match self.rail[v] {
                    FREE => slide(&self.positions, v, neighbours.of(v), shape, cell),
                    _ => self.positions[v],
                })
                .collect();
            self.slide_boundary(&boundary, shape, rails, &mut next);
            self.positions = next;
        }
    }

    fn slide_boundary(
        &self,
        boundary: &[(u32, u32)],
        shape: &dyn Shape,
        rails: &[Opening],
        next: &mut [DVec3],
    ) {
        let mut pull: Vec<(DVec3, u32)> = vec![(DVec3::ZERO, 0); next.len()];
        for &(a, b) in boundary {
            for (from, to) in [(a, b), (b, a)] {
                if self.rail[from as usize] == self.rail[to as usize] {
                    let slot = &mut pull[from as usize];
                    *slot = (slot.0 + self.positions[to as usize], slot.1 + 1);
                }
            }
        }
        for (v, (sum, count)) in pull.into_iter().enumerate() {
            // A vertex where two rails meet has one neighbour on its own rail: it stays.
            if count == 2 {
                let p = self.positions[v];
                let towards = p + 0.5 * (sum / 2.0 - p);
                next[v] = rails[self.rail[v] as usize].project(shape, towards);
            }
        }
    }

    /// Unit vertex normals weighted by area.
    pub(crate) fn normals(&self) -> Vec<DVec3> {
        let mut sums = vec![DVec3::ZERO; self.positions.len()];
        for t in &self.triangles {
            let [a, b, c] = t.map(|v| self.positions[v as usize]);
            let n = (b - a).cross(c - a);
            for v in t {
                sums[*v as usize] += n;
            }
        }
        sums.into_iter().map(DVec3::normalize_or_zero).collect()
    }

    /// The same triangles in single precision.
    pub(crate) fn to_mesh(&self) -> TriMesh {
        TriMesh {
            positions: self.positions.iter().map(|p| p.as_vec3()).collect(),
            triangles: self.triangles.clone(),
        }
    }
}
