//! A band: cloth laid upon the surface along a loop within it, as a belt or a strap is.
//!
//! It is a shell of its own, closed all round: two walls a thickness apart with a rim on either side.
//! Its inner wall has the loops of the cloth beneath it and lies just off them. The cloth itself stays
//! whole: were its quads the inner wall, three faces would meet along both rims; were they left out,
//! the surface would no longer be what its guides, holds and hands made.
//!
//! ```text
//!            ╭──────────────╮ outer wall
//!        rim │              │ rim
//!            ╰──────────────╯ inner wall
//!      ══════════════╪═════════════ cloth
//!                   loop
//! ```
//!
//! A rounded rim lies over the inner wall, not beyond it: cloth that rises there isn't met.

mod rows;
#[cfg(test)]
mod tests;
mod woven;

use std::collections::BTreeMap;

use mesh::{DVec3, QuadTopology};

use super::built::Step;
use super::cloth::offsets;
use super::profile::Profile;
use super::{Placed, TrimError, TrimInput, parallel};
use rows::{Spot, rows, spots};

/// How far the inner wall lies off the cloth, as a share of the thickness, and how much further for
/// each unit that the cloth's quads are bent: a bent quad has two ways of being cut in triangles.
pub(super) const LIFT: f64 = 0.04;
pub(super) const BENT: f64 = 1.1;

/// Vertices of a band across its loop.
#[derive(Clone, Debug, Default)]
pub(super) struct Section {
    /// From the left of the loop to its right.
    pub outer: Vec<u32>,
    pub inner: Vec<u32>,
    /// Rims, from the outer to the inner wall.
    pub left: Vec<u32>,
    pub right: Vec<u32>,
}

impl Section {
    /// All around: over the outer wall to the right, and back.
    pub fn around(&self) -> Vec<u32> {
        let over = self.outer.iter().chain(&self.right);
        let back = self.inner.iter().rev().chain(self.left.iter().rev());
        over.chain(back).copied().collect()
    }

    /// The rim at a row, if there is one.
    pub fn rim(&self, row: usize) -> Option<&[u32]> {
        match row {
            0 => Some(&self.left),
            _ if row + 1 == self.outer.len() => Some(&self.right),
            _ => None,
        }
    }
}

/// How a band's vertices follow from the cloth beneath.
#[derive(Clone, Debug)]
pub(super) struct Band {
    pub thickness: f64,
    pub profile: Profile,
    pub closed: bool,
    /// Rows of places from the left of the loop to its right; each has one for each vertex of the run.
    pub rows: Vec<Vec<Spot>>,
    /// The row of the loop itself.
    middle: usize,
    /// How often ways from the loop to the other rows were averaged along it.
    pub eased: u32,
    /// Those over which the edges of the outer wall are, left and right.
    tops: [Vec<Spot>; 2],
    /// Of each vertex of the run its section, where that is built.
    pub sections: Vec<Option<Section>>,
    /// Vertices within end walls, with those of the outer and the inner wall that they lie between,
    /// and their share of the way.
    pub between: Vec<([u32; 3], f64)>,
}

/// A band's places, each row by row.
pub(super) struct Shape {
    pub outer: Vec<Vec<DVec3>>,
    pub inner: Vec<Vec<DVec3>>,
    /// How far rims lead away from the loop, at its left and its right edge.
    out: [Vec<DVec3>; 2],
}

impl Shape {
    /// The vertices of a rim, right or left, between two corners of a column.
    pub fn rim(&self, profile: &Profile, right: bool, i: usize, ends: [DVec3; 2]) -> Vec<DVec3> {
        profile.rim_between(ends[0], ends[1], self.out[usize::from(right)][i])
    }
}

impl Band {
    /// The band of a trim on the surface as it is, without vertices yet.
    pub fn new(
        input: &TrimInput<'_>,
        topology: &QuadTopology,
        placed: &Placed,
        image: &[u32],
        eased: u32,
    ) -> Result<Self, TrimError> {
        let trim = &placed.trim;
        let (rows, tops) = rows(input.surface, topology, placed, image)?;
        let band = Self {
            thickness: trim.thickness,
            profile: Profile::upon(trim),
            closed: placed.closed,
            middle: rows
                .iter()
                .position(|row| row[0].from == row[0].to)
                .unwrap_or(0),
            eased,
            rows,
            tops,
            sections: Vec::new(),
            between: Vec::new(),
        };
        let positions = &input.surface.positions;
        let (radius, at) = band.tightest(positions);
        let most = parallel::SHARE * radius / (1.0 + LIFT);
        if trim.thickness > most {
            return Err(TrimError::TooThick {
                trim: trim.name.clone(),
                thickness: trim.thickness,
                radius,
                most,
                at: at.to_array(),
            });
        }
        Ok(band)
    }

    fn places(&self, positions: &[DVec3]) -> Vec<Vec<DVec3>> {
        self.rows.iter().map(|row| spots(row, positions)).collect()
    }

    /// Places led straight over folds of the cloth: ways from the loop are averaged along it, and keep
    /// their lengths.
    fn eased(&self, rows: &[Vec<DVec3>]) -> Vec<Vec<DVec3>> {
        let middle = &rows[self.middle];
        let row = |row: &Vec<DVec3>| -> Vec<DVec3> {
            let own: Vec<DVec3> = row.iter().zip(middle).map(|(p, m)| *p - *m).collect();
            let mut ways = own.clone();
            for _ in 0..self.eased {
                ways = averaged(&ways, self.closed);
            }
            let led = |i: usize| ways[i].normalize_or_zero() * own[i].length();
            (0..row.len()).map(|i| middle[i] + led(i)).collect()
        };
        match self.eased {
            0 => rows.to_vec(),
            _ => rows.iter().map(row).collect(),
        }
    }

    /// Both walls on the cloth as it is.
    pub fn shape(&self, positions: &[DVec3]) -> Shape {
        let on_cloth = self.places(positions);
        let under = self.eased(&on_cloth);
        let lifts = self.lifts(positions, &on_cloth, &under);
        let inner = self.raised(&under, |i| lifts[i]);
        // Where the outer wall ends, the inner one's place over the same cloth.
        let mut over = inner.clone();
        let top = under.len() - 1;
        let mut out = [
            vec![DVec3::ZERO; under[0].len()],
            vec![DVec3::ZERO; under[0].len()],
        ];
        for (side, edge, next) in [(0, 0, 1), (1, top, top - 1)] {
            let tops = spots(&self.tops[side], positions);
            for (i, at) in tops.into_iter().enumerate() {
                let all = on_cloth[edge][i].distance(on_cloth[next][i]);
                let back = on_cloth[edge][i].distance(at) / all;
                if back > 0.0 {
                    over[edge][i] = inner[edge][i].lerp(inner[next][i], back);
                    out[side][i] = inner[edge][i] - over[edge][i];
                }
            }
        }
        let outer = self.raised(&over, |_| self.thickness);
        Shape { inner, outer, out }
    }

    /// Places so far off the cloth through others.
    fn raised(&self, rows: &[Vec<DVec3>], by: impl Fn(usize) -> f64) -> Vec<Vec<DVec3>> {
        // Ways to a parallel wall within the cloth: the band lies without.
        let ways = offsets(rows, self.closed);
        let place = |row: usize, i: usize| rows[row][i] - by(i) * ways[row][i];
        let row = |row: usize| (0..rows[row].len()).map(|i| place(row, i)).collect();
        (0..rows.len()).map(row).collect()
    }

    /// How far off the cloth the inner wall lies in each column: as far as triangles of the wall may lie
    /// within those of the cloth's quads beneath, whichever way these are cut, and as places that are led
    /// over a fold lie off it; model units.
    fn lifts(&self, positions: &[DVec3], on_cloth: &[Vec<DVec3>], rows: &[Vec<DVec3>]) -> Vec<f64> {
        let n = rows[0].len();
        let mut lifts = vec![LIFT * self.thickness; n];
        for k in 0..rows.len() - 1 {
            // The row of quads that holds the strip is that of its outer places.
            let spots = &self.rows[if k < self.middle { k } else { k + 1 }];
            for (i, j) in mesh::runs::pieces(n, self.closed) {
                let own = [rows[k][j], rows[k][i], rows[k + 1][i], rows[k + 1][j]];
                let under = [spots[j].from, spots[i].from, spots[i].to, spots[j].to];
                let under = under.map(|v| positions[v as usize]);
                let cloth = |row: usize, column: usize| on_cloth[row][column];
                let cloth = [cloth(k, j), cloth(k, i), cloth(k + 1, i), cloth(k + 1, j)];
                let bent = BENT * (warp(own) + warp(under)) / 2.0;
                let lift = LIFT * self.thickness + bent + depth(own, cloth);
                for i in [i, j] {
                    lifts[i] = lifts[i].max(lift);
                }
            }
        }
        lifts
    }

    /// The least radius to which the cloth bends towards the band (model units), and where: told by
    /// the cloth's own loops, whole rows of quads apart.
    fn tightest(&self, positions: &[DVec3]) -> (f64, DVec3) {
        let last = self.rows.len() - 1;
        let is_loop = |row: &[Spot]| row.iter().all(|spot| spot.share.fract() == 0.0);
        let whole = |(k, row): (usize, &Vec<Spot>)| -> Option<Vec<DVec3>> {
            let beyond = |spot: &Spot| positions[spot.to as usize];
            let edge = k == 0 || k == last;
            let row = (edge || is_loop(row)).then_some(row)?;
            Some(
                row.iter()
                    .map(|s| if edge { beyond(s) } else { s.at(positions) })
                    .collect(),
            )
        };
        let rows: Vec<Vec<DVec3>> = self.rows.iter().enumerate().filter_map(whole).collect();
        let ways = offsets(&rows, self.closed);
        let mut least = (f64::INFINITY, DVec3::ZERO);
        for (row, ways) in rows.iter().zip(&ways).skip(1).take(rows.len() - 2) {
            for (&at, way) in row.iter().zip(ways) {
                let others = rows.iter().flatten().copied().filter(|p| *p != at);
                let radius = parallel::radius(at, -way.normalize_or_zero(), others);
                if radius < least.0 {
                    least = (radius, at);
                }
            }
        }
        least
    }

    /// Each vertex with the one of the cloth that it follows, on the side that is built.
    pub fn pairs(&self) -> Vec<[u32; 2]> {
        let mut pairs = Vec::new();
        let mut leader_of = BTreeMap::new();
        for (i, section) in self.sections.iter().enumerate() {
            let Some(section) = section else { continue };
            for (row, spots) in self.rows.iter().enumerate() {
                let leader = spots[i].leader();
                let walls = [section.outer[row], section.inner[row]];
                let rim = section.rim(row).unwrap_or_default();
                pairs.extend(walls.iter().chain(rim).map(|&v| [v, leader]));
                leader_of.insert(section.outer[row], leader);
            }
        }
        let between = self.between.iter();
        pairs.extend(between.filter_map(|([v, outer, _], _)| Some([*v, *leader_of.get(outer)?])));
        pairs
    }

    /// Vertices of the cloth on which it lies.
    pub fn cloth(&self) -> impl Iterator<Item = u32> {
        let spots = self.rows.iter().flatten();
        spots.flat_map(|spot| [spot.from, spot.to])
    }

    /// How far its inner wall lies off the places of the cloth beneath at most, model units.
    pub fn off(&self, positions: &[DVec3]) -> f64 {
        let inner = self.shape(positions).inner;
        let rows = self.places(positions);
        let pairs = inner.iter().flatten().zip(rows.iter().flatten());
        pairs.map(|(a, b)| a.distance(*b)).fold(0.0, f64::max)
    }

    /// Its least and its greatest height, along the inner wall, model units.
    pub fn heights(&self, positions: &[DVec3]) -> [f64; 2] {
        let at = |v: u32| positions[v as usize];
        let height = |section: &Section| -> f64 {
            let pairs = section.inner.windows(2);
            pairs.map(|pair| at(pair[0]).distance(at(pair[1]))).sum()
        };
        let each = self.sections.iter().flatten().map(height);
        each.fold([f64::INFINITY, 0.0], |[least, most], h| {
            [least.min(h), most.max(h)]
        })
    }
}

/// How far corners lie below a quad of the cloth that they were led away from.
fn depth(led: [DVec3; 4], cloth: [DVec3; 4]) -> f64 {
    let below = |c: usize| {
        let (ahead, behind) = (cloth[(c + 1) % 4] - cloth[c], cloth[(c + 3) % 4] - cloth[c]);
        ahead
            .cross(behind)
            .normalize_or_zero()
            .dot(cloth[c] - led[c])
    };
    (0..4).map(below).fold(0.0, f64::max)
}

/// The mean of each way and its neighbours'.
fn averaged(ways: &[DVec3], closed: bool) -> Vec<DVec3> {
    let n = ways.len();
    let mean = |i: usize| {
        let neighbours = [Step::Back, Step::On].map(|step| step.from(i, n, closed).unwrap_or(i));
        (ways[neighbours[0]] + 2.0 * ways[i] + ways[neighbours[1]]) / 4.0
    };
    (0..n).map(mean).collect()
}

/// How far the two ways of cutting a quad in triangles lie apart: half of it is how far either lies
/// from the quad's bilinear patch.
pub(super) fn warp([a, b, c, d]: [DVec3; 4]) -> f64 {
    let normal = (c - a).cross(d - b).normalize_or_zero();
    ((a + c - b - d) / 2.0).dot(normal).abs()
}
