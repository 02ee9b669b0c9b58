//! The cloth of a trim: rows of places from deep within to its edge, and the way to the parallel
//! wall at each.

use mesh::{DVec3, QuadTopology};

use super::profile::Profile;
use super::{Direction, Placed, Side, TrimError, TrimInput, follow, parallel};

/// Rows before the opening whose middles give the axis of a limb.
const AXIS_ROWS: usize = 3;
/// A direction within 30° of straight back into the surface leads nowhere.
const BACK: f64 = -0.866;
/// The deepest row is left out if less than this share of it would stay.
const SLIVER: f64 = 0.25;
/// Rounds of averaging directions along the run: a kink in one row of quads isn't meant.
const SMOOTHING: usize = 2;

/// The cloth of a trim. Rows rise from within to the edge; each has a place for each vertex of the
/// run.
#[derive(Clone, Debug)]
pub(super) struct Cloth {
    /// Places, model units.
    pub rows: Vec<Vec<DVec3>>,
    /// From a place to the parallel wall, for a thickness of 1.
    pub offsets: Vec<Vec<DVec3>>,
    /// The row at the opening.
    pub base: usize,
    /// Away from the cloth at its edge, unit.
    pub out: Vec<DVec3>,
    /// Rows beyond the opening that lie on the sculpt.
    pub followed: usize,
    /// Of cloth that is turned in, how far its deepest row lies from the one before it towards the
    /// surface's own next row.
    pub cut: f64,
}

/// Surroundings of a run.
pub(super) struct Run<'a> {
    pub placed: &'a Placed,
    pub at: Vec<DVec3>,
    /// The surface's unit normal.
    normal: Vec<DVec3>,
    /// Away from the surface, along it.
    away: Vec<DVec3>,
    /// Vertices straight into the surface, the opening's own first.
    pub inward: Vec<Vec<u32>>,
}

impl<'a> Run<'a> {
    /// `placed` must run with the surface on its left.
    pub fn new(input: &TrimInput<'_>, topology: &QuadTopology, placed: &'a Placed) -> Self {
        let (positions, quads) = (&input.surface.positions, &input.surface.quads);
        let at: Vec<DVec3> = placed.run.iter().map(|&v| positions[v as usize]).collect();
        let mut sums = vec![DVec3::ZERO; positions.len()];
        for quad in quads {
            let [a, b, c, d] = quad.map(|v| positions[v as usize]);
            let face = (c - a).cross(d - b).normalize_or_zero();
            quad.iter().for_each(|&v| sums[v as usize] += face);
        }
        let normal: Vec<DVec3> = placed.run.iter().map(|&v| sums[v as usize]).collect();
        let normal: Vec<DVec3> = normal.iter().map(|n| n.normalize_or_zero()).collect();
        let along = tangents(&at, placed.closed);
        let away: Vec<DVec3> = (0..at.len())
            .map(|i| along[i].cross(normal[i]).normalize_or_zero())
            .collect();
        let inward = columns(topology, quads, placed);
        Self {
            placed,
            at,
            normal,
            away: smoothed(away, placed.closed),
            inward,
        }
    }

    /// Where the trim is headed at each vertex, flare included; unit.
    fn ways(&self, input: &TrimInput<'_>) -> Result<Vec<DVec3>, TrimError> {
        let trim = &self.placed.trim;
        let plain: Vec<DVec3> = match (trim.side, trim.direction) {
            // Straight on in each column: a kink between the last row and its short edge would fold
            // the wall behind it.
            (Side::Within, _) => {
                let straight = |i: usize| match self.inward[i].get(1) {
                    Some(&v) => (self.at[i] - input.surface.positions[v as usize])
                        .normalize_or(self.away[i]),
                    None => self.away[i],
                };
                (0..self.at.len()).map(straight).collect()
            }
            (_, Direction::Surface) => self.away.clone(),
            (_, Direction::Axis) => vec![self.axis(input); self.at.len()],
            (_, Direction::Fixed(way)) => vec![way.normalize_or_zero(); self.at.len()],
        };
        let flare = match trim.side {
            Side::Beyond => trim.flare_deg.to_radians(),
            Side::Within | Side::Upon => 0.0,
        };
        let along = tangents(&self.at, self.placed.closed);
        let way = |i: usize| {
            let (way, along) = (plain[i], along[i].normalize_or_zero());
            let outward = (self.normal[i] - self.normal[i].dot(way) * way).normalize_or_zero();
            let leads = way.dot(self.away[i]) > BACK && way.cross(along).length() > 0.3;
            if !leads || (outward == DVec3::ZERO && flare != 0.0) {
                return Err(TrimError::Direction {
                    trim: trim.name.clone(),
                    at: self.at[i].to_array(),
                });
            }
            Ok(flare.cos() * way + flare.sin() * outward)
        };
        (0..self.at.len()).map(way).collect()
    }

    /// Through the middles of the rows before the opening; of an opening with no rows before it,
    /// the mean of the ways on.
    fn axis(&self, input: &TrimInput<'_>) -> DVec3 {
        let least = self.inward.iter().map(Vec::len).min().unwrap_or(0);
        let back = AXIS_ROWS.min(least.saturating_sub(1));
        if !self.placed.closed || back == 0 {
            return self.away.iter().sum::<DVec3>().normalize_or_zero();
        }
        let row: Vec<DVec3> = self
            .inward
            .iter()
            .map(|column| input.surface.positions[column[back] as usize])
            .collect();
        let middle = |points: &[DVec3]| mesh::runs::centroid(points, true);
        (middle(&self.at) - middle(&row)).normalize_or_zero()
    }

    /// The surface's own rows to a depth (model units), deepest first, without the opening's; each
    /// with its offsets in the second list.
    fn rows_within(&self, input: &TrimInput<'_>, depth: f64) -> Result<Vec<Vec<DVec3>>, TrimError> {
        let place = |v: u32| input.surface.positions[v as usize];
        let n = self.at.len() as f64;
        let mut rows = vec![self.at.clone()];
        let mut gone = 0.0;
        loop {
            let row = rows.len();
            if let Some(short) = self.inward.iter().position(|c| c.len() <= row) {
                return Err(TrimError::TooDeep {
                    trim: self.placed.trim.name.clone(),
                    height: depth,
                    most: gone,
                    at: self.at[short].to_array(),
                });
            }
            let next: Vec<DVec3> = self.inward.iter().map(|c| place(c[row])).collect();
            let last = &rows[row - 1];
            let step = next
                .iter()
                .zip(last)
                .map(|(a, b)| a.distance(*b))
                .sum::<f64>()
                / n;
            rows.push(next);
            gone += step;
            if gone >= depth {
                break;
            }
        }
        rows.reverse();
        rows.pop();
        Ok(rows)
    }
}

impl Cloth {
    /// The cloth of a trim, as thick as asked or not.
    pub fn new(input: &TrimInput<'_>, run: &Run<'_>, profile: &Profile) -> Result<Self, TrimError> {
        let trim = &run.placed.trim;
        let ways = run.ways(input)?;
        if trim.side == Side::Within {
            return Self::turned_in(input, run, profile, &ways);
        }
        let mut rows = vec![run.at.clone()];
        let mut followed = 0;
        if let (true, Some(sculpt)) = (trim.follow, input.sculpt) {
            let found: Vec<Vec<DVec3>> = (0..run.at.len())
                .map(|i| {
                    let (at, up) = (run.at[i], run.normal[i]);
                    follow::along(sculpt, at, up, ways[i], &profile.heights)
                })
                .collect();
            followed = found.iter().map(Vec::len).min().unwrap_or(0);
            for k in 0..followed {
                rows.push(found.iter().map(|column| column[k]).collect());
            }
        }
        for k in followed..profile.heights.len() {
            let before = if k == 0 { 0.0 } else { profile.heights[k - 1] };
            let step = profile.heights[k] - before;
            let last = &rows[rows.len() - 1];
            rows.push(
                last.iter()
                    .zip(&ways)
                    .map(|(p, way)| *p + step * *way)
                    .collect(),
            );
        }
        Ok(Self::beyond(
            rows,
            &ways,
            followed,
            profile,
            run.placed.closed,
        ))
    }

    /// Cloth that goes on from its opening, which is its first row; `ways` lead on where it has no
    /// other row.
    fn beyond(
        mut rows: Vec<Vec<DVec3>>,
        ways: &[DVec3],
        followed: usize,
        profile: &Profile,
        closed: bool,
    ) -> Self {
        if profile.holds && rows.len() >= 3 {
            straighten(&mut rows, profile);
        }
        let top = rows.len() - 1;
        let out = (0..ways.len()).map(|i| {
            if top == 0 {
                ways[i]
            } else {
                (rows[top][i] - rows[top - 1][i]).normalize_or(ways[i])
            }
        });
        Self {
            out: out.collect(),
            offsets: offsets(&rows, closed),
            rows,
            base: 0,
            followed,
            cut: 1.0,
        }
    }

    /// The same cloth once its rows from the deepest to the opening's, or all of them if it goes on
    /// from the opening, are elsewhere: parallel wall and edge follow anew. `ways` lead straight on
    /// at the opening.
    pub fn moved(
        &self,
        rows: Vec<Vec<DVec3>>,
        ways: &[DVec3],
        profile: &Profile,
        closed: bool,
    ) -> Self {
        if self.base == 0 {
            Self::beyond(rows, &self.out, self.followed, profile, closed)
        } else {
            Self::within(rows, ways, self.cut, profile, closed)
        }
    }

    /// The cloth of a trim that is turned in: the surface's own rows, then a short edge beyond the
    /// opening, parallel to the wall as the opening's row is.
    fn turned_in(
        input: &TrimInput<'_>,
        run: &Run<'_>,
        profile: &Profile,
        ways: &[DVec3],
    ) -> Result<Self, TrimError> {
        let mut rows = run.rows_within(input, run.placed.trim.height)?;
        rows.push(run.at.clone());
        // Cut first: quads beyond the deepest row have no say in where the wall goes.
        let (rows, cut) = cut_to(rows, run.placed.trim.height);
        Ok(Self::within(rows, ways, cut, profile, run.placed.closed))
    }

    fn within(
        rows: Vec<Vec<DVec3>>,
        ways: &[DVec3],
        cut: f64,
        profile: &Profile,
        closed: bool,
    ) -> Self {
        let base = rows.len() - 1;
        let offsets = offsets(&rows, closed);
        let out = ways.iter().zip(&offsets[base]).map(|(way, offset)| {
            let inward = offset.normalize_or_zero();
            (way - way.dot(inward) * inward).normalize_or(*way)
        });
        let cloth = Self {
            out: out.collect(),
            rows,
            offsets,
            base,
            followed: 0,
            cut,
        };
        cloth.edged(profile)
    }

    /// Adds the rows of a profile straight on.
    fn edged(mut self, profile: &Profile) -> Self {
        for &height in &profile.heights {
            let row = self.rows[self.base].iter().zip(&self.out);
            let row = row.map(|(p, out)| *p + height * *out).collect();
            self.rows.push(row);
            self.offsets.push(self.offsets[self.base].clone());
        }
        self
    }

    /// The least local radius (model units) and where it is.
    pub fn tightest(&self) -> (f64, DVec3) {
        let mut least = (f64::INFINITY, DVec3::ZERO);
        // The short edge of cloth that is turned in bends as the opening's row does.
        let rows = if self.base > 0 {
            &self.rows[..=self.base]
        } else {
            &self.rows
        };
        for (row, offsets) in rows.iter().zip(&self.offsets) {
            for (&at, offset) in row.iter().zip(offsets) {
                let others = rows.iter().flatten().copied();
                let others = others.filter(|p| *p != at);
                let radius = parallel::radius(at, offset.normalize_or_zero(), others);
                if radius < least.0 {
                    least = (radius, at);
                }
            }
        }
        least
    }
}

/// Shortens rows that rise to an opening to a depth (model units), by the same share in every column,
/// and tells how much of the deepest row is left.
fn cut_to(mut rows: Vec<Vec<DVec3>>, depth: f64) -> (Vec<Vec<DVec3>>, f64) {
    let step = |r: usize| {
        let pairs = rows[r].iter().zip(&rows[r + 1]);
        pairs.map(|(a, b)| a.distance(*b)).sum::<f64>() / rows[r].len() as f64
    };
    let base = rows.len() - 1;
    let rest: f64 = (1..base).map(step).sum();
    let last = step(0);
    let share = if last > 0.0 {
        ((depth - rest) / last).clamp(0.0, 1.0)
    } else {
        1.0
    };
    // A sliver of a row makes no good quads: the row before it ends the cloth.
    if base > 1 && share < SLIVER {
        rows.remove(0);
        return (rows, 1.0);
    }
    let next = rows[1].clone();
    for (far, near) in rows[0].iter_mut().zip(next) {
        *far = near.lerp(*far, share);
    }
    (rows, share)
}

/// Puts the row that holds a corner straight between the one before it and the edge.
fn straighten(rows: &mut [Vec<DVec3>], profile: &Profile) {
    let n = profile.heights.len();
    let height = |k: usize| if k == 0 { 0.0 } else { profile.heights[k - 1] };
    let share = (height(n - 1) - height(n - 2)) / (height(n) - height(n - 2));
    let top = rows.len() - 1;
    for i in 0..rows[top].len() {
        rows[top - 1][i] = rows[top - 2][i].lerp(rows[top][i], share);
    }
}

/// Way to the parallel wall at every place, for a thickness of 1.
pub(super) fn offsets(rows: &[Vec<DVec3>], closed: bool) -> Vec<Vec<DVec3>> {
    let n = rows[0].len();
    // Of a bent quad, the plane at the corner: that of its bilinear patch there.
    let face = |(r, i): (usize, usize), (row, column): (usize, usize)| {
        let j = (i + 1) % n;
        let quad = [rows[r][j], rows[r][i], rows[r + 1][i], rows[r + 1][j]];
        let corner = match (row == r, column == i) {
            (true, false) => 0,
            (true, true) => 1,
            (false, true) => 2,
            (false, false) => 3,
        };
        let (ahead, behind) = (quad[(corner + 1) % 4], quad[(corner + 3) % 4]);
        let at = quad[corner];
        (ahead - at).cross(behind - at).normalize_or_zero()
    };
    let columns = |i: usize| {
        let before = if closed {
            Some((i + n - 1) % n)
        } else {
            i.checked_sub(1)
        };
        let after = (closed || i + 1 < n).then_some(i);
        before.into_iter().chain(after)
    };
    let place = |r: usize, i: usize| {
        let bands = r.saturating_sub(1)..(r + 1).min(rows.len() - 1);
        let faces: Vec<DVec3> = bands
            .flat_map(|band| columns(i).map(move |column| (band, column)))
            .map(|quad| face(quad, (r, i)))
            .filter(|n| *n != DVec3::ZERO)
            .collect();
        parallel::offset(&faces)
    };
    (0..rows.len())
        .map(|r| (0..n).map(|i| place(r, i)).collect())
        .collect()
}

/// Unit directions along a run.
fn tangents(at: &[DVec3], closed: bool) -> Vec<DVec3> {
    let n = at.len();
    let place = |i: usize| {
        let (before, after) = if closed {
            ((i + n - 1) % n, (i + 1) % n)
        } else {
            (i.saturating_sub(1), (i + 1).min(n - 1))
        };
        let ahead = (at[after] - at[i]).normalize_or_zero();
        let behind = (at[i] - at[before]).normalize_or_zero();
        (ahead + behind).normalize_or_zero()
    };
    (0..n).map(place).collect()
}

fn smoothed(mut ways: Vec<DVec3>, closed: bool) -> Vec<DVec3> {
    let n = ways.len();
    for _ in 0..SMOOTHING {
        let mean = |i: usize| {
            let (before, after) = match (closed, i) {
                (true, _) => ((i + n - 1) % n, (i + 1) % n),
                (false, _) => (i.saturating_sub(1), (i + 1).min(n - 1)),
            };
            (ways[before] + 2.0 * ways[i] + ways[after]).normalize_or(ways[i])
        };
        ways = (0..n).map(mean).collect();
    }
    ways
}

/// From each vertex of the run straight into the surface on its left: across from edge to opposite
/// edge, until a pole or the boundary.
pub(super) fn columns(
    topology: &QuadTopology,
    quads: &[[u32; 4]],
    placed: &Placed,
) -> Vec<Vec<u32>> {
    let n = placed.run.len();
    let mut corner_of: std::collections::BTreeMap<(u32, u32), u32> = Default::default();
    for (q, quad) in quads.iter().enumerate() {
        for i in 0..4 {
            corner_of.insert((quad[i], quad[(i + 1) % 4]), (4 * q + i) as u32);
        }
    }
    let from = |corner: u32| quads[corner as usize / 4][corner as usize % 4];
    let next = |corner: u32| corner / 4 * 4 + (corner + 1) % 4;
    let column = |i: usize| {
        let v = placed.run[i];
        let mut found = vec![v];
        // The quad on the left of an edge of the run; its side that leads inward from `v`.
        let (ahead, behind) = (placed.run[(i + 1) % n], placed.run[(i + n - 1) % n]);
        let last = i + 1 == n && !placed.closed;
        let first = i == 0 && !placed.closed;
        let mut side = if !last {
            // Of the quad over (v, ahead), the side before it runs toward `v`.
            match corner_of.get(&(v, ahead)) {
                Some(&c) => {
                    let before = c / 4 * 4 + (c + 3) % 4;
                    from(before)
                }
                None => return found,
            }
        } else {
            match corner_of.get(&(behind, v)) {
                Some(&c) => from(next(next(c))),
                None => return found,
            }
        };
        let valence = match topology.on_boundary[v as usize] {
            true if first || last => 2..=3,
            true => 3..=3,
            false => 4..=4,
        };
        if !valence.contains(&topology.valence[v as usize]) {
            return found;
        }
        let mut at = v;
        while found.len() <= quads.len() {
            found.push(side);
            let regular = if topology.on_boundary[side as usize] {
                // Along a boundary that runs inward at the run's end.
                (first || last) && topology.valence[side as usize] == 3
            } else {
                topology.valence[side as usize] == 4
            };
            if !regular {
                break;
            }
            let on = if topology.on_boundary[side as usize] {
                boundary_on(topology, at, side)
            } else {
                // Across the quad on the left of the edge, then its neighbour's.
                let left = corner_of.get(&(at, side));
                let twin = left.and_then(|&c| topology.twin[next(c) as usize]);
                twin.map(|twin| from(next(next(twin))))
            };
            let Some(on) = on else { break };
            (at, side) = (side, on);
        }
        found
    };
    (0..n).map(column).collect()
}

/// The vertex after `side` along the boundary that comes from `at`.
fn boundary_on(topology: &QuadTopology, at: u32, side: u32) -> Option<u32> {
    let mut edges = topology.edges.iter().zip(&topology.face_count);
    let other = edges.find(|(e, n)| **n == 1 && e.contains(&side) && !e.contains(&at));
    other.map(|(e, _)| e[0] + e[1] - side)
}
