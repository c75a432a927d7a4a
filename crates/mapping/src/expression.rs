//! Conditions such as `od_power > 500` and `stg >= 1 and stg <= 2`.

/// One comparison of a column with a number.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Comparison {
    pub(crate) column: String,
    pub(crate) operator: Operator,
    pub(crate) number: f64,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Operator {
    Less,
    AtMost,
    More,
    AtLeast,
    Equal,
    Unequal,
}

/// Longer signs before those they start with.
const SIGNS: [(&str, Operator); 6] = [
    (">=", Operator::AtLeast),
    ("<=", Operator::AtMost),
    ("==", Operator::Equal),
    ("!=", Operator::Unequal),
    (">", Operator::More),
    ("<", Operator::Less),
];

impl Operator {
    pub(crate) fn holds(self, left: f64, right: f64) -> bool {
        match self {
            Operator::Less => left < right,
            Operator::AtMost => left <= right,
            Operator::More => left > right,
            Operator::AtLeast => left >= right,
            Operator::Equal => left == right,
            Operator::Unequal => left != right,
        }
    }
}

/// Reads one comparison, or several joined by `and`. A column name that holds a sign stands in 'quotes'.
pub(crate) fn parse(text: &str) -> Result<Vec<Comparison>, String> {
    let mut comparisons = Vec::new();
    let mut rest = text;
    loop {
        let (comparison, after) = one(rest).ok_or_else(|| {
            format!(
                "`{text}` is no condition; write a column, one of > >= < <= == !=, and a number, e.g. \
                 \"power > 500\", and join several with `and`"
            )
        })?;
        comparisons.push(comparison);
        match after.trim_start().strip_prefix("and ") {
            Some(next) => rest = next,
            None => return Ok(comparisons),
        }
    }
}

fn one(text: &str) -> Option<(Comparison, &str)> {
    let text = text.trim_start();
    let (column, rest) = if let Some(quoted) = text.strip_prefix('\'') {
        quoted.split_once('\'')?
    } else {
        let at = text.find(['<', '>', '=', '!'])?;
        (text[..at].trim_end(), &text[at..])
    };
    let rest = rest.trim_start();
    let (sign, operator) = SIGNS.into_iter().find(|(sign, _)| rest.starts_with(sign))?;
    let rest = rest[sign.len()..].trim_start();
    let end = rest.find(char::is_whitespace).unwrap_or(rest.len());
    let number: f64 = rest[..end].parse().ok().filter(|number: &f64| number.is_finite())?;
    let after = &rest[end..];
    let ends_well = after.trim().is_empty() || after.trim_start().starts_with("and ");
    (!column.is_empty() && ends_well)
        .then(|| (Comparison { column: column.to_owned(), operator, number }, after))
}

#[cfg(test)]
#[allow(clippy::unwrap_used, clippy::expect_used)]
mod tests {
    use super::*;

    fn columns(text: &str) -> Vec<(String, Operator, f64)> {
        parse(text).unwrap().into_iter().map(|c| (c.column, c.operator, c.number)).collect()
    }

    #[test]
    fn comparisons_are_read_with_any_spacing_and_odd_column_names() {
        assert_eq!(columns("od_power > 500"), [("od_power".to_owned(), Operator::More, 500.0)]);
        assert_eq!(columns("od_power<=-1.5e2"), [("od_power".to_owned(), Operator::AtMost, -150.0)]);
        assert_eq!(columns("  Power [W] != 0 "), [("Power [W]".to_owned(), Operator::Unequal, 0.0)]);
        assert_eq!(columns("'dP > 1' >= 2"), [("dP > 1".to_owned(), Operator::AtLeast, 2.0)]);
        assert_eq!(
            columns("stg >= 1 and this and that == 3"),
            [("stg".to_owned(), Operator::AtLeast, 1.0), ("this and that".to_owned(), Operator::Equal, 3.0)]
        );
    }

    #[test]
    fn what_is_no_condition_is_refused_with_an_example() {
        for bad in [
            "",
            "power",
            "> 5",
            "power >",
            "power > x",
            "power => 5",
            "power = 5",
            "power > 5 or x < 1",
            "power > 5 and",
            "power > inf",
            "power > NaN",
            "'power > 5",
            "a < b < c",
        ] {
            let error = parse(bad).expect_err(bad);
            assert!(error.contains("\"power > 500\""), "{error}");
        }
    }
}
