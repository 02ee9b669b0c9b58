//! Symmetric positive definite systems by sparse Cholesky factorisation.

use faer::prelude::*;
use faer::sparse::linalg::solvers::{Llt, SymbolicLlt};
use faer::sparse::{SparseColMat, Triplet};
use faer::{Mat, Par, Side};
use thiserror::Error;

/// Why a system could not be factored.
#[derive(Clone, Debug, PartialEq, Eq, Error)]
pub enum SpdError {
    /// An entry lies outside the matrix.
    #[error("matrix entry outside its {size} rows")]
    BadEntry {
        /// Rows of the matrix.
        size: usize,
    },
    /// The matrix isn't positive definite, or too large to factor.
    #[error("matrix of {size} rows is not positive definite")]
    NotPositiveDefinite {
        /// Rows of the matrix.
        size: usize,
    },
}

/// A factored symmetric positive definite matrix.
pub struct Spd {
    size: usize,
    factor: Llt<usize, f64>,
}

impl Spd {
    /// Factors a matrix given by its lower triangle as (row, column, value); repeated
    /// entries are summed.
    ///
    /// # Errors
    /// If an entry is out of range or the matrix isn't positive definite.
    pub fn factor(size: usize, lower: &[(usize, usize, f64)]) -> Result<Self, SpdError> {
        faer::set_global_parallelism(Par::Seq);
        let entries: Vec<Triplet<usize, usize, f64>> = lower
            .iter()
            .map(|&(r, c, v)| Triplet::new(r.max(c), r.min(c), v))
            .collect();
        let matrix = SparseColMat::<usize, f64>::try_new_from_triplets(size, size, &entries)
            .map_err(|_| SpdError::BadEntry { size })?;
        let symbolic = SymbolicLlt::try_new(matrix.symbolic(), Side::Lower)
            .map_err(|_| SpdError::NotPositiveDefinite { size })?;
        let factor = Llt::try_new_with_symbolic(symbolic, matrix.as_ref(), Side::Lower)
            .map_err(|_| SpdError::NotPositiveDefinite { size })?;
        Ok(Self { size, factor })
    }

    /// Solves for one right-hand side of as many entries as the matrix has rows.
    ///
    /// # Panics
    /// If `right` has another length.
    pub fn solve(&self, right: &[f64]) -> Vec<f64> {
        assert_eq!(
            right.len(),
            self.size,
            "right-hand side and matrix differ in size"
        );
        let b = Mat::from_fn(self.size, 1, |i, _| right[i]);
        let x = self.factor.solve(&b);
        (0..self.size).map(|i| x[(i, 0)]).collect()
    }

    /// Solves for several right-hand sides at once, which takes much less time than one after the
    /// other; what is found may differ from [`Self::solve`]'s in rounding.
    ///
    /// # Panics
    /// If one of `rights` has another length than the matrix has rows.
    pub fn solve_many(&self, rights: &[Vec<f64>]) -> Vec<Vec<f64>> {
        assert!(
            rights.iter().all(|r| r.len() == self.size),
            "right-hand side and matrix differ in size"
        );
        let mut x = Mat::from_fn(self.size, rights.len(), |i, j| rights[j][i]);
        self.factor.solve_in_place(&mut x);
        let columns = 0..rights.len();
        columns
            .map(|j| x.col(j).iter().copied().collect())
            .collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_path_laplacian_gives_a_straight_line() {
        // Dirichlet problem on a path: the solution is linear (any textbook on finite differences).
        let n = 50;
        let mut lower = Vec::new();
        for i in 0..n {
            lower.push((i, i, 2.0));
            if i > 0 {
                lower.push((i, i - 1, -1.0));
            }
        }
        let mut right = vec![0.0; n];
        right[n - 1] = 1.0;
        let x = Spd::factor(n, &lower).unwrap().solve(&right);
        for (i, value) in x.iter().enumerate() {
            assert!((value - (i + 1) as f64 / (n + 1) as f64).abs() < 1e-12);
        }
    }

    #[test]
    fn several_at_once_are_each_as_alone() {
        let n = 60usize;
        let mut lower = Vec::new();
        for i in 0..n {
            lower.push((i, i, 2.5));
            for j in [i.checked_sub(1), i.checked_sub(7)].into_iter().flatten() {
                lower.push((i, j, -0.6));
            }
        }
        let system = Spd::factor(n, &lower).unwrap();
        let rights: Vec<Vec<f64>> = (0..5)
            .map(|k| (0..n).map(|i| ((i * k * 31) % 17) as f64).collect())
            .collect();
        for (one, many) in rights.iter().zip(system.solve_many(&rights)) {
            let alone = system.solve(one);
            assert!(alone.iter().zip(&many).all(|(a, b)| (a - b).abs() < 1e-12));
        }
        assert!(system.solve_many(&[]).is_empty());
    }

    #[test]
    fn faults_are_named() {
        assert_eq!(
            Spd::factor(1, &[(0, 0, -1.0)]).err(),
            Some(SpdError::NotPositiveDefinite { size: 1 })
        );
        assert_eq!(
            Spd::factor(1, &[(2, 0, 1.0)]).err(),
            Some(SpdError::BadEntry { size: 1 })
        );
    }
}
