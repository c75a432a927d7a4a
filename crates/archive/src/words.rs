use rimeline_channels::{
    Absence, Channel, Compressor, DefrostEnd, DefrostOrigin, Door, Drive, Power, RunningMode, Stage, State,
    UnknownState,
};

/// A part of the state that is a word in files, and nothing where it is not known.
#[derive(Debug)]
pub(crate) struct Part {
    /// Column.
    pub(crate) name: &'static str,
    /// Number of the part in a state, 0 where it is not known.
    pub(crate) number: fn(&State) -> u8,
    /// Words by number, from 1.
    pub(crate) words: fn() -> Vec<&'static str>,
    /// Sets the part by its number, which [`Part::find`] gave.
    pub(crate) set: fn(&mut State, u8),
    /// The number of a word.
    pub(crate) find: fn(&str) -> Result<u8, UnknownState>,
}

macro_rules! parts {
    ($($field:ident $kind:ident),*) => {
        /// Every part, in column order.
        pub(crate) static PARTS: &[Part] = &[$(Part {
            name: stringify!($field),
            number: |state| state.$field as u8,
            words: || $kind::ALL.iter().map(|part| part.name()).collect(),
            set: |state, number| state.$field = $kind::from_number(i32::from(number)).unwrap_or_default(),
            find: |word| Ok($kind::from_name(word)? as u8),
        },)*];
    };
}

parts! {
    power Power, drive Drive, running_mode RunningMode, stage Stage, door Door, compressor Compressor,
    defrost_origin DefrostOrigin, defrost_end DefrostEnd
}

/// Bits of one channel's [`Absence`] number in a [`Pattern`].
const BITS: usize = 3;

/// Why each channel of a row has no number, three bits a channel; 0 where it has one or was not reported.
///
/// Rows of a unit mostly share one pattern, so its text is made once and not once a row.
pub(crate) type Pattern = u128;

const _: () = assert!(Channel::COUNT * BITS <= 128, "a pattern has room for 42 channels");

/// The share of a channel in a row's pattern.
pub(crate) fn mark(channel: Channel, absence: u8) -> Pattern {
    if absence == 0 || absence == Absence::NotReported as u8 {
        0
    } else {
        Pattern::from(absence) << (channel.index() * BITS)
    }
}

/// A pattern as `channel:word` in catalogue order, separated by spaces.
pub(crate) fn status_text(pattern: Pattern) -> String {
    let mut text = String::new();
    for &channel in Channel::ALL {
        let code = (pattern >> (channel.index() * BITS)) & 0b111;
        if let Some(absence) = Absence::from_number(code as i32) {
            if !text.is_empty() {
                text.push(' ');
            }
            text.push_str(channel.name());
            text.push(':');
            text.push_str(absence.name());
        }
    }
    text
}

/// What a status text says, or the part of it that is unknown.
pub(crate) fn parse_status(text: &str) -> Result<Vec<(Channel, Absence)>, String> {
    text.split_ascii_whitespace()
        .map(|part| {
            let (channel, word) = part.split_once(':').ok_or_else(|| part.to_owned())?;
            let channel = Channel::from_name(channel).map_err(|_| part.to_owned())?;
            Ok((channel, Absence::from_name(word).ok_or_else(|| part.to_owned())?))
        })
        .collect()
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    #[test]
    fn a_status_says_for_every_channel_and_reason_what_it_was_made_from() {
        for &channel in Channel::ALL {
            for absence in Absence::ALL.into_iter().filter(|a| *a != Absence::NotReported) {
                let text = status_text(mark(channel, absence as u8) | mark(Channel::Coil, 1));
                let parsed = parse_status(&text).unwrap();
                assert!(parsed.contains(&(channel, absence)) || channel == Channel::Coil, "{text}");
                assert!(parsed.iter().any(|p| p.0 == Channel::Coil), "{text}");
            }
        }
        assert_eq!(status_text(mark(Channel::Coil, Absence::FailedOpen as u8)), "coil:open");
        assert_eq!(mark(Channel::Coil, Absence::NotReported as u8), 0);
        assert_eq!(parse_status("coil:open sleet:open"), Err("sleet:open".to_owned()));
    }

    #[test]
    fn every_word_of_the_state_has_the_number_of_its_place() {
        for part in PARTS {
            for (i, word) in (part.words)().iter().enumerate() {
                let mut state = State::default();
                let number = (part.find)(word).unwrap();
                (part.set)(&mut state, number);
                assert_eq!(usize::from(number), i + 1, "{} {word}", part.name);
                assert_eq!((part.number)(&state), number, "{} {word}", part.name);
            }
        }
    }
}
