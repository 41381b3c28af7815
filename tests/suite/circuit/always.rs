//! What holds for every design: whole circuits, bounded work.

use super::{circuit, elaborated, problems};
use coldboard::diagnostic::any_error;
use proptest::prelude::*;

/// Lines of a board and of an assembly that mostly fit together.
fn soup() -> impl Strategy<Value = String> {
    let number = 0..6u32;
    let board = (0..14usize, number.clone(), number.clone(), number.clone());
    let board = board.prop_map(|(kind, a, b, c)| match kind {
        0 => format!("L{a} latch {{ D[1..{b}] = m[1..{b}]  CLK = n{b} }}"),
        1 => format!("U{a} inverter {{ A = n{b}  2 = n{c} }}"),
        2 => format!("L[0..{a}] latch {{ Q[1..8] = m[{b}..{}]  11 = open }}", b + 7),
        3 => format!("feed U{}..U{} from VCC GND", a.min(b), a.max(b)),
        4 => format!("rail R{a} {a} V"),
        5 => "rail VCC 5 V".to_owned(),
        6 => format!("C{a} capacitor 1 nF decouples U{b}, U{c}"),
        7 => format!("RN{a} network bussed {} pins 1 kohm {{ 1 = VCC  2 = n{c} }}", b + 2),
        8 => format!("connector K{a} header-1x3 {{ 1..2 n[{b}..{}]  3 GND }}", b + 1),
        9 => format!("connector K{a} header-1x3 {{ 1 VCC  2 n{b} = n{c} }}"),
        10 => format!("each i in {a}..{b} {{ R[i] resistor 1 kohm {{ 1 = n[i+{c}]  2 = GND }} }}"),
        11 => format!("D{a} led red {{ anode = n{b}  cathode = n{c} }}"),
        12 => format!("SW{a} changeover {{ common = n{a}  up = n{b}  down = n{c} }}"),
        _ => format!("X{a} can {b} MHz {{ OUT = n{c} }}"),
    });
    let joint = (0..4usize, number.clone(), number.clone(), number);
    let joint = joint.prop_map(|(kind, a, b, c)| match kind {
        0 => format!("cable W# ribbon {b} mm {{ B{a}.J{b}, B{c}.J{a} }}"),
        1 => format!("cable W# ribbon 5 mm reversed {{ B{c}.J{b}, B{a}.J{c} }}"),
        2 => format!("cable W# jumper 5 mm {{ B{b}.J{b}.{} to B{a}.J{c}.2 }}", c.min(2) + 1),
        _ => format!("supply PS# 5 V 1 A {{ plus = B{a}.J{b}.1  minus = B{b}.J{c}.3 }}"),
    });
    let board = proptest::collection::vec(board, 0..8);
    let joints = proptest::collection::vec(joint, 0..8);
    (board, joints).prop_map(|(board, joints)| {
        let joints = joints.iter().enumerate();
        let joints: Vec<String> = joints.map(|(at, line)| line.replace('#', &at.to_string())).collect();
        format!(
            "board b {{ rail VCC 5 V rail GND U[0..5] inverter {{ }}
                each i in 0..5 {{ connector J[i] header-1x3 {{ 1 VCC  2 n[i]  3 GND }} }}\n{} }}
             assembly a {{ B[0..5]: b\n{} }}",
            board.join("\n"),
            joints.join("\n")
        )
    })
}

proptest! {
    #[test]
    fn every_circuit_is_whole_and_every_refusal_has_a_reason(text in soup(), alone: bool) {
        let (circuit, lines, found) = elaborated(Some(if alone { "b" } else { "a" }), &text);
        let Some(circuit) = circuit else {
            prop_assert!(any_error(&found));
            return Ok(());
        };
        let electrical = ["supply-short", "rail-conflict"];
        prop_assert!(found.iter().all(|problem| electrical.contains(&problem.code)), "{lines:?}");
        let mut pins = 0;
        for (key, net) in circuit.nets.iter() {
            prop_assert_eq!(circuit.net(&net.path), Some(key));
            prop_assert!(!net.names.is_empty());
            for (chip, pin) in &net.chip_pins {
                prop_assert_eq!(circuit.chips[*chip].nets[*pin], Some(key));
            }
            for (discrete, pin) in &net.discrete_pins {
                prop_assert_eq!(circuit.discretes[*discrete].nets[*pin], Some(key));
            }
            for (connector, pin) in &net.connector_pins {
                prop_assert_eq!(circuit.connectors[*connector].pins[*pin].net, Some(key));
            }
            pins += net.chip_pins.len() + net.discrete_pins.len() + net.connector_pins.len();
        }
        let chips = circuit.chips.values().flat_map(|chip| &chip.nets);
        let discretes = circuit.discretes.values().flat_map(|discrete| &discrete.nets);
        let connectors = circuit.connectors.values().flat_map(|connector| &connector.pins);
        let wired = chips.chain(discretes).filter(|net| net.is_some()).count();
        prop_assert_eq!(wired + connectors.filter(|pin| pin.net.is_some()).count(), pins);
        for cable in circuit.cables.values() {
            for wire in &cable.wires {
                let nets = wire.iter().filter_map(|(connector, pin)| circuit.connectors[*connector].pins[*pin].net);
                let nets: Vec<_> = nets.collect();
                prop_assert!(nets.windows(2).all(|pair| pair[0] == pair[1]));
            }
        }
    }
}

#[test]
fn endless_designs_are_refused_in_bounded_time() {
    let deep = "board b { each i in 0..65534 { each j in 0..65534 { each k in 0..65534 { } } } }";
    assert_eq!(
        problems(deep),
        ["index: more than 65536 repetitions | `each j in 0..65534` with those around it, this is too much \
             | help: write smaller ranges"]
    );
    let long = format!("board b {{ {} }}", "each i in 0..65534 { } ".repeat(200));
    assert_eq!(
        problems(&long),
        ["too-large: the repetitions of this design never seem to end \
             | more than 8000000 names and repetitions were laid out | help: write smaller ranges"]
    );
    let many = "board b { U[0..65534] latch { D1 = m } }";
    assert_eq!(
        problems(many),
        ["too-large: the design has more than 1000000 pins | `U[0..65534] latch` this is one too many \
          | help: split it into several assemblies"]
    );
    let rails = "board b { each i in 0..99 { rail X[0..65534] } }";
    assert_eq!(
        problems(rails),
        ["too-large: the design has more than 1000000 pins | `X[0..65534]` this is one too many \
          | help: split it into several assemblies"]
    );
    let placed = "board b { U[0..999] latch { } } assembly a { B[0..99]: b }";
    assert_eq!(
        problems(placed),
        ["too-large: the design has more than 1000000 pins | `B[0..99]` this is one too many \
          | help: split it into several assemblies"]
    );
    let wrong = "board b { each i in 0..65534 { U[i] latch { zz[i] = m } } }";
    let lines = problems(wrong);
    assert_eq!(lines.len(), 2);
    assert!(lines[0].contains("499 more of this kind at this place"), "{lines:?}");
    assert_eq!(lines[1], "too-many: there are 500 errors or more; these came first");
}

#[test]
fn ten_thousand_chips_take_a_moment() {
    let text = "board slice { connector L header-1x10 { 1..8 a[0..7] 9 phi 10 GND } connector R header-1x10 { 1..8 b[0..7] 9 phi 10 GND }
                  rail VCC 5 V rail GND
                  each i in 0..99 { U[i] latch { D[1..8] = n[i*8..i*8+7]  Q[1..8] = n[i*8+8..i*8+15]  CLK = phi  /OE = GND } }
                  feed U[0..99] from VCC GND  C[0..99] capacitor 100 nF decouples U[0..99] }
                assembly big { S[0..99]: slice  each i in 0..98 { cable W[i] ribbon 100 mm { S[i].R, S[i+1].L } } }";
    let start = std::time::Instant::now();
    let circuit = circuit(text);
    assert_eq!(circuit.chips.len(), 10_000);
    assert_eq!(circuit.net("S0.phi"), circuit.net("S99.phi"));
    // It takes about 0.2 s in a test build; a quadratic step would need minutes.
    assert!(start.elapsed().as_secs() < 20, "{:?}", start.elapsed());
}
