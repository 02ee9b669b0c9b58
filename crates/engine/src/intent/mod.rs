//! Intent: what the artist asks for beside guides, found on the work surface.
//!
//! Takes loops beside rings, areas of other density, pinned poles and keep-outs; gives, for each
//! vertex of the work surface, how much denser quads should be there and along which way, and
//! where poles are wanted or barred. With a mirror plane, what is asked for on either side counts
//! for both.

mod region;
#[cfg(test)]
mod tests;

use base::Task;
use mesh::DVec3;
use thiserror::Error;

use crate::model::{
    AreaSize, ChainSource, Curve, GuideKind, Intent, KeepOutPlace, Plane, Region, Sculpt,
    WorkSurface,
};
pub use region::{Vertices, Ways};

/// Neighbouring quads differ in size by no more than this share where an area's density
/// fades.
const GRADE: f64 = 0.2;
/// Loops beside a ring lie this much denser than quads elsewhere, less one.
const CROWD: f64 = 1.0;
/// Share of the crowded stretch beside a ring over which the loops are at their densest; as
/// far beyond it they fade.
const PLATEAU: f64 = 0.6;
/// Singular places keep at least this many quads from a ring: poles are to be off its vertices and
/// their neighbours, and one may come to lie half a quad from its singular place.
const RING_BERTH: f64 = 1.5;

/// A pin keeps this many quads from the mirror plane, so that its pole isn't a vertex of the centre
/// line.
const PIN_OFF_PLANE: f64 = 0.75;

/// Why something that was asked for can't be found on the surface.
#[derive(Clone, Debug, PartialEq, Error)]
pub enum IntentError {
    /// A point that is too far from the sculpt.
    #[error(
        "{what} '{name}' lies {distance:.3} from the sculpt, further than {limit:.3}; move it onto the sculpt, or check the units"
    )]
    OffSculpt {
        /// Area, pin or keep-out.
        what: &'static str,
        /// Its name.
        name: String,
        /// Model units.
        distance: f64,
        /// Model units.
        limit: f64,
    },
    /// A pin where no pole of its kind can be.
    #[error(
        "pin '{name}' lies on the mirror plane. A pole of the centre line has two edges on it and the others in pairs, so neither three nor five; move the pin {least:.3} or more to one side"
    )]
    OnPlane {
        /// The pin's name.
        name: String,
        /// Least distance from the plane, model units.
        least: f64,
    },
    /// Cancelled from outside.
    #[error(transparent)]
    Cancelled(#[from] base::Cancelled),
}

/// A pole wanted on the work surface.
#[derive(Clone, Debug, PartialEq)]
pub struct PinAim {
    /// Index into [`Intent::pins`].
    pub pin: usize,
    /// In the half that is computed, model units.
    pub at: DVec3,
    /// Index in quarter turns: +1 for a pole of three, −1 for one of five.
    pub quarters: i32,
}

/// What is asked for, vertex by vertex of the work surface.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Aims {
    /// Density over the one that would be there; 1 where nothing is asked.
    pub density: Vec<f64>,
    /// Edge length asked for, model units, and how far it counts, 0 to 1.
    pub edge: Vec<(f64, f64)>,
    /// Direction across a ring with loops; along a unit vector t quads are 1 + (across · t)² times
    /// as dense.
    pub across: Vec<DVec3>,
    /// Poles wanted.
    pub pins: Vec<PinAim>,
    /// Whether poles are kept out outright.
    pub barred: Vec<bool>,
    /// Whether a ring is so near that a pole had better lie elsewhere.
    pub berth: Vec<bool>,
    /// Edge length of the quads, model units.
    pub quad: f64,
    /// Chains of the work surface that poles keep away from.
    pub chains: Vec<ChainBerth>,
}

/// A chain that poles keep away from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct ChainBerth {
    /// Index into the work surface's chains.
    pub chain: usize,
    /// Quads that are to lie between it and a pole.
    pub quads: u32,
    /// Whether that was asked for outright.
    pub outright: bool,
}

impl Aims {
    /// Nothing asked for on a surface of as many vertices.
    pub fn none(vertices: usize) -> Self {
        Self {
            density: vec![1.0; vertices],
            edge: vec![(1.0, 0.0); vertices],
            across: vec![DVec3::ZERO; vertices],
            pins: Vec::new(),
            barred: vec![false; vertices],
            berth: vec![false; vertices],
            quad: 1.0,
            chains: Vec::new(),
        }
    }

    /// Whether anything is asked of poles.
    pub fn steer(&self) -> bool {
        !self.pins.is_empty() || self.barred.contains(&true) || self.berth.contains(&true)
    }
}

/// Finds what is asked for on the work surface; `quad` is the edge length of the quads, model units.
///
/// # Errors
/// [`IntentError`] names the area, pin or keep-out that is off the sculpt.
pub fn run(
    intent: &Intent,
    surface: &WorkSurface,
    curves: &[Curve],
    sculpt: &Sculpt,
    plane: Option<Plane>,
    quad: f64,
    task: &Task,
) -> Result<Aims, IntentError> {
    task.report("intent", 0.0)?;
    refuse_far(intent, sculpt, quad)?;
    let vertices = Vertices::new(&surface.positions, &surface.triangles);
    let mut aims = Aims::none(surface.positions.len());
    aims.quad = quad;
    for area in &intent.areas {
        let inside = vertices.inside(&area.region, plane);
        fade_out(&vertices, &inside, area.size, quad, &mut aims);
    }
    task.checkpoint()?;
    for loops in &intent.loops {
        let width = f64::from(loops.loops) / 2.0 * quad;
        crowd(&vertices, surface, curves, loops.guide, width, &mut aims);
    }
    for (i, pin) in intent.pins.iter().enumerate() {
        let height = plane.map_or(f64::INFINITY, |p| p.height(pin.at));
        if height.abs() < PIN_OFF_PLANE * quad {
            return Err(IntentError::OnPlane {
                name: pin.name.clone(),
                least: PIN_OFF_PLANE * quad,
            });
        }
        let front = plane.filter(|_| height < 0.0);
        let on_sculpt = sculpt.index.closest(pin.at).map_or(pin.at, |c| c.point);
        aims.pins.push(PinAim {
            pin: i,
            at: front.map_or(on_sculpt, |p| p.mirror(on_sculpt)),
            quarters: 4 - pin.valence as i32,
        });
    }
    bar(intent, &vertices, surface, curves, plane, quad, &mut aims);
    task.report("intent", 1.0)?;
    Ok(aims)
}

fn refuse_far(intent: &Intent, sculpt: &Sculpt, quad: f64) -> Result<(), IntentError> {
    let limit = (2.0 * quad).max(0.03 * sculpt.mesh.diagonal());
    let check = |what: &'static str, name: &str, points: &[DVec3]| {
        for &p in points {
            let distance = sculpt
                .index
                .closest(p)
                .map_or(f64::INFINITY, |c| c.distance);
            if distance > limit {
                return Err(IntentError::OffSculpt {
                    what,
                    name: name.to_owned(),
                    distance,
                    limit,
                });
            }
        }
        Ok(())
    };
    let of_region = |what, name: &str, region: &Region| match region {
        Region::Outline(points) => check(what, name, points),
        Region::Around { at, .. } => check(what, name, &[*at]),
    };
    for area in &intent.areas {
        of_region("area", &area.name, &area.region)?;
    }
    for pin in &intent.pins {
        check("pin", &pin.name, &[pin.at])?;
    }
    for keep_out in &intent.keep_outs {
        if let KeepOutPlace::Region(region) = &keep_out.place {
            of_region("keep-out", &keep_out.name, region)?;
        }
    }
    Ok(())
}

/// Density of an area, fading beyond it so that neighbouring quads are of similar size.
fn fade_out(vertices: &Vertices<'_>, inside: &[bool], size: AreaSize, quad: f64, aims: &mut Aims) {
    let sources: Vec<u32> = (0..inside.len() as u32)
        .filter(|&v| inside[v as usize])
        .collect();
    let factor = match size {
        AreaSize::Density(density) => density,
        AreaSize::Edge(edge) => quad / edge,
    };
    // Where sizes change by a share with each quad, they change linearly with the way.
    let sizes = 1.0 / factor - 1.0;
    let reach = (sizes.abs() / GRADE).max(1.0) * quad;
    let ways = vertices.ways(&sources, reach);
    for (v, &way) in ways.length.iter().enumerate() {
        if !way.is_finite() {
            continue;
        }
        let share = (1.0 - way / reach).clamp(0.0, 1.0);
        match size {
            AreaSize::Density(_) => aims.density[v] /= 1.0 + sizes * share,
            AreaSize::Edge(edge) if share >= aims.edge[v].1 => aims.edge[v] = (edge, share),
            AreaSize::Edge(_) => {}
        }
    }
}

/// Vertices of the chains of a guide.
fn chain_vertices(surface: &WorkSurface, curves: &[Curve], guide: usize) -> Vec<u32> {
    let of_guide = |source: ChainSource| match source {
        ChainSource::Curve(c) => curves[c].guides.contains(&guide),
        _ => false,
    };
    let chains = surface.chains.iter().filter(|c| of_guide(c.source));
    let mut all: Vec<u32> = chains.flat_map(|c| c.vertices.iter().copied()).collect();
    all.sort_unstable();
    all.dedup();
    all
}

/// Rows beside a ring: as many more on either side, within `width` of it and fading beyond,
/// as would be there without.
fn crowd(
    vertices: &Vertices<'_>,
    surface: &WorkSurface,
    curves: &[Curve],
    guide: usize,
    width: f64,
    aims: &mut Aims,
) {
    let (full, faded) = (PLATEAU * width, (2.0 - PLATEAU) * width);
    let at = |v: u32| surface.positions[v as usize];
    let on_ring = chain_vertices(surface, curves, guide);
    // Along edges the way is longer than straight over the triangles, by half at most.
    let ways = vertices.ways(&on_ring, 1.5 * faded);
    for v in 0..surface.positions.len() as u32 {
        if !ways.length[v as usize].is_finite() {
            continue;
        }
        let source = ways.source[v as usize];
        let beside: Vec<u32> = vertices
            .around(source)
            .iter()
            .copied()
            .filter(|w| on_ring.binary_search(w).is_ok())
            .collect();
        let feet = beside.iter().map(|&w| {
            let along = at(w) - at(source);
            let share = (at(v) - at(source)).dot(along) / along.length_squared().max(1e-300);
            at(source) + along * share.clamp(0.0, 1.0)
        });
        let foot = feet
            .min_by(|a, b| {
                a.distance_squared(at(v))
                    .total_cmp(&b.distance_squared(at(v)))
            })
            .unwrap_or(at(source));
        let way = at(v).distance(foot);
        let extra = CROWD * ((faded - way) / (faded - full)).clamp(0.0, 1.0);
        // On the ring itself: square to it, on the side of the next row.
        let mut out = at(v) - foot;
        if way < 1e-9 * width {
            let along = beside.iter().map(|&w| at(w) - at(source)).next();
            let along = along.unwrap_or_default().normalize_or_zero();
            let aside = vertices.around(v).iter().map(|&w| at(w) - at(v));
            out = aside
                .map(|way| way - along * way.dot(along))
                .max_by(|a, b| a.length_squared().total_cmp(&b.length_squared()))
                .unwrap_or_default();
        }
        let across = out.normalize_or_zero() * extra.sqrt();
        if across.length_squared() > aims.across[v as usize].length_squared() {
            aims.across[v as usize] = across;
        }
    }
}

/// Bars poles from rings and from what the artist keeps them out of.
fn bar(
    intent: &Intent,
    vertices: &Vertices<'_>,
    surface: &WorkSurface,
    curves: &[Curve],
    plane: Option<Plane>,
    quad: f64,
    aims: &mut Aims,
) {
    // A guide, the quads beside it that are to be free of poles, and whether that was asked for.
    let mut wishes: Vec<(usize, f64, bool)> = Vec::new();
    for curve in curves.iter().filter(|c| c.kind == GuideKind::Ring) {
        for &guide in &curve.guides {
            let loops = intent.loops.iter().find(|l| l.guide == guide);
            // A pole among loops would open them.
            wishes.push(match loops {
                Some(loops) => (guide, f64::from(loops.loops), true),
                None => (guide, 1.0, false),
            });
        }
    }
    for keep_out in &intent.keep_outs {
        if let KeepOutPlace::Guide { guide, reach } = keep_out.place {
            wishes.push((guide, reach, true));
        }
    }
    for (guide, quads, outright) in wishes {
        let on_it = chain_vertices(surface, curves, guide);
        let crowded = intent.loops.iter().any(|l| l.guide == guide);
        let way = if crowded { quads / 2.0 } else { quads };
        let ways = vertices.ways(&on_it, (way + 0.5).max(RING_BERTH) * quad);
        let bars = if outright {
            &mut aims.barred
        } else {
            &mut aims.berth
        };
        for (barred, way) in bars.iter_mut().zip(&ways.length) {
            *barred |= way.is_finite();
        }
        for (chain, one) in surface.chains.iter().enumerate() {
            if matches!(one.source, ChainSource::Curve(c) if curves[c].guides.contains(&guide)) {
                aims.chains.push(ChainBerth {
                    chain,
                    quads: quads.floor() as u32 + 1,
                    outright,
                });
            }
        }
    }
    for keep_out in &intent.keep_outs {
        if let KeepOutPlace::Region(region) = &keep_out.place {
            let inside = vertices.inside(region, plane);
            for (barred, is) in aims.barred.iter_mut().zip(inside) {
                *barred |= is;
            }
        }
    }
}
