//! Faces that straddle the sculpt instead of cutting through its convex side.
//!
//! A chord of a circle lies inside it by two thirds of the sagitta on average; moving the
//! vertices out by as much makes the mean distance nought and the RMS distance
//! about half (handbook mensuration of the parabola segment). Here: least squares over
//! points spread on the quads and on the sculpt, by Gauss–Seidel rounds. What counts is the distance from the sculpt's
//! tangent planes under the points (the quadric of Garland & Heckbert 1997), so free vertices also
//! slide onto crests and into hollows. Springs along the edges keep rows even, and what a vertex slides its
//! neighbours share: lines go onto a crest whole.

use mesh::{DMat3, DVec3, QuadMesh};
use rayon::prelude::*;

use super::rails::Seat;
use super::reach::Reach;
use super::{Scene, normal_at, onto_surface};

const SWEEPS: usize = 6;
/// Most that a free vertex may leave the sculpt, in quad edges.
const MOST_FREE: f64 = 0.3;
/// Weight of staying where it is, over that of all points of a vertex: off the sculpt, and along it.
const STAY: f64 = 0.15;
const STAY_ASIDE: f64 = 0.03;
/// Weight of its edges' lengths, over that of all points of a vertex, for an edge of the mean length;
/// and how much more one that is shorter may weigh.
const SPRING: f64 = 0.06;
const STIFFEST: f64 = 10.0;
/// Weight of sliding as far as its neighbours do, over that of its edges' lengths: without it, noise of the
/// sculpt's triangles slides each vertex of thin rows its own way, and lines across the rows zigzag.
const TOGETHER: f64 = 0.5;
/// Most that a free vertex may slide along the sculpt, in lengths of the shortest edge at it.
const MOST_ASIDE: f64 = 0.5;

/// Places and weights of Gauss–Legendre quadrature on a side from 0 to 1 (Abramowitz & Stegun 1964,
/// section 25.4; values from memory, held to its degree of exactness by a test): what bends as a cubic is told
/// by two points along each side as well as by a grid of many, what bends by fifth powers by three. Each point
/// is a question to the sculpt.
const TWO: &[(f64, f64)] = &[(0.211_324_865_405_187, 0.5), (0.788_675_134_594_813, 0.5)];
const THREE: &[(f64, f64)] = &[
    (0.112_701_665_379_258, 5.0 / 18.0),
    (0.5, 8.0 / 18.0),
    (0.887_298_334_620_742, 5.0 / 18.0),
];

/// How much is done at once.
#[derive(Clone, Copy, Debug)]
pub(super) struct Effort {
    rounds: usize,
    /// Points along each side of a quad, with their weights.
    along: &'static [(f64, f64)],
    /// Weight of all points of a quad, over that of a point of the sculpt.
    weight: f64,
    /// Most that a vertex on a guide may leave it, in quad edges.
    off_guides: f64,
}

impl Effort {
    /// A step on the way, of which there are many: what each lets a guide's vertices leave it by would add
    /// up.
    pub const PULL: Self = Self {
        rounds: 1,
        along: TWO,
        weight: 9.0,
        off_guides: 0.0,
    };
    /// To the end.
    pub const FULL: Self = Self {
        rounds: 3,
        along: THREE,
        weight: 25.0,
        off_guides: 0.03,
    };
}

/// A place on a quad and how far it is from the sculpt.
pub(super) struct Sample {
    pub corners: [u32; 4],
    pub weights: [f64; 4],
    /// How much it counts.
    pub weight: f64,
    /// Unit normal of the sculpt, and the way to its plane along it.
    pub normal: DVec3,
    pub gap: f64,
}

/// Moves vertices so that the faces straddle the sculpt, and reach what of it stands off.
pub(super) fn straddle(mesh: &mut QuadMesh, scene: &Scene, reach: &mut Reach, effort: Effort) {
    let home = mesh.positions.clone();
    let room = room_aside(mesh, scene);
    let mut feet = vec![None; mesh.quads.len() * effort.along.len().pow(2)];
    for _ in 0..effort.rounds {
        let normals: Vec<DVec3> = (0..mesh.positions.len())
            .map(|v| held_normal(mesh, scene, v))
            .collect();
        let mut samples = samples_of(mesh, scene, &normals, &mut feet, effort);
        samples.extend(reach.samples(mesh, scene));
        let mut by_vertex: Vec<Vec<(u32, u8)>> = vec![Vec::new(); mesh.positions.len()];
        for (s, sample) in samples.iter().enumerate() {
            for (k, &v) in sample.corners.iter().enumerate() {
                by_vertex[v as usize].push((s as u32, k as u8));
            }
        }
        let around = Around {
            mesh,
            scene,
            home: &home,
            samples: &samples,
        };
        let balances: Vec<Balance> = (0..mesh.positions.len())
            .into_par_iter()
            .map(|v| around.balance(v, normals[v], &by_vertex[v], room[v], effort.off_guides))
            .collect();
        let mut shift = vec![DVec3::ZERO; mesh.positions.len()];
        for _ in 0..SWEEPS {
            for v in 0..shift.len() {
                let pull = pull(&samples, &by_vertex[v], &shift);
                shift[v] = balances[v].shift(pull, &shift);
            }
        }
        for v in 0..shift.len() {
            let at = mesh.positions[v] + shift[v];
            if scene.seats[v] != Seat::Free || scene.is_apart(at) {
                mesh.positions[v] = at;
            }
        }
    }
}

/// What the least squares of the distances from the planes under a vertex's points pull it to.
fn pull(samples: &[Sample], mine: &[(u32, u8)], shift: &[DVec3]) -> DVec3 {
    let mut pull = DVec3::ZERO;
    for &(s, k) in mine {
        let sample = &samples[s as usize];
        let others: DVec3 = (0..4)
            .filter(|&i| i != k as usize)
            .map(|i| shift[sample.corners[i] as usize] * sample.weights[i])
            .sum();
        let n = sample.normal * (sample.weights[k as usize] * sample.weight);
        pull += n * (sample.gap - others.dot(sample.normal));
    }
    pull
}

/// What the balance of a vertex is made from.
struct Around<'a> {
    mesh: &'a QuadMesh,
    scene: &'a Scene,
    home: &'a [DVec3],
    samples: &'a [Sample],
}

/// What of a vertex's least squares stays the same while its neighbours move, told once for all sweeps.
struct Balance {
    normal: DVec3,
    /// How far it is from home along its normal, and the rest of the way.
    height: f64,
    aside: DVec3,
    /// Most that it may be from home along its normal.
    most: f64,
    held: Held,
}

/// How a vertex may move.
enum Held {
    /// Along its normal only; the weight of all there is.
    Upright(f64),
    /// Every way.
    Free(Box<Free>),
}

struct Free {
    /// From what pulls to the step.
    inverse: DMat3,
    flat: DMat3,
    /// Weight of all springs.
    spring: f64,
    springs: Vec<Spring>,
    room: f64,
}

/// An edge that asks for a length, and its far end for going with it.
struct Spring {
    neighbour: u32,
    along: DVec3,
    weight: f64,
    /// How much longer it is to be.
    longer: f64,
}

impl Around<'_> {
    fn balance(
        &self,
        v: usize,
        normal: DVec3,
        mine: &[(u32, u8)],
        room: f64,
        off_guides: f64,
    ) -> Balance {
        let scene = self.scene;
        let mut quadric = DMat3::ZERO;
        for &(s, k) in mine {
            let sample = &self.samples[s as usize];
            quadric += outer(sample.normal * sample.weights[k as usize]) * sample.weight;
        }
        let nn = outer(normal);
        let along = normal.dot(quadric * normal);
        // A little weight on staying keeps noise finer than a quad out.
        let upright = STAY * along + 1e-9;
        let free = scene.seats[v] == Seat::Free;
        let most = scene.edge
            * if scene.held[v] {
                0.0
            } else if free {
                MOST_FREE
            } else {
                off_guides
            };
        let gone = self.mesh.positions[v] - self.home[v];
        let height = gone.dot(normal);
        let held = if free && !scene.held[v] {
            let trace = quadric.x_axis.x + quadric.y_axis.y + quadric.z_axis.z;
            let flat = DMat3::IDENTITY - nn;
            let (matrix, springs) = self.springs(v);
            let sum = quadric
                + nn * upright
                + flat * (STAY_ASIDE * trace + 1e-9)
                + flat * matrix * flat * (SPRING * trace);
            Held::Free(Box::new(Free {
                inverse: sum.inverse(),
                flat,
                spring: SPRING * trace,
                springs,
                room,
            }))
        } else {
            Held::Upright(along + upright)
        };
        Balance {
            normal,
            height,
            aside: gone - normal * height,
            most,
            held,
        }
    }

    /// What holds a vertex back along the sculpt: the edges at it ask for lengths, and its neighbours for
    /// going with them. Gives the matrix of the least squares and the edges, for a weight of 1; an edge
    /// weighs by how short it is, for what counts is by how much of itself it changes.
    fn springs(&self, v: usize) -> (DMat3, Vec<Spring>) {
        let (mesh, scene, home) = (self.mesh, self.scene, self.home);
        let mut matrix = DMat3::ZERO;
        let spring = |n: usize| {
            let way = mesh.positions[v] - mesh.positions[n];
            let along = way.normalize_or_zero();
            let [rest, wanted] = lengths(scene, home, v, n);
            // As long as at home, or half way to an even share of the line on both sides. Never longer
            // in sum: rows that are asked to be longer than the sculpt has room for fold up in zigzag.
            let pair = scene.opposite[v].iter().find(|p| p.contains(&(n as u32)));
            let asked = pair.map_or(rest, |&[a, b]| {
                let [there, wanted_there] = lengths(scene, home, v, (a + b) as usize - n);
                let [here, beyond] = [rest * wanted, there * wanted_there].map(f64::sqrt);
                (rest + there) * here / (here + beyond)
            });
            let weight = (scene.edge / rest).powi(2).min(STIFFEST);
            matrix += (outer(along) + DMat3::IDENTITY * TOGETHER) * weight;
            Spring {
                neighbour: n as u32,
                along,
                weight,
                longer: asked - way.length(),
            }
        };
        let springs = scene.around[v].iter().map(|&n| n as usize);
        let springs = springs.map(spring).collect();
        (matrix, springs)
    }
}

impl Balance {
    /// Where least squares put the vertex, from where it is, as its neighbours are shifted.
    fn shift(&self, pull: DVec3, shift: &[DVec3]) -> DVec3 {
        let Self {
            normal,
            height,
            aside,
            most,
            ..
        } = *self;
        let clamped = |step: f64| step.clamp(-most - height, most - height);
        match &self.held {
            // Back over home: normals turn from round to round, and what that leaves aside would add up.
            Held::Upright(weight) => normal * clamped(pull.dot(normal) / weight) - aside,
            Held::Free(free) => {
                let mut tug = DVec3::ZERO;
                for spring in &free.springs {
                    let with = shift[spring.neighbour as usize];
                    let longer = spring.longer + with.dot(spring.along);
                    tug += (spring.along * longer + with * TOGETHER) * spring.weight;
                }
                let step = free.inverse * (pull + free.flat * tug * free.spring);
                let slid = (free.flat * step + aside).clamp_length_max(free.room);
                normal * clamped(step.dot(normal)) + slid - aside
            }
        }
    }
}

/// Length of an edge at home, and the one wanted by density.
fn lengths(scene: &Scene, home: &[DVec3], v: usize, n: usize) -> [f64; 2] {
    let way = home[v] - home[n];
    let wanted = scene.edge / scene.density(v, n, way.normalize_or_zero());
    [way.length().max(1e-9 * scene.edge), wanted]
}

/// How far each vertex may slide along the sculpt, model units.
fn room_aside(mesh: &QuadMesh, scene: &Scene) -> Vec<f64> {
    let shortest = |v: usize| {
        let length = |&n: &u32| mesh.positions[v].distance(mesh.positions[n as usize]);
        let lengths = scene.around[v].iter().map(length);
        lengths.fold(scene.edge, f64::min)
    };
    (0..mesh.positions.len())
        .map(|v| MOST_ASIDE * shortest(v))
        .collect()
}

/// The matrix that takes a vector to its share along `n`, times the square of n's length.
fn outer(n: DVec3) -> DMat3 {
    DMat3::from_cols(n * n.x, n * n.y, n * n.z)
}

/// Normal of a vertex, kept within the mirror plane for vertices on it.
fn held_normal(mesh: &QuadMesh, scene: &Scene, v: usize) -> DVec3 {
    let normal = normal_at(mesh, scene, v);
    match scene.plane {
        Some(plane) if plane.height(mesh.positions[v]).abs() < 1e-9 * scene.edge => {
            (normal - plane.normal * normal.dot(plane.normal)).normalize_or_zero()
        }
        _ => normal,
    }
}

/// Samples of every quad; `feet` keeps where the sculpt was met under each of them, for the next round.
fn samples_of(
    mesh: &QuadMesh,
    scene: &Scene,
    normals: &[DVec3],
    feet: &mut [Option<u32>],
    effort: Effort,
) -> Vec<Sample> {
    let grid = effort.along.len();
    let of_quad = |(quad, feet): (&[u32; 4], &mut [Option<u32>])| {
        let mut samples = Vec::with_capacity(grid * grid);
        // Under one of the corners, or under what was met before it.
        let mut row = quad.iter().find_map(|&v| scene.feet[v as usize]);
        let p = quad.map(|v| mesh.positions[v as usize]);
        let normal = quad
            .iter()
            .map(|&v| normals[v as usize])
            .sum::<DVec3>()
            .normalize_or_zero();
        for (i, &(x, share)) in effort.along.iter().enumerate() {
            let mut near = row;
            for (j, &(y, part)) in effort.along.iter().enumerate() {
                let weights = [(1.0 - x) * (1.0 - y), x * (1.0 - y), x * y, (1.0 - x) * y];
                let at: DVec3 = (0..4).map(|k| p[k] * weights[k]).sum();
                let foot = &mut feet[i * grid + j];
                let found = onto_surface(scene, at, normal, foot.or(near));
                let (facing, gap) = found.map_or((normal, 0.0), |foot| {
                    let facing = scene.index.mesh().area_normal(foot.triangle as usize);
                    let facing = facing.normalize_or_zero();
                    (facing, (foot.point - at).dot(facing))
                });
                near = found.map(|foot| foot.triangle).or(near);
                *foot = near;
                if j == 0 {
                    row = near;
                }
                samples.push(Sample {
                    corners: *quad,
                    weights,
                    weight: effort.weight * share * part,
                    normal: facing,
                    gap: gap.clamp(-scene.edge, scene.edge),
                });
            }
        }
        samples
    };
    let each: Vec<Vec<Sample>> = {
        let feet = feet.par_chunks_mut(grid * grid);
        mesh.quads.par_iter().zip(feet).map(of_quad).collect()
    };
    each.into_iter().flatten().collect()
}

#[cfg(test)]
mod tests {
    use mesh::TriMesh;

    use super::super::tests::{bare_scene, reach_of};
    use super::*;

    /// Gauss's rule of n points is exact for powers up to 2 n − 1 (Abramowitz & Stegun 1964, section 25.4), and
    /// for none beyond; the integral of x^k from 0 to 1 is 1 / (k + 1).
    #[test]
    fn points_along_a_side_are_as_exact_as_the_rule_promises() {
        for (along, degree) in [(TWO, 3), (THREE, 5)] {
            let sum = |k: i32| {
                along
                    .iter()
                    .map(|&(x, weight)| weight * x.powi(k))
                    .sum::<f64>()
            };
            let error = |k: i32| f64::abs(sum(k) - 1.0 / f64::from(k + 1));
            assert!((0..=degree).all(|k| error(k) < 1e-14));
            assert!(error(degree + 1) > 1e-5);
        }
    }

    /// A roof with its ridge along y at x = 0, slopes of 45°.
    fn roof(x: f64, y: f64) -> DVec3 {
        DVec3::new(x, y, -x.abs())
    }

    #[test]
    fn vertices_beside_a_crest_slide_onto_it() {
        // A column of vertices 0.2 off the ridge, the others a quad's edge apart.
        let columns = [-1.8, -0.8, 0.2, 1.2, 2.2];
        let rows = 6u32;
        let positions = (0..=rows).flat_map(|j| columns.map(|x| roof(x, f64::from(j))));
        let mut quads = Vec::new();
        for (j, i) in (0..rows).flat_map(|j| (0..4).map(move |i| (j, i))) {
            let a = 5 * j + i;
            quads.push([a, a + 1, a + 6, a + 5]);
        }
        let mut mesh = QuadMesh {
            positions: positions.collect(),
            quads,
            groups: vec![],
        };
        let corners = [-9.0, 0.0, 9.0].map(|x| [roof(x, -9.0), roof(x, 15.0)]);
        let under = TriMesh {
            positions: corners.iter().flatten().map(|p| p.as_vec3()).collect(),
            triangles: vec![[0, 2, 3], [0, 3, 1], [2, 4, 5], [2, 5, 3]],
        };
        let scene = bare_scene(&mesh, under);
        let off = |mesh: &QuadMesh| -> f64 {
            // Middles of the edges that span the ridge, in the rows that have both neighbours.
            let middle = |j: usize| (mesh.positions[5 * j + 1] + mesh.positions[5 * j + 2]) / 2.0;
            let gaps = (1..rows as usize).map(|j| middle(j).z + middle(j).x.abs());
            gaps.map(f64::abs).fold(0.0, f64::max)
        };
        let before = off(&mesh);
        straddle(&mut mesh, &scene, &mut reach_of(&scene), Effort::FULL);
        assert!(off(&mesh) < 0.6 * before, "{} {before}", off(&mesh));
        for j in 1..rows as usize {
            let x = mesh.positions[5 * j + 2].x;
            assert!(x.abs() < 0.12, "{x}");
        }
    }

    #[test]
    fn a_narrow_row_widens_and_no_vertex_slides_far() {
        // A flat sheet whose third row is a quarter as wide as the others; nothing but springs acts.
        let columns = [0.0, 1.0, 2.0, 2.25, 3.25, 4.25];
        let at = |i: usize, j: usize| DVec3::new(columns[i], j as f64, 0.0);
        let positions: Vec<DVec3> = (0..6).flat_map(|j| (0..6).map(move |i| at(i, j))).collect();
        let quads = (0..25u32).map(|q| q % 5 + q / 5 * 6);
        let mut mesh = QuadMesh {
            positions: positions.clone(),
            quads: quads.map(|a| [a, a + 1, a + 7, a + 6]).collect(),
            groups: vec![],
        };
        let corners = [[-9.0, -9.0], [15.0, -9.0], [15.0, 15.0], [-9.0, 15.0]];
        let under = TriMesh {
            positions: corners.map(|[x, y]| mesh::Vec3::new(x, y, 0.0)).to_vec(),
            triangles: vec![[0, 1, 2], [0, 2, 3]],
        };
        let scene = bare_scene(&mesh, under);
        straddle(&mut mesh, &scene, &mut reach_of(&scene), Effort::FULL);
        for j in 1..5 {
            let width = mesh.positions[6 * j + 3].distance(mesh.positions[6 * j + 2]);
            assert!((0.3..0.76).contains(&width), "{width}");
        }
        for (v, (now, before)) in mesh.positions.iter().zip(&positions).enumerate() {
            let shortest = if [2, 3].contains(&(v % 6)) { 0.25 } else { 1.0 };
            let gone = now.distance(*before);
            assert!(gone <= 0.5 * shortest + 1e-9, "{v} {gone}");
        }
    }

    /// Thin rows around a limb whose triangles are coarse and not quite in place: lines across them zigzagged,
    /// a vertex lay up to 0.28 of a row aside of its neighbours on the line.
    #[test]
    fn noise_of_the_triangles_leaves_thin_rows_even() {
        const ROWS: u32 = 40;
        const COLUMNS: u32 = 6;
        let limb = |turn: f64, along: f64, radius: f64| {
            DVec3::new(radius * turn.sin(), along, radius * turn.cos())
        };
        let at = |i: u32, j: u32| limb(0.5 * (f64::from(i) - 3.0), 0.15 * f64::from(j), 2.0);
        let places = (0..=ROWS).flat_map(|j| (0..=COLUMNS).map(move |i| (i, j)));
        let positions: Vec<DVec3> = places.map(|(i, j)| at(i, j)).collect();
        let wide = COLUMNS + 1;
        let quads = (0..ROWS).flat_map(|j| (0..COLUMNS).map(move |i| j * wide + i));
        let mut mesh = QuadMesh {
            positions,
            quads: quads.map(|a| [a, a + 1, a + wide + 1, a + wide]).collect(),
            groups: vec![],
        };
        let mut noise = 1u32;
        let mut random = || {
            noise = noise.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            f64::from(noise >> 8) / f64::from(1u32 << 24) - 0.5
        };
        let (around, along) = (60u32, 90u32);
        let mut under = TriMesh::default();
        for (j, i) in (0..=along).flat_map(|j| (0..=around).map(move |i| (j, i))) {
            let turn = 4.0 * (f64::from(i) / f64::from(around) - 0.5) + 0.02 * random();
            let way = 9.0 * f64::from(j) / f64::from(along) - 1.5 + 0.04 * random();
            let place = limb(turn, way, 2.0 + 0.01 * random());
            under.positions.push(place.as_vec3());
        }
        for (j, i) in (0..along).flat_map(|j| (0..around).map(move |i| (j, i))) {
            let a = j * (around + 1) + i;
            let b = a + around + 1;
            under.triangles.extend([[a, a + 1, b + 1], [a, b + 1, b]]);
        }
        let scene = bare_scene(&mesh, under);
        let mut reach = Reach::new(scene.index.mesh(), scene.plane, scene.edge);
        for _ in 0..4 {
            straddle(&mut mesh, &scene, &mut reach, Effort::PULL);
        }
        let way = |i: u32, j: u32| mesh.positions[(j * wide + i) as usize];
        let aside = |i: u32, j: u32| {
            let [before, here, after] = [j - 1, j, j + 1].map(|j| way(i, j));
            (here - (before + after) / 2.0).with_z(0.0).length() / 0.15
        };
        let inner = (1..COLUMNS).flat_map(|i| (2..ROWS - 1).map(move |j| (i, j)));
        let worst = inner.map(|(i, j)| aside(i, j)).fold(0.0, f64::max);
        assert!(worst < 0.1, "{worst}");
    }

    /// Steps on the way moved pinned vertices a little each, and in the end by a third of an edge.
    #[test]
    fn steps_on_the_way_leave_pinned_vertices_where_they_are() {
        let columns = [-1.8, -0.8, 0.2, 1.2, 2.2];
        let at = |i: usize, j: usize| roof(columns[i], j as f64);
        let positions: Vec<DVec3> = (0..4).flat_map(|j| (0..5).map(move |i| at(i, j))).collect();
        let quads = (0..12u32).map(|q| q % 4 + q / 4 * 5);
        let mut mesh = QuadMesh {
            positions,
            quads: quads.map(|a| [a, a + 1, a + 6, a + 5]).collect(),
            groups: vec![],
        };
        let corners = [-9.0, 0.0, 9.0].map(|x| [roof(x, -9.0), roof(x, 15.0)]);
        let under = TriMesh {
            positions: corners.iter().flatten().map(|p| p.as_vec3()).collect(),
            triangles: vec![[0, 2, 3], [0, 3, 1], [2, 4, 5], [2, 5, 3]],
        };
        let mut scene = bare_scene(&mesh, under);
        let pinned = 7;
        scene.seats[pinned] = Seat::Pinned;
        let mut reach = reach_of(&scene);
        let home = mesh.positions.clone();
        for _ in 0..10 {
            straddle(&mut mesh, &scene, &mut reach, Effort::PULL);
        }
        assert_eq!(mesh.positions[pinned], home[pinned]);
        assert_ne!(mesh.positions, home);
        straddle(&mut mesh, &scene, &mut reach, Effort::FULL);
        let gone = mesh.positions[pinned].distance(home[pinned]);
        assert!(gone <= 0.03 + 1e-6, "{gone}");
    }
}
