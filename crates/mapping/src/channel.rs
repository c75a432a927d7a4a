//! From a cell to what a channel says.

use rimeline_channels::{Absence, Channel, Measure, Value};

use crate::{ProblemKind, cell::Cell, document::ChannelSource};

/// How a channel is filled.
#[derive(Clone, Debug)]
pub(crate) struct ChannelRule {
    pub(crate) channel: Channel,
    /// Index into the mapping's columns.
    pub(crate) column: usize,
    unit: Measure,
    scale: f64,
    offset: f64,
    tokens: Tokens,
    limits: Vec<Limit>,
}

/// A number of the file beyond which the sensor failed.
#[derive(Clone, Copy, Debug)]
struct Limit {
    above: bool,
    number: f64,
    means: Absence,
}

/// Texts and numbers that stand for "no number".
#[derive(Clone, Debug, Default)]
pub(crate) struct Tokens(Vec<(String, Option<f64>, Absence)>);

impl Tokens {
    pub(crate) fn add(&mut self, tokens: &[String], means: Absence) {
        self.0.extend(tokens.iter().map(|token| (token.trim().to_owned(), token.trim().parse().ok(), means)));
    }

    pub(crate) fn text(&self, text: &str) -> Option<Absence> {
        self.0.iter().find(|token| token.0 == text).map(|token| token.2)
    }

    /// `-999` also stands for `-999.0`, and `nan` for a stored NaN.
    pub(crate) fn number(&self, number: f64) -> Option<Absence> {
        let same = |token: f64| token == number || token.is_nan() && number.is_nan();
        self.0.iter().find(|token| token.1.is_some_and(same)).map(|token| token.2)
    }
}

/// A cell as a number: `Ok(Err(absence))` where it says that there is none.
pub(crate) fn number(
    cell: Cell<'_>,
    tokens: &Tokens,
    decimal_comma: bool,
) -> Result<Result<f64, Absence>, ProblemKind> {
    let number = match cell {
        Cell::Missing | Cell::Text("") => return Ok(Err(tokens.text("").unwrap_or(Absence::NotReported))),
        Cell::NotUtf8(_) => return Err(ProblemKind::NotUtf8),
        Cell::Number(number) => number,
        Cell::Integer(number) => number as f64,
        Cell::Text(text) => {
            if let Some(absence) = tokens.text(text) {
                return Ok(Err(absence));
            }
            let parsed = if decimal_comma && text.contains(',') {
                // A point beside the comma groups thousands: no guess is made.
                if text.contains('.') { None } else { text.replacen(',', ".", 1).parse().ok() }
            } else {
                text.parse().ok()
            };
            parsed.ok_or(ProblemKind::BadNumber)?
        }
        Cell::Instant(_) | Cell::Civil(_) => return Err(ProblemKind::BadNumber),
    };
    match tokens.number(number) {
        Some(absence) => Ok(Err(absence)),
        None if number.is_finite() => Ok(Ok(number)),
        None => Err(ProblemKind::NotFinite),
    }
}

impl ChannelRule {
    /// A rule for a column. The unit of measure must be of the channel's kind.
    pub(crate) fn new(source: &ChannelSource, column: usize, absent: &[String]) -> Self {
        let mut tokens = Tokens::default();
        tokens.add(&source.not_fitted, Absence::NotFitted);
        tokens.add(&source.failed_open, Absence::FailedOpen);
        tokens.add(&source.failed_short, Absence::FailedShort);
        tokens.add(&source.failed, Absence::FailedOther);
        tokens.add(source.absent.as_deref().unwrap_or(absent), Absence::NotReported);
        let limits = [
            (source.failed_open_above, true, Absence::FailedOpen),
            (source.failed_open_below, false, Absence::FailedOpen),
            (source.failed_short_above, true, Absence::FailedShort),
            (source.failed_short_below, false, Absence::FailedShort),
        ];
        let limits = limits
            .into_iter()
            .filter_map(|(number, above, means)| Some(Limit { above, number: number?, means }))
            .collect();
        Self {
            channel: source.channel.0,
            column,
            unit: source.unit.0,
            scale: source.scale.unwrap_or(1.0),
            offset: source.offset.unwrap_or(0.0),
            tokens,
            limits,
        }
    }

    /// What the channel says where the file says this.
    pub(crate) fn value(&self, cell: Cell<'_>, decimal_comma: bool) -> Result<Value, ProblemKind> {
        let number = match number(cell, &self.tokens, decimal_comma)? {
            Ok(number) => number,
            Err(absence) => return Ok(Value::Absent(absence)),
        };
        let beyond = |limit: &&Limit| {
            if limit.above { number > limit.number } else { number < limit.number }
        };
        if let Some(limit) = self.limits.iter().find(beyond) {
            return Ok(Value::Absent(limit.means));
        }
        fixed(self.channel, self.unit, number * self.scale + self.offset).ok_or(ProblemKind::OutOfRange)
    }
}

/// A quantity in any fitting unit as the channel stores it.
pub(crate) fn fixed(channel: Channel, unit: Measure, quantity: f64) -> Option<Value> {
    let quantity = unit.convert(quantity, channel.spec().measure)?;
    channel.to_fixed(quantity).map(Value::Number)
}
