//! What the engine found, put into the report: faults that make a trial fail, and notes.

use super::Runner;
use crate::circuit::{Chip, DiscreteKind, NetKey};
use crate::diagnostic::count;
use crate::part::PinKind;
use crate::run::Findings;
use crate::run::wave::Mark;
use crate::trial::report::{Filled, Finding};

impl Runner<'_> {
    /// Rails that contacts cut off: for the whole trial, or for a time, which a run does not look at.
    fn switched_supplies(&mut self) {
        let path = |net: NetKey| &self.circuit.nets[net].path;
        for row in &self.fed.dead {
            let (rail, behind) = (path(row.rail), path(row.behind));
            let contact = &self.circuit.discretes[row.contact];
            let chips = self.circuit.chips.values();
            let chips = chips.filter(|chip| hangs_on(chip, row.rail)).count();
            let work = match contact.kind {
                DiscreteKind::Changeover => "`flip",
                _ => "`close",
            };
            self.report.faults.push(Finding {
                kind: "not-fed",
                place: rail.clone(),
                text: format!(
                    "{rail} hangs on {behind} behind {}, which this trial leaves as it is: {} without supply (begin with {work} {}`)",
                    contact.path,
                    count(chips, "chip"),
                    contact.path
                ),
                count: 1,
                first: None,
            });
        }
        for row in &self.fed.doubtful {
            let (rail, behind) = (path(row.rail), path(row.behind));
            let contact = &self.circuit.discretes[row.contact].path;
            self.report.notes.push(Finding {
                kind: "switched-supply",
                place: rail.clone(),
                text: format!(
                    "{rail} hangs on {behind} behind {contact}: a run takes it as fed at all times, however {contact} stands"
                ),
                count: 1,
                first: None,
            });
        }
    }

    /// Violations, contention, floating nets and the rest, one row a place.
    pub(super) fn findings(&mut self) {
        let found = self.machine.findings();
        self.report.rules = found
            .rules
            .iter()
            .map(|(rule, parts)| Filled { rule: rule.sentence(), parts: parts.iter().cloned().collect() })
            .collect();
        self.supplies();
        self.switched_supplies();
        self.limits(&found);
        for forbidden in &found.forbidden {
            let chip = &self.circuit.chips[forbidden.chip];
            self.report.faults.push(Finding {
                kind: "forbidden",
                place: chip.path.clone(),
                text: format!("{} ({}): {}", chip.path, chip.number, forbidden.text),
                count: forbidden.count,
                first: Some(forbidden.first),
            });
        }
        self.undriven_and_contended(&found);
        for (place, count) in &found.filtered {
            self.report.notes.push(Finding {
                kind: "swallowed",
                text: format!("{place} could not follow pulses that were too short for it"),
                place: place.clone(),
                count: *count,
                first: None,
            });
        }
        let unfilled = self.unfilled.findings(self.circuit);
        self.report.notes.extend(unfilled);
        self.blank_memories();
    }

    /// Chips that are not fed, or fed with a voltage that their family does not take.
    fn supplies(&mut self) {
        let told = |chip: &Chip| self.fed.dead.iter().any(|row| hangs_on(chip, row.rail));
        let unfed = self.circuit.chips.values().filter(|chip| !chip.fed);
        for chip in unfed.filter(|chip| !told(chip)) {
            self.report.faults.push(Finding {
                kind: "not-fed",
                place: chip.path.clone(),
                text: format!(
                    "{} ({}) is not fed: it drives nothing (`coldboard check` tells why)",
                    chip.path, chip.number
                ),
                count: 1,
                first: None,
            });
        }
        for chip in self.circuit.chips.values().filter(|chip| chip.fed) {
            let range = chip.electrical.as_ref().and_then(|family| family.supply);
            if let Some((least, most)) = range
                && !(least..=most).contains(&chip.supply)
            {
                self.report.faults.push(Finding {
                    kind: "wrong-supply",
                    place: chip.path.clone(),
                    text: format!(
                        "{} ({}) is fed with {}, but it needs {least} to {most}: no figure of its sheet holds",
                        chip.path, chip.number, chip.supply
                    ),
                    count: 1,
                    first: None,
                });
            }
        }
    }

    /// Data-sheet limits that were not met, and what came of it in synchronisers.
    fn limits(&mut self, found: &Findings) {
        for violation in &found.violations {
            let chip = &self.circuit.chips[violation.chip];
            let pin = chip.part.pin_named(&violation.signal);
            if let Some(net) = pin.and_then(|pin| chip.nets[pin]) {
                self.marks.push((violation.first, net, violation.kind.word().to_owned()));
            }
            self.report.faults.push(Finding {
                kind: violation.kind.word(),
                place: format!("{}.{}", chip.path, violation.signal),
                text: violation.sentence(self.circuit),
                count: violation.count,
                first: Some(violation.first),
            });
        }
        for violation in &found.metastable {
            let chip = &self.circuit.chips[violation.chip];
            let sentence = violation.sentence(self.circuit);
            self.report.notes.push(Finding {
                kind: "undecided",
                place: format!("{}.{}", chip.path, violation.signal),
                text: format!("{sentence}; it is the first flip-flop of a synchroniser"),
                count: violation.count,
                first: Some(violation.first),
            });
        }
        for decision in &found.decisions {
            let way = &self.circuit.synchronisers[decision.synchroniser];
            let place = way.to.first();
            let place = place.map_or_else(String::new, |&(chip, pin)| self.circuit.pin_path(chip, pin));
            self.report.notes.push(Finding {
                kind: "by chance",
                text: format!(
                    "{place} took 0 or 1 by chance where the flip-flop before it was undecided: {}",
                    way.reason
                ),
                place,
                count: decision.count,
                first: Some(decision.first),
            });
        }
    }

    /// Nets that outputs drive against each other, and nets that nothing drives.
    fn undriven_and_contended(&mut self, found: &Findings) {
        for fight in &found.contentions {
            let path = self.circuit.nets[fight.net].path.clone();
            let turn_round = fight.is_turnaround();
            let how = if turn_round { "overlap when the bus changes hands" } else { "drive against each other" };
            let end = if fight.lasting { ", until the end" } else { "" };
            self.marks.push((fight.first, fight.net, "contention".to_owned()));
            let finding = Finding {
                kind: if turn_round { "bus turn-round" } else { "contention" },
                text: format!(
                    "{} (low) and {} (high) {how} on {path}, longest {}{end}",
                    fight.low, fight.high, fight.longest
                ),
                place: path,
                count: fight.count,
                first: Some(fight.first),
            };
            if turn_round { self.report.notes.push(finding) } else { self.report.faults.push(finding) }
        }
        for floating in &found.floating {
            let path = self.circuit.nets[floating.net].path.clone();
            let last = floating
                .last_driver
                .as_ref()
                .map_or("nobody ever drove it".to_owned(), |last| format!("{last} let go last"));
            let end = if floating.lasting { ", until the end" } else { "" };
            self.report.notes.push(Finding {
                kind: "floating",
                text: format!(
                    "{path} floats while {} listens, longest {}{end}; {last}",
                    floating.listener, floating.longest
                ),
                place: path,
                count: floating.count,
                first: Some(floating.first),
            });
        }
    }

    /// Memories that nothing was loaded into.
    fn blank_memories(&mut self) {
        for (key, chip) in self.circuit.chips.iter() {
            let blank = chip.part.function.memories.iter().any(|memory| memory.blank.is_some());
            if blank && chip.initial_contents.is_none() && !self.loaded.contains(&key) {
                self.report.notes.push(Finding {
                    kind: "blank",
                    place: chip.path.clone(),
                    text: format!("{} ({}) was not loaded: it reads as a blank chip", chip.path, chip.number),
                    count: 1,
                    first: None,
                });
            }
        }
    }

    /// Puts the marks to the recorded signals that they are about.
    pub(super) fn place_marks(&mut self) {
        for (time, net, text) in &self.marks {
            let signal = self.options.record.signals.iter().position(|signal| signal.nets.contains(net));
            if let Some(signal) = signal {
                self.report.waves.marks.push(Mark { time: *time, signal, text: text.clone() });
            }
        }
        self.report.waves.marks.sort_by_key(|mark| (mark.time, mark.signal));
    }
}

/// True for a chip with a power pin on a rail.
fn hangs_on(chip: &Chip, rail: NetKey) -> bool {
    let mut pins = chip.part.pins_of(PinKind::Power);
    pins.any(|pin| chip.nets[pin] == Some(rail))
}
