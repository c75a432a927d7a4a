//! Answers saturation queries, one a line on standard input.
//!
//! A query is `temperature,REFRIGERANT,SIDE,REFERENCE,ALTITUDE,READING` with a pressure reading in kPa, or
//! `pressure,...,TEMPERATURE` with a temperature in Cel; the answer is the other of the two, or `none` outside the table.
//! Sides are `bubble` and `dew`, references `vented_gauge`, `sealed_gauge` and `absolute`, altitudes in m.

#![allow(clippy::print_stdout)]

use std::error::Error;
use std::io::{BufRead, Write};

use rimeline_refrigerant::{
    PressureReference, Refrigerant, Side, from_absolute_kpa, saturation_pressure, saturation_temperature,
    to_absolute_kpa,
};

fn answer(query: &str) -> Result<Option<f64>, Box<dyn Error>> {
    let fields: Vec<&str> = query.split(',').collect();
    let [wanted, refrigerant, side, reference, altitude, value] = fields[..] else {
        return Err(format!("six fields are needed: {query}").into());
    };
    let refrigerant =
        Refrigerant::from_designation(refrigerant).ok_or(format!("no table for {refrigerant}: {query}"))?;
    let side = match side {
        "bubble" => Side::Bubble,
        "dew" => Side::Dew,
        _ => return Err(format!("the side is bubble or dew: {query}").into()),
    };
    let reference = match reference {
        "vented_gauge" => PressureReference::VentedGauge,
        "sealed_gauge" => PressureReference::SealedGauge,
        "absolute" => PressureReference::Absolute,
        _ => return Err(format!("the reference is vented_gauge, sealed_gauge or absolute: {query}").into()),
    };
    let (altitude, value): (f64, f64) = (altitude.parse()?, value.parse()?);
    Ok(match wanted {
        "temperature" => to_absolute_kpa(value, reference, altitude)
            .and_then(|absolute| saturation_temperature(refrigerant, absolute, side)),
        "pressure" => saturation_pressure(refrigerant, value, side)
            .and_then(|absolute| from_absolute_kpa(absolute, reference, altitude)),
        _ => return Err(format!("a query asks for temperature or pressure: {query}").into()),
    })
}

fn main() -> Result<(), Box<dyn Error>> {
    let mut out = std::io::stdout().lock();
    for line in std::io::stdin().lock().lines() {
        match answer(&line?)? {
            Some(value) => writeln!(out, "{value}")?,
            None => writeln!(out, "none")?,
        }
    }
    Ok(())
}
