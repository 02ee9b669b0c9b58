//! Loops beside rings, areas, pins and keep-outs, found again on the finished surface.

use mesh::DVec3;

use super::guides::Track;
use super::measures::{AreaMeasures, KeepOutMeasures, LoopMeasures, PinMeasures};
use super::rings::Cycle;
use super::space::mean;
use super::surface::Surface;
use super::{CheckInput, limits};
use crate::intent::Vertices;
use crate::model::{Area, AreaSize, GuideKind, KeepOutPlace, Pin, Plane, Region};

/// Everything that was measured, with the vertices behind it.
#[derive(Default)]
pub(super) struct Met {
    pub loops: Vec<LoopMeasures>,
    pub areas: Vec<AreaMeasures>,
    pub pins: Vec<PinMeasures>,
    pub keep_outs: Vec<KeepOutMeasures>,
    /// For each keep-out, the poles in it.
    pub kept_in: Vec<Vec<u32>>,
    /// For each ring, by guide: poles on the vertices beside it.
    pub beside: Vec<(usize, Vec<u32>)>,
}

pub(super) fn measure(
    input: &CheckInput<'_>,
    surface: &Surface<'_>,
    tracks: &[Track<'_>],
    cycles: &[Option<Cycle>],
) -> Met {
    let intent = input.intent;
    let mut met = Met::default();
    for wish in &intent.loops {
        let (Some(track), Some(cycle)) = (tracks.get(wish.guide), cycles.get(wish.guide)) else {
            continue;
        };
        let found = cycle
            .as_ref()
            .map(|c| loops_beside(surface, track, c, wish.loops));
        let [one, two] = found.unwrap_or_default();
        met.loops.push(LoopMeasures {
            name: track.guide.name.clone(),
            asked: wish.loops,
            found: [one.loops, two.loops],
            short_of: [one, two].iter().map(|s| s.short_of(wish.loops)).sum(),
        });
    }
    let vertices = Vertices::new(&surface.mesh.positions, &surface.mesh.quads);
    for area in &intent.areas {
        met.areas.push(measure_area(surface, &vertices, area));
    }
    for pin in &intent.pins {
        met.pins.push(measure_pin(surface, pin, input.plane));
    }
    for keep_out in &intent.keep_outs {
        let inside = match &keep_out.place {
            KeepOutPlace::Region(region) => both_sides(&vertices, region, input.plane),
            KeepOutPlace::Guide { guide, reach } => {
                near_guide(surface, &vertices, tracks, cycles, *guide, *reach)
            }
        };
        let poles: Vec<u32> = (0..inside.len() as u32)
            .filter(|&v| inside[v as usize] && surface.is_inner_pole(v as usize))
            .collect();
        met.keep_outs.push(KeepOutMeasures {
            name: keep_out.name.clone(),
            poles: poles.len(),
        });
        met.kept_in.push(poles);
    }
    for (guide, (track, cycle)) in tracks.iter().zip(cycles).enumerate() {
        if let (GuideKind::Ring, Some(cycle)) = (track.guide.kind, cycle) {
            let mut beside: Vec<u32> = cycle
                .vertices
                .iter()
                .flat_map(|&v| vertices.around(v).iter().copied())
                .filter(|&v| cycle.vertices.binary_search(&v).is_err())
                .filter(|&v| surface.is_inner_pole(v as usize))
                .collect();
            beside.sort_unstable();
            beside.dedup();
            met.beside.push((guide, beside));
        }
    }
    met
}

/// One side of a ring.
#[derive(Clone, Copy, Debug, Default)]
struct Side {
    /// Closed loops without poles, one beside the other, within the stretch that is to be crowded.
    loops: u32,
    /// Whether the surface ends there.
    ends: bool,
}

impl Side {
    fn short_of(&self, asked: u32) -> u32 {
        let met = self.ends && self.loops > 0;
        if met {
            0
        } else {
            asked.saturating_sub(self.loops)
        }
    }
}

/// Closed loops on both sides of a ring, up to half a quad beyond where the asked ones are to lie.
fn loops_beside(surface: &Surface<'_>, track: &Track<'_>, ring: &Cycle, asked: u32) -> [Side; 2] {
    let topology = &surface.topology;
    let reach = (f64::from(asked) / 2.0 + 0.5) * surface.mean_edge;
    let corners = (0..topology.edge_of_corner.len() as u32)
        .filter(|&c| topology.edge_of_corner[c as usize] == ring.edges[0]);
    let mut sides = [Side::default(); 2];
    for (side, start) in sides.iter_mut().zip(corners) {
        let mut run = vec![start];
        while run.len() < ring.edges.len() {
            match ahead(surface, run[run.len() - 1]) {
                Some(next) => run.push(next),
                None => break,
            }
        }
        let on_ring = |c: &u32| {
            let edge = topology.edge_of_corner[*c as usize];
            ring.edges.binary_search(&edge).is_ok()
        };
        if !run.iter().all(on_ring) {
            continue;
        }
        loop {
            let closed =
                (0..run.len()).all(|i| ahead(surface, run[i]) == Some(run[(i + 1) % run.len()]));
            if !closed {
                break;
            }
            let across: Vec<u32> = run.iter().map(|&c| turned(turned(c))).collect();
            let away: Vec<f64> = across
                .iter()
                .map(|&c| track.line.distance(surface.at(from(surface, c))))
                .collect();
            if mean(&away) > reach {
                break;
            }
            let next: Option<Vec<u32>> =
                across.iter().map(|&c| topology.twin[c as usize]).collect();
            match next {
                Some(next) => {
                    // A pole on it bends it away: it is no loop.
                    let regular = across.iter().all(|&c| {
                        let v = from(surface, c) as usize;
                        !surface.is_inner_pole(v)
                    });
                    if !regular {
                        break;
                    }
                    side.loops += 1;
                    run = next;
                }
                None => {
                    let rim = across.iter().all(|&c| topology.twin[c as usize].is_none());
                    side.loops += u32::from(rim);
                    side.ends = rim;
                    break;
                }
            }
        }
    }
    sides
}

fn turned(corner: u32) -> u32 {
    corner - corner % 4 + (corner + 1) % 4
}

fn from(surface: &Surface<'_>, corner: u32) -> u32 {
    surface.mesh.quads[corner as usize / 4][corner as usize % 4]
}

/// The side of a quad straight ahead of another one, on the same side of the run that both are on.
fn ahead(surface: &Surface<'_>, corner: u32) -> Option<u32> {
    let rung = turned(corner);
    surface.topology.twin[rung as usize].map(turned)
}

/// A region, and with a plane its mirror image too.
fn both_sides(vertices: &Vertices<'_>, region: &Region, plane: Option<Plane>) -> Vec<bool> {
    let mut inside = vertices.inside(region, None);
    if let Some(plane) = plane {
        let image = match region {
            Region::Outline(points) => {
                Region::Outline(points.iter().map(|&p| plane.mirror(p)).collect())
            }
            Region::Around { at, reach } => Region::Around {
                at: plane.mirror(*at),
                reach: *reach,
            },
        };
        let other = vertices.inside(&image, None);
        inside.iter_mut().zip(other).for_each(|(a, b)| *a |= b);
    }
    inside
}

/// Vertices no more than some edges from a guide.
fn near_guide(
    surface: &Surface<'_>,
    vertices: &Vertices<'_>,
    tracks: &[Track<'_>],
    cycles: &[Option<Cycle>],
    guide: usize,
    reach: f64,
) -> Vec<bool> {
    let count = surface.mesh.positions.len();
    let mut inside = vec![false; count];
    let on_it: Vec<u32> = match (cycles.get(guide), tracks.get(guide)) {
        (Some(Some(cycle)), _) => cycle.vertices.clone(),
        (_, Some(track)) => (0..count as u32)
            .filter(|&v| {
                track.line.distance(surface.at(v)) <= limits::GUIDE_DISTANCE * surface.mean_edge
            })
            .collect(),
        _ => Vec::new(),
    };
    on_it.iter().for_each(|&v| inside[v as usize] = true);
    let mut rim = on_it;
    for _ in 0..reach.floor() as usize {
        let next: Vec<u32> = rim
            .iter()
            .flat_map(|&v| vertices.around(v).iter().copied())
            .filter(|&w| !std::mem::replace(&mut inside[w as usize], true))
            .collect();
        rim = next;
    }
    inside
}

/// Mean edge of some quads: the side of a square of their mean area.
fn edge_of(surface: &Surface<'_>, quads: &[usize]) -> Option<f64> {
    let areas: Vec<f64> = quads.iter().map(|&q| surface.area(q)).collect();
    (!areas.is_empty()).then(|| mean(&areas).sqrt())
}

fn measure_area(surface: &Surface<'_>, vertices: &Vertices<'_>, area: &Area) -> AreaMeasures {
    let inside = vertices.inside(&area.region, None);
    let quads = &surface.mesh.quads;
    let whole: Vec<usize> = (0..quads.len())
        .filter(|&q| quads[q].iter().all(|&v| inside[v as usize]))
        .collect();
    let edge = edge_of(surface, &whole);
    // Elsewhere: where an area's density has faded, whatever it is.
    let sources: Vec<u32> = (0..inside.len() as u32)
        .filter(|&v| inside[v as usize])
        .collect();
    let ways = vertices.ways(&sources, limits::AREA_FADED * surface.mean_edge);
    let far: Vec<usize> = (0..quads.len())
        .filter(|&q| {
            quads[q]
                .iter()
                .all(|&v| ways.length[v as usize].is_infinite())
        })
        .collect();
    let elsewhere = edge_of(surface, &far);
    let (asked, found) = match area.size {
        AreaSize::Edge(asked) => (asked, edge),
        AreaSize::Density(asked) => (asked, elsewhere.zip(edge).map(|(far, edge)| far / edge)),
    };
    AreaMeasures {
        name: area.name.clone(),
        quads: whole.len(),
        edge,
        asked,
        found,
    }
}

/// Distance from a pin, and from its mirror image, to the nearest pole of its kind.
fn measure_pin(surface: &Surface<'_>, pin: &Pin, plane: Option<Plane>) -> PinMeasures {
    let nearest = |at: DVec3| {
        (0..surface.mesh.positions.len())
            .filter(|&v| surface.is_inner_pole(v) && surface.topology.valence[v] == pin.valence)
            .map(|v| surface.mesh.positions[v].distance(at) / surface.mean_edge)
            .fold(f64::INFINITY, f64::min)
    };
    let away = match plane {
        Some(plane) => nearest(pin.at).max(nearest(plane.mirror(pin.at))),
        None => nearest(pin.at),
    };
    PinMeasures {
        name: pin.name.clone(),
        valence: pin.valence,
        away: away.is_finite().then_some(away),
    }
}
