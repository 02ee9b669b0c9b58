//! Medians and headings.

use std::time::Instant;

/// Runs `work` once and gives its result and seconds.
pub fn timed<T>(work: impl FnOnce() -> T) -> (T, f64) {
    let start = Instant::now();
    let result = work();
    (result, start.elapsed().as_secs_f64())
}

/// The middle one; of an even number the upper of the two.
///
/// # Panics
/// For no values.
pub fn median(values: impl IntoIterator<Item = f64>) -> f64 {
    let mut values: Vec<f64> = values.into_iter().collect();
    values.sort_by(f64::total_cmp);
    values[values.len() / 2]
}

/// A heading of the printed table.
pub fn heading(title: &str) {
    println!("\n{title}");
    println!("{}", "-".repeat(title.chars().count()));
}

/// A line of the printed table.
pub fn line(name: &str, value: f64, unit: &str) {
    println!("  {name:<44} {value:>10.3} {unit}");
}
