//! Streamlines of the field, walked exactly from triangle to triangle, and the runs
//! of edges that stand for them.

use std::f64::consts::{FRAC_PI_2, TAU};

use mesh::DVec3;

use super::marks::Marks;
use crate::field::{Field, wrap};

/// A streamline from a vertex.
#[derive(Clone, Debug, Default)]
pub struct Streamline {
    /// Half-edges crossed, each with the share of the way from its start.
    pub crossings: Vec<(u32, f64)>,
    /// Length walked, model units (on the smoothed surface).
    pub length: f64,
    /// Whether it ended on a marked edge, rather than at the length limit.
    pub arrived: bool,
}

/// Walks from `vertex` in the direction nearest to `angle` (in the vertex's frame) until a
/// marked edge or `limit`.
pub fn walk(
    field: &Field,
    marks: &Marks,
    vertex: u32,
    angle: f64,
    limit: f64,
) -> Option<Streamline> {
    let topology = &field.topology;
    let (mut half, mut local) = first_triangle(field, vertex, angle)?;
    // In the frame of triangle `half / 3`, whose x axis runs along `half`.
    let mut point = [0.0, 0.0];
    let mut line = Streamline::default();
    let most = 40 * topology.triangles.len().max(100);
    let mut at_corner = true;
    for _ in 0..most {
        let flat = Flat::new(field, half);
        let first = if at_corner {
            local
        } else {
            flat.field_near(point, local)
        };
        let exit = flat.exit(point, first, at_corner)?;
        let middle = [
            (point[0] + exit.point[0]) / 2.0,
            (point[1] + exit.point[1]) / 2.0,
        ];
        let second = flat.field_near(middle, first);
        let exit = match flat.exit(point, second, at_corner) {
            Some(e) => e,
            None => exit,
        };
        let step = ((exit.point[0] - point[0]).powi(2) + (exit.point[1] - point[1]).powi(2)).sqrt();
        line.length += step;
        let crossed = exit.half;
        line.crossings.push((crossed, exit.share));
        if marks.curve_of_edge[topology.edge(crossed) as usize].is_some() {
            line.arrived = true;
            return Some(line);
        }
        let Some(across) = topology.twin(crossed) else {
            line.arrived = true;
            return Some(line);
        };
        if line.length > limit {
            return Some(line);
        }
        // Turn into the frame whose x axis runs along `across`.
        local = second - flat.angle_of(crossed) + std::f64::consts::PI;
        let length = field.smooth[topology.from(across) as usize]
            .distance(field.smooth[topology.to(across) as usize]);
        point = [(1.0 - exit.share) * length, 0.0];
        half = across;
        at_corner = false;
    }
    Some(line)
}

/// The triangle at `vertex` into which a direction points: its half-edge that starts
/// there, and the direction's unscaled angle against it.
fn first_triangle(field: &Field, vertex: u32, angle: f64) -> Option<(u32, f64)> {
    let topology = &field.topology;
    let scale = field.frames.scale(vertex);
    let mut best: Option<(f64, u32, f64)> = None;
    for h in topology.fan(vertex) {
        let span = field.frames.corner(h) * scale;
        let turn = (angle - field.frames.outgoing(h)).rem_euclid(TAU);
        // Outside the sector by how much?
        let over = if turn <= span {
            0.0
        } else {
            (turn - span).min(TAU - turn)
        };
        let inside = if turn <= span {
            turn
        } else if turn - span < TAU - turn {
            span
        } else {
            0.0
        };
        if best.is_none_or(|b| over < b.0 - 1e-12) {
            best = Some((over, h, inside / scale));
        }
    }
    let (_, h, local) = best?;
    let span = field.frames.corner(h);
    Some((h, local.clamp(0.02 * span, 0.98 * span)))
}

/// A triangle laid flat with its first half-edge along x.
struct Flat {
    /// Half-edges from the first on.
    halves: [u32; 3],
    corners: [[f64; 2]; 3],
    /// Field angle at each corner in this frame, any of the four.
    angles: [f64; 3],
    area2: f64,
}

struct Exit {
    half: u32,
    share: f64,
    point: [f64; 2],
}

impl Flat {
    fn new(field: &Field, half: u32) -> Self {
        let topology = &field.topology;
        let halves = [half, topology.next(half), topology.prev(half)];
        let [a, b, c] = halves.map(|h| field.smooth[topology.from(h) as usize]);
        let length = a.distance(b).max(1e-300);
        let x = (b - a) / length;
        let along = (c - a).dot(x);
        let height = (c - a - x * along).length().max(1e-300);
        let corners = [[0.0, 0.0], [length, 0.0], [along, height]];
        let mut this = Self {
            halves,
            corners,
            angles: [0.0; 3],
            area2: length * height,
        };
        for i in 0..3 {
            let v = topology.from(halves[i]);
            let relative = field.angle[v as usize] - field.frames.outgoing(halves[i]);
            this.angles[i] = this.side_angle(i) + relative;
        }
        this
    }

    fn side_angle(&self, i: usize) -> f64 {
        let (p, q) = (self.corners[i], self.corners[(i + 1) % 3]);
        (q[1] - p[1]).atan2(q[0] - p[0])
    }

    fn angle_of(&self, half: u32) -> f64 {
        (0..3)
            .find(|&i| self.halves[i] == half)
            .map_or(0.0, |i| self.side_angle(i))
    }

    /// The interpolated field's direction nearest to `heading`.
    fn field_near(&self, point: [f64; 2], heading: f64) -> f64 {
        let weight = |i: usize| {
            let (p, q) = (self.corners[(i + 1) % 3], self.corners[(i + 2) % 3]);
            ((q[0] - p[0]) * (point[1] - p[1]) - (q[1] - p[1]) * (point[0] - p[0])) / self.area2
        };
        let (mut x, mut y) = (0.0, 0.0);
        for i in 0..3 {
            let w = weight(i).clamp(0.0, 1.0);
            x += w * (4.0 * self.angles[i]).cos();
            y += w * (4.0 * self.angles[i]).sin();
        }
        if x * x + y * y < 0.02 {
            return heading;
        }
        heading + wrap(y.atan2(x) / 4.0 - heading, FRAC_PI_2)
    }

    /// Where a ray from a point leaves: from a corner only the opposite side counts, from
    /// the first side only the two others.
    fn exit(&self, point: [f64; 2], angle: f64, from_corner: bool) -> Option<Exit> {
        let d = [angle.cos(), angle.sin()];
        let mut best: Option<(f64, usize, f64)> = None;
        for i in 1..3 {
            if from_corner && i == 2 {
                continue;
            }
            let (p, q) = (self.corners[i], self.corners[(i + 1) % 3]);
            let e = [q[0] - p[0], q[1] - p[1]];
            let across = d[0] * e[1] - d[1] * e[0];
            if across.abs() < 1e-300 {
                continue;
            }
            let w = [p[0] - point[0], p[1] - point[1]];
            let t = (w[0] * e[1] - w[1] * e[0]) / across;
            let s = (w[0] * d[1] - w[1] * d[0]) / across;
            if t > -1e-12 && (-1e-9..=1.0 + 1e-9).contains(&s) && best.is_none_or(|b| t < b.0) {
                best = Some((t, i, s));
            }
        }
        let (i, s) = match best {
            Some((_, i, s)) => (i, s),
            // The field turns back along the side it came from: slide to the nearer end of the
            // facing side and go on.
            None if !from_corner => {
                let (_, dy) = (d[0], d[1]);
                if dy > 0.3 {
                    return None;
                }
                if d[0] > 0.0 { (1, 0.02) } else { (2, 0.98) }
            }
            None => return None,
        };
        let share = s.clamp(0.02, 0.98);
        let (p, q) = (self.corners[i], self.corners[(i + 1) % 3]);
        Some(Exit {
            half: self.halves[i],
            share,
            point: [p[0] + share * (q[0] - p[0]), p[1] + share * (q[1] - p[1])],
        })
    }
}

/// A run of edges for a streamline that leaves `start`: at each edge crossed the nearer
/// end that no curve uses. Ends with a vertex next to (or, for a walk that didn't arrive,
/// anywhere before) the curve that was met, and gives the edge that was met.
pub fn edge_run(
    field: &Field,
    marks: &Marks,
    start: u32,
    line: &Streamline,
) -> Option<(Vec<u32>, Option<u32>)> {
    let topology = &field.topology;
    let mut run = vec![start];
    for (i, &(half, share)) in line.crossings.iter().enumerate() {
        let edge = topology.edge(half);
        if line.arrived && i + 1 == line.crossings.len() {
            return Some((run, Some(edge)));
        }
        let (a, b) = (topology.from(half), topology.to(half));
        let (near, far) = if share <= 0.5 { (a, b) } else { (b, a) };
        let chosen = match (
            marks.is_marked(near) && near != start,
            marks.is_marked(far) && far != start,
        ) {
            (false, _) => near,
            (true, false) => far,
            // Both ends of an unmarked edge lie on curves: too narrow to pass.
            (true, true) => return None,
        };
        push_simple(&mut run, chosen);
    }
    Some((run, None))
}

/// Appends a vertex, cutting off the loop that a return to an earlier vertex makes.
fn push_simple(run: &mut Vec<u32>, vertex: u32) {
    if let Some(earlier) = run.iter().rposition(|&v| v == vertex) {
        run.truncate(earlier + 1);
    } else {
        run.push(vertex);
    }
}

/// Length of a run of vertices on the unsmoothed surface.
pub fn run_length(positions: &[DVec3], run: &[u32]) -> f64 {
    run.windows(2)
        .map(|w| positions[w[0] as usize].distance(positions[w[1] as usize]))
        .sum()
}
