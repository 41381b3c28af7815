//! What storage does: edges, levels, memories, and what stays known when a control is not.

use super::*;

const D_PINS: &str = "1 D in\n1 CLK in\n1 /PRE in\n1 /CLR in\n1 Q out\n1 /Q out";
const D_BODY: &str = "
    state q
    on rise CLK { q = D }
    while PRE { q = 1 }
    while CLR { q = 0 }
    Q = q or PRE
    /Q = not q or CLR
    forbid PRE and CLR \"both at once\"";

fn flip_flop() -> Bench {
    let mut bench = Bench::of(D_PINS, D_BODY);
    bench.set("D=0 CLK=0 /PRE=1 /CLR=1");
    bench
}

// Function table of the 74: TI SDLS119.
#[test]
fn a_flip_flop_follows_its_clock_and_its_overrides() {
    let mut bench = flip_flop();
    assert_eq!((bench.get("Q"), bench.get("/Q")), ("X".into(), "X".into()));
    bench.set("/CLR=0");
    assert_eq!((bench.get("Q"), bench.get("/Q")), ("0".into(), "1".into()));
    bench.set("D=1").set("CLK=1");
    assert_eq!(bench.get("Q"), "0", "the clear wins over the clock");
    bench.set("/CLR=1");
    assert_eq!(bench.get("Q"), "0", "a clock that stays high passes nothing");
    bench.set("CLK=0");
    assert_eq!(bench.get("Q"), "0", "neither does its fall");
    bench.set("CLK=1");
    assert_eq!((bench.get("Q"), bench.get("/Q")), ("1".into(), "0".into()));
    bench.set("D=0").set("CLK=0");
    assert_eq!(bench.get("Q"), "1");
    bench.set("CLK=1").set("/PRE=0");
    assert_eq!(bench.get("Q"), "1");
    assert!(bench.forbidden().is_empty());
    bench.set("/CLR=0");
    assert_eq!((bench.get("Q"), bench.get("/Q")), ("1".into(), "1".into()));
    assert_eq!(bench.forbidden(), ["both at once"]);
    bench.set("/CLR=X");
    assert!(bench.forbidden().is_empty(), "only what is certain is reported");
}

#[test]
fn data_that_moves_with_the_clock_is_in_time() {
    let mut bench = flip_flop();
    bench.set("CLK=1 D=1");
    assert_eq!(bench.get("Q"), "1");
}

#[test]
fn an_edge_that_is_not_certain_stores_only_what_is_the_same_either_way() {
    for (path, stored, data, expected) in [
        ("0X", '0', '1', "X"),
        ("0X", '1', '1', "1"),
        ("0X", '1', '0', "X"),
        ("0X", '0', '0', "0"),
        ("0X1", '0', '1', "X"),
        ("X1", '0', '1', "X"),
        ("X1", '1', '1', "1"),
        ("X0", '0', '1', "0"),
        ("1X", '0', '1', "0"),
        ("1X1", '0', '1', "X"),
        ("XX", '0', '1', "0"),
        ("01", '0', 'X', "X"),
    ] {
        let mut bench = flip_flop();
        // Stored with the overrides, while the clock takes its first level.
        bench.set(if stored == '1' { "/PRE=0" } else { "/CLR=0" });
        let first = &path[..1];
        bench.set(&format!("CLK={first} D={data}")).set("/PRE=1 /CLR=1");
        for level in path[1..].chars() {
            bench.set(&format!("CLK={level}"));
        }
        assert_eq!(bench.get("Q"), expected, "clock {path}, stored {stored}, data {data}");
    }
}

#[test]
fn an_override_that_is_not_certain_spoils_only_what_it_would_change() {
    for (stored, expected) in [("/PRE=0", "X"), ("/CLR=0", "0")] {
        let mut bench = flip_flop();
        bench.set(stored).set("/PRE=1 /CLR=1").set("/CLR=X");
        assert_eq!(bench.get("Q"), expected, "after {stored}");
        bench.set("/CLR=1");
        assert_eq!(bench.get("Q"), expected, "it stays so after {stored}");
    }
    // An edge under an unknown clear: the clear would leave 0, the edge takes D.
    for (data, expected) in [('0', "0"), ('1', "X")] {
        let mut bench = flip_flop();
        bench.set("/CLR=0").set("/CLR=X").set(&format!("D={data}")).set("CLK=1");
        assert_eq!(bench.get("Q"), expected, "data {data}");
    }
    // A certain clear behind an unknown preset.
    let mut bench = flip_flop();
    bench.set("/PRE=X /CLR=0").set("/PRE=1").set("/CLR=1");
    assert_eq!(bench.get("Q"), "0");
}

#[test]
fn a_latch_follows_while_it_is_open() {
    let pins = "1 LE in\n4 D[1..4] in\n4 Q[1..4] out";
    let mut bench = Bench::of(pins, "state q[1..4] while LE { q = D } Q = q");
    bench.set("LE=1 D=0101");
    assert_eq!(bench.get("Q"), "0101");
    bench.set("D=0X11");
    assert_eq!(bench.get("Q"), "0X11");
    bench.set("D=0011").set("LE=0").set("D=1111");
    assert_eq!(bench.get("Q"), "0011");
    bench.set("D=0101").set("LE=X");
    assert_eq!(bench.get("Q"), "0XX1", "bits that agree with D stay");
    bench.set("LE=0");
    assert_eq!(bench.get("Q"), "0XX1");
    bench.set("LE=1");
    assert_eq!(bench.get("Q"), "0101");
    bench.set("LE=0 D=1010");
    assert_eq!(bench.get("Q"), "0101", "data that moves as it closes is too late");
}

const RAM_PINS: &str = "4 A[0..3] in\n4 D[0..3] in\n1 /CE in\n1 /WE in\n4 Q[0..3] three-state";
const RAM_BODY: &str = "
    memory cells 16 x 4
    node write = CE and WE
    while write { cells at A = D }
    Q = cells at A when CE and not WE else off";

fn ram() -> Bench {
    let mut bench = Bench::of(RAM_PINS, RAM_BODY);
    bench.set("A=0000 D=0000 /CE=0 /WE=1");
    for address in 0..16 {
        bench.set(&format!("A={address:04b} D={:04b}", 15 - address)).set("/WE=0").set("/WE=1");
    }
    bench
}

#[test]
fn a_memory_reads_back_what_was_written() {
    let mut bench = ram();
    bench.set("A=0011");
    assert_eq!(bench.get("Q"), "1100");
    bench.set("D=0101").set("/WE=0");
    assert_eq!(bench.get("Q"), "ZZZZ");
    bench.set("D=0110").set("/WE=1").set("D=1111");
    assert_eq!(bench.get("Q"), "0110", "it follows the data until the write ends");
    bench.set("/CE=1");
    assert_eq!(bench.get("Q"), "ZZZZ");
    bench.set("/WE=0").set("/CE=0 /WE=1");
    assert_eq!(bench.get("Q"), "0110");
    let mut fresh = Bench::of(RAM_PINS, RAM_BODY);
    fresh.set("A=0011 /CE=0 /WE=1");
    assert_eq!(fresh.get("Q"), "XXXX");
}

#[test]
fn unknown_addresses_and_writes_spoil_only_what_they_may_hit() {
    let mut bench = ram();
    bench.set("A=001X");
    assert_eq!(bench.get("Q"), "110X", "words 2 and 3 hold 1101 and 1100");
    bench.set("D=1111").set("/WE=0").set("/WE=1").set("A=0010");
    assert_eq!(bench.get("Q"), "11X1");
    bench.set("A=0011");
    assert_eq!(bench.get("Q"), "11XX");
    bench.set("A=0001");
    assert_eq!(bench.get("Q"), "1110", "the neighbour is not hit");
    // Perhaps a write: only what agrees stays known.
    bench.set("D=1010").set("/WE=X").set("/WE=1");
    assert_eq!(bench.get("Q"), "1X10");
    // An unknown chip enable with a certain write enable is the same.
    bench.set("A=1000 D=0001 /CE=1").set("/WE=0").set("/CE=X").set("/WE=1").set("/CE=0");
    assert_eq!(bench.get("Q"), "0XX1");
}

#[test]
fn forbidden_uses_see_pins_storage_and_nodes() {
    let pins = "1 CLK in\n1 D in\n1 Q out";
    let body = "
        state q
        on rise CLK { q = D }
        node both = q and CLK
        forbid both and not D \"first\"
        forbid q \"second\"
        Q = q";
    let mut bench = Bench::of(pins, body);
    bench.set("CLK=0 D=1");
    assert_eq!(bench.part.function.forbid_count(), 2);
    assert!(bench.forbidden().is_empty(), "unknown storage is no offence");
    bench.set("CLK=1");
    assert_eq!(bench.forbidden(), ["second"]);
    bench.set("D=0");
    assert_eq!(bench.forbidden(), ["first", "second"]);
}

#[test]
fn rules_of_one_instant_all_see_the_storage_before_it() {
    let pins = "1 A in\n1 B in\n1 D in\n1 Y out\n1 Z out";
    for body in [
        "state y, z on rise A { y = D } on rise B { z = y } Y = y Z = z",
        "state y, z on rise B { z = y } on rise A { y = D } Y = y Z = z",
    ] {
        let mut bench = Bench::of(pins, body);
        bench.set("A=0 B=0 D=1").set("A=1").set("A=0 D=0");
        bench.set("A=1 B=1");
        assert_eq!((bench.get("Y"), bench.get("Z")), ("0".into(), "1".into()), "{body}");
    }
    // A word is read before another rule of the same edge writes it.
    let pins = "1 CLK in\n2 D[0..1] in\n2 Q[0..1] out";
    let body = "memory cells 2 x 2 state q[0..1]
        on rise CLK { cells at 0 = D }
        on rise CLK { q = cells at 0 }
        Q = q";
    let mut bench = Bench::of(pins, body);
    bench.set("CLK=0 D=01").set("CLK=1").set("CLK=0 D=10").set("CLK=1");
    assert_eq!(bench.get("Q"), "01");
}

#[test]
fn two_clocks_count_one_register() {
    let pins = "1 UP in\n1 DOWN in\n1 CLR in\n2 Q[0..1] out";
    let body = "state q[0..1]
        on rise UP { q = q + 1 } on rise DOWN { q = q - 1 } while CLR { q = 0 } Q = q";
    let mut bench = Bench::of(pins, body);
    bench.set("UP=1 DOWN=1 CLR=1").set("CLR=0");
    for (levels, expected) in [
        ("UP=0", "00"),
        ("UP=1", "01"),
        ("UP=0", "01"),
        ("UP=1", "10"),
        ("DOWN=0", "10"),
        ("DOWN=1", "01"),
        ("UP=X", "01"),
        ("UP=1", "XX"),
        ("CLR=1", "00"),
    ] {
        bench.set(levels);
        assert_eq!(bench.get("Q"), expected, "after {levels}");
    }
}

#[test]
fn storage_clocks_storage_to_the_end() {
    let pins = "1 CLK in\n1 CLR in\n4 Q[0..3] out";
    let body = "
        state q[0..3]
        on fall CLK { q0 = not q0 }
        each i in 0..2 {
            node carry[i] = q[i]
            on fall carry[i] { q[i+1] = not q[i+1] }
        }
        while CLR { q = 0 }
        Q = q";
    let mut bench = Bench::of(pins, body);
    bench.set("CLK=0 CLR=1").set("CLR=0");
    for count in 1..40u32 {
        bench.set("CLK=1").set("CLK=0");
        assert_eq!(bench.get("Q"), format!("{:04b}", count % 16));
    }
    bench.set("CLR=1").set("CLR=0");
    bench.set("CLK=1").set("CLK=X");
    assert_eq!(bench.get("Q"), "000X", "perhaps one");
    bench.set("CLK=0");
    assert_eq!(bench.get("Q"), "00XX", "perhaps two, for all that is known");
    // The first stage may fall at a certain edge when it is unknown.
    bench.set("CLK=1").set("CLK=0");
    assert_eq!(bench.get("Q"), "0XXX");
    let names = bench.names(bench.part.function.arcs[3]);
    assert_eq!(names, ["CLK", "CLR"], "the clock moves the last stage");
}

#[test]
fn a_counter_that_clears_itself_never_shows_its_end() {
    let pins = "1 CLK in\n1 CLR in\n4 Q[0..3] out";
    let body = "
        state q[0..3]
        on rise CLK { q = q + 1 }
        node full = q = 10
        while CLR or full { q = 0 }
        Q = q";
    let mut bench = Bench::of(pins, body);
    bench.set("CLK=0 CLR=1").set("CLR=0");
    for count in 1..25u32 {
        bench.set("CLK=1").set("CLK=0");
        assert_eq!(bench.get("Q"), format!("{:04b}", count % 10));
    }
}

#[test]
fn levels_settle_whatever_their_order() {
    // The second latch copies the first; their rules stand the wrong way round.
    let pins = "1 LE in\n1 D in\n1 Q out";
    let body = "state a, b while LE { b = a } while LE { a = D } Q = b";
    let mut bench = Bench::of(pins, body);
    bench.set("LE=1 D=1");
    assert_eq!(bench.get("Q"), "1");
    bench.set("LE=0").set("D=0");
    assert_eq!(bench.get("Q"), "1");
    bench.set("LE=1");
    assert_eq!(bench.get("Q"), "0");
}

#[test]
fn storage_that_comes_to_no_end_is_unknown() {
    let pins = "1 EN in\n1 CLR in\n1 Q out";
    let body = "state q while CLR { q = 0 } while EN { q = not q } Q = q";
    let mut bench = Bench::of(pins, body);
    bench.set("EN=0 CLR=1").set("CLR=0");
    assert_eq!(bench.get("Q"), "0");
    bench.set("EN=1");
    assert_eq!(bench.get("Q"), "X");
    let body = "state q node tick = not q on rise tick { q = not q } while CLR { q = 1 } Q = q and EN";
    let mut bench = Bench::of(pins, body);
    bench.set("EN=1 CLR=1");
    assert_eq!(bench.get("Q"), "1");
}

#[test]
fn sections_keep_to_themselves() {
    let pins = "2 [1..2]D in\n2 [1..2]CLK in\n2 /[1..2]CLR in\n2 [1..2]Q out";
    let body = "
        state q[1..2]
        each i in 1..2 {
            on rise [i]CLK { q[i] = [i]D }
            while [i]CLR { q[i] = 0 }
            [i]Q = q[i]
        }";
    let mut bench = Bench::of(pins, body);
    bench.set("1D=1 2D=1 1CLK=0 2CLK=0 /1CLR=0 /2CLR=0").set("/1CLR=1 /2CLR=1");
    bench.set("2CLK=1");
    assert_eq!((bench.get("1Q"), bench.get("2Q")), ("0".into(), "1".into()));
    bench.set("1CLK=1").set("/2CLR=0");
    assert_eq!((bench.get("1Q"), bench.get("2Q")), ("1".into(), "0".into()));
    let arcs: Vec<_> = (0..2).map(|at| bench.names(bench.part.function.arcs[at])).collect();
    assert_eq!(arcs, [["/1CLR", "1CLK"], ["/2CLR", "2CLK"]]);
}

#[test]
fn arcs_tell_what_can_move_an_output() {
    let bench = flip_flop();
    let function = &bench.part.function;
    assert_eq!(bench.names(function.arcs[0]), ["/CLR", "/PRE", "CLK"]);
    assert_eq!(bench.names(function.data[0]), ["D"]);
    assert_eq!(bench.names(function.sensitive), ["/CLR", "/PRE", "CLK"]);
    let pins = "1 LE in\n1 D in\n1 Q out";
    let latch = Bench::of(pins, "state q while LE { q = D } Q = q");
    assert_eq!(latch.names(latch.part.function.arcs[0]), ["D", "LE"]);
    let ram = ram();
    assert_eq!(ram.names(ram.part.function.arcs[0]), ["/CE", "/WE", "A0", "A1", "A2", "A3", "D0", "D1", "D2", "D3"]);
}
