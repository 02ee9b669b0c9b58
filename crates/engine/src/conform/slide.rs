//! Vertices that slide along their curve to where it bends, so that a hem over folds has them on crests and in
//! hollows rather than anywhere.

use mesh::{DVec3, QuadMesh};
use rayon::prelude::*;

use super::chords::Span;
use super::rails::Seat;
use super::shape::{FAIR, jacobian_of};
use super::{Scene, course, normal_at, onto_surface};

const SLIDES: u32 = 24;
/// Share of its way that a vertex slides in a round.
const SHARE: f64 = 0.3;
/// Scaled Jacobian below which no quad is pressed by vertices that slide, in the first and the last of these
/// rounds; in the first by those that make room for them.
const PRESSED: f64 = 0.1;
const SLID: f64 = 0.2;
const PRESSED_BESIDE: f64 = 0.3;

/// Scaled Jacobian below which vertices beside those that slide press no quad.
pub(super) fn floor(round: u32) -> f64 {
    rising(PRESSED_BESIDE, FAIR, round)
}

/// From a first floor to a last one, once nothing slides any more.
fn rising(first: f64, last: f64, round: u32) -> f64 {
    first + (last - first) * (f64::from(round) / f64::from(SLIDES)).min(1.0)
}

/// Slides the vertices of every guide and boundary along it to where the chords between them are
/// nearest to it, spacing kept as even as that allows.
pub(super) struct Slides {
    /// For each vertex that slides, where along its rail.
    targets: Vec<Option<f64>>,
}

impl Slides {
    pub fn new(mesh: &QuadMesh, scene: &Scene) -> Self {
        let mut targets = vec![None; mesh.positions.len()];
        let rails = if scene.slides { scene.rails.len() } else { 0 };
        // Vertices between curves are on none of them, so each curve stands by itself.
        let best = |rail: usize| -> Vec<(u32, f64)> {
            let runs = course::runs(mesh, scene, rail).into_iter();
            runs.flat_map(|run| run.best(mesh, scene)).collect()
        };
        let best: Vec<Vec<(u32, f64)>> = (0..rails).into_par_iter().map(best).collect();
        for (v, s) in best.into_iter().flatten() {
            targets[v as usize] = Some(s);
        }
        Self { targets }
    }

    /// One round: a share of the way. A step that makes the worst quad beside a vertex worse and presses
    /// it isn't taken; at first quads may be pressed more, for others make room for them.
    pub fn round(&self, mesh: &mut QuadMesh, scene: &mut Scene, round: u32) {
        if round >= SLIDES {
            return;
        }
        let floor = rising(PRESSED, SLID, round);
        for v in 0..mesh.positions.len() {
            let (Some(target), Seat::On { rail, s }) = (self.targets[v], scene.seats[v]) else {
                continue;
            };
            let at = scene.in_order(
                mesh,
                v,
                rail,
                s,
                s + SHARE * scene.short_way(rail, target - s),
            );
            slide(mesh, scene, v, rail, at, floor);
        }
    }
}

/// Rounds of the last slides, steps of a vertex in each, and how long the first is, in quad edges.
const SETTLES: usize = 8;
const STEPS: usize = 4;
const STEP: f64 = 0.2;
/// Scaled Jacobian below which the last slides press no quad.
const SQUARE: f64 = 0.5;
/// Weight of evenness there.
const EVEN: f64 = 0.5;
/// What both chords at a vertex cost where it slides: less is near enough.
const ASTRAY: f64 = 2.0;

/// After quads were squared up, which takes vertices back along their curves: each slides to where its chords
/// stray least from its curve without pressing a quad, the others staying where they are.
pub(super) fn settle(mesh: &mut QuadMesh, scene: &mut Scene) {
    for _ in 0..SETTLES {
        let mut any = false;
        for v in 0..mesh.positions.len() {
            let Seat::On { rail, .. } = scene.seats[v] else {
                continue;
            };
            if Span::of(mesh, scene, v).is_none_or(|(span, s)| span.strays(s) < ASTRAY) {
                continue;
            }
            let mut step = STEP * scene.edge;
            for _ in 0..STEPS {
                let Some((span, s)) = Span::of(mesh, scene, v) else {
                    break;
                };
                let cost = |at: f64| span.strays(at) + EVEN * span.uneven(at);
                let here = cost(s);
                let inside = |at: &f64| span.low < *at && *at < span.high;
                let places = [s - step, s + step].into_iter().filter(inside);
                let better = places.map(|at| (cost(at), at));
                let better = better
                    .filter(|b| b.0 < here)
                    .min_by(|a, b| a.0.total_cmp(&b.0));
                let slid = better.is_some_and(|(_, at)| {
                    let at = scene.in_order(mesh, v, rail, s, at);
                    slide(mesh, scene, v, rail, at, SQUARE)
                });
                any |= slid;
                if !slid {
                    step *= 0.5;
                }
            }
        }
        if !any {
            return;
        }
    }
}

/// Slides a vertex to `at` on its rail and takes those close beside it along, unless that makes the worst quad
/// beside them worse and presses it below the floor; gives whether it did.
fn slide(
    mesh: &mut QuadMesh,
    scene: &mut Scene,
    v: usize,
    rail: usize,
    at: f64,
    floor: f64,
) -> bool {
    let moved: Vec<usize> = std::iter::once(v).chain(beside(mesh, scene, v)).collect();
    let before: Vec<(DVec3, Option<u32>)> = moved
        .iter()
        .map(|&m| (mesh.positions[m], scene.feet[m]))
        .collect();
    let worst = |mesh: &QuadMesh, scene: &Scene| {
        let each = moved.iter().map(|&m| worst_at(mesh, scene, m));
        each.fold(f64::INFINITY, f64::min)
    };
    let was = worst(mesh, scene);
    let to = scene.rails[rail].aim(at);
    take_along(mesh, scene, &moved, to);
    let now = worst(mesh, scene);
    if now < floor && now < was {
        for (&m, (place, foot)) in moved.iter().zip(before) {
            mesh.positions[m] = place;
            scene.feet[m] = foot;
        }
        return false;
    }
    scene.seats[v] = Seat::On { rail, s: at };
    true
}

/// Free neighbours of a vertex less than an edge away.
fn beside(mesh: &QuadMesh, scene: &Scene, v: usize) -> Vec<usize> {
    let near = |n: &usize| mesh.positions[*n].distance(mesh.positions[v]) < scene.edge;
    let free = scene.around[v].iter().map(|&n| n as usize);
    let free = free.filter(|&n| scene.seats[n] == Seat::Free && !scene.held[n]);
    free.filter(near).collect()
}

/// Moves the first of some vertices, and the others after it, the nearer to it the further: a row close
/// beside a curve would be pressed by a vertex that slid past it.
fn take_along(mesh: &mut QuadMesh, scene: &mut Scene, moved: &[usize], to: DVec3) {
    let Some((&v, others)) = moved.split_first() else {
        return;
    };
    let (from, way) = (mesh.positions[v], to - mesh.positions[v]);
    for &n in others {
        let at = mesh.positions[n];
        let share = 1.0 - at.distance(from) / scene.edge;
        let normal = normal_at(mesh, scene, n);
        let foot = onto_surface(scene, at + way * share, normal, scene.feet[n]);
        if let Some(foot) = foot.filter(|foot| scene.is_apart(foot.point)) {
            mesh.positions[n] = foot.point;
            scene.feet[n] = Some(foot.triangle);
        }
    }
    mesh.positions[v] = to;
}

/// Least scaled Jacobian of the quads at a vertex.
fn worst_at(mesh: &QuadMesh, scene: &Scene, v: usize) -> f64 {
    let quads = scene.quads_at[v].iter();
    let each = quads.map(|&(q, _)| jacobian_of(mesh, q));
    each.fold(f64::INFINITY, f64::min)
}

#[cfg(test)]
mod tests {
    use mesh::TriMesh;

    use super::super::rails::Rail;
    use super::super::shape::scaled_jacobian;
    use super::super::tests::bare_scene;
    use super::*;

    /// A level triangle under all that is tried here.
    fn ground() -> TriMesh {
        let corners = [[-9.0, -9.0, 0.0], [9.0, -9.0, 0.0], [0.0, 9.0, 0.0]];
        TriMesh {
            positions: corners.map(|p| DVec3::from_array(p).as_vec3()).to_vec(),
            triangles: vec![[0, 1, 2]],
        }
    }

    #[test]
    fn no_vertex_slides_along_its_curve_so_far_that_a_quad_folds() {
        // The curve bends at x = 1.8, where its vertex is drawn to; the rows' ends stay where they are.
        let at = |x: f64, y: f64| DVec3::new(x, y, 0.0);
        let corners = [at(0.0, 0.0), at(1.8, 0.0), at(2.0, -1.0)];
        let positions = vec![
            corners[0],
            at(1.0, 0.0),
            corners[2],
            at(0.0, 1.0),
            at(1.0, 0.3),
            at(2.0, 0.3),
        ];
        let mut mesh = QuadMesh {
            positions,
            quads: vec![[0, 1, 4, 3], [1, 2, 5, 4]],
            groups: vec![],
        };
        let mut scene = bare_scene(&mesh, ground());
        scene.kin = vec![vec![1], vec![0, 2], vec![1], vec![], vec![], vec![]];
        scene.rails = vec![Rail::new(corners.to_vec(), false, false)];
        scene.seats[0] = Seat::Pinned;
        scene.seats[1] = Seat::On { rail: 0, s: 1.0 };
        scene.seats[2] = Seat::Pinned;
        let worst = |mesh: &QuadMesh| {
            let each = mesh.quads.iter();
            let each = each.map(|q| scaled_jacobian(q.map(|v| mesh.positions[v as usize])));
            each.fold(f64::INFINITY, f64::min)
        };
        let before = worst(&mesh);
        let slides = Slides::new(&mesh, &scene);
        for round in 0..SLIDES {
            slides.round(&mut mesh, &mut scene, round);
        }
        assert!(
            worst(&mesh) >= before.min(PRESSED),
            "{} {before}",
            worst(&mesh)
        );
    }

    /// Three columns of two rows beside a rail: the vertices on it and those of the row near it.
    fn rows(rail: Vec<DVec3>, columns: [DVec3; 3], near: [DVec3; 3]) -> (QuadMesh, Scene) {
        let last = near.map(|p| p + DVec3::Y);
        let positions = [columns, near, last].into_iter().flatten();
        let quad = |k: u32| [k, k + 1, k + 4, k + 3];
        let mesh = QuadMesh {
            positions: positions.collect(),
            quads: [0, 1, 3, 4].map(quad).to_vec(),
            groups: vec![],
        };
        let mut scene = bare_scene(&mesh, ground());
        scene.kin = vec![Vec::new(); 9];
        (scene.kin[0], scene.kin[1], scene.kin[2]) = (vec![1], vec![0, 2], vec![1]);
        scene.rails = vec![Rail::new(rail, false, false)];
        let s = scene.rails[0].nearest(columns[1], None);
        scene.seats[0] = Seat::Pinned;
        scene.seats[1] = Seat::On { rail: 0, s };
        scene.seats[2] = Seat::Pinned;
        (mesh, scene)
    }

    /// Found on an eye's ring with a row a fifth of an edge beside it: nothing slid, for quads were pressed.
    #[test]
    fn a_row_close_beside_a_curve_goes_along() {
        let at = |x: f64, y: f64| DVec3::new(x, y, 0.0);
        let corners = vec![at(0.0, 0.0), at(2.6, 0.0), at(3.0, -0.9)];
        let columns = [at(0.0, 0.0), at(1.5, 0.0), at(3.0, -0.9)];
        let near = columns.map(|p| p + at(0.0, 0.2));
        let (mut mesh, mut scene) = rows(corners, columns, near);
        let slides = Slides::new(&mesh, &scene);
        for round in 0..SLIDES {
            slides.round(&mut mesh, &mut scene, round);
        }
        let (own, above) = (mesh.positions[1], mesh.positions[4]);
        assert!(own.x > 2.0, "{own}");
        assert!(above.x > 1.9, "{above}");
        let least = (0..4).map(|q| jacobian_of(&mesh, q)).fold(1.0, f64::min);
        assert!(least > 0.25, "{least}");
    }

    #[test]
    fn a_vertex_beside_a_corner_settles_in_it() {
        let at = |x: f64, y: f64| DVec3::new(x, y, 0.0);
        let corners = vec![at(0.0, 0.0), at(1.4, 0.7), at(2.4, 0.0)];
        let columns = [at(0.0, 0.0), at(0.9, 0.45), at(2.4, 0.0)];
        let near = [at(0.0, 0.6), at(1.4, 1.4), at(2.4, 0.6)];
        let (mut mesh, mut scene) = rows(corners, columns, near);
        settle(&mut mesh, &mut scene);
        let off = mesh.positions[1].distance(at(1.4, 0.7));
        assert!(off < 0.1, "{off}");
        // One that is near enough stays to the bit.
        let before = mesh.clone();
        settle(&mut mesh, &mut scene);
        assert_eq!(mesh.positions, before.positions);
    }
}
