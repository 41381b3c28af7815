//! The arcs of one part, in one family, with given constant inputs: from its structure and its delays.

use super::delays::{ChipDelays, Range};
use super::graph::{ArcKind, Transition};
use crate::delay::Transition as OutputTransition;
use crate::logic::Word;
use crate::part::function::structure::{Dependency, Gated, Stored, Structure};
use crate::part::{Edge, Part};
use rustc_hash::FxHashMap;
use std::rc::Rc;

/// An arc of a part, for every chip of that part.
#[derive(Clone, Debug)]
pub struct CellArcs {
    /// Bit of the input word, and its move.
    pub input: u8,
    /// What the input does.
    pub from: Transition,
    /// Bit of the output word.
    pub output: u8,
    /// What the output does.
    pub to: Transition,
    /// What it goes through.
    pub kind: ArcKind,
    /// How long it takes.
    pub range: Range,
    /// Inputs that must be low (false) or high (true) for the output to be on.
    pub sensitisation: Vec<(u8, bool)>,
}

const EDGES: [(Transition, bool); 2] = [(Transition::Rise, true), (Transition::Fall, false)];

impl CellArcs {
    /// All arcs of a part.
    pub fn all(part: &Part, delays: &ChipDelays, structure: &Structure, inputs: Word) -> Vec<CellArcs> {
        let mut maker = Maker {
            part,
            delays,
            structure,
            tried: FxHashMap::default(),
            shown: Dependency::default(),
            templates: Vec::new(),
            sensitisation: Vec::new(),
        };
        for output in 0..part.function.outputs.len() {
            maker.sensitisation = maker.conditions_of(output, inputs);
            // Its level counts only while the output is on.
            maker.shown = match maker.sensitisation.as_slice() {
                [] => structure.values[output],
                sensitisation => {
                    let on =
                        sensitisation.iter().fold(inputs, |word, &(input, level)| fixed(word, input.into(), level));
                    maker.under(on).values[output]
                }
            };
            maker.logic(output);
            maker.storage(output);
        }
        maker.templates
    }
}

struct Maker<'a> {
    part: &'a Part,
    delays: &'a ChipDelays,
    structure: &'a Structure,
    tried: FxHashMap<Word, Rc<Structure>>,
    /// On the level of the output at hand, while it is on.
    shown: Dependency,
    templates: Vec<CellArcs>,
    sensitisation: Vec<(u8, bool)>,
}

impl Maker<'_> {
    fn under(&mut self, inputs: Word) -> Rc<Structure> {
        let function = &self.part.function;
        let row = self.tried.entry(inputs);
        Rc::clone(row.or_insert_with(|| Rc::new(self.structure.with(function, inputs))))
    }

    /// Inputs that must have a level for an output not to be off.
    fn conditions_of(&mut self, output: usize, inputs: Word) -> Vec<(u8, bool)> {
        let mut sensitisation = Vec::new();
        for input in bits(self.structure.offs[output].inputs.all()) {
            for level in [false, true] {
                let under = self.under(fixed(inputs, input, level));
                if under.off.value >> output & 1 == 1 {
                    sensitisation.push((input as u8, !level));
                }
            }
        }
        sensitisation
    }

    fn add(
        &mut self,
        (input, from): (usize, Transition),
        (output, to): (usize, Transition),
        kind: ArcKind,
        transitions: &[OutputTransition],
    ) {
        let mut range = self.delays.range(input, output, transitions);
        if let Some(hold) = self.delays.output_hold(input, output) {
            // A memory's output is unknown from its hold time to its access time.
            range.late = range.late.max(hold);
            range.early = if to == Transition::ToUnknown { hold } else { range.early.max(hold) };
        }
        let disables = transitions.contains(&OutputTransition::DisableHigh);
        self.templates.push(CellArcs {
            input: input as u8,
            from,
            output: output as u8,
            to,
            kind,
            range,
            sensitisation: if disables { Vec::new() } else { self.sensitisation.clone() },
        });
    }

    /// An input that can move an output to the levels of `to`, and make it unknown on the way.
    fn moves(&mut self, from: (usize, Transition), output: usize, to: (bool, bool), kind: ArcKind) {
        let off = self.structure.offs[output];
        if kind != ArcKind::Logic && (off.memory || off.states.all() != 0) {
            return self.switches(from, output, kind);
        }
        if to.0 {
            self.add(from, (output, Transition::Rise), kind, &[OutputTransition::Rise]);
        }
        if to.1 {
            self.add(from, (output, Transition::Fall), kind, &[OutputTransition::Fall]);
        }
        if (to.0 || to.1) && self.delays.output_hold(from.0, output).is_some() {
            self.add(from, (output, Transition::ToUnknown), kind, &[OutputTransition::ToUnknown]);
        }
    }

    /// An output that what is stored switches on and off, such as an open-drain one.
    fn switches(&mut self, from: (usize, Transition), output: usize, kind: ArcKind) {
        let (high, low) = (OutputTransition::DisableHigh, OutputTransition::DisableLow);
        self.add(
            from,
            (output, Transition::Rise),
            kind,
            &[OutputTransition::Rise, OutputTransition::EnableHigh, high, low],
        );
        self.add(
            from,
            (output, Transition::Fall),
            kind,
            &[OutputTransition::Fall, OutputTransition::EnableLow, high, low],
        );
        self.add(
            from,
            (output, Transition::ToUnknown),
            kind,
            &[OutputTransition::ToUnknown, OutputTransition::EnableToUnknown, high, low],
        );
    }

    /// What goes straight through: levels, enables and disables.
    fn logic(&mut self, output: usize) {
        let (value, off) = (self.shown, self.structure.offs[output]);
        for input in bits(value.inputs.all() | off.inputs.all()) {
            for (from, rise) in EDGES {
                let to = value.moved(input, rise);
                self.moves((input, from), output, to, ArcKind::Logic);
                let (disables, takes) = off.moved(input, rise);
                if disables {
                    // Another driver, or a pull, may then take the net either way.
                    let how = [OutputTransition::DisableHigh, OutputTransition::DisableLow];
                    for to in [Transition::Rise, Transition::Fall, Transition::ToUnknown] {
                        self.add((input, from), (output, to), ArcKind::Logic, &how);
                    }
                }
                if takes {
                    let high = [OutputTransition::EnableHigh, OutputTransition::Rise];
                    let low = [OutputTransition::EnableLow, OutputTransition::Fall];
                    self.add((input, from), (output, Transition::Rise), ArcKind::Logic, &high);
                    self.add((input, from), (output, Transition::Fall), ArcKind::Logic, &low);
                    let to_unknown = [OutputTransition::EnableToUnknown];
                    self.add((input, from), (output, Transition::ToUnknown), ArcKind::Logic, &to_unknown);
                }
            }
            // What is unknown goes on as unknown.
            let unknown = [OutputTransition::ToUnknown, OutputTransition::EnableToUnknown];
            self.add((input, Transition::ToUnknown), (output, Transition::ToUnknown), ArcKind::Logic, &unknown);
        }
    }

    /// What an output shows of what is stored.
    fn storage(&mut self, output: usize) {
        let shown = self.shown.join(self.structure.offs[output]);
        let states = self.followed(shown.states.all());
        if states == 0 && !shown.memory {
            return;
        }
        for rule in 0..self.structure.clocked.len() {
            let clocked = &self.structure.clocked[rule];
            if mask_of(clocked.stores.iter().map(|stored| stored.state)) & states == 0
                && !(clocked.writes && shown.memory)
            {
                continue;
            }
            for (input, from) in self.triggers(rule) {
                self.moves((input, from), output, (true, true), ArcKind::Clock);
            }
        }
        for rule in 0..self.structure.gated.len() {
            self.gated(rule, output, states, shown.memory);
        }
    }

    fn gated(&mut self, rule: usize, output: usize, states: u64, memory: bool) {
        let gated: Gated = self.structure.gated[rule].clone();
        let stores = gated.stores.iter().filter(|stored| states >> stored.state & 1 == 1);
        let stores: Vec<_> = stores.copied().collect();
        let written = gated.writes.filter(|_| memory && gated.silent >> output & 1 == 0);
        if stores.is_empty() && written.is_none() {
            return;
        }
        let data = stores.iter().fold(written.unwrap_or_default(), |all, stored| all.join(stored.data));
        let latch = data.inputs.all() != 0;
        let number = rule.min(255) as u8;
        let open = if latch { ArcKind::Open(number) } else { ArcKind::Logic };
        // What a set or clear does to the output, when that is always the same.
        let shown = self.shown.states;
        let mut to = (false, false);
        for stored in &stores {
            let (same, opposite) = (shown.positive >> stored.state & 1 == 1, shown.negative >> stored.state & 1 == 1);
            match stored.constant {
                Some(level) if same != opposite => {
                    to.0 |= level == same;
                    to.1 |= level != same;
                }
                _ => to = (true, true),
            }
        }
        if written.is_some() {
            to = (true, true);
        }
        for input in bits(gated.condition.inputs.all()) {
            for (from, rise) in EDGES {
                if gated.condition.moved(input, rise).0 {
                    self.moves((input, from), output, to, open);
                } else if written.is_some() && self.delays.output_hold(input, output).is_some() {
                    // The engine takes the end of a write for a disturbance of what is read as well.
                    self.moves((input, from), output, (true, true), ArcKind::Clock);
                }
            }
            let unknown = [OutputTransition::ToUnknown];
            self.add((input, Transition::ToUnknown), (output, Transition::ToUnknown), open, &unknown);
        }
        for (input, from) in self.uncovered(rule, &stores) {
            self.moves((input, from), output, (true, true), ArcKind::Logic);
        }
        for input in bits(data.inputs.all()) {
            let pass = ArcKind::Latch(number);
            for (from, _) in EDGES {
                self.moves((input, from), output, (true, true), pass);
            }
            let unknown = [OutputTransition::ToUnknown];
            self.add((input, Transition::ToUnknown), (output, Transition::ToUnknown), pass, &unknown);
        }
    }

    /// The edges that end a rule and by that let one before it, over which it has the upper hand, act again.
    fn uncovered(&self, rule: usize, stores: &[Stored]) -> Vec<(usize, Transition)> {
        let own = mask_of(stores.iter().map(|stored| stored.state));
        let before = self.structure.gated[..rule].iter();
        let covered = before.filter(|other| mask_of(other.stores.iter().map(|stored| stored.state)) & own != 0);
        let condition = self.structure.gated[rule].condition;
        // Inputs that open the other one as they end this one do so by themselves.
        let inputs = covered.fold(0, |all, other| all | condition.inputs.all() & !other.condition.inputs.all());
        let ends = bits(inputs).flat_map(|input| EDGES.map(|(from, rise)| (input, from, rise)));
        let ends = ends.filter(|&(input, _, rise)| condition.moved(input, rise).1);
        ends.map(|(input, from, _)| (input, from)).collect()
    }

    /// State bits whose moves can show where some state bits show: through storage that follows them.
    fn followed(&self, mut states: u64) -> u64 {
        loop {
            let mut more = states;
            for gated in &self.structure.gated {
                for stored in gated.stores.iter().filter(|stored| states >> stored.state & 1 == 1) {
                    more |= stored.data.states.all() | gated.condition.states.all();
                }
            }
            if more == states {
                return states;
            }
            states = more;
        }
    }

    /// The inputs, and their edges, that clock a rule, through other storage as well.
    fn triggers(&self, rule: usize) -> Vec<(usize, Transition)> {
        let mut seen = vec![false; self.structure.clocked.len()];
        let mut open = vec![rule];
        let mut found = Vec::new();
        let mut any = 0u64;
        while let Some(rule) = open.pop() {
            if std::mem::replace(&mut seen[rule], true) {
                continue;
            }
            let clocked = &self.structure.clocked[rule];
            for input in bits(clocked.by.inputs.all()) {
                for (from, rise) in EDGES {
                    let (makes_rise, makes_fall) = clocked.by.moved(input, rise);
                    let happens = if clocked.edge == Edge::Rise { makes_rise } else { makes_fall };
                    if happens && !found.contains(&(input, from)) {
                        found.push((input, from));
                    }
                }
            }
            let states = self.followed(clocked.by.states.all());
            for (other, behind) in self.structure.clocked.iter().enumerate() {
                if mask_of(behind.stores.iter().map(|stored| stored.state)) & states != 0 {
                    open.push(other);
                }
            }
            for behind in &self.structure.gated {
                if mask_of(behind.stores.iter().map(|stored| stored.state)) & states != 0 {
                    let data = behind.stores.iter().map(|stored| stored.data.inputs.all());
                    any |= data.fold(behind.condition.inputs.all(), |all, inputs| all | inputs);
                }
            }
        }
        for input in bits(any) {
            found.extend(EDGES.map(|(from, _)| (input, from)));
        }
        found.sort_unstable();
        found.dedup();
        found
    }
}

/// A word with one bit known.
pub fn fixed(word: Word, bit: usize, level: bool) -> Word {
    Word { value: word.value & !(1 << bit) | u64::from(level) << bit, unknown: word.unknown & !(1 << bit) }
}

fn mask_of(states: impl Iterator<Item = usize>) -> u64 {
    states.fold(0, |mask, state| mask | 1 << state)
}

/// The bits of a mask, the lowest first.
pub fn bits(mut mask: u64) -> impl Iterator<Item = usize> {
    std::iter::from_fn(move || {
        let bit = mask.trailing_zeros();
        mask &= mask.wrapping_sub(1);
        (bit < 64).then_some(bit as usize)
    })
}
