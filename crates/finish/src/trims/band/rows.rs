//! The rows of a band: places on the cloth beneath, from the left of its loop to its right.

use std::collections::BTreeSet;

use mesh::{DVec3, QuadMesh, QuadTopology};

use super::super::cloth::columns;
use super::super::profile::CORNER;
use super::super::{Edge, Placed, Trim, TrimError};

/// An edge lies at least this share of a row beyond the loop before it, and this share of the
/// thickness, for a wall folds over less; else that loop is the edge, or the loop after it. But no more
/// than a share of the way to the edge is given up for that.
const LEAST: f64 = 0.1;
const LEAST_THICK: f64 = 0.3;
const MOST_OF_REACH: f64 = 0.25;
/// Rounded rims are as wide as the band is thick, but at most this share of its height, each.
const ROUND: f64 = 0.25;
/// Of what lies between an edge and the row before it they take at most this share.
const BACK: f64 = 0.5;

/// A place on the cloth's edge between two vertices.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(in crate::trims) struct Spot {
    pub from: u32,
    pub to: u32,
    /// Of the way from the first to the second.
    pub share: f64,
}

impl Spot {
    pub fn at(&self, positions: &[DVec3]) -> DVec3 {
        if self.share == 0.0 {
            return positions[self.from as usize];
        }
        positions[self.from as usize].lerp(positions[self.to as usize], self.share)
    }

    /// Its mirror image.
    fn imaged(&self, image: &[u32]) -> Self {
        let [from, to] = [self.from, self.to].map(|v| image[v as usize]);
        Self { from, to, ..*self }
    }

    /// The nearer of its two vertices.
    pub fn leader(&self) -> u32 {
        if self.share < 0.5 { self.from } else { self.to }
    }
}

/// Rows of places.
pub(super) type Rows = Vec<Vec<Spot>>;

/// Places of a row.
pub(super) fn spots(row: &[Spot], positions: &[DVec3]) -> Vec<DVec3> {
    row.iter().map(|spot| spot.at(positions)).collect()
}

/// Rows of places from the left of the run to its right, as far as a trim's height goes; and those
/// over which the outer wall ends.
pub(super) fn rows(
    surface: &QuadMesh,
    topology: &QuadTopology,
    placed: &Placed,
    image: &[u32],
) -> Result<(Rows, [Vec<Spot>; 2]), TrimError> {
    let trim = &placed.trim;
    let mut turned = placed.clone();
    turned.run.reverse();
    let left = columns(topology, &surface.quads, placed);
    let mut right = columns(topology, &surface.quads, &turned);
    right.reverse();
    let middle = placed.run.iter().map(|&v| Spot {
        from: v,
        to: v,
        share: 0.0,
    });
    let mut met: BTreeSet<u32> = placed.run.iter().copied().collect();
    let (mut rows, left) = side(surface, trim, &left, &mut met)?;
    rows.reverse();
    rows.push(middle.collect());
    let on_plane = |&v: &u32| image.get(v as usize) == Some(&v);
    let (more, right) = if placed.run.iter().all(on_plane) {
        // Along the plane one side is the other's image, whatever rounding says.
        let imaged = |row: &Vec<Spot>| row.iter().map(|spot| spot.imaged(image)).collect();
        let more = rows.iter().rev().skip(1).map(imaged).collect();
        (more, imaged(&left))
    } else {
        side(surface, trim, &right, &mut met)?
    };
    rows.extend::<Vec<Vec<Spot>>>(more);
    Ok((rows, [left, right]))
}

/// Rows on one side of the run, the nearest first: the cloth's own loops, then the edge, with a loop
/// before it that holds a flat one's corner; and where the outer wall ends. `met` has the vertices of
/// rows so far.
fn side(
    surface: &QuadMesh,
    trim: &Trim,
    columns: &[Vec<u32>],
    met: &mut BTreeSet<u32>,
) -> Result<(Vec<Vec<Spot>>, Vec<Spot>), TrimError> {
    let at = |v: u32| surface.positions[v as usize];
    let reach = trim.height / 2.0;
    let n = columns.len();
    // How far each column has come, at the row before.
    let mut gone = vec![0.0; n];
    let mut rows: Vec<Vec<Spot>> = Vec::new();
    for number in 1.. {
        let mean = gone.iter().sum::<f64>() / n as f64;
        let ends = |i: &usize| columns[*i].get(number).is_none_or(|v| met.contains(v));
        if let Some(short) = (0..n).find(ends) {
            return Err(TrimError::TooDeep {
                trim: trim.name.clone(),
                height: trim.height,
                most: 2.0 * mean,
                at: at(columns[short][number - 1]).to_array(),
            });
        }
        met.extend(columns.iter().map(|column| column[number]));
        let step = |i: usize| at(columns[i][number - 1]).distance(at(columns[i][number]));
        let steps: Vec<f64> = (0..n).map(step).collect();
        let gap = steps.iter().sum::<f64>() / n as f64;
        let least = (LEAST * gap).max(LEAST_THICK * trim.thickness);
        let least = least.min(MOST_OF_REACH * reach);
        if mean + gap >= reach - least {
            let share = |i: usize| {
                let least = if number == 1 { 0.0 } else { least };
                (reach - gone[i]).max(least) / steps[i]
            };
            let edge = (0..n).map(|i| Spot {
                from: columns[i][number - 1],
                to: columns[i][number],
                share: share(i).min(1.0),
            });
            let edge: Vec<Spot> = edge.collect();
            let last = (0..n).map(|i| edge[i].share * steps[i]).sum::<f64>() / n as f64;
            let top = finished(&mut rows, edge, last, trim);
            return Ok((rows, top));
        }
        let loop_of_cloth = (0..n).map(|i| Spot {
            from: columns[i][number - 1],
            to: columns[i][number],
            share: 1.0,
        });
        rows.push(loop_of_cloth.collect());
        gone.iter_mut()
            .zip(&steps)
            .for_each(|(gone, step)| *gone += step);
    }
    Ok((rows, Vec::new()))
}

/// Adds an edge to rows, and before it a loop that holds a flat one's corner; answers where the outer
/// wall ends. `last` is how far the edge lies from the row before it, model units.
fn finished(rows: &mut Vec<Vec<Spot>>, edge: Vec<Spot>, last: f64, trim: &Trim) -> Vec<Spot> {
    let back = |by: f64| -> Vec<Spot> {
        let each = edge.iter().map(|spot| Spot {
            share: spot.share * (1.0 - by / last),
            ..*spot
        });
        each.collect()
    };
    let (corner, most) = (CORNER * trim.thickness, BACK * last);
    let top = match trim.edge {
        Edge::Flat => edge.clone(),
        Edge::Rounded => back(trim.thickness.min(ROUND * trim.height).min(most)),
    };
    // A loop of the cloth this near the edge holds the corner as well.
    if trim.edge == Edge::Flat && (rows.is_empty() || corner < most) {
        rows.push(back(corner.min(most)));
    }
    rows.push(edge);
    top
}
