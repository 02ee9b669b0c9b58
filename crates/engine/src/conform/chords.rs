//! Chords that straddle their guide.
//!
//! Vertices on a curve leave its bulges outside their chords by up to the sagitta; moving
//! them off the curve a little, by least squares over points spread along it, halves
//! the largest distance. Boundaries too: they stay boundaries wherever they lie.
//!
//! Before that, vertices slide along their curve to where it bends, so that a hem over folds has
//! them on crests and in hollows rather than anywhere.

use mesh::{DVec3, QuadMesh};
use rayon::prelude::*;

use super::rails::{Rail, Seat};
use super::shape::{FAIR, jacobian_of};
use super::{Scene, course};

/// Distance from a curve, in quad edges, that weighs as much as an edge of twice the mean length.
const NEAR: f64 = 0.12;
/// Cost of a chord square to its curve; of one at an angle whose squared sine is [`SLANT`] none (30°). A chord
/// across a fold's tip is near to the curve everywhere, and doesn't follow it.
const ASKEW: f64 = 10.0;
const SLANT: f64 = 0.25;
/// Half the length over which the curve's direction is taken, in quad edges.
const AHEAD: f64 = 0.125;
const SLIDES: u32 = 24;
/// Share of its way that a vertex slides in a round.
const SHARE: f64 = 0.3;
/// Scaled Jacobian below which no quad is pressed by vertices that slide, in the first and the last of these
/// rounds; in the first by those that make room for them.
const PRESSED: f64 = 0.1;
const SLID: f64 = 0.2;
const PRESSED_BESIDE: f64 = 0.3;

/// The piece of a rail between a vertex's two neighbours along it.
struct Span<'a> {
    curve: &'a Rail,
    edge: f64,
    low: f64,
    high: f64,
    /// How dense vertices are wanted on either side.
    dense: [f64; 2],
}

impl<'a> Span<'a> {
    /// The span, and where on its rail the vertex is; `None` where it isn't between two others on one.
    fn of(mesh: &QuadMesh, scene: &'a Scene, v: usize) -> Option<(Self, f64)> {
        let Seat::On { rail, s } = scene.seats[v] else {
            return None;
        };
        let curve = &scene.rails[rail];
        if curve.on_plane {
            return None;
        }
        let mut sides: Vec<(f64, f64)> = Vec::with_capacity(2);
        for &n in &scene.kin[v] {
            let Some(way) = scene.way_to(mesh, rail, s, n) else {
                continue;
            };
            let along = mesh.positions[n as usize] - mesh.positions[v];
            let dense = scene.density(v, n as usize, along.normalize_or_zero());
            sides.push((s + way, dense));
        }
        sides.sort_by(|a, b| a.0.total_cmp(&b.0));
        let &[(low, before), (high, after)] = &sides[..] else {
            return None;
        };
        let span = Self {
            curve,
            edge: scene.edge,
            low,
            high,
            dense: [before, after],
        };
        (low < s && s < high).then_some((span, s))
    }

    /// How far the chords to both neighbours stray, and how uneven they are, with the vertex at `at`.
    fn cost(&self, at: f64) -> f64 {
        let Self {
            curve, low, high, ..
        } = *self;
        let before = (at - low) * self.dense[0] * curve.bend(low, at - low);
        let after = (high - at) * self.dense[1] * curve.bend(at, high - at);
        let uneven = ((before - after) / (before + after)).powi(2);
        chord_cost(curve, low, at, self.edge)
            + chord_cost(curve, at, high, self.edge)
            + 4.0 * uneven
    }
}

/// What a vertex on a guide or boundary adds to the strain of its quads: how far the chords beside
/// it stray.
pub(super) fn strain_at(mesh: &QuadMesh, scene: &Scene, v: usize) -> f64 {
    let span = Span::of(mesh, scene, v).filter(|_| scene.slides);
    span.map_or(0.0, |(span, s)| span.cost(s))
}

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
            let before = (worst_at(mesh, scene, v), mesh.positions[v]);
            mesh.positions[v] = scene.rails[rail].aim(at);
            let now = worst_at(mesh, scene, v);
            if now < floor && now < before.0 {
                mesh.positions[v] = before.1;
            } else {
                scene.seats[v] = Seat::On { rail, s: at };
            }
        }
    }
}

/// Least scaled Jacobian of the quads at a vertex.
fn worst_at(mesh: &QuadMesh, scene: &Scene, v: usize) -> f64 {
    let quads = scene.quads_at[v].iter();
    let each = quads.map(|&(q, _)| jacobian_of(mesh, q));
    each.fold(f64::INFINITY, f64::min)
}

/// One step along a rail, from a vertex that slides to a neighbour.
#[derive(Clone, Copy, Debug)]
struct Link {
    vertex: u32,
    neighbour: u32,
}

/// All steps along rails other than the mirror plane's.
fn links_of(mesh: &QuadMesh, scene: &Scene) -> Vec<Link> {
    let mut links = Vec::new();
    for (v, kin) in scene.kin.iter().enumerate() {
        let Seat::On { rail, s } = scene.seats[v] else {
            continue;
        };
        if scene.rails[rail].on_plane {
            continue;
        }
        for &neighbour in kin {
            if scene.way_to(mesh, rail, s, neighbour).is_some() {
                links.push(Link {
                    vertex: v as u32,
                    neighbour,
                });
            }
        }
    }
    links
}

/// How far a piece of the curve strays from its chord, see [`chord_between`].
fn chord_cost(curve: &Rail, a: f64, b: f64, edge: f64) -> f64 {
    chord_between(curve, (a, curve.aim(a)), (b, curve.aim(b)), edge)
}

/// Mean squared distance of a piece of the curve from its chord, in units of [`NEAR`], and more where the
/// chord is askew to it; for a chord between two places, given with the lengths along the curve that they
/// stand for.
pub(super) fn chord_between(
    curve: &Rail,
    (a, p): (f64, DVec3),
    (b, q): (f64, DVec3),
    edge: f64,
) -> f64 {
    let (along, middle) = (q - p, (p + q) / 2.0);
    let (mut sum, mut nearest) = (0.0, (f64::INFINITY, a));
    for i in 1..=POINTS {
        let s = a + (b - a) * i as f64 / (POINTS + 1) as f64;
        let at = curve.aim(s);
        let t = ((at - p).dot(along) / along.length_squared().max(1e-300)).clamp(0.0, 1.0);
        sum += at.distance_squared(p + along * t);
        let off = at.distance_squared(middle);
        if off < nearest.0 {
            nearest = (off, s);
        }
    }
    let ahead = AHEAD * edge;
    let there = curve.aim(nearest.1 + ahead) - curve.aim(nearest.1 - ahead);
    let both = there.length_squared() * along.length_squared();
    let slant = there.cross(along).length_squared() / both.max(f64::MIN_POSITIVE);
    let askew = (slant - SLANT).max(0.0) / (1.0 - SLANT);
    sum / POINTS as f64 / (NEAR * edge).powi(2) + ASKEW * askew
}

/// Points of the curve between two neighbouring vertices.
const POINTS: usize = 8;
const SWEEPS: usize = 40;
/// Most that a vertex may leave its curve, in quad edges.
const MOST: f64 = 0.2;
/// Weight of staying on the curve, in points.
const STAY: f64 = 0.8;

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

/// Edges along rails, with points of the rail between their ends.
fn pieces_of(mesh: &QuadMesh, scene: &Scene) -> Vec<Piece> {
    links_of(mesh, scene)
        .into_iter()
        .filter(|link| {
            let pinned = scene.seats[link.neighbour as usize] == Seat::Pinned;
            pinned || link.neighbour > link.vertex
        })
        .filter_map(|link| {
            let Seat::On { rail, s } = scene.seats[link.vertex as usize] else {
                return None;
            };
            let way = scene.way_to(mesh, rail, s, link.neighbour)?;
            let points = (0..POINTS)
                .map(|i| {
                    let t = (i as f64 + 0.5) / POINTS as f64;
                    (t, scene.rails[rail].aim(s + way * t))
                })
                .collect();
            Some(Piece {
                ends: [link.vertex, link.neighbour],
                points,
            })
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use mesh::TriMesh;

    use super::super::shape::scaled_jacobian;
    use super::super::tests::bare_scene;
    use super::*;

    #[test]
    fn no_vertex_slides_along_its_curve_so_far_that_a_quad_folds() {
        // The curve bends at x = 1.8, where its vertex is drawn to; the row above stays where it is.
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
        let under = TriMesh {
            positions: [at(-9.0, -9.0), at(9.0, -9.0), at(0.0, 9.0)]
                .map(|p| p.as_vec3())
                .to_vec(),
            triangles: vec![[0, 1, 2]],
        };
        let mut scene = bare_scene(&mesh, under);
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
            worst(&mesh) >= before.min(FAIR),
            "{} {before}",
            worst(&mesh)
        );
    }
}
