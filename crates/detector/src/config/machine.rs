use super::macros::thresholds;

thresholds! {
    /// When observations are set aside, and for how long at most: no mask may hide a unit for ever.
    Masks "masks" {
        startup_min: f64 = 10.0, 2.0..=60.0,
            "Minutes after a compressor start in which pressures and air differences still settle.";
        defrost_recovery_min: f64 = 45.0, 10.0..=180.0,
            "Longest recovery after a defrost, min; it ends sooner once the return air is back.";
        defrost_longest_min: f64 = 75.0, 20.0..=240.0,
            "Longest a defrost itself may mask, min; a defrost normally ends within 30 min (common practice).";
        door_longest_min: f64 = 60.0, 10.0..=240.0,
            "Longest an open door and the recovery after it may mask, min.";
        stage_min: f64 = 2.0, 0.0..=15.0,
            "Time after a change of speed or stage in which pressures and air difference settle, min.";
        settle_min: f64 = 15.0, 5.0..=60.0,
            "Time after a door or a defrost in which the coil dries and cools again, min; what does not depend on the load, such as the cooling index, is judged from then on.";
        heated_min: f64 = 2.0, 0.0..=30.0, "Time after heating in which the coil cools again, min.";
        recovered_k: f64 = 1.5, 0.2..=5.0,
            "Return air this near to where it was counts as recovered from a defrost or a door, K.";
        door_rise_k: f64 = 3.0, 1.0..=15.0,
            "Return air rising by this within 10 min while the unit runs is a possible door opening, K.";
        door_guess_min: f64 = 30.0, 5.0..=120.0,
            "How long a possible, not reported, door opening masks, min.";
        set_point_k: f64 = 1.0, 0.2..=10.0,
            "A set-point change larger than this starts a new pull-down, K.";
        set_point_longest_min: f64 = 360.0, 30.0..=2880.0,
            "Longest a set-point change may mask, min.";
        gap_cadences: f64 = 3.0, 2.0..=20.0,
            "Readings further apart than this many cadences are a gap; nothing is assumed across it.";
    }
}

thresholds! {
    /// When the unit is steady enough for its readings to be compared.
    Steady "steady" {
        forget: f64 = 0.7, 0.5..=0.95,
            "Forgetting factor of the moving slope and spread; 0.6 to 0.8 was found fast without chatter in a published rooftop-unit study.";
        settled_k_per_min: f64 = 0.35, 0.05..=2.0,
            "Return air moving slower than this is settled: circuit and sensors follow without lag, K/min.";
        step_k: f64 = 1.0, 0.2..=5.0,
            "At slow cadence: two readings in the same state this near are steady, K.";
        pressure_spread: f64 = 0.03, 0.005..=0.2,
            "Relative spread of the discharge pressure under which it is steady.";
        samples: u8 = 3, 1..=60, "Samples a day needs to be admitted; two are enough when 15 min apart.";
        minutes: f64 = 30.0, 5.0..=240.0, "Minutes those samples have to span.";
        together_days: u16 = 3, 1..=7,
            "Days whose samples are put together where one day alone has too few.";
    }
}

thresholds! {
    /// How a unit's own normal is learned: once, then frozen until somebody services the unit.
    Baseline "baseline" {
        days: u8 = 21, 14..=28,
            "Admitted days that make a baseline. Fewer make false flags common: 14 unguarded days raise them 7 to 8 times.";
        guard: f64 = 1.28, 0.0..=3.0,
            "The mean of n days is uncertain: guard/sqrt(n) is added to the chart's slack.";
        fleet_weight: f64 = 20.0, 0.0..=200.0,
            "Weight, in days, of the fleet's spread when it is pooled with the unit's own.";
    }
}

thresholds! {
    /// The one-sided cumulative sum that every daily value goes through.
    Chart "chart" {
        k: f64 = 1.0, 0.25..=3.0, "Slack per admitted day, in standard deviations.";
        h: f64 = 6.0, 2.0..=20.0,
            "The chart signals above this. With k 1 and a guarded baseline about 4e-4 false per unit-week (computed on correlated synthetic days).";
        clip: f64 = 3.0, 1.5..=10.0, "One day counts at most this many standard deviations.";
        clear_share: f64 = 0.3, 0.0..=0.9, "It clears below this share of h.";
        clear_days: u8 = 3, 1..=14, "Admitted days in a row that clearing needs.";
        prior_log_odds: f64 = -4.0, -10.0..=0.0,
            "Log-odds that a given unit has a given condition now, before any evidence.";
        correlation: f64 = 0.4, 0.0..=0.9, "Assumed correlation of one day with the next.";
    }
}

thresholds! {
    /// Comparison with similar units on the same day: removes heat waves, fuel and firmware.
    Peers "peers" {
        least_units: u16 = 15, 5..=1000, "Fewer comparable units than this: nothing is subtracted.";
        settle_hours: f64 = 6.0, 0.0..=48.0,
            "A day is judged this long after its end, so that the other units have reported it too, h.";
    }
}

thresholds! {
    /// Units that stopped reporting.
    Silence "silence" {
        cadences: f64 = 3.0, 2.0..=50.0, "Silent after this many expected cadences, if nothing below is longer.";
        least_min: f64 = 30.0, 5.0..=1440.0, "No first signs before this, min.";
        open_min: f64 = 120.0, 5.0..=2880.0,
            "First signs become a case after this, min: coverage holes of an hour or so are everyday.";
        habit_longest_h: f64 = 48.0, 1.0..=720.0, "A habit longer than this hides nothing, h.";
    }
}
