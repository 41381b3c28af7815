//! Causes, from the end of a long run back to its beginning.

use super::*;
use crate::engine::bench::{circuit, settings};
use coldboard::circuit::{Circuit, NetKey};
use coldboard::language::ast::{Corner, PowerUp};
use coldboard::logic::Level;
use coldboard::run::NullSink;
use coldboard::run::Step;
use coldboard::simulate::Machine;
use rand_chacha::ChaCha8Rng;
use rand_core::{Rng, SeedableRng};

/// Holds a chain against the counter: bit b, when n clocks were counted.
#[track_caller]
fn assert_counted(steps: &[(i64, String, String, String)], bit: u32, n: i64) {
    let at = moved(bit, n);
    let [(time, net, level, text), cause] = steps else { panic!("two steps: {steps:?}") };
    // Clock to output is 31 ns at most at 5 V (SCHS154D gives 47 ns at 4.5 V), so that it comes before the clock falls.
    let late = time - rise(at);
    assert!(0 < late && late < PERIOD / 2, "{late} ps: {steps:?}");
    assert_eq!(*net, format!("q{bit}"));
    assert_eq!(*level, (at >> bit & 1).to_string(), "{steps:?}");
    let owner = format!("U1.Q{} (74HC163), moved by CLK", ["A", "B", "C", "D",][bit as usize]);
    assert_eq!(*text, owner);
    assert_eq!(*cause, the_clock(at));
}

/// The last step of a chain that begins with the clock.
fn the_clock(n: i64) -> (i64, String, String, String) {
    let texts = ["clk", "1", "the stimulus on clk"].map(str::to_owned);
    let [net, level, text] = texts;
    (rise(n), net, level, text)
}

/// Holds a chain against the flip-flop that took q1 behind the third clock and no more.
#[track_caller]
fn assert_loaded(steps: &[(i64, String, String, String)]) {
    let [(time, net, level, text), (since, data, one, _), cause] = steps else { panic!("three steps: {steps:?}") };
    assert!((behind(3) + 1..behind(3) + PERIOD).contains(time), "{steps:?}");
    assert_eq!((net.as_str(), level.as_str()), ("r", "1"));
    assert_eq!(text, "U2.1Q (74HC74), moved by 1CLK, from 1D");
    assert!((rise(2) + 1..behind(2)).contains(since), "{steps:?}");
    assert_eq!((data.as_str(), one.as_str()), ("q1", "1"));
    assert_eq!(*cause, the_clock(2));
}

#[test]
fn a_run_that_fails_at_its_end_tells_causes_from_all_of_it() {
    // 299,999 is 15 mod 16.
    let end =
        "    expect q = 0\n    expect r is low\n    expect held is high\n    expect up is high\n    expect y is high";
    let folder = folder(&[("fails", &worked(end))]);
    let run = ask(folder.path(), "run long.board --json");
    assert_eq!(run.code, 1, "{}", run.err);
    let report = &reports(&run)[0];
    assert_eq!(report["clocks"], CLOCKS + 2);
    assert_eq!(ps(&report["end"]), behind(CLOCKS));
    let failures = report["failures"].as_array().expect("failures");
    assert_eq!(failures.len(), 5, "{}", run.out);
    let chains: Vec<_> = failures.iter().map(|one| chain(&one["causes"])).collect();
    let bit = chains[0][0].1.strip_prefix('q').expect("a bit of the counter");
    assert_counted(&chains[0], bit.parse().expect("a number"), CLOCKS);
    assert_loaded(&chains[1]);
    // Held clear since power-up.
    let (time, net, level, _) = &chains[2][0];
    assert_eq!((*time, net.as_str(), level.as_str()), (0, "held", "0"));
    // A pull shows when the contact opens, or after the time that it takes to lift some pF: less than 1 us.
    let [(up, ..), (raw, net, _, text)] = chains[3].as_slice() else { panic!("two steps: {:?}", chains[3]) };
    let opened = behind(OPENED);
    assert!(opened <= *raw && raw < up && *up < opened + 1_000_000, "{:?}", chains[3]);
    assert_eq!((net.as_str(), text.as_str()), ("raw", "R1 pulls it to VCC"));
    let (time, net, _, text) = chains[4].last().expect("a cause");
    assert_eq!((*time, net.as_str(), text.as_str()), (0, "free", "nobody drives it"));

    let little = ask(folder.path(), "run long.board --json --memory 16MB");
    assert_eq!((little.code, &little.out), (run.code, &run.out));
}

#[test]
fn a_question_for_any_time_is_answered() {
    let folder = folder(&[("long", &worked("    expect q = 15"))]);
    // While it is cleared, while the switch is closed, and at the last moment.
    for (n, bit, memory) in [(5, 2, "512MB"), (CLOSED + 12_345, 3, "16MB"), (CLOCKS, 1, "16MB")] {
        let why = format!("run long.board --json --why q{bit}@{}ps --memory {memory}", behind(n));
        let run = ask(folder.path(), &why);
        assert_eq!(run.code, 0, "{}{}", run.out, run.err);
        assert_counted(&chain(&reports(&run)[0]["why"]), bit, n);
    }
}

/// A counter, and eight flip-flops of which each takes what the one before it took 10,000 clocks earlier.
fn relay() -> String {
    let each = |line: &dyn Fn(i64) -> String| (1..=RELAYED).map(line).collect::<String>();
    let chips = each(&|at| {
        format!(
            "    U{at} 74HC74 {{ 1D = r{}  1CLK = s{at}  1Q = r{at}  /1PRE = VCC  /1CLR = VCC  /2PRE = VCC  /2CLR = VCC  2D = GND  2CLK = GND  /1Q = open  2Q = open  /2Q = open }}\n",
            at - 1
        )
    });
    let pins = each(&|at| format!("  {} s{at}", at + 4));
    let low = each(&|at| format!("    set s{at} = low\n"));
    let taken = each(&|at| format!("    set s{at} = high\n    run for 10000 clocks\n"));
    format!(
        "board relay {{
    rail VCC 5 V
    rail GND
    feed U0..U{RELAYED} from VCC GND
    connector P header-1x12 {{ 1 VCC  2 GND  3 clk  4 /reset{pins} }}
    U0 74HC163 {{ CLK = clk  /CLR = /reset  /LOAD = VCC  ENP = VCC  ENT = VCC  [A..D] = GND  QA = r0  Q[B..D] = open  RCO = open }}
{chips}    C[0..{RELAYED}] capacitor 100 nF decouples U0..U{RELAYED}
}}
trial passes_on on relay {{
    clock clk 10 MHz
{low}    drive /reset low for 2 clocks
    set /reset = high
    run for 1 clock
{taken}    expect r{RELAYED} is low
}}
"
    )
}

const RELAYED: i64 = 8;

#[test]
fn a_chain_goes_back_through_the_whole_run_step_by_step() {
    let folder = tempfile::tempdir().expect("a folder");
    fs::write(folder.path().join("relay.board"), relay()).expect("written");
    let run = ask(folder.path(), "run relay.board --json --memory 16MB");
    assert_eq!(run.code, 1, "{}{}", run.out, run.err);
    let steps = chain(&reports(&run)[0]["failures"][0]["causes"]);
    assert_eq!(steps.len() as i64, RELAYED + 2, "{steps:?}");
    for (at, (time, net, level, text)) in (1..=RELAYED).rev().zip(&steps) {
        let strobe = behind(1) + (at - 1) * 10_000 * PERIOD;
        assert!((strobe + 1..strobe + PERIOD / 2).contains(time), "{steps:?}");
        assert_eq!((net, level.as_str()), (&format!("r{at}"), "1"));
        let owner = format!("U{at}.1Q (74HC74), moved by 1CLK, from 1D");
        assert_eq!(*text, owner);
    }
    // The first clock that counts.
    let (time, net, level, _) = &steps[RELAYED as usize];
    assert!((rise(1) + 1..behind(1)).contains(time), "{steps:?}");
    assert_eq!((net.as_str(), level.as_str()), ("r0", "1"));
    assert_eq!(steps[RELAYED as usize + 1], the_clock(1));
}

/// What a machine keeps, and who gives its clock.
#[derive(Clone, Copy, Debug)]
struct Room {
    bytes: usize,
    /// Events between two checkpoints.
    every: u64,
    /// True when each half of a clock is a hand of its own.
    by_hand: bool,
}

/// A machine on the board that has counted so many clocks, with the switch worked on the way as in the trial.
fn counted(circuit: &Circuit, room: Room, clocks: i64) -> Machine<'_> {
    let net = |path: &str| circuit.net(path).expect(path);
    let [clk, reset, strobe, hold] = ["clk", "/reset", "strobe", "/hold"].map(net);
    let stimuli = [clk, reset, strobe, hold];
    let mut machine = Machine::new(circuit, settings(Corner::Slowest, PowerUp::Unknown), &stimuli);
    machine.keep_past_every(room.bytes, room.every);
    let switch = circuit.discretes.iter().find(|(_, one)| one.path == "SW1");
    let (switch, _) = switch.expect("a switch");
    let half = PERIOD / 2;
    if room.by_hand {
        machine.set(clk, Level::Zero);
    } else {
        let half = Time::from_ps(half);
        machine.clock(clk, half, half);
    }
    for low in [strobe, hold, reset] {
        machine.set(low, Level::Zero);
    }
    let to = |machine: &mut Machine<'_>, time: i64| {
        while room.by_hand && machine.now().ps() < time {
            let now = machine.now().ps() + half;
            machine.advance(Time::from_ps(now), &mut NullSink);
            let high = now / half % 2 == 1;
            machine.set(clk, if high { Level::One } else { Level::Zero });
        }
        machine.advance(Time::from_ps(time), &mut NullSink);
    };
    to(&mut machine, behind(0));
    machine.set(reset, Level::One);
    to(&mut machine, behind(3));
    machine.set(strobe, Level::One);
    to(&mut machine, behind(4));
    machine.set(strobe, Level::Zero);
    // The switch is closed a third of the way on, and opened after as much again.
    for position in [1, 0] {
        let time = machine.now().ps() + clocks / 3 * PERIOD;
        to(&mut machine, time);
        machine.contact(switch, position);
    }
    to(&mut machine, behind(clocks));
    machine
}

fn plain(steps: &[Step]) -> Vec<(i64, String, String, String)> {
    let value = serde_json::to_value(steps).expect("JSON");
    chain(&value)
}

/// True when a chain ends where the past had no room. How far it goes it is right: a net that moved last at the end of a
/// span, to a level, when that is known still.
#[track_caller]
fn is_forgotten(steps: &[(i64, String, String, String)], asked: i64, moved: i64, level: i64) -> bool {
    let forgotten = steps.iter().any(|step| step.3.contains("too long ago"));
    let (time, _, told, text) = &steps[0];
    if forgotten && text.contains("nothing before") {
        assert_eq!((*time, told.as_str()), (asked, "X"), "{steps:?}");
    } else if forgotten {
        assert!((moved + 1..=asked).contains(time), "at {asked}: {steps:?}");
        assert_eq!(*told, level.to_string(), "at {asked}: {steps:?}");
    }
    forgotten
}

/// Asks for a bit of the counter, and for the flip-flop, at moments by chance: what has no room any more is said to be too
/// long ago, and all else is right. How many were answered.
fn questions(room: Room, clocks: i64, asked: usize) -> usize {
    let circuit = circuit(&design(&[]));
    let mut machine = counted(&circuit, room, clocks);
    let mut random = ChaCha8Rng::seed_from_u64(room.every);
    let net = |path: &str| -> NetKey { circuit.net(path).expect(path) };
    let mut answered = 0;
    for _ in 0..asked {
        let n = 16 + i64::from(random.next_u32()) % (clocks - 16);
        let bit = random.next_u32() % 4;
        let at = behind(n);
        let steps = plain(&machine.why(net(&format!("q{bit}")), Time::from_ps(at)));
        if !is_forgotten(&steps, at, rise(moved(bit, n)), n >> bit & 1) {
            assert_counted(&steps, bit, n);
            answered += 1;
        }
        let steps = plain(&machine.why(net("r"), Time::from_ps(at)));
        if !is_forgotten(&steps, at, behind(3), 1) {
            assert_loaded(&steps);
            answered += 1;
        }
    }
    answered
}

#[test]
fn every_bit_of_a_counter_is_told_at_any_time() {
    for (every, by_hand, clocks, asked) in
        [(1 << 16, false, 100_000, 25), (1_000, false, 20_000, 60), (1_000, true, 20_000, 60)]
    {
        let bytes = 64 << 20;
        let room = Room { bytes, every, by_hand };
        assert_eq!(questions(room, clocks, asked), 2 * asked, "{room:?}");
    }
}

#[test]
fn with_hardly_any_room_nothing_is_forgotten_that_is_no_hand() {
    // Room for some states of this board of a few kilobytes each, or for none; the first one is never given up for room.
    for (bytes, every) in [(100_000, 300), (30_000, 100), (1, 1_000)] {
        let room = Room { bytes, every, by_hand: false };
        assert_eq!(questions(room, 20_000, 40), 80, "{room:?}");
    }
}

#[test]
fn with_hardly_any_room_for_hands_answers_are_right_or_not_there() {
    for (bytes, every) in [(1_000_000, 1_000), (100_000, 300), (30_000, 100), (1, 1_000)] {
        let room = Room { bytes, every, by_hand: true };
        let answered = questions(room, 20_000, 40);
        // Half of a megabyte has room for thousands of hands, but not for 40,000.
        let some = bytes == 1_000_000;
        assert!(!some || (4..76).contains(&answered), "{answered}: {room:?}");
    }
}

/// A trial whose clocks are hands: 60,000 pulses, each of them two or three.
const PULSES: &str = "trial pulses on long {
    set clk = low
    set strobe = low
    set /hold = low
    set /reset = low
    step clk 2 times every 100 ns
    set /reset = high
    step clk 3 times every 100 ns
    set strobe = high
    step clk 1 times every 100 ns
    set strobe = low
    step clk 59996 times every 100 ns
    press SW1 for 2 us bounce 100 ns
    run for 2 us
    expect q = 0
}
";

#[test]
fn hands_without_end_are_run_again_as_they_were() {
    let folder = folder(&[]);
    fs::write(folder.path().join("long.board"), design(&[]).replace("SW1 switch", "SW1 button") + PULSES)
        .expect("written");
    let why = |path: &str, memory: &str| {
        let run = ask(folder.path(), &format!("run long.board --json --why {path} --memory {memory}"));
        assert_eq!(run.code, 0, "{}{}", run.out, run.err);
        chain(&reports(&run)[0]["why"])
    };
    // A pulse is low first, so that it rises where the clock of the other trials would.
    assert_eq!(60_000 % 16, 0);
    assert_counted(&why("q3", "512MB"), 3, 60_000);
    assert_counted(&why("q2", "16MB"), 2, 60_000);
    assert_counted(&why(&format!("q1@{}ps", behind(31_415)), "512MB"), 1, 31_415);
    assert_loaded(&why("r", "512MB"));
    // 180,000 hands have no room in a quarter of 16 MB: the load is forgotten, and that is said; nothing wrong is.
    let forgotten = why("r", "16MB");
    assert!(is_forgotten(&forgotten, behind(60_000), behind(3), 1), "{forgotten:?}");
    // 998 is 6 mod 16, so that q3 was low, and is high when the past begins that is kept.
    let early = why(&format!("q3@{}ps", behind(998)), "16MB");
    assert!(is_forgotten(&early, behind(998), rise(992), 0), "{early:?}");
    // The last bounce ends 2.2 us after the button was touched; then the resistor lifts it.
    let raw = why("raw", "16MB");
    let left = behind(60_000) + 2_200_000;
    assert_eq!(raw.len(), 1, "{raw:?}");
    assert!(left <= raw[0].0 && raw[0].0 < left + 1_000_000, "{raw:?}");
    assert_eq!(raw[0].3, "R1 pulls it to VCC");
}

#[test]
fn a_person_far_on_asks_and_sets() {
    let folder = folder(&[("long", "    run for 100100 clocks")]);
    let lines = "99999\nwhy q3\nwhy r\nset /hold high\nuntil held is high\nwhy held\nwhy q0\nquit\n";
    let input = folder.path().join("lines");
    fs::write(&input, lines).expect("written");
    let mut step = command(folder.path(), "run long.board --step");
    let step = step.stdin(fs::File::open(&input).expect("lines"));
    let run = answer(step.output().expect("it ran"));
    let lines: Vec<Vec<&str>> = run.out.lines().map(|line| line.split_whitespace().collect()).collect();
    let clocks: Vec<&str> = lines.iter().filter(|line| line.first() == Some(&"clock")).map(|line| line[1]).collect();
    // The flip-flop is free from clock 100,000 on, takes 1 at the next one, and is seen at the one after.
    assert_eq!(clocks, ["1", "100000", "100002"], "{}{}", run.out, run.err);
    let told = |net: &str| -> Vec<i64> {
        let found = lines.iter().filter(|line| line.get(2) == Some(&net));
        let time = |line: &Vec<&str>| ps(&Value::from(format!("{} {}", line[0], line[1])));
        found.map(time).collect()
    };
    // When clock 100,000 rises, 99,997 have been counted: two cleared it, and this one has not passed through yet.
    let near = |found: &[i64], at: i64| {
        assert_eq!(found.len(), 1, "{}", run.out);
        let late = found[0] - at;
        assert!(0 < late && late < PERIOD / 2, "{late} ps: {}", run.out);
    };
    near(&told("q3"), rise(moved(3, 99_997)));
    near(&told("r"), behind(3));
    near(&told("held"), rise(99_999));
    near(&told("q1"), rise(2));
    near(&told("q0"), rise(99_999));
}
