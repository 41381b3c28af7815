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
    rows.map(|(_, cells)| cells[0].parse().expect("a number")).collect()
}

/// What each program has to tell, by plain arithmetic.
fn wanted(trial: &str) -> Vec<u32> {
    match trial {
        "selftest" => vec![0xAA],
        "gcd" => vec![gcd(252, 105)],
        "primes" => {
            let mut primes: Vec<u32> =
                (2..256).filter(|number| (2..*number).all(|divisor| number % divisor != 0)).collect();
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
            let mut bytes: Vec<u32> =
                table.split(|c: char| !c.is_ascii_digit()).filter_map(|word| word.parse().ok()).collect();
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
        runs.push(("selftest", Options { power_up, ..options }));
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

#[test]
fn a_wrong_bit_in_the_decode_table_is_found_by_the_self_test() {
    let decode = designs().join("decode.board");
    for (from, to) in [
        // SBC forgets the borrow; a page operand takes Y for X; ROR shifts a 1 in; RET comes back to the wrong place.
        ("alu = B_MINUS_T, carry = FLAG", "alu = B_MINUS_T, carry = ONE"),
        ("mode = 2 and step = 2: from = source.X", "mode = 2 and step = 2: from = source.Y"),
        ("shift, carry = FLAG", "shift, carry = ONE"),
        ("opcode = RET and step = 13: onward", "opcode = RET and step = 13: take_zn"),
    ] {
        let design = dunlin(&Disk::default().edit(decode.clone(), from, to));
        let report = design.run("selftest", &in_corner(Corner::Typical));
        assert!(!report.passed, "{to} was not noticed");
    }
}

/// A report on all speeds of the parts, or one of them.
fn timed(parts: &[Parts], paths: usize) -> timing::Report {
    let mut project = super::project();
    let circuit = super::circuit(&mut project);
    let options = timing::Options { parts: parts.to_vec(), sources: Vec::new(), paths };
    timing::analyse(&circuit, project.sources(), &options)
}

/// The shortest period of the oscillator, in picoseconds.
fn promised(run: &timing::report::Run) -> i64 {
    let [rate] = run.rates.as_slice() else {
        panic!("one oscillator");
    };
    rate.period.expect("something limits it").ps()
}

/// The clock is the oscillator, its half and the follower of that: no line of the address, though the ROM listens to it.
/// Nothing fails at the rate of the can, with whatever parts. Mixed parts are limited by what is written into the RAM: by
/// hand, a byte can come 153 ns behind an edge of the oscillator, the write can end 16 ns behind the other one, and the
/// RAM wants 30 ns, so that half a swing cannot be shorter than 167 ns.
#[test]
fn the_write_pulse_is_seen_to_end_by_its_own_edge() {
    let report = timed(&Parts::ALL, 1000);
    let clocks: Vec<&str> = report.clocks.iter().map(|clock| clock.net.as_str()).collect();
    assert_eq!(clocks, ["CLOCK.swing", "CLOCK.beat", "CLOCK.late"]);
    for run in &report.runs {
        assert!(run.failing.is_empty(), "{:?}: {:?}", run.parts, run.failing);
        let ends = run.paths.iter().filter(|path| path.at.starts_with("MEMORY.U2.DQ") && path.kind == Kind::Setup);
        assert!(ends.clone().count() >= 8, "{:?}", run.parts);
        for path in ends {
            assert!(path.to.contains("CLOCK.late"), "{} is compared with the {}", path.at, path.to);
        }
        let written = run.paths.iter().any(|path| path.at == "MEMORY.U2./WE" && path.kind == Kind::Width);
        assert!(written, "{:?}", run.parts);
    }
    let mixed = report.runs.iter().find(|run| run.parts == Parts::Mixed).expect("mixed");
    let half = promised(mixed) / 2;
    assert!((167_000..=203_450).contains(&half), "half a swing of {half} ps");
}

const PROGRAMS: [&str; 6] = ["sort", "primes", "gcd", "crc8", "multiply", "selftest"];

/// With parts of every speed, the mixed ones by three chances, all programs run at the rate that the static analysis
/// promises for it.
#[test]
fn every_program_runs_at_the_promised_rate() {
    let report = timed(&Parts::ALL, 0);
    let runs = report.runs.iter().flat_map(|run| {
        let corners = match run.parts {
            Parts::Fastest => vec![Corner::Fastest],
            Parts::Typical => vec![Corner::Typical],
            Parts::Slowest => vec![Corner::Slowest],
            Parts::Mixed => (1..=3).map(Corner::Random).collect(),
        };
        let period = promised(run);
        corners.into_iter().map(move |corner| (corner, period))
    });
    let designs: Vec<(Corner, i64, Design)> = runs.map(|(corner, period)| (corner, period, with_can(period))).collect();
    // The long ones first, for the cores to share the rest.
    let runs = PROGRAMS.iter().flat_map(|&trial| designs.iter().map(move |design| (trial, design)));
    let runs: Vec<_> = runs.collect();
    runs.par_iter().for_each(|(trial, (corner, period, design))| {
        let report = design.run(trial, &in_corner(*corner));
        let how = format!("{trial}, {corner:?}, every {period} ps");
        assert!(report.passed, "{how}:\n{}", complaints(&report));
        assert_eq!(told(&report), wanted(trial), "{how}");
    });
}

/// At half as much more than promised, every program fails to be seen with the slowest parts.
#[test]
fn no_program_runs_at_half_as_much_more() {
    let report = timed(&[Parts::Slowest], 0);
    let period = promised(&report.runs[0]) * 2 / 3;
    let design = with_can(period);
    PROGRAMS.par_iter().for_each(|trial| {
        let report = design.run(trial, &in_corner(Corner::Slowest));
        assert!(!report.passed, "{trial} every {period} ps");
        assert!(!report.failures.is_empty() || told(&report) != wanted(trial), "{trial}");
    });
}

/// The machine with another can. Nothing is lost by rounding the rate down to whole hertz.
fn with_can(period: i64) -> Design {
    let can = format!("OSC14 {} Hz", 1_000_000_000_000 / period);
    let clock = designs().join("clock.board");
    dunlin(&Disk::default().edit(clock, "OSC14 2.4576 MHz", &can))
}
