/// Makes a median absolute deviation comparable with a standard deviation of normally distributed values.
pub const MAD_TO_SIGMA: f64 = 1.4826;

/// Median of the values, which are reordered; the mean of the middle two where their number is even.
///
/// `None` without values or with one that is not finite.
pub fn median_in_place(values: &mut [f64]) -> Option<f64> {
    if values.is_empty() || values.iter().any(|v| !v.is_finite()) {
        return None;
    }
    let middle = values.len() / 2;
    let even = values.len().is_multiple_of(2);
    let (below, upper, _) = values.select_nth_unstable_by(middle, f64::total_cmp);
    let upper = *upper;
    if !even {
        return Some(upper);
    }
    let lower = below.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    Some(f64::midpoint(lower, upper))
}

/// Median absolute deviation from `centre`, unscaled; see [`MAD_TO_SIGMA`]. The values are overwritten.
///
/// `None` without values or with one that is not finite.
pub fn mad_in_place(values: &mut [f64], centre: f64) -> Option<f64> {
    for value in values.iter_mut() {
        *value = (*value - centre).abs();
    }
    median_in_place(values)
}
