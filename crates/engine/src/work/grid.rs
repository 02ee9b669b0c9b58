//! Vertices by place.

use mesh::DVec3;

use super::edit::EditMesh;

/// Vertices sorted by the cube they lie in.
#[derive(Debug)]
pub(super) struct Grid {
    low: DVec3,
    cell: f64,
    vertices: Vec<(u64, u32)>,
}

/// Cubes along each axis at most, so that a key fits into 64 bits.
const MOST: f64 = 1_000_000.0;

impl Grid {
    /// The live vertices of a mesh that `holds` says yes to.
    pub fn of(mesh: &EditMesh, cell: f64, holds: impl Fn(u32) -> bool) -> Self {
        Self::new(&mesh.pos, cell, |v| mesh.has_vertex(v) && holds(v))
    }

    /// Sorts the vertices that `holds` says yes to into cubes with sides of about `cell`.
    fn new(positions: &[DVec3], cell: f64, holds: impl Fn(u32) -> bool) -> Self {
        let bounds = |(low, high): (DVec3, DVec3), p: &DVec3| (low.min(*p), high.max(*p));
        let (low, high) = positions.iter().fold(
            (DVec3::splat(f64::INFINITY), DVec3::splat(f64::NEG_INFINITY)),
            bounds,
        );
        let cell = cell.max((high - low).max_element() / MOST);
        let mut grid = Self {
            low,
            cell,
            vertices: Vec::with_capacity(positions.len()),
        };
        for v in (0..positions.len() as u32).filter(|&v| holds(v)) {
            let [x, y, z] = grid.cube(positions[v as usize]);
            grid.vertices.push((key(x, y, z), v));
        }
        grid.vertices.sort_unstable();
        grid
    }

    fn cube(&self, p: DVec3) -> [i64; 3] {
        ((p - self.low) / self.cell)
            .floor()
            .to_array()
            .map(|x| x as i64)
    }

    /// Calls `found` for all vertices in the cubes within `reach` of a point: all that
    /// are that near, and some more.
    pub fn near(&self, p: DVec3, reach: f64, mut found: impl FnMut(u32)) {
        let ([x0, y0, z0], [x1, y1, z1]) = (
            self.cube(p - DVec3::splat(reach)),
            self.cube(p + DVec3::splat(reach)),
        );
        for x in x0.max(0)..=x1 {
            for y in y0.max(0)..=y1 {
                // Cubes along z are one run of the sorted list.
                let first = self
                    .vertices
                    .partition_point(|&(k, _)| k < key(x, y, z0.max(0)));
                let last = key(x, y, z1);
                for &(_, v) in self.vertices[first..]
                    .iter()
                    .take_while(|&&(k, _)| k <= last)
                {
                    found(v);
                }
            }
        }
    }
}

fn key(x: i64, y: i64, z: i64) -> u64 {
    ((x as u64) << 42) | ((y as u64) << 21) | z as u64
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn everything_near_is_found() {
        let points: Vec<DVec3> = (0..500)
            .map(|k| {
                let k = f64::from(k);
                DVec3::new(
                    (k * 0.731).fract(),
                    (k * 0.317).fract(),
                    (k * 0.113).fract(),
                )
            })
            .collect();
        let grid = Grid::new(&points, 0.1, |_| true);
        for &centre in points.iter().step_by(37) {
            let mut found = Vec::new();
            grid.near(centre, 0.15, |v| found.push(v));
            found.sort_unstable();
            for (v, p) in points.iter().enumerate() {
                if p.distance(centre) <= 0.15 {
                    assert!(found.binary_search(&(v as u32)).is_ok());
                }
            }
        }
    }
}
