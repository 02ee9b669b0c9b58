//! Creases: lines along strong, long, smooth ridges and valleys, as quads can show them.
//!
//! The curvature tensor at each vertex is the mean over a ball as wide as a quad, from the
//! angles at the edges in it (Cohen-Steiner & Morvan, "Restricted Delaunay triangulations and
//! normal cycle", 2003); wrinkles finer than a quad cancel in it. From the strongest places
//! a crease is followed both ways, step by step, each step moved across to where the
//! curvature across is greatest (ridges as extrema of curvature: Ohtake, Belyaev & Seidel 2004).

use std::collections::BTreeSet;

use mesh::{DVec3, runs};

use super::ground::Ground;

/// Radius of the ball, in quads.
const BALL: f64 = 1.25;
/// Turning of the surface over one quad across a crease, radians: to start one,
const STRONG: f64 = 0.55;
/// and to go on along it.
const WEAK: f64 = 0.35;
/// Curvature along a crease is at most this share of that across.
const ALONG: f64 = 0.6;
/// To both sides the curvature falls to this share of the crease's.
const CONTRAST: f64 = 0.35;
/// Where "to both sides" is, in quads.
const SIDES: (f64, f64) = (1.2, 2.4);
/// Way of a step along a crease, in quads.
const STEP: f64 = 0.5;
/// Greatest turn in a step, degrees.
const TURN: f64 = 30.0;
/// Most creases that are followed, and steps of one.
const MOST: (usize, usize) = (400, 2000);

/// A crease.
#[derive(Clone, Debug)]
pub(super) struct Crease {
    /// Points on the light sculpt, half a quad apart.
    pub points: Vec<DVec3>,
    pub closed: bool,
    /// Turning over one quad at each point, radians.
    pub strength: Vec<f64>,
    /// Whether the surface rises to it (else it falls to it).
    pub ridge: bool,
}

/// A symmetric 3 × 3 matrix: xx, yy, zz, xy, yz, zx.
type Tensor = [f64; 6];

/// Curvature at a point, per quad.
#[derive(Clone, Copy, Debug)]
struct Bend {
    /// Across the crease, signed: above 0 on a ridge.
    most: f64,
    /// Along the crease.
    least: f64,
    /// Direction across, unit.
    across: DVec3,
    /// Direction along, unit.
    along: DVec3,
}

struct Curvature<'a> {
    ground: &'a Ground<'a>,
    tensors: Vec<Tensor>,
}

/// All creases, strongest start first.
pub(super) fn creases(ground: &Ground<'_>) -> Vec<Crease> {
    let field = Curvature::new(ground);
    let bends: Vec<Option<Bend>> = (0..ground.at.len() as u32)
        .map(|v| field.at_vertex(v))
        .collect();
    let mut order: Vec<(u32, f64)> = Vec::new();
    for (v, bend) in bends.iter().enumerate() {
        if let Some(bend) = bend
            && bend.most.abs() >= STRONG
            && bend.least.abs() <= ALONG * bend.most.abs()
            && !ground.topology.is_boundary_vertex(v as u32)
        {
            order.push((v as u32, bend.most.abs()));
        }
    }
    order.sort_by(|a, b| b.1.total_cmp(&a.1).then(a.0.cmp(&b.0)));
    let mut taken = vec![f64::INFINITY; ground.at.len()];
    let mut tried = taken.clone();
    let mut found = Vec::new();
    for (v, _) in order {
        if found.len() >= MOST.0 {
            break;
        }
        if taken[v as usize].min(tried[v as usize]) < f64::INFINITY {
            continue;
        }
        ground.spread(&[v], 0.5 * ground.edge, &mut tried);
        if !field.stands_out(v, &bends) {
            continue;
        }
        let Some(crease) = field.follow(ground.at[v as usize], &taken) else {
            continue;
        };
        let marks = ground.vertices_at(&crease.points, crease.closed);
        ground.spread(&marks, 1.5 * ground.edge, &mut taken);
        found.push(crease);
    }
    found
}

impl<'a> Curvature<'a> {
    fn new(ground: &'a Ground<'a>) -> Self {
        let topology = &ground.topology;
        let at = |v: u32| ground.at[v as usize];
        // Of each edge: half its tensor to each end.
        let mut own = vec![[0.0; 6]; ground.at.len()];
        let mut area = vec![0.0; ground.at.len()];
        for (t, corners) in topology.triangles.iter().enumerate() {
            let share = ground.mesh().area_normal(t).length() / 6.0;
            corners.iter().for_each(|&v| area[v as usize] += share);
        }
        for e in 0..topology.edge_count() as u32 {
            let h = topology.half_of_edge(e);
            let Some(twin) = topology.twin(h) else {
                continue;
            };
            let [n, m] = [h, twin].map(|h| {
                ground
                    .mesh()
                    .area_normal(h as usize / 3)
                    .normalize_or_zero()
            });
            let ends = topology.ends(e);
            let way = at(topology.to(h)) - at(topology.from(h));
            // The triangle left of h has normal n: convex where n × m runs along h.
            let angle = n.angle_between(m) * n.cross(m).dot(way).signum();
            if !angle.is_finite() || way == DVec3::ZERO {
                continue;
            }
            let d = way.normalize();
            let scale = 0.5 * angle * way.length();
            for v in ends {
                add(&mut own[v as usize], scale, outer(d));
            }
        }
        let radius = BALL * ground.edge;
        let tensors = (0..ground.at.len() as u32)
            .map(|v| {
                let (mut sum, mut whole) = ([0.0; 6], 0.0);
                for (u, distance) in ground_ball(ground, v, radius) {
                    // Weights that fall to 0 at the rim: no jump where a vertex comes in.
                    let weight = 1.0 - (distance / radius).powi(2);
                    add(&mut sum, weight, own[u as usize]);
                    whole += weight * area[u as usize];
                }
                // Per quad, not per model unit.
                sum.map(|x| x / f64::max(whole, f64::MIN_POSITIVE) * ground.edge)
            })
            .collect();
        Self { ground, tensors }
    }

    fn at_vertex(&self, v: u32) -> Option<Bend> {
        let normal: DVec3 = self
            .ground
            .topology
            .fan(v)
            .map(|h| self.ground.mesh().area_normal(h as usize / 3))
            .sum();
        bend(&self.tensors[v as usize], normal.normalize_or_zero())
    }

    /// Curvature at the light sculpt's point nearest to `p`, and that point.
    fn at_point(&self, p: DVec3) -> Option<(DVec3, Bend)> {
        let found = self
            .ground
            .index
            .closest_within(p, 2.0 * self.ground.edge)?;
        let corners = self.ground.topology.triangles[found.triangle as usize];
        let mut tensor = [0.0; 6];
        let mut normal = DVec3::ZERO;
        for (v, weight) in corners.into_iter().zip(found.barycentric) {
            add(&mut tensor, weight, self.tensors[v as usize]);
            let fan = self.ground.topology.fan(v);
            let sum: DVec3 = fan
                .map(|h| self.ground.mesh().area_normal(h as usize / 3))
                .sum();
            normal += weight * sum.normalize_or_zero();
        }
        Some((found.point, bend(&tensor, normal.normalize_or_zero())?))
    }

    /// Whether curvature falls off to both sides of a vertex.
    fn stands_out(&self, v: u32, bends: &[Option<Bend>]) -> bool {
        let Some(bend) = bends[v as usize] else {
            return false;
        };
        let edge = self.ground.edge;
        // The least on each side: another crease may stand beyond the fall.
        let mut sides = [f64::INFINITY; 2];
        for (u, _) in ground_ball(self.ground, v, SIDES.1 * edge) {
            let off = self.ground.at[u as usize] - self.ground.at[v as usize];
            let over = off.dot(bend.across);
            // Across more than along, as seen from above: the sides may fall off steeply.
            if off.length() < SIDES.0 * edge || over.abs() < 1.3 * off.dot(bend.along).abs() {
                continue;
            }
            if let Some(other) = bends[u as usize] {
                let side = &mut sides[usize::from(over > 0.0)];
                *side = side.min((other.most * bend.most.signum()).max(0.0));
            }
        }
        sides
            .iter()
            .all(|&least| least <= CONTRAST * bend.most.abs())
    }

    /// Follows a crease from a point both ways.
    fn follow(&self, start: DVec3, taken: &[f64]) -> Option<Crease> {
        let (point, bend) = self.centred(start, None)?;
        let ridge = bend.most > 0.0;
        let mut both = Vec::new();
        for sign in [1.0, -1.0] {
            let (run, closed) = self.walk((point, bend), sign, ridge, taken);
            if closed {
                let (points, strength) =
                    std::iter::once((point, bend.most.abs())).chain(run).unzip();
                return Some(Crease {
                    points,
                    closed: true,
                    strength,
                    ridge,
                });
            }
            both.push(run);
        }
        let back = both.pop()?;
        let front = both.pop()?;
        let (points, strength) = back
            .into_iter()
            .rev()
            .chain([(point, bend.most.abs())])
            .chain(front)
            .unzip();
        Some(Crease {
            points,
            closed: false,
            strength,
            ridge,
        })
    }

    /// Steps from a place on; whether the way came back to its start.
    fn walk(
        &self,
        (first, bend): (DVec3, Bend),
        sign: f64,
        ridge: bool,
        taken: &[f64],
    ) -> (Vec<(DVec3, f64)>, bool) {
        let step = STEP * self.ground.edge;
        let mut way = sign * bend.along;
        let mut at = first;
        let mut run: Vec<(DVec3, f64)> = Vec::new();
        for count in 0..MOST.1 {
            let Some((next, bend)) = self.centred(at + step * way, Some((way, ridge))) else {
                break;
            };
            let ahead = (next - at).normalize_or_zero();
            let weak = bend.most.abs() < WEAK || (bend.most > 0.0) != ridge;
            let even = bend.least.abs() > ALONG.sqrt() * bend.most.abs();
            if weak || even || ahead.dot(way) < TURN.to_radians().cos() {
                break;
            }
            if count > 6 && next.distance(first) < 0.8 * step {
                return (run, true);
            }
            // Into another crease, or into itself further back.
            let again = run
                .iter()
                .rev()
                .skip(4)
                .any(|(p, _)| p.distance(next) < 0.7 * step);
            let other = self.ground.index.closest(next).is_some_and(|c| {
                let corners = self.ground.topology.triangles[c.triangle as usize];
                corners.iter().all(|&v| taken[v as usize] < f64::INFINITY)
            });
            if again || other {
                break;
            }
            run.push((next, bend.most.abs()));
            way = ahead;
            at = next;
        }
        (run, false)
    }

    /// The place near `p` across the crease where it is strongest.
    fn centred(&self, p: DVec3, going: Option<(DVec3, bool)>) -> Option<(DVec3, Bend)> {
        let (mut point, mut bend) = self.at_point(p)?;
        // On the way only so far that a step can't turn too much.
        let reach = self.ground.edge * if going.is_some() { 0.25 } else { 0.5 };
        let (from, axis) = (point, bend.across);
        let axis = match going {
            // Square to the way walked, so that steps don't shrink.
            Some((way, _)) => (axis - axis.dot(way) * way).normalize_or_zero(),
            None => axis,
        };
        let value = |b: &Bend| match going {
            Some((_, ridge)) => {
                if ridge {
                    b.most
                } else {
                    -b.most
                }
            }
            None => b.most.abs(),
        };
        for k in -4..=4 {
            let Some((q, b)) = self.at_point(from + f64::from(k) / 4.0 * reach * axis) else {
                continue;
            };
            if value(&b) > value(&bend) * (1.0 + 1e-6) {
                (point, bend) = (q, b);
            }
        }
        Some((point, bend))
    }
}

/// Vertices near one, each with its distance.
fn ground_ball(ground: &Ground<'_>, from: u32, radius: f64) -> Vec<(u32, f64)> {
    // Straight distance decides, so that the ball is round; edges only lead there.
    let centre = ground.at[from as usize];
    let mut all = vec![(from, 0.0)];
    let mut seen = BTreeSet::from([from]);
    let mut next = 0;
    while next < all.len() {
        let v = all[next].0;
        next += 1;
        for (u, _) in ground.topology.neighbours(v) {
            let distance = ground.at[u as usize].distance(centre);
            if distance <= radius && seen.insert(u) {
                all.push((u, distance));
            }
        }
    }
    all
}

fn outer(d: DVec3) -> Tensor {
    [
        d.x * d.x,
        d.y * d.y,
        d.z * d.z,
        d.x * d.y,
        d.y * d.z,
        d.z * d.x,
    ]
}

fn add(to: &mut Tensor, scale: f64, t: Tensor) {
    to.iter_mut().zip(t).for_each(|(x, y)| *x += scale * y);
}

fn times(t: &Tensor, v: DVec3) -> DVec3 {
    DVec3::new(
        t[0] * v.x + t[3] * v.y + t[5] * v.z,
        t[3] * v.x + t[1] * v.y + t[4] * v.z,
        t[5] * v.x + t[4] * v.y + t[2] * v.z,
    )
}

/// Principal curvatures in the tangent plane. The tensor has its great value along an edge
/// that bends: along the crease.
fn bend(tensor: &Tensor, normal: DVec3) -> Option<Bend> {
    if normal == DVec3::ZERO {
        return None;
    }
    let one = normal.any_orthonormal_vector();
    let two = normal.cross(one);
    let (tx, ty) = (times(tensor, one), times(tensor, two));
    let (a, b, c) = (one.dot(tx), two.dot(tx), two.dot(ty));
    // The angle of the eigenvector of the greater value, (a − c, 2 b) at double angle.
    let angle = 0.5 * (2.0 * b).atan2(a - c);
    let (mean, half) = ((a + c) / 2.0, ((a - c) / 2.0).hypot(b));
    let great = angle.cos() * one + angle.sin() * two;
    let small = normal.cross(great);
    let (high, low) = (mean + half, mean - half);
    Some(if high.abs() >= low.abs() {
        Bend {
            most: high,
            least: low,
            along: great,
            across: small,
        }
    } else {
        Bend {
            most: low,
            least: high,
            along: small,
            across: great,
        }
    })
}

/// Stretches of a crease where `free` says yes, at least `least` long (model units).
pub(super) fn free_stretches(crease: &Crease, free: &[bool], least: f64) -> Vec<Crease> {
    if crease.closed && free.iter().all(|f| *f) {
        return (runs::length(&crease.points, true) >= least)
            .then(|| crease.clone())
            .into_iter()
            .collect();
    }
    let count = crease.points.len();
    // A closed one is begun where it isn't free.
    let shift = if crease.closed {
        free.iter().position(|f| !f).unwrap_or(0)
    } else {
        0
    };
    let mut all = Vec::new();
    let mut now = Crease {
        points: Vec::new(),
        closed: false,
        strength: Vec::new(),
        ridge: crease.ridge,
    };
    for k in 0..=count {
        let i = (k + shift) % count;
        if k < count && free[i] {
            now.points.push(crease.points[i]);
            now.strength.push(crease.strength[i]);
        } else {
            if now.points.len() > 2 && runs::length(&now.points, false) >= least {
                all.push(now.clone());
            }
            now.points.clear();
            now.strength.clear();
        }
    }
    all
}
