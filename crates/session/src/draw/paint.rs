//! A place painted with a round brush becomes its outline on the sculpt.
//!
//! The view under the stroke is parted into square cells. Those within the brush whose rays meet the
//! sculpt, and that hang together on it with where the stroke began, are the place: so a stroke over the
//! edge of a limb doesn't paint what lies behind. The outline runs through the outermost cells (border
//! following: Suzuki & Abe 1985, the outer border alone).

use std::collections::BTreeSet;

use glam::DVec2;
use mesh::{DVec3, runs};

use super::tidy::simplified;
use super::{DrawError, Drawn, Pen, Ray};

/// Cells from the middle of the brush to its rim.
const CELLS: f64 = 4.0;
/// Cells of one stroke at most: longer ones get coarser cells.
const MOST_CELLS: f64 = 40_000.0;
/// Neighbouring cells hang together on the sculpt if their places are no further apart than this many
/// cells: steeper, and one may lie on a limb behind.
const STEEP: f64 = 5.0;
/// Rounds of smoothing that take the cells' stairs out of the outline.
const ROUNDS: usize = 3;
/// The eight cells around one, anticlockwise.
const AROUND: [Cell; 8] = [
    [1, 0],
    [1, 1],
    [0, 1],
    [-1, 1],
    [-1, 0],
    [-1, -1],
    [0, -1],
    [1, -1],
];

/// Column and row of a cell.
type Cell = [i32; 2];

fn beside([x, y]: Cell, [by_x, by_y]: Cell) -> Cell {
    [x + by_x, y + by_y]
}

/// A painted place.
#[derive(Clone, Debug, PartialEq)]
pub struct Painted {
    /// Its outline on the sculpt, closed.
    pub outline: Drawn,
    /// A ray through each of its cells.
    pub rays: Vec<Ray>,
}

impl Pen {
    /// The place that a round brush paints along a path over the view; path and `radius` in pixels, `ray`
    /// gives the ray through a pixel. Places that the sculpt hides aren't painted.
    ///
    /// # Errors
    /// [`DrawError::Missed`] where the stroke meets nothing, [`DrawError::TooShort`] where the place is too
    /// small for an outline.
    pub fn painted(
        &self,
        path: &[DVec2],
        radius: f64,
        ray: impl Fn(DVec2) -> Ray,
        tolerance: f64,
    ) -> Result<Painted, DrawError> {
        let cells = Cells::under(path, radius).ok_or(DrawError::Missed)?;
        // Where each cell's ray meets the sculpt, told by rows.
        let met: Vec<(Cell, DVec3, f64)> = cells
            .painted(path, radius)
            .filter_map(|cell| {
                let hit = self.hit(&ray(cells.middle(cell)))?;
                let step = ray(cells.middle(beside(cell, [1, 0]))).at(hit.distance);
                Some((cell, hit.point, step.distance(hit.point)))
            })
            .collect();
        let place = hanging_together(&met, path, &cells).ok_or(DrawError::Missed)?;
        let border = border(&place);
        if border.len() < 3 {
            return Err(DrawError::TooShort);
        }
        let mut pixels: Vec<DVec3> = border
            .iter()
            .map(|&cell| cells.middle(cell).extend(0.0))
            .collect();
        runs::smooth(&mut pixels, true, ROUNDS);
        // Smoothed over the edge of a limb, a place would lie on what is behind: there the cell's own stays.
        let on_limb = |(cell, pixel): (&Cell, &DVec3)| {
            let (_, own, step) = found(&met, *cell)?;
            let smooth = self.hit(&ray(pixel.truncate())).map(|hit| hit.point);
            let near = smooth.filter(|p| p.distance(*own) <= STEEP * step);
            Some(near.unwrap_or(*own))
        };
        let points: Vec<DVec3> = border.iter().zip(&pixels).filter_map(on_limb).collect();
        let points = simplified(&points, true, tolerance);
        if points.len() < 3 {
            return Err(DrawError::TooShort);
        }
        Ok(Painted {
            outline: Drawn {
                points,
                closed: true,
            },
            rays: place.iter().map(|&c| ray(cells.middle(c))).collect(),
        })
    }
}

/// Square cells over a part of the view.
struct Cells {
    origin: DVec2,
    /// Length of a side, pixels.
    side: f64,
    count: Cell,
}

impl Cells {
    fn under(path: &[DVec2], radius: f64) -> Option<Self> {
        let &first = path.first()?;
        let (low, high) = path
            .iter()
            .fold((first, first), |(low, high), &p| (low.min(p), high.max(p)));
        let (low, high) = (low - radius, high + radius);
        let size = high - low;
        let side = (radius / CELLS)
            .max((size.x * size.y / MOST_CELLS).sqrt())
            .max(f64::MIN_POSITIVE);
        let count = [size.x, size.y].map(|long| ((long / side).ceil() as i32).max(1));
        Some(Self {
            origin: low,
            side,
            count,
        })
    }

    fn middle(&self, [x, y]: Cell) -> DVec2 {
        self.origin + (DVec2::new(f64::from(x), f64::from(y)) + 0.5) * self.side
    }

    /// The cell that a pixel lies in.
    fn of(&self, pixel: DVec2) -> Cell {
        let place = (pixel - self.origin) / self.side;
        [place.x.floor() as i32, place.y.floor() as i32]
    }

    /// Cells with their middle within the brush, row by row.
    fn painted(&self, path: &[DVec2], radius: f64) -> impl Iterator<Item = Cell> {
        let mut within = BTreeSet::new();
        let reach = (radius / self.side).ceil() as i32 + 1;
        let joints = path.windows(2).map(|ends| (ends[0], ends[1]));
        let alone = path.first().map(|&p| (p, p));
        for (a, b) in alone.into_iter().chain(joints) {
            let (low, high) = (self.of(a.min(b)), self.of(a.max(b)));
            let rows = (low[1] - reach).max(0)..(high[1] + reach + 1).min(self.count[1]);
            for y in rows {
                for x in (low[0] - reach).max(0)..(high[0] + reach + 1).min(self.count[0]) {
                    let middle = self.middle([x, y]);
                    let near =
                        runs::nearest_on_piece(middle.extend(0.0), a.extend(0.0), b.extend(0.0));
                    if near.truncate().distance(middle) <= radius {
                        within.insert([y, x]);
                    }
                }
            }
        }
        within.into_iter().map(|[y, x]| [x, y])
    }
}

/// Where a cell's ray meets the sculpt; `met` is sorted by rows.
fn found(met: &[(Cell, DVec3, f64)], cell: Cell) -> Option<&(Cell, DVec3, f64)> {
    let by_row = |[x, y]: Cell| [y, x];
    let place = met.binary_search_by_key(&by_row(cell), |m| by_row(m.0));
    Some(&met[place.ok()?])
}

/// Of the cells that meet the sculpt, those that hang together on it with the one nearest to where the
/// stroke began to meet it.
fn hanging_together(
    met: &[(Cell, DVec3, f64)],
    path: &[DVec2],
    cells: &Cells,
) -> Option<BTreeSet<Cell>> {
    let start = path
        .iter()
        .find_map(|&p| found(met, cells.of(p)))
        .or_else(|| met.first())?;
    let mut place = BTreeSet::from([start.0]);
    let mut stack = vec![start];
    while let Some(&(cell, point, step)) = stack.pop() {
        for by in AROUND.into_iter().step_by(2) {
            if let Some(next) = found(met, beside(cell, by))
                && next.1.distance(point) <= STEEP * step.max(next.2)
                && place.insert(next.0)
            {
                stack.push(next);
            }
        }
    }
    Some(place)
}

/// The outer border of cells that hang together by their sides, cell by cell and anticlockwise.
fn border(place: &BTreeSet<Cell>) -> Vec<Cell> {
    // Of the cells furthest left the lowest: to its left there is none.
    let Some(&start) = place.first() else {
        return Vec::new();
    };
    let next = |cell: Cell, from: usize| {
        let mut turn = (1..=8).map(|k| (from + k) % 8);
        turn.find(|&way| place.contains(&beside(cell, AROUND[way])))
    };
    let Some(first) = next(start, 4) else {
        return vec![start];
    };
    let mut border = Vec::new();
    let (mut cell, mut way) = (start, first);
    // Each cell is passed at most once from each of its neighbours.
    for _ in 0..8 * place.len() {
        border.push(cell);
        cell = beside(cell, AROUND[way]);
        match next(cell, (way + 4) % 8) {
            Some(on) if !(cell == start && on == first) => way = on,
            _ => break,
        }
    }
    border
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_border_of_a_block_runs_once_around_it() {
        let block: BTreeSet<Cell> = (0..5).flat_map(|x| (0..3).map(move |y| [x, y])).collect();
        let border = border(&block);
        assert_eq!(border.len(), 2 * (5 + 3) - 4);
        let distinct: BTreeSet<Cell> = border.iter().copied().collect();
        assert_eq!(distinct.len(), border.len());
    }

    #[test]
    fn an_arm_one_cell_wide_is_run_along_on_both_sides() {
        // A block of two by two with an arm of three to the right.
        let cells = [[0, 0], [1, 0], [0, 1], [1, 1], [2, 0], [3, 0], [4, 0]];
        let border = border(&cells.into_iter().collect());
        let ends = border.iter().filter(|c| **c == [4, 0]).count();
        let middles = border.iter().filter(|c| **c == [3, 0]).count();
        assert_eq!((ends, middles), (1, 2), "{border:?}");
    }
}
