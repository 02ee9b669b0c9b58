//! Shortest paths along edges that hug a curve.

use std::cmp::Reverse;
use std::collections::BinaryHeap;

use mesh::DVec3;

use super::Stop;
use super::grid::Grid;
use crate::work::WorkError;
use crate::work::dense::Dense;
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
    /// Up to half an edge of the work surface: the curve leaves the sculpt a little.
    Lenient,
}

/// The whole course of a rail through its stops.
pub(super) fn course(
    work: &Dense<'_>,
    rail: u32,
    stops: &[Stop],
    grid: &Grid,
    care: Care,
) -> Result<Course, Lost> {
    let curve = &work.rails[rail as usize];
    let mut finder = Finder::new(work, rail, grid, care);
    let mut legs: Vec<[Stop; 2]> = stops.windows(2).map(|w| [w[0], w[1]]).collect();
    let first = match stops.first() {
        Some(&stop) => stop,
        None => finder.station(0.0, curve.length())?,
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
    for stop in stops {
        finder.used[stop.vertex as usize] = true;
    }
    finder.used[first.vertex as usize] = true;
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

struct Finder<'a, 'b> {
    work: &'a Dense<'b>,
    rail: u32,
    grid: &'a Grid,
    care: Care,
    used: Vec<bool>,
    /// Least cost so far, and from where, of the present search.
    cost: Vec<f64>,
    from: Vec<u32>,
    /// Distance from the curve, below 0 where it isn't known yet.
    away: Vec<f64>,
    /// Mean length of the edges at a vertex.
    scale: Vec<f64>,
    touched: Vec<u32>,
}

impl<'a, 'b> Finder<'a, 'b> {
    fn new(work: &'a Dense<'b>, rail: u32, grid: &'a Grid, care: Care) -> Self {
        let count = work.mesh.pos.len();
        Self {
            work,
            rail,
            grid,
            care,
            used: vec![false; count],
            cost: vec![f64::INFINITY; count],
            from: vec![u32::MAX; count],
            away: vec![-1.0; count],
            scale: vec![0.0; count],
            touched: Vec::new(),
        }
    }

    fn lost(&self, between: [f64; 2]) -> Lost {
        Lost {
            between,
            at: self.work.rails[self.rail as usize].at((between[0] + between[1]) / 2.0),
        }
    }

    fn is_free(&self, v: u32) -> bool {
        self.work.mesh.has_vertex(v)
            && !self.work.mesh.on_rail[v as usize]
            && !self.used[v as usize]
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

    fn distance(&mut self, v: u32, between: [f64; 2]) -> f64 {
        if self.away[v as usize] < 0.0 {
            let curve = &self.work.rails[self.rail as usize];
            let on = curve.nearest_between(self.work.mesh.pos[v as usize], between[0], between[1]);
            self.away[v as usize] = on.distance;
            self.scale[v as usize] = self.mean_edge(v);
            self.touched.push(v);
        }
        self.away[v as usize]
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
        for v in std::mem::take(&mut self.touched) {
            self.away[v as usize] = -1.0;
            self.cost[v as usize] = f64::INFINITY;
            self.from[v as usize] = u32::MAX;
        }
        let path = path.ok_or_else(|| self.lost(between))?;
        for v in path {
            self.used[v as usize] = true;
            course.vertices.push(v);
            course.pinned.push(None);
        }
        Ok(())
    }

    /// Dijkstra's search with edges weighted by 1 + (distance / half an edge there)².
    fn search(&mut self, start: u32, end: u32, between: [f64; 2]) -> Option<Vec<u32>> {
        let mut queue: BinaryHeap<Reverse<(Ordered, u32)>> = BinaryHeap::new();
        self.distance(start, between);
        self.cost[start as usize] = 0.0;
        queue.push(Reverse((Ordered(0.0), start)));
        while let Some(Reverse((Ordered(cost), v))) = queue.pop() {
            if cost > self.cost[v as usize] {
                continue;
            }
            if v == end && (v != start || cost > 0.0) {
                break;
            }
            let neighbours: Vec<u32> = self.work.mesh.neighbours(v).collect();
            for u in neighbours {
                if u != end && !self.is_free(u) {
                    continue;
                }
                let (du, dv) = (self.distance(u, between), self.distance(v, between));
                let scale = self.scale[u as usize].max(self.scale[v as usize]);
                if du > BAND * scale {
                    continue;
                }
                let length =
                    self.work.mesh.pos[u as usize].distance(self.work.mesh.pos[v as usize]);
                let off = 2.0 * (du * du + dv * dv) / (scale * scale).max(f64::MIN_POSITIVE);
                let total = cost + length * (1.0 + off);
                if total < self.cost[u as usize] && self.edge_is_free(v, u) {
                    self.cost[u as usize] = total;
                    self.from[u as usize] = v;
                    queue.push(Reverse((Ordered(total), u)));
                }
            }
        }
        if self.from[end as usize] == u32::MAX {
            return None;
        }
        let mut path = vec![end];
        let mut at = self.from[end as usize];
        while at != start {
            let most = match self.care {
                Care::Strict => STRAY * self.scale[at as usize],
                Care::Lenient => 0.5 * self.work.edge,
            };
            if self.away[at as usize] > most {
                return None;
            }
            path.push(at);
            at = self.from[at as usize];
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
