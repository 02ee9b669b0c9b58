//! Which promised counts can't be kept for being odd.
//!
//! Opposite sides differ by even numbers only, and a side before a pole is the sum of two spokes:
//! taken modulo 2 the rows are linear equations, so elimination decides at once what a search
//! over whole numbers may look for in vain.

use super::model::Promise;
use crate::layout::Layout;

/// A row modulo 2: a bit for each unknown, the last one for the right-hand side.
#[derive(Clone, Debug, PartialEq, Eq)]
struct Row(Vec<u64>);

impl Row {
    fn new(unknowns: usize, odd: bool) -> Self {
        let mut row = Self(vec![0; unknowns / 64 + 1]);
        if odd {
            row.flip(unknowns);
        }
        row
    }

    fn flip(&mut self, i: usize) {
        self.0[i / 64] ^= 1 << (i % 64);
    }

    fn first(&self) -> Option<usize> {
        let word = self.0.iter().position(|&w| w != 0)?;
        Some(64 * word + self.0[word].trailing_zeros() as usize)
    }

    fn add(&mut self, other: &Self) {
        self.0.iter_mut().zip(&other.0).for_each(|(a, b)| *a ^= b);
    }
}

/// Whether the rows of the patches and these promises contradict each other modulo 2.
pub(super) fn contradict(layout: &Layout, promises: &[Promise]) -> bool {
    let spokes: usize = layout
        .patches
        .iter()
        .map(|p| p.sides.len())
        .filter(|&n| n != 4)
        .sum();
    let unknowns = layout.arcs.len() + spokes;
    // Rows in echelon form, by their first unknown.
    let mut echelon: Vec<Option<Row>> = vec![None; unknowns];
    let mut fits = |mut row: Row| loop {
        match row.first() {
            None => return true,
            Some(first) if first == unknowns => return false,
            Some(first) => match &echelon[first] {
                Some(other) => row.add(other),
                None => {
                    echelon[first] = Some(row);
                    return true;
                }
            },
        }
    };
    let mut spoke = layout.arcs.len();
    for patch in &layout.patches {
        let n = patch.sides.len();
        let rows = if n == 4 { 2 } else { n };
        for i in 0..rows {
            let mut row = Row::new(unknowns, false);
            patch.sides[i].iter().for_each(|used| row.flip(used.arc));
            if n == 4 {
                patch.sides[i + 2]
                    .iter()
                    .for_each(|used| row.flip(used.arc));
            } else {
                row.flip(spoke + (i + n - 1) % n);
                row.flip(spoke + (i + 1) % n);
            }
            if !fits(row) {
                return true;
            }
        }
        spoke += if n == 4 { 0 } else { n };
    }
    promises.iter().any(|promise| {
        let mut row = Row::new(unknowns, promise.count % 2 == 1);
        promise.arcs.iter().for_each(|&a| row.flip(a));
        !fits(row)
    })
}
