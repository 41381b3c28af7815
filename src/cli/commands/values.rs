//! Values of arguments: times, temperatures, corners, power-up states.

use crate::language::ast::{Corner, PowerUp};
use crate::quantity::{Quantity, Temperature, Time};
use crate::{sweep, trial};

/// A time of a run, such as `12.5us` or `12.5 us`.
pub(super) fn time(text: &str) -> Result<Time, String> {
    if text.trim().is_empty() {
        return Err("a time is missing: write it as in 12.5us".to_owned());
    }
    let quantity = quantity(text)?;
    let time =
        quantity.as_time().ok_or_else(|| format!("`{text}` is {}, not a time such as 12.5us", quantity.kind()))?;
    if time < Time::ZERO {
        return Err(format!("a run begins at 0, and `{text}` is before it"));
    }
    Ok(time)
}

/// A temperature such as `70C`.
pub(super) fn temperature(text: &str) -> Result<Temperature, String> {
    let quantity = quantity(text)?;
    let temperature = quantity
        .as_temperature()
        .ok_or_else(|| format!("`{text}` is {}, not a temperature such as 70C", quantity.kind()))?;
    trial::temperature(temperature)
}

fn quantity(text: &str) -> Result<Quantity, String> {
    text.parse::<Quantity>().map_err(|error| error.to_string())
}

/// The corners that are asked for; `None` stands for the trial's own.
pub(super) fn corners(text: Option<&str>) -> Result<Vec<Option<Corner>>, String> {
    match text {
        None => Ok(vec![None]),
        Some(text) => Ok(sweep::corners(text)?.into_iter().map(Some).collect()),
    }
}

pub(super) fn power_up(text: &str) -> Result<PowerUp, String> {
    match sweep::power_ups(text)?.as_slice() {
        [only] => Ok(*only),
        _ => Err(format!("`{text}` is several states: `coldboard sweep` tries them all")),
    }
}
