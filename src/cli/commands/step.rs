//! `coldboard run --step`: a person at each clock.

use crate::circuit::{Circuit, Signal};
use crate::cli::output::Output;
use crate::simulate::Machine;
use crate::trial::{Observer, Prepared};
use std::io::BufRead;

/// Waits for a person at each clock: at a terminal, or for lines from a pipe.
pub(super) struct Person<'a> {
    circuit: &'a Circuit,
    shown: Vec<Signal>,
    output: &'a mut Output,
    /// Clocks still to pass before the next question.
    ahead: u64,
    greeted: bool,
}

const HELP: &str = "\
  Enter        one clock on
  NUMBER       so many clocks on
  PATH         show a signal from now on, e.g. A.r or A.U1.Q3
  - PATH       show it no more
  go           on to the end without asking
  quit         end the trial here
";

impl<'a> Person<'a> {
    /// Shows the signals that the trial speaks of.
    pub(super) fn new(
        circuit: &'a Circuit,
        prepared: &Prepared,
        output: &'a mut Output,
    ) -> Person<'a> {
        Person {
            circuit,
            shown: prepared.mentioned().to_vec(),
            output,
            ahead: 0,
            greeted: false,
        }
    }

    fn show(&mut self, machine: &Machine<'_>, clocks: u64) {
        let mut line = format!("clock {clocks} at {}:", machine.now());
        for signal in &self.shown {
            let width = signal.nets.len() as u32;
            let word = machine.word(&signal.nets);
            let value = if width == 1 {
                word.text(1)
            } else {
                word.hex(width)
            };
            line.push_str(&format!("  {}={value}", signal.path));
        }
        self.output.answer(&format!("{line}\n"));
    }
}

impl Observer for Person<'_> {
    fn clock(&mut self, machine: &Machine<'_>, clocks: u64) -> bool {
        if self.ahead > 0 {
            self.ahead -= 1;
            return true;
        }
        if !self.greeted {
            self.greeted = true;
            self.output
                .remark("stepping: Enter for the next clock, ? for help");
        }
        self.show(machine, clocks);
        loop {
            let mut line = String::new();
            match std::io::stdin().lock().read_line(&mut line) {
                // The lines have come to an end: so does the questioning.
                Ok(0) | Err(_) => {
                    self.ahead = u64::MAX;
                    return true;
                }
                Ok(_) => {}
            }
            match line.trim() {
                "" => return true,
                "?" => self.output.remark(HELP),
                "go" => {
                    self.ahead = u64::MAX;
                    return true;
                }
                "quit" => return false,
                other => {
                    if let Ok(number) = other.parse::<u64>() {
                        self.ahead = number.saturating_sub(1);
                        return true;
                    }
                    self.change_list(other);
                    self.show(machine, clocks);
                }
            }
        }
    }
}

impl Person<'_> {
    fn change_list(&mut self, words: &str) {
        if let Some(path) = words.strip_prefix('-') {
            self.shown.retain(|signal| signal.path != path.trim());
            return;
        }
        match self.circuit.signal(words) {
            Ok(signal) => self.shown.push(signal),
            Err(error) => self.output.remark(&format!("{error}")),
        }
    }
}
