//! Latches and registers, against a plain model under random levels.

use super::bench::{Bench, Out};
use super::random;

/// How many changes each part sees.
const CHANGES: usize = 4000;

/// Drives the named inputs at random and compares the output with a model after each change. A model gets the levels
/// before and after, in the order of the names, and what it stores.
fn follow<const N: usize>(
    number: &str,
    names: [&str; N],
    output: &str,
    start: &[(&str, u64)],
    mut model: impl FnMut([u64; N], [u64; N], u64) -> (u64, Out),
) {
    let mut bench = Bench::new(number);
    let mut next = random(number.len() as u64);
    let mask = |name: &&str| (1u64 << super::bench::pins(bench.part, name).len()) - 1;
    let masks: Vec<u64> = names.iter().map(mask).collect();
    bench.apply(start);
    let mut levels = names.map(|name| {
        let given = start.iter().find(|(other, _)| *other == name);
        given.map_or(0, |&(_, level)| level)
    });
    // The first state is whatever the start leaves behind: it must clear or load.
    let mut stored = 0;
    for change in 0..CHANGES {
        let before = levels;
        // One input, now and then two at once.
        for _ in 0..1 + next() % 5 / 4 {
            let at = (next() % N as u64) as usize;
            levels[at] = if masks[at] == 1 { 1 - levels[at] } else { next() & masks[at] };
        }
        let changed: Vec<(&str, u64)> = names.into_iter().zip(levels).collect();
        bench.apply(&changed);
        let expected;
        (stored, expected) = model(before, levels, stored);
        assert_eq!(bench.out(output), expected, "{number}, change {change}: {before:?} to {levels:?}");
    }
}

fn rises(before: u64, now: u64) -> bool {
    before == 0 && now == 1
}

fn driven(on: bool, value: u64) -> Out {
    if on { Out::Driven(value) } else { Out::Off }
}

// TI SDLS165B (373, 374), SCLS148F (574), SCLS147F (573).
#[test]
fn octal_registers_and_latches() {
    for (number, inverted) in [("374", 0), ("574", 0), ("534", 255), ("564", 255)] {
        let q = if inverted == 0 { "Q" } else { "/Q" };
        let start = [("CLK", 1)];
        follow(number, ["/OE", "CLK", "D"], q, &start, |[_, was, _], [oe, clk, d], q| {
            let q = if rises(was, clk) { d } else { q };
            (q, driven(oe == 0, q ^ inverted))
        });
    }
    for (number, inverted) in [("373", 0), ("573", 0), ("533", 255), ("563", 255)] {
        let q = if inverted == 0 { "Q" } else { "/Q" };
        follow(number, ["/OE", "LE", "D"], q, &[("LE", 1)], |_, [oe, le, d], q| {
            let q = if le == 1 { d } else { q };
            (q, driven(oe == 0, q ^ inverted))
        });
    }
}

// TI SCLS136F (273), SDLS068A (174, 175).
#[test]
fn registers_with_clear() {
    for number in ["273", "174", "175"] {
        let start = [("/CLR", 0)];
        follow(number, ["/CLR", "CLK", "D"], "Q", &start, |[_, was, _], [clr, clk, d], q| {
            let q = match (clr, rises(was, clk)) {
                (0, _) => 0,
                (_, true) => d,
                _ => q,
            };
            (q, Out::Driven(q))
        });
    }
}

// TI SDLS167: the enable is looked at when the clock rises.
#[test]
fn registers_with_enable() {
    for number in ["377", "378", "379"] {
        let start = [("D", 0)];
        let mut known = false;
        follow(number, ["/CLKEN", "CLK", "D"], "Q", &start, |[_, was, _], [off, clk, d], q| {
            let takes = rises(was, clk) && off == 0;
            known |= takes;
            let q = if takes { d } else { q };
            (q, if known { Out::Driven(q) } else { Out::Unclear })
        });
    }
}

// TI SDLS067A.
#[test]
fn quad_register_173() {
    let names = ["M", "N", "/G1", "/G2", "CLK", "CLR", "D"];
    follow("173", names, "Q", &[("CLR", 1)], |before, [m, n, g1, g2, clk, clr, d], q| {
        let q = match (clr, rises(before[4], clk) && g1 == 0 && g2 == 0) {
            (1, _) => 0,
            (_, true) => d,
            _ => q,
        };
        (q, driven(m == 0 && n == 0, q))
    });
}

// Philips 74HC/HCT75, December 1990.
#[test]
fn quad_latch_75() {
    let names = ["1C2C", "3C4C", "1D 2D 3D 4D"];
    let start = [("1C2C", 1), ("3C4C", 1)];
    follow("75", names, "1Q 2Q 3Q 4Q", &start, |_, [low, high, d], q| {
        let mask = (3 * low) | (12 * high);
        let q = d & mask | q & !mask;
        (q, Out::Driven(q))
    });
}

// Motorola FAST and LS TTL Data (LS259).
#[test]
fn addressable_latch_259() {
    let start = [("/CLR", 0), ("/G", 1)];
    follow("259", ["/CLR", "/G", "S", "D"], "Q", &start, |_, [clr, g, s, d], q| {
        let kept = if clr == 0 { 0 } else { q };
        let q = if g == 0 { kept & !(1 << s) | d << s } else { kept };
        (q, Out::Driven(q))
    });
}

// TI SDLS119 (74): each half by itself.
#[test]
fn flip_flop_74() {
    for half in ["1", "2"] {
        let names = ["/PRE", "/CLR", "CLK", "D"].map(|name| match name.strip_prefix('/') {
            Some(rest) => format!("/{half}{rest}"),
            None => format!("{half}{name}"),
        });
        let [pre, clr, clk, d] = names.each_ref().map(String::as_str);
        let q = format!("{half}Q");
        let start = [(pre, 1), (clr, 0)];
        follow("74", [pre, clr, clk, d], &q, &start, |before, [pre, clr, clk, d], q| {
            let q = match (pre, clr) {
                (_, 0) => 0,
                (0, _) => 1,
                _ if rises(before[2], clk) => d,
                _ => q,
            };
            // Both overrides at once: both outputs are high.
            (q, Out::Driven(q | (1 - pre)))
        });
    }
}

// TI SDLS121 (76), SDLS036 (107), SDLS011 (112), SCHS134E (73), SDAS198B (109).
#[test]
fn flip_flops_with_j_and_k() {
    for (number, preset, edge, k_low) in
        [("73", false, 0, 0), ("76", true, 0, 0), ("107", false, 0, 0), ("109", true, 1, 1), ("112", true, 0, 0)]
    {
        for half in ["1", "2"] {
            let k = if k_low == 1 { format!("/{half}K") } else { format!("{half}K") };
            let j = format!("{half}J");
            let (clr, clk) = (format!("/{half}CLR"), format!("{half}CLK"));
            let (pre, q) = (format!("/{half}PRE"), format!("{half}Q"));
            let mut start = vec![(clr.as_str(), 0)];
            if preset {
                start.push((pre.as_str(), 1));
            }
            let names = [clr.as_str(), clk.as_str(), j.as_str(), k.as_str()];
            follow(number, names, &q, &start, |before, [clr, clk, j, k], q| {
                let ticks = before[1] != clk && clk == edge;
                let q = match (clr, ticks, j, k ^ k_low) {
                    (0, ..) => 0,
                    (_, false, ..) | (_, _, 0, 0) => q,
                    (_, _, 1, 1) => 1 - q,
                    (_, _, j, _) => j,
                };
                (q, Out::Driven(q))
            });
        }
    }
}

// TI SDLS121 (7476), SDLS036 (74107): pulse-triggered. While the clock is high the master takes a J when the slave is
// low, a K when it is high; the slave follows when the clock falls.
#[test]
fn flip_flops_with_master_and_slave() {
    for (number, preset) in [("7473", false), ("7476", true), ("74107", false)] {
        for half in ["1", "2"] {
            let names = ["/CLR", "CLK", "J", "K", "/PRE"].map(|name| match name.strip_prefix('/') {
                Some(rest) => format!("/{half}{rest}"),
                None => format!("{half}{name}"),
            });
            let [clr, clk, j, k, pre] = names.each_ref().map(String::as_str);
            let q = format!("{half}Q");
            let mut start = vec![(clr, 0)];
            if preset {
                start.push((pre, 1));
            }
            let mut master = 0;
            follow(number, [clr, clk, j, k], &q, &start, |before, [clr, clk, j, k], slave| {
                let slave = if before[1] == 1 && clk == 0 { master } else { slave };
                let slave = slave & clr;
                match (clr, clk) {
                    (0, _) | (_, 0) => master = slave,
                    _ if slave == 0 => master |= j,
                    _ => master &= 1 - k,
                }
                (slave, Out::Driven(slave))
            });
        }
    }
}
