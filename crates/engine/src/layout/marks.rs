//! Marked edges and the quarter turns between them.
//!
//! Every curve of the layout, guide or traced, marks its edges. At a vertex the
//! marks are kept anticlockwise, each in a *slot*: the number of quarter turns from
//! the first mark. The difference of neighbouring slots is the inner angle of the
//! sector between them in quarter turns of the field: 1 convex, 2 straight,
//! 3 concave, 4 a dangling end. Everything that decides connectivity reads slots,
//! never floating-point angles.

use std::collections::BTreeMap;

use crate::field::Field;
use crate::model::WorkSurface;

/// One marked edge at a vertex.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Mark {
    /// The edge.
    pub edge: u32,
    /// Its place in the anticlockwise list of neighbours.
    pub place: u16,
    /// Quarter turns from the first mark.
    pub slot: u8,
}

/// The marks at one vertex.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct VertexMarks {
    /// Marks, anticlockwise by place.
    pub marks: Vec<Mark>,
    /// Quarter turns all around (inside) or from the first mark to the last (boundary).
    pub total: u8,
    /// Whether the artist's curve turns a corner here, or one curve ends and another begins.
    pub corner: bool,
}

/// A sector between two neighbouring marks.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Sector {
    /// Edge where the sector starts, anticlockwise.
    pub from: u32,
    /// Edge where it ends.
    pub to: u32,
    /// Inner angle in quarter turns.
    pub quarters: u8,
}

/// All marks of a layout in the making.
#[derive(Clone, Debug)]
pub struct Marks {
    /// By vertex.
    pub at: Vec<VertexMarks>,
    /// Curve of each edge; `None` where unmarked.
    pub curve_of_edge: Vec<Option<u32>>,
}

/// Turning, in radians, from which a curve counts as having a corner.
const CORNER_TURN: f64 = 1.0;
/// Turning, over a whole quad to either side, that must be left of it: a zigzag takes its own
/// turning back.
const CORNER_LASTS: f64 = 0.75;
/// A closed curve shorter than this many quads turns that much anyway, so it must turn by
/// [`TIGHT_CORNER_TURN`] to have a corner, nearly all of it lasting.
const TIGHT_LOOP_QUADS: f64 = 18.0;
const TIGHT_CORNER_TURN: f64 = 1.3;

/// A turn within so many quads of where another curve ends is doubtful if it doesn't last over as many
/// quads as this to either side. So it is at the tip of a fold, which lines often lead to: as a corner
/// beside the line's end it would leave a row of quads no room.
const AT_AN_END: f64 = 0.75;
const ENDS_LAST: f64 = 2.0;

/// Cost, in squared quarters, of each quarter turn more or less than four around an inner node.
const UNUSUAL: f64 = 0.3;
/// The same where rings cross: no pole may lie on a ring, whatever the angle.
const RINGS_CROSS: f64 = 10.0;

impl Marks {
    /// Marks of the work surface's chains; curve `i` is chain `i`. Only chains that `may_turn`
    /// have corners (what the surface turns at vertices of the boundary may be `known`, in quarters,
    /// by vertex): a ring is smooth by meaning, whatever the folds beneath it do.
    pub fn of_chains(
        surface: &WorkSurface,
        field: &Field,
        may_turn: &[bool],
        known: &BTreeMap<u32, u8>,
        quad_edge: f64,
    ) -> Self {
        let topology = &field.topology;
        let mut this = Self {
            at: vec![VertexMarks::default(); surface.positions.len()],
            curve_of_edge: vec![None; topology.edge_count()],
        };
        for (c, chain) in surface.chains.iter().enumerate() {
            let n = chain.vertices.len();
            let last = if chain.closed { n } else { n.saturating_sub(1) };
            for i in 0..last {
                if let Some(e) =
                    topology.edge_between(chain.vertices[i], chain.vertices[(i + 1) % n])
                {
                    this.curve_of_edge[e as usize] = Some(c as u32);
                }
            }
        }
        let mut is_end = vec![false; surface.positions.len()];
        for chain in surface.chains.iter().filter(|c| !c.closed) {
            for v in [chain.vertices.first(), chain.vertices.last()]
                .into_iter()
                .flatten()
            {
                is_end[*v as usize] = true;
            }
        }
        let (turns, doubtful) = corner_turns(surface, field, may_turn, &is_end, quad_edge);
        let marked_at = |this: &Self, v: u32| -> Vec<(u32, u16)> {
            let neighbours = topology.neighbours(v);
            let around = neighbours.iter().enumerate();
            let marked = around.filter(|(_, n)| this.curve_of_edge[n.1 as usize].is_some());
            marked.map(|(place, n)| (n.1, place as u16)).collect()
        };
        for v in 0..surface.positions.len() as u32 {
            let marked = marked_at(&this, v);
            if !marked.is_empty() {
                let of_ring = |m: &(u32, u16)| {
                    this.curve_of_edge[m.0 as usize].is_some_and(|c| !may_turn[c as usize])
                };
                let usual = if marked.len() == 4 && marked.iter().all(of_ring) {
                    RINGS_CROSS
                } else {
                    UNUSUAL
                };
                let at = AtVertex {
                    turn: turns[v as usize],
                    is_end: is_end[v as usize],
                    known: known.get(&v).copied(),
                    unusual: usual,
                };
                this.at[v as usize] = base_marks(field, v, &marked, &at);
            }
        }
        // Where the curve goes straight on at the end beside it, nothing takes such a turn back.
        for [corner, end] in doubtful {
            let straight = this.at[end as usize].total == 2;
            if straight && topology.is_boundary_vertex(end) {
                let passing = AtVertex {
                    turn: None,
                    is_end: false,
                    known: known.get(&corner).copied(),
                    unusual: UNUSUAL,
                };
                let marked = marked_at(&this, corner);
                this.at[corner as usize] = base_marks(field, corner, &marked, &passing);
            }
        }
        this
    }

    /// Whether a vertex lies on a curve.
    #[inline]
    pub fn is_marked(&self, vertex: u32) -> bool {
        !self.at[vertex as usize].marks.is_empty()
    }

    /// Whether a vertex is more than a point that one curve passes.
    #[inline]
    pub fn is_node(&self, vertex: u32) -> bool {
        let here = &self.at[vertex as usize];
        here.corner || !(here.marks.is_empty() || here.marks.len() == 2)
    }

    /// The sector that starts anticlockwise at a marked edge; `None` at the boundary's end.
    #[inline]
    pub fn sector_from(&self, field: &Field, vertex: u32, edge: u32) -> Option<Sector> {
        let here = &self.at[vertex as usize];
        let i = here.marks.iter().position(|m| m.edge == edge)?;
        if i + 1 < here.marks.len() {
            let to = here.marks[i + 1];
            return Some(Sector {
                from: edge,
                to: to.edge,
                quarters: to.slot - here.marks[i].slot,
            });
        }
        if field.topology.is_boundary_vertex(vertex) {
            return None;
        }
        let to = here.marks[0];
        Some(Sector {
            from: edge,
            to: to.edge,
            quarters: here.total - here.marks[i].slot + to.slot,
        })
    }

    /// Direction that leaves a sector `step` quarter turns after its start, as an
    /// angle in the vertex's frame.
    pub fn direction_in(&self, field: &Field, vertex: u32, sector: Sector, step: u8) -> f64 {
        let from = field.frames.of_edge(&field.topology, sector.from, vertex);
        let span = sector_span(field, vertex, sector);
        from + span * f64::from(step) / f64::from(sector.quarters)
    }

    /// Marks an edge that leaves `vertex` inside an existing sector (or anywhere, at an
    /// unmarked vertex); its slot is the whole quarter nearest to its angle that is free.
    /// Answers whether there was room.
    pub fn insert(&mut self, field: &Field, vertex: u32, edge: u32) -> bool {
        let Some(place) = field
            .topology
            .neighbours(vertex)
            .iter()
            .position(|n| n.1 == edge)
        else {
            return false;
        };
        let Some(sector) = self.sector_of_place(field, vertex, place as u16) else {
            self.at[vertex as usize] = VertexMarks {
                marks: vec![Mark {
                    edge,
                    place: place as u16,
                    slot: 0,
                }],
                total: 4,
                corner: false,
            };
            return true;
        };
        if sector.quarters < 2 {
            return false;
        }
        let from = field.frames.of_edge(&field.topology, sector.from, vertex);
        let here = field.frames.of_edge(&field.topology, edge, vertex);
        let span = sector_span(field, vertex, sector).max(1e-9);
        let share = (here - from).rem_euclid(std::f64::consts::TAU) / span;
        let step = (share * f64::from(sector.quarters))
            .round()
            .clamp(1.0, f64::from(sector.quarters - 1)) as u8;
        let marks = &mut self.at[vertex as usize];
        let after = marks
            .marks
            .iter()
            .position(|m| m.edge == sector.from)
            .unwrap_or(0);
        let slot = marks.marks[after].slot + step;
        let mark = Mark {
            edge,
            place: place as u16,
            slot,
        };
        if place as u16 > marks.marks[after].place {
            marks.marks.insert(after + 1, mark);
        } else {
            // The sector runs over the start of the list: this mark becomes the first.
            let shift = marks.total - slot;
            for m in &mut marks.marks {
                m.slot += shift;
            }
            marks.marks.insert(0, Mark { slot: 0, ..mark });
        }
        true
    }

    /// The sector that contains the neighbour at a place of the anticlockwise list.
    pub fn sector_of_place(&self, field: &Field, vertex: u32, place: u16) -> Option<Sector> {
        let here = &self.at[vertex as usize];
        let from = here
            .marks
            .iter()
            .rev()
            .find(|m| m.place < place)
            .or(here.marks.last())?;
        self.sector_from(field, vertex, from.edge)
    }

    /// Second half of marking a path through an unmarked vertex: two marks, straight on.
    pub fn pass(&mut self, field: &Field, vertex: u32, one: u32, two: u32) {
        let around = field.topology.neighbours(vertex);
        let mut marks: Vec<Mark> = around
            .iter()
            .enumerate()
            .filter(|(_, n)| n.1 == one || n.1 == two)
            .map(|(place, n)| Mark {
                edge: n.1,
                place: place as u16,
                slot: 0,
            })
            .collect();
        if let Some(second) = marks.get_mut(1) {
            second.slot = 2;
        }
        self.at[vertex as usize] = VertexMarks {
            marks,
            total: 4,
            corner: false,
        };
    }
}

/// Angle of a sector in the vertex's frame, radians; a full turn for a dangling end.
pub fn sector_span(field: &Field, vertex: u32, sector: Sector) -> f64 {
    let from = field.frames.of_edge(&field.topology, sector.from, vertex);
    let to = field.frames.of_edge(&field.topology, sector.to, vertex);
    if sector.from == sector.to {
        return field.frames.total(vertex);
    }
    (to - from).rem_euclid(std::f64::consts::TAU)
}

/// What is known of a vertex of the artist's curves.
struct AtVertex {
    /// By how much its curve turns a corner there, radians.
    turn: Option<f64>,
    /// Whether a curve ends there.
    is_end: bool,
    /// What the surface turns there, in quarters.
    known: Option<u8>,
    /// Cost of each quarter turn more or less than usual.
    unusual: f64,
}

/// Quarter turns between the artist's curves at one vertex.
fn base_marks(field: &Field, vertex: u32, marked: &[(u32, u16)], at: &AtVertex) -> VertexMarks {
    let &AtVertex {
        turn,
        is_end,
        known,
        unusual,
    } = at;
    let boundary = field.topology.is_boundary_vertex(vertex);
    let angles: Vec<f64> = marked
        .iter()
        .map(|m| field.frames.of_edge(&field.topology, m.0, vertex))
        .collect();
    let n = marked.len();
    let sectors = if boundary { n - 1 } else { n };
    let quarters: Vec<u8> = match (sectors, turn) {
        (0, _) => Vec::new(),
        (1, _) if boundary && known.is_some() => known.into_iter().collect(),
        (1, None) if boundary && !is_end => vec![2],
        (1, Some(turn)) if boundary => vec![
            (2.0 - turn / std::f64::consts::FRAC_PI_2)
                .round()
                .clamp(1.0, 3.0) as u8,
        ],
        (1, _) if !boundary => vec![4],
        (2, None) if !boundary && !is_end => vec![2, 2],
        (2, Some(_)) if !boundary => {
            let span = (angles[1] - angles[0]).rem_euclid(std::f64::consts::TAU);
            if span < std::f64::consts::PI {
                vec![1, 3]
            } else {
                vec![3, 1]
            }
        }
        _ => {
            let spans: Vec<f64> = (0..sectors)
                .map(|i| (angles[(i + 1) % n] - angles[i]).rem_euclid(std::f64::consts::TAU))
                .collect();
            let usual = if boundary {
                known.map(|known| (i32::from(known), unusual))
            } else {
                Some((4, unusual))
            };
            nearest_quarters(&spans, usual)
        }
    };
    let mut slot = 0;
    let mut marks = Vec::with_capacity(n);
    for (i, &(edge, place)) in marked.iter().enumerate() {
        marks.push(Mark { edge, place, slot });
        slot += quarters.get(i).copied().unwrap_or(0);
    }
    VertexMarks {
        marks,
        total: slot,
        corner: turn.is_some() || (is_end && n == 2),
    }
}

/// Whole quarters >= 1 nearest to the spans; another total than four costs a little, if anything,
/// so that a T stays a T and three curves at thirds of a turn make a three-pole.
fn nearest_quarters(spans: &[f64], usual: Option<(i32, f64)>) -> Vec<u8> {
    let exact: Vec<f64> = spans
        .iter()
        .map(|s| s / std::f64::consts::FRAC_PI_2)
        .collect();
    let start: Vec<i32> = exact
        .iter()
        .map(|q| (q.round() as i32).clamp(1, 4))
        .collect();
    let cost = |q: &[i32]| -> f64 {
        let misfit: f64 = q
            .iter()
            .zip(&exact)
            .map(|(a, b)| (f64::from(*a) - b).powi(2))
            .sum();
        let total: i32 = q.iter().sum();
        misfit + usual.map_or(0.0, |(u, cost)| cost * f64::from((total - u).abs()))
    };
    let mut best = start;
    loop {
        let mut better: Option<Vec<i32>> = None;
        for i in 0..best.len() {
            for step in [-1, 1] {
                let mut other = best.clone();
                other[i] = (other[i] + step).clamp(1, 4);
                if cost(&other) + 1e-9 < cost(better.as_ref().unwrap_or(&best)) {
                    better = Some(other);
                }
            }
        }
        match better {
            Some(other) => best = other,
            None => return best.iter().map(|&q| q as u8).collect(),
        }
    }
}

/// Where a chain turns a corner within the surface: signed turning (radians, left positive)
/// at the sharpest vertex of each corner. And those of them that are doubtful, each with the vertex beside it
/// where another curve ends.
///
/// Turning is measured in the surface, as half a turn less the angles on the chain's left,
/// summed over a third of a quad to either side: so a hem that runs over a sharp fold
/// doesn't turn, and a corner that is rounded by less than half a quad does.
fn corner_turns(
    surface: &WorkSurface,
    field: &Field,
    may_turn: &[bool],
    is_end: &[bool],
    quad_edge: f64,
) -> (Vec<Option<f64>>, Vec<[u32; 2]>) {
    let mut turns = vec![None; surface.positions.len()];
    let mut doubtful = Vec::new();
    for (c, chain) in surface.chains.iter().enumerate() {
        let n = chain.vertices.len();
        if n < 4 || !may_turn[c] {
            continue;
        }
        let mut single: Vec<f64> = (0..n)
            .map(|i| turning_at(surface, field, &chain.vertices, chain.closed, i))
            .collect();
        if chain.closed {
            // What a loop turns all around (the rim of a cone or a cap) makes no corner.
            let mean = single.iter().sum::<f64>() / n as f64;
            single.iter_mut().for_each(|turn| *turn -= mean);
        }
        let reach = ((0.35 * quad_edge / surface.edge.max(1e-12)).round() as usize).clamp(1, n / 4);
        let near = |i: usize, d: i64| -> Option<usize> {
            let j = i as i64 + d;
            if chain.closed {
                Some(j.rem_euclid(n as i64) as usize)
            } else {
                usize::try_from(j).ok().filter(|&j| j < n)
            }
        };
        let length = super::trace::run_length(&surface.positions, &chain.vertices);
        let (least_turn, least_lasting) = if chain.closed && length < TIGHT_LOOP_QUADS * quad_edge {
            (TIGHT_CORNER_TURN, 0.85 * TIGHT_CORNER_TURN)
        } else {
            (CORNER_TURN, CORNER_LASTS)
        };
        let window = reach as i64;
        let edges = |quads: f64| {
            let edges = (quads * quad_edge / surface.edge.max(1e-12)).round();
            (edges as usize).clamp(1, n / 4) as i64
        };
        let over = |i: usize, reach: i64| -> f64 {
            let places = (-reach..=reach).filter_map(|d| near(i, d));
            places.map(|j| single[j]).sum()
        };
        let others_end = |i: usize| {
            let own = !chain.closed && (i == 0 || i + 1 == n);
            is_end[chain.vertices[i] as usize] && !own
        };
        let summed: Vec<f64> = (0..n).map(|i| over(i, window)).collect();
        let mut here: Vec<usize> = Vec::new();
        for i in 0..n {
            let lasting = over(i, edges(1.0));
            if summed[i].abs() < least_turn || lasting * summed[i].signum() < least_lasting {
                continue;
            }
            // The sharpest of its neighbourhood; of equal ones the sharpest by itself, then the first.
            // Sums over windows that hold the same corner differ by rounding only: that makes them equal.
            let rank = |j: usize| ((summed[j].abs() * 1e6).round(), single[j].abs());
            let sharpest = (1..=3 * window).all(|d| {
                near(i, -d).is_none_or(|j| rank(j) < rank(i))
                    && near(i, d).is_none_or(|j| rank(j) <= rank(i) || j == i)
            });
            if sharpest {
                turns[chain.vertices[i] as usize] = Some(summed[i]);
                here.push(i);
                let beside = (1..=edges(AT_AN_END)).flat_map(|d| [near(i, -d), near(i, d)]);
                let end = beside.flatten().find(|&j| others_end(j));
                let lasts = over(i, edges(ENDS_LAST)) * summed[i].signum() >= least_lasting;
                doubtful.extend(
                    end.filter(|_| !lasts)
                        .map(|j| [i, j].map(|k| chain.vertices[k])),
                );
            }
        }
        // Round a loop with one corner alone, the row along it would come back to that corner and cross
        // itself there: without the corner it closes.
        if chain.closed
            && let [one] = here[..]
            && !chain.vertices.iter().any(|&v| is_end[v as usize])
        {
            turns[chain.vertices[one] as usize] = None;
        }
    }
    (turns, doubtful)
}

/// Turning of a chain at one of its vertices: half a turn less the angle on its left, or the
/// angle on its right less half a turn where there is no surface on the left. Angles inside
/// are scaled to a full turn.
fn turning_at(surface: &WorkSurface, field: &Field, chain: &[u32], closed: bool, i: usize) -> f64 {
    let n = chain.len();
    if !closed && (i == 0 || i + 1 == n) {
        return 0.0;
    }
    let (before, here, after) = (chain[(i + n - 1) % n], chain[i], chain[(i + 1) % n]);
    let topology = &field.topology;
    let place = |v: u32| surface.positions[v as usize];
    // Anticlockwise from the way ahead to the way back: the chain's left side.
    let (mut left, mut all) = (None, 0.0);
    let mut since = None;
    let fan: Vec<u32> = topology.fan(here).collect();
    for &h in fan.iter().chain(&fan) {
        if topology.to(h) == after && since.is_none() {
            since = Some(0.0);
        }
        let (one, two) = (
            place(topology.to(h)) - place(here),
            place(topology.from(topology.prev(h))) - place(here),
        );
        let angle = one.cross(two).length().atan2(one.dot(two));
        all += angle / 2.0;
        if let Some(sum) = since.as_mut() {
            *sum += angle;
            if topology.from(topology.prev(h)) == before && left.is_none() {
                left = Some(*sum);
            }
        }
    }
    let half = std::f64::consts::PI;
    if topology.is_boundary_vertex(here) {
        // Either all of the surface is on the left, or all on the right.
        let ahead_first = fan.first().is_some_and(|&h| topology.to(h) == after);
        return if ahead_first { half - all } else { all - half };
    }
    left.map_or(0.0, |left| {
        half - left * std::f64::consts::TAU / all.max(1e-9)
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::f64::consts::PI;

    #[test]
    fn quarters_keep_a_t_and_see_a_y() {
        let t = [PI * 0.77, PI * 0.23, PI];
        assert_eq!(nearest_quarters(&t, Some((4, UNUSUAL))), [1, 1, 2]);
        let y = [PI * 2.0 / 3.0; 3];
        assert_eq!(nearest_quarters(&y, Some((4, UNUSUAL))), [1, 1, 1]);
        let cross = [PI / 2.0; 4];
        assert_eq!(nearest_quarters(&cross, Some((4, UNUSUAL))), [1, 1, 1, 1]);
    }

    #[test]
    fn rings_that_cross_at_a_slant_have_no_pole_there() {
        let slant = [PI / 9.0, PI * 8.0 / 9.0, PI / 9.0, PI * 8.0 / 9.0];
        assert_eq!(nearest_quarters(&slant, Some((4, UNUSUAL))), [1, 2, 1, 2]);
        assert_eq!(
            nearest_quarters(&slant, Some((4, RINGS_CROSS))),
            [1, 1, 1, 1]
        );
    }
}
