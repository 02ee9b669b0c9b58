//! Whole numbers that equations leave free.
//!
//! All whole solutions of homogeneous equations are the whole combinations of a few vectors. Each
//! equation takes one of them away, by Euclid's algorithm on the equation's values; the rest are
//! made short in the norm that costs give (Lenstra, Lenstra & Lovász 1982; after Cohen, "A course in
//! computational algebraic number theory", algorithm 2.6.3, from memory), so that steps along them
//! change few numbers by little.

/// How much shorter the next vector may be before two are exchanged (Lovász' condition).
const EXCHANGE: f64 = 0.99;
/// Exchanges at most: reduction ends long before.
const MOST_EXCHANGES: usize = 20_000;

/// An equation: factors of numbers; their sum is to be nothing.
pub(super) type Equation = Vec<(usize, i32)>;

/// All solutions of equations, as combinations of vectors.
#[derive(Clone, Debug, Default, PartialEq)]
pub(super) struct Lattice {
    pub vectors: Vec<Vec<i32>>,
}

/// The vector that an equation takes away, and what it makes the equation's sum.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Step {
    pub vector: Vec<i32>,
    pub value: i64,
}

impl Lattice {
    /// The solutions of equations in so many numbers; `None` where numbers grow beyond 32 bits.
    pub fn new(numbers: usize, equations: &[Equation]) -> Option<Self> {
        let unit = |i: usize| {
            let mut vector = vec![0; numbers];
            vector[i] = 1;
            vector
        };
        let mut lattice = Self {
            vectors: (0..numbers).map(unit).collect(),
        };
        for equation in equations {
            lattice.restrict(equation)?;
        }
        Some(lattice)
    }

    /// Restricts the lattice to one equation more; what was taken away for it, if all vectors
    /// together didn't meet it already. `None` where numbers grow beyond 32 bits.
    pub fn restrict(&mut self, equation: &Equation) -> Option<Option<Step>> {
        let mut values: Vec<i64> = self.vectors.iter().map(|v| value(equation, v)).collect();
        loop {
            let smallest = (0..values.len())
                .filter(|&k| values[k] != 0)
                .min_by_key(|&k| (values[k].abs(), changes(&self.vectors[k]), k));
            let Some(pivot) = smallest else {
                return Some(None);
            };
            let mut alone = true;
            for k in 0..values.len() {
                if k == pivot || values[k] == 0 {
                    continue;
                }
                let factor = (values[k] as f64 / values[pivot] as f64).round() as i64;
                let [vector, by] = self.vectors.get_disjoint_mut([k, pivot]).ok()?;
                subtract(vector, by, factor)?;
                values[k] -= factor * values[pivot];
                alone &= values[k] == 0;
            }
            if alone {
                return Some(Some(Step {
                    vector: self.vectors.remove(pivot),
                    value: values[pivot],
                }));
            }
        }
    }

    /// Makes the vectors short and nearly at right angles to each other; `weights`: of each number's
    /// square in the norm, above 0. `None` where numbers grow beyond 32 bits.
    pub fn reduce(&mut self, weights: &[f64]) -> Option<()> {
        let n = self.vectors.len();
        let mut frame = Frame::default();
        let (mut k, mut exchanges) = (0, 0);
        while k < n {
            frame.row(&self.vectors, weights, k);
            for j in (0..k).rev() {
                let factor = frame.along[k][j].round();
                if factor != 0.0 {
                    let [vector, by] = self.vectors.get_disjoint_mut([k, j]).ok()?;
                    subtract(vector, by, factor as i64)?;
                    for i in 0..j {
                        frame.along[k][i] -= factor * frame.along[j][i];
                    }
                    frame.along[k][j] -= factor;
                }
            }
            if k > 0 && exchanges < MOST_EXCHANGES {
                let lean = frame.along[k][k - 1];
                if frame.norms[k] < (EXCHANGE - lean * lean) * frame.norms[k - 1] {
                    self.vectors.swap(k, k - 1);
                    exchanges += 1;
                    k -= 1;
                    continue;
                }
            }
            k += 1;
        }
        Some(())
    }

    /// Takes whole multiples of the vectors off numbers until what is left is small in the norm
    /// of the weights: the nearest plane of Babai, 1986.
    pub fn nearest(&self, mut rest: Vec<f64>, weights: &[f64]) -> Vec<i64> {
        let n = self.vectors.len();
        let mut frame = Frame::default();
        let mut along = Vec::with_capacity(n);
        for k in 0..n {
            frame.row(&self.vectors, weights, k);
            let inner: f64 = inner(weights, &self.vectors[k], |i| rest[i]);
            let before: f64 = (0..k).map(|j| frame.along[k][j] * along[j]).sum();
            along.push(inner - before);
        }
        let mut taken = vec![0; rest.len()];
        for k in (0..n).rev() {
            let factor = (along[k] / frame.norms[k]).round();
            if factor == 0.0 {
                continue;
            }
            for (i, &v) in self.vectors[k].iter().enumerate() {
                rest[i] -= factor * f64::from(v);
                taken[i] += factor as i64 * i64::from(v);
            }
            for j in 0..k {
                along[j] -= factor * frame.along[k][j] * frame.norms[j];
            }
        }
        taken
    }
}

/// Vectors made orthogonal, one after another (Gram & Schmidt).
#[derive(Default)]
struct Frame {
    /// How far each leans along those before it.
    along: Vec<Vec<f64>>,
    /// Squared length of what is left of each.
    norms: Vec<f64>,
}

impl Frame {
    /// Sets row `k`, those before being set.
    fn row(&mut self, vectors: &[Vec<i32>], weights: &[f64], k: usize) {
        self.along.truncate(k);
        self.norms.truncate(k);
        let mut row = Vec::with_capacity(k);
        for j in 0..k {
            let of = inner(weights, &vectors[j], |i| f64::from(vectors[k][i]));
            let before: f64 = (0..j)
                .map(|i| self.along[j][i] * row[i] * self.norms[i])
                .sum();
            row.push((of - before) / self.norms[j]);
        }
        let whole = inner(weights, &vectors[k], |i| f64::from(vectors[k][i]));
        let before: f64 = (0..k).map(|i| row[i] * row[i] * self.norms[i]).sum();
        self.along.push(row);
        self.norms.push((whole - before).max(f64::MIN_POSITIVE));
    }
}

fn inner(weights: &[f64], a: &[i32], b: impl Fn(usize) -> f64) -> f64 {
    let terms = a.iter().enumerate().filter(|(_, v)| **v != 0);
    terms.map(|(i, &v)| weights[i] * f64::from(v) * b(i)).sum()
}

fn value(equation: &Equation, vector: &[i32]) -> i64 {
    let terms = equation.iter();
    terms
        .map(|&(i, f)| i64::from(f) * i64::from(vector[i]))
        .sum()
}

fn changes(vector: &[i32]) -> i64 {
    vector.iter().map(|v| i64::from(v.abs())).sum()
}

fn subtract(from: &mut [i32], by: &[i32], factor: i64) -> Option<()> {
    for (a, &b) in from.iter_mut().zip(by).filter(|(_, b)| **b != 0) {
        let less = i64::from(*a).checked_sub(i64::from(b).checked_mul(factor)?)?;
        *a = i32::try_from(less).ok()?;
    }
    Some(())
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Worked example of the reduction (Wikipedia, "Lenstra–Lenstra–Lovász lattice basis reduction
    /// algorithm", from memory): (1, 1, 1), (−1, 0, 2), (3, 5, 6) become (0, 1, 0), (1, 0, 1), (−1, 0, 2).
    #[test]
    fn a_basis_becomes_short() {
        let mut lattice = Lattice {
            vectors: vec![vec![1, 1, 1], vec![-1, 0, 2], vec![3, 5, 6]],
        };
        lattice.reduce(&[1.0; 3]).unwrap();
        let mut squares: Vec<i32> = lattice
            .vectors
            .iter()
            .map(|v| v.iter().map(|x| x * x).sum())
            .collect();
        squares.sort_unstable();
        assert_eq!(squares, [1, 2, 5]);
        // Whole combinations with factors of ±1 between bases keep the determinant: 3 here.
        let v = &lattice.vectors;
        let minor = |i: usize, j: usize| v[1][i] * v[2][j] - v[1][j] * v[2][i];
        let whole = v[0][0] * minor(1, 2) - v[0][1] * minor(0, 2) + v[0][2] * minor(0, 1);
        assert_eq!(whole.abs(), 3);
    }

    /// Brute force: all whole solutions in a box are those that the vectors reach.
    #[test]
    fn equations_leave_all_their_whole_solutions() {
        let equations = [vec![(0, 2), (1, 3), (2, -4)], vec![(2, 1), (3, -6)]];
        let mut lattice = Lattice::new(4, &equations).unwrap();
        lattice.reduce(&[1.0; 4]).unwrap();
        assert_eq!(lattice.vectors.len(), 2);
        let mut reached = Vec::new();
        for a in -40..=40 {
            for b in -40..=40 {
                let of = |i: usize| a * lattice.vectors[0][i] + b * lattice.vectors[1][i];
                reached.push([of(0), of(1), of(2), of(3)]);
            }
        }
        let mut solutions = 0;
        for x in -12..=12 {
            for y in -12..=12 {
                for z in [-12, -6, 0, 6, 12] {
                    if 2 * x + 3 * y == 4 * z {
                        solutions += 1;
                        assert!(reached.contains(&[x, y, z, z / 6]), "{x} {y} {z}");
                    }
                }
            }
        }
        assert!(solutions > 10, "{solutions}");
    }

    /// On the lattice of the whole numbers the nearest plane is rounding.
    #[test]
    fn on_whole_numbers_the_nearest_is_rounding() {
        let lattice = Lattice::new(3, &[]).unwrap();
        let taken = lattice.nearest(vec![1.4, -2.6, 0.2], &[1.0, 0.5, 3.0]);
        assert_eq!(taken, [1, -3, 0]);
    }

    #[test]
    fn an_equation_that_holds_anyway_takes_nothing_away() {
        let mut lattice = Lattice::new(2, &[vec![(0, 1), (1, -1)]]).unwrap();
        assert_eq!(lattice.restrict(&vec![(0, 2), (1, -2)]), Some(None));
        let step = lattice.restrict(&vec![(0, 3)]).unwrap().unwrap();
        assert_eq!((step.value.abs(), lattice.vectors.len()), (3, 0));
    }
}
