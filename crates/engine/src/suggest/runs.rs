//! Values along a run, averaged.

/// Values averaged with a bell of this width (in samples); fewer samples count at the ends.
pub(super) fn blurred<T>(values: &[T], width: f64) -> Vec<T>
where
    T: Copy + std::ops::Mul<f64, Output = T> + std::ops::Add<Output = T>,
{
    let reach = (3.0 * width).ceil() as usize;
    let weight = |d: usize| (-0.5 * (d as f64 / width.max(1e-9)).powi(2)).exp();
    (0..values.len())
        .map(|i| {
            // As far to both sides, so that the ends aren't drawn inwards.
            let reach = reach.min(i).min(values.len() - 1 - i);
            let mut sum = values[i];
            let mut total = 1.0;
            for d in 1..=reach {
                sum = sum + (values[i - d] + values[i + d]) * weight(d);
                total += 2.0 * weight(d);
            }
            sum * (1.0 / total)
        })
        .collect()
}
