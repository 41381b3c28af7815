//! Parts without storage, against plain arithmetic for every input.
//!
//! The functions are those of the function tables in the documents named at each test.

use super::bench::{Bench, Out};

/// Runs every level of some inputs, and hands the bench with the levels, the first input in the least bit.
fn every(number: &str, inputs: &str, mut check: impl FnMut(&mut Bench, u64)) {
    let mut bench = Bench::new(number);
    let width = super::bench::pins(bench.part, inputs).len();
    assert_eq!(width, bench.part.function.inputs.len(), "{number}: all inputs are driven");
    for levels in 0..1u64 << width {
        bench.apply(&[(inputs, levels)]);
        check(&mut bench, levels);
    }
}

fn bit(word: u64, at: usize) -> u64 {
    word >> at & 1
}

/// Four gates of two inputs.
fn four_gates(number: &str, gate: fn(u64, u64) -> u64) {
    every(number, "1A 1B 2A 2B 3A 3B 4A 4B", |bench, levels| {
        for (at, output) in ["1Y", "2Y", "3Y", "4Y"].into_iter().enumerate() {
            let expected = gate(bit(levels, 2 * at), bit(levels, 2 * at + 1)) & 1;
            assert_eq!(bench.level(output), expected, "{number} {output} of {levels:08b}");
        }
    });
}

// TI SDLS025D (00), SDLS027 (02), SDLS033 (08), SDLS100 (32), SDLS124 (86).
#[test]
fn quad_gates() {
    four_gates("00", |a, b| !(a & b));
    four_gates("02", |a, b| !(a | b));
    four_gates("08", |a, b| a & b);
    four_gates("32", |a, b| a | b);
    four_gates("86", |a, b| a ^ b);
}

// TI SDLS029C (04), SDLS049C (14).
#[test]
fn hex_inverters() {
    for number in ["04", "14"] {
        every(number, "1A 2A 3A 4A 5A 6A", |bench, levels| {
            assert_eq!(bench.level("1Y 2Y 3Y 4Y 5Y 6Y"), !levels & 0x3F, "{number}");
        });
    }
}

// TI SCLS083D, SDLS035 family of gates: the output is low only while all three inputs are high.
#[test]
fn triple_nand() {
    every("10", "1A 1B 1C 2A 2B 2C 3A 3B 3C", |bench, levels| {
        for (at, output) in ["1Y", "2Y", "3Y"].into_iter().enumerate() {
            let all = levels >> (3 * at) & 7 == 7;
            assert_eq!(bench.level(output), u64::from(!all), "{output} of {levels:09b}");
        }
    });
}

// TI SCLS264R (125).
#[test]
fn quad_three_state_buffer() {
    every("125", "/1OE /2OE /3OE /4OE 1A 2A 3A 4A", |bench, levels| {
        for (at, output) in ["1Y", "2Y", "3Y", "4Y"].into_iter().enumerate() {
            let expected = match bit(levels, at) {
                0 => Out::Driven(bit(levels, 4 + at)),
                _ => Out::Off,
            };
            assert_eq!(bench.out(output), expected, "{output} of {levels:08b}");
        }
    });
}

// TI SDLS014 (138), SDLS013A (139).
#[test]
fn decoders() {
    let outputs = |names: [&str; 4], select: u64, enabled: bool, bench: &mut Bench| {
        for (at, name) in names.into_iter().enumerate() {
            let low = enabled && at as u64 == select;
            assert_eq!(bench.level(name), u64::from(!low), "{name}");
        }
    };
    every("138", "A B C G1 /G2A /G2B", |bench, levels| {
        let enabled = levels >> 3 == 0b001;
        let select = levels & 7;
        outputs(["Y0", "Y1", "Y2", "Y3"], select, enabled, bench);
        outputs(["Y4", "Y5", "Y6", "Y7"], select.wrapping_sub(4), enabled, bench);
    });
    every("139", "1A 1B /1G 2A 2B /2G", |bench, levels| {
        let half = |at: u64| (levels >> (3 * at) & 3, levels >> (3 * at + 2) & 1 == 0);
        let ((first, first_on), (second, second_on)) = (half(0), half(1));
        outputs(["1Y0", "1Y1", "1Y2", "1Y3"], first, first_on, bench);
        outputs(["2Y0", "2Y1", "2Y2", "2Y3"], second, second_on, bench);
    });
}

// TI SCLS112D (153), SDLS058 (157).
#[test]
fn multiplexers() {
    let inputs = "A B /1G /2G 1C0 1C1 1C2 1C3 2C0 2C1 2C2 2C3";
    every("153", inputs, |bench, levels| {
        let select = (levels & 3) as usize;
        for (half, output) in ["1Y", "2Y"].into_iter().enumerate() {
            let on = bit(levels, 2 + half) == 0;
            let data = bit(levels, 4 + 4 * half + select);
            assert_eq!(bench.level(output), if on { data } else { 0 }, "{output} of {levels:012b}");
        }
    });
    every("157", "/A/B /G 1A 2A 3A 4A 1B 2B 3B 4B", |bench, levels| {
        let (a, b) = (levels >> 2 & 15, levels >> 6);
        let expected = match levels & 3 {
            0 => a,
            1 => b,
            _ => 0,
        };
        assert_eq!(bench.level("1Y 2Y 3Y 4Y"), expected, "{levels:010b}");
    });
}

// TI SDLS095A: S + 16 C4 = A + B + C0.
#[test]
fn four_bit_adder() {
    for number in ["283", "83"] {
        every(number, "A B C0", |bench, levels| {
            let sum = (levels & 15) + (levels >> 4 & 15) + (levels >> 8);
            assert_eq!(bench.level("S C4"), sum, "{number} {levels:09b}");
        });
    }
}

// Philips 74HC/HCT688: low only when enabled and all eight pairs match.
#[test]
fn eight_bit_comparator() {
    let mut bench = Bench::new("688");
    let mut check = |p: u64, q: u64| {
        for disabled in [0, 1] {
            bench.apply(&[("/G", disabled), ("P", p), ("Q", q)]);
            let equal = disabled == 0 && p == q;
            assert_eq!(bench.level("/PEQQ"), u64::from(!equal), "{p:08b} {q:08b}");
        }
    };
    for p in 0..256 {
        check(p, p);
        for at in 0..8 {
            check(p, p ^ 1 << at);
        }
        check(p, p.wrapping_mul(7) & 255);
        check(p, 255 - p);
    }
}

// TI SCLS130F (244), SCLS305D (541): on when the enables are low.
#[test]
fn octal_drivers() {
    let state = |on: bool, data: u64| if on { Out::Driven(data) } else { Out::Off };
    every("244", "/1OE /2OE 1A1 1A2 1A3 1A4 2A1 2A2 2A3 2A4", |bench, levels| {
        let first = state(bit(levels, 0) == 0, levels >> 2 & 15);
        let second = state(bit(levels, 1) == 0, levels >> 6);
        assert_eq!(bench.out("1Y1 1Y2 1Y3 1Y4"), first, "{levels:010b}");
        assert_eq!(bench.out("2Y1 2Y2 2Y3 2Y4"), second, "{levels:010b}");
    });
    every("541", "/OE1 /OE2 A", |bench, levels| {
        assert_eq!(bench.out("Y"), state(levels & 3 == 0, levels >> 2), "{levels:010b}");
    });
}

// TI SCLS131E: DIR high sends A to B.
#[test]
fn octal_transceiver() {
    for oe in [0, 1] {
        for dir in [0, 1] {
            let mut bench = Bench::new("245");
            for a in 0..256u64 {
                let b = ((a * 37) & 255) ^ 0x5A;
                bench.apply(&[("/OE", oe), ("DIR", dir), ("A", a), ("B", b)]);
                let (to_a, to_b) = match (oe, dir) {
                    (0, 0) => (Out::Driven(b), Out::Off),
                    (0, _) => (Out::Off, Out::Driven(a)),
                    _ => (Out::Off, Out::Off),
                };
                assert_eq!((bench.out("A"), bench.out("B")), (to_a, to_b));
            }
        }
    }
}
