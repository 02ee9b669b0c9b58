//! What searches for shortest paths have reached, kept between searches.

use std::sync::{Mutex, PoisonError};

/// No vertex before.
const NONE: u32 = u32::MAX;

/// Costs of the vertices that one search has reached.
#[derive(Default)]
pub(super) struct Reached {
    /// By vertex: what it costs to come there; infinite where the search hasn't been.
    cost: Vec<f64>,
    /// By vertex: the one before it.
    before: Vec<u32>,
    /// Vertices with a cost.
    touched: Vec<u32>,
}

impl Reached {
    /// What it costs to come to a vertex as far as is known.
    pub fn cost(&self, vertex: u32) -> f64 {
        self.cost[vertex as usize]
    }

    /// A vertex is reached at this cost from the one before it.
    pub fn put(&mut self, vertex: u32, cost: f64, before: Option<u32>) {
        if self.cost(vertex).is_infinite() {
            self.touched.push(vertex);
        }
        self.cost[vertex as usize] = cost;
        self.before[vertex as usize] = before.unwrap_or(NONE);
    }

    /// The way from a source to a vertex that was reached.
    pub fn run_to(&self, vertex: u32) -> Vec<u32> {
        let before = |&v: &u32| Some(self.before[v as usize]).filter(|&b| b != NONE);
        let mut run: Vec<u32> = std::iter::successors(Some(vertex), before).collect();
        run.reverse();
        run
    }
}

/// Emptied ones, for searches beside each other: a search costs what it reaches, not the whole surface.
#[derive(Default)]
pub(super) struct Pool(Mutex<Vec<Reached>>);

impl Pool {
    /// One for surfaces of this many vertices, with nothing reached.
    pub fn taken(&self, vertices: usize) -> Reached {
        let kept = self.0.lock().unwrap_or_else(PoisonError::into_inner).pop();
        let mut one = kept.unwrap_or_default();
        one.cost.resize(vertices, f64::INFINITY);
        one.before.resize(vertices, NONE);
        one
    }

    /// Empties one and keeps it.
    pub fn given_back(&self, mut one: Reached) {
        for v in one.touched.drain(..) {
            one.cost[v as usize] = f64::INFINITY;
        }
        self.0
            .lock()
            .unwrap_or_else(PoisonError::into_inner)
            .push(one);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_one_search_reached_the_next_one_has_not() {
        let pool = Pool::default();
        let mut one = pool.taken(4);
        one.put(2, 0.0, None);
        one.put(0, 1.5, Some(2));
        one.put(3, 2.5, Some(0));
        assert_eq!(one.run_to(3), [2, 0, 3]);
        assert!(one.cost(1).is_infinite());
        pool.given_back(one);
        let next = pool.taken(4);
        assert!((0..4).all(|v| next.cost(v).is_infinite()));
    }
}
