//! What people are told, per condition. Plain words of ours; trade practice, no source, unless one is named.

use rimeline_detector::Condition;

use crate::{CargoClass, Desk};

/// The texts of one condition.
#[derive(Clone, Copy, Debug)]
pub struct Texts {
    /// What it is called.
    pub title: &'static str,
    /// What a dispatcher does first, with a driver on the telephone.
    pub first_action_night: &'static str,
    /// What a planner or a workshop does first.
    pub first_action_weekly: &'static str,
    /// What would clear it.
    pub would_clear: &'static str,
    /// The work, and what to have at hand, as a sentence.
    pub work: &'static str,
    /// Whether the work can lead into the refrigerant circuit.
    circuit: bool,
}

/// The texts of a condition.
pub fn of(condition: Condition) -> &'static Texts {
    &TEXTS[condition as usize - 1]
}

/// What to do first about a condition.
pub fn first_action(condition: Condition, desk: Desk) -> &'static str {
    match desk {
        Desk::Night => of(condition).first_action_night,
        Desk::Weekly => of(condition).first_action_weekly,
    }
}

/// What to mind with a condition and a cargo, the nearest danger first.
pub fn cautions(condition: Condition, cargo: CargoClass) -> Vec<String> {
    let mut cautions = Vec::with_capacity(6);
    if matches!(cargo, CargoClass::Frozen | CargoClass::Pharma) {
        cautions.push(SHIPPER);
    }
    cautions.extend([STARTS, SHORE]);
    if of(condition).circuit {
        cautions.extend([CIRCUIT, PRESSURE]);
    }
    cautions.push(ADVICE);
    cautions.into_iter().map(str::to_owned).collect()
}

const SHIPPER: &str = "Follow the shipper's written instructions for this load before anything else.";
const STARTS: &str = "The unit can start without warning: isolate engine, shore power and battery before touching \
                      belts, fans or wiring.";
const SHORE: &str = "Shore power is lethal voltage: only qualified people open what it feeds.";
const CIRCUIT: &str =
    "Only certified people open the refrigerant circuit; local rules on refrigerants apply.";
const PRESSURE: &str =
    "Above 25 bar nothing is repaired in the field: stop the unit and let the pressure fall.";
const ADVICE: &str = "This flag is advice. Whether the load is released or rejected is decided by the food-safety or \
                      quality lead and by local law.";

/// In contract order.
static TEXTS: [Texts; 11] = [
    Texts {
        title: "Sensor out of range",
        first_action_night: "Ask the driver to compare the display with a hand thermometer in the air stream; if the \
                             load is warm or cold, go by the thermometer and arrange a workshop.",
        first_action_weekly: "Check the sensor's plug and cable for water, chafing and a loose pin; then measure the \
                              sensor.",
        would_clear: "An hour of readings that can be.",
        work: "Check or replace the sensor and its cable; bring a sensor of the fitted kind and a plug seal.",
        circuit: false,
    },
    Texts {
        title: "Sensor stuck",
        first_action_night: "Ask the driver to compare the display with a hand thermometer in the air stream; if they \
                             differ, go by the thermometer and arrange a workshop.",
        first_action_weekly: "Warm or cool the sensor by hand and watch whether the reading follows.",
        would_clear: "The reading moves with the air it measures through one start, stop, defrost or door opening.",
        work: "Replace the sensor that stands still, or free it from ice; bring a sensor of the fitted kind.",
        circuit: false,
    },
    Texts {
        title: "Sensor spiking",
        first_action_night: "Nothing tonight: single odd values are set aside and do not steer other findings.",
        first_action_weekly: "Look for a loose plug or a chafed cable; move it by hand and watch the reading.",
        would_clear: "A hundred running hours without more odd values than comparable units have.",
        work: "Find the loose contact; bring contact cleaner, a plug repair set and cable ties.",
        circuit: false,
    },
    Texts {
        title: "Sensor noisy",
        first_action_night: "Nothing tonight: the mean of the readings is still of use.",
        first_action_weekly: "Check the screen and the earth of the sensor cable, and its way past the alternator and \
                              the ignition leads.",
        would_clear: "Three days at the noise it used to have.",
        work: "Check screen, earth and routing of the sensor cable; bring a sensor of the fitted kind.",
        circuit: false,
    },
    Texts {
        title: "Twin sensors disagree",
        first_action_night: "Ask the driver to hold a hand thermometer beside both sensors and to tell which one is \
                             right.",
        first_action_weekly: "Put both sensors in one ice bath and see which one is off; two good sensors of class 1 \
                              may still differ by up to 2 K.",
        would_clear: "The two agree again within half of what opened the case, for three days.",
        work: "Compare both sensors in an ice bath and replace the one that is off; bring a sensor of the fitted kind, \
               ice and a reference thermometer.",
        circuit: false,
    },
    Texts {
        title: "Pressure sensor off",
        first_action_night: "Nothing tonight: findings that need this pressure abstain.",
        first_action_weekly: "With the unit off and the pressures level, compare with a gauge at the service port.",
        would_clear: "Both pressure sensors agree when the circuit is level.",
        work: "Compare the pressure sensor with a gauge and replace it if it is off; bring a sensor of the fitted span.",
        circuit: true,
    },
    Texts {
        title: "Weak cooling",
        first_action_night: "Ask the driver whether air comes out of the chute, cold and strong, and whether the coil \
                             is iced; start a defrost by hand if it is. If the load warms, find the nearest workshop or \
                             a dock with cold store.",
        first_action_weekly: "Check belts, fans, coil and condenser for dirt and ice before looking at the charge.",
        would_clear: "Cooling at full capacity back near what it was, for three days that can be judged.",
        work: "Find why it cools less: coil and condenser clean, belts and fans, then charge and compressor; bring belts, \
               a coil cleaner and a leak detector.",
        circuit: true,
    },
    Texts {
        title: "Slow pull-down",
        first_action_night: "Ask the driver whether doors and vents are shut, the load leaves the air its way, and the \
                             set point is the one ordered; if it does not get colder within the hour, find a dock or a \
                             workshop.",
        first_action_weekly: "Rule out door, seal, bulkhead and a warm load; then look at cooling capacity.",
        would_clear: "Pull-downs that take no longer than they used to, three in a row.",
        work: "Check door seals, air way and cooling capacity; bring door seal, belts and a leak detector.",
        circuit: true,
    },
    Texts {
        title: "Short cycling",
        first_action_night: "Ask the driver to switch the unit to continuous running if the load allows it, and to watch \
                             the display for a protection stop.",
        first_action_weekly: "See in the evidence how the runs end: by temperature points to the sensor's place or a \
                              narrow band, by pressure to charge, ice or condenser.",
        would_clear: "Starts an hour back at what they were, for three days that can be judged.",
        work: "Find what ends the runs: sensor place and settings, pressure switches, charge, condenser; bring a return \
               air sensor and a pressure switch.",
        circuit: true,
    },
    Texts {
        title: "Rising discharge pressure",
        first_action_night: "Ask the driver to look for a blocked condenser, a torn belt or a fan that stands still, and to \
                             park with free air at the front. Plan a workshop before the hottest hours.",
        first_action_weekly: "Clean the condenser and check its fan and belt; then look for air in the circuit or too much \
                              charge.",
        would_clear: "Condensing temperature over ambient back near what it was, for three days that can be judged.",
        work: "Clean the condenser, check fan, belt and shroud, then the charge; bring belts, a coil cleaner and a fan \
               motor.",
        circuit: true,
    },
    Texts {
        title: "Silent",
        first_action_night: "Call the driver and have the box temperature read off the display; agree when to read it \
                             again.",
        first_action_weekly: "Check the gateway's supply, antenna and cable when the unit is next in a yard.",
        would_clear: "Readings come again.",
        work: "Check the gateway's supply, fuse, antenna and bus cable; bring a fuse, an antenna and a gateway.",
        circuit: false,
    },
];

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_condition_has_its_own_texts() {
        let mut titles: Vec<_> = Condition::ALL.iter().map(|&condition| of(condition).title).collect();
        assert!(titles[Condition::ShortCycling as usize - 1].contains("cycling"));
        titles.sort_unstable();
        titles.dedup();
        assert_eq!(titles.len(), Condition::ALL.len());
        for condition in Condition::ALL {
            let texts = of(condition);
            for text in [texts.first_action_night, texts.first_action_weekly, texts.would_clear, texts.work] {
                assert!(text.ends_with('.') && !text.contains("  "), "{condition}: {text}");
            }
        }
    }

    #[test]
    fn dangers_are_named_where_they_apply() {
        for condition in Condition::ALL {
            let cautions = cautions(condition, CargoClass::Chilled);
            assert!(cautions.iter().any(|c| c.contains("advice")), "{condition}");
            assert!(cautions.iter().any(|c| c.contains("lethal")), "{condition}");
            assert!(!cautions.iter().any(|c| c.contains("shipper")), "{condition}");
        }
        let circuit = cautions(Condition::RisingDischargePressure, CargoClass::Empty);
        assert!(
            circuit.iter().any(|c| c.contains("certified")) && circuit.iter().any(|c| c.contains("25 bar"))
        );
        assert!(!cautions(Condition::SensorNoisy, CargoClass::Empty).iter().any(|c| c.contains("25 bar")));
        for cargo in [CargoClass::Frozen, CargoClass::Pharma] {
            assert!(cautions(Condition::Silent, cargo)[0].contains("shipper"), "{cargo}");
        }
    }
}
