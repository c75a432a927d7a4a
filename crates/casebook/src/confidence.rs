/// No case is shown with more than this: one unit's channels alone never make sure.
pub const MAX_CONFIDENCE: f64 = 0.95;

/// The words of the calibrated scale of likelihood in the IPCC's guidance note on the treatment of uncertainties
/// (2010, table 1), as far as they are needed: lower bound, words.
const WORDS: [(f64, &str); 5] = [
    (0.90, "very likely"),
    (0.66, "likely"),
    (0.33, "about as likely as not"),
    (0.10, "unlikely"),
    (0.0, "very unlikely"),
];

/// A probability in words.
pub fn confidence_words(confidence: f64) -> &'static str {
    WORDS.iter().find(|(from, _)| confidence >= *from).map_or("very unlikely", |(_, words)| words)
}

/// A probability that may be shown: 0 to [`MAX_CONFIDENCE`]; what is no number counts as 0.
pub(crate) fn shown_confidence(confidence: f64) -> f64 {
    if confidence.is_nan() { 0.0 } else { confidence.clamp(0.0, MAX_CONFIDENCE) }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn words_follow_the_published_scale() {
        // IPCC guidance note on uncertainties, 2010, table 1: likely 66-100 %, very likely 90-100 %,
        // about as likely as not 33-66 %, unlikely 0-33 %, very unlikely 0-10 %.
        assert_eq!(confidence_words(0.95), "very likely");
        assert_eq!(confidence_words(0.899), "likely");
        assert_eq!(confidence_words(0.66), "likely");
        assert_eq!(confidence_words(0.5), "about as likely as not");
        assert_eq!(confidence_words(0.2), "unlikely");
        assert_eq!(confidence_words(0.0), "very unlikely");
    }

    #[test]
    fn nothing_is_surer_than_the_cap_and_nan_is_not_sure_at_all() {
        assert_eq!(shown_confidence(1.0), MAX_CONFIDENCE);
        assert_eq!(shown_confidence(f64::INFINITY), MAX_CONFIDENCE);
        assert_eq!(shown_confidence(-0.1), 0.0);
        assert_eq!(shown_confidence(f64::NAN), 0.0);
    }
}
