//! What becomes of vertices along a rail when pinned ones among them step aside.
//!
//! A pinned vertex goes to a corner's tip once the mesh lies on the sculpt; where that is beyond its
//! neighbour, the two would have changed places.

use mesh::QuadMesh;

use super::Scene;
use super::rails::{Rail, Seat};

/// Where along a rail a pinned vertex was, and where it belongs now, as lengths from the rail's start.
#[derive(Clone, Copy, Debug)]
pub(super) struct Step {
    pub rail: usize,
    pub was: f64,
    pub is: f64,
}

/// Where pinned vertices of a rail step past others, all on that stretch go with them, so that none comes to
/// lie beyond its neighbour.
pub(super) fn keep_step(mesh: &mut QuadMesh, scene: &mut Scene, steps: &[Step]) {
    let mut on: Vec<Vec<(usize, f64)>> = vec![Vec::new(); scene.rails.len()];
    for (v, seat) in scene.seats.iter().enumerate() {
        if let &Seat::On { rail, s } = seat {
            on[rail].push((v, s));
        }
    }
    for (rail, on) in on.iter().enumerate() {
        let curve = &scene.rails[rail];
        let whole = curve.length();
        for stretch in stretches(curve, rail, steps) {
            let [[a, from], [b, to]] = stretch;
            // On a closed rail a stretch may run over the start.
            let unrolled = |s: f64| {
                if curve.closed {
                    a + (s - a).rem_euclid(whole)
                } else {
                    s
                }
            };
            let all = on.iter().map(|&(v, s)| (v, unrolled(s)));
            let mine: Vec<(usize, f64)> = all.filter(|&(_, s)| a <= s && s < b).collect();
            if mine.iter().all(|&(_, s)| from < s && s < to) {
                continue;
            }
            for (v, s) in mine {
                let s = in_step(stretch, s);
                scene.seats[v] = Seat::On { rail, s };
                mesh.positions[v] = curve.aim(s);
            }
        }
    }
}

/// Each stretch of a rail from one pinned vertex to the next: of both ends where they were, and where they
/// are.
fn stretches(rail: &Rail, mine: usize, steps: &[Step]) -> Vec<[[f64; 2]; 2]> {
    let whole = rail.length();
    let own = steps.iter().filter(|step| step.rail == mine);
    let mut all: Vec<[f64; 2]> = own.map(|step| [step.was, step.is]).collect();
    if !rail.closed {
        all.extend([[0.0; 2], [whole; 2]]);
    }
    all.sort_by(|a, b| a[0].total_cmp(&b[0]));
    if let (true, Some(first)) = (rail.closed, all.first()) {
        all.push(first.map(|s| s + whole));
    }
    all.windows(2).map(|pair| [pair[0], pair[1]]).collect()
}

/// The length along a rail that keeps its share of the way from one end of a stretch to the other.
fn in_step([[a, from], [b, to]]: [[f64; 2]; 2], s: f64) -> f64 {
    from + (to - from) * (s - a) / (b - a).max(f64::MIN_POSITIVE)
}

#[cfg(test)]
mod tests {
    use mesh::{DVec3, TriMesh};

    use super::super::tests::bare_scene;
    use super::*;

    fn on_a_square(starts: [f64; 4]) -> (QuadMesh, Scene) {
        let square = [DVec3::ZERO, DVec3::X, DVec3::new(1.0, 1.0, 0.0), DVec3::Y];
        let under = TriMesh {
            positions: square.map(|p| p.as_vec3()).to_vec(),
            triangles: vec![[0, 1, 2], [0, 2, 3]],
        };
        let rail = Rail::new(square.to_vec(), true, false);
        let mesh = QuadMesh {
            positions: starts.map(|s| rail.at(s)).to_vec(),
            quads: vec![[0, 1, 2, 3]],
            groups: vec![],
        };
        let mut scene = bare_scene(&mesh, under);
        scene.seats = starts.map(|s| Seat::On { rail: 0, s }).to_vec();
        scene.rails = vec![rail];
        (mesh, scene)
    }

    fn assert_places(mesh: &QuadMesh, scene: &Scene, wanted: [f64; 4]) {
        for (v, wanted) in wanted.into_iter().enumerate() {
            let Seat::On { s, .. } = scene.seats[v] else {
                panic!("vertex {v} left its rail");
            };
            assert!((s - wanted).abs() < 1e-12, "{v}: {s}");
            assert!(mesh.positions[v].distance(scene.rails[0].at(wanted)) < 1e-12);
        }
    }

    /// Around a square of sides 1, one pinned at 0.5 steps to 1 past the vertex at 0.6; another stays at 2.5.
    #[test]
    fn vertices_go_with_a_pinned_one_that_steps_past_them() {
        let (mut mesh, mut scene) = on_a_square([0.6, 1.4, 3.0, 0.2]);
        let step = |was, is| Step { rail: 0, was, is };
        keep_step(&mut mesh, &mut scene, &[step(0.5, 1.0), step(2.5, 2.5)]);
        let wanted = [1.0 + 1.5 * 0.1 / 2.0, 1.0 + 1.5 * 0.9 / 2.0, 3.0, 0.2];
        assert_places(&mesh, &scene, wanted);
    }

    /// The same over the start of the rail: from 3.5 to 4.0 and on to 1.5, past the vertex at 3.6; those at 3.9
    /// and 0.5 are of one stretch with it, on both sides of the start. Only some of them went with it.
    #[test]
    fn a_stretch_over_the_start_goes_whole() {
        let (mut mesh, mut scene) = on_a_square([3.6, 3.9, 0.5, 2.0]);
        let step = |was, is| Step { rail: 0, was, is };
        keep_step(&mut mesh, &mut scene, &[step(3.5, 4.0), step(1.5, 1.5)]);
        let share = |way: f64| 4.0 + 1.5 * way / 2.0;
        assert_places(&mesh, &scene, [share(0.1), share(0.4), share(1.0), 2.0]);
    }
}
