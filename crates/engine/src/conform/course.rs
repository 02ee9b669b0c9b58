//! Where along a rail its vertices lie best, all of them at once.
//!
//! What a vertex costs depends on its two neighbours along the rail only, so the best of many places for
//! each is found by dynamic programming over the run (Bellman 1957), once around for closed ones and for
//! each place of the first vertex. The window of places is then laid about what was found, narrower.

use mesh::{DVec3, QuadMesh};

use super::Scene;
use super::chords::chord_between;
use super::rails::Seat;

/// Places on either side of where a vertex is.
const PLACES: i32 = 8;
/// How far they reach at first, in mean ways between vertices; a third of that each time.
const REACH: f64 = 0.8;
const NARROWER: f64 = 1.0 / 3.0;
const ROUNDS: usize = 3;
/// Least way between vertices, in mean ones.
const LEAST: f64 = 0.4;
/// Cost of a way of twice the mean length, beside [`chord_between`].
const UNEVEN: f64 = 0.7;

/// Vertices in order along a rail, each the next one's neighbour.
pub(super) struct Run {
    rail: usize,
    /// Vertex, where it is, and whether it stays there.
    stops: Vec<(u32, f64, bool)>,
    /// Whether the last vertex is the first one's neighbour.
    closed: bool,
}

/// The runs of vertices on a rail; none on the mirror plane.
pub(super) fn runs(mesh: &QuadMesh, scene: &Scene, rail: usize) -> Vec<Run> {
    let curve = &scene.rails[rail];
    if curve.on_plane {
        return Vec::new();
    }
    let mut stops: Vec<(u32, f64, bool)> = Vec::new();
    for (v, seat) in scene.seats.iter().enumerate() {
        let &Seat::On { rail: on, s } = seat else {
            continue;
        };
        if on != rail {
            continue;
        }
        stops.push((v as u32, s, false));
        for &n in &scene.kin[v] {
            if scene.seats[n as usize] == Seat::Pinned
                && let Some(way) = scene.way_to(mesh, rail, s, n)
            {
                stops.push((n, s + way, true));
            }
        }
    }
    let whole = curve.length();
    if curve.closed && whole > 0.0 {
        stops
            .iter_mut()
            .for_each(|stop| stop.1 = stop.1.rem_euclid(whole));
    }
    stops.sort_by(|a, b| a.1.total_cmp(&b.1).then(a.0.cmp(&b.0)));
    stops.dedup_by_key(|stop| stop.0);
    let linked =
        |a: &(u32, f64, bool), b: &(u32, f64, bool)| scene.kin[a.0 as usize].contains(&b.0);
    let n = stops.len();
    if n < 3 {
        return Vec::new();
    }
    if curve.closed && linked(&stops[n - 1], &stops[0]) {
        let breaks = (0..n).filter(|&i| !linked(&stops[i], &stops[(i + 1) % n]));
        let pinned = stops.iter().position(|s| s.2);
        match (breaks.count(), pinned) {
            (0, None) => {
                return vec![Run {
                    rail,
                    stops,
                    closed: true,
                }];
            }
            // From a pinned vertex once around to it.
            (_, Some(first)) => {
                stops.rotate_left(first);
                for stop in &mut stops[n - first..] {
                    stop.1 += whole;
                }
                let (v, s, _) = stops[0];
                stops.push((v, s + whole, true));
            }
            _ => {}
        }
    }
    let mut runs = Vec::new();
    for piece in stops.chunk_by(linked) {
        let mut stops = piece.to_vec();
        // Where a run ends in the open nothing says how far it goes.
        if let [first, .., last] = &mut stops[..] {
            (first.2, last.2) = (true, true);
            // From one that stays to the next: what lies beyond it has ways of its own.
            let stays: Vec<usize> = (0..stops.len()).filter(|&i| stops[i].2).collect();
            runs.extend(stays.windows(2).map(|ends| Run {
                rail,
                stops: stops[ends[0]..=ends[1]].to_vec(),
                closed: false,
            }));
        }
    }
    runs.retain(|run| run.stops.len() > 2);
    runs
}

impl Run {
    /// For each vertex that may slide, where it lies best.
    pub fn best(mut self, mesh: &QuadMesh, scene: &Scene) -> Vec<(u32, f64)> {
        let n = self.stops.len();
        let whole = scene.rails[self.rail].length();
        let links = if self.closed { n } else { n - 1 };
        let dense: Vec<f64> = (0..links)
            .map(|i| {
                let [a, b] = [i, (i + 1) % n].map(|i| self.stops[i].0 as usize);
                let along = mesh.positions[b] - mesh.positions[a];
                scene.density(a, b, along.normalize_or_zero())
            })
            .collect();
        let way = |stops: &[(u32, f64, bool)], i: usize| {
            let past = if i + 1 == n { whole } else { 0.0 };
            stops[(i + 1) % n].1 + past - stops[i].1
        };
        let sum: f64 = (0..links).map(|i| way(&self.stops, i) * dense[i]).sum();
        let mean = sum / links as f64;
        let mut reach = REACH * mean;
        for _ in 0..ROUNDS {
            let places: Vec<Vec<f64>> = self
                .stops
                .iter()
                .map(|&(_, s, stays)| {
                    let most = if stays { 0 } else { PLACES };
                    let place = |k: i32| s + reach * f64::from(k) / f64::from(PLACES);
                    (-most..=most).map(place).collect()
                })
                .collect();
            let costs: Vec<Vec<Vec<f64>>> = (0..links)
                .map(|i| {
                    let past = if i + 1 == n { whole } else { 0.0 };
                    // What is pinned may lie off the rail.
                    let at = |i: usize, s: f64| match self.stops[i] {
                        (v, _, true) => mesh.positions[v as usize],
                        _ => scene.rails[self.rail].aim(s),
                    };
                    let next = (i + 1) % n;
                    let ends = places[next].iter().map(|&b| (b + past, at(next, b)));
                    let ends: Vec<(f64, DVec3)> = ends.collect();
                    let row = |&a: &f64| {
                        let from = (a, at(i, a));
                        let cost =
                            |&to: &(f64, DVec3)| self.cost(scene, [from, to], dense[i], mean);
                        ends.iter().map(cost).collect()
                    };
                    places[i].iter().map(row).collect()
                })
                .collect();
            for (stop, (k, places)) in self
                .stops
                .iter_mut()
                .zip(path(&costs, self.closed).into_iter().zip(places))
            {
                stop.1 = places[k];
            }
            reach *= NARROWER;
        }
        let sliding = self.stops.into_iter().filter(|stop| !stop.2);
        sliding.map(|(v, s, _)| (v, s)).collect()
    }

    fn cost(&self, scene: &Scene, [a, b]: [(f64, DVec3); 2], dense: f64, mean: f64) -> f64 {
        let way = (b.0 - a.0) * dense / mean;
        // What is pinned may lie beside the rail, nearer to one neighbour than by the length along it.
        let shortest = way.min(b.1.distance(a.1) * dense / mean);
        if shortest < LEAST {
            return 1e6 * (1.0 + LEAST - shortest);
        }
        let chord = chord_between(&scene.rails[self.rail], a, b, scene.edge);
        chord + UNEVEN * (way - 1.0).powi(2)
    }
}

/// The cheapest way through all stages: which place at each. `costs[i][a][b]` is that of place a of
/// stage i with place b of the next one; of the first again, where the last stage is `closed`.
fn path(costs: &[Vec<Vec<f64>>], closed: bool) -> Vec<usize> {
    let firsts = costs.first().map_or(0, Vec::len);
    let mut best: Option<(f64, Vec<usize>)> = None;
    let starts = if closed { firsts } else { 1 };
    for start in 0..starts {
        let mut so_far: Vec<f64> = (0..firsts)
            .map(|k| {
                if !closed || k == start {
                    0.0
                } else {
                    f64::INFINITY
                }
            })
            .collect();
        let mut from: Vec<Vec<usize>> = Vec::with_capacity(costs.len());
        for stage in costs {
            let next = stage.first().map_or(0, Vec::len);
            let mut reached = vec![(f64::INFINITY, 0); next];
            for (a, row) in stage.iter().enumerate() {
                for (b, cost) in row.iter().enumerate() {
                    let sum = so_far[a] + cost;
                    if sum < reached[b].0 {
                        reached[b] = (sum, a);
                    }
                }
            }
            so_far = reached.iter().map(|r| r.0).collect();
            from.push(reached.into_iter().map(|r| r.1).collect());
        }
        let end = if closed {
            start
        } else {
            let ends = (0..so_far.len()).min_by(|&a, &b| so_far[a].total_cmp(&so_far[b]));
            ends.unwrap_or(0)
        };
        let cost = so_far.get(end).copied().unwrap_or(f64::INFINITY);
        if best.as_ref().is_some_and(|b| cost >= b.0) {
            continue;
        }
        let mut places = vec![end];
        for stage in from.iter().rev() {
            places.push(stage[places[places.len() - 1]]);
        }
        places.reverse();
        if closed {
            places.pop();
        }
        best = Some((cost, places));
    }
    best.map_or_else(Vec::new, |b| b.1)
}

#[cfg(test)]
mod tests {
    use mesh::TriMesh;

    use super::super::rails::Rail;
    use super::super::tests::bare_scene;
    use super::*;

    #[test]
    fn the_path_is_the_cheapest_of_all() {
        // Costs of a fixed sequence: three places at each of four stages.
        let cost = |i: usize, a: usize, b: usize| ((i * 131 + a * 37 + b * 71 + 11) % 29) as f64;
        let of = |i: usize| {
            (0..3)
                .map(|a| (0..3).map(|b| cost(i, a, b)).collect())
                .collect()
        };
        let costs: Vec<Vec<Vec<f64>>> = (0..4).map(of).collect();
        let sum =
            |p: &[usize]| -> f64 { (0..4).map(|i| cost(i, p[i], p[(i + 1) % p.len()])).sum() };
        let all = |n: u32| {
            let place = move |k: usize| (0..n).map(|i| k / 3usize.pow(i) % 3).collect::<Vec<_>>();
            (0..3usize.pow(n)).map(place)
        };
        let least = |n: u32| all(n).map(|p| sum(&p)).fold(f64::INFINITY, f64::min);
        assert_eq!(sum(&path(&costs, true)), least(4));
        assert_eq!(sum(&path(&costs, false)), least(5));
    }

    #[test]
    fn vertices_come_to_lie_in_the_corners_of_their_rail() {
        let at = |x: f64, y: f64| DVec3::new(x, y, 0.0);
        let square = [at(0.0, 0.0), at(2.0, 0.0), at(2.0, 2.0), at(0.0, 2.0)];
        let under = TriMesh {
            positions: square.map(|p| p.as_vec3()).to_vec(),
            triangles: vec![[0, 1, 2], [0, 2, 3]],
        };
        // Four vertices, each most of the way from one corner to the next.
        let starts = [0.7, 2.6, 4.7, 6.8];
        let rail = Rail::new(square.to_vec(), true, false);
        let mesh = QuadMesh {
            positions: starts.map(|s| rail.at(s)).to_vec(),
            quads: vec![[0, 1, 2, 3]],
            groups: vec![],
        };
        let mut scene = bare_scene(&mesh, under);
        scene.kin = vec![vec![1, 3], vec![0, 2], vec![1, 3], vec![0, 2]];
        scene.seats = starts.map(|s| Seat::On { rail: 0, s }).to_vec();
        scene.rails = vec![rail];
        let found = runs(&mesh, &scene, 0);
        assert_eq!(found.len(), 1);
        for run in found {
            for (v, s) in run.best(&mesh, &scene) {
                let off = (s - 2.0 * f64::from(v)).abs();
                assert!(off < 0.05, "{v} at {s}");
            }
        }
        // One pinned on a side stays, and the run goes once around to it.
        scene.seats[0] = Seat::Pinned;
        let found = runs(&mesh, &scene, 0);
        let moved: Vec<u32> = found
            .into_iter()
            .flat_map(|r| r.best(&mesh, &scene))
            .map(|m| m.0)
            .collect();
        assert_eq!(moved, [1, 2, 3]);
    }

    /// A narrow fold, walls at 0 and 0.3, its tip at a height of 3: the chord from wall to wall below the tip
    /// was as good as any, for both its ends are on the rail and the tip is a third of an edge off.
    #[test]
    fn no_chord_lies_across_a_folds_tip() {
        let at = |x: f64, y: f64| DVec3::new(x, y, 0.0);
        let rail = Rail::new(
            vec![
                at(0.0, 0.0),
                at(0.0, 2.85),
                at(0.15, 3.0),
                at(0.3, 2.85),
                at(0.3, 0.0),
            ],
            false,
            false,
        );
        let whole = rail.length();
        let starts = [0.0, 0.9, 1.8, 2.7, 3.3, 4.2, 5.1, whole];
        let n = starts.len();
        let mesh = QuadMesh {
            positions: starts.map(|s| rail.at(s)).to_vec(),
            quads: vec![[0, 2, 4, 6]],
            groups: vec![],
        };
        let under = TriMesh {
            positions: [[0.0, 0.0], [0.3, 0.0], [0.3, 3.0]]
                .map(|[x, y]| mesh::Vec3::new(x, y, 0.0))
                .to_vec(),
            triangles: vec![[0, 1, 2]],
        };
        let mut scene = bare_scene(&mesh, under);
        scene.kin = (0..n)
            .map(|v| {
                [v.wrapping_sub(1), v + 1]
                    .into_iter()
                    .filter(|&u| u < n)
                    .map(|u| u as u32)
                    .collect()
            })
            .collect();
        scene.seats = starts.map(|s| Seat::On { rail: 0, s }).to_vec();
        scene.seats[0] = Seat::Pinned;
        scene.seats[n - 1] = Seat::Pinned;
        scene.rails = vec![rail];
        let mut places = starts;
        for (v, s) in runs(&mesh, &scene, 0)
            .into_iter()
            .flat_map(|r| r.best(&mesh, &scene))
        {
            places[v as usize] = s;
        }
        for pair in places.windows(2) {
            let [a, b] = [pair[0], pair[1]].map(|s| scene.rails[0].at(s));
            let angle = (b - a).angle_between(DVec3::Y).to_degrees();
            let aside = angle.min(180.0 - angle);
            assert!(aside < 45.0, "{places:?}");
        }
    }

    /// Three vertices on a quarter of a square's rail and nine on the rest, between two pinned ones of
    /// which one lies beside its rail: each stretch is shared out by itself, and nothing comes together.
    #[test]
    fn stretches_between_pinned_vertices_are_shared_out_by_themselves() {
        let at = |x: f64, y: f64| DVec3::new(x, y, 0.0);
        let square = [at(0.0, 0.0), at(2.0, 0.0), at(2.0, 2.0), at(0.0, 2.0)];
        let under = TriMesh {
            positions: square.map(|p| p.as_vec3()).to_vec(),
            triangles: vec![[0, 1, 2], [0, 2, 3]],
        };
        let rail = Rail::new(square.to_vec(), true, false);
        // Pinned at 0 and 2, nearer to one of them in between.
        let starts = [
            0.0, 0.3, 0.6, 1.1, 2.0, 2.5, 3.0, 3.3, 4.2, 5.0, 6.1, 6.5, 7.0,
        ];
        let n = starts.len();
        let mut positions = starts.map(|s| rail.at(s)).to_vec();
        positions[4] += at(0.2, -0.1);
        let mesh = QuadMesh {
            positions,
            quads: vec![[0, 4, 8, 10]],
            groups: vec![],
        };
        let mut scene = bare_scene(&mesh, under);
        let beside = |v: usize| vec![((v + n - 1) % n) as u32, ((v + 1) % n) as u32];
        scene.kin = (0..n).map(beside).collect();
        scene.seats = starts.map(|s| Seat::On { rail: 0, s }).to_vec();
        scene.seats[0] = Seat::Pinned;
        scene.seats[4] = Seat::Pinned;
        scene.homes.insert(4, rail.at(2.0));
        scene.rails = vec![rail];
        let found = runs(&mesh, &scene, 0);
        assert_eq!(found.len(), 2);
        let mut places = starts;
        for (v, s) in found.into_iter().flat_map(|r| r.best(&mesh, &scene)) {
            places[v as usize] = s;
        }
        assert_eq!((places[0], places[4]), (0.0, 2.0));
        for v in 0..n {
            let way = (places[(v + 1) % n] - places[v]).rem_euclid(8.0);
            let even = if v < 4 { 0.5 } else { 6.0 / 9.0 };
            assert!((way / even - 1.0).abs() < 0.55, "{v}: {way} of {even}");
        }
    }
}
