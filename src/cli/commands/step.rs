//! `coldboard run --step`: a person at each clock.

use crate::circuit::{Circuit, DiscreteKey, DiscreteKind, NetKey, Signal, SignalError};
use crate::cli::output::Output;
use crate::diagnostic::{count, did_you_mean};
use crate::export::report::causes;
use crate::language::ast::Named;
use crate::logic::Level;
use crate::run::Engine;
use crate::text::{Sources, Span, Spanned};
use crate::trial::{Look, Observer, Prepared, Question, reading};
use std::io::BufRead;

/// Waits for a person at each clock: at a terminal, or for lines from a pipe.
pub(super) struct InteractiveSession<'a> {
    circuit: &'a Circuit,
    shown: Vec<(Signal, Option<Look>)>,
    output: &'a mut Output,
    ahead: Ahead,
    /// What `until` alone waits for.
    question: Option<Question>,
    greeted: bool,
}

/// What passes before the next question.
enum Ahead {
    Clocks(u64),
    /// Clocks until something holds.
    Until,
    Everything,
}

/// What a line asks for.
enum Next {
    /// Another line.
    Stay,
    /// The run.
    Go,
    /// The end of the trial.
    End,
}

const HELP: &str = "  Enter               one clock on
  NUMBER              so many clocks on
  until CONDITION     on to the next clock at which it holds, e.g. until A.r = 5
  until               the same once more
  go                  on to the end without asking
  quit                end the trial here
  PATH                show a signal from now on, e.g. A.r or A.U1.Q3
  PATH as NAMES       the same by the names of a list, e.g. A.ir as TINY
  LED                 show whether an LED is lit, or a row of them, e.g. A.D[0..7]
  PATH as volts       show the voltage of a net; LED as current
  -PATH               show it no more
  why PATH            tell the causes of the level of a net
  memory CHIP FROM N  show N words of a memory, e.g. memory A.U2 0x100 16
  set PATH VALUE      drive a signal: high, low, a number or a name of one
  release PATH        let it go again
  close SW, open SW   work a button or a switch
  flip SW up, down    work a changeover switch
";

/// Words of a memory that are shown at once.
const MOST_WORDS: u64 = 1024;

impl<'a> InteractiveSession<'a> {
    /// Shows the signals that the trial speaks of.
    pub(super) fn new(circuit: &'a Circuit, prepared: &Prepared, output: &'a mut Output) -> InteractiveSession<'a> {
        InteractiveSession {
            circuit,
            shown: prepared
                .mentioned()
                .iter()
                .map(|signal| (signal.clone(), prepared.look(&signal.path).cloned()))
                .collect(),
            output,
            ahead: Ahead::Clocks(0),
            question: None,
            greeted: false,
        }
    }

    fn show(&mut self, machine: &dyn Engine, clocks: u64) {
        let mut line = format!("clock {clocks} at {}:", machine.now());
        for (signal, look) in &self.shown {
            let levels: Vec<Level> = signal.nets.iter().map(|&net| machine.level(net)).collect();
            if let Some(Look::Reading(reading)) = look {
                line.push_str(&format!("  {}={}", signal.path, reading.shown(&|net| machine.level(net))));
                continue;
            }
            let named = look.as_ref().and_then(|look| look.word(&levels));
            let width = signal.nets.len() as u32;
            let word = machine.word(&signal.nets);
            let value = named.unwrap_or_else(|| match width {
                1 => word.text(1),
                _ => word.hex(width),
            });
            line.push_str(&format!("  {}={value}", signal.path));
        }
        self.output.answer(&format!("{line}\n"));
    }

    /// True when the person wants to be asked at this clock.
    fn pauses_here(&mut self, machine: &dyn Engine) -> bool {
        match &mut self.ahead {
            Ahead::Everything => false,
            Ahead::Clocks(0) => true,
            Ahead::Clocks(left) => {
                *left -= 1;
                false
            }
            Ahead::Until => match &self.question {
                Some(question) => question.is_true(machine),
                None => true,
            },
        }
    }
}

impl Observer for InteractiveSession<'_> {
    fn clock(&mut self, machine: &mut dyn Engine, clocks: u64) -> bool {
        if !self.pauses_here(machine) {
            return true;
        }
        if !self.greeted {
            self.greeted = true;
            self.output.remark("stepping: Enter for the next clock, ? for help");
        }
        self.show(machine, clocks);
        loop {
            let mut line = String::new();
            match std::io::stdin().lock().read_line(&mut line) {
                // The lines have come to an end: so does the questioning.
                Ok(0) | Err(_) => {
                    self.ahead = Ahead::Everything;
                    return true;
                }
                Ok(_) => {}
            }
            match self.follow(line.trim(), machine, clocks) {
                Ok(Next::Stay) => {}
                Ok(Next::Go) => return true,
                Ok(Next::End) => return false,
                Err(sentence) => self.output.remark(&sentence),
            }
        }
    }
}

impl InteractiveSession<'_> {
    /// Does what a line says.
    ///
    /// # Errors
    /// A sentence about what cannot be done.
    fn follow(&mut self, line: &str, machine: &mut dyn Engine, clocks: u64) -> Result<Next, String> {
        let (word, rest) = line.split_once(' ').unwrap_or((line, ""));
        let rest = rest.trim();
        match (word, rest) {
            ("", _) => return Ok(self.on(Ahead::Clocks(0))),
            ("?", _) => self.output.remark(HELP),
            ("go", "") => return Ok(self.on(Ahead::Everything)),
            ("quit", "") => return Ok(Next::End),
            ("until", _) => {
                if !rest.is_empty() {
                    self.question = Some(Question::read(self.circuit, rest)?);
                } else if self.question.is_none() {
                    return Err("until what? write it once, e.g. until A.r = 5".to_owned());
                }
                return Ok(self.on(Ahead::Until));
            }
            ("why", path) => self.why(machine, path)?,
            ("memory", what) => self.memory(machine, what)?,
            ("set", what) => {
                // Trials write it with `=`.
                let what = what.replace('=', " ");
                let (path, value) = what.trim().rsplit_once(' ').unwrap_or((what.trim(), ""));
                self.set(machine, path.trim(), value)?;
            }
            ("release", path) => {
                for net in self.signal(path)?.nets {
                    if machine.force(net) {
                        machine.release(net);
                    }
                }
            }
            ("close" | "open" | "flip", what) => self.contact(machine, word, what)?,
            _ => {
                if let Ok(number) = line.parse::<u64>() {
                    return Ok(self.on(Ahead::Clocks(number.saturating_sub(1))));
                }
                match line.strip_prefix('-') {
                    Some(path) => self.shown.retain(|(signal, _)| signal.path != path.trim()),
                    None => {
                        let shown = match reading(self.circuit, line) {
                            Some((signal, look)) => (signal, Some(look)),
                            None => {
                                let (path, names) = line.split_once(" as ").unwrap_or((line, ""));
                                (self.signal(path.trim())?, self.look(names.trim())?)
                            }
                        };
                        self.shown.push(shown);
                    }
                }
                self.show(machine, clocks);
            }
        }
        Ok(Next::Stay)
    }

    fn on(&mut self, ahead: Ahead) -> Next {
        self.ahead = ahead;
        Next::Go
    }

    fn signal(&self, path: &str) -> Result<Signal, String> {
        if path.is_empty() {
            return Err("of what? name a net, a pin or a bus as well".to_owned());
        }
        self.circuit.signal(path).map_err(|error| match error {
            SignalError::Unknown { near: None, .. } => {
                format!("{error}; ? tells what can be written here")
            }
            known => known.line(),
        })
    }

    /// How a signal is to be shown; as a number when nothing is said.
    fn look(&self, names: &str) -> Result<Option<Look>, String> {
        match names {
            "" => Ok(None),
            "characters" => Ok(Some(Look::Characters)),
            _ => {
                let word = Spanned { node: names.to_owned(), span: whole(names) };
                let table = self.circuit.names.table(&word);
                let table = table.map_err(|problem| problem.message)?;
                Ok(Some(Look::Names(table.clone())))
            }
        }
    }

    fn why(&mut self, machine: &mut dyn Engine, path: &str) -> Result<(), String> {
        let nets: Vec<NetKey> = self.signal(path)?.nets;
        let [net] = nets.as_slice() else {
            return Err(one_of(self.circuit, path, &nets));
        };
        let now = machine.now();
        let steps = machine.why(*net, now);
        self.output.answer(&causes(&steps, 2));
        Ok(())
    }

    fn memory(&mut self, machine: &dyn Engine, what: &str) -> Result<(), String> {
        let mut words = what.split_whitespace();
        let path = words.next().unwrap_or_default();
        let mut figure = |otherwise: u64| match words.next() {
            None => Ok(otherwise),
            Some(text) => number(text).ok_or_else(|| format!("`{text}` is no number")),
        };
        let (first, count) = (figure(0)?, figure(16)?.min(MOST_WORDS));
        let chip = self.circuit.chip(path).ok_or_else(|| {
            let chips = self.circuit.chips.values();
            let memories = chips.filter(|chip| !chip.part.function.memories.is_empty());
            let names: Vec<&str> = memories.map(|chip| chip.path.as_str()).collect();
            match (did_you_mean(path, names.iter().copied()), names.as_slice()) {
                (Some(near), _) => format!("there is no chip `{path}`; {near}"),
                (None, []) => "no chip here has a memory".to_owned(),
                (None, some) => format!("name a chip with a memory: {}", some.join(", ")),
            }
        })?;
        let stored = machine.stored(chip);
        let array = stored.as_ref().and_then(|stored| stored.memories.first());
        let array = array.ok_or_else(|| format!("{path} has no memory to look at"))?;
        let part = &self.circuit.chips[chip].part;
        let width = part.function.memories[0].width;
        let last = first.saturating_add(count).min(array.len());
        if first >= last {
            return Err(format!("{path} has the words 0 to {:#X}", array.len() - 1));
        }
        let mut text = String::new();
        for address in first..last {
            if (address - first) % 16 == 0 {
                let gap = if address == first { "" } else { "\n" };
                text.push_str(&format!("{gap}  {address:04X} "));
            }
            text.push_str(&format!(" {}", array.get(address).hex(width)));
        }
        self.output.answer(&format!("{text}\n"));
        Ok(())
    }

    fn set(&mut self, machine: &mut dyn Engine, path: &str, value: &str) -> Result<(), String> {
        let nets = self.signal(path)?.nets;
        let bits = match value {
            "high" => u64::MAX,
            "low" => 0,
            _ => {
                let value = match number(value) {
                    Some(value) => value,
                    None if value.is_empty() => {
                        let what = "high, low, a number or the name of one";
                        return Err(format!("set `{path}` to what? {what}"));
                    }
                    None => self.value_of(value)?,
                };
                if nets.len() < 64 && value >> nets.len() != 0 {
                    let bits = count(nets.len(), "bit");
                    return Err(format!("{value:#X} does not fit the {bits} of `{path}`"));
                }
                value
            }
        };
        for (at, &net) in nets.iter().rev().enumerate() {
            machine.force(net);
            let high = bits >> at & 1 == 1;
            machine.set(net, if high { Level::One } else { Level::Zero });
        }
        Ok(())
    }

    /// The value of a name: `ADD`, `steps.FETCH`.
    fn value_of(&self, text: &str) -> Result<u64, String> {
        let (owner, name) = match text.split_once('.') {
            Some((owner, name)) => (Some(owner.to_owned()), name),
            None => (None, text),
        };
        let named = Named { owner, name: name.to_owned(), span: whole(text) };
        let found = self.circuit.names.find(&named);
        let (_, ranges) = found.map_err(|problem| problem.message)?;
        match ranges.as_slice() {
            &[(first, last)] if first == last => Ok(first),
            _ => Err(format!("{text} stands for several values; write the number")),
        }
    }

    fn contact(&mut self, machine: &mut dyn Engine, word: &str, what: &str) -> Result<(), String> {
        let (path, way) = what.split_once(' ').unwrap_or((what, ""));
        let discrete = self.hand(path)?;
        let changeover = self.circuit.discretes[discrete].kind == DiscreteKind::Changeover;
        let position = match (word, way.trim(), changeover) {
            ("open", "", false) => 0,
            ("close", "", false) | ("flip", "up", true) => 1,
            ("flip", "down", true) => 2,
            (.., true) => {
                return Err(format!("{path} is flipped: flip {path} up, flip {path} down"));
            }
            (.., false) => {
                return Err(format!("{path} is closed and opened: close {path}, open {path}"));
            }
        };
        machine.contact(discrete, position);
        Ok(())
    }

    /// A button or switch by its path.
    fn hand(&self, path: &str) -> Result<DiscreteKey, String> {
        let works = |kind: &DiscreteKind| {
            use DiscreteKind::{Button, Changeover, Switch};
            matches!(kind, Button | Switch | Changeover)
        };
        let mut hands = self.circuit.discretes.iter();
        let found = hands.find(|(_, discrete)| discrete.path == path && works(&discrete.kind));
        found.map(|(key, _)| key).ok_or_else(|| {
            let all = self.circuit.discretes.values();
            let all = all.filter(|discrete| works(&discrete.kind));
            let near = did_you_mean(path, all.map(|discrete| discrete.path.as_str()));
            let near = near.map_or_else(String::new, |near| format!("; {near}"));
            format!("there is no button or switch `{path}`{near}")
        })
    }
}

/// Asks for one net of several.
pub(super) fn one_of(circuit: &Circuit, path: &str, nets: &[NetKey]) -> String {
    let names = nets.iter().map(|&net| circuit.nets[net].path.as_str());
    let names: Vec<&str> = names.collect();
    format!("`{path}` has {} bits; ask for one of them: {}", nets.len(), names.join(", "))
}

/// A number as the language writes it.
fn number(text: &str) -> Option<u64> {
    if let Some(digits) = text.strip_prefix("0x") {
        return u64::from_str_radix(digits, 16).ok();
    }
    if let Some(digits) = text.strip_prefix("0b") {
        return u64::from_str_radix(digits, 2).ok();
    }
    text.parse().ok()
}

/// The place of what a person has typed: a text of its own.
fn whole(text: &str) -> Span {
    let file = Sources::new().add("", text);
    let (start, end) = (0, text.len() as u32);
    Span { file, start, end }
}
