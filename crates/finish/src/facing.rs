//! Whether a garment faces outward, told in two ways that know nothing of how it was made.
//!
//! Of each piece the openings are closed by fans. Then its signed volume is positive (divergence
//! theorem), and a ray that leaves a face along its normal meets the closed piece an even number of
//! times more (Jordan's theorem): it was outside already. Within a piece whose neighbours agree, all
//! faces face the way that most do.

use std::sync::Arc;

use base::{Finding, Findings, Level, Place};
use mesh::{DVec3, QuadMesh, SurfaceIndex, TriMesh};
use rayon::prelude::*;

/// Most faces of a piece from which rays go out.
const RAYS: usize = 600;
/// A ray starts this share of the piece's size off its face, and goes on as far behind each hit.
const OFF: f64 = 1e-6;
/// Most hits of one ray.
const HITS: usize = 256;
/// Share of rays that has to be outside: fans may cut through what they close.
const MOST: f64 = 0.9;

/// One piece of a surface.
#[derive(Clone, Debug, PartialEq)]
pub struct Piece {
    /// Its quads, rising.
    pub quads: Vec<u32>,
    /// Signed volume with its openings closed, cubic model units; above 0 where it faces outward.
    pub volume: f64,
    /// Openings that were closed.
    pub openings: usize,
    /// Share of rays that began outside.
    pub outside: f64,
}

/// Measures each piece of a surface, in the order of their first quads.
pub fn pieces(surface: &QuadMesh) -> Vec<Piece> {
    let topology = surface.topology();
    let mut piece_of: Vec<Option<usize>> = vec![None; surface.quads.len()];
    let mut pieces: Vec<Vec<u32>> = Vec::new();
    for start in 0..surface.quads.len() {
        if piece_of[start].is_some() {
            continue;
        }
        let number = pieces.len();
        piece_of[start] = Some(number);
        let (mut quads, mut done) = (vec![start as u32], 0);
        while let Some(&q) = quads.get(done) {
            done += 1;
            for corner in 4 * q as usize..4 * q as usize + 4 {
                let other = topology.twin[corner].map(|twin| twin / 4);
                if let Some(other) = other.filter(|&o| piece_of[o as usize].is_none()) {
                    piece_of[other as usize] = Some(number);
                    quads.push(other);
                }
            }
        }
        quads.sort_unstable();
        pieces.push(quads);
    }
    let loops = topology.boundary_loops();
    let owner = |v: u32| {
        let quad = surface.quads.iter().position(|q| q.contains(&v));
        quad.and_then(|q| piece_of[q])
    };
    let owners: Vec<Option<usize>> = loops.iter().map(|l| owner(l[0])).collect();
    let measured = |(number, quads): (usize, Vec<u32>)| {
        let own = loops.iter().zip(&owners);
        let own: Vec<&Vec<u32>> = own.filter(|o| *o.1 == Some(number)).map(|o| o.0).collect();
        piece(surface, quads, &own)
    };
    pieces.into_iter().enumerate().map(measured).collect()
}

fn piece(surface: &QuadMesh, quads: Vec<u32>, openings: &[&Vec<u32>]) -> Piece {
    let mut positions = surface.positions.clone();
    let mut triangles: Vec<[u32; 3]> = Vec::with_capacity(4 * quads.len());
    // Quads as fans about their middles: any diagonal would do as well.
    for &q in &quads {
        let middle = positions.len() as u32;
        positions.push(surface.centre(q as usize));
        let c = surface.quads[q as usize];
        triangles.extend((0..4).map(|i| [c[i], c[(i + 1) % 4], middle]));
    }
    for run in openings {
        let middle = positions.len() as u32;
        positions.push(mesh::runs::centroid(
            &run.iter()
                .map(|&v| positions[v as usize])
                .collect::<Vec<DVec3>>(),
            true,
        ));
        // The surface runs along its end with itself on the left; the fan the other way.
        triangles
            .extend(mesh::runs::pieces(run.len(), true).map(|(i, j)| [run[j], run[i], middle]));
    }
    let at = |t: &[u32; 3]| t.map(|v| positions[v as usize]);
    let origin = quads
        .first()
        .map_or(DVec3::ZERO, |&q| surface.centre(q as usize));
    let volume = |t: &[u32; 3]| {
        let [a, b, c] = at(t).map(|p| p - origin);
        a.dot(b.cross(c)) / 6.0
    };
    let sum: f64 = triangles.iter().map(volume).sum();
    let reach = quads.iter().flat_map(|&q| surface.quads[q as usize]);
    let reach = reach
        .map(|v| surface.positions[v as usize].distance(origin))
        .fold(0.0, f64::max);
    let index = SurfaceIndex::new(Arc::new(TriMesh {
        positions: positions.iter().map(|p| p.as_vec3()).collect(),
        triangles,
    }));
    let step = quads.len().div_ceil(RAYS).max(1);
    let asked: Vec<u32> = quads.iter().copied().step_by(step).collect();
    let outside = |&q: &u32| {
        let quad = surface.quads[q as usize];
        let [a, b] = [quad[0], quad[1]].map(|v| surface.positions[v as usize]);
        let middle = surface.centre(q as usize);
        let normal = (b - a).cross(middle - a).normalize_or_zero();
        let start = 0.27 * a + 0.31 * b + 0.42 * middle;
        hits(&index, start + OFF * reach * normal, normal, OFF * reach).is_multiple_of(2)
    };
    let count = asked.par_iter().filter(|q| outside(q)).count();
    Piece {
        volume: sum,
        openings: openings.len(),
        outside: count as f64 / asked.len().max(1) as f64,
        quads,
    }
}

/// How often a ray meets a surface.
fn hits(index: &SurfaceIndex, mut from: DVec3, way: DVec3, off: f64) -> usize {
    let mut count = 0;
    while count < HITS {
        let Some(hit) = index.ray(from, way, f64::INFINITY) else {
            break;
        };
        count += 1;
        from += (hit.distance + off) * way;
    }
    count
}

/// What the two ways tell of a piece.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Facing {
    Outward,
    /// They don't agree, or rays don't among themselves: the fans of wide openings, as of a cape with
    /// its collar turned down, close it no better than anything else would.
    Unclear,
    Inward,
}

fn facing(piece: &Piece) -> Facing {
    if piece.volume > 0.0 && piece.outside >= MOST {
        Facing::Outward
    } else if piece.openings > 0 && (piece.volume > 0.0 || piece.outside > 1.0 - MOST) {
        Facing::Unclear
    } else {
        Facing::Inward
    }
}

/// Whether each piece of a surface faces outward.
pub fn findings(surface: &QuadMesh) -> Findings {
    let pieces = pieces(surface);
    let that =
        |what: Facing| -> Vec<&Piece> { pieces.iter().filter(|p| facing(p) == what).collect() };
    let (inward, unclear) = (that(Facing::Inward), that(Facing::Unclear));
    let least = pieces.iter().map(|p| p.outside).fold(1.0, f64::min);
    let (level, sentence) = if !inward.is_empty() {
        let sentence = format!(
            "{} of {} pieces don't face outward by their volume or by rays from their faces. Turn the sculpt's faces over, or look for places where the surface passes through itself.",
            inward.len(),
            pieces.len()
        );
        (Level::Fail, sentence)
    } else if !unclear.is_empty() {
        let sentence = format!(
            "{} of {} pieces are too open to tell by volume and rays whether they face outward ({:.0} % of rays lead out with openings closed). Look at the pictures: hatched faces are seen from behind.",
            unclear.len(),
            pieces.len(),
            100.0 * least
        );
        (Level::Warn, sentence)
    } else {
        let closed = pieces.iter().map(|p| p.openings).sum::<usize>();
        let sentence = format!(
            "All faces face outward: {} with positive volume ({closed} openings closed by fans), and {:.1} % of rays from faces lead out.",
            match pieces.len() {
                1 => "one piece".to_owned(),
                n => format!("{n} pieces"),
            },
            100.0 * least
        );
        (Level::Pass, sentence)
    };
    let place = |p: &Piece| {
        let id = p.quads.first().copied()?;
        let at = surface.centre(id as usize).to_array();
        Some(Place::Face { id, at })
    };
    let mut findings = Findings::default();
    let places = inward.into_iter().chain(unclear).filter_map(place);
    let finding = Finding::new("faces-outward", level, sentence).measured(least, Some(MOST));
    findings.push(places.fold(finding, Finding::at));
    findings
}

#[cfg(test)]
mod tests {
    use std::f64::consts::{PI, TAU};

    use super::*;
    use crate::trims::tests::tube;

    fn turned(mesh: &QuadMesh) -> QuadMesh {
        let mut mesh = mesh.clone();
        mesh.quads.iter_mut().for_each(|q| q.reverse());
        mesh
    }

    fn torus(n: u32) -> QuadMesh {
        let at = |i: u32, j: u32| (i % n) * n + j % n;
        let place = |i: u32, j: u32| {
            let [u, v] = [i, j].map(|k| TAU * f64::from(k) / f64::from(n));
            let out = DVec3::new(u.cos(), u.sin(), 0.0);
            3.0 * out + v.cos() * out + v.sin() * DVec3::Z
        };
        QuadMesh {
            positions: (0..n)
                .flat_map(|i| (0..n).map(move |j| place(i, j)))
                .collect(),
            quads: (0..n)
                .flat_map(|i| (0..n).map(move |j| (i, j)))
                .map(|(i, j)| [at(i, j), at(i + 1, j), at(i + 1, j + 1), at(i, j + 1)])
                .collect(),
            groups: vec![],
        }
    }

    /// A sphere as a tube from near pole to near pole, whose small ends the fans close.
    fn sphere(n: u32) -> QuadMesh {
        let mut mesh = tube(2 * n, n, 1.0, |_, _| 1.0);
        for p in &mut mesh.positions {
            let tilt = PI * ((p.y / f64::from(n)) * 0.98 + 0.01 - 0.5);
            *p = 2.0 * DVec3::new(p.x * tilt.cos(), tilt.sin(), p.z * tilt.cos());
        }
        mesh
    }

    /// Handbook volumes: 2 π² R r² of a torus, 4/3 π r³ of a sphere, and of a prism over a regular
    /// polygon n / 2 r² sin(2 π / n) h.
    #[test]
    fn volumes_are_those_of_the_handbook_and_turn_with_the_faces() {
        let prism = 12.0 / 2.0 * 25.0 * (TAU / 12.0).sin() * 8.0;
        for (mesh, exact, within) in [
            (torus(64), 2.0 * PI * PI * 3.0, 5e-3),
            (sphere(48), 4.0 / 3.0 * PI * 8.0, 5e-3),
            (tube(12, 4, 2.0, |_, _| 5.0), prism, 1e-9),
        ] {
            let found = pieces(&mesh);
            assert_eq!(found.len(), 1);
            assert!(
                (found[0].volume / exact - 1.0).abs() < within,
                "{} {exact}",
                found[0].volume
            );
            assert_eq!(found[0].outside, 1.0);
            assert!(findings(&mesh).is_ready());
            let inside_out = pieces(&turned(&mesh));
            assert!((inside_out[0].volume + found[0].volume).abs() < 1e-9 * exact);
            assert_eq!(inside_out[0].outside, 0.0);
            let told = findings(&turned(&mesh));
            assert!(!told.is_ready());
            assert!(told.iter().all(|f| !f.places.is_empty()));
        }
    }

    /// One piece of two is inside out: the other one's size can't hide it.
    #[test]
    fn each_piece_is_looked_at_by_itself() {
        let mut mesh = sphere(32);
        let mut small = turned(&torus(24));
        let first = mesh.positions.len() as u32;
        small.quads.iter_mut().flatten().for_each(|v| *v += first);
        mesh.positions
            .extend(small.positions.iter().map(|p| 0.1 * *p));
        mesh.quads.extend(small.quads);
        let found = pieces(&mesh);
        assert_eq!(found.len(), 2);
        assert!(found[0].volume > 0.0 && found[1].volume < 0.0);
        assert!(!findings(&mesh).is_ready());
    }

    /// A cape, open in front, with its collar turned down: fans close it badly, and that alone isn't
    /// a fault. Turned over as a whole it isn't called outward either.
    #[test]
    fn a_cape_is_too_open_to_tell() {
        let profile = [
            (1.4, 0.0),
            (1.2, 1.0),
            (1.1, 2.0),
            (1.0, 3.0),
            (1.3, 3.1),
            (1.4, 2.2),
        ];
        let columns = 24;
        let place = |i: usize, (radius, height): (f64, f64)| {
            let angle = 1.2 * PI * i as f64 / (columns - 1) as f64;
            DVec3::new(radius * angle.cos(), height, -radius * angle.sin())
        };
        let at = |row: usize, i: usize| (row * columns + i) as u32;
        let rows = profile.len() - 1;
        let cape = QuadMesh {
            positions: profile
                .iter()
                .flat_map(|&p| (0..columns).map(move |i| place(i, p)))
                .collect(),
            quads: (0..rows)
                .flat_map(|r| (0..columns - 1).map(move |i| (r, i)))
                .map(|(r, i)| [at(r, i), at(r, i + 1), at(r + 1, i + 1), at(r + 1, i)])
                .collect(),
            groups: vec![],
        };
        for mesh in [cape.clone(), turned(&cape)] {
            let found = pieces(&mesh);
            assert!(
                (0.1..0.9).contains(&found[0].outside),
                "{}",
                found[0].outside
            );
            let told = findings(&mesh);
            assert!(told.is_ready());
            assert!(
                told.iter()
                    .all(|f| f.level == Level::Warn && !f.places.is_empty())
            );
        }
    }
}
