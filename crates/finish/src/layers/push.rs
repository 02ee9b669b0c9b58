//! The least smooth push that satisfies contacts.
//!
//! Each vertex moves along a direction of its own by an amount s of at least 0:
//!
//! minimise  cost · s + softness / 2 · roughness(s)   such that   A s >= r,  0 <= s <= most.
//!
//! The sum keeps away from vertices what they needn't move; the roughness spreads what is
//! needed over neighbours. Rows are kept by a stiff penalty, so that contacts that can't be
//! satisfied together end in between instead of nowhere. The function is convex and
//! piecewise quadratic: Newton's method over the set of rows and bounds that press
//! (Hintermüller, Ito & Kunisch 2002), each step as long as it descends.

use base::{Cancelled, Task};
use numeric::Spd;

use super::fair::{Form, merged};

/// Most steps of Newton's method.
const STEPS: usize = 30;
/// Halvings in search of a step.
const HALVINGS: usize = 30;
/// Shares of the stiffness with which to begin: with soft rows few steps find which press.
const SOFTER: [f64; 3] = [100.0, 10.0, 1.0];

/// A row: unknowns with their factors, and what their sum is to be at least.
#[derive(Clone, Debug)]
pub(super) struct Row {
    pub terms: Vec<(u32, f64)>,
    pub least: f64,
}

impl Row {
    pub fn sum(&self, s: &[f64]) -> f64 {
        let terms = self.terms.iter();
        terms.map(|&(v, factor)| factor * s[v as usize]).sum()
    }
}

/// What is minimised.
pub(super) struct Program<'a> {
    pub form: &'a Form,
    pub softness: f64,
    /// Cost of each unknown.
    pub cost: &'a [f64],
    pub rows: &'a [Row],
    /// Penalty of rows and bounds.
    pub stiffness: f64,
    /// Largest amount of each unknown, 0 for what can't move; none if amounts have no bounds.
    pub most: &'a [f64],
}

impl Program<'_> {
    /// Amounts, from a first guess, and the pressure of each row. Hears of cancelling between steps.
    pub fn solve(&self, first: &[f64], task: &Task) -> Result<(Vec<f64>, Vec<f64>), Cancelled> {
        let mut s = first.to_vec();
        for softer in SOFTER {
            self.descend(&mut s, self.stiffness / softer, task)?;
        }
        for (s, &most) in s.iter_mut().zip(self.most) {
            *s = s.clamp(0.0, most);
        }
        let pressure = |row: &Row| self.stiffness * (row.least - row.sum(&s)).max(0.0);
        let pressures = self.rows.iter().map(pressure).collect();
        Ok((s, pressures))
    }

    fn descend(&self, s: &mut [f64], stiffness: f64, task: &Task) -> Result<(), Cancelled> {
        let mut pressing = Vec::new();
        for _ in 0..STEPS {
            task.checkpoint()?;
            let now = self.pressing(s);
            if now == pressing {
                break;
            }
            let Some(target) = self.newton(&now, stiffness) else {
                break;
            };
            pressing = now;
            let way: Vec<f64> = target.iter().zip(s.iter()).map(|(a, b)| a - b).collect();
            let step = self.step(s, &way, stiffness);
            s.iter_mut().zip(&way).for_each(|(s, w)| *s += step * w);
        }
        Ok(())
    }

    /// Rows short of what they are to be, then unknowns below and above their bounds.
    fn pressing(&self, s: &[f64]) -> Vec<i8> {
        let rows = self.rows.iter();
        let rows = rows.map(|row| i8::from(row.sum(s) < row.least));
        let bound = |(&s, &most): (&f64, &f64)| i8::from(s > most) - i8::from(s < 0.0);
        rows.chain(s.iter().zip(self.most).map(bound)).collect()
    }

    /// How far to go on the way for the least value, at most 1: along it the slope only
    /// rises, so its root is found by halving.
    fn step(&self, s: &[f64], way: &[f64], stiffness: f64) -> f64 {
        let dot = |a: &[f64], b: &[f64]| a.iter().zip(b).map(|(a, b)| a * b).sum::<f64>();
        let bends = self.form.times(way);
        let flat = dot(self.cost, way) + self.softness * dot(&bends, s);
        let rise = self.softness * dot(&bends, way);
        let rows = self.rows.iter();
        let rows: Vec<[f64; 2]> = rows
            .map(|row| [row.least - row.sum(s), -row.sum(way)])
            .collect();
        let slope = |t: f64| {
            let short = rows.iter().map(|[at, by]| (at + t * by).max(0.0) * by);
            let bounds = s.iter().zip(way).zip(self.most).map(|((s, w), most)| {
                let at = s + t * w;
                ((at - most).max(0.0) + at.min(0.0)) * w
            });
            flat + t * rise + stiffness * (short.sum::<f64>() + bounds.sum::<f64>())
        };
        if slope(1.0) <= 0.0 {
            return 1.0;
        }
        let (mut low, mut high) = (0.0, 1.0);
        for _ in 0..HALVINGS {
            let middle = (low + high) / 2.0;
            if slope(middle) <= 0.0 {
                low = middle;
            } else {
                high = middle;
            }
        }
        // Beyond the root by no more than a rounding, so that what begins to press there counts.
        high
    }

    /// The least of the quadratic piece in which these rows and bounds press.
    fn newton(&self, pressing: &[i8], stiffness: f64) -> Option<Vec<f64>> {
        let (of_rows, of_bounds) = pressing.split_at(self.rows.len());
        let mut right: Vec<f64> = self.cost.iter().map(|c| -c).collect();
        let mut entries = Vec::new();
        for (row, &presses) in self.rows.iter().zip(of_rows) {
            if presses == 0 {
                continue;
            }
            for &(a, x) in &row.terms {
                right[a as usize] += stiffness * row.least * x;
                for &(b, y) in &row.terms {
                    if a >= b {
                        entries.push((a as usize, b as usize, stiffness * x * y));
                    }
                }
            }
        }
        for (v, (&presses, &most)) in of_bounds.iter().zip(self.most).enumerate() {
            if presses != 0 {
                entries.push((v, v, stiffness));
                right[v] += if presses > 0 { stiffness * most } else { 0.0 };
            }
        }
        let form = self.form.lower.iter();
        entries.extend(form.map(|&(row, column, x)| (row, column, self.softness * x)));
        let system = Spd::factor(self.form.size, &merged(entries)).ok()?;
        Some(system.solve(&right))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Two unknowns, a row between them.
    #[test]
    fn a_push_hears_of_cancelling_between_its_steps() {
        let form = Form {
            size: 2,
            lower: vec![(0, 0, 1.0), (1, 1, 1.0)],
        };
        let row = Row {
            terms: vec![(0, 1.0), (1, 1.0)],
            least: 1.0,
        };
        let program = Program {
            form: &form,
            softness: 1.0,
            cost: &[0.0; 2],
            rows: &[row],
            stiffness: 1e6,
            most: &[1.0; 2],
        };
        let task = Task::default();
        // Evenly shared, by symmetry.
        let (amounts, _) = program.solve(&[0.0; 2], &task).unwrap();
        assert!(
            amounts.iter().all(|a| (a - 0.5).abs() < 1e-5),
            "{amounts:?}"
        );
        task.cancel();
        assert_eq!(program.solve(&[0.0; 2], &task), Err(Cancelled));
    }
}
