//! Who looks at a run: nets that somebody waits for or records, and spells of fights and of nobody driving.

use super::findings::{Fight, Float, Forbidden};
use super::machine::{Machine, PlaceKind};
use crate::circuit::NetKey;
use crate::key::Key;
use crate::logic::{Level, Word};
use crate::part::function::Seen;
use crate::quantity::Time;

/// So many changes are kept before the run pauses for somebody to take them.
const MOST_CHANGES: usize = 100_000;

/// A net that somebody outside looks at.
#[derive(Clone, Debug)]
pub(super) struct Note {
    net: NetKey,
    stop: bool,
    watch: bool,
    keep: bool,
    level: Level,
    /// The time of the last change, and the level before it.
    before: (i64, Level),
}

/// How long something went on, on one net.
#[derive(Clone, Debug, Default)]
pub(super) struct Spell {
    since: Option<i64>,
    count: u64,
    first: i64,
    longest: i64,
    total: i64,
    /// Who was at it first.
    who: Option<(String, String)>,
}

impl Spell {
    fn follow(&mut self, time: i64, goes_on: bool) -> bool {
        match (self.since, goes_on) {
            (None, true) => {
                self.since = Some(time);
                if self.count == 0 {
                    self.first = time;
                }
                true
            }
            (Some(since), false) => {
                self.since = None;
                let stretch = time - since;
                if stretch > 0 {
                    self.count += 1;
                    self.longest = self.longest.max(stretch);
                    self.total += stretch;
                }
                false
            }
            _ => false,
        }
    }

    /// What there is to tell: how often, when first, the longest, all together, and whether it goes on.
    fn told(&self, time: i64) -> Option<(u64, Time, Time, Time, bool)> {
        let running = self.since.map_or(0, |since| time - since);
        if self.count == 0 && running == 0 {
            return None;
        }
        Some((
            self.count + u64::from(running > 0),
            Time::from_ps(self.first),
            Time::from_ps(self.longest.max(running)),
            Time::from_ps(self.total + running),
            running > 0,
        ))
    }
}

impl Machine<'_> {
    /// The level of a net.
    pub fn level(&self, net: NetKey) -> Level {
        self.level_now(net)
    }

    /// The levels of several nets as a word, the most significant first.
    pub fn word(&self, nets: &[NetKey]) -> Word {
        nets.iter().fold(Word::default(), |word, &net| {
            let bit = Word::from_level(self.level(net));
            Word {
                value: word.value << 1 | bit.value,
                unknown: word.unknown << 1 | bit.unknown,
            }
        })
    }

    /// The level that a net had just before the present moment, when [`Machine::keep_before`] asked for it; else its
    /// level.
    pub fn level_before(&self, net: NetKey) -> Level {
        let kept = self.notes.iter().find(|note| note.net == net && note.keep);
        match kept {
            Some(note) if note.before.0 == self.time => note.before.1,
            _ => self.level(net),
        }
    }

    /// Pauses [`Machine::advance`] when a net changes.
    pub fn stop_at(&mut self, net: NetKey, on: bool) {
        self.note(net).stop = on;
        self.forget_idle();
    }

    /// Keeps what a net was before the moment of its last change, for [`Machine::level_before`].
    pub fn keep_before(&mut self, net: NetKey) {
        self.note(net).keep = true;
    }

    /// Keeps each change of a net for [`Machine::take_changes`].
    pub fn watch(&mut self, net: NetKey, on: bool) {
        self.note(net).watch = on;
        self.forget_idle();
    }

    /// The changes of watched nets since they were taken last, in order of time.
    pub fn take_changes(&mut self) -> Vec<(Time, NetKey, Level)> {
        std::mem::take(&mut self.changes)
    }

    fn note(&mut self, net: NetKey) -> &mut Note {
        let at = match self.notes.iter().position(|note| note.net == net) {
            Some(at) => at,
            None => {
                let place = self.places[net];
                self.signals[place.signal as usize].noted = true;
                self.notes_sleepers |= place.kind == PlaceKind::Own;
                self.notes.push(Note {
                    net,
                    stop: false,
                    watch: false,
                    keep: false,
                    level: self.level(net),
                    before: (-1, Level::U),
                });
                self.notes.len() - 1
            }
        };
        &mut self.notes[at]
    }

    fn forget_idle(&mut self) {
        self.notes
            .retain(|note| note.stop || note.watch || note.keep);
        self.notes_sleepers = self.notes.iter().any(|note| {
            let place = self.places[note.net];
            place.kind == PlaceKind::Own && self.sleeps[place.signal as usize]
        });
        if self.notes.is_empty() {
            self.signals
                .iter_mut()
                .for_each(|signal| signal.noted = false);
        }
    }

    /// The levels from which changes are told.
    pub(super) fn first_notes(&mut self) {
        for at in 0..self.notes.len() {
            self.notes[at].level = Level::U;
        }
        self.follow_notes();
    }

    /// Looks whether a net that somebody looks at has changed.
    pub(super) fn follow_notes(&mut self) {
        self.note_moved = false;
        if self.notes_sleepers {
            self.settle_sleepers();
        }
        for at in 0..self.notes.len() {
            let level = self.level(self.notes[at].net);
            let note = &mut self.notes[at];
            if level == note.level {
                continue;
            }
            if note.before.0 != self.time {
                note.before = (self.time, note.level);
            }
            note.level = level;
            self.stop |= note.stop;
            if note.watch {
                let change = (Time::from_ps(self.time), note.net, level);
                self.changes.push(change);
                self.stop |= self.changes.len() > MOST_CHANGES;
            }
        }
    }

    // ---- fights and floating nets -------------------------------------------------------------------------------

    fn fights_and_floats(&self, net: NetKey) -> (bool, bool) {
        let place = self.places[net];
        match place.kind {
            PlaceKind::Bus(bus) => {
                let bus = &self.buses[bus as usize];
                let has = |mask: u64| mask >> place.bit & 1 == 1;
                (has(bus.fight), has(bus.floats))
            }
            PlaceKind::Knot(knot, row) => {
                let row = &self.knots[knot as usize].nets[row as usize];
                (row.fights, row.level == Level::Z && self.is_heard(net))
            }
            PlaceKind::Fixed(_) => {
                let rows = self.knots.iter().flat_map(|knot| &knot.nets);
                let fights = rows.filter(|row| row.net == net).any(|row| row.fights);
                (fights, false)
            }
            PlaceKind::Own => (false, false),
        }
    }

    /// Everything that fights or floats once power has come.
    pub(super) fn begin_spells(&mut self) {
        for net in self.circuit.nets.keys() {
            self.follow_spell(net);
        }
        self.spells_moved.clear();
        self.buses_moved.clear();
        for bus in &mut self.buses {
            bus.told = (bus.fight, bus.floats);
            bus.unsettled = false;
        }
    }

    pub(super) fn follow_spells(&mut self) {
        while let Some(number) = self.buses_moved.pop() {
            let bus = &mut self.buses[number as usize];
            bus.unsettled = false;
            let now = (bus.fight, bus.floats);
            let was = std::mem::replace(&mut bus.told, now);
            for bit in super::pieces::bits((was.0 ^ now.0) | (was.1 ^ now.1)) {
                let net = self.buses[number as usize].nets[bit as usize];
                self.follow_spell(net);
            }
        }
        for at in 0..self.spells_moved.len() {
            let net = NetKey::from_index(self.spells_moved[at] as usize);
            self.follow_spell(net);
        }
        self.spells_moved.clear();
    }

    fn follow_spell(&mut self, net: NetKey) {
        let (fights, floats) = self.fights_and_floats(net);
        let row = net.index();
        if self.fights[row].follow(self.time, fights) && self.fights[row].count == 0 {
            self.fights[row].who = Some(self.fighters(net));
        }
        self.floats[row].follow(self.time, floats);
    }

    /// Who drives a net low, and who drives it high.
    fn fighters(&self, net: NetKey) -> (String, String) {
        let mut who = (String::new(), String::new());
        for unit in &self.units {
            if unit.shared == super::machine::NONE {
                continue;
            }
            let cell = &self.cells[unit.cell as usize];
            let chip = &self.circuit.chips[cell.chip];
            for output in super::pieces::bits(unit.outputs) {
                let pin = cell.part.function.outputs[output as usize];
                if chip.nets[pin] != Some(net) {
                    continue;
                }
                let path = || self.circuit.pin_path(cell.chip, pin);
                match self.drives[unit.shared as usize].level(output) {
                    Level::Zero if who.0.is_empty() => who.0 = path(),
                    Level::One if who.1.is_empty() => who.1 = path(),
                    _ => {}
                }
            }
        }
        let other = match self.places[net].kind {
            PlaceKind::Fixed(_) => "the supply".to_owned(),
            _ => format!("a stimulus or contact on {}", self.circuit.nets[net].path),
        };
        for name in [&mut who.0, &mut who.1] {
            if name.is_empty() {
                name.clone_from(&other);
            }
        }
        who
    }

    /// Nets on which outputs drove against each other, by net.
    pub fn fights(&self) -> Vec<Fight> {
        let rows = self.fights.iter().enumerate();
        let found = rows.filter_map(|(net, spell)| {
            let (count, first, longest, total, lasting) = spell.told(self.time)?;
            let (low, high) = spell.who.clone()?;
            let net = NetKey::from_index(net);
            Some(Fight {
                net,
                low,
                high,
                count,
                first,
                longest,
                total,
                lasting,
            })
        });
        found.collect()
    }

    /// Nets that floated while chips listened, by net.
    pub fn floating(&self) -> Vec<Float> {
        let rows = self.floats.iter().enumerate();
        let found = rows.filter_map(|(net, spell)| {
            let (count, first, longest, _, lasting) = spell.told(self.time)?;
            let net = NetKey::from_index(net);
            let (chip, pin) = self.listener(net)?;
            Some(Float {
                net,
                listener: self.circuit.pin_path(chip, pin),
                count,
                first,
                longest,
                lasting,
            })
        });
        found.collect()
    }

    // ---- forbidden uses -----------------------------------------------------------------------------------------

    pub(super) fn look_for_forbidden(&mut self, cell: u32, seen: Seen) {
        let part = std::sync::Arc::clone(&self.cells[cell as usize].part);
        let held = &self.held[cell as usize];
        let found = part.function.forbidden(seen, held, &mut self.scratch);
        self.log_forbidden(cell, &found);
    }

    pub(super) fn log_forbidden(&mut self, cell: u32, found: &[usize]) {
        let time = self.time;
        let rows = self.forbids[cell as usize].iter_mut().enumerate();
        for (at, (goes_on, count, first)) in rows {
            let now = found.contains(&at);
            if now && !*goes_on {
                *count += 1;
                if *count == 1 {
                    *first = time;
                }
            }
            *goes_on = now;
        }
    }

    /// Forbidden uses, by chip.
    pub fn forbidden(&self) -> Vec<Forbidden> {
        let mut found = Vec::new();
        for (cell, rows) in self.cells.iter().zip(&self.forbids) {
            for (at, &(_, count, first)) in rows.iter().enumerate().filter(|row| row.1.1 > 0) {
                found.push(Forbidden {
                    chip: cell.chip,
                    text: cell.part.function.forbid_text(at).to_owned(),
                    count,
                    first: Time::from_ps(first),
                });
            }
        }
        found
    }
}
