//! What a rise rests on, and where it leads.

use super::{Discharge, explained};
use crate::UnitSetup;
use crate::chart::confidence;
use crate::config::Config;
use crate::evidence::Because;
use crate::physics;
use crate::stand::Words;
use crate::stats::{Approach, TimeToLimit, trend};
use crate::trend_test::TrendTest;

impl Discharge {
    fn at_part_load(&self) -> bool {
        self.test.latest.is_some_and(|(class, _)| class.is_part_load())
    }

    pub(super) fn words(&self, rise: f64, weaker: Option<f64>, setup: &UnitSetup, config: &Config) -> Words {
        let mut because = Because::default();
        if let (Some((class, day)), Some((normal, baseline))) = (self.test.latest, self.test.normal_now()) {
            let explained = explained(class, f64::from(day.ret), f64::from(day.ambient), config);
            let (now, used) = (f64::from(day.y) + explained, normal + explained);
            let class = class.words();
            because.say(if self.at_part_load() {
                format!(
                    "At part load ({class}) the refrigerant condenses {now:.1} K above ambient; at {:.0} C ambient and \
                     an air difference of {:.1} K this unit used to show {used:.1} K. At full cooling the rise is \
                     larger.",
                    day.ambient, day.ret
                )
            } else {
                format!(
                    "At full cooling ({class}) the refrigerant condenses {now:.1} K above ambient; at {:.0} C ambient \
                     and {:.1} C return air this unit used to show {used:.1} K.",
                    day.ambient, day.ret
                )
            });
            because.say(format!(
                "Over the last days it was {rise:.1} K above normal; normal was learned from {} days and has a spread \
                 of {:.1} K from day to day.",
                baseline.days, baseline.sigma
            ));
        }
        let mut agree = 0;
        match weaker {
            Some(loss) if loss >= 0.03 => {
                agree = 1;
                because.say(format!("The unit also cools {:.0} % weaker.", 100.0 * loss));
            }
            Some(_) => {}
            None => because.left_out("the cooling index is not known".to_owned()),
        }
        if self.test.peers_used() {
            because.say(
                "What similar units showed on the same days was taken off, as a hot day lifts all."
                    .to_owned(),
            );
        } else {
            because
                .left_out("fewer than the needed similar units to compare with on the same day".to_owned());
        }
        let margin = self.add_margin(rise, setup, config, &mut because);
        let forecast = margin.and_then(|margin| self.forecast(rise, margin, config));
        if let Some(f) = forecast {
            because.forecast(f.days, Some(f.early), f.late);
            because.say(forecast_words(&f, config));
        }
        self.add_levels(config, &mut because);
        let design = TrendTest::design(config);
        Words {
            headline: format!("Condensing temperature over ambient {rise:.1} K above normal"),
            confidence: confidence(&config.chart, &design, self.test.chart.sum(), agree, 0),
            hours_to_harm: forecast.and_then(|f| f.days).map(|days| days * 24.0),
            evidence: because.done(),
        }
    }

    /// Says above which ambient the unit cuts out today; returns the further rise that the design ambient allows, K.
    pub(super) fn add_margin(
        &self,
        rise: f64,
        setup: &UnitSetup,
        config: &Config,
        because: &mut Because,
    ) -> Option<f64> {
        let c = &config.discharge;
        let Some(cut_out) = setup.cut_out_kpa else {
            because.left_out("the high-pressure cut-out of this unit is not stated".to_owned());
            return None;
        };
        if self.at_part_load() {
            because.left_out("the margin to the cut-out is not told from part load".to_owned());
            return None;
        }
        let at_cut_out = physics::condensing(setup, cut_out - c.cut_out_margin_kpa)?;
        let (class, day) = self.test.latest?;
        let (_, baseline) = self.test.normal_now()?;
        let explained = explained(class, f64::from(day.ret), c.design_ambient, config);
        let hot_day = crate::normal::Day { ambient: baseline.hottest().min(c.design_ambient as f32), ..day };
        let normal_hot = baseline.expected(&hot_day).unwrap_or(f64::from(baseline.level));
        let over = normal_hot + explained + rise;
        because.say(format!(
            "Cuts out above ambient {:.0} C today, at {:.0} kPa and with {:.0} kPa kept in hand.",
            at_cut_out - over,
            cut_out,
            c.cut_out_margin_kpa
        ));
        let margin = at_cut_out - over - c.design_ambient;
        because.limit("rise at which it cuts out on the hottest day", rise + margin);
        Some(margin)
    }

    pub(super) fn add_levels(&self, config: &Config, because: &mut Because) {
        because.masked(self.test.masks());
        because.daily("condensing over ambient, above normal", "K", self.test.history());
        because.limit("normal", 0.0);
        because.limit("a case from", config.discharge.least_k);
        because.limit("act from", config.discharge.act_k);
    }

    fn forecast(&self, rise: f64, margin: f64, config: &Config) -> Option<TimeToLimit> {
        let all: Vec<(u16, f64)> = self.test.history().collect();
        let from = all.len().saturating_sub(usize::from(config.discharge.forecast_days));
        let (days, values): (Vec<f64>, Vec<f64>) =
            all[from..].iter().map(|(d, v)| (f64::from(*d), *v)).unzip();
        if days.len() < 10 {
            return None;
        }
        trend(&days, &values, 0.9)?.time_to_limit(rise + margin, Approach::FromBelow)
    }
}

fn forecast_words(f: &TimeToLimit, config: &Config) -> String {
    let ambient = config.discharge.design_ambient;
    match (f.days, f.late) {
        (Some(days), _) if days <= 0.0 => format!("On a day of {ambient:.0} C it cuts out already."),
        (Some(days), Some(late)) => format!(
            "At this pace it cuts out on a day of {ambient:.0} C in {days:.0} days (90 %: {:.0} to {late:.0}).",
            f.early
        ),
        (Some(days), None) => format!(
            "At this pace it cuts out on a day of {ambient:.0} C in {days:.0} days, earliest {:.0}; it may also never \
             come to that.",
            f.early
        ),
        (None, _) => format!(
            "It cuts out on a day of {ambient:.0} C in {:.0} days at the earliest; it may also never come to that.",
            f.early
        ),
    }
}
