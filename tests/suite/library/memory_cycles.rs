//! Read and write cycles exactly at the sheet's limits, and a nanosecond outside each of them.
//!
//! Figures, all for 0 to 70 C and the slowest part: Hitachi ADE-203-135F Rev.6.0 (HM62256B-7), ADE-203-454B Rev.2.0
//! (HM6264B-8L), TI D2417 (SN74LS189A); for -40 to 85 C: Microchip DS11001N (27C256-15).

use crate::engine::bench::{Run, board, ns, ps, settings};
use coldboard::circuit::Circuit;
use coldboard::image::{self, Format};
use coldboard::language::ast::{Corner, PowerUp};
use coldboard::logic::Word;

/// A chip on a bench. Its address pins but one are low; the address is a1, the data m0 and m1.
struct Bench {
    circuit: Circuit,
    /// Nets that the bench drives.
    pins: &'static [&'static str],
    /// What selects it and lets it go, and what begins and ends a write.
    select: (&'static str, &'static str),
    write: (&'static str, &'static str),
}

fn sram() -> Bench {
    Bench {
        circuit: board(
            "",
            "feed U1 from VCC GND
             U1 62256-70 { A0 = GND  A1 = a1  A[2..14] = GND  DQ[0..1] = m[0..1]  DQ[2..7] = rest
                           /CE = ce  /OE = oe  /WE = we }",
        ),
        pins: &["a1", "m0", "m1", "rest", "ce", "oe", "we"],
        select: ("ce=0", "ce=1"),
        write: ("we=0", "we=1"),
    }
}

/// Its second select is active high.
fn small_sram() -> Bench {
    Bench {
        circuit: board(
            "",
            "feed U1 from VCC GND
             U1 6264-85 { A0 = GND  A1 = a1  A[2..12] = GND  DQ[0..1] = m[0..1]  DQ[2..7] = rest
                          /CS1 = GND  CS2 = cs  /OE = oe  /WE = we }",
        ),
        pins: &["a1", "m0", "m1", "rest", "cs", "oe", "we"],
        select: ("cs=1", "cs=0"),
        write: ("we=0", "we=1"),
    }
}

fn bipolar() -> Bench {
    Bench {
        circuit: board(
            "",
            "feed U1 from VCC GND
             U1 74LS189 { A0 = GND  A1 = a1  A[2..3] = GND  D[1..2] = m[0..1]  D[3..4] = rest
                          /S = ce  R/W = we  /Q[1..4] = q[1..4] }",
        ),
        pins: &["a1", "m0", "m1", "rest", "ce", "we"],
        select: ("ce=0", "ce=1"),
        write: ("we=0", "we=1"),
    }
}

/// A write, as times before its end; those behind the end count from it.
#[derive(Clone, Copy)]
struct Cycle {
    address: i64,
    select: i64,
    write: i64,
    data: i64,
    /// When data and address move again.
    data_after: i64,
    address_after: i64,
    /// True when the chip select ends it.
    ends_by_select: bool,
}

/// The limits of a part: address, select, pulse and data before the end of a write.
struct Limits {
    address: i64,
    select: i64,
    pulse: i64,
    data: i64,
}

const HM62256: Limits = Limits { address: 60, select: 60, pulse: 50, data: 30 };
const HM6264: Limits = Limits { address: 75, select: 75, pulse: 55, data: 40 };
/// The sheet asks for the address only before the write begins.
const LS189: Limits = Limits { address: 70, select: 60, pulse: 70, data: 60 };

impl Limits {
    /// A write that `/WE` ends, with everything at its limit. Hold times are zero: data and address move just after
    /// the end.
    fn by_write(&self) -> Cycle {
        Cycle {
            address: self.address * 1000,
            select: self.select.max(self.pulse) * 1000,
            write: self.pulse * 1000,
            data: self.data * 1000,
            data_after: 1,
            address_after: 1,
            ends_by_select: false,
        }
    }

    /// A write that the chip select begins and ends.
    fn by_select(&self) -> Cycle {
        Cycle { select: self.select.max(self.pulse) * 1000, write: 90_000, ends_by_select: true, ..self.by_write() }
    }
}

const NS: i64 = 1000;

impl Bench {
    /// Writes 3 to the word at a1 = 1; returns what it then is, and what was not met.
    fn written(&self, cycle: Cycle) -> (Word, Vec<String>) {
        let mut run = Run::with(&self.circuit, settings(Corner::Slowest, PowerUp::Zero), self.pins);
        let idle = ["a1=0 m0=0 m1=0 rest=0", self.select.1, self.write.1].join(" ");
        run.set(&idle);
        if self.pins.contains(&"oe") {
            run.set("oe=1");
        }
        let end = 1_000_000;
        let (ending, other) =
            if cycle.ends_by_select { (self.select.1, self.write.1) } else { (self.write.1, self.select.1) };
        let mut steps = vec![
            (end - cycle.address, "a1=1"),
            (end - cycle.select, self.select.0),
            (end - cycle.write, self.write.0),
            (end - cycle.data, "m0=1 m1=1"),
            (end, ending),
            (end + cycle.data_after, "m0=0 m1=0"),
            (end + cycle.address_after, "a1=0"),
            (end + 20_000, other),
        ];
        steps.sort_by_key(|step| step.0);
        for (time, levels) in steps {
            run.to(ps(time)).set(levels);
        }
        run.run(ns(200));
        let chip = run.chip("U1");
        let held = run.machine.stored(chip).expect("it is fed");
        (held.memories[0].get(2), run.violations())
    }

    fn passes(&self, name: &str, cycle: Cycle) {
        let (word, told) = self.written(cycle);
        assert_eq!(told, Vec::<String>::new(), "{name}");
        assert_eq!(word, Word::known(3), "{name}");
    }

    fn fails(&self, name: &str, what: &str, cycle: Cycle) {
        let (word, told) = self.written(cycle);
        assert!(told.iter().any(|line| line.contains(what)), "{name}: {what}: {told:?}");
        assert_ne!(word, Word::known(3), "{name}: {what}");
    }
}

#[test]
fn writes_at_the_limits_pass() {
    let parts = [("62256-70", sram(), HM62256), ("6264-85", small_sram(), HM6264), ("74LS189", bipolar(), LS189)];
    for (name, bench, limits) in parts {
        bench.passes(name, limits.by_write());
        bench.passes(name, limits.by_select());
    }
}

#[test]
fn a_nanosecond_less_is_told() {
    let parts = [("62256-70", sram(), HM62256), ("6264-85", small_sram(), HM6264), ("74LS189", bipolar(), LS189)];
    for (name, bench, limits) in parts {
        for good in [limits.by_write(), limits.by_select()] {
            let late_data = Cycle { data: good.data - NS, ..good };
            bench.fails(name, "setup: ", late_data);
            let early_data = Cycle { data_after: -NS, ..good };
            bench.fails(name, "setup: ", early_data);
            let early_address = Cycle { address_after: -NS, ..good };
            bench.fails(name, "stability: A1 moved", early_address);
        }
        let short = Cycle { write: limits.pulse * NS - NS, ..limits.by_write() };
        bench.fails(name, "pulse width: write (made of ", short);
        // Data that comes in time, after an address that does not.
        let late_address = Cycle { address: limits.pulse * NS - NS, ..limits.by_write() };
        let (_, told) = bench.written(late_address);
        assert!(told.iter().any(|line| line.contains("A1 moved")), "{name}");
    }
}

/// From the address to the end of a write (tAW), which the TI sheet does not ask for.
#[test]
fn an_address_stands_long_enough_before_the_end() {
    for (name, bench, limits) in [("62256-70", sram(), HM62256), ("6264-85", small_sram(), HM6264)] {
        let late = Cycle { address: limits.address * NS - NS, ..limits.by_write() };
        bench.fails(name, "setup: A1 moved", late);
    }
}

/// From the chip select to the end of a write (tCW), whichever of the two ends it.
#[test]
fn a_select_begins_long_enough_before_the_end() {
    for (name, bench, limits, pin) in [("62256-70", sram(), HM62256, "/CE"), ("6264-85", small_sram(), HM6264, "CS2")] {
        for good in [limits.by_write(), limits.by_select()] {
            let late = Cycle { select: limits.select * NS - NS, ..good };
            let (_, told) = bench.written(late);
            let expected = format!(
                "U1 ({name}) selection: {pin} became active {} ns before write fell, {} ns needed",
                limits.select - 1,
                limits.select
            );
            assert_eq!(told, [expected], "{name}");
            bench.fails(name, "selection", late);
        }
        // A read with a short select harms nothing.
        let mut run = Run::with(&bench.circuit, settings(Corner::Slowest, PowerUp::Zero), bench.pins);
        run.set("a1=0 m0=0 m1=0 rest=0 oe=1 we=1")
            .set(bench.select.1)
            .run(ns(100))
            .set(bench.select.0)
            .run(ns(5))
            .set(bench.select.1)
            .run(ns(100));
        assert_eq!(run.violations(), Vec::<String>::new(), "{name}");
    }
    // The pulse of this one, 70 ns, is longer than the 60 ns that its select needs: it ends a longer write.
    let bench = bipolar();
    let late = Cycle { select: 59 * NS, ..LS189.by_write() };
    bench.fails("74LS189", "selection: /S became active 59 ns", late);
}

/// What a chip shows, an instant before a read is due and when it is due.
fn read(circuit: &Circuit, pins: &[&str], idle: &str, first: &str, due: i64) -> (String, String) {
    let mut run = Run::with(circuit, settings(Corner::Slowest, PowerUp::Zero), pins);
    if circuit.chips.values().any(|chip| chip.number.starts_with("27")) {
        let words = image::read(Format::Raw, "x.bin", &[0, 0, 1]).expect("a raw image");
        let chip = run.chip("U1");
        run.machine.load(chip, &words, 0).expect("it fits");
    }
    run.set(idle).run(ns(1000)).set(first);
    let before = run.run(ns(due - 1)).levels("q");
    (before, run.run(ns(1)).levels("q"))
}

/// Access times of the EPROM: 150 ns from the address and from /CE, 65 ns from /OE.
#[test]
fn an_eprom_is_read_when_its_sheet_says() {
    let circuit = board(
        "",
        "feed U1 from VCC GND
         U1 27C256-15 { A0 = GND  A1 = a1  A[2..14] = GND  DQ0 = q  /CE = ce  /OE = oe  VPP = VCC }",
    );
    let pins = ["a1", "ce", "oe"];
    for (idle, first, due, before) in [
        ("a1=0 ce=0 oe=0", "a1=1", 150, "X"),
        ("a1=1 ce=1 oe=0", "ce=0", 150, "Z"),
        ("a1=1 ce=0 oe=1", "oe=0", 65, "Z"),
    ] {
        let found = read(&circuit, &pins, idle, first, due);
        assert_eq!(found, (before.to_owned(), "1".to_owned()), "{first}");
    }
}

/// The outputs show the complement of a word of zeroes: 80 ns from the address, 60 ns from /S, 90 ns from R/W.
#[test]
fn a_bipolar_ram_is_read_when_its_sheet_says() {
    let circuit = board(
        "",
        "feed U1 from VCC GND
         U1 74LS189 { A0 = GND  A1 = a1  A[2..3] = GND  D[1..4] = GND  /S = ce  R/W = we
                      /Q1 = q  /Q[2..4] = open }",
    );
    let pins = ["a1", "ce", "we"];
    for (idle, first, due, before) in
        [("a1=0 ce=0 we=1", "a1=1", 80, "X"), ("a1=1 ce=1 we=1", "ce=0", 60, "Z"), ("a1=1 ce=0 we=0", "we=1", 90, "Z")]
    {
        let found = read(&circuit, &pins, idle, first, due);
        assert_eq!(found, (before.to_owned(), "1".to_owned()), "{first}");
    }
}
