//! Where the engine with delays and the reference come to different answers: each as a small board, ignored until it is
//! mended.

use super::parts::circuit;
use coldboard::circuit::{Circuit, NetKey};
use coldboard::language::ast::{Corner, PowerUp};
use coldboard::logic::Level;
use coldboard::part::Library;
use coldboard::quantity::Time;
use coldboard::run::{NullSink, Settings, Sink};
use coldboard::simulate::Machine;

const SETTINGS: Settings =
    Settings { corner: Corner::Typical, temperature: None, power_up: PowerUp::Zero, ..Settings::TYPICAL };

fn board(body: &str) -> Circuit {
    let text = format!("board b {{ rail VCC 5 V  rail GND\n{body}\n}}");
    circuit(&mut Library::built_in(), &text)
}

/// Sets nets at times in picoseconds, runs to the end, and tells the level of a net.
fn level(circuit: &Circuit, hands: &[(i64, &str, Level)], end: i64, net: &str) -> Level {
    let key = |path: &str| circuit.net(path).unwrap_or_else(|| panic!("no net {path}"));
    let stimuli: Vec<_> = hands.iter().map(|(_, path, _)| key(path)).collect();
    let mut machine = Machine::new(circuit, SETTINGS, &stimuli);
    for &(time, path, level) in hands {
        if time > 0 {
            machine.advance(Time::from_ps(time), &mut NullSink);
        }
        machine.set(key(path), level);
    }
    machine.advance(Time::from_ps(end), &mut NullSink);
    machine.level(key(net))
}

/// An enable that is unknown may let the output go, so the output is unknown one disable time later, whatever the data
/// does in the meantime. Typical 74HC125 at 5 V: some 15 ns (TI SCLS104); nothing keeps it until 40 ns.
#[test]
fn moving_data_does_not_put_off_what_an_unknown_enable_does() {
    let circuit = board(
        "feed U1 from VCC GND
         U1 74HC125 { 1A = a  /1OE = oe  1Y = y  [2..4]A = GND  /[2..4]OE = VCC  [2..4]Y = open }",
    );
    let start = [(0, "a", Level::Zero), (0, "oe", Level::Zero)];
    let unknown = (1_000_000, "oe", Level::X);
    let still = [&start[..], &[unknown]].concat();
    assert_eq!(level(&circuit, &still, 1_040_000, "y"), Level::X);
    let mut moving = still;
    for step in 0..8i64 {
        let to = if step % 2 == 0 { Level::One } else { Level::Zero };
        moving.push((1_000_000 + 5_000 * (step + 1), "a", to));
    }
    assert_eq!(level(&circuit, &moving, 1_041_000, "y"), Level::X);
}

/// 10 kohm and 1 uF take 10 ms to 63 % of the supply. An input behind a resistor of 1 kohm on the same capacitor sees that
/// as well as one that is connected to it.
#[test]
fn a_capacitor_counts_for_an_input_behind_a_resistor() {
    for (joint, input) in [("", "raw"), ("R2 resistor 1 kohm { 1 = raw  2 = in }", "in")] {
        let circuit = board(&format!(
            "feed U1 from VCC GND
             R1 resistor 10 kohm {{ 1 = VCC  2 = raw }}
             C1 capacitor 1 uF {{ 1 = raw  2 = GND }}
             {joint}
             U1 74HC14 {{ 1A = {input}  1Y = y  [2..6]A = GND  [2..6]Y = open }}"
        ));
        let early = level(&circuit, &[], 1_000_000_000, "y");
        let late = level(&circuit, &[], 60_000_000_000, "y");
        assert_eq!((early, late), (Level::One, Level::Zero), "{input}");
    }
}

/// A register file that is being written when power comes shows what is written, as an open latch does: all outputs have
/// their levels at once.
#[test]
fn a_memory_that_is_written_when_power_comes_shows_it() {
    let circuit = board(
        "feed U1 from VCC GND
         U1 74LS670 {
             D[1..4] = VCC  WA = GND  WB = GND  RA = GND  RB = GND  /GW = GND  /GR = GND  Q[1..4] = q[1..4]
         }",
    );
    assert_eq!(level(&circuit, &[], 0, "q1"), Level::One);
}

/// A flip-flop that presets itself while it is clear and clears itself while it is set comes to no end.
#[test]
fn a_loop_that_never_rests_is_unknown_when_power_comes() {
    let circuit = board(
        "feed U1 from VCC GND
         U1 74HC74 {
             1D = GND  1CLK = GND  /1PRE = pre  /1CLR = nq  1Q = q  /1Q = nq
             2D = GND  2CLK = GND  /2CLR = VCC  /2PRE = VCC  2Q = open  /2Q = open
         }",
    );
    let level = level(&circuit, &[(0, "pre", Level::Zero)], 0, "nq");
    assert_eq!(level, Level::X);
}

/// An edge takes 20 ns through a cable of 4 m, at 5 ns a metre. Edges 8 ns apart, each longer than the delay of the gate,
/// all arrive.
#[test]
#[ignore = "of three edges on their way through a cable one is lost"]
fn every_edge_arrives_through_a_long_cable() {
    for millimetres in [300, 4000] {
        assert_eq!(edges_behind(millimetres), 10, "{millimetres} mm");
    }
}

/// How many of ten edges, 8 ns apart, arrive behind a cable.
fn edges_behind(millimetres: u32) -> usize {
    let text = format!(
        "board near {{ rail VCC 5 V  rail GND  feed U1 from VCC GND
        connector POWER terminal-1x2 {{ 1 VCC  2 GND }}  connector OUT header-1x2 {{ 1 GND  2 y }}
        U1 74AC04 {{ 1A = a  1Y = y  [2..6]A = GND  [2..6]Y = open }} }}
        board far {{ rail VCC 5 V  rail GND  feed U1 from VCC GND
        connector POWER terminal-1x2 {{ 1 VCC  2 GND }}  connector IN header-1x2 {{ 1 GND  2 y }}
        U1 74AC04 {{ 1A = y  1Y = z  [2..6]A = GND  [2..6]Y = open }} }}
        assembly pair {{ N: near  F: far  cable W1 ribbon 2 way {millimetres} mm {{ N.OUT, F.IN }}
        supply PS1 5 V 1 A {{ plus = N.POWER.1  plus = F.POWER.1  minus = N.POWER.2  minus = F.POWER.2 }} }}"
    );
    let circuit = circuit(&mut Library::built_in(), &text);
    let net = |path: &str| circuit.net(path).expect("a net");
    let a = net("N.a");
    let mut machine = Machine::new(&circuit, SETTINGS, &[a]);
    machine.set(a, Level::Zero);
    machine.watch(net("N.y"), true);
    machine.advance(Time::from_ps(100_000), &mut NullSink);
    let mut edges = Edges(0);
    for edge in 1..=10 {
        let high = edge % 2 == 1;
        machine.set(a, if high { Level::One } else { Level::Zero });
        machine.advance(Time::from_ps(100_000 + 8_000 * edge), &mut edges);
    }
    machine.advance(Time::from_ps(1_000_000), &mut edges);
    edges.0
}

/// Counts changes.
struct Edges(usize);

impl Sink for Edges {
    fn change(&mut self, _: Time, _: NetKey, _: Level) {
        self.0 += 1;
    }
}
