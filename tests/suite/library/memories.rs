//! Memories: each word is where it was put, and nowhere else.

use super::bench::{Bench, Out};
use super::random;
use coldboard::logic::Word;

// Hitachi ADE-203-135F and HM628128, IDT DSC-3089/06, Alliance AS6C4008 v1.4.
#[test]
fn static_memories_read_back() {
    for (number, bits, select) in [
        ("6116", 11, ("/CS", 0)),
        ("6264", 13, ("/CS1 CS2", 2)),
        ("62256", 15, ("/CE", 0)),
        ("628128", 17, ("/CS1 CS2", 2)),
        ("628512", 19, ("/CE", 0)),
    ] {
        let mut bench = Bench::new(number);
        bench.apply(&[select, ("/OE", 1), ("/WE", 1)]);
        let mut next = random(bits);
        // Neighbours in each address bit, and some others.
        let mut addresses: Vec<u64> = (0..bits).map(|at| 1 << at).collect();
        addresses.extend([0, (1 << bits) - 1]);
        addresses.extend((0..100).map(|_| next() % (1 << bits)));
        addresses.sort_unstable();
        addresses.dedup();
        let words: Vec<(u64, u64)> = addresses.into_iter().map(|at| (at, next() & 255)).collect();
        for &(address, word) in &words {
            bench.apply(&[("A", address), ("DQ", word)]).apply(&[("/WE", 0)]);
            assert_eq!(bench.out("DQ"), Out::Off, "{number} listens");
            bench.apply(&[("/WE", 1)]).apply(&[("DQ", !word & 255)]);
        }
        bench.apply(&[("/OE", 0)]);
        for &(address, word) in &words {
            bench.apply(&[("A", address)]);
            assert_eq!(bench.level("DQ"), word, "{number} at {address:X}");
        }
        // Not selected: nothing is driven, and nothing is written.
        let (pins, level) = select;
        let (address, word) = words[0];
        let wrong = level ^ 1;
        bench.apply(&[(pins, wrong), ("A", address), ("DQ", !word & 255)]);
        assert_eq!(bench.out("DQ"), Out::Off, "{number}");
        bench.apply(&[("/WE", 0)]).apply(&[("/WE", 1)]).apply(&[select]);
        assert_eq!(bench.level("DQ"), word, "{number}");
    }
}

// Microchip DS11001N (27C64), DS11173E (27C256), ST M27C512 Rev 3; Atmel 0540B, 0270L, 0006F; DS20005022C.
#[test]
fn read_only_memories_show_their_image() {
    for (number, bits, rest) in [
        ("27C64", 13, "/PGM"),
        ("27C256", 15, ""),
        ("27C512", 16, ""),
        ("28C16", 11, "/WE"),
        ("28C64", 13, "/WE"),
        ("28C256", 15, "/WE"),
        ("28HC256", 15, "/WE"),
        ("39SF010A", 17, "/WE"),
    ] {
        let mut bench = Bench::new(number);
        if !rest.is_empty() {
            bench.apply(&[(rest, 1)]);
        }
        let mut next = random(bits);
        assert_eq!(bench.level("DQ"), 255, "{number}: blank words read FF");
        for address in (0..bits).map(|at| 1 << at).chain([0, (1 << bits) - 1]) {
            let word = next() & 255;
            bench.held.memories[0].set(address, Word::known(word));
            bench.apply(&[("A", address ^ 1)]).apply(&[("A", address)]);
            assert_eq!(bench.level("DQ"), word, "{number} at {address:X}");
        }
        for (ce, oe) in [(0, 1), (1, 0), (1, 1)] {
            bench.apply(&[("/CE", ce), ("/OE", oe)]);
            assert_eq!(bench.out("DQ"), Out::Off, "{number}");
        }
    }
}

// TI SDLS193 (670), Motorola SN54/74LS170.
#[test]
fn register_files_have_two_ports() {
    for number in ["170", "670"] {
        let mut bench = Bench::new(number);
        let (mut next, mut model) = (random(3), [0; 4]);
        let q = ["Q1", "Q2", "Q3", "Q4"];
        for word in 0..4 {
            bench.apply(&[("WA WB", word), ("/GW", 0), ("D", 0)]).apply(&[("/GW", 1)]);
        }
        for _ in 0..1000 {
            let (to, from, data) = (next() & 3, next() & 3, next() & 15);
            let (no_write, no_read) = (next() & 1, next() & 1);
            bench.apply(&[("/GW", 1)]).apply(&[("WA WB", to), ("D", data)]);
            bench.apply(&[("/GW", no_write), ("RA RB", from), ("/GR", no_read)]);
            if no_write == 0 {
                model[to as usize] = data;
            }
            let word = model[from as usize];
            if number == "670" {
                let expected = if no_read == 0 { Out::Driven(word) } else { Out::Off };
                assert_eq!(bench.out("Q"), expected);
            } else {
                let found = (0..4).fold(0, |all, at| all | bench.pulled(q[at]) << at);
                assert_eq!(found, if no_read == 0 { word } else { 15 });
            }
        }
    }
}

// TI D2417, February 1985 (LS189A, LS219A); Signetics 54S/74S89 data book pages.
#[test]
fn small_memories() {
    for (number, select, write, inverted) in
        [("189", "/S", "R/W", 15), ("219", "/S", "R/W", 0), ("89", "/CS", "/WE", 15)]
    {
        let mut bench = Bench::new(number);
        let output = match number {
            "189" => "/Q",
            "219" => "Q",
            _ => "/O",
        };
        let read = |bench: &mut Bench| match number {
            "89" => (1..=4).fold(0, |all, at| all | bench.pulled(&format!("/O{at}")) << (at - 1)),
            _ => bench.level(output),
        };
        bench.apply(&[(write, 1)]);
        for address in 0..16 {
            bench.apply(&[("A", address), ("D", (address * 7) & 15)]);
            bench.apply(&[(write, 0)]).apply(&[(write, 1)]).apply(&[("D", 0)]);
        }
        for address in 0..16 {
            bench.apply(&[("A", address)]);
            assert_eq!(read(&mut bench), ((address * 7) & 15) ^ inverted, "{number} at {address}");
        }
        // Not selected, it is not written.
        bench.apply(&[(select, 1), ("D", 15)]).apply(&[(write, 0)]).apply(&[(write, 1)]);
        bench.apply(&[(select, 0)]);
        assert_eq!(read(&mut bench), ((15 * 7) & 15) ^ inverted, "{number}");
    }
}
