//! Drapes the coat's left half over the wearer: folds come from cloth that has too much
//! length here and there, from its stiffness and from its weight.
//!
//! Extended position-based dynamics with small steps (Macklin, Müller & Chentanez 2016;
//! Macklin et al. 2019): stretching along edges, bending by the quadratic hinge energy of
//! Bergou et al. 2006, contact with the wearer's distance function and of the cloth with
//! itself. Everything runs in a fixed order on one thread, so that the result doesn't
//! depend on the number of threads.

use base::{Cancelled, Task};
use mesh::DVec3;

use crate::contact::{Contact, SelfContact};
use crate::sdf::Shape;
use crate::wall::Wall;

/// Weight of heavy oiled cloth, g/cm².
const DENSITY: f64 = 0.07;
/// Stiffness against stretching, g/s² (dyn/cm).
const STRETCH: f64 = 4e5;
/// Pull of gravity, cm/s².
const GRAVITY: f64 = 981.0;
/// Share of the bend that is reached by buckling and stays as a crease.
const CREASED: f64 = 0.85;
/// Length of a step, s.
const STEP: f64 = 1.0 / 500.0;
/// Share of velocity kept in a step.
const KEPT: f64 = 0.985;

/// How the cloth at a place behaves.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Cloth {
    /// Stiffness against bending, g cm²/s² (dyn cm).
    pub(crate) bending: f64,
    /// Share of its weight that isn't borne by stiffness and lining.
    pub(crate) heavy: f64,
    /// Held in place; then moved by `pull` during the first third of the drape.
    pub(crate) held: bool,
    /// Way of a held vertex, cm.
    pub(crate) pull: DVec3,
}

/// What is draped.
pub(crate) struct Garment<'a> {
    /// The half wall at rest, x ≥ 0, with vertices on the mirror plane at x = 0.
    pub(crate) wall: &'a Wall,
    /// Cloth at each vertex.
    pub(crate) cloth: Vec<Cloth>,
    /// Length of an edge in the cut cloth over its length in the plain shape.
    pub(crate) slack: &'a dyn Fn(DVec3, DVec3) -> f64,
    /// Folds worn into the cloth, cm along the normal; lengths are measured with them.
    pub(crate) worn: &'a dyn Fn(DVec3) -> f64,
}

struct Edge {
    ends: [u32; 2],
    length: f64,
}

struct Hinge {
    vertices: [u32; 4],
    weights: [f64; 4],
    rest: DVec3,
    compliance: f64,
    /// 0 for components that mirror symmetry takes away, else 1.
    mask: DVec3,
}

struct Solver {
    at: Vec<DVec3>,
    velocity: Vec<DVec3>,
    /// 1 / mass, s.t. 0 holds a vertex.
    inverse_mass: Vec<f64>,
    edges: Vec<Edge>,
    hinges: Vec<Hinge>,
    on_plane: Vec<bool>,
    /// Pull on each vertex as a share of `gravity`.
    heavy: Vec<f64>,
    gravity: f64,
}

/// Places of the wall's vertices after `steps` steps.
pub(crate) fn drape(
    garment: &Garment,
    wearer: &dyn Shape,
    edge: f64,
    steps: usize,
    task: &Task,
) -> Result<Vec<DVec3>, Cancelled> {
    let mut solver = Solver::new(garment);
    let held: Vec<usize> = (0..garment.cloth.len())
        .filter(|v| garment.cloth[*v].held)
        .collect();
    let start = solver.at.clone();
    let mut contact = Contact::default();
    let mut own = SelfContact::new(&garment.wall.positions, 0.8 * edge);
    for step in 0..steps {
        if step % 12 == 0 {
            task.checkpoint()?;
            contact.refresh(&solver.at, wearer);
            own.refresh(&solver.at);
        }
        let done = step as f64 / steps as f64;
        if step == steps / 2 {
            solver.crease();
        }
        // Buckle almost without weight, then hang.
        solver.gravity = GRAVITY * (4.0 * done - 2.0).clamp(0.1, 1.0);
        let share = (3.0 * done).min(1.0);
        for &v in &held {
            solver.at[v] = start[v] + share * garment.cloth[v].pull;
        }
        solver.step(&contact, &own);
    }
    Ok(solver.at)
}

impl Solver {
    fn new(garment: &Garment) -> Self {
        let wall = garment.wall;
        let rest = &wall.positions;
        let on_plane: Vec<bool> = rest.iter().map(|p| on_plane(*p)).collect();
        let mut area = vec![0.0; rest.len()];
        for t in &wall.triangles {
            let [a, b, c] = t.map(|v| rest[v as usize]);
            let third = (b - a).cross(c - a).length() / 6.0;
            t.iter().for_each(|v| area[*v as usize] += third);
        }
        let inverse_mass = (0..rest.len())
            .map(|v| {
                if garment.cloth[v].held {
                    0.0
                } else {
                    1.0 / (DENSITY * area[v]).max(1e-6)
                }
            })
            .collect();
        let at = worn_places(garment);
        let (edges, hinges) = constraints(garment, &at);
        Self {
            velocity: vec![DVec3::ZERO; rest.len()],
            at,
            inverse_mass,
            edges,
            hinges,
            on_plane,
            heavy: garment.cloth.iter().map(|c| c.heavy).collect(),
            gravity: 0.0,
        }
    }

    fn step(&mut self, contact: &Contact, own: &SelfContact) {
        let before = self.at.clone();
        for v in 0..self.at.len() {
            if self.inverse_mass[v] > 0.0 {
                self.velocity[v].y -= self.gravity * self.heavy[v] * STEP;
                self.at[v] += STEP * self.velocity[v];
            }
        }
        self.bend();
        self.stretch();
        own.part(&mut self.at, &self.inverse_mass);
        contact.keep_out(&mut self.at, &before, &self.inverse_mass);
        for v in 0..self.at.len() {
            if self.inverse_mass[v] > 0.0 {
                if self.on_plane[v] {
                    self.at[v].x = 0.0;
                }
                self.velocity[v] = (self.at[v] - before[v]) * (KEPT / STEP);
            }
        }
    }

    fn stretch(&mut self) {
        let compliance = 1.0 / (STRETCH * STEP * STEP);
        for e in &self.edges {
            let [a, b] = e.ends.map(|v| v as usize);
            let (wa, wb) = (self.inverse_mass[a], self.inverse_mass[b]);
            if wa + wb == 0.0 {
                continue;
            }
            let along = self.at[b] - self.at[a];
            let length = along.length().max(1e-9);
            let push = along * ((length - e.length) / (length * (wa + wb + compliance)));
            self.at[a] += wa * push;
            self.at[b] -= wb * push;
        }
    }

    /// Keeps part of the present bend as the hinges' rest.
    fn crease(&mut self) {
        for h in &mut self.hinges {
            let bent: DVec3 = h
                .vertices
                .iter()
                .zip(h.weights)
                .map(|(v, k)| k * self.at[*v as usize])
                .sum();
            h.rest += CREASED * (bent - h.rest);
        }
    }

    fn bend(&mut self) {
        for h in &self.hinges {
            let ids = h.vertices.map(|v| v as usize);
            let mut bent = -h.rest;
            let mut denominator = h.compliance;
            for (v, k) in ids.into_iter().zip(h.weights) {
                bent += k * self.at[v];
                denominator += self.inverse_mass[v] * k * k;
            }
            let push = h.mask * bent / denominator;
            for (v, k) in ids.into_iter().zip(h.weights) {
                self.at[v] -= (self.inverse_mass[v] * k) * push;
            }
        }
    }
}

/// Where the drape starts: the plain shape with what wear has left in it.
fn worn_places(garment: &Garment) -> Vec<DVec3> {
    let rest = &garment.wall.positions;
    rest.iter()
        .zip(garment.wall.normals())
        .zip(&garment.cloth)
        .map(|((p, n), cloth)| {
            let q = if cloth.held {
                *p
            } else {
                *p + (garment.worn)(*p) * n
            };
            if on_plane(*p) {
                q * DVec3::new(0.0, 1.0, 1.0)
            } else {
                q
            }
        })
        .collect()
}

/// Edges and hinges in the order of the sorted edges.
fn constraints(garment: &Garment, worn: &[DVec3]) -> (Vec<Edge>, Vec<Hinge>) {
    let wall = garment.wall;
    let mut sides: Vec<(u32, u32, u32)> = Vec::with_capacity(wall.triangles.len() * 3);
    for t in &wall.triangles {
        for i in 0..3 {
            let (a, b) = (t[i], t[(i + 1) % 3]);
            sides.push((a.min(b), a.max(b), t[(i + 2) % 3]));
        }
    }
    sides.sort_unstable();
    let at = |v: u32| worn[v as usize];
    let plain = |v: u32| wall.positions[v as usize];
    let (mut edges, mut hinges) = (Vec::new(), Vec::new());
    for run in sides.chunk_by(|x, y| (x.0, x.1) == (y.0, y.1)) {
        let (a, b, c) = run[0];
        let slack = (garment.slack)(
            0.5 * (plain(a) + plain(b)),
            (plain(b) - plain(a)).normalize_or_zero(),
        );
        edges.push(Edge {
            ends: [a, b],
            length: slack * at(a).distance(at(b)),
        });
        if let Some(&(_, _, d)) = run.get(1) {
            let bending = [a, b]
                .iter()
                .map(|v| garment.cloth[*v as usize].bending)
                .sum::<f64>()
                / 2.0;
            hinges.extend(hinge([a, b, c, d], [a, b, c, d].map(at), bending));
        } else if on_plane(plain(a)) && on_plane(plain(b)) {
            hinges.extend(mirror_hinge(
                [a, b, c],
                [a, b, c].map(at),
                garment.cloth[a as usize].bending,
            ));
        }
    }
    (edges, hinges)
}

fn on_plane(p: DVec3) -> bool {
    p.x.abs() < 1e-9
}

/// The hinge between a triangle at the mirror plane and its own image: what the image adds
/// to the bend across the plane cancels, along it doubles.
fn mirror_hinge([a, b, c]: [u32; 3], [x0, x1, x2]: [DVec3; 3], bending: f64) -> Option<Hinge> {
    let image = x2 * DVec3::new(-1.0, 1.0, 1.0);
    let mut h = hinge([a, b, c, c], [x0, x1, x2, image], bending)?;
    h.weights = [h.weights[0], h.weights[1], h.weights[2] + h.weights[3], 0.0];
    h.mask = DVec3::new(0.0, 1.0, 1.0);
    Some(h)
}

/// Bergou et al. 2006, equation 5 and below.
fn hinge(vertices: [u32; 4], [x0, x1, x2, x3]: [DVec3; 4], bending: f64) -> Option<Hinge> {
    let cotangent = |a: DVec3, b: DVec3| a.dot(b) / a.cross(b).length().max(1e-9);
    let (e0, e1, e2, e3, e4) = (x1 - x0, x2 - x0, x3 - x0, x2 - x1, x3 - x1);
    let (c1, c2, c3, c4) = (
        cotangent(e0, e1),
        cotangent(e0, e2),
        cotangent(-e0, e3),
        cotangent(-e0, e4),
    );
    let weights = [c3 + c4, c1 + c2, -c1 - c3, -c2 - c4];
    let areas = 0.5 * (e0.cross(e1).length() + e0.cross(e2).length());
    if areas < 1e-9 || bending <= 0.0 {
        return None;
    }
    let stiffness = 3.0 * bending / areas;
    let curved = weights[0] * x0 + weights[1] * x1 + weights[2] * x2 + weights[3] * x3;
    Some(Hinge {
        vertices,
        weights,
        rest: 0.75 * curved,
        compliance: 1.0 / (stiffness * STEP * STEP),
        mask: DVec3::ONE,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_hinge_is_at_rest_when_flat_and_grows_with_the_angle() {
        let corners = |angle: f64| {
            [
                DVec3::ZERO,
                DVec3::X,
                DVec3::new(0.4, 1.0, 0.0),
                DVec3::new(0.6, -angle.cos(), angle.sin()),
            ]
        };
        let bent = |angle: f64| {
            let h = hinge([0, 1, 2, 3], corners(0.0), 1.0).unwrap();
            h.weights
                .iter()
                .zip(corners(angle))
                .map(|(k, x)| *k * x)
                .sum::<DVec3>()
                .length()
        };
        assert!(bent(0.0) < 1e-12);
        assert!(bent(0.2) > 0.1 && bent(0.4) > 1.9 * bent(0.2) && bent(0.4) < 2.1 * bent(0.2));
    }
}
