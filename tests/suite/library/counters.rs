//! Counters: whole count sequences, every load value, and where in the cycle their carries stand.

use super::bench::Bench;

/// Levels that let a counter of the 160 to 163 count.
const COUNT: [(&str, u64); 5] = [("/CLR", 1), ("/LOAD", 1), ("ENP", 1), ("ENT", 1), ("CLK", 0)];

/// Loads a number at a clock.
fn load(bench: &mut Bench, number: u64) {
    bench.apply(&[("/LOAD", 0), ("A B C D", number)]).pulse("CLK").apply(&[("/LOAD", 1)]);
}

// TI SDLS060 and SCLS297D (160 to 163): RCO is high at the last count while ENT is high.
#[test]
fn synchronous_counters() {
    for (number, last, clears_at_once) in [("160", 9, true), ("161", 15, true), ("162", 9, false), ("163", 15, false)] {
        let mut bench = Bench::new(number);
        bench.apply(&COUNT);
        for start in 0..=last {
            load(&mut bench, start);
            assert_eq!(bench.level("Q"), start, "{number} takes every value");
            let mut count = start;
            for _ in 0..2 * (last + 1) {
                // Before, while and after the clock is high.
                for clk in [0, 1, 0] {
                    if clk == 1 {
                        count = if count == last { 0 } else { count + 1 };
                    }
                    bench.apply(&[("CLK", clk)]);
                    assert_eq!(bench.level("Q"), count, "{number} from {start}");
                    assert_eq!(bench.level("RCO"), u64::from(count == last), "{number} at {count}");
                }
                bench.apply(&[("ENT", 0)]);
                assert_eq!(bench.level("RCO"), 0, "{number}: ENT gates RCO at once");
                bench.pulse("CLK").apply(&[("ENT", 1), ("ENP", 0)]);
                assert_eq!(bench.level("RCO"), u64::from(count == last), "{number}: ENP does not");
                bench.pulse("CLK").apply(&[("ENP", 1)]);
                assert_eq!(bench.level("Q"), count, "{number}: either enable stops it");
            }
        }
        load(&mut bench, 6);
        bench.apply(&[("/CLR", 0)]);
        assert_eq!(bench.level("Q"), if clears_at_once { 0 } else { 6 }, "{number}");
        bench.apply(&[("CLK", 1)]);
        assert_eq!(bench.level("Q"), 0, "{number}");
        bench.apply(&[("/LOAD", 0), ("A B C D", 5)]).apply(&[("CLK", 0)]).apply(&[("CLK", 1)]);
        assert_eq!(bench.level("Q"), 0, "{number}: clear wins over load");
        bench.apply(&[("/CLR", 1)]).apply(&[("CLK", 0)]);
        bench.apply(&[("ENP", 0), ("ENT", 0)]).pulse("CLK");
        assert_eq!(bench.level("Q"), 5, "{number}: the enables do not gate the load");
    }
}

// The state diagrams of the unused codes differ; both are back in sequence within two clocks.
// Motorola FAST and LS TTL Data (LS160A), Philips 74HC/HCT160.
#[test]
fn unused_codes_of_the_decade_counters_come_back() {
    for number in ["160", "162"] {
        for code in 10..16 {
            let mut bench = Bench::new(number);
            bench.apply(&COUNT);
            load(&mut bench, code);
            assert_eq!(bench.level("Q"), code);
            bench.pulse("CLK").pulse("CLK");
            assert!(bench.level("Q") < 10, "{number} from {code}");
        }
    }
}

// TI SDLS134: /RCO is low at 15 when counting up and at 0 when counting down, while /ENT is low.
#[test]
fn up_down_counter_169() {
    let mut bench = Bench::new("169");
    for up in [1, 0] {
        for start in 0..16 {
            bench.apply(&[("/ENP", 0), ("/ENT", 0), ("U//D", up)]);
            load(&mut bench, start);
            let mut count = start;
            for _ in 0..20 {
                assert_eq!(bench.level("Q"), count);
                let terminal = count == 15 * up;
                assert_eq!(bench.level("/RCO"), u64::from(!terminal), "{count}");
                bench.apply(&[("/ENT", 1)]).pulse("CLK");
                assert_eq!((bench.level("Q"), bench.level("/RCO")), (count, 1));
                bench.apply(&[("/ENT", 0), ("/ENP", 1)]).pulse("CLK");
                assert_eq!((bench.level("Q"), bench.level("/RCO")), (count, u64::from(!terminal)));
                bench.apply(&[("/ENP", 0)]).pulse("CLK");
                count = if up == 1 { count + 1 } else { count + 15 } % 16;
            }
        }
    }
}

// TI SDLS072: MAX/MIN at the last count in either direction; /RCO is low while also /CTEN and the clock are low.
#[test]
fn up_down_counters_190_and_191() {
    for (number, last) in [("190", 9), ("191", 15)] {
        let mut bench = Bench::new(number);
        for down in [0, 1] {
            for start in 0..=last {
                bench.apply(&[("/CTEN", 0), ("D//U", down), ("CLK", 1), ("A B C D", start)]);
                bench.apply(&[("/LOAD", 0)]);
                assert_eq!(bench.level("Q"), start, "{number} loads at once");
                bench.apply(&[("/LOAD", 1)]);
                let mut count = start;
                for _ in 0..2 * last {
                    let terminal = u64::from(count == if down == 1 { 0 } else { last });
                    assert_eq!((bench.level("Q"), bench.level("MAX/MIN")), (count, terminal));
                    assert_eq!(bench.level("/RCO"), 1, "{number}: the clock is high");
                    bench.apply(&[("CLK", 0)]);
                    assert_eq!(bench.level("/RCO"), 1 - terminal, "{number} at {count}");
                    bench.apply(&[("/CTEN", 1)]);
                    assert_eq!((bench.level("/RCO"), bench.level("MAX/MIN")), (1, terminal));
                    bench.apply(&[("CLK", 1)]);
                    assert_eq!(bench.level("Q"), count, "{number} is stopped");
                    bench.apply(&[("/CTEN", 0)]).dip("CLK");
                    count = match down {
                        0 => (count + 1) % (last + 1),
                        _ => (count + last) % (last + 1),
                    };
                }
            }
        }
    }
}

// TI SDLS074: /CO is low while UP is low at the last count, /BO while DOWN is low at zero.
#[test]
fn two_clock_counters() {
    for (number, last) in [("192", 9), ("193", 15)] {
        let mut bench = Bench::new(number);
        bench.apply(&[("UP", 1), ("DOWN", 1), ("CLR", 1), ("/LOAD", 1)]).apply(&[("CLR", 0)]);
        assert_eq!(bench.level("Q"), 0);
        for (clock, up) in [("UP", true), ("DOWN", false)] {
            for start in 0..=last {
                bench.apply(&[("A B C D", start)]).apply(&[("/LOAD", 0)]);
                assert_eq!(bench.level("Q"), start, "{number} loads at once");
                bench.apply(&[("/LOAD", 1)]).apply(&[("A B C D", 3)]);
                let mut count = start;
                for _ in 0..2 * (last + 1) {
                    assert_eq!(bench.level("Q"), count, "{number} {clock} from {start}");
                    assert_eq!(bench.level("/CO /BO"), 3, "both clocks rest high");
                    bench.apply(&[(clock, 0)]);
                    assert_eq!(bench.level("Q"), count, "{number}: a fall counts nothing");
                    let carry = up && count == last;
                    let borrow = !up && count == 0;
                    assert_eq!(bench.level("/CO"), u64::from(!carry), "{number} {clock} at {count}");
                    assert_eq!(bench.level("/BO"), u64::from(!borrow), "{number} {clock} at {count}");
                    bench.apply(&[(clock, 1)]);
                    count = if up { (count + 1) % (last + 1) } else { (count + last) % (last + 1) };
                }
            }
        }
        bench.apply(&[("A B C D", 7), ("/LOAD", 0)]).apply(&[("CLR", 1)]);
        assert_eq!(bench.level("Q"), 0, "{number}: clear wins over load");
        bench.apply(&[("CLR", 0)]);
        assert_eq!(bench.level("Q"), 7);
    }
}

// TI SDLS940A (90, 93): falling edges; QA to CKB makes them count in one piece.
#[test]
fn ripple_counters_90_and_93() {
    for (number, modulus, inputs) in [("90", 10, "R01 R02 R91 R92"), ("93", 16, "R01 R02")] {
        let mut bench = Bench::new(number);
        bench.apply(&[(inputs, 3), ("CKA", 1)]).apply(&[(inputs, 0)]);
        for clock in 1..=2 * modulus {
            let before = bench.level("QA");
            bench.apply(&[("CKA", 0)]);
            // The wire from QA to CKB.
            let qa = bench.level("QA");
            assert_ne!(qa, before);
            bench.apply(&[("CKB", qa)]).apply(&[("CKA", 1)]);
            assert_eq!(bench.level("Q"), clock % modulus, "{number}");
        }
    }
    // Bi-quinary: QD to CKA, the clock at CKB.
    let mut bench = Bench::new("90");
    bench.apply(&[("R01 R02", 3), ("CKB", 1)]).apply(&[("R01 R02", 0)]);
    let mut seen = Vec::new();
    for _ in 0..10 {
        seen.push(bench.level("QB QC QD QA"));
        bench.apply(&[("CKB", 0)]);
        let qd = bench.level("QD");
        bench.apply(&[("CKA", qd)]).apply(&[("CKB", 1)]);
    }
    assert_eq!(seen, [0, 1, 2, 3, 4, 8, 9, 10, 11, 12]);
}

// TI SCHS185C (390), SCLS143D (393).
#[test]
fn dual_ripple_counters() {
    for half in ["1", "2"] {
        let q = format!("{half}QA {half}QB {half}QC {half}QD");
        let clear = format!("{half}CLR");
        let mut bench = Bench::new("393");
        let clock = format!("{half}CLK");
        bench.apply(&[(&clear, 1), (&clock, 1)]).apply(&[(&clear, 0)]);
        for count in 1..40 {
            bench.dip(&clock);
            assert_eq!(bench.level(&q), count % 16);
        }
        bench.apply(&[(&clear, 1)]).dip(&clock);
        assert_eq!(bench.level(&q), 0);

        let mut bench = Bench::new("390");
        let (cka, ckb, qa) = (format!("{half}CKA"), format!("{half}CKB"), format!("{half}QA"));
        bench.apply(&[(&clear, 1), (&cka, 1)]).apply(&[(&clear, 0)]);
        for count in 1..40 {
            bench.apply(&[(&cka, 0)]);
            let level = bench.level(&qa);
            bench.apply(&[(&ckb, level)]).apply(&[(&cka, 1)]);
            assert_eq!(bench.level(&q), count % 10);
        }
    }
}

// Nexperia 74HC_HCT4017: one output after the other; TC is high for 0 to 4.
#[test]
fn decade_counter_4017() {
    let mut bench = Bench::new("4017");
    bench.apply(&[("MR", 1)]).apply(&[("MR", 0)]);
    for clock in 0..25u64 {
        let count = clock % 10;
        assert_eq!(bench.level("Q"), 1 << count);
        assert_eq!(bench.level("TC"), u64::from(count < 5));
        if clock % 2 == 0 {
            bench.pulse("CP");
        } else {
            // The other way to clock: /CE falls while CP is high.
            bench.apply(&[("/CE", 1)]).apply(&[("CP", 1)]).apply(&[("/CE", 0)]).apply(&[("CP", 0)]);
        }
    }
}

// Fairchild DS005216 (4020), NXP 74HC_HCT4040: falling edges.
#[test]
fn long_ripple_counters() {
    let mut bench = Bench::new("4040");
    bench.apply(&[("MR", 1), ("/CP", 1)]).apply(&[("MR", 0)]);
    for count in 1..=4100u64 {
        bench.dip("/CP");
        assert_eq!(bench.level("Q"), count % 4096);
    }
    let mut bench = Bench::new("4020");
    bench.apply(&[("MR", 1), ("/CP", 1)]).apply(&[("MR", 0)]);
    for count in 1..=16400u64 {
        bench.dip("/CP");
        let brought_out = count & 1 | (count >> 3 & 0x7FF) << 1;
        assert_eq!(bench.level("Q1 Q4 Q5 Q6 Q7 Q8 Q9 Q10 Q11 Q12 Q13 Q14"), brought_out);
    }
}

// TI SCLS039C: /RCO is low at count 255; with both clocks tied the register is one count behind.
#[test]
fn counter_with_register_590() {
    let mut bench = Bench::new("590");
    bench.apply(&[("/CCLR", 0)]).apply(&[("/CCLR", 1)]);
    for count in 1..=600u64 {
        bench.apply(&[("CCLK RCLK", 3)]).apply(&[("CCLK RCLK", 0)]);
        assert_eq!(bench.level("Q"), (count - 1) % 256);
        assert_eq!(bench.level("/RCO"), u64::from(count % 256 != 255));
    }
    let count = bench.level("Q") + 1;
    bench.apply(&[("/CCKEN", 1)]).pulse("CCLK").pulse("RCLK");
    assert_eq!(bench.level("Q"), count, "the enable stops the counter, not the register");
}
