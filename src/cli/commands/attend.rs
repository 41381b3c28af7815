//! Who looks on while a long run goes on, and tells a person how far it is.

use crate::cli::output::Output;
use crate::quantity::Time;
use crate::run::Engine;
use crate::trial::{Goal, Observer, Progress};
use std::time::{Duration, Instant};

/// Between two lines at a terminal.
const AT_TERMINAL: Duration = Duration::from_millis(250);
/// Between two lines elsewhere.
pub(super) const ELSEWHERE: Duration = Duration::from_secs(10);
/// A run that takes less is not spoken of.
const SHORT: Duration = Duration::from_millis(500);

/// Looks on while one trial runs.
pub(super) struct ProgressReporter<'o> {
    output: &'o mut Output,
    /// The trial, to name it.
    name: String,
    /// How often a line is due; `None` for never.
    every: Option<Duration>,
    begun: Instant,
    last_line: Instant,
    /// What was told last, and when: the rate is that of the time since.
    last: (Duration, Progress),
}

impl<'o> ProgressReporter<'o> {
    /// Begins with a trial. Elsewhere than at a terminal lines are wanted only when `verbose`.
    pub(super) fn new(output: &'o mut Output, name: &str, verbose: bool) -> ProgressReporter<'o> {
        let every = match (output.is_interactive(), verbose) {
            (true, _) => Some(AT_TERMINAL),
            (false, true) => Some(ELSEWHERE),
            (false, false) => None,
        };
        let now = Instant::now();
        let nothing = Progress { now: Time::ZERO, clocks: None, goal: Goal::Time(Time::ZERO) };
        ProgressReporter {
            output,
            name: name.to_owned(),
            every,
            begun: now,
            last_line: now,
            last: (Duration::ZERO, nothing),
        }
    }

    /// Says how far the run is.
    fn tell(&mut self, progress: Progress) {
        let since = self.begun.elapsed();
        let line = line(&self.name, self.last, (since, progress));
        if self.output.is_interactive() {
            self.output.progress(&line);
        } else {
            self.output.remark(&line);
        }
        self.last = (since, progress);
    }
}

impl Drop for ProgressReporter<'_> {
    fn drop(&mut self) {
        if self.output.is_interactive() && self.last_line > self.begun {
            self.output.progress("");
        }
    }
}

impl Observer for ProgressReporter<'_> {
    fn has_hands(&self) -> bool {
        false
    }

    fn clock(&mut self, _: &mut dyn Engine, _: u64) -> bool {
        true
    }

    fn progress(&mut self, progress: Progress) {
        let due = |every| self.last_line.elapsed() >= every && self.begun.elapsed() >= SHORT;
        if self.every.is_some_and(due) {
            self.tell(progress);
            self.last_line = Instant::now();
        }
    }
}

/// `primes  12.3 ms  30,211 clocks  137,000 clocks/s  about 40 s left`: the rate since the line before; what is left of
/// the present step of the trial, when it has no end but a limit that is less than an hour.
fn line(name: &str, (then, before): (Duration, Progress), (now, at): (Duration, Progress)) -> String {
    let seconds = (now - then).as_secs_f64().max(1e-3);
    let mut line = format!("{name}  {}", at.now);
    let left = match (at.goal, at.clocks) {
        (Goal::Clocks(goal), Some(clocks)) => {
            let rate = (clocks - before.clocks.unwrap_or(0).min(clocks)) as f64 / seconds;
            (goal.saturating_sub(clocks)) as f64 / rate
        }
        (Goal::Time(goal), _) => {
            let rate = (at.now - before.now).ps() as f64 / seconds;
            (goal - at.now).ps() as f64 / rate
        }
        (Goal::Clocks(_), None) => f64::INFINITY,
    };
    if let Some(clocks) = at.clocks {
        let rate = (clocks - before.clocks.unwrap_or(0).min(clocks)) as f64 / seconds;
        line.push_str(&format!("  {} clocks", grouped(clocks)));
        line.push_str(&format!("  {} clocks/s", grouped(rounded(rate))));
    }
    if left.is_finite() && left < 360_000.0 {
        line.push_str(&format!("  at most {} left", rough_duration(left)));
    }
    line
}

/// A rate in three digits.
fn rounded(rate: f64) -> u64 {
    let digits = (rate.max(1.0).log10().floor() as i32 - 2).max(0);
    let step = 10f64.powi(digits);
    ((rate / step).round() * step) as u64
}

/// `1,234,567`.
fn grouped(number: u64) -> String {
    let digits = number.to_string();
    let mut text = String::new();
    for (at, digit) in digits.chars().enumerate() {
        if at > 0 && (digits.len() - at).is_multiple_of(3) {
            text.push(',');
        }
        text.push(digit);
    }
    text
}

/// `40 s`, `12 min`, `3 h`.
fn rough_duration(seconds: f64) -> String {
    match seconds {
        ..100.0 => format!("{} s", seconds.ceil()),
        ..6_000.0 => format!("{} min", (seconds / 60.0).ceil()),
        _ => format!("{} h", (seconds / 3_600.0).ceil()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_line_tells_time_clocks_rate_and_what_is_left() {
        let at = |ms: i64, clocks| Progress {
            now: Time::from_ps(ms * 1_000_000_000),
            clocks: Some(clocks),
            goal: Goal::Clocks(1_000_000),
        };
        let told = line("primes", (Duration::from_secs(1), at(10, 100_000)), (Duration::from_secs(3), at(30, 300_000)));
        // 200,000 clocks in 2 s; 700,000 are left.
        assert_eq!(told, "primes  30 ms  300,000 clocks  100,000 clocks/s  at most 7 s left");
    }

    #[test]
    fn a_limit_of_hours_is_told_in_hours_and_one_of_weeks_not_at_all() {
        let at = |ms: i64, goal: i64| Progress {
            now: Time::from_ps(ms * 1_000_000_000),
            clocks: None,
            goal: Goal::Time(Time::from_ps(goal * 1_000_000_000)),
        };
        let told = |goal| {
            let second = Duration::from_secs(1);
            line("t", (Duration::ZERO, at(0, goal)), (second, at(1, goal)))
        };
        assert_eq!(told(7_201), "t  1 ms  at most 2 h left");
        assert_eq!(told(1_000_000_000), "t  1 ms");
    }
}
