//! One test for each thing that the analysis knows of, with a sum by hand from the sheets.
//!
//! The supply is 4.5 V. Over -40..85 C: 74HC574 (TI SCLS148F, August 2003) CLK to Q 45 ns, D before CLK 25 ns, D after CLK
//! 5 ns, CLK high and low 20 ns; 74HC74 (TI SCLS094E, December 2015) CLK to Q 44 ns, D before CLK 25 ns, /CLR before CLK
//! 6 ns; 74HC573 (TI SCLS147F, October 2016) D to Q 44 ns, D before LE 13 ns; 74HC08 (TI SCLS081I, September 2021) 25 ns;
//! 74HC541 (TI SCLS305D, September 2016) A to Y 29 ns, on and off 38 ns. Typical at 25 C: 74HC74 20 ns, 74HC08 10 ns,
//! 74HC541 on 17 ns and off 18 ns; the shortest delay is taken as half of that.

use super::*;
use coldboard::quantity::Frequency;

const REST: &str = "[2..4]A = GND  [2..4]B = GND  [2..4]Y = open";

/// Data that comes while a latch is open goes on at once: 45 + 44 + 25 ns to the next register, though the latch opens
/// at the very edge that sends the data. It must be there 13 ns before the latch closes.
#[test]
fn a_latch_borrows_time() {
    let circuit = board(
        "feed U1..U3 from VCC GND  connector J1 header-1x2 { 1 clk  2 d }
        U1 74HC574 { CLK = clk  /OE = GND  D1 = d  D[2..8] = GND  Q1 = a  Q[2..8] = open }
        U2 74HC573 { LE = clk   /OE = GND  D1 = a  D[2..8] = GND  Q1 = b  Q[2..8] = open }
        U3 74HC574 { CLK = clk  /OE = GND  D1 = b  D[2..8] = GND  Q1 = c  Q[2..8] = open }",
    );
    let found = analysis(&circuit, Parts::Slowest, &[clock(&circuit, "clk", 120, 60)]);
    assert_eq!(
        slacks(&found, Kind::Setup),
        [("U2.D1".to_owned(), 60_000 - 45_000 - 13_000), ("U3.D1".to_owned(), 120_000 - 45_000 - 44_000 - 25_000)]
    );
    // With half of the period high the latch limits, 2 * (45 + 13) ns; with 60 % the register behind it.
    assert_eq!(shortest(&circuit, Parts::Slowest, clock(&circuit, "clk", 120, 60)), (116_000, Kind::Setup));
    assert_eq!(shortest(&circuit, Parts::Slowest, clock(&circuit, "clk", 100, 60)), (114_000, Kind::Setup));
}

/// An AND gate lets the clock through while it is high. What enables it comes from a register that the same edge clocks,
/// 45 ns later: in the middle of the pulse when that is 60 ns, behind it when it is 40 ns.
#[test]
fn an_enable_must_not_cut_a_pulse() {
    let circuit = board(&format!(
        "feed U1..U3 from VCC GND  connector J1 header-1x3 {{ 1 clk  2 d  3 e }}
        U1 74HC574 {{ CLK = clk  /OE = GND  D1 = e  D[2..8] = GND  Q1 = enable  Q[2..8] = open }}
        U2 74HC08 {{ 1A = clk  1B = enable  1Y = gated  {REST} }}
        U3 74HC574 {{ CLK = gated  /OE = GND  D1 = d  D[2..8] = GND  Q1 = q  Q[2..8] = open }}"
    ));
    for (high, slack) in [(60, -15_000), (40, 5_000)] {
        let found = analysis(&circuit, Parts::Slowest, &[clock(&circuit, "clk", 200, high)]);
        let before = 200_000 - 45_000;
        let expected = [("U2.1B".to_owned(), slack), ("U2.1B".to_owned(), before)];
        assert_eq!(slacks(&found, Kind::Gate), expected, "high for {high} ns");
    }
}

/// Behind a divider by two there are two periods from one rise to the next; how late the divided clock is does not
/// matter to what it clocks on both sides. The divider itself has one period for 44 + 25 ns.
#[test]
fn a_divided_clock_has_its_own_period() {
    let circuit = board(
        "feed U1..U3 from VCC GND  connector J1 header-1x2 { 1 clk  2 d }
        U1 74HC74 { 1CLK = clk  1D = /half  1Q = half  /1Q = /half  /1PRE = VCC  /1CLR = VCC
            2CLK = GND  2D = GND  /2PRE = VCC  /2CLR = VCC  2Q = open  /2Q = open }
        U2 74HC574 { CLK = half  /OE = GND  D1 = d  D[2..8] = GND  Q1 = a  Q[2..8] = open }
        U3 74HC574 { CLK = half  /OE = GND  D1 = a  D[2..8] = GND  Q1 = b  Q[2..8] = open }",
    );
    for parts in [Parts::Slowest, Parts::Mixed] {
        let found = analysis(&circuit, parts, &[clock(&circuit, "clk", 100, 50)]);
        let expected =
            [("U1.1D".to_owned(), 100_000 - 44_000 - 25_000), ("U3.D1".to_owned(), 200_000 - 45_000 - 25_000)];
        assert_eq!(slacks(&found, Kind::Setup), expected, "{parts:?}");
    }
    let report = report(&circuit, Parts::Slowest, &[clock(&circuit, "clk", 100, 50)]);
    let made: Vec<_> = report.clocks.iter().filter_map(|clock| clock.made_from.as_deref()).collect();
    assert_eq!(made, ["clk"]);
    // 1 / 69 ns, rounded down.
    assert_eq!(report.runs[0].rates[0].highest, Some(Frequency::from_raw(1_000_000_000_000_000 / 69_000)));
}

/// A ripple counter counts 16 edges between two of its outputs: what the fifth stage clocks sees the eighth move half of
/// its own period away, not with it. 74HC4040 counts at the fall; the fifth output rises in the middle of 32 edges.
#[test]
fn outputs_of_a_counter_keep_their_distance() {
    let circuit = board(
        "feed U1..U2 from VCC GND  connector J1 header-1x1 { 1 clk }
        U1 74HC4040 { /CP = clk  MR = GND  Q[1..4] = open  Q5 = slow  Q[6..7] = open  Q8 = data  Q[9..12] = open }
        U2 74HC574 { CLK = slow  /OE = GND  D1 = data  D[2..8] = GND  Q1 = q  Q[2..8] = open }",
    );
    let found = analysis(&circuit, Parts::Mixed, &[clock(&circuit, "clk", 1000, 500)]);
    let judgement = found.slacks();
    let setup: Vec<i64> = judgement
        .findings
        .iter()
        .filter(|finding| found.kind(finding) == Kind::Setup)
        .map(|finding| finding.available.ps())
        .collect();
    assert_eq!(setup, [16 * 1_000_000]);
    assert!(judgement.findings.iter().all(|finding| finding.slack.ps() > 0));
}

/// What the one input behind an output of a 74HC74 or 74HC08 takes off its shortest delay, in picoseconds: 3 pF and an
/// inch of copper, 3.606 pF, are 43.394 pF less than the sheets measure with. Typically 100 pF more cost a plain HC output
/// 6 ns (ST M54/M74HC540/541: 4 ns at a bus output, with 6 mA in place of 4 mA); a quarter of that is the shortest.
const LIGHTER: i64 = 43_394 * 6_000 / 4 / 100_000;

/// Two drivers that the two outputs of a flip-flop switch. Slowest: one is off and the other on 44 + 38 ns behind the
/// clock. Mixed, with a quarter of the typical delays: the flip-flop takes 20 / 4 ns; the other driver may be on 17 / 4 ns
/// later, and as its bus has 6.606 pF in place of 50, a little before: at 150 pF it would be 20 / 4 ns. The first may be off
/// after 18 / 4 ns.
#[test]
fn a_bus_changes_hands() {
    let circuit = board(
        "feed U1..U3 from VCC GND  connector J1 header-1x2 { 1 clk  2 d }
        U1 74HC74 { 1CLK = clk  1D = /b  1Q = /a  /1Q = /b  /1PRE = VCC  /1CLR = VCC
            2CLK = GND  2D = GND  /2PRE = VCC  /2CLR = VCC  2Q = open  /2Q = open }
        U2 74HC541 { A[1..8] = d  Y1 = bus  Y[2..8] = open  /OE1 = /a  /OE2 = GND }
        U3 74HC541 { A[1..8] = d  Y1 = bus  Y[2..8] = open  /OE1 = /b  /OE2 = GND }",
    );
    let turn = |parts| {
        let report = report(&circuit, parts, &[clock(&circuit, "clk", 200, 100)]);
        let rows = &report.runs[0].turn_rounds;
        assert_eq!(rows.len(), 1);
        (rows[0].net.clone(), rows[0].overlap.ps(), rows[0].gap.ps())
    };
    assert_eq!(turn(Parts::Slowest), ("bus".to_owned(), 0, 0));
    let latest = 44_000 + 38_000;
    let flip_flop = 20_000 / 4 - LIGHTER;
    let on = 17_000 / 4 - (20_000 - 17_000) / 4 * 43_394 / 100_000;
    let off = 18_000 / 4;
    assert_eq!(turn(Parts::Mixed), ("bus".to_owned(), latest - flip_flop - on, latest - flip_flop - off));
}

/// A reset that a flip-flop releases 44 ns behind the clock, and that must be over 6 ns before the next edge.
#[test]
fn a_clear_recovers() {
    let circuit = board(
        "feed U1..U2 from VCC GND  connector J1 header-1x3 { 1 clk  2 go  3 d }
        U1 74HC74 { 1CLK = clk  1D = go  1Q = /clear  /1Q = open  /1PRE = VCC  /1CLR = VCC
            2CLK = GND  2D = GND  /2PRE = VCC  /2CLR = VCC  2Q = open  /2Q = open }
        U2 74HC74 { 1CLK = clk  1D = d  1Q = q  /1Q = open  /1PRE = VCC  /1CLR = /clear
            2CLK = GND  2D = GND  /2PRE = VCC  /2CLR = VCC  2Q = open  /2Q = open }",
    );
    let found = analysis(&circuit, Parts::Slowest, &[clock(&circuit, "clk", 100, 50)]);
    assert_eq!(slacks(&found, Kind::Recovery), [("U2./1CLR".to_owned(), 100_000 - 44_000 - 6_000)]);
}

/// A register that needs its clock high for 20 ns and low for 20 ns, and no more than 24 MHz: 41.667 ns.
#[test]
fn the_duty_cycle_decides_the_width_of_pulses() {
    let text = "board test { rail VCC 4.5 V  rail GND  feed U1 from VCC GND  connector J1 header-1x2 { 1 clk  2 d }
        U1 74HC574 { CLK = clk  /OE = GND  D1 = d  D[2..8] = GND  Q1 = q  Q[2..8] = open } }";
    let widths = |clock: &str| {
        let report = report_of(text, Parts::Slowest, &[clock]);
        let rows = report.runs[0].paths.iter().filter(|row| row.kind == Kind::Width);
        let mut rows: Vec<i64> = rows.map(|row| row.slack.ps()).collect();
        rows.sort_unstable();
        (rows, report.runs[0].holds())
    };
    assert_eq!(widths("clk=10MHz,15%"), (vec![-5_000, 65_000], false));
    assert_eq!(widths("clk=10MHz"), (vec![30_000, 30_000], true));
    let report = report_of(text, Parts::Slowest, &["clk=10MHz"]);
    let period = report.runs[0].rates[0].period.expect("a limit");
    assert_eq!(period.ps(), 41_667);
}

/// Launch and capture share the first of three gates: only the other two can differ. Mixed, a 74HC08 takes 10 / 4 ns, and
/// less with one input behind it, to 25 ns: 45 + 25 - 2.5 ns, and 25 ns before the clock.
#[test]
fn what_both_clocks_share_counts_once() {
    let circuit = board(
        "feed U1..U3 from VCC GND  connector J1 header-1x2 { 1 clk  2 d }
        U1 74HC08 { 1A = clk  1B = VCC  1Y = root  2A = root  2B = VCC  2Y = left  3A = root  3B = VCC  3Y = right
            4A = GND  4B = GND  4Y = open }
        U2 74HC574 { CLK = left  /OE = GND  D1 = d  D[2..8] = GND  Q1 = a  Q[2..8] = open }
        U3 74HC574 { CLK = right  /OE = GND  D1 = a  D[2..8] = GND  Q1 = b  Q[2..8] = open }",
    );
    let found = analysis(&circuit, Parts::Mixed, &[clock(&circuit, "clk", 200, 100)]);
    assert_eq!(
        slacks(&found, Kind::Setup),
        [("U3.D1".to_owned(), 200_000 - 45_000 - 25_000 + (10_000 / 4 - LIGHTER) - 25_000)]
    );
    // 74HC574: typically 28 ns at 50 pF and 36 ns at 150 pF, a quarter of it at the least, and one input behind it; against
    // 25 ns of the other gate and 5 ns after the clock.
    let register = 28_000 / 4 - (36_000 - 28_000) / 4 * 43_394 / 100_000;
    let hold = slacks(&found, Kind::Hold);
    assert_eq!(hold, [("U3.D1".to_owned(), 10_000 / 4 - LIGHTER + register - 25_000 - 5_000)]);
}

/// A memory that is written while the clock is low: the address, from a register that the clock's rise clocks.
/// HM62256B-70 (Hitachi ADE-203-135F Rev.6.0): address before the write 0 ns and before its end 60 ns, data before its
/// end 30 ns, 50 ns of writing; the address stands still all the while.
#[test]
fn a_write_has_its_window() {
    let circuit = board(
        "feed U1..U3 from VCC GND  connector J1 header-1x10 { 1 clk  2..9 d[0..7]  10 e }
        U1 74HC574 { CLK = clk  /OE = GND  D1 = e  D[2..8] = GND  Q1 = a  Q[2..8] = open }
        U2 74HC574 { CLK = clk  /OE = GND  D[1..8] = d[0..7]  Q[1..8] = m[0..7] }
        U3 62256-70 { A0 = a  A[1..14] = GND  /CE = GND  /OE = VCC  /WE = clk  DQ[0..7] = m[0..7] }",
    );
    let found = analysis(&circuit, Parts::Slowest, &[clock(&circuit, "clk", 100, 50)]);
    let setup = slacks(&found, Kind::Setup);
    let of = |pin: &str| setup.iter().filter(|(name, _)| name == pin).map(|(_, slack)| *slack).collect::<Vec<_>>();
    assert_eq!(of("U3.A0"), [100_000 - 45_000 - 60_000, 50_000 - 45_000]);
    assert_eq!(of("U3.DQ7"), [100_000 - 45_000 - 30_000]);
    assert_eq!(slacks(&found, Kind::Stable), [("U3.A0".to_owned(), 5_000), ("U3.A0".to_owned(), 45_000)]);
    let widths = slacks(&found, Kind::Width);
    assert!(widths.contains(&("U3./WE".to_owned(), 0)), "{widths:?}");
}

/// A path that goes through two outputs of one decoder is none: in the first line it would take 45 + 29 + 5 * 25 + 29 +
/// 25 ns, in what remains 45 + 29 + 25 ns.
#[test]
fn outputs_of_one_decoder_exclude_each_other() {
    let body = |second: &str| {
        format!(
            "feed U1..U8 from VCC GND  connector J1 header-1x5 {{ 1 clk  2 d  3..5 s[0..2] }}
            U1 74HC574 {{ CLK = clk  /OE = GND  D1 = d  D[2..8] = GND  Q1 = x  Q[2..8] = open }}
            U2 74HC138 {{ A = s0  B = s1  C = s2  G1 = VCC  /G2A = GND  /G2B = GND  Y[0..1] = /on[0..1]  Y[2..7] = open }}
            U3 74HC541 {{ A1 = x  A[2..8] = GND  Y1 = first  Y[2..8] = open  /OE1 = /on0  /OE2 = GND }}
            U4 74HC08 {{ [1..4]A = (first, g1, g2, g3)  [1..4]B = VCC  [1..4]Y = g[1..4] }}
            U5 74HC08 {{ 1A = g4  1B = VCC  1Y = g5  {REST} }}
            U6 74HC541 {{ A1 = g5  A[2..8] = GND  Y1 = second  Y[2..8] = open  /OE1 = /on{second}  /OE2 = GND }}
            U7 74HC541 {{ A1 = x  A[2..8] = GND  Y1 = second  Y[2..8] = open  /OE1 = /on0  /OE2 = GND }}
            U8 74HC574 {{ CLK = clk  /OE = GND  D1 = second  D[2..8] = GND  Q1 = q  Q[2..8] = open }}"
        )
    };
    let (one, other) = (board(&body("1")), board(&body("0")));
    let long = 45 + 29 + 5 * 25 + 29 + 25;
    let at = |circuit: &Circuit| shortest(circuit, Parts::Slowest, clock(circuit, "clk", 1000, 500));
    assert_eq!(at(&one), ((45 + 29 + 25) * 1000, Kind::Setup));
    assert_eq!(at(&other), (long * 1000, Kind::Setup));
    let counted =
        |circuit: &Design| report(circuit, Parts::Slowest, &[clock(circuit, "clk", 1000, 500)]).runs[0].contradictory;
    assert!(counted(&one) > 0);
    assert_eq!(counted(&other), 0);
}

/// Two crossed NAND gates are a loop; two transceivers between two buses are none, because one direction excludes the
/// other.
#[test]
fn loops_are_told_and_cut() {
    let latch = board(
        "feed U1..U2 from VCC GND  connector J1 header-1x3 { 1 clk  2 s  3 r }
        U1 74HC00 { 1A = s  1B = b  1Y = a  2A = r  2B = a  2Y = b  [3..4]A = GND  [3..4]B = GND  [3..4]Y = open }
        U2 74HC574 { CLK = clk  /OE = GND  D1 = a  D[2..8] = GND  Q1 = q  Q[2..8] = open }",
    );
    let found = report(&latch, Parts::Slowest, &[clock(&latch, "clk", 1000, 500)]);
    assert_eq!(found.loops, [["U1.1Y", "U1.2Y"]]);
    let buses = board(
        "feed U1..U3 from VCC GND  connector J1 header-1x3 { 1 clk  2 dir  3 d }
        U1 74HC245 { A1 = left  B1 = right  A[2..8] = GND  B[2..8] = GND  DIR = dir  /OE = GND }
        U2 74HC245 { A1 = left  B1 = right  A[2..8] = GND  B[2..8] = GND  DIR = dir  /OE = GND }
        U3 74HC574 { CLK = clk  /OE = GND  D1 = right  D[2..8] = GND  Q1 = left  Q[2..8] = open }",
    );
    let found = report(&buses, Parts::Slowest, &[clock(&buses, "clk", 1000, 500)]);
    assert_eq!(found.loops, Vec::<Vec<String>>::new());
}

/// The ring of three inverters has no end: it is told, and nothing hangs.
#[test]
fn a_ring_of_inverters_is_told() {
    let circuit = board(
        "feed U1 from VCC GND  connector J1 header-1x1 { 1 a }
        U1 74HC04 { 1A = a  1Y = b  2A = b  2Y = c  3A = c  3Y = a  [4..6]A = GND  [4..6]Y = open }",
    );
    let report = report(&circuit, Parts::Slowest, &[]);
    assert_eq!(report.loops, [["U1.1Y", "U1.2Y", "U1.3Y"]]);
}

/// What the outside must keep to: 25 ns before the clock and 5 ns after it, with 25 ns of a gate on the way of the data.
/// An output comes 45 ns behind the clock.
#[test]
fn inputs_and_outputs_have_their_times() {
    let circuit = board(&format!(
        "feed U1..U2 from VCC GND  connector J1 header-1x4 {{ 1 clk  2 d  3 e  4 q }}
        U1 74HC574 {{ CLK = clk  /OE = GND  D1 = x  D[2..8] = GND  Q1 = q  Q[2..8] = open }}
        U2 74HC08 {{ 1A = d  1B = e  1Y = x  {REST} }}"
    ));
    let report = report(&circuit, Parts::Slowest, &[clock(&circuit, "clk", 1000, 500)]);
    let run = &report.runs[0];
    let inputs: Vec<_> = run.inputs.iter().map(|row| (row.net.as_str(), row.before, row.after)).collect();
    let (before, after) = (Some(Time::from_ns(25 + 25)), Some(Time::from_ns(5 - 25)));
    assert_eq!(inputs, [("d", before, after), ("e", before, after)]);
    let outputs: Vec<_> = run.outputs.iter().map(|row| (row.net.as_str(), row.latest)).collect();
    assert_eq!(outputs, [("q", Time::from_ns(45))]);
}

/// Clocks that have nothing to do with each other are not compared, and that is told.
#[test]
fn foreign_clocks_are_told() {
    let circuit = board(
        "feed U1..U2 from VCC GND  connector J1 header-1x3 { 1 one  2 other  3 d }
        U1 74HC574 { CLK = one  /OE = GND  D1 = d  D[2..8] = GND  Q1 = a  Q[2..8] = open }
        U2 74HC574 { CLK = other  /OE = GND  D1 = a  D[2..8] = GND  Q1 = b  Q[2..8] = open }",
    );
    let clocks = [clock(&circuit, "one", 1000, 500), clock(&circuit, "other", 900, 450)];
    let report = report(&circuit, Parts::Slowest, &clocks);
    assert!(
        report.remarks.iter().any(|remark| remark.starts_with("one and other have nothing to do")),
        "{:?}",
        report.remarks
    );
    assert!(report.runs[0].holds());
}

/// Without a clock nothing is judged, and the clock inputs are named.
#[test]
fn a_design_without_a_clock_is_told() {
    let circuit = board(
        "feed U1 from VCC GND  connector J1 header-1x2 { 1 clk  2 d }
        U1 74HC574 { CLK = clk  /OE = GND  D1 = d  D[2..8] = GND  Q1 = a  Q[2..8] = open }",
    );
    let report = report(&circuit, Parts::Slowest, &[]);
    assert!(report.clocks.is_empty());
    assert_eq!(report.unclocked, ["U1.CLK"]);
    let text = coldboard::export::timing_text::text(&report);
    assert!(text.contains("clock NET 1 MHz"), "{text}");
    assert!(text.ends_with("no clock: nothing was judged\n"), "{text}");
}

/// A clock that is turned by hand once in a quarter of an hour, behind a divider by 16384, is beyond what a time can be:
/// nothing overflows.
#[test]
fn the_slowest_clock_is_no_trouble() {
    let text = "board test { rail VCC 4.5 V  rail GND  feed U1..U2 from VCC GND  connector J1 header-1x2 { 1 clk  2 d }
        U1 74HC4020 { /CP = clk  MR = GND  Q1 = open  Q[4..13] = open  Q14 = slow }
        U2 74HC574 { CLK = slow  /OE = GND  D1 = d  D[2..8] = GND  Q1 = q  Q[2..8] = open } }";
    let report = report_of(text, Parts::Mixed, &["clk=0.001Hz"]);
    assert!(report.runs[0].holds());
}

/// A flip-flop, an open collector and a flip-flop: what the pull-up needs to lift the net counts. 18.6 pF (an output of LS 5 pF,
/// an input of HC at most 10 pF, an inch of copper 3.6 pF), 47 kohm, to 0.7 VCC: RC ln (1 / 0.3) = 1.05 us, every handbook.
#[test]
fn a_pull_up_limits_the_rate() {
    let body = |ohms: &str| {
        format!(
            "feed U1..U2 from VCC GND  connector J1 header-1x2 {{ 1 clk  2 VCC }}
            U1 74HC74 {{ 1D = /q  1CLK = clk  /1CLR = VCC  /1PRE = VCC  1Q = q  /1Q = /q
                2D = w  2CLK = clk  /2CLR = VCC  /2PRE = VCC  2Q = open  /2Q = open }}
            U2 74LS05 {{ 1A = q  1Y = w  [2..6]A = GND  [2..6]Y = open }}
            R1 resistor {ohms} {{ 1 = VCC  2 = w }}"
        )
    };
    let period = |ohms: &str| {
        let circuit = circuit(&format!("board test {{ rail VCC 5 V  rail GND\n{}\n}}", body(ohms)));
        shortest(&circuit, Parts::Slowest, clock(&circuit, "clk", 5_000, 2_500)).0
    };
    let longer = (period("47 kohm") - period("4.7 kohm")) as f64;
    let expected = (47e3 - 4.7e3) * 18.6e-12 * (1.0_f64 / 0.3).ln() * 1e12;
    assert!((longer / expected - 1.0).abs() < 0.01, "{longer} {expected}");
}

/// A hold time that the same edge breaks is broken at every rate: 15 ns at least from a clock to an output, and two
/// inverters of 19 ns at most in the way of the clock.
#[test]
fn what_no_rate_mends_is_told() {
    let text = "board test { rail VCC 4.5 V  rail GND  feed U1..U3 from VCC GND
        connector J1 header-1x3 { 1 clk  2 d  3 q }
        U1 74HC74 { 1D = d  1CLK = clk  /1CLR = VCC  /1PRE = VCC  1Q = a  /1Q = open
            2D = GND  2CLK = GND  /2CLR = VCC  /2PRE = VCC  2Q = open  /2Q = open }
        U2 74HC04 { 1A = clk  1Y = n  2A = n  2Y = late  [3..6]A = GND  [3..6]Y = open }
        U3 74HC74 { 1D = a  1CLK = late  /1CLR = VCC  /1PRE = VCC  1Q = q  /1Q = open
            2D = GND  2CLK = GND  /2CLR = VCC  /2PRE = VCC  2Q = open  /2Q = open } }";
    let of = |clock: &str| report_of(text, Parts::Mixed, &[clock]).runs[0].at_any_rate;
    assert_eq!((of("clk=1MHz"), of("clk=1kHz")), (1, 1));
    let sound = text.replace("1CLK = late", "1CLK = clk");
    assert_eq!(report_of(&sound, Parts::Mixed, &["clk=1MHz"]).runs[0].at_any_rate, 0);
}
