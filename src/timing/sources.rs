//! Where clocks are named: in trials, and on the command line.

use crate::circuit::{Circuit, NetKey};
use crate::diagnostic::Diagnostic;
use crate::language::ast::{Trial, TrialStatement};
use crate::language::expand::Scope;
use crate::quantity::{Quantity, Time};
use crate::text::Span;

/// A clock that somebody has named.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Source {
    pub net: NetKey,
    /// From one rise to the next.
    pub period: Time,
    /// How long it is high.
    pub high: Time,
    /// Who says so, in words.
    pub origin: String,
}

/// The clocks that the trials on a circuit drive. Of several on one net the fastest counts.
///
/// # Errors
/// Names that mean no net, and rates that are none.
pub fn of_trials(circuit: &Circuit, trials: &[Trial]) -> Result<Vec<Source>, Vec<Diagnostic>> {
    let mut found: Vec<Source> = Vec::new();
    let mut problems = Vec::new();
    for trial in trials.iter().filter(|trial| trial.on.node == circuit.name) {
        for statement in &trial.body {
            let TrialStatement::Clock { path, frequency, duty } = &statement.node else {
                continue;
            };
            let net = circuit.signal_at(path, &Scope::default()).map(|signal| signal.nets);
            let nets = match net {
                Ok(nets) => nets,
                Err(problem) => {
                    problems.push(problem);
                    continue;
                }
            };
            let duty = duty.as_ref().map(|duty| duty.node);
            let origin = format!("the trial {}", trial.name.node);
            match (nets.as_slice(), source(nets.first().copied(), frequency.node, duty, origin)) {
                ([_], Ok(source)) => keep_fastest(&mut found, source),
                ([_], Err(sentence)) => problems.push(wrong(sentence, frequency.span)),
                _ => problems.push(wrong("a clock is one net".to_owned(), path.span)),
            }
        }
    }
    if problems.is_empty() { Ok(found) } else { Err(problems) }
}

fn wrong(sentence: String, span: Span) -> Diagnostic {
    Diagnostic::error("clock", sentence)
        .at(span, "in this clock")
        .help("write one net, a rate and perhaps a share of high: `clock phi 1 MHz duty 40 %`")
}

fn keep_fastest(found: &mut Vec<Source>, source: Source) {
    match found.iter_mut().find(|other| other.net == source.net) {
        Some(other) if other.period <= source.period => {}
        Some(other) => *other = source,
        None => found.push(source),
    }
}

/// A clock as it is named on the command line: `phi=2MHz` or `phi=2MHz,40%`.
///
/// # Errors
/// A sentence that says what is wrong and what to write.
pub fn of_text(circuit: &Circuit, text: &str) -> Result<Source, String> {
    const HELP: &str = "write it as in `phi=2MHz`, or `phi=2MHz,40%` with the share of high";
    let (name, rate) = text.split_once('=').ok_or_else(|| format!("`{text}` names no clock: {HELP}"))?;
    let nets = circuit.signal(name.trim()).map_err(|error| error.line())?.nets;
    let [net] = nets.as_slice() else {
        return Err(format!("`{name}` has {} bits, and a clock is one net", nets.len()));
    };
    let (rate, duty) = match rate.split_once(',') {
        Some((rate, duty)) => (rate, Some(quantity(duty)?)),
        None => (rate, None),
    };
    source(Some(*net), quantity(rate)?, duty, "the command line".to_owned())
        .map_err(|sentence| format!("`{text}`: {sentence}; {HELP}"))
}

fn quantity(text: &str) -> Result<Quantity, String> {
    let text = text.trim();
    let split = text.find(|c: char| c.is_ascii_alphabetic() || c == '%').unwrap_or(text.len());
    let (number, unit) = text.split_at(split);
    Quantity::parse(number.trim(), unit.trim()).map_err(|error| error.to_string())
}

fn source(net: Option<NetKey>, rate: Quantity, duty: Option<Quantity>, origin: String) -> Result<Source, String> {
    let net = net.ok_or("a clock is one net")?;
    let period = rate.as_frequency().and_then(|rate| rate.period());
    let period = period
        .filter(|period| period.ps() >= 2)
        .ok_or("a clock needs a frequency above zero, and of 500 GHz at most")?;
    let share = match duty {
        None => 50_000,
        Some(Quantity::Percent(share)) if (1_000..=99_000).contains(&share) => share,
        Some(_) => return Err("the share of high lies between 1 % and 99 %".to_owned()),
    };
    let high = (i128::from(period.ps()) * i128::from(share) / 100_000).max(1) as i64;
    Ok(Source { net, period, high: Time::from_ps(high.min(period.ps() - 1)), origin })
}

/// The oscillator cans.
pub(super) fn oscillators(circuit: &Circuit) -> impl Iterator<Item = Source> + '_ {
    let cans = circuit.chips.iter().filter(|(_, chip)| chip.fed);
    cans.filter_map(|(_, chip)| {
        let function = &chip.part.function;
        function.oscillator?;
        let period = chip.frequency?.period()?;
        let net = function.outputs.iter().find_map(|&pin| chip.nets[pin])?;
        Some(Source {
            net,
            period,
            high: Time::from_ps(period.ps() / 2),
            origin: format!("the oscillator {}", chip.path),
        })
    })
}
