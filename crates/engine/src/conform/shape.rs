//! Rounds of shape fitting, and the search that squares up the worst quads.

use mesh::{DVec3, QuadMesh};
use rayon::prelude::*;

use super::lift::closest_on_wall;
use super::rails::Seat;
use super::{Foot, Scene, along_surface, chords, normal_at};

/// Scaled Jacobian below which a round may not press a quad.
pub(super) const FAIR: f64 = 0.6;

/// What a round does with vertices of guides and boundaries.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Rails {
    /// They slide along their curves.
    Slide,
    /// They stay; those of the centre line slide.
    Stay,
}

/// One round: every vertex takes a `share` of the way to the mean of what its quads
/// and its neighbours ask for. With a `floor`, a step that makes the worst quad beside it
/// worse and presses it below the floor isn't taken.
pub(super) fn round(
    mesh: &mut QuadMesh,
    scene: &mut Scene,
    share: f64,
    floor: Option<f64>,
    rails: Rails,
) {
    let asked = rectangles(mesh, scene);
    let old = mesh.positions.clone();
    let mut quality: Vec<f64> = (0..mesh.quads.len() as u32)
        .into_par_iter()
        .map(|q| jacobian_of(mesh, q))
        .collect();
    // All from where the round finds the mesh, so beside each other: looking for places on the surface takes
    // most of a round. What slides along a curve minds where its neighbours on it are by then.
    let here = &*scene;
    let free: Vec<Option<Placed>> = (0..old.len())
        .into_par_iter()
        .map(|v| match here.seats[v] {
            Seat::Free => step_of(mesh, here, v, share, &asked, &old, rails),
            _ => None,
        })
        .collect();
    for v in 0..old.len() {
        let step = match scene.seats[v] {
            Seat::Free => free[v],
            _ => step_of(mesh, scene, v, share, &asked, &old, rails),
        };
        let Some(step) = step else {
            continue;
        };
        let before = (mesh.positions[v], scene.seats[v]);
        step.take(mesh, scene, v);
        let quads = &scene.quads_at[v];
        let worst = |of: &dyn Fn(usize, u32) -> f64| {
            let each = quads.iter().enumerate().map(|(i, &(q, _))| of(i, q));
            each.fold(f64::INFINITY, f64::min)
        };
        let after: Vec<f64> = quads.iter().map(|&(q, _)| jacobian_of(mesh, q)).collect();
        let now = worst(&|i, _| after[i]);
        if floor.is_some_and(|floor| now < floor) && now < worst(&|_, q| quality[q as usize]) {
            (mesh.positions[v], scene.seats[v]) = before;
        } else {
            for (&(q, _), &jacobian) in quads.iter().zip(&after) {
                quality[q as usize] = jacobian;
            }
        }
    }
}

/// The step that a vertex would take from its place among `old`.
fn step_of(
    mesh: &QuadMesh,
    scene: &Scene,
    v: usize,
    share: f64,
    asked: &[[DVec3; 4]],
    old: &[DVec3],
    rails: Rails,
) -> Option<Placed> {
    let quads = &scene.quads_at[v];
    let stays = match scene.seats[v] {
        Seat::Pinned => true,
        Seat::On { rail, .. } => rails == Rails::Stay && !scene.rails[rail].on_plane,
        Seat::Free => false,
    };
    if stays || quads.is_empty() {
        return None;
    }
    let square: DVec3 = quads
        .iter()
        .map(|&(q, i)| asked[q as usize][i as usize])
        .sum::<DVec3>()
        / quads.len() as f64;
    let even = match scene.seats[v] {
        Seat::On { rail, .. } => along_rail(scene, old, v, rail),
        _ => old[v] + even_step(scene, old, v),
    };
    let goal = square.lerp(even, 0.5);
    let normal = normal_at(mesh, scene, v);
    let step = (goal - old[v]) * share;
    let step = step - normal * step.dot(normal);
    place(mesh, scene, v, old[v] + step, normal)
}

/// A place for a vertex.
#[derive(Clone, Copy, Debug)]
enum Placed {
    /// On the surface.
    Surface(Foot),
    /// On a rail, at a length from its start.
    Rail(usize, f64),
}

impl Placed {
    fn take(self, mesh: &mut QuadMesh, scene: &mut Scene, v: usize) {
        match self {
            Self::Surface(foot) => {
                mesh.positions[v] = foot.point;
                scene.feet[v] = Some(foot.triangle);
            }
            Self::Rail(rail, s) => {
                scene.seats[v] = Seat::On { rail, s };
                mesh.positions[v] = scene.rails[rail].aim(s);
            }
        }
    }
}

/// The point of a vertex's rail, or of the surface, that is nearest to `at`; none where the
/// vertex is pinned, or the surface has no point that faces the same way.
fn place(mesh: &QuadMesh, scene: &Scene, v: usize, at: DVec3, normal: DVec3) -> Option<Placed> {
    match scene.seats[v] {
        Seat::Pinned => None,
        Seat::Free => along_surface(scene, at, normal, scene.feet[v])
            .filter(|foot| scene.is_apart(foot.point))
            .map(Placed::Surface),
        Seat::On { rail, s } => {
            let wanted = scene.rails[rail].nearest(at, Some((s, scene.edge)));
            let s = scene.in_order(mesh, v, rail, s, wanted);
            Some(Placed::Rail(rail, s))
        }
    }
}

/// How much of the way across its lines a vertex is drawn towards their straight course.
/// All of it would be curvature flow, which draws every ring together.
const STRAIGHTEN: f64 = 0.25;

/// The way to where the spacing along both lines through a vertex is as wanted: the ways to both
/// neighbours are in inverse ratio to the densities there.
fn even_step(scene: &Scene, positions: &[DVec3], v: usize) -> DVec3 {
    let opposite = &scene.opposite[v];
    if opposite.is_empty() {
        return mean(scene, positions, v, &scene.around[v]) - positions[v];
    }
    let mut step = DVec3::ZERO;
    for pair in opposite {
        let [a, b] = pair.map(|n| positions[n as usize]);
        let along = (b - a).normalize_or_zero();
        let to_middle = mean(scene, positions, v, pair) - positions[v];
        let even = along * to_middle.dot(along);
        step += even + (to_middle - even) * (STRAIGHTEN / opposite.len() as f64);
    }
    step
}

/// Mean of neighbours, each weighing as much as the density on the way there.
fn mean(scene: &Scene, positions: &[DVec3], v: usize, around: &[u32]) -> DVec3 {
    mean_by(scene, positions, v, around, |_| 1.0)
}

/// The same, with a weight more for each neighbour.
fn mean_by(
    scene: &Scene,
    positions: &[DVec3],
    v: usize,
    around: &[u32],
    more: impl Fn(usize) -> f64,
) -> DVec3 {
    let (mut sum, mut whole) = (DVec3::ZERO, 0.0);
    for &n in around {
        let n = n as usize;
        let along = (positions[n] - positions[v]).normalize_or_zero();
        let weight = scene.density(v, n, along) * scene.drawn(v, n) * more(n);
        sum += positions[n] * weight;
        whole += weight;
    }
    sum / f64::max(whole, 1e-12)
}

/// Mean of the neighbours that lie on the same rail or end it; of all, if that isn't two.
fn along_rail(scene: &Scene, positions: &[DVec3], v: usize, rail: usize) -> DVec3 {
    let mine: Vec<u32> = scene.around[v]
        .iter()
        .copied()
        .filter(|&n| match scene.seats[n as usize] {
            Seat::On { rail: other, .. } => other == rail,
            Seat::Pinned => true,
            Seat::Free => false,
        })
        .collect();
    if mine.len() == 2 {
        let curve = &scene.rails[rail];
        let place = |n: usize| match scene.seats[n] {
            Seat::On { s, .. } => s,
            _ => curve.nearest(positions[n], None),
        };
        let s = place(v);
        let bend = |n: usize| curve.bend(s, scene.short_way(rail, place(n) - s));
        mean_by(scene, positions, v, &mine, bend)
    } else {
        mean(scene, positions, v, &scene.around[v])
    }
}

/// Least side that a rectangle may have, in the shorter of its other side and the target edge:
/// so a strip that has shrunk to nothing opens again.
const LEAST_SIDE: f64 = 0.7;

/// For every quad, its corners in the rectangle nearest to it.
fn rectangles(mesh: &QuadMesh, scene: &Scene) -> Vec<[DVec3; 4]> {
    let edge = scene.edge;
    mesh.quads
        .par_iter()
        .map(|quad| {
            let [p, q, r, s] = quad.map(|v| mesh.positions[v as usize]);
            let centre = (p + q + r + s) / 4.0;
            let (one, two) = ((q + r - p - s) / 2.0, (r + s - p - q) / 2.0);
            let normal = one.cross(two).normalize_or_zero();
            // The axis that splits the error between both mid lines.
            let u = (one.normalize_or_zero() + two.normalize_or_zero().cross(normal))
                .normalize_or_zero();
            let w = normal.cross(u);
            let (a, b) = (one.length(), two.length());
            // Where rows are wanted denser than columns, sides are in that ratio.
            let [across, along] =
                [u, w].map(|t| scene.density(quad[0] as usize, quad[2] as usize, t));
            let (a, b) = (
                a.max(LEAST_SIDE * (b * along).min(edge) / across),
                b.max(LEAST_SIDE * (a * across).min(edge) / along),
            );
            let (x, y) = (u * a / 2.0, w * b / 2.0);
            [
                centre - x - y,
                centre + x - y,
                centre + x + y,
                centre - x + y,
            ]
        })
        .collect()
}

/// Least scaled Jacobian of a quad's corners against its diagonals' normal (Knupp 2000; the
/// sine of the corner angle, signed).
pub(crate) fn scaled_jacobian(corners: [DVec3; 4]) -> f64 {
    let normal = (corners[2] - corners[0])
        .cross(corners[3] - corners[1])
        .normalize_or_zero();
    let sides = [0, 1, 2, 3].map(|i| (corners[(i + 1) % 4] - corners[i]).normalize_or_zero());
    (0..4)
        .map(|i| sides[i].cross(-sides[(i + 3) % 4]).dot(normal))
        .fold(f64::INFINITY, f64::min)
}

pub(super) fn jacobian_of(mesh: &QuadMesh, quad: u32) -> f64 {
    scaled_jacobian(mesh.quads[quad as usize].map(|c| mesh.positions[c as usize]))
}

/// Normals of the quads.
pub(super) fn facing(mesh: &QuadMesh) -> Vec<DVec3> {
    let normal = |quad: &[u32; 4]| normal_of(quad.map(|v| mesh.positions[v as usize]));
    mesh.quads.iter().map(normal).collect()
}

/// Normals of the scene's surface under the middles of the quads, on the wall on which their corners
/// stand: a quad that is folded over doesn't tell itself how it should face.
pub(super) fn outward(mesh: &QuadMesh, scene: &Scene) -> Vec<DVec3> {
    let under = |quad: &[u32; 4]| {
        let corners = quad.map(|v| v as usize);
        let middle = corners.iter().map(|&v| mesh.positions[v]).sum::<DVec3>() / 4.0;
        let near = corners.iter().find_map(|&v| scene.feet[v]);
        let wall = corners.iter().map(|&v| scene.wall(v)).sum();
        let found = closest_on_wall(&scene.index, middle, near, wall);
        found.map_or(DVec3::ZERO, |found| {
            let normal = scene.index.mesh().area_normal(found.triangle as usize);
            normal.normalize_or_zero()
        })
    };
    mesh.quads.par_iter().map(under).collect()
}

fn normal_of(p: [DVec3; 4]) -> DVec3 {
    (p[2] - p[0]).cross(p[3] - p[1]).normalize_or_zero()
}

/// Cosine of the angle from the way that a quad should face beyond which it is folded over.
const FOLDED: f64 = -0.2;

/// A quad's normal; turned to the other side where the quad is folded over.
fn true_normal(p: [DVec3; 4], facing: DVec3) -> DVec3 {
    let normal = normal_of(p);
    if normal.dot(facing) < FOLDED {
        -normal
    } else {
        normal
    }
}

/// The least scaled Jacobian of the quads at a vertex, below 0 where one is folded over.
fn worst_at(mesh: &QuadMesh, scene: &Scene, v: usize, facing: &[DVec3]) -> f64 {
    let signed = |q: u32| {
        let p = mesh.quads[q as usize].map(|c| mesh.positions[c as usize]);
        let jacobian = scaled_jacobian(p);
        if normal_of(p).dot(facing[q as usize]) < FOLDED {
            -jacobian.abs()
        } else {
            jacobian
        }
    };
    scene.quads_at[v]
        .iter()
        .map(|&(q, _)| signed(q))
        .fold(f64::INFINITY, f64::min)
}

/// A quad may not be pressed below this by what comes after its vertices were placed.
const PRESSED: f64 = 0.55;

/// Rounds of taking back; each may press quads beside those that it frees.
const RELENTS: usize = 16;

/// Takes vertices back towards `home`, half way at a time, where leaving it pressed a quad.
pub(super) fn relent(mesh: &mut QuadMesh, scene: &Scene, home: &[DVec3]) {
    let corners =
        |positions: &[DVec3], q: u32| mesh.quads[q as usize].map(|c| positions[c as usize]);
    let before: Vec<f64> = (0..mesh.quads.len() as u32)
        .map(|q| scaled_jacobian(corners(home, q)))
        .collect();
    for round in 0..RELENTS {
        let pressed: Vec<u32> = (0..mesh.quads.len() as u32)
            .filter(|&q| {
                let now = jacobian_of(mesh, q);
                now < PRESSED && now < before[q as usize] - 1e-9
            })
            .collect();
        if pressed.is_empty() {
            return;
        }
        let mut back: Vec<u32> = pressed
            .iter()
            .flat_map(|&q| mesh.quads[q as usize])
            .collect();
        back.sort_unstable();
        back.dedup();
        for v in back {
            let v = v as usize;
            if scene.quads_at[v].is_empty() {
                continue;
            }
            // At last all the way, so that no quad stays pressed.
            let share = if round < RELENTS / 2 { 0.5 } else { 1.0 };
            mesh.positions[v] = mesh.positions[v].lerp(home[v], share);
        }
    }
}

/// Vertices with a quad below this are placed by search.
const NARROW: f64 = 0.6;
const PASSES: usize = 14;

/// Moves vertices of narrow quads by pattern search (Hooke & Jeeves 1961) to where the strain
/// of the quads beside them is least; gives how many vertices moved. `facing` is the way
/// that each quad should face: one turned over is as bad as one folded at each corner.
pub(super) fn untangle(mesh: &mut QuadMesh, scene: &mut Scene, facing: &[DVec3]) -> usize {
    let mut moved = vec![false; mesh.positions.len()];
    for pass in 0..PASSES {
        let reach = scene.edge * if pass < PASSES / 2 { 0.25 } else { 0.1 };
        let mut any = false;
        for v in 0..mesh.positions.len() {
            if scene.seats[v] == Seat::Pinned
                || scene.quads_at[v].is_empty()
                || worst_at(mesh, scene, v, facing) >= NARROW
            {
                continue;
            }
            let mut step = reach;
            let mut best = strain_at(mesh, scene, v, facing);
            for _ in 0..4 {
                if try_around(mesh, scene, v, step, facing, &mut best) {
                    moved[v] = true;
                    any = true;
                } else {
                    step *= 0.5;
                }
            }
        }
        if !any {
            break;
        }
    }
    moved.iter().filter(|&&m| m).count()
}

/// How far the quads at a vertex are from rectangles in even rows: over all corners, one over
/// the sine of the angle (rising steeply once it is folded), and squared logarithms of the
/// ratios of opposite sides and of the two edges on either side along each line.
fn strain_at(mesh: &QuadMesh, scene: &Scene, v: usize, facing: &[DVec3]) -> f64 {
    let at = |c: u32| mesh.positions[c as usize];
    let mut strain = 0.0;
    for &(q, _) in &scene.quads_at[v] {
        let p = mesh.quads[q as usize].map(at);
        let normal = true_normal(p, facing[q as usize]);
        for i in 0..4 {
            let ahead = (p[(i + 1) % 4] - p[i]).normalize_or_zero();
            let back = (p[(i + 3) % 4] - p[i]).normalize_or_zero();
            let sine = ahead.cross(back).dot(normal);
            strain += if sine > 0.05 {
                1.0 / sine
            } else {
                20.0 + 100.0 * (0.05 - sine)
            };
        }
        strain += log_ratio(p[0].distance(p[1]), p[2].distance(p[3]))
            + log_ratio(p[1].distance(p[2]), p[3].distance(p[0]));
    }
    for &[a, b] in &scene.opposite[v] {
        strain += log_ratio(
            at(a).distance(mesh.positions[v]),
            at(b).distance(mesh.positions[v]),
        );
    }
    strain + chords::strain_at(mesh, scene, v)
}

/// Square of the logarithm of the ratio of two lengths, large but finite for a length of nought.
fn log_ratio(a: f64, b: f64) -> f64 {
    ((a.max(1e-9)) / (b.max(1e-9))).ln().powi(2)
}

fn try_around(
    mesh: &mut QuadMesh,
    scene: &mut Scene,
    v: usize,
    step: f64,
    facing: &[DVec3],
    best: &mut f64,
) -> bool {
    let (home, seat) = (mesh.positions[v], scene.seats[v]);
    let normal = normal_at(mesh, scene, v);
    let aside = normal.any_orthonormal_vector_or_x();
    let ahead = normal.cross(aside);
    let mut chosen = (home, seat);
    let mut better = false;
    for k in 0..8 {
        let angle = std::f64::consts::TAU * f64::from(k) / 8.0;
        mesh.positions[v] = home;
        scene.seats[v] = seat;
        let goal = home + (aside * angle.cos() + ahead * angle.sin()) * step;
        if let Some(placed) = place(mesh, scene, v, goal, normal) {
            placed.take(mesh, scene, v);
        }
        // A foot far from where it was looked for is on another fold.
        if mesh.positions[v].distance(goal) > 1.5 * step {
            continue;
        }
        let now = strain_at(mesh, scene, v, facing);
        if now < *best - 1e-6 {
            *best = now;
            chosen = (mesh.positions[v], scene.seats[v]);
            better = true;
        }
    }
    (mesh.positions[v], scene.seats[v]) = chosen;
    better
}

trait Orthonormal {
    fn any_orthonormal_vector_or_x(self) -> DVec3;
}

impl Orthonormal for DVec3 {
    /// A unit vector square to this one; x for a zero vector.
    fn any_orthonormal_vector_or_x(self) -> DVec3 {
        if self.length_squared() < 0.5 {
            DVec3::X
        } else {
            self.any_orthonormal_vector()
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_quad_turned_over_strains_as_one_folded_at_each_corner() {
        let square = [DVec3::ZERO, DVec3::X, DVec3::new(1.0, 1.0, 0.0), DVec3::Y];
        let under = mesh::TriMesh {
            positions: square.map(|p| p.as_vec3()).to_vec(),
            triangles: vec![[0, 1, 2], [0, 2, 3]],
        };
        let quad = QuadMesh {
            positions: square.to_vec(),
            quads: vec![[0, 1, 2, 3]],
            groups: vec![],
        };
        let scene = super::super::tests::bare_scene(&quad, under);
        assert_eq!(outward(&quad, &scene), [DVec3::Z]);
        let right = [
            strain_at(&quad, &scene, 0, &[DVec3::Z]),
            worst_at(&quad, &scene, 0, &[DVec3::Z]),
        ];
        let over = [
            strain_at(&quad, &scene, 0, &[-DVec3::Z]),
            worst_at(&quad, &scene, 0, &[-DVec3::Z]),
        ];
        assert_eq!(right[1], 1.0);
        assert_eq!(over[1], -1.0);
        assert!(over[0] > 100.0 && right[0] < 5.0, "{right:?} {over:?}");
    }

    #[test]
    fn a_quad_faces_as_the_wall_on_which_its_corners_stand_not_as_the_nearer_one() {
        // Two walls of thin cloth, the upper facing up, the lower down; a quad that is drawn through both.
        let square = [DVec3::ZERO, DVec3::X, DVec3::new(1.0, 1.0, 0.0), DVec3::Y];
        let wall = |height: f64| square.map(|p| (p + height * DVec3::Z).as_vec3());
        let walls = mesh::TriMesh {
            positions: [wall(0.0), wall(-0.1)].concat(),
            triangles: vec![[0, 1, 2], [0, 2, 3], [4, 6, 5], [4, 7, 6]],
        };
        let quad = QuadMesh {
            positions: square.map(|p| p - 0.09 * DVec3::Z).to_vec(),
            quads: vec![[0, 1, 2, 3]],
            groups: vec![],
        };
        let mut scene = super::super::tests::bare_scene(&quad, walls);
        assert_eq!(outward(&quad, &scene), [-DVec3::Z]);
        scene.feet = vec![None, Some(0), Some(0), Some(1)];
        assert_eq!(outward(&quad, &scene), [DVec3::Z]);
    }

    #[test]
    fn a_square_has_jacobian_one_and_a_rhombus_the_sine_of_its_angle() {
        let square = [DVec3::ZERO, DVec3::X, DVec3::new(1.0, 1.0, 0.0), DVec3::Y];
        assert!((scaled_jacobian(square) - 1.0).abs() < 1e-12);
        // Handbook trigonometry: a rhombus of angle 60° has sine sqrt(3)/2 at each corner.
        let (c, s) = (0.5, 3f64.sqrt() / 2.0);
        let rhombus = [
            DVec3::ZERO,
            DVec3::X,
            DVec3::new(1.0 + c, s, 0.0),
            DVec3::new(c, s, 0.0),
        ];
        assert!((scaled_jacobian(rhombus) - s).abs() < 1e-12);
    }
}
