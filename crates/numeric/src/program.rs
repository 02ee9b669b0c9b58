//! Linear programs in whole numbers, solved within a count of nodes, never by the
//! clock, so that the same program gives the same answer on any machine.

use microlp::{ComparisonOp, Error, OptimizationDirection, Problem, SolveOptions};
use thiserror::Error;

/// A variable of a [`Program`].
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Variable(usize);

/// How a row's sum relates to its right-hand side.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Relation {
    /// Sum = right.
    Equal,
    /// Sum <= right.
    AtMost,
    /// Sum >= right.
    AtLeast,
}

/// How far the search goes.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ProgramLimits {
    /// Branch-and-bound nodes.
    pub nodes: u64,
    /// Relative gap between the plan and the bound at which the search may stop.
    pub gap: f64,
}

impl Default for ProgramLimits {
    fn default() -> Self {
        Self {
            nodes: 400,
            gap: 1e-3,
        }
    }
}

/// Why there is no plan.
#[derive(Clone, Debug, PartialEq, Eq, Error)]
pub enum ProgramError {
    /// No whole numbers satisfy all rows: proved.
    #[error("no whole numbers satisfy the rows")]
    Infeasible,
    /// The search ended at its limit without a plan.
    #[error("no plan found within {nodes} nodes")]
    Exhausted {
        /// Nodes allowed.
        nodes: u64,
    },
    /// The solver could not answer.
    #[error("the solver failed: {reason}")]
    Solver {
        /// The solver's words.
        reason: String,
    },
}

/// A plan.
#[derive(Clone, Debug, PartialEq)]
pub struct Solution {
    values: Vec<f64>,
    /// Cost of the plan, recomputed from the rounded values.
    pub cost: f64,
}

impl Solution {
    /// Value of a variable; whole for a whole-number variable.
    pub fn value(&self, variable: Variable) -> f64 {
        self.values[variable.0]
    }

    /// Value of a whole-number variable.
    pub fn whole(&self, variable: Variable) -> i64 {
        self.values[variable.0].round() as i64
    }
}

#[derive(Clone, Debug)]
struct Column {
    cost: f64,
    low: f64,
    high: f64,
    whole: bool,
}

/// Terms, relation and right-hand side.
type Row = (Vec<(Variable, f64)>, Relation, f64);

/// A program: minimise a linear cost over bounded variables and linear rows.
#[derive(Clone, Debug, Default)]
pub struct Program {
    columns: Vec<Column>,
    rows: Vec<Row>,
}

impl Program {
    /// Adds a whole-number variable with its cost a unit and bounds.
    pub fn whole(&mut self, cost: f64, low: i32, high: i32) -> Variable {
        self.columns.push(Column {
            cost,
            low: f64::from(low),
            high: f64::from(high),
            whole: true,
        });
        Variable(self.columns.len() - 1)
    }

    /// Adds a real variable >= 0.
    pub fn real(&mut self, cost: f64, high: f64) -> Variable {
        self.columns.push(Column {
            cost,
            low: 0.0,
            high,
            whole: false,
        });
        Variable(self.columns.len() - 1)
    }

    /// Adds a row; repeated variables are summed.
    pub fn row(&mut self, terms: &[(Variable, f64)], relation: Relation, right: f64) {
        let mut sorted = terms.to_vec();
        sorted.sort_by_key(|t| t.0);
        let mut merged: Vec<(Variable, f64)> = Vec::with_capacity(sorted.len());
        for (variable, factor) in sorted {
            match merged.last_mut() {
                Some(last) if last.0 == variable => last.1 += factor,
                _ => merged.push((variable, factor)),
            }
        }
        merged.retain(|t| t.1 != 0.0);
        self.rows.push((merged, relation, right));
    }

    /// Solves; with `relaxed`, whole-number variables may take fractions.
    ///
    /// # Errors
    /// [`ProgramError`] when there is no plan, none was found in time, or the solver failed.
    pub fn solve(&self, limits: ProgramLimits, relaxed: bool) -> Result<Solution, ProgramError> {
        let mut problem = Problem::new(OptimizationDirection::Minimize);
        let handles: Vec<microlp::Variable> = self
            .columns
            .iter()
            .map(|c| {
                if c.whole && !relaxed {
                    problem.add_integer_var(c.cost, (c.low as i32, c.high as i32))
                } else {
                    problem.add_var(c.cost, (c.low, c.high))
                }
            })
            .collect();
        for (terms, relation, right) in &self.rows {
            if terms.is_empty() {
                let holds = match relation {
                    Relation::Equal => *right == 0.0,
                    Relation::AtMost => *right >= 0.0,
                    Relation::AtLeast => *right <= 0.0,
                };
                if !holds {
                    return Err(ProgramError::Infeasible);
                }
                continue;
            }
            let terms: Vec<(microlp::Variable, f64)> =
                terms.iter().map(|&(v, f)| (handles[v.0], f)).collect();
            let op = match relation {
                Relation::Equal => ComparisonOp::Eq,
                Relation::AtMost => ComparisonOp::Le,
                Relation::AtLeast => ComparisonOp::Ge,
            };
            problem.add_constraint(&terms[..], op, *right);
        }
        let mut options = SolveOptions::default();
        options.node_limit = Some(limits.nodes);
        options.mip_gap = limits.gap;
        let outcome = problem.solve_with(options).map_err(|e| match e {
            Error::Infeasible => ProgramError::Infeasible,
            other => ProgramError::Solver {
                reason: other.to_string(),
            },
        })?;
        let solved = outcome
            .into_solution()
            .map_err(|_| ProgramError::Exhausted {
                nodes: limits.nodes,
            })?;
        let values: Vec<f64> = self
            .columns
            .iter()
            .zip(&handles)
            .map(|(c, &h)| {
                let value = solved.var_value(h);
                if c.whole && !relaxed {
                    value.round()
                } else {
                    value
                }
            })
            .collect();
        let cost = self
            .columns
            .iter()
            .zip(&values)
            .map(|(c, v)| c.cost * v)
            .sum();
        Ok(Solution { values, cost })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_small_program_matches_brute_force() {
        // minimise |x - 2.6| + |y - 3.4| with x + 2 y = 9: brute force over the grid.
        let mut program = Program::default();
        let x = program.whole(0.0, 1, 20);
        let y = program.whole(0.0, 1, 20);
        for (v, target) in [(x, 2.6), (y, 3.4)] {
            let up = program.real(1.0, f64::INFINITY);
            let down = program.real(1.0, f64::INFINITY);
            program.row(
                &[(v, 1.0), (up, -1.0), (down, 1.0)],
                Relation::Equal,
                target,
            );
        }
        program.row(&[(x, 1.0), (y, 2.0)], Relation::Equal, 9.0);
        let plan = program.solve(ProgramLimits::default(), false).unwrap();
        let best = (1..=20)
            .flat_map(|a| (1..=20).map(move |b| (a, b)))
            .filter(|(a, b)| a + 2 * b == 9)
            .map(|(a, b)| (f64::from(a) - 2.6).abs() + (f64::from(b) - 3.4).abs())
            .fold(f64::INFINITY, f64::min);
        assert!(
            (plan.cost - best).abs() < 1e-6,
            "{} against {best}",
            plan.cost
        );
        assert_eq!(plan.whole(x) + 2 * plan.whole(y), 9);
    }

    #[test]
    fn odd_sums_of_even_things_are_refused() {
        let mut program = Program::default();
        let x = program.whole(0.0, 1, 20);
        program.row(&[(x, 1.0), (x, 1.0)], Relation::Equal, 7.0);
        assert_eq!(
            program.solve(ProgramLimits::default(), false),
            Err(ProgramError::Infeasible)
        );
    }
}
