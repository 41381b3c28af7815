//! Worked examples: formulas of the data books, and sums of sheet figures by hand.

use super::*;

/// Cascaded 74HC161, carry to ENT: a data book's formula (from memory): the period is tpd CLK to RCO and tsu ENT for two
/// chips, and tpd ENT to RCO for each further one.
///
/// TI SCLS297D, September 2003, at 4.5 V over -40..85 C: CLK to RCO 54 ns, ENT to RCO 49 ns, ENP and ENT before CLK
/// 43 ns. The rate of CLK itself, 25 MHz, is higher.
#[test]
fn cascaded_counters_follow_the_formula() {
    let (carry, through, setup) = (54, 49, 43);
    for chips in 2..=6 {
        let mut body = format!("feed U1..U{chips} from VCC GND  connector J1 header-1x1 {{ 1 clk }}\n");
        for chip in 1..=chips {
            let enable = if chip == 1 { "VCC".to_owned() } else { format!("c{}", chip - 1) };
            body += &format!(
                "U{chip} 74HC161 {{ CLK = clk  /CLR = VCC  /LOAD = VCC  [A..D] = GND  ENP = VCC  ENT = {enable}
                RCO = c{chip}  Q[A..D] = q[{}..{}] }}\n",
                4 * chip - 4,
                4 * chip - 1
            );
        }
        let circuit = board(&body);
        let expected = carry + setup + (chips - 2) * through;
        let found = shortest(&circuit, Parts::Slowest, clock(&circuit, "clk", 1000, 500));
        assert_eq!(found, (expected * 1000, Kind::Setup), "{chips} chips");
    }
}

/// The same for the 163, whose clear is synchronous. The figures are those of the sheet that the library quotes,
/// added up here.
#[test]
fn the_163_follows_the_formula_as_well() {
    let part = library().part("163").expect("the 163");
    let sheet = part.sheet("HC").expect("an HC sheet");
    let block = sheet.blocks.iter().find(|block| block.voltage.to_string() == "4.5 V").expect("4.5 V");
    let column =
        sheet.columns.iter().position(|column| column.hottest.to_string() == "85 C").expect("a column to 85 C");
    let function = &part.function;
    let input = |name: &str| {
        let pin = part.pin_named(name).expect("a pin");
        function.inputs.iter().position(|&other| other == pin).expect("an input")
    };
    let rco = part.pin_named("RCO").expect("a pin");
    let rco = function.outputs.iter().position(|&pin| pin == rco).expect("an output");
    let delay = |from: usize| {
        let arcs = block.arcs.iter().filter(|arc| (arc.from, arc.to) == (from, rco));
        arcs.filter_map(|arc| arc.figures[column]).max().expect("a figure").ps()
    };
    use coldboard::part::sheet::{CheckKind, Signal};
    let ent = Signal::Input(input("ENT"));
    let setup = block.checks.iter().find(|check| check.signal == ent && matches!(check.kind, CheckKind::Setup(..)));
    let setup = setup.and_then(|check| check.figures[column]).expect("a setup time").ps();
    let circuit = three_counters();
    let expected = delay(input("CLK")) + delay(input("ENT")) + setup;
    let found = shortest(&circuit, Parts::Slowest, clock(&circuit, "clk", 1000, 500));
    assert_eq!(found, (expected, Kind::Setup));
}

fn three_counters() -> Design {
    board(
        "feed U1..U3 from VCC GND  connector J1 header-1x1 { 1 clk }
        U1 74HC163 { CLK = clk  /CLR = VCC  /LOAD = VCC  [A..D] = GND  ENP = VCC  ENT = VCC  RCO = c1  Q[A..D] = q[0..3] }
        U2 74HC163 { CLK = clk  /CLR = VCC  /LOAD = VCC  [A..D] = GND  ENP = VCC  ENT = c1   RCO = c2  Q[A..D] = q[4..7] }
        U3 74HC163 { CLK = clk  /CLR = VCC  /LOAD = VCC  [A..D] = GND  ENP = VCC  ENT = c2   RCO = c3  Q[A..D] = q[8..11] }",
    )
}

/// Four cascaded 74LS283, TI SDLS095A, March 1988, limits at 5 V: A or B to C4 falling 17 ns, C0 to C4 falling 22 ns
/// (twice), C0 to a sum 24 ns. A rising carry is faster: 17 ns each.
#[test]
fn a_carry_runs_through_four_adders() {
    let mut body = "board add { rail VCC 5 V  rail GND  feed U1..U4 from VCC GND
        connector J1 header-1x32 { 1..16 a[0..15]  17..32 b[0..15] }
        connector J2 header-1x17 { 1..16 s[0..15]  17 c4 }\n"
        .to_owned();
    for chip in 1..=4 {
        let (low, high) = (4 * chip - 4, 4 * chip - 1);
        let carry = if chip == 1 { "GND".to_owned() } else { format!("c{}", chip - 1) };
        body += &format!(
            "U{chip} 74LS283 {{ A[1..4] = a[{low}..{high}]  B[1..4] = b[{low}..{high}]  C0 = {carry}
            S[1..4] = s[{low}..{high}]  C4 = c{chip} }}\n"
        );
    }
    let circuit = circuit(&(body + "}"));
    let report = report(&circuit, Parts::Slowest, &[]);
    let longest = &report.runs[0].straight[0];
    assert_eq!(longest.latest, Time::from_ns(17 + 22 + 22 + 24), "{} to {}", longest.input, longest.output);
    let chips: Vec<&str> = longest.steps.iter().map(|step| step.chip.as_str()).collect();
    assert_eq!(chips, ["U1", "U2", "U3", "U4"]);
    assert!(longest.output == "s12" || longest.output == "s13" || longest.output == "s14" || longest.output == "s15");
}

/// Typical addition times with the 74S181 and 74S182, by the table of the sheet of the 181 (TI SDLS136, from memory):
/// 11 ns for 4 bits, 18 ns for 8 with a ripple carry, 19 ns for 16 with a look-ahead carry.
///
/// The table adds; the sheet of the library has the slower figures of subtraction, so that ours are at least as long, and
/// no more than four tenths longer. Beside them stand the sums of the typical figures of TI SDLS136 and SDLS206.
#[test]
fn addition_times_are_near_those_of_the_table() {
    // A or B to F 14, to CN4 15.5, to /G and /P 10.5; CN to F 7; /G or /P to CNX, CNY, CNZ 4.5 ns.
    for (bits, ahead, table, by_hand) in
        [(4, false, 11_000, 14_000), (8, false, 18_000, 15_500 + 7_000), (16, true, 19_000, 10_500 + 4_500 + 7_000)]
    {
        let circuit = adder(bits, ahead);
        let report = report(&circuit, Parts::Typical, &[]);
        let found = report.runs[0].straight[0].latest.ps();
        assert_eq!(found, by_hand, "{bits} bits by hand");
        assert!(found >= table && found * 10 <= table * 14, "{bits} bits: {found} ps, {table} ps in the table");
    }
}

/// An adder of 74S181, A plus B, with a ripple carry or with one 74S182.
fn adder(bits: usize, ahead: bool) -> Design {
    let chips = bits / 4;
    let mut body = format!(
        "board add {{ rail VCC 5 V  rail GND  feed U1..U{} from VCC GND
        connector J1 header-1x{} {{ 1..{bits} a[0..{}]  {}..{} b[0..{}] }}
        connector J2 header-1x{bits} {{ 1..{bits} f[0..{}] }}\n",
        chips + usize::from(ahead),
        2 * bits,
        bits - 1,
        bits + 1,
        2 * bits,
        bits - 1,
        bits - 1
    );
    for chip in 1..=chips {
        let (low, high) = (4 * chip - 4, 4 * chip - 1);
        let carry = if chip == 1 { "VCC".to_owned() } else { format!("c{}", chip - 1) };
        let out = if ahead { "open".to_owned() } else { format!("c{chip}") };
        body += &format!(
            "U{chip} 74S181 {{ /A[0..3] = a[{low}..{high}]  /B[0..3] = b[{low}..{high}]  /F[0..3] = f[{low}..{high}]
            S0 = VCC  S1 = GND  S2 = GND  S3 = VCC  M = GND  CN = {carry}  CN4 = {out}
            /G = g{chip}  /P = p{chip}  AEQB = open }}\n"
        );
    }
    if ahead {
        body += &format!(
            "U{} 74S182 {{ /G[0..3] = g[1..4]  /P[0..3] = p[1..4]  CN = VCC  CNX = c1  CNY = c2  CNZ = c3
            /G = open  /P = open }}\n",
            chips + 1
        );
    }
    circuit(&(body + "}"))
}

/// A memory that is read in one clock: the register of the address, the decoder of its upper bits, the memory, and the
/// register of the data.
///
/// 74HC574 (TI SCLS148F, August 2003) CLK to Q 45 ns and D before CLK 25 ns, 74HC138 (TI SCLS107F, September 2016) A to
/// Y 45 ns, all at 4.5 V over -40..85 C; HM62256B-70 (Hitachi ADE-203-135F Rev.6.0) 70 ns from /CE. The address itself
/// has 45 + 70 + 25 ns.
#[test]
fn a_memory_access_has_its_budget() {
    let circuit = board(
        "feed U1..U4 from VCC GND
        connector J1 header-1x9 { 1 clk  2..9 n[0..7] }
        U1 74HC574 { CLK = clk  /OE = GND  D[1..8] = n[0..7]  Q[1..8] = a[0..7] }
        U2 74HC138 { A = a5  B = a6  C = a7  G1 = VCC  /G2A = GND  /G2B = GND  Y0 = /ram  Y[1..7] = open }
        U3 62256-70 { A[0..4] = a[0..4]  A[5..14] = GND  /CE = /ram  /OE = GND  /WE = VCC  DQ[0..7] = d[0..7] }
        U4 74HC574 { CLK = clk  /OE = GND  D[1..8] = d[0..7]  Q[1..8] = q[0..7] }",
    );
    let found = shortest(&circuit, Parts::Slowest, clock(&circuit, "clk", 1000, 500));
    assert_eq!(found, ((45 + 45 + 70 + 25) * 1000, Kind::Setup));
    let report = report(&circuit, Parts::Slowest, &[clock(&circuit, "clk", 200, 100)]);
    let path = &report.runs[0].paths.iter().find(|path| path.kind == Kind::Setup).expect("a path");
    let steps: Vec<String> = path.steps.iter().map(|step| format!("{} {}", step.chip, step.delay)).collect();
    assert_eq!(steps, ["U1 45 ns", "U2 45 ns", "U3 70 ns"]);
    assert_eq!(path.slack, Time::from_ns(200 - 185));
    // 70 of 185 ns.
    assert_eq!(path.advice.as_deref(), Some("U3 62256-70 is 37 % of this path"));
}
