//! Which way each input moves what: a function as a web of dependencies, without time.
//!
//! Known inputs, such as pins that are tied to a rail, are taken into account: what cannot move a result while they
//! stay as they are has no influence on it. An influence that is told may still be one that never shows; one that is
//! not told cannot be there.

mod dependency;
mod reader;
mod storage;
mod trace;

pub use dependency::{Dependency, Unateness};
pub use storage::{Clocked, Gated, Stored, Structure};

use super::{Function, Signal};
use crate::logic::Word;
use reader::Reader;

impl Structure {
    /// The dependencies in the same chip for as long as more of its inputs stay as they are.
    pub fn with(&self, function: &Function, inputs: Word) -> Structure {
        Reader::new(function, inputs, self.states).structure()
    }

    /// The dependencies in a chip whose known input bits are tied for good. What the chip zeroes at power-up and no rule
    /// that can act ever sets stays zero; and edges that store only what never shows are no edges: a memory whose write
    /// input is tied off has no clock.
    pub fn tied(function: &Function, inputs: Word) -> Structure {
        let mut states = Word::all_unknown(function.state_mask());
        loop {
            let reader = Reader::new(function, inputs, states);
            let still = function.zero_at_power_up & states.unknown & !reader.settable();
            if still == 0 {
                let mut structure = reader.structure();
                structure.drop_unobservable();
                return structure;
            }
            states.unknown &= !still;
        }
    }

    /// The input bits that can make a rule store something.
    pub fn storing(&self) -> u64 {
        let clocked = self.clocked.iter().map(|rule| rule.by.inputs.all());
        let gated = self.gated.iter().map(|rule| rule.condition.inputs.all());
        clocked.chain(gated).fold(0, |all, inputs| all | inputs)
    }

    /// Leaves out edges that store only bits which neither an output nor another rule looks at.
    fn drop_unobservable(&mut self) {
        let shown = self.values.iter().chain(&self.offs);
        let mut sampled = shown.fold(0, |all, dependency| all | dependency.states.all());
        for rule in &self.gated {
            let stored = rule.stores.iter().map(|stored| stored.data.states.all());
            sampled |= stored.fold(rule.condition.states.all(), |all, states| all | states);
            sampled |= rule.writes.map_or(0, |writes| writes.states.all());
        }
        let matters = |rule: &Clocked, sampled: u64| {
            rule.writes || rule.starts || rule.stores.iter().any(|stored| sampled >> stored.state & 1 == 1)
        };
        loop {
            let mut more = sampled;
            for rule in self.clocked.iter().filter(|rule| matters(rule, sampled)) {
                let stored = rule.stores.iter().map(|stored| stored.data.states.all());
                more |= stored.fold(rule.by.states.all() | rule.reads, |all, states| all | states);
            }
            if more == sampled {
                break;
            }
            sampled = more;
        }
        self.clocked.retain(|rule| matters(rule, sampled));
    }

    /// What moves a signal.
    pub fn moves(&self, signal: Signal) -> Dependency {
        match signal {
            Signal::Input(bit) => {
                Dependency { inputs: Unateness { positive: 1 << bit, negative: 0 }, ..Dependency::default() }
            }
            Signal::Node(bit) => self.nodes.get(bit).copied().unwrap_or_default(),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::part::Library;

    fn bit(function: &Function, part: &crate::part::Part, name: &str) -> usize {
        let pin = part.pin_named(name).expect("a pin");
        function.inputs.iter().position(|&input| input == pin).expect("an input")
    }

    /// TI SCLS181H, function table of the 00: L only where both inputs are H, so that a rising input makes it fall. TI
    /// SDLS095A, logic diagram of the 283: the lowest sum hangs on no addend bit above it.
    #[test]
    fn gates_have_a_direction_and_sums_hang_on_what_is_below() {
        let library = Library::built_in();
        let under = |name: &str| {
            let part = library.part(name).expect("a part");
            let free = Word::all_unknown(part.function.input_mask());
            (Structure::tied(&part.function, free), part)
        };
        let output = |part: &crate::part::Part, name: &str| {
            let pin = part.pin_named(name).expect("a pin");
            let mut outputs = part.function.outputs.iter();
            outputs.position(|&output| output == pin).expect("an output")
        };
        let (nand, part) = under("00");
        let (a, y) = (bit(&part.function, &part, "1A"), output(&part, "1Y"));
        assert_eq!(nand.values[y].moved(a, true), (false, true));
        assert_eq!(nand.values[y].moved(a, false), (true, false));
        let (adder, part) = under("283");
        let (a2, s1, s2) = (bit(&part.function, &part, "A2"), output(&part, "S1"), output(&part, "S2"));
        assert_eq!(adder.values[s1].moved(a2, true), (false, false));
        assert_eq!(adder.values[s2].moved(a2, true), (true, true));
    }

    #[test]
    fn a_tied_enable_leaves_no_way_to_let_go() {
        let library = Library::built_in();
        let part = library.part("574").expect("a part");
        let enable = bit(&part.function, &part, "/OE");
        let free = Word::all_unknown(part.function.input_mask());
        let tied = Word { value: 0, unknown: free.unknown & !(1 << enable) };
        let open = Structure::tied(&part.function, free);
        // /OE rises: the output goes high-impedance.
        assert_eq!(open.offs[0].moved(enable, true), (true, false));
        assert!(Structure::tied(&part.function, tied).offs[0].is_none());
    }

    /// Atmel 0006F, AT28C256: a write begins when /CE and /WE are low; with /WE high the outputs follow the address while
    /// /CE and /OE are low. Nothing is stored then, and nothing clocks it.
    #[test]
    fn a_memory_whose_write_input_is_tied_off_has_no_clock() {
        let library = Library::built_in();
        let part = library.part("28C256").expect("a part");
        let (write, enable) = (bit(&part.function, &part, "/WE"), bit(&part.function, &part, "/CE"));
        let free = Word::all_unknown(part.function.input_mask());
        let tied = Word { value: 1 << write, unknown: free.unknown & !(1 << write) };
        assert_eq!(Structure::tied(&part.function, tied).storing(), 0);
        let open = Structure::tied(&part.function, free).storing();
        assert_eq!(open >> write & open >> enable & 1, 1);
        // A monostable stores nothing but that it was started.
        let part = library.part("123").expect("a part");
        let free = Word::all_unknown(part.function.input_mask());
        assert_ne!(Structure::tied(&part.function, free).storing(), 0);
    }
}
