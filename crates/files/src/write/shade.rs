//! Normals of corners: shared where a surface is smooth, apart on either side of hard edges.

use std::collections::BTreeMap;

use mesh::{DVec3, QuadMesh};

/// The normals of a surface's corners.
pub(super) struct Shade {
    /// Unit normals, in the order of their vertices, and of a vertex in that of its quads.
    pub normals: Vec<DVec3>,
    /// The vertex of each.
    pub vertex: Vec<u32>,
    /// The normal at each corner of each quad.
    pub of_corner: Vec<[u32; 4]>,
    /// Of each quad the smoothing group: those that hang together over soft edges, counted from 1.
    pub group: Vec<u32>,
}

impl Shade {
    /// Normals with `hard` edges (both ends, lower first, sorted), weighted by the quads' areas: half
    /// the cross product of a quad's diagonals is its vector area, whichever way it is cut.
    pub fn of(mesh: &QuadMesh, hard: &[[u32; 2]]) -> Self {
        let topology = mesh.topology();
        let mut corners = Sets::new(4 * mesh.quads.len());
        let mut quads = Sets::new(mesh.quads.len());
        let next = |corner: u32| corner / 4 * 4 + (corner + 1) % 4;
        for (corner, twin) in (0u32..).zip(&topology.twin) {
            let edge = topology.edges[topology.edge_of_corner[corner as usize] as usize];
            if let (Some(twin), Err(_)) = (*twin, hard.binary_search(&edge)) {
                // The twin's side runs the other way: it ends where this one begins.
                corners.join(corner, next(twin));
                quads.join(corner / 4, twin / 4);
            }
        }
        let mut sums: BTreeMap<(u32, u32), DVec3> = BTreeMap::new();
        for (q, quad) in (0u32..).zip(&mesh.quads) {
            let [a, b, c, d] = quad.map(|v| mesh.positions[v as usize]);
            let area = (c - a).cross(d - b);
            for i in 0..4 {
                let fan = corners.root(4 * q + i);
                *sums.entry((quad[i as usize], fan)).or_default() += area;
            }
        }
        let numbers: BTreeMap<(u32, u32), u32> = sums.keys().copied().zip(0..).collect();
        let normal = |q: u32, i: u32, v: u32| {
            let fan = corners.root(4 * q + i);
            numbers.get(&(v, fan)).copied().unwrap_or_default()
        };
        let of_corner = (0u32..).zip(&mesh.quads).map(|(q, quad)| {
            let [a, b, c, d] = *quad;
            [
                normal(q, 0, a),
                normal(q, 1, b),
                normal(q, 2, c),
                normal(q, 3, d),
            ]
        });
        let mut groups: BTreeMap<u32, u32> = BTreeMap::new();
        let group = (0..mesh.quads.len() as u32).map(|q| {
            let count = groups.len() as u32 + 1;
            *groups.entry(quads.root(q)).or_insert(count)
        });
        Self {
            group: group.collect(),
            of_corner: of_corner.collect(),
            vertex: sums.keys().map(|key| key.0).collect(),
            // The length is to be 1 even where a fold leaves no direction.
            normals: sums.values().map(|n| n.normalize_or(DVec3::Y)).collect(),
        }
    }
}

impl Shade {
    /// The normal at the corner of a quad that is a vertex.
    pub fn at(&self, mesh: &QuadMesh, quad: usize, vertex: u32) -> u32 {
        let corner = mesh.quads[quad].iter().position(|&v| v == vertex);
        self.of_corner[quad][corner.unwrap_or_default()]
    }
}

/// Disjoint sets; each is known by its lowest member.
struct Sets(Vec<u32>);

impl Sets {
    fn new(count: usize) -> Self {
        Self((0..count as u32).collect())
    }

    fn root(&self, mut at: u32) -> u32 {
        while self.0[at as usize] != at {
            at = self.0[at as usize];
        }
        at
    }

    fn join(&mut self, one: u32, two: u32) {
        let (a, b) = (self.root(one), self.root(two));
        let low = a.min(b);
        self.0[a.max(b) as usize] = low;
        // Shorter ways for the next time.
        for mut at in [one, two] {
            while self.0[at as usize] != at {
                at = std::mem::replace(&mut self.0[at as usize], low);
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Two strips of two quads that meet at a right angle along y.
    fn corner() -> QuadMesh {
        let rows = [[-1.0, 0.0], [0.0, 0.0], [0.0, -1.0]];
        QuadMesh {
            positions: rows
                .iter()
                .flat_map(|[x, z]| (0..3).map(move |y| DVec3::new(*x, f64::from(y), *z)))
                .collect(),
            quads: vec![[0, 3, 4, 1], [1, 4, 5, 2], [3, 6, 7, 4], [4, 7, 8, 5]],
            groups: vec![],
        }
    }

    #[test]
    fn soft_edges_share_and_hard_ones_split() {
        let soft = Shade::of(&corner(), &[]);
        assert_eq!(
            (soft.normals.len(), soft.group.as_slice()),
            (9, &[1; 4][..])
        );
        // Of two faces of one size at a right angle, halfway between.
        let middle = soft.normals[4];
        assert!((middle.x.abs() - 0.5f64.sqrt()).abs() < 1e-12 && middle.y == 0.0);
        let hard = Shade::of(&corner(), &[[3, 4], [4, 5]]);
        assert_eq!(hard.normals.len(), 12);
        assert_eq!(hard.group, [1, 1, 2, 2]);
        for (quad, corners) in corner().quads.iter().zip(&hard.of_corner) {
            for (v, n) in quad.iter().zip(corners) {
                assert_eq!(hard.vertex[*n as usize], *v);
                let normal = hard.normals[*n as usize];
                assert!(normal.x.abs() == 1.0 || normal.z.abs() == 1.0, "{normal}");
            }
        }
        // A hard edge that ends within splits nothing where it ends.
        let ends = Shade::of(&corner(), &[[3, 4]]);
        assert_eq!(ends.normals.len(), 10);
        assert_eq!(ends.group, [1; 4]);
    }
}
