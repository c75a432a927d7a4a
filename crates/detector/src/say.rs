//! Figures in sentences.

use rimeline_channels::{Channel, HOUR_MS, MINUTE_MS, Measure};

/// A duration as people say it: `4 min`, `2 h 10 min`, `3 days`.
pub(crate) fn duration(ms: i64) -> String {
    let total = (ms.max(0) + MINUTE_MS / 2) / MINUTE_MS;
    match total {
        0..60 => format!("{total} min"),
        60..2880 if total % 60 == 0 => format!("{} h", total / 60),
        60..2880 => format!("{} h {} min", total / 60, total % 60),
        _ => format!("{} days", (ms + 12 * HOUR_MS) / (24 * HOUR_MS)),
    }
}

/// A channel's name in words: `return air, control sensor`.
pub(crate) fn channel(channel: Channel) -> String {
    let words = channel.name().replace('_', " ");
    for end in ["control", "check"] {
        if let Some(stem) = words.strip_suffix(end) {
            return format!("{}, {end} sensor", stem.trim_end());
        }
    }
    words
}

/// The same with a capital letter, to begin a sentence.
pub(crate) fn channel_first(of: Channel) -> String {
    let words = channel(of);
    let mut chars = words.chars();
    chars.next().map_or(String::new(), |first| first.to_ascii_uppercase().to_string() + chars.as_str())
}

/// A value with its unit of measure as people write it.
pub(crate) fn value(channel: Channel, quantity: f64) -> String {
    format!("{quantity:.*} {}", usize::from(channel.decimals()), unit(channel))
}

/// A difference of two values of a channel.
pub(crate) fn difference(channel: Channel, quantity: f64) -> String {
    let unit = if channel.spec().measure == Measure::Celsius { "K" } else { unit(channel) };
    format!("{quantity:.*} {unit}", usize::from(channel.decimals()))
}

fn unit(channel: Channel) -> &'static str {
    match channel.spec().measure {
        Measure::Celsius => "C",
        other => other.code(),
    }
}

/// `one start`, `3 starts`.
pub(crate) fn count(n: u32, one: &str, many: &str) -> String {
    if n == 1 { format!("one {one}") } else { format!("{n} {many}") }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn figures_read_like_sentences() {
        assert_eq!(duration(130 * MINUTE_MS), "2 h 10 min");
        assert_eq!(duration(59 * MINUTE_MS + 40_000), "1 h");
        assert_eq!(duration(72 * HOUR_MS), "3 days");
        assert_eq!(channel(Channel::ReturnAirControl), "return air, control sensor");
        assert_eq!(channel_first(Channel::AmbientAir), "Ambient air");
        assert_eq!(value(Channel::Coil, -3.46), "-3.5 C");
        assert_eq!(difference(Channel::DischargePressure, 151.2), "151 kPa");
        assert_eq!(count(1, "defrost", "defrosts"), "one defrost");
    }
}
