//! Where each net is: a stored bit, an output of its own, a line of a bus, a knot; and what each unit drives.

use super::bus::{Bus, BusDriver, Drive, Given};
use super::draft::Draft;
use super::knot::Knot;
use super::machine::Machine;
use super::pieces::bits;
use super::place::{Place, PlaceKind};
use super::signal::{NONE, RAILS};
use crate::circuit::{ChipKey, NetKey};
use crate::delay::rc_delay::capacitor_on;
use crate::key::{Key, KeyVec};
use crate::logic::{Level, Word};
use crate::part::PinKind;
use crate::run::Joint;
use std::collections::BTreeMap;

impl Machine<'_> {
    /// Gives each net its place, and each unit what it drives.
    pub(super) fn place_nets(&mut self, stimuli: &[NetKey], draft: &mut Draft) {
        let circuit = self.circuit;
        let mut drivers: KeyVec<NetKey, Vec<(u32, u32)>> = KeyVec::filled(circuit.nets.len(), Vec::new());
        let mut always: KeyVec<NetKey, bool> = KeyVec::filled(circuit.nets.len(), true);
        for (number, unit) in self.units.iter().enumerate() {
            let cell = &self.cells[unit.cell as usize];
            for output in bits(unit.outputs) {
                let pin = cell.part.function.outputs[output as usize];
                if let Some(net) = circuit.chips[cell.chip].nets[pin] {
                    drivers[net].push((number as u32, output));
                    always[net] &= cell.part.pins[pin].kind == PinKind::Out || cell.always >> output & 1 == 1;
                }
            }
        }
        // Nets that contacts and resistors join are one knot.
        let mut groups: KeyVec<NetKey, NetKey> = circuit.nets.keys().collect();
        let mut slow = vec![false; circuit.nets.len()];
        for link in &draft.links {
            let [a, b] = link.nets.map(|net| (net, circuit.rail_level(net)));
            match (a, b) {
                ((_, Some(_)), (_, Some(_))) => {}
                ((net, None), (_, Some(_))) | ((_, Some(_)), (net, None)) => {
                    slow[net.index()] |= link.ohms.is_none() || capacitor_on(circuit, net).is_some();
                }
                ((a, None), (b, None)) => {
                    let (a, b) = (root(&mut groups, a), root(&mut groups, b));
                    groups[b] = a;
                }
            }
        }
        let mut members: BTreeMap<NetKey, (Vec<NetKey>, Vec<Joint>)> = BTreeMap::new();
        for net in circuit.nets.keys() {
            let members = members.entry(root(&mut groups, net)).or_default();
            members.0.push(net);
        }
        for &link in &draft.links {
            let mut nets = link.nets.into_iter();
            if let Some(net) = nets.find(|&net| circuit.rail_level(net).is_none()) {
                let members = members.entry(root(&mut groups, net)).or_default();
                members.1.push(link);
            }
        }
        self.places = KeyVec::filled(circuit.nets.len(), Place { signal: RAILS, bit: 0, kind: PlaceKind::Own });
        let mut buses: BTreeMap<Vec<u32>, Vec<NetKey>> = BTreeMap::new();
        for (nets, links) in members.values() {
            let first = nets[0];
            let fixed = circuit.rail_level(first);
            if let Some(level) = fixed {
                let place = &mut self.places[first];
                place.kind = PlaceKind::Fixed(level);
                place.bit = level.is_high().into();
            }
            let knotted = nets.len() > 1
                || slow[first.index()]
                || stimuli.contains(&first)
                || drivers[first].is_empty() && fixed.is_none()
                || fixed.is_some() && !drivers[first].is_empty();
            if knotted {
                self.add_knot(nets, links, stimuli, &drivers);
            } else if fixed.is_some() {
            } else if let ([(unit, output)], true) = (drivers[first].as_slice(), always[first]) {
                match draft.shows.get(&(*unit, *output)) {
                    Some(&state) => self.place_shown(first, *unit, *output, state),
                    None => self.place_own(first, *unit, *output),
                }
            } else {
                let units = drivers[first].iter().map(|&(unit, _)| unit).collect();
                buses.entry(units).or_default().push(first);
            }
        }
        for (_, mut nets) in buses {
            nets.sort_by_key(|&net| (drivers[net][0].1, net));
            for nets in nets.chunks(64) {
                self.add_bus(nets, &drivers, draft);
            }
        }
    }

    fn place_own(&mut self, net: NetKey, unit: u32, output: u32) {
        if self.units[unit as usize].own == NONE {
            self.units[unit as usize].own = self.new_signal();
        }
        let unit = &mut self.units[unit as usize];
        unit.own_mask |= 1 << output;
        self.places[net] = Place { signal: unit.own, bit: output, kind: PlaceKind::Own };
    }

    /// The net of an output that shows a stored bit is that bit.
    fn place_shown(&mut self, net: NetKey, unit: u32, output: u32, state: u32) {
        let unit = &mut self.units[unit as usize];
        unit.shown |= 1 << output;
        self.places[net] = Place { signal: unit.state, bit: state, kind: PlaceKind::Own };
    }

    fn shared(&mut self, unit: u32) -> u32 {
        let unit = &mut self.units[unit as usize];
        if unit.shared == NONE {
            unit.shared = self.drives.len() as u32;
            self.drives.push(Drive::default());
            self.given.push(Given::default());
        }
        unit.shared
    }

    fn add_knot(
        &mut self,
        nets: &[NetKey],
        links: &[Joint],
        stimuli: &[NetKey],
        drivers: &KeyVec<NetKey, Vec<(u32, u32)>>,
    ) {
        let number = self.knots.len() as u32;
        let mut knot = Knot::new(self.circuit, self.settings.corner, nets, links);
        for (row, net) in knot.nets.iter_mut().enumerate() {
            net.signal = self.new_signal();
            net.stimulus = stimuli.contains(&net.net).then_some(Level::Z);
            for &(unit, output) in &drivers[net.net] {
                net.drivers.push((self.shared(unit), output));
            }
            if net.fixed.is_none() {
                self.places[net.net] = Place { signal: net.signal, bit: 0, kind: PlaceKind::Knot(number, row as u32) };
            }
        }
        self.knots.push(knot);
    }

    fn add_bus(&mut self, nets: &[NetKey], drivers: &KeyVec<NetKey, Vec<(u32, u32)>>, draft: &Draft) {
        let number = self.buses.len() as u32;
        let signal = self.new_signal();
        let mut weak = Drive::default();
        let mut heard = 0;
        let mut ways: BTreeMap<(u32, u32), u64> = BTreeMap::new();
        for (bit, &net) in (0u32..).zip(nets) {
            self.places[net] = Place { signal, bit, kind: PlaceKind::Bus(number) };
            for link in draft.links.iter().filter(|link| link.nets.contains(&net)) {
                for level in link.nets.iter().filter_map(|&end| self.circuit.rail_level(end)) {
                    weak.one |= u64::from(level.is_high()) << bit;
                    weak.zero |= u64::from(level.is_low()) << bit;
                }
            }
            heard |= u64::from(self.is_heard(net)) << bit;
            for &(unit, output) in &drivers[net] {
                let drive = self.shared(unit);
                let turn = bit.wrapping_sub(output) & 63;
                *ways.entry((drive, turn)).or_default() |= 1 << bit;
            }
        }
        let first = self.bus_drivers.len() as u32;
        for ((drive, turn), mask) in ways {
            self.bus_drivers.push(BusDriver { drive, turn, mask });
        }
        self.buses.push(Bus {
            signal,
            drivers: (first, self.bus_drivers.len() as u32),
            width: Word::mask(nets.len() as u32),
            weak,
            drive: Drive::default(),
            fight: 0,
            told: (0, 0),
            unsettled: false,
            heard,
            watched: 0,
            floats: 0,
            nets: nets.to_vec(),
        });
    }

    /// True when a chip listens to a net.
    pub(super) fn is_heard(&self, net: NetKey) -> bool {
        self.listener(net).is_some()
    }

    /// One of the inputs that listen to a net.
    pub(super) fn listener(&self, net: NetKey) -> Option<(ChipKey, usize)> {
        let pins = self.circuit.nets[net].chip_pins.iter().copied();
        let mut pins = pins.filter(|&(chip, pin)| {
            let chip = &self.circuit.chips[chip];
            chip.fed && chip.part.function.inputs.contains(&pin)
        });
        pins.next()
    }
}

/// The net that stands for all that links join to this one.
fn root(groups: &mut KeyVec<NetKey, NetKey>, mut net: NetKey) -> NetKey {
    while groups[net] != net {
        groups[net] = groups[groups[net]];
        net = groups[net];
    }
    net
}
