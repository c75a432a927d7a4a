use crate::{Absence, Channel, State, UnixMs, Value};

/// All channels of one unit at one time, as a row that is filled again and again without allocating.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Reading {
    /// When it was measured.
    pub time: UnixMs,
    /// The unit's state at that time.
    pub state: State,
    values: [i32; Channel::COUNT],
    numbers: u64,
    absences: [u8; Channel::COUNT],
}

impl Default for Reading {
    fn default() -> Self {
        Self::new(0, State::default())
    }
}

impl Reading {
    /// A reading in which no channel is reported.
    pub fn new(time: UnixMs, state: State) -> Self {
        let absences = [Absence::NotReported as u8; Channel::COUNT];
        Self { time, state, values: [0; Channel::COUNT], numbers: 0, absences }
    }

    /// Makes this an empty reading of another time.
    pub fn clear(&mut self, time: UnixMs, state: State) {
        *self = Self::new(time, state);
    }

    /// Sets a channel.
    pub fn set(&mut self, channel: Channel, value: Value) {
        let i = channel.index();
        match value {
            Value::Number(number) => {
                self.values[i] = number;
                self.numbers |= channel.bit();
            }
            Value::Absent(absence) => {
                self.values[i] = 0;
                self.absences[i] = absence as u8;
                self.numbers &= !channel.bit();
            }
        }
    }

    /// Sets a channel from a quantity in its unit of measure; what is no storable number becomes a failure.
    pub fn set_quantity(&mut self, channel: Channel, quantity: f64) {
        let value = channel.to_fixed(quantity).map_or(Value::Absent(Absence::FailedOther), Value::Number);
        self.set(channel, value);
    }

    /// What a channel says.
    pub fn get(&self, channel: Channel) -> Value {
        let i = channel.index();
        if self.numbers & channel.bit() != 0 {
            Value::Number(self.values[i])
        } else {
            Value::Absent(Absence::from_number(i32::from(self.absences[i])).unwrap_or(Absence::NotReported))
        }
    }

    /// The stored number, if there is one.
    pub fn fixed(&self, channel: Channel) -> Option<i32> {
        (self.numbers & channel.bit() != 0).then(|| self.values[channel.index()])
    }

    /// The number as a quantity in the channel's unit of measure, if there is one.
    pub fn quantity(&self, channel: Channel) -> Option<f64> {
        self.fixed(channel).map(|fixed| channel.to_quantity(fixed))
    }

    /// Mask of the channels that have a number.
    pub fn numbers(&self) -> u64 {
        self.numbers
    }
}
