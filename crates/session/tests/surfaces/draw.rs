//! Guides drawn on the bent tube's unrolled wall, and on a flat plate.

use std::f64::consts::TAU;

use engine::model::{Guide, GuideKind};
use mesh::{DVec3, TriMesh};

use crate::support::{loop_guide, on_bent_tube};

/// Radius of the tube.
pub const RADIUS: f64 = 4.0;

/// A guide through points of the tube's wall: length along the middle, and the way around it in
/// model units, from the outside of the bend on.
pub fn on_wall(name: &str, kind: GuideKind, closed: bool, points: &[[f64; 2]]) -> Guide {
    Guide {
        name: name.to_owned(),
        kind,
        closed,
        count: None,
        points: points
            .iter()
            .map(|&[s, around]| on_bent_tube(s, around / (TAU * RADIUS)))
            .collect(),
    }
}

/// Points on the straight way over the wall between corners, about 0.4 apart.
pub fn way(corners: &[[f64; 2]]) -> Vec<[f64; 2]> {
    let mut points = vec![corners[0]];
    for w in corners.windows(2) {
        let [from, to] = [w[0], w[1]];
        let long = (to[0] - from[0]).hypot(to[1] - from[1]);
        let steps = (long / 0.4).ceil().max(1.0) as usize;
        points.extend((1..=steps).map(|i| {
            let t = i as f64 / steps as f64;
            [
                from[0] + t * (to[0] - from[0]),
                from[1] + t * (to[1] - from[1]),
            ]
        }));
    }
    points
}

/// A line along the straight way between corners.
pub fn line(name: &str, corners: &[[f64; 2]]) -> Guide {
    on_wall(name, GuideKind::Line, false, &way(corners))
}

/// A circle drawn flat on the wall.
pub fn patch(name: &str, kind: GuideKind, [s, around]: [f64; 2], radius: f64) -> Guide {
    let points: Vec<[f64; 2]> = (0..48)
        .map(|i| {
            let angle = TAU * f64::from(i) / 48.0;
            [s + radius * angle.cos(), around + radius * angle.sin()]
        })
        .collect();
    on_wall(name, kind, true, &points)
}

/// A ring in a plane that is turned by `tilt_deg` against the tube's section at `s`; on the
/// straight pieces an ellipse.
pub fn slanted(name: &str, s: f64, tilt_deg: f64, count: Option<u32>) -> Guide {
    let slope = RADIUS * tilt_deg.to_radians().tan();
    loop_guide(name, GuideKind::Ring, count, |turn| {
        on_bent_tube(s + slope * (turn * TAU).cos(), turn)
    })
}

/// The same guide with a count.
pub fn counted(mut guide: Guide, count: u32) -> Guide {
    guide.count = Some(count);
    guide
}

/// The same guide drawn from its other end.
pub fn reversed(mut guide: Guide, name: &str) -> Guide {
    guide.points.reverse();
    name.clone_into(&mut guide.name);
    guide
}

/// A flat plate, 40 by 40, from a grid, its middle at the origin, facing +y.
pub fn plate() -> TriMesh {
    let n = 80u32;
    let at = |i: u32, j: u32| i * (n + 1) + j;
    let mut mesh = TriMesh::default();
    for i in 0..=n {
        for j in 0..=n {
            let [x, z] = [i, j].map(|k| 40.0 * (f64::from(k) / f64::from(n) - 0.5));
            mesh.positions.push(DVec3::new(x, 0.0, z).as_vec3());
        }
    }
    for i in 0..n {
        for j in 0..n {
            let [a, b, c, d] = [at(i, j), at(i, j + 1), at(i + 1, j + 1), at(i + 1, j)];
            mesh.triangles.extend([[a, b, c], [a, c, d]]);
        }
    }
    mesh
}

/// A guide on the plate.
pub fn on_plate(name: &str, kind: GuideKind, closed: bool, points: &[[f64; 2]]) -> Guide {
    Guide {
        name: name.to_owned(),
        kind,
        closed,
        count: None,
        points: points.iter().map(|p| DVec3::new(p[0], 0.0, p[1])).collect(),
    }
}
