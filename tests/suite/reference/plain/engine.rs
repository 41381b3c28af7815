//! One heap of events: outputs that fire, levels that arrive through cables, what swings or ends by itself.

use super::chip::{Chip, Maker, Swinging};
use super::description::Description;
use super::levels::{Bit, Level};
use super::links::{self, Link};
use super::pulls::{Capacitor, Contact};
use super::shelf::Shelf;
use super::storage::Storage;
use coldboard::circuit::{ChipKey, Circuit, DiscreteKey, NetKey};
use coldboard::delay::ChipDelays;
use coldboard::delay::wire::wire_delay;
use coldboard::key::Key;
use coldboard::language::ast::{Corner, PowerUp};
use coldboard::quantity::Voltage;
use std::cmp::Reverse;
use std::collections::{BTreeMap, BTreeSet, BinaryHeap};

/// Something that drives a net.
#[derive(Clone, Debug)]
pub(super) struct Driver {
    pub(super) net: Option<usize>,
    pub(super) now: Level,
    /// What its net has of it: later by the delay of a cable.
    pub(super) on_net: Level,
    /// What is due, when, and the number of the event.
    pub(super) due: Option<(Level, i64, u64)>,
    /// What follows that.
    pub(super) after: Option<(Level, i64)>,
    pub(super) wire: i64,
    /// How long a clock is low, and high, and the number of its next event.
    clock: Option<([i64; 2], u64)>,
}

#[derive(Clone, Debug)]
pub(super) struct Net {
    pub(super) level: Level,
    pub(super) fixed: Option<Level>,
    pub(super) drivers: Vec<usize>,
    /// Chips and their inputs.
    pub(super) listeners: Vec<(usize, usize)>,
    /// Its row among the nets that links join.
    pub(super) linked: Option<usize>,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum What {
    Output(usize),
    Arrival(usize, Level),
    Timer(usize, usize),
    Swing(usize),
    Tick(usize, bool),
    /// A contact has moved: nothing else does.
    Look,
}

/// Time, number, what.
type Event = Reverse<(i64, u64, What)>;

/// The plain engine.
#[derive(Clone)]
pub(crate) struct Reference {
    pub(super) time: i64,
    /// True when the longest of several delays counts.
    pub(super) longest: bool,
    pub(super) chips: Vec<Chip>,
    chip_of: BTreeMap<ChipKey, usize>,
    pub(super) drivers: Vec<Driver>,
    pub(super) nets: Vec<Net>,
    pub(super) links: Vec<Link>,
    pub(super) linked_nets: Vec<usize>,
    pub(super) contacts: BTreeMap<DiscreteKey, Vec<(u8, Contact)>>,
    pub(super) capacitors: Vec<Capacitor>,
    stimuli: BTreeMap<NetKey, usize>,
    heap: BinaryHeap<Event>,
    number: u64,
    pub(super) touched: BTreeSet<usize>,
    dirty: BTreeSet<usize>,
    awake: bool,
    /// False when power-up has come to no end, or when it is not described what it comes to.
    pub(crate) rests: bool,
    pub(super) writes_at_power_up: bool,
    /// Every change of a net: time, net, level.
    pub(crate) trace: Vec<(i64, NetKey, Level)>,
}

impl Reference {
    pub(crate) fn new(
        circuit: &Circuit,
        (corner, power_up): (Corner, PowerUp),
        stimuli: &[NetKey],
        shelf: &mut Shelf,
    ) -> Reference {
        let mut made = Reference {
            time: 0,
            longest: corner != Corner::Fastest,
            chips: Vec::new(),
            chip_of: BTreeMap::new(),
            drivers: Vec::new(),
            nets: Vec::new(),
            links: Vec::new(),
            linked_nets: Vec::new(),
            contacts: BTreeMap::new(),
            capacitors: Vec::new(),
            stimuli: BTreeMap::new(),
            heap: BinaryHeap::new(),
            number: 0,
            touched: BTreeSet::new(),
            dirty: BTreeSet::new(),
            awake: false,
            rests: true,
            writes_at_power_up: false,
            trace: Vec::new(),
        };
        for net in circuit.nets.values() {
            let fed = net.rail.as_ref().and_then(|rail| rail.fed);
            let level = |voltage| {
                if voltage == Voltage::default() { Level::Zero } else { Level::One }
            };
            made.nets.push(Net {
                level: fed.map_or(Level::Z, level),
                fixed: fed.map(level),
                drivers: Vec::new(),
                listeners: Vec::new(),
                linked: None,
            });
        }
        let maker = Maker { corner, power_up, stimuli, delays: ChipDelays::new(circuit, corner, None) };
        for (key, placed) in circuit.chips.iter().filter(|(_, chip)| chip.fed) {
            let does = shelf.description(&placed.part.name);
            let chip = maker.chip((key, placed), &does, made.drivers.len());
            made.place(circuit, key, chip);
        }
        made.join(circuit, corner);
        for &net in stimuli {
            let driver = made.add_driver(Some(net.index()), Level::Z, 0);
            made.stimuli.insert(net, driver);
        }
        made
    }

    fn place(&mut self, circuit: &Circuit, key: ChipKey, chip: Chip) {
        let placed = &circuit.chips[key];
        let net_of = |name: &str| {
            let pin = placed.part.pin_named(name).expect("a pin");
            placed.nets[pin]
        };
        let at = self.chips.len();
        for output in &chip.does.outputs {
            let net = net_of(&output.pin);
            let wire = net.map_or(0, |net| wire_delay(circuit.nets[net].wire).ps());
            self.add_driver(net.map(Key::index), Level::U, wire);
        }
        for (bit, name) in chip.does.inputs.iter().enumerate() {
            // What swings by itself does not listen.
            let swings = matches!(chip.swinging, Some((Swinging::Input(input), _)) if input == bit);
            if let Some(net) = net_of(name)
                && !swings
            {
                self.nets[net.index()].listeners.push((at, bit));
            }
        }
        self.chip_of.insert(key, at);
        self.chips.push(chip);
    }

    pub(super) fn add_driver(&mut self, net: Option<usize>, now: Level, wire: i64) -> usize {
        let driver = self.drivers.len();
        self.drivers.push(Driver { net, now, on_net: now, due: None, after: None, wire, clock: None });
        if let Some(net) = net {
            self.nets[net].drivers.push(driver);
        }
        driver
    }

    // ---- from outside -------------------------------------------------------------------------------------------

    pub(crate) fn level(&self, net: NetKey) -> Level {
        self.nets[net.index()].level
    }

    /// What a chip stores, with the names of the bits; none when it is not fed.
    pub(crate) fn stored(&self, chip: ChipKey) -> Option<(&Description, &Storage)> {
        let chip = &self.chips[*self.chip_of.get(&chip)?];
        Some((&chip.does, &chip.storage))
    }

    /// Drives a stimulus from now on; Z lets it go.
    pub(crate) fn set(&mut self, net: NetKey, level: Level) {
        let driver = self.stimuli[&net];
        self.drivers[driver].clock = None;
        self.schedule(driver, level, self.time);
    }

    /// Low, and then high and low in turn.
    pub(crate) fn clock(&mut self, net: NetKey, low: i64, high: i64) {
        self.set(net, Level::Zero);
        self.tick_after(self.stimuli[&net], [low, high], true);
    }

    pub(crate) fn advance(&mut self, until: i64) {
        if !self.awake {
            self.awake = true;
            self.wake();
        }
        self.settle();
        let mut rounds = 0;
        while let Some(&Reverse((time, ..))) = self.heap.peek()
            && time <= until
        {
            rounds = if time == self.time { rounds + 1 } else { 0 };
            assert!(rounds < 10_000, "a loop without delay");
            self.time = time;
            self.fire_all();
            self.settle();
        }
        self.time = until;
    }

    /// When something is to happen next.
    pub(crate) fn next_event(&self) -> Option<i64> {
        self.heap.peek().map(|Reverse((time, ..))| *time)
    }

    pub(crate) fn time(&self) -> i64 {
        self.time
    }

    /// Whether something swings by itself at a time that is the next one.
    pub(crate) fn swings_at(&self, time: i64) -> bool {
        let next = |Reverse((at, _, what)): &Event| *at == time && matches!(what, What::Swing(_));
        self.heap.iter().any(next)
    }

    // ---- events -------------------------------------------------------------------------------------------------

    pub(super) fn push(&mut self, time: i64, what: What) -> u64 {
        self.number += 1;
        self.heap.push(Reverse((time, self.number, what)));
        self.number
    }

    /// Everything that happens at this moment, until the nets have what their drivers make of them.
    pub(super) fn fire_all(&mut self) {
        while let Some(&Reverse((time, number, what))) = self.heap.peek()
            && time == self.time
        {
            self.heap.pop();
            match what {
                What::Output(driver) => self.fire(driver, number),
                What::Arrival(driver, level) => self.arrive(driver, level),
                What::Timer(chip, timer) => self.expire(chip, timer),
                What::Swing(chip) => self.swing(chip),
                What::Tick(driver, high) => self.tick(driver, high, number),
                What::Look => {}
            }
        }
        self.resolve();
    }

    fn fire(&mut self, at: usize, number: u64) {
        let driver = &mut self.drivers[at];
        let Some((level, _, _)) = driver.due.filter(|due| due.2 == number) else {
            return;
        };
        (driver.now, driver.due) = (level, None);
        if let Some((level, due)) = driver.after.take() {
            self.set_due(at, level, due);
        }
        let wire = self.drivers[at].wire;
        if wire == 0 {
            self.arrive(at, level);
        } else {
            self.push(self.time + wire, What::Arrival(at, level));
        }
    }

    pub(super) fn arrive(&mut self, driver: usize, level: Level) {
        self.drivers[driver].on_net = level;
        self.touched.extend(self.drivers[driver].net);
    }

    fn tick(&mut self, at: usize, high: bool, number: u64) {
        let Some((times, _)) = self.drivers[at].clock.filter(|clock| clock.1 == number) else {
            return;
        };
        let level = Bit::known(high).driven();
        self.drivers[at].now = level;
        self.arrive(at, level);
        self.tick_after(at, times, !high);
    }

    fn tick_after(&mut self, at: usize, times: [i64; 2], high: bool) {
        let stay = times[usize::from(!high)];
        let number = self.push(self.time + stay, What::Tick(at, high));
        self.drivers[at].clock = Some((times, number));
    }

    fn set_due(&mut self, driver: usize, level: Level, due: i64) {
        let number = self.push(due, What::Output(driver));
        self.drivers[driver].due = Some((level, due, number));
    }

    /// An inertial output: a newer transition replaces the one that is due, and one back to what it is cancels it.
    pub(super) fn schedule(&mut self, at: usize, level: Level, due: i64) {
        let driver = &mut self.drivers[at];
        driver.after = None;
        if level == driver.now {
            driver.due = None;
            return;
        }
        self.set_due(at, level, due);
    }

    /// An output of a memory: good until `blur`, then unknown, then at its level from `settle` on.
    pub(super) fn disturb(&mut self, at: usize, level: Level, blur: i64, settle: i64) {
        let driver = &mut self.drivers[at];
        driver.after = None;
        if matches!(driver.now, Level::X | Level::U) {
            driver.due = None;
            if level != driver.now {
                self.set_due(at, level, settle);
            }
            return;
        }
        let is_earlier = matches!(driver.due, Some((Level::X, due, _)) if due <= blur);
        if !is_earlier {
            self.set_due(at, Level::X, blur);
        }
        if level != Level::X {
            self.drivers[at].after = Some((level, settle));
        }
    }

    pub(super) fn wait_for_timer(&mut self, chip: usize, timer: usize) {
        if let Some(due) = self.chips[chip].timers[timer].due {
            self.push(due, What::Timer(chip, timer));
        }
    }

    pub(super) fn force(&mut self, chip: usize) {
        self.chips[chip].forced = true;
        self.dirty.insert(chip);
    }

    fn swing(&mut self, at: usize) {
        let chip = &mut self.chips[at];
        let Some((swinging, period)) = chip.swinging else {
            return;
        };
        let bit = match swinging {
            Swinging::State(state) => {
                chip.stirred |= 1 << state;
                &mut chip.storage.state[state]
            }
            Swinging::Input(input) => &mut chip.now[input],
        };
        // From unknown it begins low.
        let high = *bit == Bit::Low;
        *bit = Bit::known(high);
        chip.forced = true;
        let half = if high { period / 2 } else { period - period / 2 };
        self.dirty.insert(at);
        self.push(self.time + half.max(1), What::Swing(at));
    }

    // ---- levels -------------------------------------------------------------------------------------------------

    /// What the drivers of a net make of it beside the links between nets.
    pub(super) fn own_level(&self, net: usize, but: Option<usize>) -> Level {
        let drivers = self.nets[net].drivers.iter().filter(|&&at| Some(at) != but);
        drivers.fold(Level::Z, |level, &at| level.resolve(self.drivers[at].on_net))
    }

    fn resolve(&mut self) {
        let mut touched = std::mem::take(&mut self.touched);
        let linked = touched.iter().any(|&net| self.nets[net].linked.is_some());
        if linked {
            touched.extend(&self.linked_nets);
        }
        for &net in &touched {
            self.charge_capacitors(net);
        }
        if linked {
            let levels = self.linked_levels(None);
            for (row, net) in self.linked_nets.clone().into_iter().enumerate() {
                self.change(net, levels[row]);
            }
        }
        for net in touched {
            if self.nets[net].linked.is_none() {
                let level = self.own_level(net, None);
                self.change(net, level);
            }
        }
    }

    /// The levels of the nets that links join, as they are without one of the drivers.
    pub(super) fn linked_levels(&self, but: Option<usize>) -> Vec<Level> {
        let own = self.linked_nets.iter().map(|&net| self.own_level(net, but));
        links::levels(&own.collect::<Vec<_>>(), &self.links)
    }

    /// A hand has moved a contact at a net.
    pub(super) fn touch(&mut self, net: usize) {
        self.touched.insert(net);
        self.push(self.time, What::Look);
    }

    fn change(&mut self, net: usize, level: Level) {
        let row = &mut self.nets[net];
        if row.fixed.is_some() || row.level == level {
            return;
        }
        row.level = level;
        self.trace.push((self.time, NetKey::from_index(net), level));
        for &(chip, bit) in &row.listeners {
            self.chips[chip].now[bit] = level.seen();
            self.dirty.insert(chip);
        }
    }

    /// Evaluates each chip that saw a change, once.
    fn settle(&mut self) {
        for chip in std::mem::take(&mut self.dirty) {
            self.evaluate(chip);
        }
    }
}
