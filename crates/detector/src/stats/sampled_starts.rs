/// Starts per hour that a state sampled every `interval_min` minutes shows, on average, of a compressor that starts
/// `starts_per_h` times an hour and runs for a share `duty` of the time, on and off periods exponentially distributed:
/// `60/D d (1-d) (1 - exp(-D (1/on + 1/off)))` with `on = 60 d / starts` and `off = 60 (1-d) / starts` minutes.
///
/// Fast cycling seen at a slow cadence saturates: whoever counts starts from states must compare with this first.
/// `None` unless `0 < duty < 1` and both other figures are positive.
pub fn expected_observed_starts(interval_min: f64, starts_per_h: f64, duty: f64) -> Option<f64> {
    if !(duty > 0.0 && duty < 1.0 && starts_per_h > 0.0 && interval_min > 0.0) {
        return None;
    }
    let on = 60.0 * duty / starts_per_h;
    let off = 60.0 * (1.0 - duty) / starts_per_h;
    let changed = -(-interval_min * (1.0 / on + 1.0 / off)).exp_m1();
    Some(60.0 / interval_min * duty * (1.0 - duty) * changed)
}
