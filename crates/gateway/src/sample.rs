use rimeline_channels::{Absence, Channel, Measure, Reading, State, UnixMs, Value};

/// One value of one channel, already in the channel's own scale.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Sample {
    /// Which channel.
    pub channel: Channel,
    /// What it says.
    pub value: Value,
}

/// A quantity in a unit of measure that the channel cannot have.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
#[error("{channel} is measured in {}, and {} cannot be converted into it", .channel.spec().measure.code(), .given.code())]
pub struct WrongMeasure {
    /// The channel.
    pub channel: Channel,
    /// What was given.
    pub given: Measure,
}

impl Sample {
    /// A quantity in any unit of measure of the same kind. A quantity that is no number, or that no channel can store,
    /// says that the source failed.
    pub fn new(channel: Channel, quantity: f64, measure: Measure) -> Result<Self, WrongMeasure> {
        let wanted = channel.spec().measure;
        let converted = measure.convert(quantity, wanted).ok_or(WrongMeasure { channel, given: measure })?;
        let fixed = channel.to_fixed(converted);
        let value = fixed.map_or(Value::Absent(Absence::FailedOther), Value::Number);
        Ok(Self { channel, value })
    }

    /// No number, and why.
    pub fn absent(channel: Channel, absence: Absence) -> Self {
        Self { channel, value: Value::Absent(absence) }
    }
}

/// A reading of these samples; channels that are not among them are not reported.
pub fn reading(time: UnixMs, state: State, samples: impl IntoIterator<Item = Sample>) -> Reading {
    let mut reading = Reading::new(time, state);
    for sample in samples {
        reading.set(sample.channel, sample.value);
    }
    reading
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn quantities_arrive_in_the_scale_of_their_channel() {
        let sample = |channel, quantity, measure| Sample::new(channel, quantity, measure).unwrap().value;
        // 14 degF = -10 Cel and 1 bar = 100 kPa by definition.
        assert_eq!(sample(Channel::ReturnAirControl, 14.0, Measure::Fahrenheit), Value::Number(-100));
        assert_eq!(sample(Channel::DischargePressure, 17.25, Measure::Bar), Value::Number(1725));
        assert_eq!(sample(Channel::BatteryVoltage, 12_340.0, Measure::Millivolt), Value::Number(1234));
    }

    #[test]
    fn a_measure_of_another_kind_is_refused_by_name() {
        let error = Sample::new(Channel::ReturnAirControl, 3.0, Measure::Bar).unwrap_err();
        assert_eq!(
            error.to_string(),
            "return_air_control is measured in Cel, and bar cannot be converted into it"
        );
    }

    #[test]
    fn what_is_no_number_is_a_failure_and_not_a_number() {
        for quantity in [f64::NAN, f64::INFINITY, 1e300] {
            let sample = Sample::new(Channel::Coil, quantity, Measure::Celsius).unwrap();
            assert_eq!(sample, Sample::absent(Channel::Coil, Absence::FailedOther));
        }
    }

    #[test]
    fn a_reading_reports_its_samples_and_nothing_else() {
        let door = Sample::absent(Channel::Coil, Absence::NotFitted);
        let air = Sample::new(Channel::ReturnAirControl, 2.5, Measure::Celsius).unwrap();
        let reading = reading(7, State::default(), [door, air]);
        assert_eq!(reading.quantity(Channel::ReturnAirControl), Some(2.5));
        assert_eq!(reading.get(Channel::Coil), Value::Absent(Absence::NotFitted));
        assert_eq!(reading.get(Channel::AmbientAir), Value::Absent(Absence::NotReported));
    }
}
