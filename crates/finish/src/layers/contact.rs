//! Where a surface goes through a layer, lies on its wrong side or comes too close to it.
//!
//! Faces are held to the clearance however their quads are cut in two: along both
//! diagonals. Crossings are exact and so are the nearest pairs; places inside the layer,
//! which only say where to push, are sampled.

use engine::model::Sculpt;
use mesh::{DVec3, QuadMesh, SurfaceIndex, Winding, gap, pass_through};
use rayon::prelude::*;
use std::sync::Arc;

use super::Side;

/// The corners of a quad's triangles, for both ways of cutting it.
pub(super) const CUTS: [[usize; 3]; 4] = [[0, 1, 2], [0, 2, 3], [0, 1, 3], [1, 2, 3]];
/// Cells along a side of a quad, each of which keeps the contact that needs most.
const CELLS: usize = 4;
/// Intervals along a side of a triangle at which places inside the layer are looked for.
const STEPS: usize = 4;
/// The side of a layer that faces as the surface does is looked for this much further away
/// than the other side is.
const BEYOND: f64 = 4.0;
/// Least share of a distance along the normal of what is nearest, where that isn't a rim.
const ASIDE: f64 = 0.5;
/// Share of the clearance that counts as enough.
const LEAST: f64 = 0.99;
/// Contacts are kept up to this many clearances, so that those just cleared stay cleared.
pub(super) const NEAR: f64 = 1.1;

/// Where a quad's corners are.
pub(super) type Corners = [DVec3; 4];

/// A layer made ready for questions.
pub(super) struct Body {
    pub side: Side,
    pub clearance: f64,
    index: Arc<SurfaceIndex>,
    normals: Arc<Vec<mesh::Vec3>>,
    winding: Winding,
    /// Edges with one triangle, lower vertex first, sorted.
    rim: Vec<[u32; 2]>,
    /// Their vertices, sorted.
    rim_ends: Vec<u32>,
}

/// A place of the surface that has to stay on one side of a plane near the layer.
#[derive(Clone, Copy, Debug)]
pub(super) struct Contact {
    pub quad: u32,
    /// Weights of the quad's corners at the place.
    pub weights: [f64; 4],
    /// The layer's nearest point.
    pub foot: DVec3,
    /// Unit direction in which the place is to be away from the foot.
    pub away: DVec3,
    /// How far it is that way, below 0 on the wrong side.
    pub height: f64,
    /// How far it is to be.
    pub wanted: f64,
    /// How far it is from the layer's nearest point, whichever way that faces: 0 for what is on its
    /// side.
    pub nearest: f64,
}

/// What one look at a layer found.
#[derive(Clone, Debug, Default)]
pub(super) struct Found {
    /// Pairs that pass through each other: a quad and a triangle of the layer.
    pub crossings: Vec<[u32; 2]>,
    /// Quads nearer than the clearance, less a hundredth of it, with their distance and place.
    pub close: Vec<(u32, f64, DVec3)>,
    /// Vertices on the wrong side.
    pub wrong: Vec<u32>,
    pub contacts: Vec<Contact>,
}

impl Found {
    pub fn is_clear(&self) -> bool {
        self.crossings.is_empty() && self.close.is_empty() && self.wrong.is_empty()
    }
}

/// What is known of a surface beside a layer from looks before.
pub(super) struct Known {
    /// Distance from each quad to the layer that it has at least.
    least: Vec<f64>,
    wrong: Vec<bool>,
    /// Positions at the last look.
    at: Vec<DVec3>,
    /// Whether vertex signs were computed.
    begun: bool,
}

impl Known {
    pub fn nothing(surface: &QuadMesh) -> Self {
        Self {
            least: vec![0.0; surface.quads.len()],
            wrong: vec![false; surface.positions.len()],
            at: surface.positions.clone(),
            begun: false,
        }
    }
}

/// What one quad brings to a look.
struct OfQuad {
    quad: u32,
    crossings: Vec<u32>,
    least: f64,
    nearest: DVec3,
    contacts: Vec<Contact>,
}

impl OfQuad {
    fn unseen(quad: u32) -> Self {
        Self {
            quad,
            crossings: Vec::new(),
            least: f64::INFINITY,
            nearest: DVec3::ZERO,
            contacts: Vec::new(),
        }
    }
}

impl Body {
    pub fn new(layer: &Sculpt, side: Side, clearance: f64) -> Self {
        let mut edges: Vec<[u32; 2]> = Vec::with_capacity(layer.mesh.triangles.len() * 3);
        for t in &layer.mesh.triangles {
            let ends = |i: usize| [t[i].min(t[(i + 1) % 3]), t[i].max(t[(i + 1) % 3])];
            edges.extend((0..3).map(ends));
        }
        edges.par_sort_unstable();
        let single = edges.chunk_by(|a, b| a == b).filter(|run| run.len() == 1);
        let rim: Vec<[u32; 2]> = single.map(|run| run[0]).collect();
        let mut rim_ends: Vec<u32> = rim.iter().flatten().copied().collect();
        rim_ends.sort_unstable();
        rim_ends.dedup();
        Self {
            side,
            clearance,
            rim,
            rim_ends,
            index: Arc::clone(&layer.index),
            normals: Arc::clone(&layer.normals),
            winding: Winding::new(Arc::clone(&layer.index)),
        }
    }

    /// 1 where the surface is to be outside of the layer, -1 where inside.
    fn sign(&self) -> f64 {
        match self.side {
            Side::Under => 1.0,
            Side::Over => -1.0,
        }
    }

    /// Whether a point is on the wrong side. Beyond an opening of the layer, where its rim
    /// is what is nearest, there is none.
    fn is_wrong(&self, p: DVec3) -> bool {
        let inside = self.winding.number(p) > 0.5;
        if inside == (self.side == Side::Over) {
            return false;
        }
        self.rim.is_empty()
            || self
                .index
                .closest(p)
                .is_some_and(|near| !self.is_beyond(p, &near))
    }

    /// Whether a point is beyond an opening of the layer: the rim is nearest, or what is nearest
    /// lies so much to the side of it that only a rim near by, not quite even, can be why.
    fn is_beyond(&self, p: DVec3, near: &mesh::Closest) -> bool {
        let to = p - near.point;
        let along = to.dot(self.normal_at(near)).abs();
        !self.rim.is_empty() && (self.on_rim(near) || along < ASIDE * near.distance)
    }

    /// The layer's unit normal at a point of it.
    fn normal_at(&self, near: &mesh::Closest) -> DVec3 {
        let ends = self.index.mesh().triangles[near.triangle as usize];
        let each = ends.iter().zip(near.barycentric);
        let sum: DVec3 = each
            .map(|(&v, w)| w * self.normals[v as usize].as_dvec3())
            .sum();
        sum.normalize_or_zero()
    }

    fn on_rim(&self, near: &mesh::Closest) -> bool {
        let corners = self.index.mesh().triangles[near.triangle as usize];
        // A corner on the rim is found by any of its triangles, also by one without a rim side.
        let at_corner = |i: usize| near.barycentric[i] >= 1.0;
        let ends = |v: u32| self.rim_ends.binary_search(&v).is_ok();
        if (0..3).any(|i| at_corner(i) && ends(corners[i])) {
            return true;
        }
        (0..3).any(|i| {
            let (a, b) = (corners[i], corners[(i + 1) % 3]);
            // On the side, or at one of its ends.
            near.barycentric[(i + 2) % 3] <= 0.0
                && self.rim.binary_search(&[a.min(b), a.max(b)]).is_ok()
        })
    }

    /// Looks at the surface with its vertices at `positions`, at what moved since the last
    /// look and at what wasn't clear then.
    /// `facing` has the way that quads face which only follow others; of the rest nothing.
    pub fn look(
        &self,
        surface: &QuadMesh,
        facing: &[DVec3],
        positions: &[DVec3],
        known: &mut Known,
    ) -> Found {
        let reach = NEAR * self.clearance;
        let moved = |v: u32| known.at[v as usize].distance(positions[v as usize]);
        let moves: Vec<f64> = surface
            .quads
            .iter()
            .map(|q| q.iter().map(|&v| moved(v)).fold(0.0, f64::max))
            .collect();
        for (least, by) in known.least.iter_mut().zip(moves) {
            *least -= by;
        }
        if !known.begun {
            // A ball around each quad says whether the layer can be near at all.
            let far = |quad: &[u32; 4]| {
                let corners = quad.map(|v| positions[v as usize]);
                let centre = corners.iter().sum::<DVec3>() / 4.0;
                let radius = corners
                    .iter()
                    .map(|p| p.distance(centre))
                    .fold(0.0, f64::max);
                let near = self.index.closest(centre);
                near.map_or(f64::INFINITY, |n| n.distance - radius)
            };
            known.least = surface.quads.par_iter().map(far).collect();
        }
        // What was clear and moved less than it had over is clear still, and its contacts known.
        let enough = if known.begun {
            LEAST * self.clearance
        } else {
            reach
        };
        let looked: Vec<bool> = known.least.iter().map(|&least| least < enough).collect();
        let corners = |q: u32| surface.quads[q as usize].map(|v| positions[v as usize]);
        let mut quads: Vec<OfQuad> = (0..surface.quads.len() as u32)
            .into_par_iter()
            .filter(|&q| looked[q as usize])
            .map(|q| self.near_quad(q, corners(q)))
            .collect();
        self.find_sides(surface, positions, &looked, known);
        if !self.rim.is_empty() {
            let crossed = quads.iter().filter(|of| !of.crossings.is_empty());
            let crossed: Vec<u32> = crossed.map(|of| of.quad).collect();
            agree(surface, &crossed, &mut known.wrong);
        }
        let is_wrong = |q: u32| {
            surface.quads[q as usize]
                .iter()
                .any(|&v| known.wrong[v as usize])
        };
        let beyond =
            (0..surface.quads.len() as u32).filter(|&q| !looked[q as usize] && is_wrong(q));
        quads.extend(beyond.map(OfQuad::unseen));
        quads.par_iter_mut().for_each(|of| {
            if !of.crossings.is_empty() || is_wrong(of.quad) {
                let mut cells = Cells::default();
                let place = (corners(of.quad), facing[of.quad as usize]);
                self.look_inside(of.quad, place, &mut cells);
                of.contacts = cells.taken();
            }
        });
        let mut found = Found::default();
        for of in quads {
            let (q, at) = (of.quad, of.quad as usize);
            if looked[at] {
                known.least[at] = of.least;
            }
            if of.crossings.is_empty() && of.least < LEAST * self.clearance {
                found.close.push((q, of.least, of.nearest));
            }
            found.crossings.extend(of.crossings.iter().map(|&t| [q, t]));
            found.contacts.extend(of.contacts);
        }
        let wrong = (0..).zip(&known.wrong).filter(|w| *w.1);
        found.wrong = wrong.map(|w| w.0).collect();
        known.at = positions.to_vec();
        known.begun = true;
        found
    }

    /// Tells which vertices are on the wrong side: anew for those near the layer.
    fn find_sides(
        &self,
        surface: &QuadMesh,
        positions: &[DVec3],
        looked: &[bool],
        known: &mut Known,
    ) {
        let mut anew = known.wrong.clone();
        for (quad, &looked) in surface.quads.iter().zip(looked) {
            if looked || !known.begun {
                quad.iter().for_each(|&v| anew[v as usize] = true);
            }
        }
        let sides: Vec<bool> = anew
            .par_iter()
            .zip(positions)
            .zip(&known.wrong)
            .map(|((&anew, &p), &was)| if anew { self.is_wrong(p) } else { was })
            .collect();
        known.wrong = sides;
    }

    /// The layer's triangles near a quad.
    fn near_quad(&self, quad: u32, corners: [DVec3; 4]) -> OfQuad {
        let reach = NEAR * self.clearance;
        let mut of = OfQuad {
            least: reach,
            ..OfQuad::unseen(quad)
        };
        let mut cells = Cells::default();
        let low = corners.into_iter().reduce(DVec3::min).unwrap_or_default();
        let high = corners.into_iter().reduce(DVec3::max).unwrap_or_default();
        self.index.visit_near((low, high), reach, |t, other| {
            for cut in CUTS {
                let triangle = cut.map(|i| corners[i]);
                if apart_by_plane(triangle, other, reach) {
                    continue;
                }
                if pass_through(triangle, other) {
                    of.least = 0.0;
                    if of.crossings.last() != Some(&t) {
                        of.crossings.push(t);
                    }
                    continue;
                }
                let near = gap(triangle, other);
                if near.distance < of.least {
                    (of.least, of.nearest) = (near.distance, near.first);
                }
                if near.distance <= reach {
                    let facing = (other[1] - other[0]).cross(other[2] - other[0]);
                    let flat = self.sign() * facing.normalize_or_zero();
                    let away = (near.first - near.second).try_normalize().unwrap_or(flat);
                    let mut weights = [0.0; 4];
                    cut.iter()
                        .zip(near.weights)
                        .for_each(|(&i, w)| weights[i] = w);
                    cells.offer(Contact {
                        quad,
                        weights,
                        foot: near.second,
                        away,
                        height: near.distance,
                        wanted: self.clearance,
                        nearest: 0.0,
                    });
                }
            }
        });
        of.contacts = cells.taken();
        of
    }

    /// Contacts at places of a quad that the layer has on its other side.
    fn look_inside(&self, quad: u32, place: (Corners, DVec3), cells: &mut Cells) {
        for cut in CUTS {
            for i in 0..=STEPS {
                for j in 0..=STEPS - i {
                    let shares = [i, j, STEPS - i - j].map(|n| n as f64 / STEPS as f64);
                    let mut weights = [0.0; 4];
                    cut.iter().zip(shares).for_each(|(&k, w)| weights[k] = w);
                    let contact = self.contact_at(quad, place, weights);
                    let near = |c: &Contact| c.height < NEAR * self.clearance;
                    if let Some(contact) = contact.filter(near) {
                        cells.offer(contact);
                    }
                }
            }
        }
    }

    /// The contact of a place of a quad with what of the layer is nearest to it, or, if that
    /// faces the other way, with what near it faces as the surface does: the side of a thin
    /// layer to reach. None where only an opening's rim is near, and behind it.
    /// A quad faces as its corners say unless `facing` is a direction.
    pub fn contact_at(
        &self,
        quad: u32,
        (corners, facing): (Corners, DVec3),
        weights: [f64; 4],
    ) -> Option<Contact> {
        let outward = match facing {
            DVec3::ZERO => (corners[2] - corners[0]).cross(corners[3] - corners[1]),
            facing => facing,
        };
        let mesh = self.index.mesh();
        let faces = |t: u32| {
            let [a, b, c] = mesh.corners(t as usize);
            (b - a).cross(c - a).dot(outward) > 0.0
        };
        let p: DVec3 = (0..4).map(|k| weights[k] * corners[k]).sum();
        let mut near = self.index.closest(p)?;
        let nearest = near.distance;
        let beyond = self.is_beyond(p, &near);
        if !beyond && !faces(near.triangle) {
            let size = corners[0].distance(corners[2]);
            let reach = BEYOND * (near.distance + self.clearance) + size;
            near = self.index.closest_where(p, reach, faces).unwrap_or(near);
        }
        let side = self.sign() * self.normal_at(&near);
        let to = p - near.point;
        let turn = if to.dot(side) < 0.0 { -1.0 } else { 1.0 };
        if turn < 0.0 && beyond {
            return None;
        }
        Some(Contact {
            quad,
            weights,
            foot: near.point,
            away: (turn * to)
                .try_normalize()
                .unwrap_or(side.normalize_or_zero()),
            height: turn * near.distance,
            wanted: self.clearance,
            nearest: if turn < 0.0 { nearest } else { 0.0 },
        })
    }
}

/// Makes vertices agree on their side where no crossing is between them, by majority: beside
/// an open layer the nearest point of a far vertex says little.
fn agree(surface: &QuadMesh, crossed: &[u32], wrong: &mut [bool]) {
    let mut parent: Vec<u32> = (0..wrong.len() as u32).collect();
    fn root(parent: &mut [u32], mut v: u32) -> u32 {
        while parent[v as usize] != v {
            parent[v as usize] = parent[parent[v as usize] as usize];
            v = parent[v as usize];
        }
        v
    }
    for (q, quad) in (0..).zip(&surface.quads) {
        if crossed.binary_search(&q).is_err() {
            for i in 1..4 {
                let (a, b) = (root(&mut parent, quad[0]), root(&mut parent, quad[i]));
                parent[a.max(b) as usize] = a.min(b);
            }
        }
    }
    let roots: Vec<u32> = (0..wrong.len() as u32)
        .map(|v| root(&mut parent, v))
        .collect();
    let mut votes = vec![0i64; wrong.len()];
    for (&r, &wrong) in roots.iter().zip(wrong.iter()) {
        votes[r as usize] += if wrong { 1 } else { -1 };
    }
    for (wrong, &r) in wrong.iter_mut().zip(&roots) {
        *wrong = votes[r as usize] > 0;
    }
}

/// Whether two triangles are further apart than `reach` as the plane of one tells.
fn apart_by_plane(a: [DVec3; 3], b: [DVec3; 3], reach: f64) -> bool {
    let beyond = |a: [DVec3; 3], b: [DVec3; 3]| {
        let normal = (a[1] - a[0]).cross(a[2] - a[0]);
        let limit = reach * normal.length();
        let heights = b.map(|p| normal.dot(p - a[0]));
        heights.iter().all(|&h| h > limit) || heights.iter().all(|&h| h < -limit)
    };
    beyond(a, b) || beyond(b, a)
}

/// The contacts of a quad, one in each cell of it.
#[derive(Default)]
struct Cells {
    cells: [[Option<Contact>; CELLS]; CELLS],
}

impl Cells {
    fn offer(&mut self, contact: Contact) {
        let [_, b, c, d] = contact.weights;
        let cell = |x: f64| ((x * CELLS as f64) as usize).min(CELLS - 1);
        let kept = &mut self.cells[cell(b + c)][cell(c + d)];
        if kept.is_none_or(|k| contact.height < k.height) {
            *kept = Some(contact);
        }
    }

    fn taken(self) -> Vec<Contact> {
        self.cells.into_iter().flatten().flatten().collect()
    }
}
