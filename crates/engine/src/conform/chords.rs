//! Chords that straddle their guide.
//!
//! Vertices on a curve leave its bulges outside their chords by up to the sagitta; moving
//! them off the curve a little, by least squares over points spread along it, halves
//! the largest distance. Boundaries too: they stay boundaries wherever they lie.

use mesh::{DVec3, QuadMesh};

use super::Scene;
use super::rails::{Rail, Seat};

/// Distance from a curve, in quad edges, that weighs as much as an edge of twice the mean length.
const NEAR: f64 = 0.12;
/// Cost of a chord square to its curve; of one at an angle whose squared sine is [`SLANT`] none (30°). A chord
/// across a fold's tip is near to the curve everywhere, and doesn't follow it.
const ASKEW: f64 = 10.0;
const SLANT: f64 = 0.25;
/// Half the length over which the curve's direction is taken, in quad edges.
const AHEAD: f64 = 0.125;

/// The piece of a rail between a vertex's two neighbours along it.
pub(super) struct Span<'a> {
    curve: &'a Rail,
    edge: f64,
    pub low: f64,
    pub high: f64,
    /// How dense vertices are wanted on either side.
    dense: [f64; 2],
}

impl<'a> Span<'a> {
    /// The span, and where on its rail the vertex is; `None` where it isn't between two others on one.
    pub fn of(mesh: &QuadMesh, scene: &'a Scene, v: usize) -> Option<(Self, f64)> {
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
        self.strays(at) + 4.0 * self.uneven(at)
    }

    /// How far the chords stray.
    pub fn strays(&self, at: f64) -> f64 {
        let Self {
            curve, low, high, ..
        } = *self;
        chord_cost(curve, low, at, self.edge) + chord_cost(curve, at, high, self.edge)
    }

    /// How uneven they are, 0 to 1.
    pub fn uneven(&self, at: f64) -> f64 {
        let Self {
            curve, low, high, ..
        } = *self;
        let before = (at - low) * self.dense[0] * curve.bend(low, at - low);
        let after = (high - at) * self.dense[1] * curve.bend(at, high - at);
        ((before - after) / (before + after)).powi(2)
    }
}

/// What a vertex on a guide or boundary adds to the strain of its quads: how far the chords beside
/// it stray.
pub(super) fn strain_at(mesh: &QuadMesh, scene: &Scene, v: usize) -> f64 {
    let span = Span::of(mesh, scene, v).filter(|_| scene.slides);
    span.map_or(0.0, |(span, s)| span.cost(s))
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
