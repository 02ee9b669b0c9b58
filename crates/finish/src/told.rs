//! Lengths as refusals tell them.

/// A greatest length, to four digits and never above it: asked for as it is told, it goes.
pub(crate) fn at_most(length: f64) -> f64 {
    if length <= 0.0 || !length.is_finite() {
        return length;
    }
    let digits = 3 - length.log10().floor() as i32;
    let scale = 10f64.powi(digits);
    (length * scale).floor() / scale
}

#[cfg(test)]
mod tests {
    use super::at_most;

    #[test]
    fn what_is_told_is_never_more() {
        for (length, told) in [
            (2.9568, "2.956"),
            (0.0031249, "0.003124"),
            (12.3456, "12.34"),
            (0.0, "0"),
        ] {
            assert_eq!(at_most(length).to_string(), told);
        }
    }
}
