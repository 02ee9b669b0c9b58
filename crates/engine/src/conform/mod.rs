//! Conform: final vertices.
//!
//! Takes the filled mesh, gives the same mesh with vertices placed. Holds: vertices of guides
//! stay on their guides, vertices of the centre line on the plane, nodes where curves
//! cross stay put, all others on the sculpt, found by closest point with a normal
//! test so that no vertex jumps through cloth.
//!
//! First on the smoothed copy of the work surface that the field lives on, where no fold
//! can catch a vertex: rounds of local/global shape fitting (Bouaziz et al.,
//! "Shape-Up", 2012), in which each quad asks its corners into the rectangle nearest to
//! it and each edge run asks for even spacing, by lengths on the work surface. The copy shares its triangles with the work
//! surface, so a place on one is a place on the other. Then a few rounds on the
//! sculpt itself that never make a quad narrower than it should be, by turns with a pull to what of the
//! sculpt no quad lies over yet (`reach.rs`), a search that
//! squares up the worst quads, then the faces are made to straddle the sculpt, and at last those that
//! are folded or pass through each other are parted (`uncross.rs`).

mod chords;
mod course;
mod lift;
mod order;
pub(crate) mod rails;
mod reach;
mod shape;
mod slide;
mod step;
#[cfg(test)]
mod tests;
mod uncross;
mod volume;

use std::collections::BTreeMap;
use std::sync::Arc;

use base::{Finding, Findings, Level, Task};
use mesh::{DVec3, QuadMesh, SurfaceIndex};
use rayon::prelude::*;
use thiserror::Error;

use crate::field::Field;
use crate::fill::{Filled, Origin};
use crate::layout::{Layout, PinnedPatch, Spacing, directed};
use crate::model::{Curve, Plane, Sculpt, WorkSurface};
use rails::{Rail, Seat};
pub(crate) use shape::scaled_jacobian;

/// Options of conforming.
#[derive(Clone, Copy, Debug, PartialEq)]
#[non_exhaustive]
pub struct ConformOptions {
    /// Edge length of the quads, model units.
    pub quad_edge: f64,
    /// Rounds of shape fitting.
    pub rounds: u32,
    /// Rounds on the sculpt itself.
    pub final_rounds: u32,
    /// Whether faces straddle the sculpt (true) or every vertex lies on it (false).
    pub straddle: bool,
}

impl ConformOptions {
    /// Options for quads of this edge length (model units).
    pub fn for_edge(quad_edge: f64) -> Self {
        Self {
            quad_edge,
            rounds: 90,
            final_rounds: 30,
            straddle: true,
        }
    }
}

/// Rounds after which the wanted density and the ways between neighbours are looked up anew.
const LOOK_UP: u32 = 15;

/// Rounds on the sculpt after which vertices are drawn to what of it stands off, and the last such
/// round: those after it even out the quads.
const PULL_EVERY: u32 = 3;
const LAST_PULL: u32 = 24;

/// Why vertices could not be placed.
#[derive(Clone, Debug, PartialEq, Error)]
pub enum ConformError {
    /// A quad has no width, however its corners are moved.
    #[error(
        "a quad has no width near ({:.3}, {:.3}, {:.3}): there the surface is too narrow for quads of this size, or lies on itself; ask for more faces, or repair the sculpt there",
        at[0], at[1], at[2]
    )]
    Flat {
        /// Where, model units.
        at: [f64; 3],
    },
    /// Cancelled from outside.
    #[error(transparent)]
    Cancelled(#[from] base::Cancelled),
}

/// What vertices are placed on.
#[derive(Clone, Copy, Debug)]
pub struct Ground<'a> {
    /// The sculpt, on which they lie in the end.
    pub sculpt: &'a Sculpt,
    /// A copy of it, of the computed side at least, without what is much finer than quads: on the way vertices
    /// lie on that.
    pub light: Option<&'a Sculpt>,
}

impl<'a> From<&'a Sculpt> for Ground<'a> {
    fn from(sculpt: &'a Sculpt) -> Self {
        Self {
            sculpt,
            light: None,
        }
    }
}

impl<'a> Ground<'a> {
    fn light(self) -> &'a Sculpt {
        self.light.unwrap_or(self.sculpt)
    }
}

/// Everything that placing vertices reads.
pub(crate) struct Scene {
    /// The surface that vertices lie on: the sculpt or the smoothed work surface.
    pub index: Arc<SurfaceIndex>,
    pub plane: Option<Plane>,
    pub around: Vec<Vec<u32>>,
    /// Neighbours of each vertex along the chain that it lies on.
    pub kin: Vec<Vec<u32>>,
    pub quads_at: Vec<Vec<(u32, u8)>>,
    /// At each regular inner vertex, the two pairs of neighbours that lie opposite.
    pub opposite: Vec<Vec<[u32; 2]>>,
    pub rails: Vec<Rail>,
    pub seats: Vec<Seat>,
    /// Triangle of the surface under each vertex when last asked: where the next question starts.
    pub feet: Vec<Option<u32>>,
    pub edge: f64,
    /// Wanted density at each vertex, see [`crate::layout::Spacing`]; empty where quads are to be even.
    pub local: Vec<(f64, DVec3)>,
    /// For each of `around`, how much longer the way to it is than the straight line; empty for none.
    pub ways: Vec<Vec<f64>>,
    /// Where on their curve pinned vertices belong that lie beside it.
    pub homes: BTreeMap<u32, DVec3>,
    /// Whether a vertex may not move at all: it is one of held quads.
    pub held: Vec<bool>,
    /// Whether vertices on guides go to where those bend.
    pub slides: bool,
}

impl Scene {
    /// Wanted density along the way between two vertices, over the mean one.
    pub fn density(&self, a: usize, b: usize, along: DVec3) -> f64 {
        let of = |v: usize| {
            let (density, across) = self.local[v];
            directed(density, across, along)
        };
        if self.local.is_empty() {
            1.0
        } else {
            (of(a) + of(b)) / 2.0
        }
    }

    /// How the surface faces where a vertex stands, unit; zero where that isn't known.
    pub fn wall(&self, v: usize) -> DVec3 {
        let foot = self.feet.get(v).copied().flatten();
        foot.map_or(DVec3::ZERO, |triangle| {
            let normal = self.index.mesh().area_normal(triangle as usize);
            normal.normalize_or_zero()
        })
    }

    /// How much longer the way between two neighbours is than the straight line.
    pub fn drawn(&self, a: usize, b: usize) -> f64 {
        let Some(ways) = self.ways.get(a) else {
            return 1.0;
        };
        let mut beside = self.around[a].iter().zip(ways);
        let found = beside.find(|(n, _)| **n as usize == b);
        found.map_or(1.0, |(_, &way)| way)
    }

    /// Goes over to another copy of the surface, unless it is on that already.
    fn stand_on(&mut self, index: &Arc<SurfaceIndex>) {
        if !Arc::ptr_eq(&self.index, index) {
            self.index = Arc::clone(index);
            self.feet.fill(None);
        }
    }

    /// Whether a place is clear of the mirror plane: only vertices of the centre line lie on it.
    pub fn is_apart(&self, p: DVec3) -> bool {
        self.plane
            .is_none_or(|plane| plane.height(p) > 0.05 * self.edge)
    }

    /// Looks up the wanted density where each vertex is now, on the work surface's copy.
    fn look_up(&mut self, mesh: &QuadMesh, spacing: &Spacing) {
        if spacing.is_even() {
            return;
        }
        let here = |(&at, &near): (&DVec3, &Option<u32>)| {
            let found = self.index.closest_from(at, f64::INFINITY, near, |_| true);
            let Some(found) = found else {
                return (1.0, DVec3::ZERO);
            };
            let corners = self.index.mesh().triangles[found.triangle as usize];
            let nearest =
                (0..3).max_by(|&i, &j| found.barycentric[i].total_cmp(&found.barycentric[j]));
            let each = corners.iter().zip(found.barycentric);
            let density = each.map(|(&v, share)| spacing.density[v as usize] * share);
            // Directions across a ring oppose each other on its two sides: no mean of them.
            let across = nearest.map_or(DVec3::ZERO, |i| spacing.across[corners[i] as usize]);
            (density.sum(), across)
        };
        let places = mesh.positions.par_iter().zip(&self.feet);
        self.local = places.map(here).collect();
    }
}

/// Places the vertices of the (half) mesh.
///
/// # Errors
/// [`ConformError::Cancelled`].
pub fn run(
    filled: &Filled,
    surface: &WorkSurface,
    field: &Field,
    layout: &Layout,
    curves: &[Curve],
    ground: Ground<'_>,
    plane: Option<Plane>,
    options: &ConformOptions,
    task: &Task,
) -> Result<(QuadMesh, Findings), ConformError> {
    let ground = Ground {
        light: ground.light.filter(|_| options.straddle),
        ..ground
    };
    task.report("conform", 0.0)?;
    let mut mesh = filled.mesh.clone();
    let lift = lift::Lift::new(surface, field);
    let (mut rails, mut seats) = rails::seats_of(filled, surface, layout, curves, plane);
    if !options.straddle {
        rails.iter_mut().for_each(Rail::forget_aims);
    }
    for (v, at) in pinned_poles(filled, layout) {
        seats[v] = Seat::Pinned;
        mesh.positions[v] = at;
    }
    let at_vertex = quads_at(&mesh);
    let mut scene = Scene {
        index: lift.smooth_index(),
        plane,
        around: around(&mesh),
        kin: order::kin_of(filled, layout),
        opposite: opposite(&mesh, &at_vertex),
        quads_at: at_vertex,
        rails: rails::smooth_rails(surface, field, &layout.spacing),
        seats: seats.clone(),
        feet: vec![None; mesh.positions.len()],
        edge: options.quad_edge,
        local: Vec::new(),
        ways: Vec::new(),
        homes: BTreeMap::new(),
        held: filled.held.iter().map(Option::is_some).collect(),
        slides: true,
    };
    let edge = options.quad_edge;
    let aimed = rails::aimed_nodes(filled, surface, layout, curves, &rails, &seats, plane, edge);
    let mut pinned: Vec<(Seat, DVec3)> = seats
        .into_iter()
        .zip(mesh.positions.iter().copied())
        .collect();
    let (mut homes, mut steps) = (BTreeMap::new(), Vec::new());
    for (v, at) in aimed {
        pinned[v].1 = at.place;
        homes.insert(v as u32, at.home);
        steps.extend(at.steps);
    }
    lift.flatten(&mut mesh, &mut scene, &rails);
    // Beside each other: what pulls once the mesh is on the sculpt doesn't depend on the rounds before.
    let (even, mut reach) = rayon::join(
        || even_out(&mut mesh, &mut scene, &lift, &layout.spacing, options, task),
        || reach::Reach::new(ground.light().index.mesh(), plane, edge),
    );
    even?;
    let facing = shape::outward(&mesh, &scene);
    shape::untangle(&mut mesh, &mut scene, &facing);
    let facing = shape::facing(&mesh);
    // As they are at last: on the sculpt too, rows over a lobe go by the way over it.
    scene.ways = lift.raised_ways(&mesh, &scene);
    lift.raise(&mut mesh, &mut scene, rails, &pinned, ground.light());
    step::keep_step(&mut mesh, &mut scene, &steps);
    scene.homes = homes;
    let raised = (mesh.clone(), scene.seats.clone());
    let on = [ground.light(), ground.sculpt].map(|sculpt| &sculpt.index);
    let mut settled = settle(
        &mut mesh, &mut scene, on, &mut reach, &facing, options, task,
    )?;
    if settled.left > 0 {
        // Slid into a sharp bend, a vertex may have passed what lies beyond it: better near than folded.
        let slid = (std::mem::replace(&mut mesh, raised.0), settled);
        scene.seats = raised.1;
        scene.feet.fill(None);
        scene.slides = false;
        settled = settle(
            &mut mesh, &mut scene, on, &mut reach, &facing, options, task,
        )?;
        if settled.left >= slid.1.left {
            (mesh, settled) = slid;
        }
    }
    let Settled {
        repaired, parted, ..
    } = settled;
    if let Some(at) = order::open(&mut mesh, &scene) {
        return Err(ConformError::Flat { at: at.to_array() });
    }
    // To the bit, whatever was added and taken away on the way.
    for (v, held) in scene.held.iter().enumerate() {
        if *held {
            mesh.positions[v] = filled.mesh.positions[v];
        }
    }
    let mut findings = Findings::default();
    if repaired > 0 {
        findings.push(Finding::new(
            "conform-untangled",
            Level::Note,
            format!(
                "{repaired} vertices were moved by hand-over-hand search to square up narrow quads."
            ),
        ));
    }
    if parted > 0 {
        findings.push(Finding::new(
            "conform-parted",
            Level::Note,
            format!(
                "{parted} vertices were moved off the sculpt to part quads that were folded or passed through each other."
            ),
        ));
    }
    task.report("conform", 1.0)?;
    Ok((mesh, findings))
}

/// The rounds on the smoothed copy.
fn even_out(
    mesh: &mut QuadMesh,
    scene: &mut Scene,
    lift: &lift::Lift,
    spacing: &Spacing,
    options: &ConformOptions,
    task: &Task,
) -> Result<(), ConformError> {
    for round in 0..options.rounds {
        if round % LOOK_UP == 0 {
            scene.look_up(mesh, spacing);
            scene.ways = lift.ways(mesh, scene);
        }
        task.report("conform", 0.6 * round as f32 / options.rounds.max(1) as f32)?;
        let share = if round < options.rounds / 2 {
            0.35
        } else {
            0.6
        };
        shape::round(mesh, scene, share, Some(0.3), shape::Rails::Slide);
    }
    Ok(())
}

/// How vertices came to lie on the sculpt.
struct Settled {
    /// Vertices that were moved to square up narrow quads.
    repaired: usize,
    /// Vertices that were moved to part quads.
    parted: usize,
    /// Quads that are turned over or pass through others nonetheless.
    left: usize,
}

/// The rounds on the sculpt itself, and what comes after them; `on` is where vertices lie on the way, and in
/// the end.
fn settle(
    mesh: &mut QuadMesh,
    scene: &mut Scene,
    on: [&Arc<SurfaceIndex>; 2],
    reach: &mut reach::Reach,
    facing: &[DVec3],
    options: &ConformOptions,
    task: &Task,
) -> Result<Settled, ConformError> {
    scene.stand_on(on[0]);
    let slides = slide::Slides::new(mesh, scene);
    for round in 0..options.final_rounds {
        task.report("conform", 0.7)?;
        if options.straddle && round % PULL_EVERY == 0 && round <= LAST_PULL {
            straddle(mesh, scene, reach, volume::Effort::PULL);
        }
        // By turns, so that the others follow where those on curves slide to.
        slides.round(mesh, scene, round);
        shape::round(
            mesh,
            scene,
            0.4,
            Some(slide::floor(round)),
            shape::Rails::Stay,
        );
    }
    let repaired = shape::untangle(mesh, scene, facing);
    if scene.slides {
        slide::settle(mesh, scene);
    }
    task.report("conform", 0.9)?;
    if options.straddle {
        let home = mesh.positions.clone();
        chords::straddle(mesh, scene);
        shape::relent(mesh, scene, &home);
        scene.stand_on(on[1]);
        straddle(mesh, scene, reach, volume::Effort::FULL);
    }
    let parted = uncross::uncross(mesh, scene);
    Ok(Settled {
        repaired,
        parted,
        left: uncross::worse_quads(mesh, scene, 0.0).len(),
    })
}

/// Moves vertices so that faces straddle the sculpt and reach what stands off, pressing no quad.
fn straddle(mesh: &mut QuadMesh, scene: &Scene, reach: &mut reach::Reach, effort: volume::Effort) {
    let home = mesh.positions.clone();
    volume::straddle(mesh, scene, reach, effort);
    shape::relent(mesh, scene, &home);
}

/// Poles that are wanted at a place, with the place.
fn pinned_poles(filled: &Filled, layout: &Layout) -> Vec<(usize, DVec3)> {
    let topology = filled.mesh.topology();
    let of_pin = |pin: &PinnedPatch| {
        let pole = (0..filled.origin.len()).find(|&v| {
            filled.origin[v] == Origin::Inside { patch: pin.patch } && topology.valence[v] != 4
        });
        pole.map(|v| (v, pin.at))
    };
    let held = layout.pins.iter().filter(|pin| pin.held);
    held.filter_map(of_pin).collect()
}

fn around(mesh: &QuadMesh) -> Vec<Vec<u32>> {
    let mut around: Vec<Vec<u32>> = vec![Vec::new(); mesh.positions.len()];
    for &[a, b] in &mesh.topology().edges {
        around[a as usize].push(b);
        around[b as usize].push(a);
    }
    around
}

fn quads_at(mesh: &QuadMesh) -> Vec<Vec<(u32, u8)>> {
    let mut quads_at: Vec<Vec<(u32, u8)>> = vec![Vec::new(); mesh.positions.len()];
    for (q, corners) in mesh.quads.iter().enumerate() {
        for (i, &v) in corners.iter().enumerate() {
            quads_at[v as usize].push((q as u32, i as u8));
        }
    }
    quads_at
}

/// Area-weighted normal of the quads at a vertex.
pub(crate) fn normal_at(mesh: &QuadMesh, scene: &Scene, vertex: usize) -> DVec3 {
    scene.quads_at[vertex]
        .iter()
        .map(|&(q, _)| {
            let [a, b, c, d] = mesh.quads[q as usize].map(|v| mesh.positions[v as usize]);
            (c - a).cross(d - b)
        })
        .sum::<DVec3>()
        .normalize_or_zero()
}

/// Pairs of opposite neighbours of vertices where four quads meet.
fn opposite(mesh: &QuadMesh, quads_at: &[Vec<(u32, u8)>]) -> Vec<Vec<[u32; 2]>> {
    quads_at
        .iter()
        .map(|quads| {
            // Each quad at the vertex joins the neighbour ahead to the neighbour behind.
            let sides: Vec<[u32; 2]> = quads
                .iter()
                .map(|&(q, i)| {
                    let quad = mesh.quads[q as usize];
                    [quad[(i as usize + 1) % 4], quad[(i as usize + 3) % 4]]
                })
                .collect();
            let Some(&[first, second]) = sides.first().filter(|_| sides.len() == 4) else {
                return Vec::new();
            };
            let after = |v: u32| sides.iter().find(|s| s[0] == v).map(|s| s[1]);
            match (after(second), after(second).and_then(after)) {
                (Some(third), Some(fourth)) => vec![[first, third], [second, fourth]],
                _ => Vec::new(),
            }
        })
        .collect()
}

/// A point of the surface.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Foot {
    /// Where, model units.
    pub point: DVec3,
    /// On which triangle.
    pub triangle: u32,
}

impl From<mesh::Closest> for Foot {
    fn from(found: mesh::Closest) -> Self {
        Self {
            point: found.point,
            triangle: found.triangle,
        }
    }
}

/// Whether a triangle of the surface doesn't oppose `normal`.
fn not_opposing(scene: &Scene, normal: DVec3) -> impl Fn(u32) -> bool {
    let mesh = scene.index.mesh();
    move |t| mesh.area_normal(t as usize).dot(normal) > 0.0
}

/// Quad edges within which the surface is looked for.
const REACH: f64 = 2.0;
/// A foot this near, in quad edges, that is inside the triangle of the last one is taken without a look at
/// what else of the surface might be nearer: most steps are much shorter than a triangle.
const STAYS: f64 = 0.02;

/// Nearest point of the surface whose normal doesn't oppose `normal`, for what moved by little from
/// `near`: as [`onto_surface`], but for walls nearer to each other than [`STAYS`], of which it stays on its own.
pub(crate) fn along_surface(
    scene: &Scene,
    at: DVec3,
    normal: DVec3,
    near: Option<u32>,
) -> Option<Foot> {
    let (reach, close) = (REACH * scene.edge, STAYS * scene.edge);
    let faces = not_opposing(scene, normal);
    let found = scene.index.closest_staying(at, reach, near, close, faces);
    found.map(Foot::from)
}

/// Nearest point of the surface whose normal doesn't oppose `normal`; `None` if there is none
/// within two quads. `near` is where looking starts, and doesn't change what is found.
pub(crate) fn onto_surface(
    scene: &Scene,
    at: DVec3,
    normal: DVec3,
    near: Option<u32>,
) -> Option<Foot> {
    let faces = not_opposing(scene, normal);
    let found = scene
        .index
        .closest_from(at, REACH * scene.edge, near, faces);
    found.map(Foot::from)
}
