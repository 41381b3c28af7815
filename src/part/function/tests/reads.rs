//! What outputs depend on, bit by bit. Expected values follow from the formulas.

use super::*;

/// The names of the inputs that the level of an output depends on, and those that its letting go does.
fn inputs_of<'b>(bench: &'b Bench, output: &str) -> [Vec<&'b str>; 2] {
    let pins = bench.part.pins_called(output).expect("a pin");
    let function = &bench.part.function;
    let mut outputs = function.outputs.iter();
    let bit = outputs.position(|pin| *pin == pins[0]);
    let bit = bit.expect("an output");
    [function.reads_of_value(bit), function.reads_of_off(bit)].map(|reads| bench.names(reads.inputs))
}

const PINS: &str = "8 D[1..8] in
                    1 CLK in
                    1 /OE in
                    8 Q[1..8] three-state";

#[test]
fn each_bit_depends_on_its_own_inputs_only() {
    let bench = Bench::of(PINS, "Q = D when OE else off");
    assert_eq!(inputs_of(&bench, "Q3"), [vec!["/OE", "D3"], vec!["/OE"]]);
}

#[test]
fn a_register_shows_its_own_bit() {
    let bench = Bench::of(PINS, "state q[1..8]  on rise CLK { q = D }  Q = q when OE else off");
    let function = &bench.part.function;
    for bit in 0..8 {
        assert_eq!(function.reads_of_value(bit).states, 1 << bit);
        assert_eq!(bench.names(function.reads_of_value(bit).inputs), ["/OE"]);
        assert_eq!(bench.names(function.reads_of_off(bit).inputs), ["/OE"]);
    }
    assert_eq!(bench.names(function.clock_inputs()), ["CLK"]);
}

#[test]
fn a_carry_comes_from_below() {
    let pins = "4 A[0..3] in
                4 B[0..3] in
                4 S[0..3] out";
    let bench = Bench::of(pins, "S = A + B");
    let [value, off] = inputs_of(&bench, "S1");
    assert_eq!(value, ["A0", "A1", "B0", "B1"]);
    assert!(off.is_empty());
}

#[test]
fn nodes_are_followed_and_memories_are_told() {
    let pins = "2 A[0..1] in
                1 /CE in
                1 /WE in
                4 DQ[0..3] in-out";
    let body = "memory cells 4 x 4
                node write = CE and WE
                while write { cells at A = DQ }
                DQ = cells at A when CE and not write else off";
    let bench = Bench::of(pins, body);
    let function = &bench.part.function;
    assert!(function.reads_of_value(2).memory);
    let off = function.reads_of_off(2);
    assert!(!off.memory);
    assert_eq!(bench.names(off.inputs), ["/CE", "/WE"]);
    assert_eq!(bench.names(function.write_inputs()), ["/CE", "/WE"]);
}
