//! Which vertices of a mesh lie in a region that the artist marked.
//!
//! Works on any mesh, so that the work surface and the finished one are asked the same question.

use std::collections::BinaryHeap;

use mesh::DVec3;

use crate::model::{Plane, Region};
use crate::queue::Cheapest;

/// A mesh's vertices with their neighbours.
#[derive(Clone, Debug)]
pub struct Vertices<'a> {
    positions: &'a [DVec3],
    /// Neighbours along edges, rising.
    around: Vec<Vec<u32>>,
    /// Share of the faces' area, twice over, square model units.
    areas: Vec<f64>,
}

/// Way along edges to each vertex from the nearest source, and which source that is.
#[derive(Clone, Debug)]
pub struct Ways {
    /// Model units; infinite where no source is near enough.
    pub length: Vec<f64>,
    /// The source; of no meaning where the length is infinite.
    pub source: Vec<u32>,
    before: Vec<u32>,
}

impl<'a> Vertices<'a> {
    /// Vertices of a mesh of faces with `N` corners each.
    pub fn new<const N: usize>(positions: &'a [DVec3], faces: &[[u32; N]]) -> Self {
        let mut around: Vec<Vec<u32>> = vec![Vec::new(); positions.len()];
        let mut areas = vec![0.0; positions.len()];
        for face in faces {
            let mut area = DVec3::ZERO;
            for i in 0..N {
                let (a, b) = (face[i], face[(i + 1) % N]);
                around[a as usize].push(b);
                around[b as usize].push(a);
                area += positions[a as usize].cross(positions[b as usize]);
            }
            for &v in face {
                areas[v as usize] += area.length() / N as f64;
            }
        }
        for list in &mut around {
            list.sort_unstable();
            list.dedup();
        }
        Self {
            positions,
            around,
            areas,
        }
    }

    /// Neighbours of a vertex, rising.
    pub fn around(&self, vertex: u32) -> &[u32] {
        &self.around[vertex as usize]
    }

    /// The vertex nearest to a point, of those on a face; of equally near ones the first.
    pub fn nearest(&self, at: DVec3) -> Option<u32> {
        (0..self.positions.len() as u32)
            .filter(|&v| !self.around[v as usize].is_empty())
            .min_by(|&a, &b| {
                let far = |v: u32| self.positions[v as usize].distance_squared(at);
                far(a).total_cmp(&far(b))
            })
    }

    /// Shortest ways along edges from sources, no longer than `reach` (model units). Cost n log n.
    pub fn ways(&self, sources: &[u32], reach: f64) -> Ways {
        let n = self.positions.len();
        let mut ways = Ways {
            length: vec![f64::INFINITY; n],
            source: vec![0; n],
            before: (0..n as u32).collect(),
        };
        let mut queue = BinaryHeap::new();
        for &s in sources {
            ways.length[s as usize] = 0.0;
            ways.source[s as usize] = s;
            queue.push(Cheapest(0.0, s));
        }
        while let Some(Cheapest(length, v)) = queue.pop() {
            if length > ways.length[v as usize] {
                continue;
            }
            for &w in &self.around[v as usize] {
                let far = length + self.positions[v as usize].distance(self.positions[w as usize]);
                if far <= reach && far < ways.length[w as usize] {
                    ways.length[w as usize] = far;
                    ways.source[w as usize] = ways.source[v as usize];
                    ways.before[w as usize] = v;
                    queue.push(Cheapest(far, w));
                }
            }
        }
        ways
    }

    /// Whether each vertex lies in a region. With a plane, both sides of it are one: a region on
    /// the other side is mirrored to the front.
    pub fn inside(&self, region: &Region, plane: Option<Plane>) -> Vec<bool> {
        let front = |p: DVec3| match plane {
            Some(plane) if plane.height(p) < 0.0 => plane.mirror(p),
            _ => p,
        };
        match region {
            Region::Around { at, reach } => self.joined_within(front(*at), *reach),
            Region::Outline(points) => {
                let points: Vec<DVec3> = points.iter().map(|&p| front(p)).collect();
                self.enclosed(&points)
            }
        }
    }

    /// Vertices within a distance of a point that hang together with the one nearest to it.
    fn joined_within(&self, at: DVec3, reach: f64) -> Vec<bool> {
        let mut inside = vec![false; self.positions.len()];
        let Some(first) = self.nearest(at) else {
            return inside;
        };
        inside[first as usize] = true;
        let mut open = vec![first];
        while let Some(v) = open.pop() {
            for &w in &self.around[v as usize] {
                let near = self.positions[w as usize].distance(at) <= reach;
                if near && !std::mem::replace(&mut inside[w as usize], true) {
                    open.push(w);
                }
            }
        }
        inside
    }

    /// Vertices on a closed run of edges through points, and all but the largest of the parts that
    /// it cuts the mesh into.
    fn enclosed(&self, points: &[DVec3]) -> Vec<bool> {
        let mut inside = vec![false; self.positions.len()];
        let stops: Vec<u32> = points.iter().filter_map(|&p| self.nearest(p)).collect();
        for i in 0..stops.len() {
            let (from, to) = (stops[i], stops[(i + 1) % stops.len()]);
            inside[from as usize] = true;
            let apart = self.positions[from as usize].distance(self.positions[to as usize]);
            let mut ways = self.ways(&[from], 3.0 * apart);
            if ways.length[to as usize].is_infinite() {
                ways = self.ways(&[from], f64::INFINITY);
            }
            let mut v = to;
            while ways.length[v as usize].is_finite() && v != from {
                inside[v as usize] = true;
                v = ways.before[v as usize];
            }
        }
        // Only the piece of the mesh that the outline runs on is cut.
        let mut part = vec![usize::MAX; self.positions.len()];
        let mut sizes: Vec<(f64, bool)> = Vec::new();
        for start in 0..self.positions.len() {
            if inside[start] || part[start] != usize::MAX || self.around[start].is_empty() {
                continue;
            }
            let mut size = (0.0, false);
            let mut open = vec![start as u32];
            part[start] = sizes.len();
            while let Some(v) = open.pop() {
                size.0 += self.areas[v as usize];
                for &w in &self.around[v as usize] {
                    if inside[w as usize] {
                        size.1 = true;
                    } else if part[w as usize] == usize::MAX {
                        part[w as usize] = sizes.len();
                        open.push(w);
                    }
                }
            }
            sizes.push(size);
        }
        let largest = (0..sizes.len())
            .filter(|&i| sizes[i].1)
            .max_by(|&a, &b| sizes[a].0.total_cmp(&sizes[b].0).then(b.cmp(&a)));
        for v in 0..inside.len() {
            let cut = part[v] != usize::MAX && sizes[part[v]].1;
            inside[v] |= cut && Some(part[v]) != largest;
        }
        inside
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A flat plate of 20 × 20 unit squares, each cut along one diagonal.
    fn plate() -> (Vec<DVec3>, Vec<[u32; 3]>) {
        let n = 21u32;
        let positions = (0..n * n)
            .map(|i| DVec3::new(f64::from(i % n), f64::from(i / n), 0.0))
            .collect();
        let mut triangles = Vec::new();
        for j in 0..n - 1 {
            for i in 0..n - 1 {
                let a = j * n + i;
                triangles.extend([[a, a + 1, a + n + 1], [a, a + n + 1, a + n]]);
            }
        }
        (positions, triangles)
    }

    #[test]
    fn an_outline_encloses_the_square_that_it_draws() {
        let (positions, triangles) = plate();
        let vertices = Vertices::new(&positions, &triangles);
        let corners = [(4.0, 5.0), (12.0, 5.0), (12.0, 9.0), (4.0, 9.0)];
        let outline = corners.map(|(x, y)| DVec3::new(x, y, 0.3)).to_vec();
        let inside = vertices.inside(&Region::Outline(outline), None);
        for (p, &is) in positions.iter().zip(&inside) {
            let meant = (4.0..=12.0).contains(&p.x) && (5.0..=9.0).contains(&p.y);
            assert_eq!(is, meant, "{p}");
        }
    }

    #[test]
    fn a_region_behind_the_plane_is_the_one_before_it() {
        let (positions, triangles) = plate();
        let vertices = Vertices::new(&positions, &triangles);
        let plane = Plane {
            origin: DVec3::ZERO,
            normal: DVec3::X,
        };
        let behind = Region::Around {
            at: DVec3::new(-7.0, 8.0, 0.0),
            reach: 3.2,
        };
        let inside = vertices.inside(&behind, Some(plane));
        for (p, &is) in positions.iter().zip(&inside) {
            assert_eq!(is, p.distance(DVec3::new(7.0, 8.0, 0.0)) <= 3.2, "{p}");
        }
    }

    #[test]
    fn what_is_near_but_not_joined_is_left_out() {
        let (mut positions, mut triangles) = plate();
        // A second plate half a unit above the first.
        let count = positions.len() as u32;
        positions.extend_from_within(..);
        for p in &mut positions[count as usize..] {
            p.z = 0.5;
        }
        triangles.extend_from_within(..);
        let half = triangles.len() / 2;
        for t in &mut triangles[half..] {
            *t = t.map(|v| v + count);
        }
        let vertices = Vertices::new(&positions, &triangles);
        let around = Region::Around {
            at: DVec3::new(10.0, 10.0, 0.1),
            reach: 4.0,
        };
        let inside = vertices.inside(&around, None);
        assert!(inside[..count as usize].iter().any(|&i| i));
        assert!(!inside[count as usize..].iter().any(|&i| i));
    }
}
