//! Arithmetic, parity and priority parts, against the tables of their documents.

use super::bench::Bench;

/// One line of the 181's table, active-high data: the logic function, and the two operands whose sum (with the carry
/// in) is the arithmetic one.
struct Line {
    logic: fn(u64, u64) -> u64,
    left: fn(u64, u64) -> u64,
    right: fn(u64, u64) -> u64,
}

// TI SDLS136, the table for active-high data, S = S3 S2 S1 S0 counting up. "minus 1" is written as plus 1111.
const LINES: [Line; 16] = [
    Line { logic: |a, _| !a, left: |a, _| a, right: |_, _| 0 },
    Line { logic: |a, b| !(a | b), left: |a, b| a | b, right: |_, _| 0 },
    Line { logic: |a, b| !a & b, left: |a, b| a | !b, right: |_, _| 0 },
    Line { logic: |_, _| 0, left: |_, _| 15, right: |_, _| 0 },
    Line { logic: |a, b| !(a & b), left: |a, _| a, right: |a, b| a & !b },
    Line { logic: |_, b| !b, left: |a, b| a | b, right: |a, b| a & !b },
    Line { logic: |a, b| a ^ b, left: |a, _| a, right: |_, b| !b },
    Line { logic: |a, b| a & !b, left: |a, b| a & !b, right: |_, _| 15 },
    Line { logic: |a, b| !a | b, left: |a, _| a, right: |a, b| a & b },
    Line { logic: |a, b| !(a ^ b), left: |a, _| a, right: |_, b| b },
    Line { logic: |_, b| b, left: |a, b| a | !b, right: |a, b| a & b },
    Line { logic: |a, b| a & b, left: |a, b| a & b, right: |_, _| 15 },
    Line { logic: |_, _| 15, left: |a, _| a, right: |a, _| a },
    Line { logic: |a, b| a | !b, left: |a, b| a | b, right: |a, _| a },
    Line { logic: |a, b| a | b, left: |a, b| a | !b, right: |a, _| a },
    Line { logic: |a, _| a, left: |a, _| a, right: |_, _| 15 },
];

#[test]
fn alu_181() {
    let mut bench = Bench::new("181");
    for code in 0..1u64 << 14 {
        let (a, b, s, m, cn) = (code & 15, code >> 4 & 15, code >> 8 & 15, code >> 12 & 1, code >> 13);
        bench.apply(&[("/A", a), ("/B", b), ("S", s), ("M", m), ("CN", cn)]);
        let line = &LINES[s as usize];
        let sum = ((line.left)(a, b) & 15) + ((line.right)(a, b) & 15) + (1 - cn);
        let f = if m == 1 { (line.logic)(a, b) & 15 } else { sum & 15 };
        assert_eq!(bench.level("/F"), f, "{code:014b}");
        assert_eq!(bench.pulled("AEQB"), u64::from(f == 15), "{code:014b}");
        if m == 0 {
            assert_eq!(bench.level("CN4"), u64::from(sum < 16), "{code:014b}");
            // Carry out = Y (X + carry in), as a 182 puts it together.
            let (x, y) = (bench.level("/P"), bench.level("/G"));
            assert_eq!(y & (x | (1 - cn)), sum >> 4, "{code:014b}");
        }
    }
}

// TI SDLS206, March 1988: the carries of four groups of an adder whose generates and propagates it is given.
#[test]
fn carry_look_ahead_182() {
    let mut bench = Bench::new("182");
    for code in 0..1u64 << 9 {
        let (g, p, cn) = (code & 15, code >> 4 & 15, code >> 8);
        bench.apply(&[("/G0 /G1 /G2 /G3", g ^ 15), ("/P0 /P1 /P2 /P3", p ^ 15), ("CN", cn)]);
        let carry = |from: u64, count: usize| (0..count).fold(from, |c, at| g >> at & 1 | p >> at & c & 1);
        assert_eq!(bench.level("CNX"), carry(cn, 1), "{code:09b}");
        assert_eq!(bench.level("CNY"), carry(cn, 2), "{code:09b}");
        assert_eq!(bench.level("CNZ"), carry(cn, 3), "{code:09b}");
        assert_eq!(bench.level("/G"), 1 - carry(0, 4), "{code:09b}");
        assert_eq!(bench.level("/P"), u64::from(p != 15), "{code:09b}");
    }
}

// TI SDLS168, March 1988.
#[test]
fn alus_381_and_382() {
    let (mut group, mut ripple) = (Bench::new("381"), Bench::new("382"));
    for code in 0..1u64 << 12 {
        let (a, b, s, cn) = (code & 15, code >> 4 & 15, code >> 8 & 7, code >> 11);
        let levels = [("A", a), ("B", b), ("S", s), ("CN", cn)];
        group.apply(&levels);
        ripple.apply(&levels);
        let sides = match s {
            1 => Some((!a & 15, b)),
            2 => Some((a, !b & 15)),
            3 => Some((a, b)),
            _ => None,
        };
        let f = match (s, sides) {
            (_, Some((left, right))) => (left + right + cn) & 15,
            (0, _) => 0,
            (4, _) => a ^ b,
            (5, _) => a | b,
            (6, _) => a & b,
            _ => 15,
        };
        assert_eq!((group.level("F"), ripple.level("F")), (f, f), "{code:012b}");
        // The sheet calls the side outputs don't-care in the logic modes.
        let Some((left, right)) = sides else {
            continue;
        };
        let carry = |cn: u64| (left + right + cn) >> 4;
        assert_eq!(ripple.level("CN4"), carry(cn), "{code:012b}");
        let signed = |number: u64| number as i64 - (number as i64 >> 3 << 4);
        let exact = signed(left) + signed(right) + cn as i64;
        assert_eq!(ripple.level("OVR"), u64::from(!(-8..8).contains(&exact)), "{code:012b}");
        assert_eq!(group.level("/G"), 1 - carry(0), "{code:012b}");
        let propagates = left | right;
        assert_eq!(group.level("/P"), u64::from(propagates != 15), "{code:012b}");
    }
}

// National TL/F/6379, the function table of the LS85.
#[test]
fn magnitude_comparator_85() {
    let mut bench = Bench::new("85");
    for code in 0..1u64 << 11 {
        let (a, b, cascade) = (code & 15, code >> 4 & 15, code >> 8);
        bench.apply(&[("A", a), ("B", b), ("AGTBI ALTBI AEQBI", cascade)]);
        // Bits: greater, less, equal.
        let expected = match a.cmp(&b) {
            std::cmp::Ordering::Greater => 0b001,
            std::cmp::Ordering::Less => 0b010,
            std::cmp::Ordering::Equal => match cascade {
                0b000 => 0b011,
                0b001 => 0b001,
                0b010 => 0b010,
                0b011 => 0b000,
                _ => 0b100,
            },
        };
        assert_eq!(bench.level("AGTBO ALTBO AEQBO"), expected, "{code:011b}");
    }
}

// TI SDLS008, March 1988.
#[test]
fn comparator_682() {
    let mut bench = Bench::new("682");
    for p in 0..256 {
        for q in [p, p ^ 1, p ^ 128, 255 - p, (p * 5) & 255, (p + 1) & 255] {
            bench.apply(&[("P", p), ("Q", q)]);
            let expected = (u64::from(p != q), u64::from(p <= q));
            assert_eq!((bench.level("/PEQQ"), bench.level("/PGTQ")), expected, "{p} {q}");
        }
    }
}

// Hitachi HD74HC280; the 180 from memory.
#[test]
fn parity() {
    let mut bench = Bench::new("280");
    for code in 0..1u64 << 9 {
        let odd = u64::from(code.count_ones()) & 1;
        bench.apply(&[("A B C D E F G H I", code)]);
        assert_eq!((bench.level("ODD"), bench.level("EVEN")), (odd, 1 - odd), "{code:09b}");
    }
    let mut bench = Bench::new("180");
    for code in 0..1u64 << 8 {
        for (even_in, odd_in) in [(0, 0), (0, 1), (1, 0), (1, 1)] {
            bench.apply(&[("A B C D E F G H", code), ("EVENin", even_in), ("ODDin", odd_in)]);
            let even = code.count_ones() % 2 == 0;
            let expected = match (even_in, odd_in) {
                (1, 1) => (0, 0),
                (0, 0) => (1, 1),
                (1, _) => (u64::from(even), u64::from(!even)),
                _ => (u64::from(!even), u64::from(even)),
            };
            assert_eq!((bench.level("EVEN"), bench.level("ODD")), expected, "{code:08b}");
        }
    }
}

// TI SDLS053B: the highest input that is low wins, and its number stands inverted at the outputs.
#[test]
fn priority_encoders() {
    let mut bench = Bench::new("147");
    for code in 0..1u64 << 9 {
        bench.apply(&[("I1 I2 I3 I4 I5 I6 I7 I8 I9", code)]);
        let highest = (1..=9).rev().find(|at| code >> (at - 1) & 1 == 0).unwrap_or(0);
        assert_eq!(bench.level("A B C D"), highest ^ 15, "{code:09b}");
    }
    let mut bench = Bench::new("148");
    for code in 0..1u64 << 9 {
        let (inputs, ei) = (code & 255, code >> 8);
        bench.apply(&[("I", inputs), ("EI", ei)]);
        let highest = (0..8).rev().find(|at| inputs >> at & 1 == 0);
        let expected = match (ei, highest) {
            (1, _) => (7, 1, 1),
            (_, None) => (7, 1, 0),
            (_, Some(number)) => (number ^ 7, 0, 1),
        };
        let found = (bench.level("A"), bench.level("GS"), bench.level("EO"));
        assert_eq!(found, expected, "{code:09b}");
    }
}

// TI SCLS110E.
#[test]
fn multiplexer_151() {
    let mut bench = Bench::new("151");
    for code in 0..1u64 << 12 {
        let (data, select, off) = (code & 255, code >> 8 & 7, code >> 11);
        bench.apply(&[("D", data), ("A B C", select), ("/G", off)]);
        let y = data >> select & (1 - off);
        assert_eq!((bench.level("Y"), bench.level("W")), (y & 1, 1 - (y & 1)), "{code:012b}");
    }
}
