//! Weather around a depot: season, day and night, spells of warm and cool days, clouds, heat waves.

use std::f64::consts::PI;

use crate::chance::Chance;
use crate::scenario::Depot;

/// The air outside at one moment.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct Outside {
    /// Air temperature, Cel.
    pub(crate) air: f64,
    /// Sunshine on a flat roof, 0 to 1 of a clear noon in summer.
    pub(crate) sun: f64,
    /// Water in the air, kg per kg.
    pub(crate) water: f64,
}

/// The weather of one depot over a scenario, hour by hour.
#[derive(Debug)]
pub(crate) struct Weather {
    hours: Vec<[f32; 3]>,
}

/// Water that saturated air holds, kg per kg at sea level (Magnus form).
pub(crate) fn saturated_water(t: f64) -> f64 {
    let pressure = 0.611 * (17.27 * t / (t + 237.3)).exp();
    0.622 * pressure / (101.3 - pressure)
}

impl Weather {
    pub(crate) fn new(depot: &Depot, days: u32, chance: &mut Chance) -> Self {
        let hours = i64::from(days) * 24 + 25;
        // Spells last about two and a half days, clouds half a day.
        let (spell_keep, cloud_keep) = ((-1.0f64 / 60.0).exp(), (-1.0f64 / 12.0).exp());
        let mut spell = chance.normal();
        let mut cloud = chance.normal();
        let mut out = Vec::with_capacity(hours as usize);
        for hour in 0..hours {
            spell = spell * spell_keep + (1.0 - spell_keep * spell_keep).sqrt() * chance.normal();
            cloud = cloud * cloud_keep + (1.0 - cloud_keep * cloud_keep).sqrt() * chance.normal();
            let clear = (0.65 + 0.35 * cloud).clamp(0.1, 1.0);
            let day = hour as f64 / 24.0;
            let local = (hour as f64 + depot.utc_offset_h).rem_euclid(24.0);
            // Coolest at 5, warmest at 15 to 16: a sine with a second harmonic.
            let phase = 2.0 * PI * (local - 10.0) / 24.0;
            let swing = (phase.sin() - 0.2 * (2.0 * phase).cos()) * (0.5 + 0.5 * clear);
            let season = depot.season_k * day / f64::from(days.max(1));
            let hot: f64 = depot
                .heat_waves
                .iter()
                .map(|w| {
                    let into = (day - w.from_day) / w.days.max(0.01);
                    if (0.0..=1.0).contains(&into) { w.above_k * (PI * into).sin().sqrt() } else { 0.0 }
                })
                .sum();
            let air = depot.mean_c + season + depot.spells_k * spell + depot.diurnal_k * swing + hot;
            let sun = (PI * (local - 5.5) / 15.0).sin().max(0.0) * clear;
            let sun = if (5.5..20.5).contains(&local) { sun } else { 0.0 };
            let mean = depot.mean_c + season + depot.spells_k * spell;
            let water = saturated_water(air).min(depot.humidity * saturated_water(mean + 2.0));
            out.push([air as f32, sun as f32, water as f32]);
        }
        Self { hours: out }
    }

    /// The air outside, some seconds after the start.
    pub(crate) fn at(&self, s: i64) -> Outside {
        let hour = (s.max(0) / 3600) as usize;
        let hour = hour.min(self.hours.len() - 2);
        let part = ((s - hour as i64 * 3600) as f64 / 3600.0).clamp(0.0, 1.0);
        let (a, b) = (self.hours[hour], self.hours[hour + 1]);
        let mix = |i: usize| f64::from(a[i]) + part * (f64::from(b[i]) - f64::from(a[i]));
        Outside { air: mix(0), sun: mix(1), water: mix(2) }
    }
}
