//! Supplies, rails that meet, and what they reach.

use super::{TWO, circuit, elaborated, problems, volts};

#[test]
fn a_connector_turned_round_is_a_short() {
    let text = "assembly a { A, B: end
        cable W1 ribbon 100 mm { A.J1, B.J1 }
        cable W2 ribbon 100 mm reversed { A.J2, B.J2 }
        supply PS1 5 V 1 A { plus = A.J1.1  minus = A.J1.2 } }";
    let (circuit, lines, _) = elaborated(None, &format!("{TWO}{text}"));
    assert_eq!(
        lines,
        [
            "rail-conflict: cable W2 joins A.VCC (5 V) to A.GND (0 V) \
             | `cable W2 ribbon 100 mm` its wire from A.J2.1 to B.J2.2 | `VCC` 5 V here | `GND` 0 V here \
             | help: see whether a connector is turned round, or its pins are in another order",
            "supply-short: PS1 is shorted: its poles meet on A.VCC | `A.J1.1` 5 V here | `A.J1.2` minus here \
             | it is one net: A.VCC, A.GND, B.VCC, B.GND | cables on it: W1, W2 \
             | help: move one of the poles, or turn the connector round that is the wrong way",
        ]
    );
    let circuit = circuit.expect("it is clear what is there");
    let net = &circuit.nets[circuit.net("B.GND").expect("there")];
    assert_eq!(net.rail.expect("a rail").fed, None);
}

#[test]
fn supplies_that_disagree_are_told_once_for_a_net() {
    let supplies = |poles: &str| {
        let text = format!("{TWO} assembly a {{ A: end  {poles} }}");
        elaborated(None, &text).1
    };
    let two = "supply PS1 5 V 1 A { plus = A.J1.1  minus = A.J1.2 }";
    assert_eq!(
        supplies(&format!("{two} supply PS2 3.3 V 1 A {{ plus = A.J2.1  minus = A.J2.GND }}")),
        ["supply-short: PS1 (5 V) and PS2 (3.3 V) meet on A.VCC | `A.J1.1` 5 V here | `A.J2.1` 3.3 V here \
          | it is one net: A.VCC | help: move one of the poles"]
    );
    assert_eq!(
        supplies(&format!("{two} supply PS2 5 V 1 A {{ plus = A.J2.2  minus = A.J2.1 }}")),
        [
            "supply-short: plus of PS1 and minus of PS2 meet on A.VCC | `A.J1.1` 5 V here | `A.J2.1` minus here \
             | it is one net: A.VCC | help: move one of the poles",
            "supply-short: plus of PS2 and minus of PS1 meet on A.GND | `A.J2.2` 5 V here | `A.J1.2` minus here \
             | it is one net: A.GND | help: move one of the poles",
        ]
    );
    let same = supplies(&format!("{two} supply PS2 5 V 1 A {{ plus = A.J2.1  minus = A.J2.2 }}"));
    assert!(same.is_empty(), "{same:?}");
}

#[test]
fn a_supply_reaches_every_pin_of_a_label_that_leads_somewhere() {
    let board = "board p { rail V 5 V rail W 5 V connector J header-1x4 { 1..2 V = (V, W)  3 N = GND  4 open } }";
    let text = |minus: &str| {
        format!("{board} assembly a {{ P: p  supply PS1 5 V 1 A {{ plus = P.J.V  minus = P.J.{minus} }} }}")
    };
    let circuit = circuit(&text("N"));
    let fed = |path| circuit.nets[circuit.net(path).expect(path)].rail.expect("a rail").fed;
    assert_eq!((fed("P.V"), fed("P.W")), (Some(volts(5)), Some(volts(5))));
    assert_eq!(
        problems(&text("4")),
        ["supply: nothing is behind P.J.4 | `P.J.4` a pole of PS1 ends here \
          | help: connect the supply to a pin that leads to a rail"]
    );
}
