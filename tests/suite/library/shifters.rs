//! Shift registers: every bit goes its way, and the controls do what is published.

use super::bench::{Bench, Out};
use super::random;

// TI SCLS115F: QA = A and B at each edge.
#[test]
fn serial_in_164() {
    let mut bench = Bench::new("164");
    bench.apply(&[("/CLR", 0)]).apply(&[("/CLR", 1)]);
    let (mut next, mut model) = (random(1), 0);
    for _ in 0..200 {
        let (a, b) = (next() & 1, next() & 1);
        bench.apply(&[("A", a), ("B", b)]).pulse("CLK");
        model = model << 1 & 255 | a & b;
        assert_eq!(bench.level("Q"), model);
    }
    bench.apply(&[("/CLR", 0)]).pulse("CLK");
    assert_eq!(bench.level("Q"), 0);
}

// TI SCLS116E (165): H comes out first, SER after seven more edges; either clock input moves it.
#[test]
fn parallel_in_165() {
    let mut bench = Bench::new("165");
    for data in 0..256u64 {
        let data_in = "A B C D E F G H";
        bench.apply(&[(data_in, data), ("SH//LD", 0), ("CLK", 0), ("CLKINH", 0)]);
        assert_eq!(bench.level("QH /QH"), if data >> 7 == 1 { 1 } else { 2 }, "it loads at once");
        bench.apply(&[("SH//LD", 1)]);
        bench.apply(&[(data_in, 255 - data), ("SER", 1)]);
        for at in (0..8).rev() {
            assert_eq!(bench.level("QH"), data >> at & 1, "{data:08b}");
            if at % 2 == 0 {
                bench.pulse("CLK");
            } else {
                bench.pulse("CLKINH");
            }
        }
        assert_eq!(bench.level("QH"), 1, "the serial input follows");
        bench.apply(&[("SER", 0), ("CLK", 1)]).apply(&[("CLKINH", 1)]);
        bench.apply(&[("CLK", 0)]).apply(&[("CLK", 1)]);
        assert_eq!(bench.level("QH"), 1, "CLKINH high stops it");
    }
}

// Philips 74HC/HCT166: it loads and shifts at the clock.
#[test]
fn parallel_in_166() {
    let mut bench = Bench::new("166");
    bench.apply(&[("/CLR", 0)]).apply(&[("/CLR", 1)]);
    assert_eq!(bench.level("QH"), 0);
    for data in 0..256u64 {
        bench.apply(&[("A B C D E F G H", data), ("SH//LD", 0)]).pulse("CLK");
        bench.apply(&[("SH//LD", 1), ("SER", 1)]);
        for at in (0..8).rev() {
            assert_eq!(bench.level("QH"), data >> at & 1, "{data:08b}");
            bench.pulse(if at % 2 == 0 { "CLK" } else { "CLKINH" });
        }
        assert_eq!(bench.level("QH"), 1);
    }
    bench.apply(&[("/CLR", 0)]);
    assert_eq!(bench.level("QH"), 0, "at once");
}

/// One step of a register that shifts both ways; bit 0 is QA.
fn universal(width: u32, word: u64, mode: u64, right: u64, left: u64, data: u64) -> u64 {
    let mask = (1 << width) - 1;
    match mode {
        0 => word,
        1 => word << 1 & mask | right,
        2 => word >> 1 | left << (width - 1),
        _ => data,
    }
}

// TI SDLS075 (194), SDLS156 (299): S1 S0 = hold, right (towards QD), left, load.
#[test]
fn universal_registers() {
    let mut bench = Bench::new("194");
    bench.apply(&[("/CLR", 0)]).apply(&[("/CLR", 1)]);
    let (mut next, mut model) = (random(2), 0);
    for _ in 0..1000 {
        let (mode, right, left, data) = (next() & 3, next() & 1, next() & 1, next() & 15);
        bench.apply(&[("S0 S1", mode), ("SRSER", right), ("SLSER", left), ("A B C D", data)]);
        bench.pulse("CLK");
        model = universal(4, model, mode, right, left, data);
        assert_eq!(bench.level("Q"), model, "mode {mode}");
    }
    let mut bench = Bench::new("299");
    bench.apply(&[("/CLR", 0)]).apply(&[("/CLR", 1)]);
    let mut model = 0;
    for _ in 0..1000 {
        let (mode, right, left, data) = (next() & 3, next() & 1, next() & 1, next() & 255);
        let oe = next() & 3;
        bench.apply(&[("S0 S1", mode), ("SR", right), ("SL", left), ("IO", data), ("/OE1 /OE2", oe)]);
        let on = oe == 0 && mode != 3;
        assert_eq!(bench.out("IO"), if on { Out::Driven(model) } else { Out::Off });
        bench.pulse("CLK");
        model = universal(8, model, mode, right, left, data);
        assert_eq!((bench.level("QAS"), bench.level("QHS")), (model & 1, model >> 7));
    }
}

// ON Semiconductor SN74LS195A/D: the first stage is a J-/K flip-flop.
#[test]
fn first_stage_of_the_195() {
    let mut bench = Bench::new("195");
    bench.apply(&[("/CLR", 0)]).apply(&[("/CLR", 1)]);
    let (mut next, mut model) = (random(3), 0);
    for _ in 0..1000 {
        let (j, k, shift, data) = (next() & 1, next() & 1, u64::from(next() % 4 != 0), next() & 15);
        bench.apply(&[("J", j), ("/K", k), ("SH//LD", shift), ("A B C D", data)]).pulse("CLK");
        let first = match (j, k) {
            (0, 1) => model & 1,
            (1, 0) => 1 - (model & 1),
            (j, _) => j,
        };
        model = if shift == 1 { model << 1 & 15 | first } else { data };
        assert_eq!((bench.level("Q"), bench.level("/QD")), (model, 1 - (model >> 3)));
    }
}

// TI SCLS041B: the register follows the shift register one pulse behind when both clocks are tied.
#[test]
fn shift_register_with_output_register_595() {
    let mut bench = Bench::new("595");
    bench.apply(&[("/SRCLR", 0)]).pulse("RCLK").apply(&[("/SRCLR", 1)]);
    let (mut next, mut shift, mut register) = (random(4), 0u64, 0u64);
    for _ in 0..2000 {
        let (ser, how, off) = (next() & 1, next() % 4, next() & 1);
        bench.apply(&[("SER", ser), ("/OE", off)]);
        let shifted = shift << 1 & 255 | ser;
        match how {
            0 => {
                bench.pulse("SRCLK");
                shift = shifted;
            }
            1 => {
                bench.pulse("RCLK");
                register = shift;
            }
            2 => {
                bench.apply(&[("SRCLK RCLK", 3)]).apply(&[("SRCLK RCLK", 0)]);
                (shift, register) = (shifted, shift);
            }
            _ if next() % 8 == 0 => {
                bench.apply(&[("/SRCLR", 0)]).apply(&[("/SRCLR", 1)]);
                shift = 0;
            }
            _ => {}
        }
        let expected = if off == 0 { Out::Driven(register) } else { Out::Off };
        assert_eq!((bench.out("Q"), bench.level("QHS")), (expected, shift >> 7));
    }
}

// Philips 74HC/HCT597: the input register goes to the shift register while /SRLOAD is low.
#[test]
fn shift_register_with_input_register_597() {
    let mut bench = Bench::new("597");
    bench.apply(&[("/SRCLR", 1), ("/SRLOAD", 1)]);
    for data in 0..256u64 {
        bench.apply(&[("A B C D E F G H", data)]).pulse("RCLK");
        bench.apply(&[("A B C D E F G H", 255 - data)]);
        bench.apply(&[("/SRLOAD", 0)]).apply(&[("/SRLOAD", 1), ("SER", 1)]);
        for at in (0..8).rev() {
            assert_eq!(bench.level("QHS"), data >> at & 1, "{data:08b}");
            bench.pulse("SRCLK");
        }
        assert_eq!(bench.level("QHS"), 1);
        // New data go straight through while /SRLOAD is low.
        bench.apply(&[("/SRLOAD", 0)]).pulse("RCLK");
        assert_eq!(bench.level("QHS"), 1 - (data >> 7));
        bench.apply(&[("/SRLOAD", 1)]).apply(&[("/SRCLR", 0)]).apply(&[("/SRCLR", 1)]);
        assert_eq!(bench.level("QHS"), 0);
    }
}

// TI SCHS211: QS2 follows QS1 at the next fall of the clock.
#[test]
fn shift_register_with_latches_4094() {
    let mut bench = Bench::new("4094");
    bench.apply(&[("OE", 1), ("STR", 1)]);
    let (mut next, mut shift, mut latch) = (random(5), 0u64, 0u64);
    for clock in 0..1000 {
        let (data, strobe) = (next() & 1, u64::from(clock < 8) | next() & 1);
        bench.apply(&[("D", data), ("STR", strobe)]);
        latch = if strobe == 1 { shift } else { latch };
        let late = shift >> 7;
        bench.apply(&[("CP", 1)]);
        shift = shift << 1 & 255 | data;
        latch = if strobe == 1 { shift } else { latch };
        if clock >= 9 {
            assert_eq!((bench.level("Q"), bench.level("QS1")), (latch, shift >> 7));
            assert_eq!(bench.level("QS2"), late, "still the bit before");
        }
        bench.apply(&[("CP", 0)]);
        if clock >= 9 {
            assert_eq!(bench.level("QS2"), shift >> 7);
        }
    }
    bench.apply(&[("OE", 0)]);
    assert_eq!(bench.out("Q"), Out::Off);
}
