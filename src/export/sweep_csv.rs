//! A sweep as a table of comma-separated values (RFC 4180), a row a point. Quantities are in the base units that the
//! heads of the columns name; a cell is empty where the trial or the design says the value.

use crate::quantity::Quantity;
use crate::sweep::{Sweep, Verdict};

/// The table, with a line of heads.
pub fn csv(sweep: &Sweep) -> String {
    let mut out = String::new();
    let axes = sweep.header.axes.iter().map(|axis| match axis.name.as_str() {
        "voltage" => "voltage_V".to_owned(),
        "temperature" => "temperature_C".to_owned(),
        "clock" => "clock_Hz".to_owned(),
        name => name.replace('-', "_"),
    });
    let mut heads: Vec<String> = std::iter::once("point".to_owned()).chain(axes).collect();
    if sweep.header.search.is_some() {
        let more = ["highest_Hz", "failed_at_Hz", "passed_again_Hz", "limit"];
        heads.extend(more.map(str::to_owned));
    }
    let more = ["verdict", "passed", "failed", "faults", "clocks", "swallowed", "end_s", "first"];
    heads.extend(more.map(str::to_owned));
    line(&mut out, &heads);
    for row in &sweep.rows {
        let outcome = &row.outcome;
        let mut cells = vec![row.point.to_string()];
        for (axis, value) in sweep.header.axes.iter().zip(&row.at) {
            let quantity = matches!(axis.name.as_str(), "voltage" | "temperature" | "clock");
            cells.push(match value.as_str() {
                "as written" => String::new(),
                value if quantity => base(value),
                value => value.to_owned(),
            });
        }
        if let Some(highest) = &row.highest {
            let rate = |rate: &Option<String>| rate.as_deref().map_or(String::new(), base);
            cells.push(rate(&highest.passed));
            cells.push(rate(&highest.failed));
            let again: Vec<String> = highest.passed_above.iter().map(|rate| base(rate)).collect();
            cells.push(again.join(" "));
            cells.push(highest.limit.clone().unwrap_or_default());
        }
        cells.push(verdict(outcome.verdict).to_owned());
        let numbers = [outcome.passed, outcome.failed, outcome.faults, outcome.clocks, outcome.swallowed];
        cells.extend(numbers.map(|number| number.to_string()));
        cells.push(base(&outcome.end));
        cells.push(outcome.first.clone().unwrap_or_default());
        line(&mut out, &cells);
    }
    out
}

fn verdict(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::Passed => "passed",
        Verdict::Requirement => "requirement",
        Verdict::Fault => "fault",
        Verdict::Expectation => "expectation",
        Verdict::Supply => "supply",
    }
}

/// A quantity in its base unit: `4.5 MHz` is 4500000.
fn base(text: &str) -> String {
    let Ok(quantity) = text.parse::<Quantity>() else {
        return text.to_owned();
    };
    let (raw, digits) = match quantity {
        Quantity::Frequency(value) => (value.raw(), 3),
        Quantity::Voltage(value) => (value.raw(), 6),
        Quantity::Temperature(value) => (value.raw(), 3),
        Quantity::Time(value) => (value.ps(), 12),
        _ => return text.to_owned(),
    };
    let one = 10_u64.pow(digits);
    let sign = if raw < 0 { "-" } else { "" };
    let (whole, part) = (raw.unsigned_abs() / one, raw.unsigned_abs() % one);
    let part = format!("{part:0>width$}", width = digits as usize);
    match part.trim_end_matches('0') {
        "" => format!("{sign}{whole}"),
        part => format!("{sign}{whole}.{part}"),
    }
}

fn line(out: &mut String, cells: &[String]) {
    for (at, cell) in cells.iter().enumerate() {
        if at > 0 {
            out.push(',');
        }
        if cell.contains([',', '"', '\n', '\r']) {
            out.push('"');
            out.push_str(&cell.replace('"', "\"\""));
            out.push('"');
        } else {
            out.push_str(cell);
        }
    }
    // RFC 4180, section 2: each record ends with CR LF.
    out.push_str("\r\n");
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn quantities_are_in_base_units() {
        for (text, wanted) in [
            ("4.5 MHz", "4500000"),
            ("0.5 Hz", "0.5"),
            ("4.75 V", "4.75"),
            ("-40 C", "-40"),
            ("1.25 us", "0.00000125"),
            ("slowest", "slowest"),
        ] {
            assert_eq!(base(text), wanted);
        }
    }

    #[test]
    fn cells_are_quoted_where_they_must() {
        // RFC 4180, section 2, rules 6 and 7.
        let mut out = String::new();
        line(&mut out, &["a".to_owned(), "b, \"c\"".to_owned()]);
        assert_eq!(out, "a,\"b, \"\"c\"\"\"\r\n");
    }
}
