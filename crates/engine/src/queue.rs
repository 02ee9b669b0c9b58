//! An entry of a search's queue.

use std::cmp::Ordering;

/// A cost and what it is of; in a `BinaryHeap` the cheapest comes first, of equal ones the lowest.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Cheapest(pub f64, pub u32);

impl Eq for Cheapest {}

impl Ord for Cheapest {
    fn cmp(&self, other: &Self) -> Ordering {
        other.0.total_cmp(&self.0).then(other.1.cmp(&self.1))
    }
}

impl PartialOrd for Cheapest {
    fn partial_cmp(&self, other: &Self) -> Option<Ordering> {
        Some(self.cmp(other))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_cheapest_comes_first_and_of_equal_ones_the_lowest() {
        let mut queue = std::collections::BinaryHeap::from([
            Cheapest(2.0, 0),
            Cheapest(1.0, 7),
            Cheapest(1.0, 3),
        ]);
        let order: Vec<u32> = std::iter::from_fn(|| queue.pop()).map(|e| e.1).collect();
        assert_eq!(order, [3, 7, 0]);
    }
}
