//! Medians and headings.

use std::time::Instant;

/// Runs `work` once and gives its result and seconds.
pub fn timed<T>(work: impl FnOnce() -> T) -> (T, f64) {
    let start = Instant::now();
    let result = work();
    (result, start.elapsed().as_secs_f64())
}

/// Processor seconds of this process so far, all threads together, to a hundredth; 0 where
/// the system has no `/proc`. Others at work on the machine hardly change them.
pub fn processor() -> f64 {
    let text = std::fs::read_to_string("/proc/self/stat").unwrap_or_default();
    // proc(5): user and system time are the 12th and 13th field after the name, in 1/100 s.
    let fields = text
        .rsplit(')')
        .next()
        .unwrap_or_default()
        .split_whitespace();
    fields
        .skip(11)
        .take(2)
        .filter_map(|w| w.parse::<f64>().ok())
        .sum::<f64>()
        / 100.0
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
