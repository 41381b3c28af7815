//! The programs of the ROM, and the rates at which they run.

use super::designs;
use crate::designs::{Design, Disk, complaints, in_corner};
use coldboard::language::ast::{Corner, PowerUp};
use coldboard::timing::checks::Kind;
use coldboard::timing::{self, Parts};
use coldboard::trial::{Options, Report};
use rayon::prelude::*;
use std::fs;

fn dunlin(files: &Disk) -> Design {
    Design::open(files, &designs().join("dunlin.board"))
}

/// The bytes that a program told.
fn told(report: &Report) -> Vec<u32> {
    let rows = report.tables[0].rows.iter();
    rows.map(|(_, cells)| cells[0].parse().expect("a number"))
        .collect()
}

/// What each program has to tell, by plain arithmetic.
fn wanted(trial: &str) -> Vec<u32> {
    match trial {
        "selftest" => vec![0xAA],
        "gcd" => vec![gcd(252, 105)],
        "primes" => {
            let mut primes: Vec<u32> = (2..256)
                .filter(|number| (2..*number).all(|divisor| number % divisor != 0))
                .collect();
            primes.push(primes.len() as u32);
            primes
        }
        "crc8" => {
            let check = crc::Crc::<u8>::new(&crc::CRC_8_SMBUS).checksum(b"123456789");
            vec![u32::from(check)]
        }
        "multiply" => {
            let product: u32 = 0xBEEF * 0xCAFE;
            product.to_be_bytes().map(u32::from).to_vec()
        }
        "sort" => {
            let text = fs::read_to_string(designs().join("programs/sort.board")).expect("a file");
            let (_, table) = text.split_once("table:").expect("a table");
            let mut bytes: Vec<u32> = table
                .split(|c: char| !c.is_ascii_digit())
                .filter_map(|word| word.parse().ok())
                .collect();
            assert_eq!(bytes.len(), 64);
            bytes.sort_unstable();
            bytes
        }
        other => panic!("no program {other}"),
    }
}

fn gcd(a: u32, b: u32) -> u32 {
    if b == 0 { a } else { gcd(b, a % b) }
}

#[test]
fn every_program_tells_what_plain_arithmetic_says() {
    let design = dunlin(&Disk::default());
    let mut runs: Vec<(&str, Options)> = Vec::new();
    let three = [Corner::Slowest, Corner::Fastest, Corner::Typical];
    // The long ones first, for the cores to share the rest.
    runs.push(("sort", in_corner(Corner::Slowest)));
    runs.extend(three.map(|corner| ("primes", in_corner(corner))));
    for trial in ["gcd", "selftest", "crc8", "multiply"] {
        runs.extend(three.map(|corner| (trial, in_corner(corner))));
    }
    runs.extend((1..=3).map(|seed| ("selftest", in_corner(Corner::Random(seed)))));
    for start in [PowerUp::Zero, PowerUp::One, PowerUp::Random(1)] {
        let power_up = Some(start);
        let options = in_corner(Corner::Typical);
        runs.push((
            "selftest",
            Options {
                power_up,
                ..options
            },
        ));
    }
    runs.par_iter().for_each(|(trial, options)| {
        let report = design.run(trial, options);
        let how = format!("{trial}, {:?}, {:?}", report.corner, report.power_up);
        assert!(report.passed, "{how}:\n{}", complaints(&report));
        assert_eq!(told(&report), wanted(trial), "{how}");
        let floats = report.notes.iter().find(|note| note.kind == "floating");
        assert!(floats.is_none(), "{how}: {floats:?}");
    });
}

#[test]
fn any_two_numbers_at_the_switches_have_their_divisor() {
    for (a, b) in [(96, 0), (0, 7), (255, 254), (34, 255)] {
        let trials = designs().join("trials.board");
        let text = fs::read_to_string(&trials).expect("trials");
        let answer = gcd(a, b);
        let text = text
            .replace("PORT.in = 252", &format!("PORT.in = {a}"))
            .replace("PORT.in = 105", &format!("PORT.in = {b}"))
            .replace("PORT.out = 21", &format!("PORT.out = {answer}"))
            .replace("within 2000 clocks", "within 30000 clocks");
        let design = dunlin(&Disk::default().with(trials, text));
        let report = design.run("gcd", &in_corner(Corner::Typical));
        assert!(report.passed, "{a} and {b}: {}", complaints(&report));
        assert_eq!(told(&report), [answer]);
    }
}

/// The trials with a time in place of every number of clocks: a clock that stands still is waited for a whole second.
fn in_time() -> Disk {
    let trials = designs().join("trials.board");
    Disk::default().edit(trials, "within 3000 clocks", "within 2 ms")
}

#[test]
fn a_wrong_bit_in_the_decode_table_is_found_by_the_self_test() {
    let decode = designs().join("decode.board");
    for (from, to) in [
        // SBC forgets the borrow; a page operand takes Y for X; ROR shifts a 1 in; RET comes back to the wrong place.
        (
            "alu = B_MINUS_T, carry = FLAG",
            "alu = B_MINUS_T, carry = ONE",
        ),
        (
            "opcode[0..2] = 2 and step = 2: from = source.X",
            "opcode[0..2] = 2 and step = 2: from = source.Y",
        ),
        ("shift, carry = FLAG", "shift, carry = ONE"),
        (
            "opcode = RET and step = 13: onward",
            "opcode = RET and step = 13: take_zn",
        ),
    ] {
        let design = dunlin(&in_time().edit(decode.clone(), from, to));
        let report = design.run("selftest", &in_corner(Corner::Typical));
        assert!(!report.passed, "{to} was not noticed");
    }
}

/// `late` ends the write pulse half a swing of the oscillator, 203.45 ns at 2.4576 MHz, before the clock that opened its gate
/// would: what is compared with the end of that pulse is then compared with the wrong edge, and that has to be told.
#[test]
fn a_gate_that_is_shut_in_the_middle_of_its_pulse_is_told() {
    let mut project = super::project();
    let circuit = super::circuit(&mut project);
    let options = timing::Options {
        parts: vec![Parts::Slowest],
        sources: Vec::new(),
        paths: 1000,
    };
    let report = timing::analyse(&circuit, project.sources(), &options);
    let paths = report.runs[0].paths.iter();
    let mut gates = paths.filter(|path| path.kind == Kind::Gate && path.at == "CLOCK.U6.4A");
    let worst = gates.next().expect("the worst ones come first");
    // Give or take the flip-flop, 44 ns at the most, and the clock's own way to the gate.
    let short = worst.slack.ps();
    assert!((-290_000..=-120_000).contains(&short), "{short} ps");
}

/// With the slowest parts the programs run at the rate that the static analysis promises, and fail at half as much more.
#[test]
fn the_promised_rate_is_kept_and_half_as_much_more_is_not() {
    let mut project = super::project();
    let circuit = super::circuit(&mut project);
    let options = timing::Options {
        parts: vec![Parts::Slowest],
        sources: Vec::new(),
        paths: 0,
    };
    let report = timing::analyse(&circuit, project.sources(), &options);
    let [rate] = report.runs[0].rates.as_slice() else {
        panic!("one oscillator");
    };
    let shortest = rate.period.expect("something limits it").ps();
    let clock = designs().join("clock.board");
    let at = |period: i64| {
        let hertz = 1_000_000_000_000 / period;
        let can = format!("OSC14 {hertz} Hz");
        dunlin(&in_time().edit(clock.clone(), "OSC14 2.4576 MHz", &can))
    };
    // Nothing is lost by a tenth of a percent, which moves the end of the reset away from the edges of the can.
    let promised = at(shortest + shortest / 1000);
    ["selftest", "crc8", "multiply"]
        .par_iter()
        .for_each(|trial| {
            let report = promised.run(trial, &in_corner(Corner::Slowest));
            assert!(
                report.passed,
                "{trial} every {shortest} ps: {}",
                complaints(&report)
            );
            assert_eq!(told(&report), wanted(trial), "{trial}");
        });
    let report = at(shortest * 2 / 3).run("selftest", &in_corner(Corner::Slowest));
    assert!(!report.passed, "every {} ps", shortest * 2 / 3);
}
