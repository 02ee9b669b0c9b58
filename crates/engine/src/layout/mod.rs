//! Layout: the work surface cut into patches of three to six sides.
//!
//! Takes the work surface and its field, gives arcs (pieces of curves between
//! nodes) and patches (disks whose sides are runs of arcs). Holds: every patch is a
//! disk with three to six convex corners and no concave one.
//!
//! Curves are streamlines of the field that start square from a curve and end square
//! on one, laid greedily, the most useful first (the idea of patch layouts by traced
//! curves: Pietroni et al., "Reliable feature-line driven quad-remeshing", 2021).
//! What decides connectivity are whole quarter turns counted at vertices (see
//! [`marks`]): for every region the sum over corners of (2 − quarters) plus four
//! times the sum of its singularities' indices is four times its Euler
//! characteristic, so laying a curve along the field can't leave a region
//! that is uncountable.

mod bends;
mod between;
mod cuts;
mod density;
mod flat;
mod lay;
mod limbs;
pub mod marks;
mod pockets;
mod reached;
mod regions;
mod rings;
mod sides;
mod slots;
#[cfg(test)]
mod tests;
mod trace;
mod widths;

use std::collections::{BTreeMap, BTreeSet};

use base::{Finding, Findings, Level, Place, Task};
use mesh::DVec3;
use thiserror::Error;

use crate::field::{Field, Singularity};
use crate::intent::Aims;
use crate::model::{ChainSource, Curve, Guide, GuideKind, WorkSurface};
pub use density::Spacing;
pub(crate) use density::directed;
pub(crate) use flat::{Flat, corner_uv};
pub use lay::{Cause, LaidCurve};
use marks::Marks;
use regions::Region;
pub use widths::Width;

/// Options of the layout.
#[derive(Clone, Copy, Debug, PartialEq)]
#[non_exhaustive]
pub struct LayoutOptions {
    /// Edge length of the coming quads, model units.
    pub quad_edge: f64,
    /// Most curves that may be laid; default 2,000.
    pub most_curves: usize,
    /// How far the size of the quads follows curvature, 0 (even) to 1; default 0.
    pub adapt: f64,
    /// Whether the number of faces is given, so that denser areas leave fewer quads elsewhere;
    /// default true.
    pub budget: bool,
    /// Singularities of opposite sign within this many quad edges cancel; default 3.
    pub cancel_quads: f64,
    /// Whether closed curves are laid around limbs and handles before anything else; default true.
    pub rings_first: bool,
}

impl LayoutOptions {
    /// Options for quads of this edge length (model units).
    pub fn for_edge(quad_edge: f64) -> Self {
        Self {
            quad_edge,
            most_curves: 2000,
            adapt: 0.0,
            budget: true,
            cancel_quads: 3.0,
            rings_first: true,
        }
    }
}

/// Why there is no layout.
#[derive(Clone, Debug, PartialEq, Error)]
pub enum LayoutError {
    /// A part of the surface could not be cut into patches.
    #[error(
        "the surface near ({:.2}, {:.2}, {:.2}){} could not be cut into patches: {reason}; {}draw a ring or a line there",
        at[0], at[1], at[2], between(guides), away(guides)
    )]
    NoPatch {
        /// Middle of the region, model units.
        at: [f64; 3],
        /// What is wrong with it.
        reason: String,
        /// Guides along it: indices into the job's list, rising.
        beside: Vec<usize>,
        /// Their names, where they are known.
        guides: Vec<String>,
    },
    /// Cancelled from outside.
    #[error(transparent)]
    Cancelled(#[from] base::Cancelled),
}

/// Most guides that a message names.
const MOST_NAMED: usize = 3;

fn between(guides: &[String]) -> String {
    let named: Vec<String> = guides.iter().map(|g| format!("\"{g}\"")).collect();
    match named.len() {
        0 => String::new(),
        1 => format!(", beside guide {},", named[0]),
        _ => format!(", between guides {},", named.join(", ")),
    }
}

fn away(guides: &[String]) -> String {
    let last = guides.last();
    last.map_or(String::new(), |g| {
        format!("move \"{g}\" away from there, or ")
    })
}

impl LayoutError {
    /// With the names of the guides that it is about.
    pub fn naming(mut self, job: &[Guide]) -> Self {
        if let Self::NoPatch { beside, guides, .. } = &mut self {
            let names = beside.iter().filter_map(|&g| job.get(g));
            *guides = names.map(|g| g.name.clone()).take(MOST_NAMED).collect();
        }
        self
    }
}

/// Which curve an arc is a piece of.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ArcSource {
    /// A chain of the work surface, by index.
    Chain(usize),
    /// A curve that the layout added, by index.
    Laid(usize),
}

/// A piece of a curve between two nodes.
#[derive(Clone, Debug, PartialEq)]
pub struct Arc {
    /// Work-surface vertices in order, nodes at both ends.
    pub vertices: Vec<u32>,
    /// The curve that it is a piece of.
    pub source: ArcSource,
    /// Length, model units.
    pub length: f64,
    /// How much denser than the mean the quads along it should be; 1 where size doesn't follow
    /// curvature.
    pub density: f64,
    /// Length, in model units, longer where its guide bends: how a promised count is shared out.
    pub worth: f64,
    /// Share of its quads that should lie before each vertex: 0 to 1, rising.
    pub progress: Vec<f64>,
    /// Quads that are to lie between it and a pole, and whether that was asked for outright.
    pub berth: (u32, bool),
}

/// An arc as one patch sees it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct ArcUse {
    /// Index into [`Layout::arcs`].
    pub arc: usize,
    /// Whether the patch, kept on the left, runs it from first to last vertex.
    pub forward: bool,
}

/// A disk of three to six sides.
#[derive(Clone, Debug, PartialEq)]
pub struct Patch {
    /// Work-surface triangles in rising order.
    pub triangles: Vec<u32>,
    /// Boundary half-edges with the patch on the left, from a corner on.
    pub rim: Vec<u32>,
    /// Sides anticlockwise from the rim's first half-edge; each a run of arcs.
    pub sides: Vec<Vec<ArcUse>>,
    /// Singularities inside, near pairs taken out.
    pub singularities: Vec<Singularity>,
}

/// A surface cut into patches.
#[derive(Clone, Debug)]
pub struct Layout {
    /// All arcs.
    pub arcs: Vec<Arc>,
    /// All patches, by lowest triangle.
    pub patches: Vec<Patch>,
    /// Curves that were added to the chains.
    pub laid: Vec<LaidCurve>,
    /// How dense quads are wanted.
    pub spacing: Spacing,
    /// Patches whose pole is pinned.
    pub pins: Vec<PinnedPatch>,
    /// For each patch how wide its families of strips are: see [`Width`].
    pub widths: Vec<Option<Vec<Width>>>,
}

/// A patch with a pole that is wanted at a place.
#[derive(Clone, Debug, PartialEq)]
pub struct PinnedPatch {
    /// Index of the patch: one of three, five or six sides.
    pub patch: usize,
    /// Where its pole is wanted, model units.
    pub at: DVec3,
    /// Whether the pole is held there; else it is only to come near.
    pub held: bool,
    /// Way from there to each of its sides, model units.
    pub ways: Vec<f64>,
}

/// The patches in which poles are to lie at a place: where they are pinned, and, in patches that
/// reach into a keep-out, where the field has them.
fn pinned_patches(
    surface: &WorkSurface,
    field: &Field,
    aims: &Aims,
    arcs: &[Arc],
    patches: &[Patch],
) -> Vec<PinnedPatch> {
    let pinned = |patch: usize, at: DVec3, held: bool| {
        let sides = &patches[patch].sides;
        let way = |side: &Vec<ArcUse>| {
            let vertices = side.iter().flat_map(|u| &arcs[u.arc].vertices);
            vertices
                .map(|&v| surface.positions[v as usize].distance(at))
                .fold(f64::INFINITY, f64::min)
        };
        PinnedPatch {
            patch,
            at,
            held,
            ways: sides.iter().map(way).collect(),
        }
    };
    let mut found: Vec<PinnedPatch> = Vec::new();
    for (pin, triangle) in aims.pins.iter().zip(&field.pinned) {
        let within = |p: &Patch| triangle.is_some_and(|t| p.triangles.binary_search(&t).is_ok());
        // A pole of three is the middle of three sides, one of five that of five.
        let fits = |p: &usize| patches[*p].sides.len() as i32 == 4 - pin.quarters;
        if let Some(patch) = patches.iter().position(within).filter(fits) {
            found.push(pinned(patch, pin.at, true));
        }
    }
    for (p, patch) in patches.iter().enumerate() {
        let known = found.iter().any(|pin| pin.patch == p);
        let corners = |t: u32| surface.triangles[t as usize];
        let barred = |&t: &u32| corners(t).iter().any(|&v| aims.barred[v as usize]);
        if let [one] = patch.singularities[..]
            && !known
            && patch.sides.len() != 4
            && patch.triangles.iter().any(barred)
            && !barred(&one.triangle)
        {
            let corners = corners(one.triangle).map(|v| surface.positions[v as usize]);
            let middle = corners.iter().sum::<DVec3>() / 3.0;
            found.push(pinned(p, middle, false));
        }
    }
    found
}

impl Layout {
    /// Nodes where a patch has a corner between two arcs of the same chain: the chain itself
    /// turns there.
    pub fn chain_corners(&self) -> BTreeSet<u32> {
        let mut corners = BTreeSet::new();
        for patch in &self.patches {
            let n = patch.sides.len();
            for s in 0..n {
                let (Some(before), Some(after)) =
                    (patch.sides[(s + n - 1) % n].last(), patch.sides[s].first())
                else {
                    continue;
                };
                let (a, b) = (&self.arcs[before.arc], &self.arcs[after.arc]);
                if let (ArcSource::Chain(x), ArcSource::Chain(y)) = (a.source, b.source)
                    && x == y
                    && let Some(v) = if after.forward {
                        b.vertices.first()
                    } else {
                        b.vertices.last()
                    }
                {
                    corners.insert(*v);
                }
            }
        }
        corners
    }

    /// Nodes that only laid curves make: no chain crosses another, ends or turns a corner there.
    pub fn plain_nodes(&self) -> BTreeSet<u32> {
        let mut chains: BTreeMap<u32, Vec<usize>> = BTreeMap::new();
        for arc in &self.arcs {
            for v in [arc.vertices.first(), arc.vertices.last()]
                .into_iter()
                .flatten()
            {
                let here = chains.entry(*v).or_default();
                if let ArcSource::Chain(c) = arc.source {
                    here.push(c);
                }
            }
        }
        let mut plain: BTreeSet<u32> = chains
            .into_iter()
            .filter(|(_, c)| c.is_empty() || (c.len() == 2 && c[0] == c[1]))
            .map(|(v, _)| v)
            .collect();
        let corners = self.chain_corners();
        plain.retain(|v| !corners.contains(v));
        plain
    }
}

/// Quarter turns of the surface at corners of held regions, by vertex.
fn known_quarters(surface: &WorkSurface, curves: &[Curve]) -> BTreeMap<u32, u8> {
    let mut known = BTreeMap::new();
    for chain in surface.chains.iter().filter(|c| !c.closed) {
        let ChainSource::Curve(c) = chain.source else {
            continue;
        };
        let (Some(quarters), Some(start)) = (curves[c].side, curves[c].points.first()) else {
            continue;
        };
        let (Some(&first), Some(&last)) = (chain.vertices.first(), chain.vertices.last()) else {
            continue;
        };
        let away = |v: u32| surface.positions[v as usize].distance_squared(*start);
        let ends = if away(first) <= away(last) {
            [first, last]
        } else {
            [last, first]
        };
        for (v, quarters) in ends.into_iter().zip(quarters) {
            known.extend(quarters.map(|q| (v, q)));
        }
    }
    known
}

/// Cuts the surface into patches.
///
/// # Errors
/// [`LayoutError`] names the place that could not be cut, or that the work was cancelled.
pub fn run(
    surface: &WorkSurface,
    field: &Field,
    curves: &[Curve],
    aims: &Aims,
    options: &LayoutOptions,
    task: &Task,
) -> Result<(Layout, Findings), LayoutError> {
    task.report("layout", 0.0)?;
    let may_turn: Vec<bool> = surface
        .chains
        .iter()
        .map(|chain| match chain.source {
            ChainSource::Curve(c) => curves[c].kind != GuideKind::Ring && curves[c].side.is_none(),
            ChainSource::Plane => false,
            ChainSource::Boundary => true,
        })
        .collect();
    let known = known_quarters(surface, curves);
    let marks = Marks::of_chains(surface, field, &may_turn, &known, options.quad_edge);
    let mut laying = lay::Laying::new(
        field,
        &surface.positions,
        marks,
        surface.chains.len() as u32,
        options.quad_edge,
        options.cancel_quads,
    );
    let regions = laying.run(options.most_curves, options.rings_first);
    task.checkpoint()?;
    for region in &regions {
        if !region.is_patch() {
            return Err(no_patch(surface, field, curves, &laying.marks, region));
        }
    }
    let (marks, laid) = (laying.marks, laying.curves);
    let mut spacing = density::spacing(surface, field, aims, options);
    spacing.bends = bends::bends(surface, curves, options.quad_edge);
    let (arcs, arc_of_edge) = arcs_of(surface, field, aims, &marks, &laid, &regions, &spacing);
    let patches = regions
        .iter()
        .map(|r| {
            patch_of(field, r, &arcs, &arc_of_edge)
                .ok_or_else(|| no_patch(surface, field, curves, &marks, r))
        })
        .collect::<Result<Vec<_>, _>>()?;
    let pins = pinned_patches(surface, field, aims, &arcs, &patches);
    let widths = widths::widths(surface, field, &spacing, &arcs, &patches);
    let mut findings = Findings::default();
    findings.push(Finding::new(
        "layout-patches",
        Level::Note,
        format!(
            "{} patches, {} curves laid beside the guides.",
            patches.len(),
            laid.len()
        ),
    ));
    for curve in laid.iter().filter(|c| c.cause == Cause::Shortest) {
        let at = surface.positions[curve.vertices[curve.vertices.len() / 2] as usize];
        findings.push(
            Finding::new(
                "layout-shortest-path",
                Level::Note,
                "Here no flow line served to cut the surface into patches; a shortest path was taken.",
            )
            .at(Place::Point { at: at.to_array() }),
        );
    }
    task.report("layout", 1.0)?;
    Ok((
        Layout {
            arcs,
            patches,
            laid,
            spacing,
            pins,
            widths,
        },
        findings,
    ))
}

fn no_patch(
    surface: &WorkSurface,
    field: &Field,
    curves: &[Curve],
    marks: &Marks,
    region: &Region,
) -> LayoutError {
    let mut beside = BTreeSet::new();
    for &half in region.loops.iter().flat_map(|l| &l.halves) {
        let curve = marks.curve_of_edge[field.topology.edge(half) as usize];
        if let Some(chain) = curve.and_then(|c| surface.chains.get(c as usize))
            && let ChainSource::Curve(c) = chain.source
        {
            beside.extend(curves[c].guides.iter().copied());
        }
    }
    let mut sum = DVec3::ZERO;
    for &t in &region.triangles {
        for v in surface.triangles[t as usize] {
            sum += surface.positions[v as usize];
        }
    }
    let reason = if region.is_disk() {
        format!("a region with {} corners was left", region.corners())
    } else {
        format!(
            "a region with {} boundary loops was left",
            region.loops.len()
        )
    };
    LayoutError::NoPatch {
        at: (sum / (3.0 * region.triangles.len().max(1) as f64)).to_array(),
        reason,
        beside: beside.into_iter().collect(),
        guides: vec![],
    }
}

fn berth_of(aims: &Aims, source: ArcSource) -> (u32, bool) {
    let ArcSource::Chain(chain) = source else {
        return (0, false);
    };
    let mine = aims.chains.iter().filter(|b| b.chain == chain);
    mine.map(|b| (b.quads, b.outright))
        .max_by_key(|b| (b.1, b.0))
        .unwrap_or((0, false))
}

/// Cuts every curve at its nodes. Gives the arcs and, for each marked edge, its arc.
fn arcs_of(
    surface: &WorkSurface,
    field: &Field,
    aims: &Aims,
    marks: &Marks,
    laid: &[LaidCurve],
    regions: &[Region],
    spacing: &Spacing,
) -> (Vec<Arc>, Vec<Option<u32>>) {
    let topology = &field.topology;
    let mut node: Vec<bool> = (0..surface.positions.len() as u32)
        .map(|v| marks.is_node(v))
        .collect();
    for region in regions {
        for one in &region.loops {
            for (h, &q) in one.halves.iter().zip(&one.turns) {
                if q != 2 {
                    node[topology.from(*h) as usize] = true;
                }
            }
        }
    }
    let mut arcs = Vec::new();
    let curves = surface
        .chains
        .iter()
        .enumerate()
        .map(|(i, c)| (ArcSource::Chain(i), c.closed, &c.vertices))
        .chain(
            laid.iter()
                .enumerate()
                .map(|(i, c)| (ArcSource::Laid(i), c.closed, &c.vertices)),
        );
    for (source, closed, vertices) in curves {
        let mut run = vertices.clone();
        let mut bends = spacing.bends_of(source, run.len() - usize::from(!closed));
        if closed {
            let first = run.iter().position(|&v| node[v as usize]).unwrap_or(0);
            run.rotate_left(first);
            bends.rotate_left(first);
            run.push(run[0]);
        }
        let mut from = 0;
        for i in 1..run.len() {
            if node[run[i] as usize] || i + 1 == run.len() {
                let piece = run[from..=i].to_vec();
                let length = trace::run_length(&surface.positions, &piece);
                let straight = spacing.along(&surface.positions, &piece);
                let whole = straight[straight.len() - 1];
                let even = length <= 0.0 || whole <= 0.0 || spacing.is_even();
                let density = if even { 1.0 } else { whole / length };
                let mut worth = vec![0.0];
                for (w, bend) in straight.windows(2).zip(&bends[from..]) {
                    worth.push(worth[worth.len() - 1] + (w[1] - w[0]) * bend);
                }
                let whole = worth[worth.len() - 1];
                arcs.push(Arc {
                    source,
                    length,
                    density,
                    worth: whole,
                    berth: berth_of(aims, source),
                    progress: worth.iter().map(|w| w / whole.max(1e-300)).collect(),
                    vertices: piece,
                });
                from = i;
            }
        }
    }
    let mut arc_of_edge = vec![None; topology.edge_count()];
    for (a, arc) in arcs.iter().enumerate() {
        for w in arc.vertices.windows(2) {
            if let Some(e) = topology.edge_between(w[0], w[1]) {
                arc_of_edge[e as usize] = Some(a as u32);
            }
        }
    }
    (arcs, arc_of_edge)
}

/// `None` for a region whose rim isn't all arcs.
fn patch_of(
    field: &Field,
    region: &Region,
    arcs: &[Arc],
    arc_of_edge: &[Option<u32>],
) -> Option<Patch> {
    let topology = &field.topology;
    let one = &region.loops[0];
    let first = one.turns.iter().position(|&q| q == 1).unwrap_or(0);
    let n = one.halves.len();
    let mut rim = Vec::with_capacity(n);
    let mut sides: Vec<Vec<ArcUse>> = Vec::new();
    for k in 0..n {
        let i = (first + k) % n;
        let half = one.halves[i];
        rim.push(half);
        if one.turns[i] == 1 {
            sides.push(Vec::new());
        }
        let arc = arc_of_edge[topology.edge(half) as usize]?;
        let run = &arcs[arc as usize].vertices;
        let (from, to) = (topology.from(half), topology.to(half));
        // A new use begins where the half-edge is the arc's first or, backwards, its last edge.
        let starts_forward = run[0] == from && run[1] == to;
        let starts_backward = run[run.len() - 1] == from && run[run.len() - 2] == to;
        if let Some(side) = sides.last_mut() {
            if starts_forward {
                side.push(ArcUse {
                    arc: arc as usize,
                    forward: true,
                });
            } else if starts_backward {
                side.push(ArcUse {
                    arc: arc as usize,
                    forward: false,
                });
            }
        }
    }
    if sides.iter().any(Vec::is_empty) {
        return None;
    }
    Some(Patch {
        triangles: region.triangles.clone(),
        rim,
        sides,
        singularities: region.singularities.clone(),
    })
}

/// Point at a share of a polyline's length.
pub(crate) fn point_along(points: &[DVec3], share: f64) -> DVec3 {
    let mut progress = vec![0.0];
    for w in points.windows(2) {
        progress.push(progress[progress.len() - 1] + w[0].distance(w[1]));
    }
    let whole = progress[progress.len() - 1];
    progress.iter_mut().for_each(|p| *p /= whole.max(1e-300));
    point_at(points, &progress, share)
}

/// Point where a quantity that rises along a polyline from 0 to 1, given at its points, has
/// a value.
pub(crate) fn point_at(points: &[DVec3], progress: &[f64], share: f64) -> DVec3 {
    for (w, p) in points.windows(2).zip(progress.windows(2)) {
        if share <= p[1] && p[1] > p[0] {
            return w[0].lerp(w[1], ((share - p[0]) / (p[1] - p[0])).clamp(0.0, 1.0));
        }
    }
    points.last().copied().unwrap_or_default()
}
