//! Shortest paths along edges that hug a curve.

use std::cmp::Reverse;
use std::collections::BinaryHeap;

use mesh::DVec3;

use super::Stop;
use crate::work::WorkError;
use crate::work::dense::Dense;
use crate::work::grid::Grid;
use crate::work::project::foot;

/// A way along edges: vertices in order, with those that the curve must pass pinned.
#[derive(Clone, Debug, Default)]
pub(super) struct Course {
    /// Vertices; a closed course doesn't repeat the first.
    pub vertices: Vec<u32>,
    /// For each vertex its arc length, where that is fixed.
    pub pinned: Vec<Option<f64>>,
}

/// Where no way was found.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Lost {
    /// Arc lengths between which there is none.
    pub between: [f64; 2],
    /// A point between.
    pub at: DVec3,
}

/// Distance between the places that a path is led through, in edges of the work surface.
const STRIDE: f64 = 8.0;
/// Paths stay this close to their curve, in edges of the sculpt there.
const BAND: f64 = 2.5;
/// A path that strays further than this is refused, in edges of the sculpt there.
const STRAY: f64 = 1.5;

/// How far paths may stray.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Care {
    /// As far as the sculpt's own edges explain.
    Strict,
    /// Up to half an edge of the work surface if that is more: the curve leaves the sculpt a little.
    Lenient,
}

/// The whole course of a rail through its stops.
pub(super) fn course(
    work: &Dense<'_>,
    rail: u32,
    stops: &[Stop],
    grid: &Grid,
    care: Care,
    scratch: &mut Scratch,
) -> Result<Course, Lost> {
    scratch.reset(work.mesh.pos.len());
    let curve = &work.rails[rail as usize];
    let mut finder = Finder {
        work,
        rail,
        grid,
        care,
        scratch,
    };
    let mut legs: Vec<[Stop; 2]> = stops.windows(2).map(|w| [w[0], w[1]]).collect();
    let first = match stops.first() {
        Some(&stop) => stop,
        None => finder.station(-1.5 * work.edge, 1.5 * work.edge)?,
    };
    if curve.closed {
        let last = stops.last().copied().unwrap_or(first);
        legs.push([
            last,
            Stop {
                param: first.param + curve.length(),
                ..first
            },
        ]);
    }
    for stop in stops.iter().chain([&first]) {
        finder.scratch.used.mark(stop.vertex);
    }
    let mut course = Course {
        vertices: vec![first.vertex],
        pinned: vec![Some(first.param)],
    };
    for leg in legs {
        finder.leg(leg, &mut course)?;
    }
    if curve.closed {
        course.vertices.pop();
        course.pinned.pop();
        if course.vertices.len() < 3 {
            return Err(finder.lost([0.0, curve.length()]));
        }
    }
    Ok(course)
}

/// What a search knows of a vertex.
#[derive(Clone, Copy, Debug, Default)]
struct Visit {
    /// Least cost so far, and from where.
    cost: f64,
    from: u32,
    /// Distance from the curve.
    away: f64,
    /// Mean length of the edges here.
    scale: f64,
}

/// Marked vertices, quick to clear.
#[derive(Debug, Default)]
struct Marks {
    marked: Vec<bool>,
    list: Vec<u32>,
}

impl Marks {
    fn has(&self, v: u32) -> bool {
        self.marked[v as usize]
    }

    fn mark(&mut self, v: u32) {
        if !self.marked[v as usize] {
            self.marked[v as usize] = true;
            self.list.push(v);
        }
    }

    fn clear(&mut self) {
        for v in self.list.drain(..) {
            self.marked[v as usize] = false;
        }
    }
}

/// Room for searches, made once for all curves.
#[derive(Debug, Default)]
pub(super) struct Scratch {
    visits: Vec<Visit>,
    touched: Marks,
    /// Vertices that the present curve passes.
    used: Marks,
}

impl Scratch {
    fn reset(&mut self, vertices: usize) {
        self.visits.resize(vertices, Visit::default());
        for marks in [&mut self.touched, &mut self.used] {
            marks.clear();
            marks.marked.resize(vertices, false);
        }
    }
}

struct Finder<'a, 'b> {
    work: &'a Dense<'b>,
    rail: u32,
    grid: &'a Grid,
    care: Care,
    scratch: &'a mut Scratch,
}

impl Finder<'_, '_> {
    fn lost(&self, between: [f64; 2]) -> Lost {
        Lost {
            between,
            at: self.work.rails[self.rail as usize].at((between[0] + between[1]) / 2.0),
        }
    }

    fn is_free(&self, v: u32) -> bool {
        self.work.mesh.has_vertex(v)
            && !self.work.mesh.on_rail[v as usize]
            && !self.scratch.used.has(v)
    }

    /// The free vertex nearest to the curve between two arc lengths.
    fn station(&self, from: f64, to: f64) -> Result<Stop, Lost> {
        let curve = &self.work.rails[self.rail as usize];
        let middle = curve.at((from + to) / 2.0);
        let reach = (to - from) / 2.0 + self.work.edge;
        let facing =
            foot(self.work.sculpt, middle, DVec3::ZERO, reach).map_or(DVec3::ZERO, |f| f.normal);
        let mut best: Option<(f64, Stop)> = None;
        self.grid.near(middle, reach, |v| {
            let p = self.work.mesh.pos[v as usize];
            if !self.is_free(v) || p.distance(middle) > reach {
                return;
            }
            let on = curve.nearest_between(p, from, to);
            if best.is_none_or(|(least, _)| on.distance < least)
                && self.work.mesh.vertex_normal(v).dot(facing) >= 0.0
            {
                let stop = Stop {
                    param: on.param,
                    vertex: v,
                };
                best = Some((on.distance, stop));
            }
        });
        best.map(|(_, stop)| stop)
            .ok_or_else(|| self.lost([from, to]))
    }

    /// From stop to stop, through stations in between, so that the path can't cut corners
    /// where the curve comes back to itself.
    fn leg(&mut self, [start, end]: [Stop; 2], course: &mut Course) -> Result<(), Lost> {
        let edge = self.work.edge;
        let strides = ((end.param - start.param) / (STRIDE * edge))
            .round()
            .max(1.0) as usize;
        let strides = if start.vertex == end.vertex {
            strides.max(3)
        } else {
            strides
        };
        let step = (end.param - start.param) / strides as f64;
        let mut at = start;
        for i in 1..=strides {
            let next = if i == strides {
                end
            } else {
                let around = start.param + step * i as f64;
                let window = (0.25 * step).min(1.5 * edge);
                self.station(around - window, around + window)?
            };
            self.stride(at, next, course)?;
            at = next;
        }
        if let Some(pinned) = course.pinned.last_mut() {
            *pinned = Some(end.param);
        }
        Ok(())
    }

    /// What the present search knows of a vertex.
    fn visit(&mut self, v: u32, between: [f64; 2]) -> Visit {
        if !self.scratch.touched.has(v) {
            let curve = &self.work.rails[self.rail as usize];
            let on = curve.nearest_between(self.work.mesh.pos[v as usize], between[0], between[1]);
            self.scratch.visits[v as usize] = Visit {
                cost: f64::INFINITY,
                from: u32::MAX,
                away: on.distance,
                scale: self.mean_edge(v),
            };
            self.scratch.touched.mark(v);
        }
        self.scratch.visits[v as usize]
    }

    fn mean_edge(&self, v: u32) -> f64 {
        let mesh = &self.work.mesh;
        let at = mesh.pos[v as usize];
        let (mut sum, mut count) = (0.0, 0.0);
        for u in mesh.neighbours(v) {
            sum += mesh.pos[u as usize].distance(at);
            count += 1.0;
        }
        sum / f64::max(count, 1.0)
    }

    /// Appends the path from one stop to the next (without the first vertex).
    fn stride(&mut self, start: Stop, end: Stop, course: &mut Course) -> Result<(), Lost> {
        let between = [start.param, end.param];
        let path = self.search(start.vertex, end.vertex, between);
        self.scratch.touched.clear();
        let path = path.ok_or_else(|| self.lost(between))?;
        for v in path {
            self.scratch.used.mark(v);
            course.vertices.push(v);
            course.pinned.push(None);
        }
        Ok(())
    }

    /// Dijkstra's search with edges weighted by 1 + (distance / half an edge there)².
    fn search(&mut self, start: u32, end: u32, between: [f64; 2]) -> Option<Vec<u32>> {
        let mut queue: BinaryHeap<Reverse<(Ordered, u32)>> = BinaryHeap::new();
        self.visit(start, between);
        self.visit(end, between);
        self.scratch.visits[start as usize].cost = 0.0;
        queue.push(Reverse((Ordered(0.0), start)));
        while let Some(Reverse((Ordered(cost), v))) = queue.pop() {
            let here = self.visit(v, between);
            if cost > here.cost {
                continue;
            }
            if v == end {
                break;
            }
            let mesh = &self.work.mesh;
            for u in mesh.neighbours(v) {
                if u != end && !self.is_free(u) {
                    continue;
                }
                let there = self.visit(u, between);
                let scale = here.scale.max(there.scale);
                if there.away > BAND * scale {
                    continue;
                }
                let length = mesh.pos[u as usize].distance(mesh.pos[v as usize]);
                let off = here.away * here.away + there.away * there.away;
                let total =
                    cost + length * (1.0 + 2.0 * off / (scale * scale).max(f64::MIN_POSITIVE));
                if total < there.cost && self.edge_is_free(v, u) {
                    let visit = &mut self.scratch.visits[u as usize];
                    (visit.cost, visit.from) = (total, v);
                    queue.push(Reverse((Ordered(total), u)));
                }
            }
        }
        self.walk_back(start, end)
    }

    /// The path that a search found, without its start; none if it strays too far.
    fn walk_back(&self, start: u32, end: u32) -> Option<Vec<u32>> {
        let mut path = vec![end];
        let mut at = self.scratch.visits[end as usize].from;
        while at != start {
            let visit = self.scratch.visits.get(at as usize)?;
            let most = match self.care {
                Care::Strict => STRAY * visit.scale,
                Care::Lenient => (STRAY * visit.scale).max(0.5 * self.work.edge),
            };
            if visit.away > most {
                return None;
            }
            path.push(at);
            at = visit.from;
        }
        path.reverse();
        Some(path)
    }

    /// Whether no rail has the edge yet.
    fn edge_is_free(&self, a: u32, b: u32) -> bool {
        if !(self.work.mesh.on_rail[a as usize] && self.work.mesh.on_rail[b as usize]) {
            return true;
        }
        self.work
            .mesh
            .edge_between(a, b)
            .is_some_and(|h| self.work.mesh.segment_of(h).is_none())
    }
}

/// Splits every edge without segment near the part of the curve that found no way.
pub(super) fn refine(work: &mut Dense<'_>, rail: u32, lost: &Lost) -> Result<(), WorkError> {
    let curve = work.rails[rail as usize].clone();
    let [from, to] = lost.between;
    let reach = (to - from) / 2.0 + 2.0 * work.edge;
    for h in 0..work.mesh.twin.len() as u32 {
        if !work.mesh.is_edge(h) || work.mesh.segment_of(h).is_some() {
            continue;
        }
        let [a, b] = [work.mesh.from(h), work.mesh.to(h)].map(|v| work.mesh.pos[v as usize]);
        let middle = (a + b) / 2.0;
        if middle.distance(lost.at) < reach
            && curve.nearest_between(middle, from, to).distance < 1.5 * a.distance(b)
        {
            work.split(h)?;
        }
    }
    Ok(())
}

/// A finite cost, ordered.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Ordered(f64);

impl Eq for Ordered {}

impl PartialOrd for Ordered {
    fn partial_cmp(&self, other: &Self) -> Option<std::cmp::Ordering> {
        Some(self.cmp(other))
    }
}

impl Ord for Ordered {
    fn cmp(&self, other: &Self) -> std::cmp::Ordering {
        self.0.total_cmp(&other.0)
    }
}
