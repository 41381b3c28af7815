//! Reading the values of an axis: `1MHz,2MHz`, `1MHz..10MHz/10`, `4.5V..5.5V/0.5V`.

use super::MOST_VALUES;
use super::search::Range;
use crate::language::ast::{Corner, PowerUp};
use crate::quantity::{Frequency, Quantity, Temperature, Voltage};
use crate::trial;

/// One measure as axes are written in.
struct Measure<T> {
    /// `a frequency such as 1MHz`.
    wanted: &'static str,
    take: fn(Quantity) -> Option<T>,
    raw: fn(T) -> i64,
    make: fn(i64) -> T,
    /// What is wrong with a value, if anything.
    refuse: fn(T) -> Option<String>,
}

const FREQUENCY: Measure<Frequency> = Measure {
    wanted: "a frequency such as 1MHz",
    take: Quantity::as_frequency,
    raw: Frequency::raw,
    make: Frequency::from_raw,
    refuse: |frequency| {
        let period = frequency.period().filter(|period| period.ps() >= 2);
        period
            .is_none()
            .then(|| format!("a clock of {frequency} cannot be made: write more than 0 Hz and less than 500 GHz"))
    },
};

const VOLTAGE: Measure<Voltage> = Measure {
    wanted: "a voltage such as 4.5V",
    take: Quantity::as_voltage,
    raw: Voltage::raw,
    make: Voltage::from_raw,
    refuse: |voltage| (voltage <= Voltage::ZERO).then(|| format!("a supply of {voltage} feeds nothing")),
};

const TEMPERATURE: Measure<Temperature> = Measure {
    wanted: "a temperature such as 70C",
    take: Quantity::as_temperature,
    raw: Temperature::raw,
    make: Temperature::from_raw,
    refuse: |temperature| trial::temperature(temperature).err(),
};

/// `NAME=VALUES` as its name and its values; `VALUES` alone has no name.
pub fn named(text: &str) -> (Option<&str>, &str) {
    match text.split_once('=') {
        Some((name, values)) => (Some(name.trim()), values),
        None => (None, text),
    }
}

/// Clock rates: single ones and ranges, with commas between.
///
/// # Errors
/// A sentence for a person when a value cannot be read, stands there twice, or there are too many.
pub fn frequencies(text: &str) -> Result<Vec<Frequency>, String> {
    several(text, &FREQUENCY)
}

/// Supply voltages; as [`frequencies`].
///
/// # Errors
/// As [`frequencies`].
pub fn voltages(text: &str) -> Result<Vec<Voltage>, String> {
    several(text, &VOLTAGE)
}

/// Temperatures; as [`frequencies`].
///
/// # Errors
/// As [`frequencies`], and outside the temperatures that sheets speak of.
pub fn temperatures(text: &str) -> Result<Vec<Temperature>, String> {
    several(text, &TEMPERATURE)
}

/// The range of a search, `1MHz..50MHz/0.1MHz`: from, to, and how finely; a 256th of the range when that is left out.
///
/// # Errors
/// A sentence for a person when it cannot be read.
pub fn range(text: &str) -> Result<Range, String> {
    let (ends, step) = match text.split_once('/') {
        Some((ends, step)) => (ends, Some(step)),
        None => (text, None),
    };
    let (from, to) = ends
        .split_once("..")
        .ok_or_else(|| format!("`{text}` is no range to search: write it as in 1MHz..50MHz/0.1MHz"))?;
    let (from, to) = (one(from, &FREQUENCY)?, one(to, &FREQUENCY)?);
    if to <= from {
        return Err(format!("`{text}` runs down: write the lower rate first"));
    }
    let width = to.raw() - from.raw();
    let step = match step {
        Some(step) => one(step, &FREQUENCY)?,
        None => Frequency::from_raw((width / 256).max(1)),
    };
    if step.raw() > width {
        return Err(format!("the step of `{text}` is wider than its range"));
    }
    Ok(Range { from, to, step })
}

fn several<T: Copy + PartialEq>(text: &str, measure: &Measure<T>) -> Result<Vec<T>, String> {
    let mut found: Vec<T> = Vec::new();
    for piece in text.split(',') {
        let more = match piece.split_once("..") {
            None => vec![one(piece, measure)?],
            Some((from, rest)) => ramp(piece, from, rest, measure)?,
        };
        if found.len() + more.len() > MOST_VALUES {
            return Err(too_many(text));
        }
        found.extend(more);
    }
    let raws: Vec<i64> = found.iter().map(|&value| (measure.raw)(value)).collect();
    once(text, &raws)?;
    Ok(found)
}

/// Refuses values that stand there twice: their points could not be told apart.
fn once<T: Ord>(text: &str, values: &[T]) -> Result<(), String> {
    let mut sorted: Vec<&T> = values.iter().collect();
    sorted.sort_unstable();
    match sorted.windows(2).any(|pair| pair[0] == pair[1]) {
        true => Err(format!("`{text}` has a value twice: write each once")),
        false => Ok(()),
    }
}

/// `FROM..TO/STEP`, or `FROM..TO/NUMBER`.
fn ramp<T: Copy>(piece: &str, from: &str, rest: &str, measure: &Measure<T>) -> Result<Vec<T>, String> {
    let (to, step) = rest.split_once('/').ok_or_else(|| {
        format!("`{piece}` says not which values: write the step or their number behind a slash, as in 4V..6V/0.5V or 4V..6V/5")
    })?;
    let (from, to) = ((measure.raw)(one(from, measure)?), (measure.raw)(one(to, measure)?));
    let width = to
        .checked_sub(from)
        .filter(|&width| width > 0)
        .ok_or_else(|| format!("`{piece}` runs down: write the lower value first"))?;
    let at = |share: i128, whole: i128| from + (i128::from(width) * share / whole) as i64;
    let raws: Vec<i64> = match step.trim().parse::<usize>() {
        Ok(number) if number < 2 => {
            return Err(format!("`{piece}` needs two values at least"));
        }
        Ok(number) if number > MOST_VALUES => return Err(too_many(piece)),
        Ok(number) => (0..number).map(|index| at(index as i128, number as i128 - 1)).collect(),
        Err(_) => {
            // A step is a difference: it may be what no value may be.
            let step = quantity(step, measure)?;
            let step = (measure.raw)(step);
            if step <= 0 {
                return Err(format!("the step of `{piece}` leads nowhere"));
            }
            if width / step >= MOST_VALUES as i64 {
                return Err(too_many(piece));
            }
            (0..=width / step).map(|index| from + index * step).collect()
        }
    };
    Ok(raws.into_iter().map(measure.make).collect())
}

fn too_many(text: &str) -> String {
    format!("`{text}` has more than {MOST_VALUES} values")
}

fn one<T: Copy>(text: &str, measure: &Measure<T>) -> Result<T, String> {
    let value = quantity(text, measure)?;
    (measure.refuse)(value).map_or(Ok(value), Err)
}

fn quantity<T>(text: &str, measure: &Measure<T>) -> Result<T, String> {
    let text = text.trim();
    let quantity: Quantity =
        text.parse().map_err(|error| format!("`{text}`: {error}; {} is wanted", measure.wanted))?;
    (measure.take)(quantity).ok_or_else(|| format!("`{text}` is {}, not {}", quantity.kind(), measure.wanted))
}

/// Corners: `fastest`, `typical`, `slowest`, `all` for these three, `random:SEED`, `random:1..20`.
///
/// # Errors
/// A sentence for a person when one cannot be read or stands there twice.
pub fn corners(text: &str) -> Result<Vec<Corner>, String> {
    let mut found = Vec::new();
    for word in text.split(',').map(str::trim) {
        match word {
            "fastest" => found.push(Corner::Fastest),
            "typical" => found.push(Corner::Typical),
            "slowest" => found.push(Corner::Slowest),
            "all" => found.extend([Corner::Fastest, Corner::Typical, Corner::Slowest]),
            other => match seeds(other) {
                Some(seeds) => found.extend(seeds?.map(Corner::Random)),
                None => {
                    return Err(format!(
                        "`{other}` is no corner: write fastest, typical, slowest, all, random:SEED or random:1..20"
                    ));
                }
            },
        }
    }
    once(text, &found.iter().map(|corner| format!("{corner:?}")).collect::<Vec<_>>())?;
    Ok(found)
}

/// Power-up states: `unknown`, `zero`, `one`, `random:SEED`, `random:1..20`.
///
/// # Errors
/// A sentence for a person when one cannot be read or stands there twice.
pub fn power_ups(text: &str) -> Result<Vec<PowerUp>, String> {
    let mut found = Vec::new();
    for word in text.split(',').map(str::trim) {
        match word {
            "unknown" => found.push(PowerUp::Unknown),
            "zero" => found.push(PowerUp::Zero),
            "one" => found.push(PowerUp::One),
            other => match seeds(other) {
                Some(seeds) => found.extend(seeds?.map(PowerUp::Random)),
                None => {
                    return Err(format!(
                        "`{other}` is no power-up state: write unknown, zero, one, random:SEED or random:1..20"
                    ));
                }
            },
        }
    }
    once(text, &found.iter().map(|state| format!("{state:?}")).collect::<Vec<_>>())?;
    Ok(found)
}

/// The seeds of `random:5` or `random:1..20`; `None` for another word.
fn seeds(word: &str) -> Option<Result<std::ops::RangeInclusive<u64>, String>> {
    let numbers = word.strip_prefix("random:")?;
    let (from, to) = numbers.split_once("..").unwrap_or((numbers, numbers));
    let (from, to) = (from.parse::<u64>().ok()?, to.parse::<u64>().ok()?);
    Some(if to < from {
        Err(format!("`{word}` runs down: write the lower seed first"))
    } else if to - from >= MOST_VALUES as u64 {
        Err(too_many(word))
    } else {
        Ok(from..=to)
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn text<T: ToString>(values: Result<Vec<T>, String>) -> String {
        match values {
            Ok(values) => values.iter().map(ToString::to_string).collect::<Vec<_>>().join(" "),
            Err(sentence) => sentence,
        }
    }

    #[test]
    fn values_stand_alone_or_in_ranges() {
        assert_eq!(text(frequencies("1MHz,2.5 MHz")), "1 MHz 2.5 MHz");
        assert_eq!(text(frequencies("1MHz..5MHz/5")), "1 MHz 2 MHz 3 MHz 4 MHz 5 MHz");
        assert_eq!(text(voltages("4.5V..5.5V/0.5V,6V")), "4.5 V 5 V 5.5 V 6 V");
        // The last step would lead beyond the end.
        assert_eq!(text(temperatures("0C..70C/25C")), "0 C 25 C 50 C");
        assert_eq!(corners("all,random:7..8").expect("corners").len(), 5);
        assert_eq!(power_ups("zero,random:3").expect("states").len(), 2);
    }

    #[test]
    fn what_makes_no_values_is_told() {
        for (told, wanted) in [
            (text(frequencies("5V")), "`5V` is a voltage, not a frequency such as 1MHz"),
            (text(frequencies("0Hz")), "a clock of 0 Hz cannot be made"),
            (text(voltages("5V,5V")), "has a value twice"),
            (text(voltages("5V..4V/2")), "runs down"),
            (text(voltages("4V..5V")), "behind a slash"),
            (text(voltages("1V..2V/1uV")), "more than 10000 values"),
            (text(voltages("1V..2V/-1V")), "leads nowhere"),
            (text(temperatures("200C")), "sheets speak of -55 to 125 C"),
            (corners("slow").expect_err("no corner"), "`slow` is no corner"),
            (corners("random:2..1").expect_err("no corner"), "runs down"),
            (range("9MHz..1MHz").expect_err("no range"), "runs down"),
            (range("1MHz..2MHz/5MHz").expect_err("no range"), "wider than its range"),
        ] {
            assert!(told.contains(wanted), "{told}");
        }
    }

    #[test]
    fn a_name_stands_before_the_values() {
        assert_eq!(named("/phi=1MHz"), (Some("/phi"), "1MHz"));
        assert_eq!(named("1MHz"), (None, "1MHz"));
    }
}
