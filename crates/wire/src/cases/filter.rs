use rimeline_casebook::{CargoClass, CaseFilter, FieldError, Priority};
use rimeline_channels::Id;

use crate::pb;

/// Which cases a caller wants.
pub fn filter(filter: Option<pb::CaseFilter>) -> Result<CaseFilter, FieldError> {
    let filter = filter.unwrap_or_default();
    let unit =
        |unit: &String| Id::new(unit).map_err(|error| FieldError::new("filter.units", error.to_string()));
    let class = |number: &i32| {
        CargoClass::from_number(*number)
            .ok_or_else(|| FieldError::new("filter.cargo_classes", format!("{number} is no cargo class")))
    };
    let least_priority =
        match filter.least_priority {
            0 => None,
            number => Some(Priority::from_number(number).ok_or_else(|| {
                FieldError::new("filter.least_priority", format!("{number} is no priority"))
            })?),
        };
    Ok(CaseFilter {
        units: filter.units.iter().map(unit).collect::<Result<_, _>>()?,
        cargo_classes: filter.cargo_classes.iter().map(class).collect::<Result<_, _>>()?,
        depots: filter.depots,
        least_priority,
        include_closed: filter.include_closed,
        include_shelved: false,
    })
}
