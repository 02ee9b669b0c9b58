//! A lap: at a trim's front one end goes on over the gap and lies on the other end, as of a collar
//! that is buttoned.
//!
//! It is a piece of its own with a group of its own: on a mirrored surface the one thing that has no
//! image, and the end wall that it hides is the other. Its columns are the trim's own, moved outward
//! over the gap by a thickness and a little; it starts at the vertices of the end that bears it.
//!
//! ```text
//!                        ╭───────────────╮ lap
//!   the end that     ╱ ╱ ╰───────────────╯
//!   bears it ══════╱ ╱   ╞═══════════════════ the other end
//!                    gap
//! ```

#[cfg(test)]
mod tests;
mod woven;

use mesh::DVec3;

use super::band::{BENT, LIFT, warp};
use super::built::{Built, Step};
use super::cloth::{Cloth, offsets};
use super::profile::CORNER;
use super::relay::Laid;
use super::{End, Front, Placed, Side, TrimError};

/// Where within the gap a lap begins and ends to rise. Its outer wall turns nearer to the end that
/// bears it than its inner one, and needs room there; its inner wall has to be up before the other end.
const RISE: [f64; 2] = [0.25, 0.875];
/// Thickest cloth that rises over a gap, as a share of its width: with (1 + LIFT) · thickness to rise
/// the outer wall then turns within 0.2 of the width, and its first row is never folded.
const STEEPEST: f64 = 0.5;
/// A column of the trim this near a place where the lap turns isn't taken besides, as a share of the gap.
const APART: f64 = 0.06;

/// A place along a lap: on the trim's columns, and how far it has risen.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Post {
    from: usize,
    to: usize,
    /// Of the way from the one column to the other.
    share: f64,
    /// 0 at the end that bears it, 1 over the other.
    level: f64,
}

impl Post {
    fn at(&self, row: &[DVec3]) -> DVec3 {
        match self.share {
            0.0 => row[self.from],
            share => row[self.from].lerp(row[self.to], share),
        }
    }

    /// The nearer of its two columns.
    fn leader(&self) -> usize {
        if self.share < 0.5 { self.from } else { self.to }
    }
}

/// Vertices of a lap across it, all around.
#[derive(Clone, Debug)]
struct Ring {
    /// From the opening up.
    outer: Vec<u32>,
    rim: Vec<u32>,
    /// From the edge down.
    inner: Vec<u32>,
    /// From the inner to the outer wall.
    bottom: Vec<u32>,
}

impl Ring {
    fn around(&self) -> Vec<u32> {
        let parts = [&self.outer, &self.rim, &self.inner, &self.bottom];
        parts.into_iter().flatten().copied().collect()
    }
}

/// Where a trim's front overlaps.
#[derive(Clone, Debug)]
pub(super) struct Overlap {
    /// The column of the end that bears the lap, and of the other end.
    pub ends: [usize; 2],
    /// From the one to the other along the run.
    step: Step,
    lap: f64,
    /// Whether the ends are each other's image, so that the lap has none.
    pub is_alone: bool,
}

/// A lap that is to come once all trims are woven.
#[derive(Debug)]
pub(super) struct Coming {
    /// Its trim's number.
    pub number: usize,
    pub laid: Laid,
    pub overlap: Overlap,
    pub posts: Vec<Post>,
}

/// How a lap's vertices follow from its trim's cloth.
#[derive(Clone, Debug)]
pub(super) struct Lap {
    /// The trim that bears it.
    pub laid: Laid,
    /// The column of the end beneath, whose wall is the lap's, for it has no image.
    hides: Option<usize>,
    step: Step,
    posts: Vec<Post>,
    /// Shares of the way from the outer to the inner wall at which it has vertices below.
    shares: Vec<f64>,
    /// Of each post; the first is its trim's own.
    rings: Vec<Ring>,
    /// Vertices within end walls, with those of the outer and the inner wall that they lie between,
    /// and their share of the way.
    between: Vec<([u32; 3], f64)>,
}

/// Both walls of a lap: rows from the opening up, each with a place for each post.
struct Shape {
    outer: Vec<Vec<DVec3>>,
    inner: Vec<Vec<DVec3>>,
}

impl Overlap {
    /// Where a trim overlaps, if it does.
    pub fn of(
        placed: &Placed,
        built: &Built,
        at: &[DVec3],
        image: &[u32],
    ) -> Result<Option<Self>, TrimError> {
        let trim = &placed.trim;
        let Front::Overlap { lap, upper, .. } = trim.front else {
            return Ok(None);
        };
        if trim.side != Side::Beyond {
            return Err(TrimError::NoLap {
                trim: trim.name.clone(),
            });
        }
        if !(lap.is_finite() && lap > 0.0) {
            return Err(TrimError::Number {
                trim: trim.name.clone(),
                what: "lap",
                value: lap,
                range: "above 0",
            });
        }
        let ends = built
            .gap
            .filter(|ends| !ends.iter().any(|&i| built.on_plane[i]));
        let Some([before, after]) = ends else {
            let front = (0..at.len()).find(|&i| !built.is_present(i)).unwrap_or(0);
            return Err(TrimError::OneEnd {
                trim: trim.name.clone(),
                at: at[front].to_array(),
            });
        };
        // With the surface on its left, a run goes from right to left where its edge is up.
        let (ends, step) = match upper {
            End::Right => ([before, after], Step::On),
            End::Left => ([after, before], Step::Back),
        };
        let [one, two] = ends.map(|i| placed.run[i]);
        let is_alone = image.get(one as usize) == Some(&two);
        Ok(Some(Self {
            ends,
            step,
            lap,
            is_alone,
        }))
    }

    /// Columns from one on along the step, with how far each lies from it along a row.
    fn walk<'a>(
        &self,
        from: usize,
        row: &'a [DVec3],
        closed: bool,
    ) -> impl Iterator<Item = (usize, f64)> + use<'a> {
        let step = self.step;
        let next = move |&(i, gone): &(usize, f64)| {
            let next = step.from(i, row.len(), closed)?;
            (next != from).then(|| (next, gone + row[i].distance(row[next])))
        };
        std::iter::successors(Some((from, 0.0)), next)
    }

    /// Places along the lap, from the end that bears it.
    pub fn posts(&self, placed: &Placed, cloth: &Cloth) -> Result<Vec<Post>, TrimError> {
        let (trim, closed) = (&placed.trim, placed.closed);
        let [bears, other] = self.ends;
        let across = |row: &Vec<DVec3>| {
            let mut all = self.walk(bears, row, closed);
            all.find(|(i, _)| *i == other).map_or(0.0, |(_, s)| s)
        };
        let narrowest = cloth.rows.iter().map(across).fold(f64::INFINITY, f64::min);
        if trim.thickness > STEEPEST * narrowest {
            return Err(TrimError::LapTooSteep {
                trim: trim.name.clone(),
                width: narrowest,
                thickness: trim.thickness,
                least: trim.thickness / STEEPEST,
                most: STEEPEST * narrowest,
            });
        }
        let base = &cloth.rows[0];
        let gap = across(base);
        let (mut beyond, mut all) = (self.walk(other, base, closed), (other, 0.0));
        while let (true, Some(next)) = (all.0 != bears, beyond.next()) {
            all = next;
        }
        let most = all.1 / 2.0;
        if self.lap > most {
            return Err(TrimError::LapTooLong {
                trim: trim.name.clone(),
                lap: self.lap,
                most,
            });
        }
        let end = gap + self.lap;
        let columns: Vec<(usize, f64)> = self
            .walk(bears, base, closed)
            .take_while(|(_, s)| *s <= 2.0 * end)
            .collect();
        let turns = RISE.map(|share| share * gap);
        let corner = (CORNER * trim.thickness).min(self.lap / 2.0);
        let own = columns.iter().map(|c| c.1).filter(|&s| {
            let apart = turns.iter().all(|turn| (s - turn).abs() > APART * gap);
            let in_gap = s > 0.0 && s < gap;
            s <= gap && (!in_gap || apart) || s > gap && s < end - corner / 2.0
        });
        let mut along: Vec<f64> = own.chain(turns).collect();
        // A column of the trim near the end holds its corner as well.
        if !along.iter().any(|s| (end - 2.0 * corner..end).contains(s)) {
            along.push(end - corner);
        }
        along.push(end);
        along.sort_by(f64::total_cmp);
        let post = |s: f64| {
            let last = columns.partition_point(|c| c.1 <= s).max(1) - 1;
            let (from, start) = columns[last];
            let (to, stop) = columns.get(last + 1).copied().unwrap_or((from, start));
            let share = if stop > start {
                (s - start) / (stop - start)
            } else {
                0.0
            };
            let level = ((s - turns[0]) / (turns[1] - turns[0])).clamp(0.0, 1.0);
            Post {
                from,
                to,
                share,
                level,
            }
        };
        Ok(along.into_iter().map(post).collect())
    }
}

impl Lap {
    /// Both walls over cloth as it is. `bears` has the places of the end that bears it, on the outer
    /// and the inner wall, from the opening up.
    fn shape(&self, cloth: &Cloth, bears: &[Vec<DVec3>; 2]) -> Shape {
        let thick = self.laid.thickness;
        let top = cloth.rows.len() - 1;
        // Off what it lies on at the opening, so that the surface beside it isn't touched.
        let raised = |post: &Post| {
            let [low, high] = [0, 1.min(top)].map(|r| post.at(&cloth.rows[r]));
            let way = high - low;
            low + way.clamp_length_max((LIFT * thick).min(way.length() / 3.0))
        };
        let under = |row: usize| -> Vec<DVec3> {
            let each = self.posts.iter();
            let place = |post: &Post| match row {
                0 => raised(post),
                _ => post.at(&cloth.rows[row]),
            };
            each.map(place).collect()
        };
        let under: Vec<Vec<DVec3>> = (0..=top).map(under).collect();
        let lift = self.lift(&under, cloth, thick);
        let inner = |row: usize| -> Vec<DVec3> {
            let each = self.posts.iter().enumerate();
            let place = |(k, post): (usize, &Post)| {
                let by = thick - post.level * (thick + lift);
                match k {
                    0 => bears[1][row],
                    _ => under[row][k] + by * post.at(&cloth.offsets[row]),
                }
            };
            each.map(place).collect()
        };
        let inner: Vec<Vec<DVec3>> = (0..=top).map(inner).collect();
        let ways = self.ways(&inner);
        let outer = |row: usize| -> Vec<DVec3> {
            let each = (0..self.posts.len()).map(|k| match k {
                0 => bears[0][row],
                _ => inner[row][k] - thick * ways[row][k],
            });
            each.collect()
        };
        let outer = (0..=top).map(outer).collect();
        Shape { outer, inner }
    }

    /// Ways to a parallel wall from rows of places, inward, for a thickness of 1.
    fn ways(&self, rows: &[Vec<DVec3>]) -> Vec<Vec<DVec3>> {
        let mut rows = rows.to_vec();
        if self.step == Step::Back {
            rows.iter_mut().for_each(|row| row.reverse());
        }
        let mut ways = offsets(&rows, false);
        if self.step == Step::Back {
            ways.iter_mut().for_each(|row| row.reverse());
        }
        ways
    }

    /// How far it lies off the other end: as far as triangles of bent quads may lie within each other.
    fn lift(&self, under: &[Vec<DVec3>], cloth: &Cloth, thick: f64) -> f64 {
        let mut bent: f64 = 0.0;
        let over = self.posts.windows(2).enumerate();
        for (k, pair) in over.filter(|(_, pair)| pair[1].level > 0.0) {
            let Post { from, to, .. } = pair[0];
            for row in 1..under.len() {
                let own = [
                    under[row - 1][k],
                    under[row][k],
                    under[row][k + 1],
                    under[row - 1][k + 1],
                ];
                let (low, high) = (&cloth.rows[row - 1], &cloth.rows[row]);
                let beneath = [low[from], high[from], high[to], low[to]];
                bent = bent.max((warp(own) + warp(beneath)) / 2.0);
            }
        }
        LIFT * thick + BENT * bent
    }
}
