use super::macros::thresholds;

thresholds! {
    /// Readings outside the physical span; circuits reported open, shorted or failed.
    OutOfRange "out_of_range" {
        present_readings: u8 = 10, 2..=200,
            "Plausible readings, of two values at least, that show a channel to be fitted where the registry does not say.";
        samples: u8 = 3, 2..=20, "Bad samples in a row; two are enough at a cadence of 7.5 min or slower.";
        minutes: f64 = 5.0, 1.0..=120.0, "Minutes those samples span (common practice: 2 to 3 samples).";
        intermittent: u8 = 3, 2..=20, "Separate excursions within 24 h that make a loose connection.";
        clear_min: f64 = 60.0, 10.0..=1440.0, "Plausible for this long: clear, min. A loose connection needs 24 h.";
        missing_hours: f64 = 6.0, 1.0..=168.0,
            "A channel that always reported and is left out for this long while the unit reports, h.";
    }
}

thresholds! {
    /// A sensor that stands still although what it should follow moved. Flat alone is never stuck.
    Stuck "stuck" {
        minutes: f64 = 30.0, 10.0..=600.0, "Unchanged for this much running time, min.";
        samples: u8 = 4, 3..=60, "Unchanged samples at least.";
        coupling: f64 = 0.3, 0.05..=1.0, "Share of a neighbour's movement that the sensor should at least follow.";
        twin_coupling: f64 = 0.7, 0.1..=1.0, "The same for a twin in the same air stream.";
        excitation_k: f64 = 2.0, 0.5..=10.0, "Movement expected of it that it did not make, K; at least 4 of its steps.";
        excitation_kpa: f64 = 150.0, 30.0..=1000.0,
            "Fall or rise of the other pressure that this one should have shown, kPa.";
        events: u8 = 1, 1..=10, "Starts, stops, defrosts or door openings that passed meanwhile.";
        pressure_starts: u8 = 2, 1..=10, "Starts or stops that a pressure must have missed.";
        clear_samples: u8 = 5, 2..=100, "Moving samples that clear it.";
    }
}

thresholds! {
    /// Single values that jump away and return.
    Spikes "spikes" {
        kappa: f64 = 4.0, 3.0..=10.0, "Departure from the median of the last seven, in robust deviations.";
        least_k: f64 = 4.0, 0.5..=20.0, "Smallest departure of an air or box temperature, K.";
        least_ambient_k: f64 = 6.0, 1.0..=30.0,
            "Smallest departure of the ambient temperature, K: rain and fronts move it by 5 K within an hour.";
        least_kpa: f64 = 250.0, 20.0..=2000.0, "Smallest departure of a pressure, kPa.";
        typical_steps: f64 = 6.0, 2.0..=20.0, "Departure in multiples of the channel's typical step.";
        neighbour_share: f64 = 0.3, 0.1..=1.0,
            "A neighbour moving the same way by this share says that the air moved, not the sensor.";
        count: u8 = 5, 3..=50, "Spikes that make a case.";
        days: u8 = 2, 1..=10, "Days they have to fall on.";
        quiet_days: f64 = 7.0, 1.0..=30.0, "Days without a spike after which counting starts anew and the case clears.";
    }
}

thresholds! {
    /// Sample-to-sample noise against the sensor's own past.
    Noise "noise" {
        samples: u16 = 20, 10..=1000, "Steady samples a day needs.";
        ratio: f64 = 3.0, 1.5..=20.0, "Noise over its baseline that makes a case.";
        quanta: f64 = 3.0, 1.0..=20.0, "Noise has to exceed this many of the sensor's steps.";
        sigma: f64 = 0.35, 0.1..=1.0, "Day-to-day spread of the logarithm of the noise.";
        h: f64 = 5.0, 2.0..=20.0, "The noise chart signals above this.";
        alternation: f64 = 0.5, 0.4..=0.7,
            "Share of steps that reverse the one before; pure noise has 2/3, hunting far less.";
        shared: f64 = 0.5, 0.2..=1.0, "A neighbour with this share of the noise's rise says that the air hunts.";
        longest_cadence_min: f64 = 15.0, 1.0..=60.0, "Slower than this, noise and real movement cannot be told apart, min.";
        days: u8 = 10, 7..=28, "Days that make the noise baseline.";
    }
}

thresholds! {
    /// Two sensors of one air stream.
    Twins "twins" {
        sigma_k: f64 = 0.15, 0.03..=1.0, "Day-to-day spread of the difference in a fleet, K.";
        drift_k: f64 = 0.5, 0.1..=3.0, "Change of the difference that counts as drift, K.";
        disagree_k: f64 = 1.0, 0.3..=5.0, "Change that counts as disagreement, K: readings of both become doubtful.";
        act_k: f64 = 2.0, 0.5..=10.0, "Change that needs no more waiting than three steady stretches, K.";
        stretches: u8 = 3, 2..=20, "Steady stretches beyond the act level that open at once.";
    }
}

thresholds! {
    /// Discharge and suction pressure after the circuit equalised.
    Offset "offset" {
        off_min: f64 = 45.0, 15.0..=360.0, "Off for this long before pressures are compared, min.";
        settled_kpa_per_min: f64 = 1.0, 0.05..=10.0, "Their difference moves slower than this, kPa/min.";
        soaks: u8 = 6, 4..=20, "Off periods that make a baseline.";
        sigma_kpa: f64 = 12.0, 2.0..=100.0, "Spread of the difference from one off period to the next, kPa.";
        least_kpa: f64 = 50.0, 10.0..=500.0, "Change of the difference that makes a case, kPa.";
        k: f64 = 0.75, 0.25..=3.0, "Slack of its chart.";
        h: f64 = 4.0, 2.0..=20.0, "Its chart signals above this.";
    }
}
