//! Whether a surface is sound, worked out from its faces alone.
//!
//! Shares no code with the engine or with `mesh`: counts are taken from sorted lists of
//! sides. The sums are Euler's formula and, for quads, the identity that follows from it:
//! Σ(4 − valence) over inner vertices + Σ(3 − valence) over boundary vertices = 4 χ.

use mesh::DVec3;

/// What the faces of a surface add up to.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Counts {
    /// Vertices that a face names.
    pub vertices: usize,
    /// Edges.
    pub edges: usize,
    /// Faces.
    pub faces: usize,
    /// Connected pieces.
    pub pieces: usize,
    /// Boundary loops.
    pub loops: usize,
    /// V − E + F.
    pub euler: i64,
    /// Edges with more than two faces.
    pub heavy_edges: usize,
    /// Edges whose two faces run them the same way.
    pub twisted_edges: usize,
    /// Vertices whose faces are several fans.
    pub pinched_vertices: usize,
    /// Inner vertices whose valence isn't four.
    pub poles: usize,
    /// Σ(4 − valence) over inner vertices.
    pub inner_sum: i64,
    /// Σ(3 − valence) over boundary vertices.
    pub rim_sum: i64,
}

/// Representative of each element's set, with paths halved.
fn root(of: &mut [u32], mut i: u32) -> u32 {
    while of[i as usize] != i {
        of[i as usize] = of[of[i as usize] as usize];
        i = of[i as usize];
    }
    i
}

fn unite(of: &mut [u32], a: u32, b: u32) {
    let (a, b) = (root(of, a), root(of, b));
    of[a.max(b) as usize] = a.min(b);
}

fn sets(of: &mut [u32], members: impl Iterator<Item = u32>) -> usize {
    let mut roots: Vec<u32> = members.map(|m| root(of, m)).collect();
    roots.sort_unstable();
    roots.dedup();
    roots.len()
}

impl Counts {
    /// Counts over faces of `N` corners each.
    pub fn of<const N: usize>(faces: &[[u32; N]]) -> Self {
        let size = faces.iter().flatten().max().map_or(0, |v| *v as usize + 1);
        // (lower end, higher end, corner), a corner being a face's place and side.
        let mut sides: Vec<(u32, u32, u32)> = Vec::with_capacity(faces.len() * N);
        for (f, face) in faces.iter().enumerate() {
            for i in 0..N {
                let (a, b) = (face[i], face[(i + 1) % N]);
                sides.push((a.min(b), a.max(b), (f * N + i) as u32));
            }
        }
        sides.sort_unstable();
        let from = |corner: u32| faces[corner as usize / N][corner as usize % N];
        let mut counts = Self {
            faces: faces.len(),
            ..Self::default()
        };
        let mut valence = vec![0i64; size];
        let mut rim = vec![false; size];
        let mut piece: Vec<u32> = (0..faces.len() as u32).collect();
        // Corners of one vertex that meet across a side are one fan.
        let mut fan: Vec<u32> = (0..(faces.len() * N) as u32).collect();
        let corner_at = |side: u32, vertex: u32| {
            let (face, i) = (side as usize / N, side as usize % N);
            let i = if faces[face][i] == vertex {
                i
            } else {
                (i + 1) % N
            };
            (face * N + i) as u32
        };
        let mut rims: Vec<(u32, u32)> = Vec::new();
        for run in sides.chunk_by(|x, y| (x.0, x.1) == (y.0, y.1)) {
            let (a, b, first) = run[0];
            counts.edges += 1;
            valence[a as usize] += 1;
            valence[b as usize] += 1;
            counts.heavy_edges += usize::from(run.len() > 2);
            if let [_] = run {
                rim[a as usize] = true;
                rim[b as usize] = true;
                rims.push((a, b));
            }
            for pair in run.windows(2) {
                let (one, two) = (pair[0].2, pair[1].2);
                counts.twisted_edges += usize::from(from(one) == from(two));
                unite(&mut piece, one / N as u32, two / N as u32);
            }
            for &(_, _, other) in &run[1..] {
                for v in [a, b] {
                    unite(&mut fan, corner_at(first, v), corner_at(other, v));
                }
            }
        }
        let mut fans: Vec<(u32, u32)> = (0..(faces.len() * N) as u32)
            .map(|c| (from(c), root(&mut fan, c)))
            .collect();
        fans.sort_unstable();
        fans.dedup();
        counts.vertices = fans.chunk_by(|x, y| x.0 == y.0).count();
        counts.pinched_vertices = fans
            .chunk_by(|x, y| x.0 == y.0)
            .filter(|f| f.len() > 1)
            .count();
        counts.pieces = sets(&mut piece, 0..faces.len() as u32);
        let mut joined: Vec<u32> = (0..size as u32).collect();
        for &(a, b) in &rims {
            unite(&mut joined, a, b);
        }
        counts.loops = sets(&mut joined, rims.iter().map(|r| r.0));
        counts.euler = counts.vertices as i64 - counts.edges as i64 + counts.faces as i64;
        for v in (0..size).filter(|&v| valence[v] > 0) {
            if rim[v] {
                counts.rim_sum += 3 - valence[v];
            } else {
                counts.inner_sum += 4 - valence[v];
                counts.poles += usize::from(valence[v] != 4);
            }
        }
        counts
    }

    /// Fewest inner poles of three and five edges that the surface's topology and its
    /// boundary's corners ask for.
    pub fn pole_need(&self) -> u64 {
        (4 * self.euler - self.rim_sum).unsigned_abs()
    }
}

/// What a surface must have.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Wanted {
    /// Connected pieces.
    pub pieces: usize,
    /// Boundary loops.
    pub loops: usize,
    /// V − E + F, where it is known.
    pub euler: Option<i64>,
}

/// Everything that is wrong with a surface of quads; nothing for a sound one.
pub fn faults(positions: &[DVec3], quads: &[[u32; 4]], wanted: Wanted) -> Vec<String> {
    let mut faults = Vec::new();
    let mut say = |count: usize, what: &str| {
        if count > 0 {
            faults.push(format!("{what}: {count}"));
        }
    };
    if quads.is_empty() {
        return vec!["no quads".to_owned()];
    }
    let out_of_range = |q: &&[u32; 4]| q.iter().any(|v| *v as usize >= positions.len());
    let bad = quads.iter().filter(out_of_range).count();
    if bad > 0 {
        return vec![format!(
            "quads that name vertices which aren't there: {bad}"
        )];
    }
    let infinite = positions.iter().filter(|p| !p.is_finite()).count();
    say(infinite, "vertices that are no finite points");
    let repeats = |q: &&[u32; 4]| (0..4).any(|i| (0..i).any(|j| q[i] == q[j]));
    say(
        quads.iter().filter(repeats).count(),
        "quads that name a vertex twice",
    );
    let mut sorted: Vec<[u32; 4]> = quads.to_vec();
    sorted.iter_mut().for_each(|q| q.sort_unstable());
    sorted.sort_unstable();
    let twins = sorted.windows(2).filter(|w| w[0] == w[1]).count();
    say(twins, "quads on the same four vertices as another");
    let flat = |q: &&[u32; 4]| {
        let [a, b, c, d] = q.map(|v| positions[v as usize]);
        let sides = [a.distance(b), b.distance(c), c.distance(d), d.distance(a)];
        let longest = sides.iter().copied().fold(0.0, f64::max);
        let shortest = sides.iter().copied().fold(f64::MAX, f64::min);
        // Area of a quad: half its diagonals' cross product.
        let area = (c - a).cross(d - b).length() / 2.0;
        // A millionth: far under what rounding of positions leaves in any quad.
        shortest <= 1e-6 * longest || area <= 1e-6 * longest * longest
    };
    say(
        quads.iter().filter(flat).count(),
        "quads without area or with a side of no length",
    );
    let counts = Counts::of(quads);
    say(
        positions.len().abs_diff(counts.vertices),
        "vertices of no quad",
    );
    say(counts.heavy_edges, "edges with more than two quads");
    say(
        counts.twisted_edges,
        "edges that two quads run the same way",
    );
    say(counts.pinched_vertices, "vertices where parts merely touch");
    if counts.inner_sum + counts.rim_sum != 4 * counts.euler {
        faults.push(format!(
            "the valences sum to {}, four times the Euler characteristic is {}",
            counts.inner_sum + counts.rim_sum,
            4 * counts.euler
        ));
    }
    let mut hold = |got: i64, want: i64, what: &str| {
        if got != want {
            faults.push(format!("{what}: {got}, asked for {want}"));
        }
    };
    hold(counts.pieces as i64, wanted.pieces as i64, "pieces");
    hold(counts.loops as i64, wanted.loops as i64, "boundary loops");
    if let Some(euler) = wanted.euler {
        hold(counts.euler, euler, "Euler characteristic");
    }
    faults
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A cube's surface.
    fn cube() -> (Vec<DVec3>, Vec<[u32; 4]>) {
        let corner =
            |i: u32| DVec3::new(f64::from(i & 1), f64::from(i >> 1 & 1), f64::from(i >> 2));
        let quads = vec![
            [0, 2, 3, 1],
            [4, 5, 7, 6],
            [0, 1, 5, 4],
            [2, 6, 7, 3],
            [0, 4, 6, 2],
            [1, 3, 7, 5],
        ];
        ((0..8).map(corner).collect(), quads)
    }

    const CLOSED: Wanted = Wanted {
        pieces: 1,
        loops: 0,
        euler: Some(2),
    };

    #[test]
    fn a_cube_is_sound_and_its_eight_corners_are_needed() {
        let (positions, quads) = cube();
        assert_eq!(faults(&positions, &quads, CLOSED), Vec::<String>::new());
        let counts = Counts::of(&quads);
        // Euler's own example: 8 − 12 + 6 = 2.
        assert_eq!((counts.vertices, counts.edges, counts.euler), (8, 12, 2));
        assert_eq!((counts.poles, counts.pole_need()), (8, 8));
    }

    #[test]
    fn a_missing_quad_is_a_loop() {
        let (positions, mut quads) = cube();
        quads.pop();
        let found = faults(&positions, &quads, CLOSED);
        assert!(
            found.contains(&"boundary loops: 1, asked for 0".to_owned()),
            "{found:?}"
        );
        let counts = Counts::of(&quads);
        assert_eq!(counts.inner_sum + counts.rim_sum, 4 * counts.euler);
    }

    #[test]
    fn each_damage_is_named() {
        type Damage = fn(&mut Vec<DVec3>, &mut Vec<[u32; 4]>);
        let damages: [(&str, Damage); 6] = [
            ("same way", |_, q| q[0].reverse()),
            ("more than two quads", |_, q| q.push([0, 1, 7, 6])),
            ("twice", |_, q| q[0][1] = q[0][0]),
            ("without area", |p, _| p[1] = p[0]),
            ("of no quad", |p, _| p.push(DVec3::ONE)),
            ("no finite points", |p, _| p[0].x = f64::NAN),
        ];
        for (text, damage) in damages {
            let (mut positions, mut quads) = cube();
            damage(&mut positions, &mut quads);
            let found = faults(&positions, &quads, CLOSED).join("; ");
            assert!(found.contains(text), "{text}: {found}");
        }
    }

    #[test]
    fn two_cubes_that_share_a_corner_are_pinched() {
        let (mut positions, mut quads) = cube();
        let second: Vec<[u32; 4]> = quads
            .iter()
            .map(|q| q.map(|v| if v == 7 { 7 } else { v + 8 }))
            .collect();
        positions.extend(cube().0.iter().map(|p| *p + DVec3::splat(2.0)));
        quads.extend(second);
        let counts = Counts::of(&quads);
        assert_eq!((counts.pinched_vertices, counts.pieces), (1, 2));
    }
}
