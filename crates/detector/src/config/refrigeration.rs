use super::macros::thresholds;

thresholds! {
    /// The capacity index: return minus supply air at full cooling, over what is expected at that return
    /// temperature and ambient.
    Cooling "cooling" {
        return_slope: f64 = 0.02, 0.0..=0.1,
            "Relative growth of capacity per K of return air above 0 Cel (a machine of 14 kW + 0.3 kW/K has 2.1 %/K).";
        ambient_slope: f64 = 0.01, 0.0..=0.05, "Relative loss of capacity per K of ambient above 30 Cel.";
        least_td_k: f64 = 1.0, 0.2..=5.0, "Air differences under this are no full cooling, K.";
        sigma: f64 = 0.05, 0.01..=0.3, "Day-to-day spread of the index in a fleet, as a share.";
        least_loss: f64 = 0.15, 0.05..=0.5, "Loss that makes a case, as a share of the baseline.";
        part_load_factor: f64 = 1.5, 1.0..=3.0,
            "At part load the loss has to be larger by this factor: a throttle tells less than full cooling.";
        act_loss: f64 = 0.3, 0.1..=0.8, "Loss that escalates it.";
        slope_k_per_min: f64 = 1.2, 0.1..=3.0,
            "Return air moving faster than this is not judged, K/min: the two air sensors lag by some seconds only.";
        least_part_td_k: f64 = 1.5, 0.5..=5.0, "Least air difference at part load, K.";
        least_throttle: f64 = 20.0, 0.0..=50.0,
            "Throttle opening from which part load is judged, %: nearly shut it tells nothing.";
        throttle_leak: f64 = 0.1, 0.0..=0.4, "Share of the capacity that a shut throttle lets pass.";
        throttle_open: f64 = 90.0, 0.0..=100.0, "Suction throttle open by at least this is full cooling, %.";
    }
}

thresholds! {
    /// Pull-downs and long runs.
    PullDown "pull_down" {
        start_k: f64 = 8.0, 3.0..=30.0, "Return air this far above the set point begins a pull-down, K.";
        reached_k: f64 = 1.0, 0.2..=5.0, "This near to the set point it is reached, K.";
        fit_min: f64 = 20.0, 10.0..=120.0, "A pull-down is judged from this length on, finished or not, min.";
        fit_fall_k: f64 = 6.0, 2.0..=20.0, "And from this fall on, K.";
        episodes: u8 = 12, 6..=28, "Pull-downs that make a baseline.";
        ambient_slope: f64 = 0.03, 0.0..=0.1, "Expected lengthening per K of ambient, as a share.";
        excess_power: f64 = 0.3, 0.0..=1.0,
            "The time grows with this power of the distance to the set point at the start: walls are warm as well.";
        sigma: f64 = 0.3, 0.05..=1.0, "Spread of the logarithm of the normalised time in a fleet.";
        ratio: f64 = 1.5, 1.1..=5.0, "Time over its baseline that makes a case.";
        k: f64 = 0.75, 0.25..=3.0, "Slack of its chart.";
        h: f64 = 4.0, 2.0..=20.0, "Its chart signals above this.";
        long_run_h: f64 = 4.0, 2.0..=48.0,
            "A start-stop unit that cools for this long without a stop should have fallen towards its set point, h.";
        long_run_over_k: f64 = 0.2, 0.0..=5.0,
            "Mean return air of the last hour this far above the set point has not reached it, K.";
        long_run_fall_k: f64 = 0.5, 0.1..=5.0, "Fall from the first to the last hour of such a run that is progress, K.";
    }
}

thresholds! {
    /// Compressor starts in start-stop mode.
    Cycling "cycling" {
        blind_cadence_min: f64 = 3.0, 1.0..=30.0,
            "Without a counter or state events, starts sampled slower than this cannot be counted, min.";
        least_hours: f64 = 3.0, 1.0..=24.0, "Hours in start-stop mode, masks taken off, that a day needs.";
        sigma: f64 = 0.2, 0.05..=1.0, "Day-to-day spread of the square root of starts per hour in a fleet.";
        least_excess: f64 = 2.0, 0.5..=10.0, "Starts per hour over the expected that make a case.";
        run_drop: f64 = 0.3, 0.1..=0.8, "Fall of the median run time that a case needs, as a share.";
        act_per_hour: f64 = 8.0, 4.0..=30.0,
            "Starts per hour that need no baseline; 6 are normal practice and 10 short cycling in a trade guide.";
        act_hours: f64 = 3.0, 1.0..=12.0, "Hours for which that rate has to last.";
        short_run_min: f64 = 3.0, 0.5..=10.0, "A run shorter than this is short, min (common practice: 2 to 5).";
        short_runs: u8 = 3, 2..=20, "Short runs within an hour that need no baseline.";
        defrost_grace_min: f64 = 2.0, 0.0..=30.0, "Starts this soon after a defrost or a switch-on are not counted, min.";
    }
}

thresholds! {
    /// Condensing temperature over ambient at full cooling.
    Discharge "discharge" {
        run_min: f64 = 15.0, 5.0..=60.0, "Running this long before it is believed, min.";
        pull_down_min: f64 = 10.0, 0.0..=120.0, "Minutes from the begin of a pull-down that are left out.";
        slope_k_per_min: f64 = 0.8, 0.05..=3.0,
            "Return air moving faster than this is not judged, K/min: the condenser follows within minutes.";
        ambient_low: f64 = 10.0, -20.0..=25.0, "Ambient below this: head-pressure control may hold it, Cel.";
        ambient_high: f64 = 45.0, 30.0..=60.0, "Ambient above this is not judged, Cel.";
        return_slope: f64 = 0.15, 0.0..=1.0, "Expected rise per K of return air: more heat to reject, K/K.";
        ambient_slope: f64 = -0.05, -0.5..=0.5, "Expected change per K of ambient, K/K.";
        load_slope: f64 = 1.5, 0.0..=5.0,
            "At part load: expected rise per K of air difference, K/K; the heat rejected follows the heat taken up.";
        sigma_k: f64 = 1.2, 0.2..=5.0, "Day-to-day spread in a fleet, K.";
        least_k: f64 = 2.0, 0.5..=10.0, "Rise that makes a case, K.";
        act_k: f64 = 5.0, 2.0..=20.0, "Rise that escalates it, and that three runs of a day show at once as a step, K.";
        step_runs: u8 = 3, 2..=10, "Runs of one day beyond the act level that open at once.";
        design_ambient: f64 = 38.0, 20.0..=55.0, "Ambient of the hottest day to be survived, Cel.";
        cut_out_margin_kpa: f64 = 100.0, 0.0..=500.0, "Distance kept to the high-pressure cut-out, kPa.";
        forecast_days: u8 = 21, 10..=21, "Admitted days that the forecast looks at.";
    }
}
