//! Flip-flops that a clock pulse triggers, beside those that its edge triggers.

use super::bench::{Run, board, ns};

/// TI SDLS121: in the 7476 J and K count as long as the clock is high; in the 74LS76A only at its falling edge.
#[test]
fn a_j_pulse_under_a_high_clock_is_caught_in_the_plain_family_only() {
    for (number, caught) in [("7476", "1"), ("5476", "1"), ("74LS76", "0")] {
        let circuit = board(
            "",
            &format!(
                "feed U1 from VCC GND
                 U1 {number} {{ 1CLK = clk  1J = j  1K = GND  /1PRE = VCC  /1CLR = clr  1Q = q
                     2CLK = GND  2J = GND  2K = GND  /2PRE = VCC  /2CLR = VCC }}"
            ),
        );
        let mut run = Run::new(&circuit, &["clk", "j", "clr"]);
        run.set("clk=0 j=0 clr=0").run(ns(200)).set("clr=1").run(ns(200));
        run.set("clk=1").run(ns(100)).set("j=1").run(ns(50)).set("j=0").run(ns(100));
        assert_eq!(run.levels("q"), "0", "{number}: nothing moves while the clock is high");
        run.set("clk=0").run(ns(200));
        assert_eq!(run.levels("q"), caught, "{number}");
        assert_eq!(run.violations(), Vec::<String>::new());
        // A pulse while the clock is low does nothing in either.
        run.set("clr=0").run(ns(100)).set("clr=1").run(ns(100));
        run.set("j=1").run(ns(50)).set("j=0").run(ns(50)).set("clk=1").run(ns(100));
        run.set("clk=0").run(ns(200));
        assert_eq!(run.levels("q"), "0", "{number}");
    }
}
