//! Chords that straddle their guide.
//!
//! Vertices on a curve leave its bulges outside their chords by up to the sagitta; moving
//! them off the curve a little, by least squares over points spread along it, halves
//! the largest distance. Boundaries too: they stay boundaries wherever they lie.

use mesh::{DVec3, QuadMesh};

use super::Scene;
use super::rails::Seat;

/// Points of the curve between two neighbouring vertices.
const POINTS: usize = 8;
const SWEEPS: usize = 40;
/// Most that a vertex may leave its curve, in quad edges.
const MOST: f64 = 0.12;
/// Weight of staying on the curve, in points.
const STAY: f64 = 1.0;

struct Piece {
    ends: [u32; 2],
    points: Vec<(f64, DVec3)>,
}

/// Moves the vertices of every guide and boundary to where their chords fit the curve best.
pub(super) fn straddle(mesh: &mut QuadMesh, scene: &Scene) {
    let pieces = pieces_of(mesh, scene);
    let home = mesh.positions.clone();
    let mut at_vertex: Vec<Vec<(u32, u8)>> = vec![Vec::new(); home.len()];
    for (i, piece) in pieces.iter().enumerate() {
        for (k, &v) in piece.ends.iter().enumerate() {
            at_vertex[v as usize].push((i as u32, k as u8));
        }
    }
    for _ in 0..SWEEPS {
        for v in 0..home.len() {
            if at_vertex[v].is_empty() || !matches!(scene.seats[v], Seat::On { .. }) {
                continue;
            }
            let (mut sum, mut weight) = (home[v] * STAY, STAY);
            for &(i, k) in &at_vertex[v] {
                let piece = &pieces[i as usize];
                let other = mesh.positions[piece.ends[1 - k as usize] as usize];
                for &(t, p) in &piece.points {
                    let w = if k == 0 { 1.0 - t } else { t };
                    sum += (p - other * (1.0 - w)) * w;
                    weight += w * w;
                }
            }
            let away = sum / weight - home[v];
            let limit = MOST * scene.edge;
            mesh.positions[v] = home[v] + away * (limit / away.length().max(limit));
        }
    }
}

/// Edges along rails other than the mirror plane's, with points of the rail between their ends.
fn pieces_of(mesh: &QuadMesh, scene: &Scene) -> Vec<Piece> {
    let mut pieces = Vec::new();
    for (v, around) in scene.around.iter().enumerate() {
        let Seat::On { rail, s } = scene.seats[v] else { continue };
        let curve = &scene.rails[rail];
        if curve.on_plane {
            continue;
        }
        for &n in around {
            let there = match scene.seats[n as usize] {
                Seat::On { rail: other, s } if other == rail && (n as usize) > v => s,
                Seat::Pinned => {
                    let at = curve.nearest(mesh.positions[n as usize], None);
                    if curve.at(at).distance(mesh.positions[n as usize]) > 1e-6 * scene.edge {
                        continue;
                    }
                    at
                }
                _ => continue,
            };
            let mut way = there - s;
            if curve.closed {
                let whole = curve.length();
                way = (way + whole / 2.0).rem_euclid(whole) - whole / 2.0;
            }
            // Not neighbours along the curve: an edge that cuts across from one bend to the next.
            if way.abs() > 3.0 * mesh.positions[v].distance(mesh.positions[n as usize]) + 0.1 * scene.edge {
                continue;
            }
            let points = (0..POINTS)
                .map(|i| {
                    let t = (i as f64 + 0.5) / POINTS as f64;
                    (t, curve.at(s + way * t))
                })
                .collect();
            pieces.push(Piece { ends: [v as u32, n], points });
        }
    }
    pieces
}
