//! EEPROMs and flash memories that write by themselves.
//!
//! Sequences and times: Atmel 0540B (AT28C16), 0270L (AT28C64B), 0006F (AT28C256), Microchip DS20005022C
//! (SST39SF010A); command bytes from memory, as the parts say.

use super::bench::{Run, board, bus, drive, ns, ps, settings};
use coldboard::circuit::Circuit;
use coldboard::language::ast::{Corner, PowerUp};
use coldboard::logic::Word;
use coldboard::quantity::Time;
use rand_chacha::ChaCha8Rng;
use rand_core::{Rng, SeedableRng};
use std::collections::BTreeMap;

/// A memory of so many address bits, wired to nets of its own.
fn bench(number: &str, bits: usize) -> Circuit {
    let last = bits - 1;
    board(
        "",
        &format!(
            "feed U1 from VCC GND
             U1 {number} {{ A[0..{last}] = a[0..{last}]  DQ[0..7] = m[0..7]  /CE = ce  /OE = oe  /WE = we }}"
        ),
    )
}

struct Chip<'c> {
    run: Run<'c>,
    bits: usize,
}

impl<'c> Chip<'c> {
    fn new(circuit: &'c Circuit, bits: usize, corner: Corner) -> Chip<'c> {
        let lines = (0..bits).map(|bit| format!("a{bit}"));
        let lines = lines.chain((0..8).map(|bit| format!("m{bit}")));
        let names: Vec<String> = lines.chain(["ce", "oe", "we"].map(str::to_owned)).collect();
        let names: Vec<&str> = names.iter().map(String::as_str).collect();
        let mut run = Run::with(circuit, settings(corner, PowerUp::Unknown), &names);
        let nets = bus(circuit, "a", bits);
        drive(&mut run.machine, &nets, 0);
        run.set("ce=0 oe=1 we=1").run(ns(1_000));
        Chip { run, bits }
    }

    fn address(&mut self, address: u64) {
        let nets = bus(self.run.circuit, "a", self.bits);
        drive(&mut self.run.machine, &nets, address);
    }

    /// One write pulse of 200 ns; returns the moment of its end.
    fn write(&mut self, address: u64, data: u64) -> Time {
        self.address(address);
        let nets = bus(self.run.circuit, "m", 8);
        drive(&mut self.run.machine, &nets, data);
        self.run.run(ns(100)).set("we=0").run(ns(200)).set("we=1");
        let end = self.run.machine.now();
        self.run.run(ns(100));
        nets.iter().for_each(|&net| self.run.machine.release(net));
        self.run.run(ns(100));
        end
    }

    /// What a read shows, bit 7 first.
    fn read(&mut self, address: u64) -> String {
        self.address(address);
        self.run.set("oe=0").run(ns(400));
        let levels = self.run.levels("m7 m6 m5 m4 m3 m2 m1 m0");
        self.run.set("oe=1").run(ns(200));
        levels
    }

    fn word(&self, address: u64) -> Word {
        self.run.machine.stored(self.run.chip("U1")).expect("it is fed").memories[0].get(address)
    }

    /// A stored bit by its name.
    fn state(&self, name: &str) -> Word {
        let chip = self.run.chip("U1");
        let states = &self.run.circuit.chips[chip].part.function.states;
        let bit = states.iter().position(|state| state == name).expect(name);
        let held = self.run.machine.stored(chip).expect("it is fed");
        held.state.slice(bit as u32, 1)
    }

    /// That a timer ends at a moment, and not a picosecond earlier.
    fn ends(&mut self, timer: &str, at: Time) {
        self.run.to(at - ps(1));
        assert_eq!(self.state(timer), Word::known(1), "{timer} before {at}");
        self.run.to(at);
        assert_eq!(self.state(timer), Word::known(0), "{timer} at {at}");
    }

    fn forbidden(&self) -> Vec<String> {
        let found = self.run.machine.forbidden();
        found.iter().map(|found| format!("{} x{}", found.text, found.count)).collect()
    }
}

fn byte(value: u64) -> String {
    format!("{value:08b}")
}

fn us(count: i64) -> Time {
    ns(count * 1_000)
}

/// Atmel 0540B: busy for 0.5 ms, 1 ms at most; bit 7 is the opposite of the byte while it is.
#[test]
fn a_28c16_writes_one_byte_at_a_time() {
    let circuit = bench("28C16-15", 11);
    for (corner, time) in [(Corner::Typical, us(500)), (Corner::Slowest, us(1_000))] {
        let mut chip = Chip::new(&circuit, 11, corner);
        assert_eq!(chip.read(0x123), byte(0xFF), "blank");
        let end = chip.write(0x123, 0x5A);
        assert_eq!(chip.read(0x123), "1XXXXXXX");
        // A write that comes too soon is not taken, and told.
        assert_eq!(chip.forbidden(), Vec::<String>::new());
        chip.write(0x123, 0x00);
        assert_eq!(chip.forbidden(), ["a write that comes while the chip is busy with the last one is not taken x1"]);
        chip.ends("busy", end + time);
        assert_eq!(chip.read(0x123), byte(0x5A));
        assert_eq!(chip.read(0x122), byte(0xFF));
        assert_eq!(chip.run.violations(), Vec::<String>::new());
    }
}

/// Each of /OE low, /CE high and /WE high keeps a write away (Atmel 0540B, 0006F).
#[test]
fn no_write_starts_while_one_pin_forbids_it() {
    let circuit = bench("28C256-15", 15);
    for pins in ["oe=0", "ce=1"] {
        let mut chip = Chip::new(&circuit, 15, Corner::Typical);
        chip.run.set(pins).run(ns(1_000)).set("we=0").run(ns(200)).set("we=1").run(us(1));
        assert_eq!(chip.state("busy"), Word::known(0), "{pins}");
        assert_eq!(chip.word(0), Word::known(0xFF));
    }
}

/// Atmel 0270L: up to 64 bytes, each within 150 us; one write cycle of 10 ms covers them all.
#[test]
fn a_page_is_written_in_one_cycle() {
    let circuit = bench("28C64-15", 13);
    let mut chip = Chip::new(&circuit, 13, Corner::Slowest);
    let mut end = Time::ZERO;
    for at in 0..64 {
        end = chip.write(0x0FC0 + at, 0x80 | at);
        chip.run.run(us(149));
    }
    chip.ends("window", end + us(150));
    // A late byte is not taken.
    chip.write(0x0FC0, 0x00);
    assert_eq!(chip.forbidden().len(), 1);
    chip.ends("busy", end + us(10_000));
    for at in 0..64 {
        assert_eq!(chip.word(0x0FC0 + at), Word::known(0x80 | at), "{at}");
    }
    assert_eq!((chip.word(0x0FBF), chip.word(0x1000)), (Word::known(0xFF), Word::known(0xFF)));
    assert_eq!(chip.read(0x0FC5), byte(0x85));
    assert_eq!(chip.run.violations(), Vec::<String>::new());
}

#[test]
fn a_byte_of_another_page_is_told_and_unknown() {
    let circuit = bench("28C256-15", 15);
    let mut chip = Chip::new(&circuit, 15, Corner::Typical);
    chip.write(0x0040, 0x11);
    chip.write(0x0080, 0x22);
    chip.run.run(us(20_000));
    assert_eq!(chip.word(0x0040), Word::known(0x11));
    assert_eq!(chip.word(0x0080), Word::all_unknown(0xFF));
    assert_eq!(chip.forbidden(), ["the bytes of one page write lie on different pages x1"]);
}

/// Atmel 0006F: bit 7 is the opposite of the last byte; bit 6 differs from one read to the next.
#[test]
fn polling_shows_when_a_write_is_over() {
    let circuit = bench("28C256-15", 15);
    let mut chip = Chip::new(&circuit, 15, Corner::Slowest);
    let end = chip.write(0x1234, 0x8F);
    let reads: Vec<String> = (0..4).map(|_| chip.read(0x1234)).collect();
    assert!(reads.iter().all(|read| read.starts_with('0') && read.ends_with("XXXXXX")), "{reads:?}");
    assert!(reads.windows(2).all(|pair| pair[0][1..2] != pair[1][1..2]), "{reads:?}");
    chip.run.to(end + us(9_999));
    assert!(chip.read(0x1234).starts_with('0'));
    chip.run.to(end + us(10_000));
    assert_eq!(chip.read(0x1234), byte(0x8F));
    assert_eq!(chip.read(0x1234), byte(0x8F));
}

#[test]
fn a_locked_eeprom_takes_only_what_stands_behind_the_command() {
    let circuit = bench("28C256-15", 15);
    let mut chip = Chip::new(&circuit, 15, Corner::Typical);
    let command = |chip: &mut Chip<'_>, last: &[u64]| {
        for &code in last {
            chip.write(0x5555, 0xAA);
            chip.write(0x2AAA, 0x55);
            chip.write(0x5555, code);
        }
    };
    let rest = |chip: &mut Chip<'_>| {
        chip.run.run(us(20_000));
    };
    command(&mut chip, &[0xA0]);
    chip.write(0x0100, 0x01);
    chip.write(0x0101, 0x02);
    rest(&mut chip);
    chip.write(0x0102, 0x03);
    rest(&mut chip);
    assert_eq!([0x100, 0x101, 0x102].map(|at| chip.word(at).value), [1, 2, 0xFF]);
    command(&mut chip, &[0xA0]);
    chip.write(0x0102, 0x03);
    rest(&mut chip);
    assert_eq!(chip.word(0x0102), Word::known(3));
    // A command that is broken off, or comes too slowly, opens nothing.
    chip.write(0x5555, 0xAA);
    chip.run.run(us(20_000));
    chip.write(0x2AAA, 0x55);
    chip.run.run(us(20_000));
    chip.write(0x5555, 0xA0);
    chip.write(0x0103, 0x04);
    rest(&mut chip);
    assert_eq!(chip.word(0x0103), Word::known(0xFF));
    // The longer one unlocks the chip.
    command(&mut chip, &[0x80, 0x20]);
    rest(&mut chip);
    chip.write(0x0103, 0x04);
    rest(&mut chip);
    assert_eq!(chip.word(0x0103), Word::known(4));
    // Nothing of the commands was taken for data.
    assert_eq!((chip.word(0x5555), chip.word(0x2AAA)), (Word::known(0xFF), Word::known(0xFF)));
    assert_eq!(chip.forbidden(), Vec::<String>::new());
}

#[test]
fn what_only_begins_like_a_command_is_data() {
    let circuit = bench("28C256-15", 15);
    let mut chip = Chip::new(&circuit, 15, Corner::Typical);
    chip.write(0x5555, 0xAA);
    chip.run.run(us(20_000));
    assert_eq!(chip.word(0x5555), Word::known(0xAA));
    chip.write(0x5555, 0xAA);
    chip.write(0x5556, 0xBB);
    chip.run.run(us(20_000));
    assert_eq!([0x5555, 0x5556].map(|at| chip.word(at).value), [0xAA, 0xBB]);
}

/// Atmel 0006F: the address stands for 50 ns from the beginning of the pulse, which is at least 100 ns wide.
#[test]
fn a_write_that_breaks_the_sheet_leaves_what_it_may_hit_unknown() {
    let circuit = bench("28C256-15", 15);
    let mut chip = Chip::new(&circuit, 15, Corner::Typical);
    chip.address(0x0010);
    drive(&mut chip.run.machine, &bus(&circuit, "m", 8), 0x00);
    chip.run.run(ns(200)).set("we=0").run(ns(49)).set("a0=1").run(ns(200)).set("we=1").run(us(1));
    assert_eq!(chip.run.violations().len(), 1, "{:?}", chip.run.violations());
    assert!(chip.word(0x0010).unknown != 0 && chip.word(0x0011).unknown != 0);
    assert_eq!(chip.word(0x0012), Word::known(0xFF));
    let mut chip = Chip::new(&circuit, 15, Corner::Typical);
    drive(&mut chip.run.machine, &bus(&circuit, "m", 8), 0x00);
    chip.run.run(ns(200)).set("we=0").run(ns(99)).set("we=1").run(us(1));
    assert_eq!(
        chip.run.violations(),
        ["U1 (28C256-15) pulse width: write (made of /CE, /OE, /WE) was active for 99 ns only, 100 ns needed"]
    );
    assert!(chip.word(0).unknown != 0);
}

fn flash() -> Circuit {
    bench("39SF010A-70", 17)
}

impl Chip<'_> {
    fn command(&mut self, code: u64) {
        self.write(0x5555, 0xAA);
        self.write(0x2AAA, 0x55);
        self.write(0x5555, code);
    }

    fn program(&mut self, address: u64, data: u64) -> Time {
        self.command(0xA0);
        self.write(address, data)
    }
}

/// DS20005022C: a byte takes 20 us at most; programming only turns ones into zeros.
#[test]
fn flash_is_programmed_byte_by_byte() {
    let circuit = flash();
    let mut chip = Chip::new(&circuit, 17, Corner::Slowest);
    chip.write(0x1000, 0x00);
    chip.run.run(us(100));
    assert_eq!(chip.word(0x1000), Word::known(0xFF), "without its command");
    let end = chip.program(0x1000, 0x5B);
    assert_eq!(chip.read(0x1000)[..1], *"1");
    chip.ends("byte", end + us(20));
    assert_eq!(chip.read(0x1000), byte(0x5B));
    chip.program(0x1000, 0xA7);
    chip.run.run(us(20));
    assert_eq!(chip.read(0x1000), byte(0x5B & 0xA7));
    // Upper address bits take no part in commands.
    chip.write(0x1_5555, 0xAA);
    chip.write(0x0_AAAA, 0x55);
    chip.write(0x1_D555, 0xA0);
    chip.write(0x1_0000, 0x0F);
    chip.run.run(us(20));
    assert_eq!(chip.read(0x1_0000), byte(0x0F));
    // A write while it is busy is not taken.
    chip.program(0x2000, 0x00);
    chip.write(0x5555, 0xAA);
    assert_eq!(chip.forbidden(), ["a write that comes while the chip is busy is not taken x1"]);
}

/// DS20005022C: 25 ms for a sector of 4096 bytes, 100 ms for the whole chip.
#[test]
fn flash_is_erased_by_sectors_or_as_a_whole() {
    let circuit = flash();
    let mut chip = Chip::new(&circuit, 17, Corner::Slowest);
    let places = [0x0_0FFF, 0x0_1000, 0x0_1234, 0x0_1FFF, 0x0_2000, 0x1_1234];
    for (at, &place) in places.iter().enumerate() {
        chip.program(place, at as u64);
        chip.run.run(us(20));
    }
    chip.command(0x80);
    chip.write(0x5555, 0xAA);
    chip.write(0x2AAA, 0x55);
    let end = chip.write(0x0_1ABC, 0x30);
    let reads = [chip.read(0x0_2000), chip.read(0x0_2000)];
    assert!(reads.iter().all(|read| read.starts_with('0')) && reads[0] != reads[1], "{reads:?}");
    chip.ends("sector", end + us(25_000));
    let words = places.map(|place| chip.word(place).value);
    assert_eq!(words, [0, 0xFF, 0xFF, 0xFF, 4, 5]);
    assert_eq!(chip.read(0x0_2000), byte(4));
    chip.command(0x80);
    chip.command(0x10);
    let end = chip.run.machine.now() - ns(200);
    chip.ends("chip", end + us(100_000));
    assert!((0..1 << 17).all(|at| chip.word(at) == Word::known(0xFF)));
    assert_eq!((chip.forbidden(), chip.run.violations()), (vec![], vec![]));
}

/// BF for the maker, B5 for the device (from memory).
#[test]
fn flash_tells_what_it_is() {
    let circuit = flash();
    let mut chip = Chip::new(&circuit, 17, Corner::Typical);
    chip.command(0x90);
    assert_eq!((chip.read(0), chip.read(1)), (byte(0xBF), byte(0xB5)));
    assert_eq!(chip.read(0x4444), "XXXXXXXX");
    chip.write(0, 0xF0);
    assert_eq!(chip.read(0), byte(0xFF));
}

/// Whatever the unknown levels on its pins were: what is known of a chip's words and stored bits is what a run shows in
/// which they were known.
#[test]
fn what_is_known_of_a_memory_holds_for_every_write_that_may_have_been() {
    let mut random = ChaCha8Rng::seed_from_u64(28);
    for (number, bits) in [("28C16-15", 11), ("28C64-15", 13), ("39SF010A-70", 17)] {
        let circuit = bench(number, bits);
        let mut known = 0;
        for _ in 0..12 {
            let lines = ["a0", "a1", "m0", "m7", "ce", "oe", "we", "we", "we"];
            let steps: Vec<(&str, char, i64)> = (0..24)
                .map(|_| {
                    let line = lines[random.next_u32() as usize % lines.len()];
                    let level = ['0', '1', '0', '1', 'X'][random.next_u32() as usize % 5];
                    let time = [300, 300, 300, 160_000, 11_000_000][random.next_u32() as usize % 5];
                    (line, level, time)
                })
                .collect();
            let truth = after(&circuit, bits, &steps, |level| level);
            for _ in 0..4 {
                let copy = after(&circuit, bits, &steps, |level| match level {
                    'X' => ['0', '1'][random.next_u32() as usize % 2],
                    level => level,
                });
                for (at, (one, other)) in truth.iter().zip(&copy).enumerate() {
                    let differ = (one.value ^ other.value) & !one.unknown & !other.unknown;
                    assert_eq!(differ, 0, "{number} moment {at} of {steps:?}");
                }
            }
            known += truth.iter().filter(|word| word.unknown == 0).count();
        }
        assert!(known > 200, "{number} {known}");
    }
}

/// The stored bits and the first four words after each step.
fn after(circuit: &Circuit, bits: usize, steps: &[(&str, char, i64)], mut take: impl FnMut(char) -> char) -> Vec<Word> {
    let mut chip = Chip::new(circuit, bits, Corner::Typical);
    drive(&mut chip.run.machine, &bus(circuit, "m", 8), 0x3C);
    chip.run.run(ns(1_000));
    let mut last: BTreeMap<&str, (char, char)> = BTreeMap::new();
    let mut found = Vec::new();
    for &(line, level, time) in steps {
        // A level that stays unknown stays what it is.
        if last.get(line).is_none_or(|&(before, _)| before != level) {
            last.insert(line, (level, take(level)));
        }
        chip.run.set(&format!("{line}={}", last[line].1)).run(ns(time));
        let held = chip.run.machine.stored(chip.run.chip("U1")).expect("it is fed");
        found.push(held.state);
        found.extend((0..4).map(|address| held.memories[0].get(address)));
    }
    found
}
