//! Sculpts made by formula, for tests of the first stages.

use std::f64::consts::TAU;
use std::sync::Arc;

use mesh::{DVec3, SurfaceIndex, TriMesh};

use crate::model::{Guide, GuideKind, Sculpt};

pub(crate) fn sculpt_of(mesh: TriMesh) -> Sculpt {
    let mesh = Arc::new(mesh);
    Sculpt {
        index: Arc::new(SurfaceIndex::new(mesh.clone())),
        normals: Arc::new(mesh.vertex_normals()),
        mesh,
    }
}

/// Points of a grid of `columns` × `rows` joined to triangles that face along
/// (column step) × (row step); the grid may close along either.
pub(crate) fn grid(
    columns: u32,
    rows: u32,
    closed: [bool; 2],
    point: impl Fn(f64, f64) -> DVec3,
) -> TriMesh {
    let across = if closed[0] { columns } else { columns + 1 };
    let along = if closed[1] { rows } else { rows + 1 };
    let mut mesh = TriMesh::default();
    for j in 0..along {
        for i in 0..across {
            let p = point(
                f64::from(i) / f64::from(columns),
                f64::from(j) / f64::from(rows),
            );
            mesh.positions.push(p.as_vec3());
        }
    }
    let at = |i: u32, j: u32| (j % along) * across + i % across;
    for j in 0..rows {
        for i in 0..columns {
            let (a, b, c, d) = (at(i, j), at(i + 1, j), at(i + 1, j + 1), at(i, j + 1));
            // Diagonals by turns, so that no direction is preferred.
            if (i + j) % 2 == 0 {
                mesh.triangles.extend([[a, b, c], [a, c, d]]);
            } else {
                mesh.triangles.extend([[a, b, d], [b, c, d]]);
            }
        }
    }
    mesh
}

/// A point of an upright tube: `turn` around y from 0 to 1, height `y`.
pub(crate) fn on_tube(radius: f64, turn: f64, y: f64) -> DVec3 {
    DVec3::new(radius * (turn * TAU).cos(), y, -radius * (turn * TAU).sin())
}

/// An open tube around y: radius 1, height 4, with a little unevenness around.
pub(crate) fn tube(columns: u32, rows: u32) -> Sculpt {
    sculpt_of(grid(columns, rows, [true, false], |u, v| {
        on_tube(1.0, u + 0.3 / f64::from(columns), 4.0 * v)
    }))
}

/// A closed tube of cloth: outer radius 1, inner radius 0.92, height 4, rims flat.
pub(crate) fn thick_tube(columns: u32, rows: u32) -> Sculpt {
    cloth_tube(columns, rows, 0.08, |_| 1.0)
}

/// Outer radius of [`pleated_tube`] at a turn.
pub(crate) fn pleat(turn: f64) -> f64 {
    1.0 + 0.5 * (3.0 * ((6.0 * turn * TAU).cos() - 1.0)).exp()
}

/// As [`thick_tube`], with six sharp pleats.
pub(crate) fn pleated_tube(columns: u32, rows: u32) -> Sculpt {
    cloth_tube(columns, rows, 0.08, pleat)
}

/// A closed tube of cloth of a thickness, with its outer radius by turn.
fn cloth_tube(columns: u32, rows: u32, thick: f64, outer: impl Fn(f64) -> f64) -> Sculpt {
    let rim = 2u32;
    let whole = 2 * (rows + rim);
    let mesh = grid(columns, whole, [true, true], |u, v| {
        let step = v * f64::from(whole);
        let (rows, rim) = (f64::from(rows), f64::from(rim));
        let (in_by, y) = if step <= rows {
            (0.0, 4.0 * step / rows)
        } else if step <= rows + rim {
            (thick * (step - rows) / rim, 4.0)
        } else if step <= 2.0 * rows + rim {
            (thick, 4.0 * (1.0 - (step - rows - rim) / rows))
        } else {
            (thick * (1.0 - (step - 2.0 * rows - rim) / rim), 0.0)
        };
        let turn = u + 0.3 / f64::from(columns);
        on_tube(outer(turn) - in_by, turn, y)
    });
    sculpt_of(mesh)
}

/// A closed guide through points of a tube of radius 1 at heights `y(turn)`.
pub(crate) fn ring(name: &str, kind: GuideKind, points: u32, y: impl Fn(f64) -> f64) -> Guide {
    Guide {
        name: name.to_owned(),
        kind,
        closed: true,
        count: None,
        points: (0..points)
            .map(|i| f64::from(i) / f64::from(points))
            .map(|turn| on_tube(1.0, turn, y(turn)))
            .collect(),
    }
}

/// An open guide along a tube at one turn.
pub(crate) fn line(name: &str, kind: GuideKind, turn: f64, from: f64, to: f64) -> Guide {
    Guide {
        name: name.to_owned(),
        kind,
        closed: false,
        count: None,
        points: (0..=12)
            .map(|i| on_tube(1.0, turn, from + (to - from) * f64::from(i) / 12.0))
            .collect(),
    }
}
