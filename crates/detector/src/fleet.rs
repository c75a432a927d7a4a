//! Same-day medians of comparable units.
//!
//! A heat wave, smoke, a fuel or a firmware lifts every unit of a family alike; what is left after subtracting the
//! day's median is the unit's own. Medians come from counts in bins, so the order in which units report is of no
//! matter.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

use crate::regime::ModeClass;

/// Days kept.
const DAYS: u16 = 4;
/// Groups (family, mode class, feature) kept per day; beyond, new ones are not compared.
const GROUPS: usize = 512;
/// Bins either side of zero.
const BINS: i16 = 127;

/// A daily feature that is compared between units.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
pub(crate) enum Feature {
    /// Condensing temperature over ambient, K.
    Condensing,
    /// Logarithm of the capacity index.
    Capacity,
    /// Square root of starts per hour.
    Starts,
}

impl Feature {
    /// Width of a bin.
    fn bin(self) -> f64 {
        match self {
            Self::Condensing => 0.1,
            Self::Capacity => 0.005,
            Self::Starts => 0.02,
        }
    }
}

/// Which units are comparable on which day.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
pub(crate) struct Group {
    day: u16,
    family: u64,
    class: u8,
    feature: Feature,
}

impl Group {
    /// `None` where the unit's family is not stated: nobody knows what it may be compared with.
    pub(crate) fn new(day: u16, family: &str, class: ModeClass, feature: Feature) -> Option<Self> {
        (!family.is_empty()).then(|| Self { day, family: hash(family), class: class.number(), feature })
    }
}

/// FNV-1a, the same on every machine and version.
fn hash(text: &str) -> u64 {
    text.bytes().fold(0xcbf2_9ce4_8422_2325, |h, b| (h ^ u64::from(b)).wrapping_mul(0x0100_0000_01b3))
}

/// Same-day medians of comparable units. Shared by all units of a fleet; bounded.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Fleet {
    groups: BTreeMap<Group, BTreeMap<i16, u32>>,
    newest: u16,
}

impl Fleet {
    /// A fleet of which nothing is known yet.
    pub fn new() -> Self {
        Self::default()
    }

    /// Adds one unit's residual of a day.
    pub(crate) fn add(&mut self, group: Group, residual: f64) {
        if group.day > self.newest {
            self.newest = group.day;
            let oldest = self.newest.saturating_sub(DAYS - 1);
            self.groups.retain(|g, _| g.day >= oldest);
        } else if group.day + DAYS <= self.newest {
            return;
        }
        let of_day = |groups: &BTreeMap<Group, _>| groups.keys().filter(|g| g.day == group.day).count();
        if !self.groups.contains_key(&group) && of_day(&self.groups) >= GROUPS {
            return;
        }
        let bin = (residual / group.feature.bin()).round().clamp(-f64::from(BINS), f64::from(BINS)) as i16;
        *self.groups.entry(group).or_default().entry(bin).or_default() += 1;
    }

    /// The median residual of a group, where at least `least` units reported.
    pub(crate) fn median(&self, group: Group, least: u16) -> Option<f64> {
        let bins = self.groups.get(&group)?;
        let total: u32 = bins.values().sum();
        if total < u32::from(least) {
            return None;
        }
        let mut below = 0;
        let at = bins.iter().find_map(|(bin, n)| {
            below += n;
            (below * 2 >= total).then_some(*bin)
        })?;
        Some(f64::from(at) * group.feature.bin())
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    fn group(day: u16) -> Group {
        Group::new(day, "tandem", ModeClass::default(), Feature::Condensing).unwrap()
    }

    #[test]
    fn fewer_units_than_asked_for_give_no_median() {
        let mut fleet = Fleet::new();
        for i in 0..14 {
            fleet.add(group(10), f64::from(i));
        }
        assert_eq!(fleet.median(group(10), 15), None);
        fleet.add(group(10), 100.0);
        assert_eq!(fleet.median(group(10), 15), Some(7.0));
        assert_eq!(fleet.median(group(11), 15), None);
    }

    #[test]
    fn the_order_of_units_does_not_matter() {
        let values: Vec<f64> = (0..40).map(|i| f64::from((i * 17) % 41) / 10.0).collect();
        let (mut forth, mut back) = (Fleet::new(), Fleet::new());
        for (v, w) in values.iter().zip(values.iter().rev()) {
            forth.add(group(3), *v);
            back.add(group(3), *w);
        }
        assert_eq!(forth, back);
    }

    #[test]
    fn only_the_last_days_and_a_bounded_number_of_groups_are_kept() {
        let mut fleet = Fleet::new();
        for day in 0..30 {
            fleet.add(group(day), 1.0);
        }
        assert_eq!(fleet.groups.len(), usize::from(DAYS));
        fleet.add(group(2), 1.0);
        assert_eq!(fleet.groups.len(), usize::from(DAYS), "days long past are not taken in again");
        for i in 0..2 * GROUPS {
            let other = Group::new(29, &format!("family {i}"), ModeClass::default(), Feature::Capacity);
            fleet.add(other.unwrap(), 0.0);
        }
        assert_eq!(fleet.groups.keys().filter(|g| g.day == 29).count(), GROUPS);
    }

    #[test]
    fn units_of_no_family_are_not_compared() {
        assert_eq!(Group::new(1, "", ModeClass::default(), Feature::Starts), None);
    }
}
