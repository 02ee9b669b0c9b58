//! Quad meshes: topology, boundary loops, poles and strips.

use crate::DVec3;

/// A named set of quads.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Group {
    /// Name as it goes into files.
    pub name: String,
    /// Indices into [`QuadMesh::quads`], rising.
    pub quads: Vec<u32>,
}

/// The scaled Jacobian at each corner of a quad: the cross product of the unit sides there along
/// the quad's normal (Knupp 2000; the Verdict library's manual). 1 for a right angle, at most 0
/// where the quad is folded.
pub fn corner_jacobians(p: [DVec3; 4]) -> [f64; 4] {
    let normal = (p[2] - p[0]).cross(p[3] - p[1]).normalize_or_zero();
    [0, 1, 2, 3].map(|i| {
        let ahead = (p[(i + 1) % 4] - p[i]).normalize_or_zero();
        let back = (p[(i + 3) % 4] - p[i]).normalize_or_zero();
        ahead.cross(back).dot(normal)
    })
}

impl Group {
    /// The name of the group of something called `name`: one word of letters, digits and `_`, so
    /// that every format can hold it.
    pub fn word(name: &str) -> String {
        let word = |c: char| if c.is_alphanumeric() { c } else { '_' };
        name.chars().map(word).collect()
    }
}

/// An all-quad mesh. Quads wind anticlockwise seen from outside.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct QuadMesh {
    /// Vertex positions, model units.
    pub positions: Vec<DVec3>,
    /// Vertex indices of each quad.
    pub quads: Vec<[u32; 4]>,
    /// Named groups; quads may be in none.
    pub groups: Vec<Group>,
}

impl QuadMesh {
    /// Edges, neighbours and valences. Cost n log n.
    pub fn topology(&self) -> QuadTopology {
        QuadTopology::new(self.positions.len(), &self.quads)
    }

    /// Centre of a quad: the mean of its corners.
    ///
    /// # Panics
    /// If `quad` is out of range.
    pub fn centre(&self, quad: usize) -> DVec3 {
        self.quads[quad]
            .iter()
            .map(|&v| self.positions[v as usize])
            .sum::<DVec3>()
            / 4.0
    }

    /// Two triangles a quad along the shorter diagonal, in ties the one from the first corner.
    pub fn triangulated(&self) -> Vec<[u32; 3]> {
        self.quads
            .iter()
            .flat_map(|&[a, b, c, d]| {
                let [pa, pb, pc, pd] = [a, b, c, d].map(|v| self.positions[v as usize]);
                if pa.distance_squared(pc) <= pb.distance_squared(pd) {
                    [[a, b, c], [a, c, d]]
                } else {
                    [[a, b, d], [b, c, d]]
                }
            })
            .collect()
    }
}

/// Who meets whom in a quad mesh. Corner `4 * quad + i` runs along the side from
/// corner `i` to corner `i + 1` of its quad.
#[derive(Clone, Debug)]
pub struct QuadTopology {
    quads: Vec<[u32; 4]>,
    /// Edge of each corner's side.
    pub edge_of_corner: Vec<u32>,
    /// Vertices of each edge, lower index first; edges are sorted.
    pub edges: Vec<[u32; 2]>,
    /// How many quads have each edge.
    pub face_count: Vec<u32>,
    /// Corner on the other side of a two-sided edge.
    pub twin: Vec<Option<u32>>,
    /// Edges per vertex.
    pub valence: Vec<u32>,
    /// Whether a vertex is on an edge with one face.
    pub on_boundary: Vec<bool>,
    /// Edges with two faces that run it in the same direction.
    pub inconsistent_edges: usize,
}

/// A run of quads joined through opposite sides.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Strip {
    /// Quads in order.
    pub quads: Vec<u32>,
    /// Edges crossed, in order.
    pub rungs: Vec<u32>,
    /// Whether it closes on itself.
    pub closed: bool,
}

impl Strip {
    /// Whether one quad is passed twice, once along and once across.
    pub fn crosses_itself(&self) -> bool {
        let mut sorted = self.quads.clone();
        sorted.sort_unstable();
        sorted.windows(2).any(|w| w[0] == w[1])
    }
}

impl QuadTopology {
    fn new(vertices: usize, quads: &[[u32; 4]]) -> Self {
        let mut sides: Vec<(u32, u32, u32)> = Vec::with_capacity(quads.len() * 4);
        for (q, corners) in quads.iter().enumerate() {
            for i in 0..4 {
                let (a, b) = (corners[i], corners[(i + 1) % 4]);
                sides.push((a.min(b), a.max(b), (4 * q + i) as u32));
            }
        }
        sides.sort_unstable();
        let mut topology = Self {
            quads: quads.to_vec(),
            edge_of_corner: vec![0; quads.len() * 4],
            edges: Vec::new(),
            face_count: Vec::new(),
            twin: vec![None; quads.len() * 4],
            valence: vec![0; vertices],
            on_boundary: vec![false; vertices],
            inconsistent_edges: 0,
        };
        let from = |corner: u32| quads[corner as usize / 4][corner as usize % 4];
        for run in sides.chunk_by(|x, y| (x.0, x.1) == (y.0, y.1)) {
            let (a, b, _) = run[0];
            let edge = topology.edges.len() as u32;
            topology.edges.push([a, b]);
            topology.face_count.push(run.len() as u32);
            topology.valence[a as usize] += 1;
            topology.valence[b as usize] += 1;
            for &(_, _, corner) in run {
                topology.edge_of_corner[corner as usize] = edge;
            }
            match *run {
                [_] => {
                    topology.on_boundary[a as usize] = true;
                    topology.on_boundary[b as usize] = true;
                }
                [(_, _, one), (_, _, two)] => {
                    topology.twin[one as usize] = Some(two);
                    topology.twin[two as usize] = Some(one);
                    topology.inconsistent_edges += usize::from(from(one) == from(two));
                }
                _ => {}
            }
        }
        topology
    }

    /// Edge between two vertices.
    pub fn edge_between(&self, a: u32, b: u32) -> Option<u32> {
        self.edges
            .binary_search(&[a.min(b), a.max(b)])
            .ok()
            .map(|e| e as u32)
    }

    /// Inner vertices whose valence isn't four, and boundary vertices whose valence isn't
    /// two (a corner) or three.
    pub fn poles(&self) -> Vec<u32> {
        (0..self.valence.len())
            .filter(|&v| self.valence[v] > 0)
            .filter(|&v| {
                if self.on_boundary[v] {
                    self.valence[v] != 3 && self.valence[v] != 2
                } else {
                    self.valence[v] != 4
                }
            })
            .map(|v| v as u32)
            .collect()
    }

    /// V − E + F over the vertices in use.
    pub fn euler_characteristic(&self) -> i64 {
        let used = self.valence.iter().filter(|&&n| n > 0).count() as i64;
        used - self.edges.len() as i64 + self.quads.len() as i64
    }

    /// Vertices of each boundary loop, with the surface on the left.
    pub fn boundary_loops(&self) -> Vec<Vec<u32>> {
        let mut next: Vec<Option<u32>> = vec![None; self.valence.len()];
        for (corner, twin) in self.twin.iter().enumerate() {
            if twin.is_none() && self.face_count[self.edge_of_corner[corner] as usize] == 1 {
                let quad = self.quads[corner / 4];
                next[quad[corner % 4] as usize] = Some(quad[(corner + 1) % 4]);
            }
        }
        let mut loops = Vec::new();
        for start in 0..next.len() {
            let mut one = Vec::new();
            let mut at = start;
            while let Some(following) = next[at].take() {
                one.push(at as u32);
                at = following as usize;
            }
            if !one.is_empty() {
                loops.push(one);
            }
        }
        loops
    }

    /// All strips; each quad is in two passes, one through each pair of opposite sides.
    pub fn strips(&self) -> Vec<Strip> {
        let mut seen = vec![[false; 2]; self.quads.len()];
        let mut strips = Vec::new();
        for quad in 0..self.quads.len() {
            for side in 0..2 {
                if !seen[quad][side] {
                    strips.push(self.strip_through(quad, side, &mut seen));
                }
            }
        }
        strips
    }

    fn strip_through(&self, quad: usize, side: usize, seen: &mut [[bool; 2]]) -> Strip {
        seen[quad][side] = true;
        let (ahead, ahead_rungs, closed) = self.walk(quad, side, seen);
        let mut quads = vec![quad as u32];
        if closed {
            quads.extend(ahead);
            return Strip {
                quads,
                rungs: ahead_rungs,
                closed,
            };
        }
        let (mut behind, mut rungs, _) = self.walk(quad, side + 2, seen);
        behind.reverse();
        rungs.reverse();
        behind.extend(quads);
        behind.extend(ahead);
        rungs.extend(ahead_rungs);
        Strip {
            quads: behind,
            rungs,
            closed: false,
        }
    }

    fn walk(&self, quad: usize, side: usize, seen: &mut [[bool; 2]]) -> (Vec<u32>, Vec<u32>, bool) {
        let origin = (quad, side % 2);
        let (mut quad, mut side) = (quad, side);
        let (mut quads, mut rungs) = (Vec::new(), Vec::new());
        loop {
            let corner = 4 * quad + side;
            rungs.push(self.edge_of_corner[corner]);
            let Some(across) = self.twin[corner] else {
                return (quads, rungs, false);
            };
            quad = across as usize / 4;
            side = (across as usize + 2) % 4;
            if (quad, side % 2) == origin {
                return (quads, rungs, true);
            }
            if seen[quad][side % 2] {
                // Only on a mesh whose twins aren't symmetric; stop instead of looping.
                return (quads, rungs, false);
            }
            seen[quad][side % 2] = true;
            quads.push(quad as u32);
        }
    }
}

/// Two triangles along the shorter diagonal, or along the other one where the shorter
/// one lies outside a quad with a concave corner.
pub fn split_quad(positions: &[DVec3], [a, b, c, d]: [u32; 4]) -> [[u32; 3]; 2] {
    let at = |v: u32| positions[v as usize];
    let by_ac = [[a, b, c], [a, c, d]];
    let by_bd = [[a, b, d], [b, c, d]];
    let (first, second) = if at(a).distance_squared(at(c)) <= at(b).distance_squared(at(d)) {
        (by_ac, by_bd)
    } else {
        (by_bd, by_ac)
    };
    let normal = |[x, y, z]: [u32; 3]| (at(y) - at(x)).cross(at(z) - at(x));
    if normal(first[0]).dot(normal(first[1])) < 0.0 {
        second
    } else {
        first
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A tube of `around` × `along` quads.
    fn tube(around: u32, along: u32) -> QuadMesh {
        let at = |i: u32, j: u32| j * around + i % around;
        let positions = (0..=along)
            .flat_map(|j| {
                (0..around).map(move |i| {
                    let angle = f64::from(i) / f64::from(around) * std::f64::consts::TAU;
                    DVec3::new(angle.cos(), angle.sin(), f64::from(j))
                })
            })
            .collect();
        let quads = (0..along)
            .flat_map(|j| {
                (0..around).map(move |i| [at(i, j), at(i + 1, j), at(i + 1, j + 1), at(i, j + 1)])
            })
            .collect();
        QuadMesh {
            positions,
            quads,
            groups: vec![],
        }
    }

    #[test]
    fn a_tube_has_closed_rings_and_open_columns() {
        let topology = tube(12, 5).topology();
        assert_eq!(topology.euler_characteristic(), 0);
        assert_eq!(topology.boundary_loops().len(), 2);
        assert!(topology.poles().is_empty());
        assert_eq!(topology.inconsistent_edges, 0);
        let strips = topology.strips();
        assert_eq!(strips.iter().filter(|s| s.closed).count(), 5);
        assert_eq!(strips.iter().filter(|s| !s.closed).count(), 12);
        assert!(strips.iter().all(|s| !s.crosses_itself()));
    }

    #[test]
    fn a_flipped_quad_is_seen() {
        let mut mesh = tube(6, 2);
        mesh.quads[3].reverse();
        assert!(mesh.topology().inconsistent_edges > 0);
    }
}
