//! Memories: reading, writing, and what a write that goes wrong leaves behind.

use super::bench::{Run, Trial, board, bus, drive, ns, ps, run_trial, settings, told};
use coldboard::circuit::Circuit;
use coldboard::image::{self, Format, Image};
use coldboard::language::ast::{Corner, PowerUp};
use coldboard::logic::Word;
use coldboard::run::LoadFault;
use coldboard::trial::Options;

/// Figures of the RAM at 0 to 70 C: Hitachi ADE-203-135F, HM62256B-7. Access 70 ns, /OE to data 40 ns, data good for
/// 5 ns after the address; to write: pulse 50 ns, data 30 ns and address 60 ns before its end.
const RAM: &str = "feed U1 from VCC GND
    U1 62256-70 { A[0..3] = a[0..3]  A[4..14] = GND  DQ[0..7] = m[0..7]  /CE = ce  /OE = oe  /WE = we }";

const PINS: [&str; 15] = ["a0", "a1", "a2", "a3", "m0", "m1", "m2", "m3", "m4", "m5", "m6", "m7", "ce", "oe", "we"];

fn image(bytes: &[u8]) -> Image {
    image::read(Format::Raw, "test.bin", bytes).expect("a raw image")
}

/// A RAM that is selected, neither read nor written, with words 0x10, 0x11, ... in it.
fn ram(circuit: &Circuit) -> Run<'_> {
    let mut run = Run::new(circuit, &PINS);
    let words: Vec<u8> = (0x10..0x20).collect();
    let chip = run.chip("U1");
    run.machine.load(chip, &image(&words), 0).expect("it fits");
    run.set("ce=0 oe=1 we=1 a0=0 a1=0 a2=0 a3=0").to(ns(200));
    run
}

fn address(run: &mut Run<'_>, value: u64) {
    let nets = bus(run.circuit, "a", 4);
    drive(&mut run.machine, &nets, value);
}

/// What stands at an address.
fn word(run: &Run<'_>, address: u64) -> Word {
    run.machine.stored(run.chip("U1")).expect("it is fed").memories[0].get(address)
}

fn unknown_words(run: &Run<'_>) -> Vec<u64> {
    (0..16).filter(|&address| word(run, address).unknown != 0).collect()
}

#[test]
fn a_ram_is_written_and_read_by_a_trial() {
    let report = run_trial(&format!(
        "board b {{ rail VCC 5 V  rail GND\n{RAM} }}
         trial t on b {{
             corner slowest
             set ce = low   set oe = high   set we = high
             set a = 3   set m = 0x5A   run for 10 ns
             set we = low   run for 60 ns   set we = high   run for 10 ns
             set a = 9   set m = 0xA5   run for 10 ns
             set we = low   run for 60 ns   set we = high   run for 10 ns
             release m   run for 100 ns
             expect m is off
             set oe = low
             expect m is off for 39 ns
             run for 1 ns
             expect m = 0xA5
             set a = 3
             expect m = 0xA5 for 4 ns
             run for 1 ns
             expect m is unknown for 64 ns
             run for 1 ns
             expect m = 0x5A
             set a = 0
             run for 1 us
             expect m is unknown
             set oe = high
             run for 25 ns
             expect m is off
         }}"
    ));
    assert_eq!(told(&report), Vec::<String>::new());
    assert!(report.passed);
}

/// Each address bit that moves starts the access time anew; the data is good until the first has moved 5 ns ago.
#[test]
fn an_address_that_moves_hides_the_data_until_it_rests() {
    let circuit = board("", RAM);
    let mut run = ram(&circuit);
    run.set("oe=0").to(ns(300)).forget();
    run.set("a1=1").run(ns(20)).set("a1=0 a2=1").run(ns(20)).set("a2=0 a0=1").run(ns(200));
    // Word 0x10 becomes 0x11: bit 0 moves, bit 4 is the same before and after, and unknown between.
    assert_eq!(run.wave("m0"), "X@305 1@410");
    assert_eq!(run.wave("m4"), "X@305 1@410");
    // Back in time: never was anything else to be seen than unknown.
    run.forget().set("a0=0").run(ns(4)).set("a0=1").run(ns(200));
    assert_eq!(run.wave("m0"), "X@545 1@614");
}

/// The data comes with the last of address, chip enable and output enable (the sheet's read cycles).
#[test]
fn data_waits_for_the_slowest_of_address_and_enables() {
    let circuit = board("", RAM);
    for (first, at, expected) in [
        // Address 10 ns before /OE: 70 ns from the address.
        ("a0=1", 10, 70),
        ("a0=1", 31, 71),
        // /CE 10 ns before /OE: 70 ns from /CE.
        ("ce=0", 10, 70),
        ("ce=0", 45, 85),
    ] {
        let mut run = ram(&circuit);
        if first == "ce=0" {
            run.set("ce=1 a0=1");
        }
        run.run(ns(300)).forget();
        let start = run.machine.now();
        run.set(first).run(ns(at)).set("oe=0").run(ns(300));
        let expected = (start + ns(expected)).ns();
        assert_eq!(run.wave("m0"), format!("1@{expected}"), "{first} {at}");
    }
}

#[test]
fn a_write_stores_what_stands_at_its_end() {
    let circuit = board("", RAM);
    let mut run = ram(&circuit);
    let m = bus(&circuit, "m", 8);
    address(&mut run, 6);
    run.run(ns(10));
    drive(&mut run.machine, &m, 0x33);
    run.set("we=0").run(ns(40));
    drive(&mut run.machine, &m, 0xCC);
    run.run(ns(30)).set("we=1").run(ns(50));
    assert_eq!(word(&run, 6), Word::known(0xCC));
    assert_eq!((unknown_words(&run), run.violations()), (vec![], vec![]));
}

#[test]
fn an_address_that_moves_while_writing_spoils_both_words() {
    let circuit = board("", RAM);
    let mut run = ram(&circuit);
    let m = bus(&circuit, "m", 8);
    address(&mut run, 6);
    drive(&mut run.machine, &m, 0x33);
    run.run(ns(100)).set("we=0").run(ns(100));
    address(&mut run, 7);
    run.run(ns(100)).set("we=1").run(ns(100));
    let spoilt = unknown_words(&run);
    assert!(spoilt.contains(&6), "{spoilt:?}");
    assert!(spoilt.iter().all(|word| [6, 7].contains(word)), "{spoilt:?}");
    assert_eq!(run.violations(), ["U1 (62256-70) stability: A0 moved while write was active"]);
}

/// Words that may have been hit keep only what is the same either way.
#[test]
fn an_unknown_address_may_write_any_word_that_it_may_mean() {
    let circuit = board("", RAM);
    let mut run = ram(&circuit);
    let m = bus(&circuit, "m", 8);
    run.set("a0=0 a1=X a2=1 a3=0");
    // Word 4 holds 0x14, word 6 holds 0x16; 0x14 is written.
    drive(&mut run.machine, &m, 0x14);
    run.run(ns(100)).set("we=0").run(ns(100)).set("we=1").run(ns(100));
    assert_eq!(word(&run, 4), Word::known(0x14));
    assert_eq!(word(&run, 6), Word { value: 0x14, unknown: 0x02 });
    assert_eq!(unknown_words(&run), [6]);
    // Reading with an unknown address gives what all meanings have in common: 0x10, 0x12.
    run.set("m0=Z m1=Z m2=Z m3=Z m4=Z m5=Z m6=Z m7=Z a2=0").run(ns(50)).set("oe=0").run(ns(200));
    assert_eq!(run.levels("m7 m6 m5 m4 m3 m2 m1 m0"), "000100X0");
}

#[test]
fn a_write_pulse_that_is_too_short_leaves_the_word_unknown() {
    let circuit = board("", RAM);
    for (width, unknown, violations) in [
        (50_000, vec![], vec![]),
        (
            49_999,
            vec![2],
            vec![
                "U1 (62256-70) pulse width: write (made of /CE, /WE) was active for 49.999 ns only, 50 ns needed"
                    .to_owned(),
            ],
        ),
    ] {
        let mut run = ram(&circuit);
        let m = bus(&circuit, "m", 8);
        address(&mut run, 2);
        drive(&mut run.machine, &m, 0x33);
        run.run(ns(100)).set("we=0").run(ps(width)).set("we=1").run(ns(100));
        assert_eq!((unknown_words(&run), run.violations()), (unknown, violations));
    }
}

#[test]
fn data_and_address_must_stand_before_the_write_ends() {
    let circuit = board("", RAM);
    // Data: two bits of 0x12 that move 29.999 ns before the end are lost, the others are written.
    for (before, expected) in [(30_000, Word::known(0x33)), (29_999, Word { value: 0x30, unknown: 0x03 })] {
        let mut run = ram(&circuit);
        let m = bus(&circuit, "m", 8);
        address(&mut run, 2);
        drive(&mut run.machine, &m, 0x30);
        run.run(ns(100)).set("we=0").run(ns(100)).set("m0=1 m1=1").run(ps(before)).set("we=1").run(ns(100));
        assert_eq!(word(&run, 2), expected);
        assert_eq!(run.violations().len(), expected.unknown.count_ones() as usize, "{:?}", run.violations());
    }
    // Address: 60 ns before the end.
    for (before, told) in [(60_000, 0), (59_999, 1)] {
        let mut run = ram(&circuit);
        let m = bus(&circuit, "m", 8);
        drive(&mut run.machine, &m, 0x30);
        run.run(ns(100)).set("a1=1 we=0").run(ps(before)).set("we=1").run(ns(100));
        assert_eq!(run.violations().len(), told, "{:?}", run.violations());
        assert!(unknown_words(&run).iter().all(|word| [0, 2].contains(word)));
        assert_eq!(unknown_words(&run).is_empty(), told == 0);
    }
}

/// Nobody has written it: unknown, or as the trial says that the chips woke up.
#[test]
fn a_ram_wakes_up_as_it_is_told() {
    let circuit = board("", RAM);
    let at = |power_up| {
        let run = Run::with(&circuit, settings(Corner::Typical, power_up), &PINS);
        word(&run, 12_345)
    };
    assert_eq!(at(PowerUp::Unknown), Word::all_unknown(0xFF));
    assert_eq!(at(PowerUp::Zero), Word::known(0));
    assert_eq!(at(PowerUp::One), Word::known(0xFF));
    assert_eq!(at(PowerUp::Random(4)), at(PowerUp::Random(4)));
}

const ROM: &str = "board b { rail VCC 5 V  rail GND  feed U1 from VCC GND
    U1 27C256-15 { A[0..3] = a[0..3]  A[4..14] = h  DQ[0..7] = q[0..7]  /CE = GND  /OE = GND } }";

/// An EPROM that was not programmed reads as ones (Microchip DS11001N: after erasure all bits are in the 1 state).
#[test]
fn an_eprom_is_blank_where_nothing_was_loaded() {
    let text = format!("{ROM} trial t on b {{ set a = 0  set h = low  run for 150 ns  expect q = 0xFF }}");
    let report = run_trial(&text);
    assert_eq!(told(&report), Vec::<String>::new());
    let blank: Vec<&str> = report.notes.iter().filter(|n| n.kind == "blank").map(|n| n.text.as_str()).collect();
    assert_eq!(blank, ["U1 (27C256-15) was not loaded: it reads as a blank chip"]);
    // Blank stays blank, whatever RAM and registers wake up as.
    for power_up in [PowerUp::Zero, PowerUp::Random(1)] {
        let options = Options { power_up: Some(power_up), ..Options::default() };
        assert!(Trial::open(&text, &[]).run(&options).passed);
    }
}

#[test]
fn images_are_put_where_their_offset_says() {
    let load = |line: &str, checks: &str| {
        let text = format!("{ROM} trial t on b {{ {line}  set h = low  {checks} }}");
        let report = Trial::open(&text, &[("p.bin", &[1, 2, 3])]).run(&Options::default());
        told(&report)
    };
    let at = |address: u32, value: u32| format!("set a = {address}  run for 150 ns  expect q = {value}\n");
    let checks = at(0, 1) + &at(2, 3) + &at(3, 255);
    assert_eq!(load("load U1 from \"p.bin\"", &checks), Vec::<String>::new());
    let checks = at(4, 255) + &at(5, 1) + &at(7, 3) + &at(8, 255);
    assert_eq!(load("load U1 from \"p.bin\" offset 5", &checks), Vec::<String>::new());
    let refused = |line: &str| {
        let text = format!("{ROM} trial t on b {{ {line} }}");
        Trial::open(&text, &[("p.bin", &[1, 2, 3])]).mistakes()
    };
    assert_eq!(
        refused("load U1 from \"p.bin\" offset 0x7FFE"),
        ["image: the image reaches address 0x8000, but U1 has 32768 words | \"p.bin\""]
    );
    assert_eq!(
        refused("load U1 from \"p.bin\" offset -1"),
        ["image: the image begins at address -1 with this offset, but U1 begins at 0 | \"p.bin\""]
    );
}

#[test]
fn only_a_memory_of_bytes_that_is_fed_takes_an_image() {
    let circuit = board(
        "part wide \"words of 12 bits\" { package DIP8 { 1 A in  2 Y out  4 GND ground  8 VCC power }
             memory cells 2 x 12  node w[0..11] = cells at A  Y = all w }",
        "feed U1, U3 from VCC GND  U1 74HC04 { 1A = a }  U2 62256-70 { A0 = a }  U3 wide { A = a }",
    );
    let mut run = Run::new(&circuit, &[]);
    for (chip, fault) in [("U1", LoadFault::NoMemory), ("U2", LoadFault::NotFed), ("U3", LoadFault::Width(12))] {
        let chip = run.chip(chip);
        assert_eq!(run.machine.load(chip, &image(&[0]), 0), Err(fault));
    }
}
