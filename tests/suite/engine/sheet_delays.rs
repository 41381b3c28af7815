//! What a run really shows of a part is what its sheet says, to the picosecond: at the sheet's voltages, loads and
//! temperatures. The figures here were copied from the sheets, not from `library/`.

use super::bench::{Run, circuit, settings};
use coldboard::language::ast::{Corner, PowerUp};
use coldboard::logic::Level;
use coldboard::quantity::{Temperature, Time};
use coldboard::run::Settings;

/// At which temperature, in which corner, how many nanoseconds.
type Figure = (i64, Corner, f64);

/// One path of one part.
struct Case {
    number: &'static str,
    /// The sheet.
    source: &'static str,
    /// How the chip is wired; `y` is the output.
    wiring: &'static str,
    /// What is set, one step behind the other; the last step moves the output.
    steps: &'static [&'static str],
    /// Its new level.
    level: Level,
    /// Supply voltage, load, and figures.
    figures: &'static [(&'static str, &'static str, &'static [Figure])],
}

const TYP: Corner = Corner::Typical;
const MAX: Corner = Corner::Slowest;

const GATE: &str = "1A = a  1B = VCC  1Y = y  [2..4]A = GND  [2..4]B = GND";
const OR: &str = "1A = a  1B = GND  1Y = y  [2..4]A = GND  [2..4]B = GND";
const INVERTER: &str = "1A = a  1Y = y  [2..6]A = GND";
const COUNTER: &str = "CLK = a  /CLR = c  /LOAD = VCC  ENP = VCC  ENT = VCC  [A..D] = GND  QA = y";
const REGISTER: &str = "CLK = a  /OE = GND  D1 = d  D[2..8] = GND  Q1 = y";

const CASES: &[Case] = &[
    Case {
        number: "74HC00",
        source: "TI SCLS181H, August 2021",
        wiring: GATE,
        steps: &["a=0", "a=1"],
        level: Level::Zero,
        figures: &[
            ("2 V", "50 pF", &[(25, TYP, 45.0), (25, MAX, 90.0), (85, MAX, 115.0), (125, MAX, 135.0)]),
            ("4.5 V", "50 pF", &[(25, TYP, 9.0), (25, MAX, 18.0), (85, MAX, 23.0), (125, MAX, 27.0)]),
            ("6 V", "50 pF", &[(25, TYP, 8.0), (25, MAX, 15.0), (85, MAX, 20.0), (125, MAX, 23.0)]),
        ],
    },
    Case {
        number: "74HC32",
        source: "TI SCLS200F, April 2021",
        wiring: OR,
        steps: &["a=0", "a=1"],
        level: Level::One,
        figures: &[
            ("2 V", "50 pF", &[(25, TYP, 50.0), (25, MAX, 100.0), (85, MAX, 125.0), (125, MAX, 150.0)]),
            ("4.5 V", "50 pF", &[(25, TYP, 10.0), (25, MAX, 20.0), (85, MAX, 25.0), (125, MAX, 30.0)]),
            ("6 V", "50 pF", &[(25, TYP, 8.0), (25, MAX, 17.0), (85, MAX, 21.0), (125, MAX, 25.0)]),
        ],
    },
    Case {
        number: "74HC138",
        source: "TI SCLS107F, September 2016",
        wiring: "A = a  B = GND  C = GND  G1 = VCC  /G2A = GND  /G2B = GND  Y0 = y",
        steps: &["a=0", "a=1"],
        level: Level::One,
        figures: &[
            ("2 V", "50 pF", &[(25, TYP, 67.0), (25, MAX, 180.0), (85, MAX, 225.0), (125, MAX, 270.0)]),
            ("4.5 V", "50 pF", &[(25, TYP, 18.0), (25, MAX, 36.0), (85, MAX, 45.0), (125, MAX, 54.0)]),
            ("6 V", "50 pF", &[(25, TYP, 15.0), (25, MAX, 31.0), (85, MAX, 38.0), (125, MAX, 46.0)]),
        ],
    },
    Case {
        number: "74HC161",
        source: "TI SCLS297D, September 2003",
        wiring: COUNTER,
        steps: &["a=0 c=0", "c=1", "a=1"],
        level: Level::One,
        figures: &[
            ("2 V", "50 pF", &[(25, TYP, 80.0), (25, MAX, 205.0), (85, MAX, 255.0), (125, MAX, 310.0)]),
            ("4.5 V", "50 pF", &[(25, TYP, 25.0), (25, MAX, 41.0), (85, MAX, 51.0), (125, MAX, 62.0)]),
            ("6 V", "50 pF", &[(25, TYP, 21.0), (25, MAX, 35.0), (85, MAX, 43.0), (125, MAX, 53.0)]),
        ],
    },
    Case {
        number: "74HC574",
        source: "TI SCLS148F, August 2003",
        wiring: REGISTER,
        steps: &["a=0 d=0", "a=1", "a=0 d=1", "a=1"],
        level: Level::One,
        figures: &[
            ("2 V", "50 pF", &[(25, TYP, 90.0), (25, MAX, 180.0), (85, MAX, 225.0), (125, MAX, 270.0)]),
            ("2 V", "150 pF", &[(25, TYP, 105.0), (25, MAX, 265.0), (85, MAX, 330.0), (125, MAX, 400.0)]),
            ("4.5 V", "50 pF", &[(25, TYP, 28.0), (25, MAX, 36.0), (85, MAX, 45.0), (125, MAX, 54.0)]),
            ("4.5 V", "150 pF", &[(25, TYP, 36.0), (25, MAX, 53.0), (85, MAX, 66.0), (125, MAX, 80.0)]),
            ("6 V", "150 pF", &[(25, TYP, 31.0), (25, MAX, 46.0), (85, MAX, 57.0), (125, MAX, 68.0)]),
        ],
    },
    Case {
        number: "74HC245",
        source: "TI SCLS131E, September 2015",
        wiring: "DIR = VCC  /OE = GND  A1 = a  A[2..8] = GND  B1 = y",
        steps: &["a=0", "a=1"],
        level: Level::One,
        figures: &[
            ("2 V", "50 pF", &[(25, TYP, 40.0), (25, MAX, 105.0), (85, MAX, 130.0), (125, MAX, 160.0)]),
            ("4.5 V", "50 pF", &[(25, TYP, 15.0), (25, MAX, 21.0), (85, MAX, 26.0), (125, MAX, 32.0)]),
            ("4.5 V", "150 pF", &[(25, TYP, 18.0), (25, MAX, 27.0), (85, MAX, 34.0), (125, MAX, 40.0)]),
            ("6 V", "50 pF", &[(25, TYP, 12.0), (25, MAX, 18.0), (85, MAX, 22.0), (125, MAX, 27.0)]),
        ],
    },
    Case {
        number: "74HC283",
        source: "Philips 74HC283 Rev.03, November 2004",
        wiring: "A[1..4] = GND  B[1..4] = GND  C0 = a  S1 = y",
        steps: &["a=0", "a=1"],
        level: Level::One,
        figures: &[
            ("2 V", "50 pF", &[(25, TYP, 52.0), (25, MAX, 160.0), (85, MAX, 200.0), (125, MAX, 240.0)]),
            ("4.5 V", "50 pF", &[(25, TYP, 19.0), (25, MAX, 32.0), (85, MAX, 40.0), (125, MAX, 48.0)]),
            ("6 V", "50 pF", &[(25, TYP, 15.0), (25, MAX, 27.0), (85, MAX, 34.0), (125, MAX, 41.0)]),
        ],
    },
    Case {
        number: "74HC157",
        source: "Nexperia 74HC_HCT157 Rev.8, December 2015",
        wiring: "/A/B = GND  /G = GND  1A = a  1B = GND  [2..4]A = GND  [2..4]B = GND  1Y = y",
        steps: &["a=0", "a=1"],
        level: Level::One,
        figures: &[
            ("2 V", "50 pF", &[(25, TYP, 36.0), (25, MAX, 125.0), (85, MAX, 155.0), (125, MAX, 190.0)]),
            ("4.5 V", "50 pF", &[(25, TYP, 13.0), (25, MAX, 25.0), (85, MAX, 31.0), (125, MAX, 38.0)]),
            ("6 V", "50 pF", &[(25, TYP, 10.0), (25, MAX, 21.0), (85, MAX, 26.0), (125, MAX, 32.0)]),
        ],
    },
    Case {
        number: "74HC153",
        source: "TI SCLS112D, October 2003",
        wiring: "A = GND  B = GND  1C0 = a  1C[1..3] = GND  2C[0..3] = GND  /[1..2]G = GND  1Y = y",
        steps: &["a=0", "a=1"],
        level: Level::One,
        figures: &[
            ("2 V", "50 pF", &[(25, TYP, 73.0), (25, MAX, 126.0), (85, MAX, 158.0), (125, MAX, 189.0)]),
            ("4.5 V", "50 pF", &[(25, TYP, 17.0), (25, MAX, 28.0), (85, MAX, 35.0), (125, MAX, 42.0)]),
            ("6 V", "50 pF", &[(25, TYP, 14.0), (25, MAX, 23.0), (85, MAX, 29.0), (125, MAX, 35.0)]),
        ],
    },
    Case {
        number: "74HC4040",
        source: "NXP 74HC_HCT4040 Rev 4, March 2014",
        wiring: "/CP = a  MR = c  Q1 = y",
        steps: &["a=1 c=1", "c=0", "a=0"],
        level: Level::One,
        figures: &[
            ("2 V", "50 pF", &[(25, TYP, 47.0), (25, MAX, 150.0), (85, MAX, 190.0), (125, MAX, 225.0)]),
            ("4.5 V", "50 pF", &[(25, TYP, 17.0), (25, MAX, 30.0), (85, MAX, 38.0), (125, MAX, 45.0)]),
            ("6 V", "50 pF", &[(25, TYP, 14.0), (25, MAX, 26.0), (85, MAX, 33.0), (125, MAX, 38.0)]),
        ],
    },
    Case {
        number: "74HC164",
        source: "NXP 74HC_HCT164 Rev 7, June 2013",
        wiring: "A = VCC  B = VCC  CLK = a  /CLR = c  QA = y",
        steps: &["a=0 c=0", "c=1", "a=1"],
        level: Level::One,
        figures: &[
            ("2 V", "50 pF", &[(25, TYP, 41.0), (25, MAX, 170.0), (85, MAX, 215.0), (125, MAX, 255.0)]),
            ("4.5 V", "50 pF", &[(25, TYP, 15.0), (25, MAX, 34.0), (85, MAX, 43.0), (125, MAX, 51.0)]),
            ("6 V", "50 pF", &[(25, TYP, 12.0), (25, MAX, 29.0), (85, MAX, 37.0), (125, MAX, 43.0)]),
        ],
    },
    Case {
        number: "74HCT574",
        source: "TI SCHS183E, October 2022",
        wiring: REGISTER,
        steps: &["a=0 d=0", "a=1", "a=0 d=1", "a=1"],
        level: Level::One,
        figures: &[("4.5 V", "50 pF", &[(25, MAX, 33.0), (85, MAX, 41.0), (125, MAX, 50.0)])],
    },
    Case {
        number: "74AC00",
        source: "ON Semi 74AC00/74ACT00 Rev.2",
        wiring: GATE,
        steps: &["a=1", "a=0"],
        level: Level::One,
        figures: &[
            ("3.3 V", "50 pF", &[(25, TYP, 7.0), (25, MAX, 9.5), (85, MAX, 10.0)]),
            ("5 V", "50 pF", &[(25, Corner::Fastest, 1.5), (25, TYP, 6.0), (25, MAX, 8.0), (85, MAX, 8.5)]),
        ],
    },
    Case {
        number: "74ACT244",
        source: "TI SCAS517C, October 2002",
        wiring: "1A1 = a  1A[2..4] = GND  2A[1..4] = GND  /[1..2]OE = GND  1Y1 = y",
        steps: &["a=1", "a=0"],
        level: Level::Zero,
        figures: &[("5 V", "50 pF", &[(25, TYP, 7.0), (25, MAX, 9.0), (85, MAX, 10.0)])],
    },
    Case {
        number: "74AHC04",
        source: "from memory",
        wiring: INVERTER,
        steps: &["a=0", "a=1"],
        level: Level::Zero,
        figures: &[
            ("3.3 V", "15 pF", &[(25, MAX, 7.1), (85, MAX, 8.5)]),
            ("5 V", "15 pF", &[(25, MAX, 5.5), (85, MAX, 6.5)]),
            ("5 V", "50 pF", &[(25, MAX, 7.5), (85, MAX, 8.5)]),
        ],
    },
    Case {
        number: "74AHCT574",
        source: "TI SCLS245M, September 2014",
        wiring: REGISTER,
        steps: &["a=0 d=0", "a=1", "a=0 d=1", "a=1"],
        level: Level::One,
        figures: &[
            ("5 V", "15 pF", &[(25, TYP, 5.5), (25, MAX, 8.6), (85, MAX, 10.0)]),
            ("5 V", "50 pF", &[(25, TYP, 7.0), (25, MAX, 10.6), (85, MAX, 12.0)]),
        ],
    },
    Case {
        number: "74LS00",
        source: "TI SDLS025D, May 2017",
        wiring: GATE,
        steps: &["a=1", "a=0"],
        level: Level::One,
        figures: &[("5 V", "15 pF", &[(25, TYP, 9.0), (25, MAX, 15.0)])],
    },
    Case {
        number: "74LS161",
        source: "TI SDLS060, March 1988",
        wiring: COUNTER,
        steps: &["a=0 c=0", "c=1", "a=1"],
        level: Level::One,
        figures: &[("5 V", "15 pF", &[(25, TYP, 13.0), (25, MAX, 24.0)])],
    },
    Case {
        number: "74LS86",
        source: "TI SDLS124, March 1988: the other input high",
        wiring: GATE,
        steps: &["a=0", "a=1"],
        level: Level::Zero,
        figures: &[("5 V", "15 pF", &[(25, TYP, 13.0), (25, MAX, 22.0)])],
    },
    Case {
        number: "74ALS244",
        source: "TI SDAS142C, August 1995",
        wiring: "1A1 = a  1A[2..4] = GND  2A[1..4] = GND  /[1..2]OE = GND  1Y1 = y",
        steps: &["a=0", "a=1"],
        level: Level::One,
        figures: &[("5 V", "50 pF", &[(0, MAX, 10.0), (70, MAX, 10.0)])],
    },
    Case {
        number: "74F244",
        source: "from memory",
        wiring: "1A1 = a  1A[2..4] = GND  2A[1..4] = GND  /[1..2]OE = GND  1Y1 = y",
        steps: &["a=1", "a=0"],
        level: Level::Zero,
        figures: &[("5 V", "50 pF", &[(25, TYP, 4.0), (25, MAX, 5.2), (70, MAX, 6.5)])],
    },
    Case {
        number: "74S00",
        source: "TI SDLS025D, May 2017",
        wiring: GATE,
        steps: &["a=0", "a=1"],
        level: Level::Zero,
        figures: &[("5 V", "15 pF", &[(25, TYP, 3.0), (25, MAX, 5.0)]), ("5 V", "50 pF", &[(25, TYP, 5.0)])],
    },
    Case {
        number: "7404",
        source: "TI SDLS029C, January 2004",
        wiring: INVERTER,
        steps: &["a=1", "a=0"],
        level: Level::One,
        figures: &[("5 V", "15 pF", &[(25, TYP, 12.0), (25, MAX, 22.0)])],
    },
];

/// What a run shows, in picoseconds.
fn measured(case: &Case, volts: &str, load: &str, celsius: i64, corner: Corner) -> i64 {
    let circuit = circuit(&format!(
        "board test {{ rail VCC {volts}  rail GND  feed U1 from VCC GND
            U1 {} {{ {} }}
            C1 capacitor {load} {{ 1 = y  2 = GND }}
        }}",
        case.number, case.wiring
    ));
    let settings =
        Settings { temperature: Some(Temperature::from_raw(celsius * 1000)), ..settings(corner, PowerUp::Unknown) };
    let wired = |name: &&str| case.wiring.contains(&format!("= {name}"));
    let stimuli: Vec<&str> = ["a", "c", "d"].into_iter().filter(wired).collect();
    let mut run = Run::with(&circuit, settings, &stimuli);
    let y = run.net("y");
    let mut moved = Time::ZERO;
    for step in case.steps {
        moved = run.machine.now();
        run.changes.0.clear();
        run.set(step).run(Time::from_ns(2_000));
    }
    let edges: Vec<_> = run.changes.0.iter().filter(|change| change.1 == y).collect();
    let [(time, _, level)] = edges.as_slice() else {
        panic!("{} at {volts}: {edges:?}", case.number);
    };
    assert_eq!(*level, case.level, "{}", case.number);
    (*time - moved).ps()
}

#[test]
fn delays_of_a_run_are_those_of_the_sheets() {
    assert!(CASES.len() >= 20);
    let mut wrong = Vec::new();
    for case in CASES {
        for &(volts, load, figures) in case.figures {
            for &(celsius, corner, ns) in figures {
                let shown = measured(case, volts, load, celsius, corner);
                let published = (ns * 1000.0).round() as i64;
                if shown != published {
                    wrong.push(format!(
                        "{} at {volts}, {load}, {celsius} C, {corner:?}: the sheet ({}) gives {published} ps, the run {shown} ps",
                        case.number, case.source
                    ));
                }
            }
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}
