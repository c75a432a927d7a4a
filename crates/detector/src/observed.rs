//! A reading as the tests on the machine see it: what the unit does, and clean values of believed sensors.

use rimeline_channels::{Channel, Reading};

use crate::regime::Moment;
use crate::sensors::{Frame, SENSORS, index};

/// One reading, ready for the tests.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Observed {
    pub(crate) moment: Moment,
    pub(crate) ret: Option<f64>,
    pub(crate) supply: Option<f64>,
    pub(crate) coil: Option<f64>,
    pub(crate) ambient: Option<f64>,
    pub(crate) pd: Option<f64>,
    pub(crate) ps: Option<f64>,
    pub(crate) set_point: Option<f64>,
    pub(crate) throttle: Option<f64>,
    pub(crate) starts_counter: Option<i32>,
}

impl Observed {
    /// `suspect`: mask of the channels that are not to be believed.
    pub(crate) fn new(moment: Moment, frame: Frame, reading: &Reading, suspect: u64) -> Self {
        let believed =
            |sensor: usize| frame.quantity(sensor).filter(|_| suspect & SENSORS[sensor].bit() == 0);
        Self {
            moment,
            ret: believed(index::RETURN_CONTROL).or_else(|| believed(index::RETURN_CHECK)),
            supply: believed(index::SUPPLY_CONTROL).or_else(|| believed(index::SUPPLY_CHECK)),
            coil: believed(index::COIL),
            ambient: believed(index::AMBIENT),
            pd: believed(index::DISCHARGE),
            ps: believed(index::SUCTION),
            set_point: reading.quantity(Channel::SetPoint),
            throttle: reading
                .quantity(Channel::SuctionThrottle)
                .filter(|_| suspect & Channel::SuctionThrottle.bit() == 0),
            starts_counter: reading.fixed(Channel::CompressorStarts),
        }
    }
}

/// The channels of an air stream, control sensor first.
pub(crate) const RETURN: [Channel; 2] = [Channel::ReturnAirControl, Channel::ReturnAirCheck];
/// The same for the supply air.
pub(crate) const SUPPLY: [Channel; 2] = [Channel::SupplyAirControl, Channel::SupplyAirCheck];
