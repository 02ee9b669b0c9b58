//! What of a run is built: the kept side of the mirror plane, and not what a gap leaves out.

use mesh::DVec3;

use super::weave::Woven;
use super::{Placed, TrimError};

/// Which columns of a run are built on the side that is kept, and which lie on the plane.
pub(super) struct Built {
    present: Vec<bool>,
    kept: Vec<bool>,
    pub on_plane: Vec<bool>,
    /// Of a gap at the front, the columns at which the cloth ends before it and after it.
    pub gap: Option<[usize; 2]>,
}

impl Built {
    /// Whether there is cloth at a column, on either side of the plane.
    pub fn is_present(&self, i: usize) -> bool {
        self.present[i]
    }

    /// Whether a column is built.
    pub fn is_here(&self, i: usize) -> bool {
        self.present[i] && (self.kept[i] || self.on_plane[i])
    }

    /// Built columns at which the run ends, and whether the end looks the way that the run goes.
    pub fn open_ends(&self, closed: bool) -> Vec<(usize, bool)> {
        let n = self.present.len();
        let mut ends = Vec::new();
        for i in (0..n).filter(|&i| self.is_here(i)) {
            for (step, turned) in [(Step::Back, false), (Step::On, true)] {
                let neighbour = step.from(i, n, closed);
                if !neighbour.is_some_and(|k| self.present[k]) {
                    ends.push((i, turned));
                }
            }
        }
        ends
    }

    /// Whether an end is one of the gap's.
    pub fn is_at_gap(&self, (i, turned): (usize, bool)) -> bool {
        self.gap
            .is_some_and(|[before, after]| i == if turned { before } else { after })
    }
}

/// A step along a run.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Step {
    On,
    Back,
}

impl Step {
    /// The column after one, if there is one.
    pub fn from(self, i: usize, n: usize, closed: bool) -> Option<usize> {
        match (self, closed) {
            (Self::On, true) => Some((i + 1) % n),
            (Self::Back, true) => Some((i + n - 1) % n),
            (Self::On, false) => Some(i + 1).filter(|&k| k < n),
            (Self::Back, false) => i.checked_sub(1),
        }
    }
}

impl Woven {
    /// What of a run is built.
    pub fn built(&self, placed: &Placed, at: &[DVec3]) -> Result<Built, TrimError> {
        let n = placed.run.len();
        let on_plane: Vec<bool> = placed
            .run
            .iter()
            .map(|&v| self.image.get(v as usize) == Some(&v))
            .collect();
        let side = |i: usize| match self.plane {
            Some(plane) if !on_plane[i] => plane.height(at[i]),
            Some(_) => 0.0,
            None => 1.0,
        };
        let above = (0..n).any(|i| side(i) > 0.0);
        let kept = (0..n)
            .map(|i| (side(i) > 0.0) == above && side(i) != 0.0)
            .collect();
        let mut built = Built {
            present: vec![true; n],
            kept,
            on_plane,
            gap: None,
        };
        if let Some((width, front_at)) = placed.trim.front.gap() {
            let front = front(placed, at, &built.on_plane, front_at)?;
            built.present[front] = false;
            let mut ends = [Step::Back, Step::On].map(|step| {
                let (mut gone, mut here) = (0.0, front);
                loop {
                    let next = step.from(here, n, placed.closed);
                    let next = next.filter(|&next| next != front)?;
                    gone += at[here].distance(at[next]);
                    if gone > width / 2.0 {
                        return Some(next);
                    }
                    built.present[next] = false;
                    here = next;
                }
            });
            // A wide gap may have taken from one side what the other ended at.
            for end in &mut ends {
                *end = end.filter(|&i| built.present[i]);
            }
            if let [Some(before), Some(after)] = ends {
                built.gap = Some([before, after]);
            }
            let mut pieces = mesh::runs::pieces(n, placed.closed);
            if !pieces.any(|(i, j)| built.present[i] && built.present[j]) {
                return Err(TrimError::AllGap {
                    trim: placed.trim.name.clone(),
                    width,
                });
            }
        }
        Ok(built)
    }
}

/// The vertex of a run that faces front.
fn front(
    placed: &Placed,
    run: &[DVec3],
    on_plane: &[bool],
    at: Option<DVec3>,
) -> Result<usize, TrimError> {
    let crosses = on_plane.contains(&true);
    let candidates: Vec<usize> = (0..run.len())
        .filter(|&i| !crosses || on_plane[i])
        .collect();
    let best = |value: &dyn Fn(usize) -> f64| {
        let better = |a: usize, b: usize| if value(b) > value(a) { b } else { a };
        candidates.iter().copied().reduce(better)
    };
    let found = match at {
        Some(at) => best(&|i| -run[i].distance(at)),
        None if crosses => best(&|i| run[i].z),
        None => None,
    };
    found.ok_or_else(|| TrimError::NoFront {
        trim: placed.trim.name.clone(),
    })
}
