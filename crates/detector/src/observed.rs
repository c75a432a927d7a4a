//! A reading as the tests on the machine see it: what the unit does, and clean values of believed sensors.

use rimeline_channels::Channel;

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
    pub(crate) starts_counter: Option<i32>,
}

impl Observed {
    pub(crate) fn new(
        moment: Moment,
        frame: Frame,
        suspect: u64,
        set_point: Option<f64>,
        starts: Option<i32>,
    ) -> Self {
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
            set_point,
            starts_counter: starts,
        }
    }
}

/// The channels of an air stream, control sensor first.
pub(crate) const RETURN: [Channel; 2] = [Channel::ReturnAirControl, Channel::ReturnAirCheck];
/// The same for the supply air.
pub(crate) const SUPPLY: [Channel; 2] = [Channel::SupplyAirControl, Channel::SupplyAirCheck];
