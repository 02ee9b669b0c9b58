//! Which runs cost far more than their size explains.

use crate::record::Record;

/// A run is slow from this many times the trend on ...
const FACTOR: f64 = 6.0;
/// ... and from this much processor time on, s.
const LEAST: f64 = 1.0;

/// Processor time by size: `a · t log t + b · f log f` seconds for `t` triangles and `f` faces.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Trend {
    /// Seconds for each triangle and doubling.
    pub a: f64,
    /// Seconds for each face and doubling.
    pub b: f64,
}

fn n_log_n(n: usize) -> f64 {
    let n = n.max(2) as f64;
    n * n.log2()
}

impl Trend {
    /// Least squares of the relative errors over finished runs; `None` for fewer than four.
    pub fn fit(records: &[Record]) -> Option<Self> {
        let finished: Vec<&Record> = records
            .iter()
            .filter(|r| r.ending.is_success() && r.cpu > 0.0)
            .collect();
        if finished.len() < 4 {
            return None;
        }
        // Rows (x, y) with x·a + y·b = 1.
        let (mut xx, mut xy, mut yy, mut x1, mut y1) = (0.0, 0.0, 0.0, 0.0, 0.0);
        for r in finished {
            let (x, y) = (n_log_n(r.triangles) / r.cpu, n_log_n(r.faces) / r.cpu);
            xx += x * x;
            xy += x * y;
            yy += y * y;
            x1 += x;
            y1 += y;
        }
        let determinant = xx * yy - xy * xy;
        let (a, b) = (
            (x1 * yy - y1 * xy) / determinant,
            (y1 * xx - x1 * xy) / determinant,
        );
        // Neither can be less than nothing; one alone then explains it all.
        Some(match (a > 0.0, b > 0.0) {
            (true, true) => Self { a, b },
            (true, false) => Self { a: x1 / xx, b: 0.0 },
            _ => Self { a: 0.0, b: y1 / yy },
        })
    }

    /// Seconds that a run of this size should take.
    pub fn expected(&self, record: &Record) -> f64 {
        let faces = record.faces.max(record.faces_asked);
        self.a * n_log_n(record.triangles) + self.b * n_log_n(faces)
    }

    /// Whether a run is far above the trend.
    pub fn is_slow(&self, record: &Record) -> bool {
        record.cpu > LEAST.max(FACTOR * self.expected(record))
    }
}
