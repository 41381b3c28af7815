//! Formulas without storage, against plain arithmetic for every input.

use super::*;

#[test]
fn outputs_let_go() {
    let pins = "1 /OE in\n1 A in\n1 Y three-state\n1 Z open-drain";
    let mut bench = Bench::of(pins, "Y = A when OE else off  Z = 0 when A else off");
    for (levels, y, z) in [
        ("/OE=0 A=0", "0", "Z"),
        ("/OE=0 A=1", "1", "0"),
        ("/OE=0 A=X", "X", "?"),
        ("/OE=1 A=X", "Z", "?"),
        ("/OE=X A=1", "?", "0"),
    ] {
        bench.set(levels);
        assert_eq!((bench.get("Y"), bench.get("Z")), (y.into(), z.into()), "{levels}");
    }
}

/// All ways to make the words of a width.
fn words(width: u32) -> impl Iterator<Item = Word> {
    let all = 1 << width;
    (0..all).flat_map(move |value| {
        (0..all).filter(move |unknown| value & unknown == 0).map(move |unknown| Word { value, unknown })
    })
}

/// All ways to replace the unknown bits.
fn replaced(word: Word) -> impl Iterator<Item = Word> {
    let mut part = Some(0u64);
    std::iter::from_fn(move || {
        let now = part?;
        let next = now.wrapping_sub(word.unknown) & word.unknown;
        part = (next != 0).then_some(next);
        Some(Word::known(word.value | now))
    })
}

/// Runs a part without storage through every input, and compares with a plain function of the input word; then
/// checks for every input with unknown bits that what is known holds for all that it may mean.
fn exhaust(bench: &mut Bench, plain: impl Fn(u64) -> u64) {
    let function = bench.part.function.clone();
    assert!(function.is_combinational());
    let mut drive = |inputs: Word| {
        let nodes = function.nodes(inputs, &bench.held, &mut bench.scratch);
        let seen = SampledInputs { inputs, nodes };
        function.drive(seen, &bench.held, &mut bench.scratch)
    };
    for inputs in words(function.inputs.len() as u32) {
        let found = drive(inputs);
        if inputs.unknown == 0 {
            assert_eq!(found.value, Word::known(plain(inputs.value)), "{inputs:?}");
            continue;
        }
        for one in replaced(inputs) {
            let wrong = (found.value.value ^ plain(one.value)) & !found.value.unknown;
            assert_eq!(wrong, 0, "{inputs:?} may be {one:?}");
        }
    }
}

#[test]
fn arithmetic_is_exact_and_sound() {
    let pins = "3 A[0..2] in\n3 B[0..2] in\n1 C in\n4 S[0..3] out\n3 T[0..2] out";
    let mut bench = Bench::of(pins, "S = A + B + C  T = A - B - C");
    let inputs = |word: u64| (word & 7, word >> 3 & 7, word >> 6);
    exhaust(&mut bench, |word| {
        let (a, b, c) = inputs(word);
        (a + b + c) | (a.wrapping_sub(b).wrapping_sub(c) & 7) << 4
    });
    // A carry that both operands decide does not wait for the carry in.
    bench.set("A=100 B=100 C=X");
    assert_eq!(bench.get("S"), "100X");
    bench.set("A=011 B=100 C=X");
    assert_eq!(bench.get("S"), "XXXX");

    let mut bench = Bench::of(pins, "S = (A + B) + C  T = A - (B + C)");
    exhaust(&mut bench, |word| {
        let (a, b, c) = inputs(word);
        (a + b + c) | (a.wrapping_sub(b).wrapping_sub(c) & 7) << 4
    });
}

#[test]
fn wide_arithmetic_is_exact_and_sound() {
    let pins = "16 A[0..15] in\n16 B[0..15] in\n1 C in\n16 S[0..15] out\n1 CO out";
    let mut bench = Bench::of(pins, "(CO, S) = A + B + C");
    // Bits of the words in order of the names: A, B, C; CO, S.
    let mut numbers = 0x0123_4567_89AB_CDEF_u64;
    let mut next = || {
        // A xorshift generator (Marsaglia, 2003) is enough to spread the bits.
        numbers ^= numbers << 13;
        numbers ^= numbers >> 7;
        numbers ^= numbers << 17;
        numbers
    };
    let function = bench.part.function.clone();
    for _ in 0..2000 {
        let inputs = Word::new(next() & 0x1_FFFF_FFFF, next() & next() & next() & 0x1_FFFF_FFFF);
        let seen = SampledInputs { inputs, nodes: Word::default() };
        let found = function.drive(seen, &bench.held, &mut bench.scratch).value;
        for _ in 0..16 {
            let one = inputs.value | next() & inputs.unknown;
            let sum = (one & 0xFFFF) + (one >> 16 & 0xFFFF) + (one >> 32);
            let expected = sum << 1 & 0x1_FFFE | sum >> 16;
            assert_eq!((found.value ^ expected) & !found.unknown, 0, "{inputs:?}");
        }
    }
}

#[test]
fn comparisons_are_exact_and_sound() {
    let pins = "3 A[0..2] in\n3 B[0..2] in\n6 Y[0..5] out";
    let body = "(Y5, Y4, Y3, Y2, Y1, Y0) = (A = 5, A > 2, A > B, A < B, A != B, A = B)";
    exhaust(&mut Bench::of(pins, body), |word| {
        let (a, b) = (word & 7, word >> 3);
        let claims = [a == b, a != b, a < b, a > b, a > 2, a == 5];
        claims.iter().rev().fold(0, |word, &claim| word << 1 | u64::from(claim))
    });
    let mut bench = Bench::of(pins, body);
    bench.set("A=1XX B=0XX");
    assert_eq!(bench.get("Y"), "X11010");
}

#[test]
fn selections_and_summaries_are_exact_and_sound() {
    let pins = "2 S[0..1] in\n4 D[0..3] in\n8 Y[0..7] out";
    let body = "(Y3, Y2, Y1, Y0) = decode S
        Y4 = D at S
        Y5 = all D
        Y6 = any D
        Y7 = odd D";
    let mut bench = Bench::of(pins, body);
    // Bits of the input word: D, then S.
    exhaust(&mut bench, |word| {
        let (d, s) = (word & 15, word >> 4);
        let odd = u64::from(d.count_ones()) & 1;
        1 << s | (d >> s & 1) << 4 | u64::from(d == 15) << 5 | u64::from(d != 0) << 6 | odd << 7
    });
    bench.set("S=X1 D=1X1X");
    assert_eq!(bench.get("Y"), "X1X1X0X0");
    bench.set("S=XX D=0X00");
    assert_eq!(bench.get("Y"), "XX0XXXXX");
}

#[test]
fn choices_agree_where_both_sides_do() {
    let pins = "1 S in\n3 A[0..2] in\n3 B[0..2] in\n3 Y[0..2] out";
    let mut bench = Bench::of(pins, "Y = not A when S else B xor 0b011");
    // Bits of the input word: A, B, S.
    exhaust(&mut bench, |word| {
        let (a, b, s) = (word & 7, word >> 3 & 7, word >> 6);
        if s == 1 { !a & 7 } else { b ^ 3 }
    });
    bench.set("S=X A=110 B=011");
    assert_eq!(bench.get("Y"), "00X");
}

#[test]
fn a_blank_memory_and_its_wide_words() {
    let pins = "2 A[0..1] in\n12 Q[0..11] out";
    let mut bench = Bench::of(pins, "memory rom 4 x 12 blank 0xFFF  Q = rom at A");
    bench.set("A=XX");
    assert_eq!(bench.get("Q"), "111111111111");
    bench.held.memories[0].set(2, Word::known(0xA05));
    bench.set("A=10");
    assert_eq!(bench.get("Q"), "101000000101");
    bench.set("A=X0");
    assert_eq!(bench.get("Q"), "1X1XXXXXX1X1");
}

#[test]
fn nodes_read_nodes_before_them() {
    let pins = "4 A[0..3] in\n2 Y[0..1] out";
    let body = "
        node low[0..1] = A[0..1]
        node sum[0..1] = low + A[2..3]
        node wrong = sum = 3
        Y = sum when not wrong else 0";
    exhaust(&mut Bench::of(pins, body), |a| {
        let sum = ((a & 3) + (a >> 2)) & 3;
        if sum == 3 { 0 } else { sum }
    });
}
