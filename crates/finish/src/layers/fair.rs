//! How rough a displacement of a quad mesh's vertices is.
//!
//! Loops are what an artist sees, so roughness is counted along them: the second
//! difference of each three vertices in a row, as a thin elastic line along the loop would
//! have it; at poles, the difference to the mean of the neighbours. A little is added for
//! differences along edges and for size, so that the form has no free motion.

use mesh::{QuadMesh, QuadTopology};

use super::half::Halves;

/// Weight of a difference along an edge beside that of a bend.
const STRETCH: f64 = 0.05;
/// Weight of size beside that of a bend.
const SIZE: f64 = 0.01;
/// How much more bends count on guides, and on the loops beside them.
const GUIDED: f64 = 6.0;
const BESIDE: f64 = 3.0;

/// A quadratic form over vertices, as the lower triangle of its matrix.
pub(super) struct Form {
    pub size: usize,
    /// Row, column (at most the row), value; sorted, each place once.
    pub lower: Vec<(usize, usize, f64)>,
}

impl Form {
    /// The roughness of a mesh's displacement. Vertex v of the mesh moves as unknown `unknown[v]`
    /// of `size`; several may move as one. Those that only follow others count for nothing,
    /// `guided` ones and their neighbours more.
    pub fn of(mesh: &QuadMesh, halves: &Halves, guided: &[u32]) -> Self {
        let (unknown, size) = (&halves.unknown, halves.len());
        let topology = mesh.topology();
        let mut entries = Vec::new();
        let mut add = |terms: &[(u32, f64)], weight: f64| {
            for &(a, x) in terms {
                for &(b, y) in terms {
                    let (row, column) = (unknown[a as usize], unknown[b as usize]);
                    if row >= column {
                        // Both orders of two vertices that move as one fall on the diagonal.
                        entries.push((row as usize, column as usize, weight * x * y));
                    }
                }
            }
        };
        let mut course = vec![1.0; mesh.positions.len()];
        for [one, two] in topology.edges.iter().map(|e| e.map(|v| v as usize)) {
            for (v, other) in [(one, two), (two, one)] {
                if guided.binary_search(&(v as u32)).is_ok() {
                    course[v] = GUIDED;
                    course[other] = f64::max(course[other], BESIDE);
                }
            }
        }
        for (v, around) in neighbours(&topology).iter().enumerate() {
            if halves.follows[v] {
                continue;
            }
            let course = course[v];
            let v = v as u32;
            add(&[(v, 1.0)], SIZE);
            let at = |u: u32| mesh.positions[u as usize];
            let mut rows = 0;
            for (i, (a, of_a)) in around.iter().enumerate() {
                for (b, of_b) in &around[i + 1..] {
                    let regular = around.len() == 4 || topology.on_boundary[v as usize];
                    if !regular || of_a.iter().any(|q| of_b.contains(q)) {
                        continue;
                    }
                    let (la, lb) = (at(*a).distance(at(v)), at(*b).distance(at(v)));
                    let share = if la + lb > 0.0 { la / (la + lb) } else { 0.5 };
                    add(
                        &[(v, 2.0), (*a, -2.0 * (1.0 - share)), (*b, -2.0 * share)],
                        course,
                    );
                    rows += 1;
                }
            }
            if rows == 0 && !topology.on_boundary[v as usize] && !around.is_empty() {
                let each = -2.0 / around.len() as f64;
                let mut terms = vec![(v, 2.0)];
                terms.extend(around.iter().map(|(a, _)| (*a, each)));
                add(&terms, course);
            }
        }
        for &[a, b] in &topology.edges {
            if !halves.follows[a as usize] && !halves.follows[b as usize] {
                add(&[(a, 1.0), (b, -1.0)], STRETCH);
            }
        }
        Self {
            size,
            lower: merged(entries),
        }
    }

    /// Squares of differences along edges and of size, the latter so that what is pulled at one
    /// vertex has an effect that dies out within about `reach` edges and is nowhere below 0.
    pub fn spread(mesh: &QuadMesh, unknown: &[u32], size: usize, reach: f64) -> Self {
        let mut entries: Vec<(usize, usize, f64)> = Vec::new();
        entries.extend((0..size).map(|v| (v, v, 1.0 / (reach * reach))));
        for edge in mesh.topology().edges {
            let [a, b] = edge.map(|v| unknown[v as usize] as usize);
            if a != b {
                entries.extend([(a, a, 1.0), (b, b, 1.0), (a.max(b), a.min(b), -1.0)]);
            }
        }
        Self {
            size,
            lower: merged(entries),
        }
    }

    /// The form's matrix times a vector.
    pub fn times(&self, x: &[f64]) -> Vec<f64> {
        let mut y = vec![0.0; self.size];
        for &(row, column, value) in &self.lower {
            y[row] += value * x[column];
            if row != column {
                y[column] += value * x[row];
            }
        }
        y
    }
}

/// Entries sorted by place, those of one place summed in the order given.
pub(super) fn merged(mut entries: Vec<(usize, usize, f64)>) -> Vec<(usize, usize, f64)> {
    entries.sort_by_key(|e| (e.0, e.1));
    let mut lower: Vec<(usize, usize, f64)> = Vec::new();
    for (row, column, value) in entries {
        match lower.last_mut() {
            Some(last) if (last.0, last.1) == (row, column) => last.2 += value,
            _ => lower.push((row, column, value)),
        }
    }
    lower
}

/// Each vertex's neighbours with the quads of the edge between.
fn neighbours(topology: &QuadTopology) -> Vec<Vec<(u32, Vec<u32>)>> {
    let mut quads_of = vec![Vec::new(); topology.edges.len()];
    for (corner, &edge) in topology.edge_of_corner.iter().enumerate() {
        quads_of[edge as usize].push(corner as u32 / 4);
    }
    let mut around = vec![Vec::new(); topology.valence.len()];
    for (&[a, b], quads) in topology.edges.iter().zip(quads_of) {
        around[a as usize].push((b, quads.clone()));
        around[b as usize].push((a, quads));
    }
    around
}
