//! Each rule on another design than that of `designs/faulty/`, and on one that is nearly so.

use super::check::{messages, of_rule, stands};

/// A board with a supply, and lines.
fn board(lines: &str) -> String {
    format!("board b {{ rail VCC 5 V  rail GND  connector POWER terminal-1x2 {{ 1 VCC  2 GND }}  {lines} }}")
}

/// A rule, what it finds in the first lines; nothing in the others.
type Case = (&'static str, &'static str, &'static [&'static str], &'static [&'static str]);

const CASES: &[Case] = &[
    (
        "bouncing-clock",
        "feed U1 from VCC GND  SW1 changeover { common = step  up = VCC  down = GND }
         U1 74HC163 { CLK = step  /CLR = VCC  /LOAD = VCC  ENP = VCC  ENT = VCC }",
        &["SW1: warning"],
        // A flip-flop, or a capacitor and a Schmitt input, stand between.
        &[
            "feed U1..U2 from VCC GND  SW1 button { 1 = go  2 = GND }  R1 resistor 10 kohm { 1 = VCC  2 = go }
             U1 74HC74 { 1D = go  1CLK = clk  1Q = step  /1CLR = VCC  /1PRE = VCC }
             connector C header-1x1 { 1 clk }
             U2 74HC163 { CLK = step  /CLR = VCC  /LOAD = VCC  ENP = VCC  ENT = VCC }",
            "feed U1..U2 from VCC GND  SW1 button { 1 = go  2 = GND }  R1 resistor 47 kohm { 1 = VCC  2 = go }
             C1 capacitor 100 nF { 1 = go  2 = GND }  U1 74HC14 { 1A = go  1Y = step }
             U2 74HC163 { CLK = step  /CLR = VCC  /LOAD = VCC  ENP = VCC  ENT = VCC }",
        ],
    ),
    (
        "clock-load",
        // 20 inputs of at most 10 pF each.
        "feed U1..U20 from VCC GND  X1 OSC14 1 MHz { OUT = clk  VCC = VCC  GND = GND }
         U1..U20 74HC377 { CLK = clk  /CLKEN = GND }",
        &["clk: warning"],
        &[
            "feed U1..U8 from VCC GND  X1 OSC14 1 MHz { OUT = clk  VCC = VCC  GND = GND }
             U1..U8 74HC377 { CLK = clk  /CLKEN = GND }",
        ],
    ),
    (
        "fan-out",
        // TTL at 16 mA takes ten inputs of 1.6 mA (Fairchild DS006494).
        "feed U1..U12 from VCC GND  connector C header-1x1 { 1 a }  U1 7404 { 1A = a  1Y = x }
         U2..U12 7404 { 1A = x }",
        &["x: error"],
        &[
            "feed U1..U11 from VCC GND  connector C header-1x1 { 1 a }  U1 7404 { 1A = a  1Y = x }
             U2..U11 7404 { 1A = x }",
            "feed U1..U21 from VCC GND  connector C header-1x1 { 1 a }  U1 74HC04 { 1A = a  1Y = x }
             U2..U21 74HC04 { 1A = x }",
        ],
    ),
    (
        // The output of a 7406 takes 40 mA at low (recalled of its sheet), and gives no more than 30 V back.
        "output-current",
        "rail V12 12 V  feed U1 from VCC GND  connector C header-1x3 { 1 a  2 b  3 V12 }  U1 7406 { 1A = a  1Y = x }
         R1 resistor 240 ohm 1 W { 1 = V12  2 = x }",
        &["U1.1Y: warning"],
        &[
            "rail V12 12 V  feed U1 from VCC GND  connector C header-1x3 { 1 a  2 b  3 V12 }  U1 7406 { 1A = a  1Y = x }
             R1 resistor 390 ohm 1 W { 1 = V12  2 = x }",
        ],
    ),
    (
        // NTE74LS05: no more than 5.5 V at an output that is off; the '06 stands 30 V.
        "input-too-high",
        "rail V12 12 V  feed U1 from VCC GND  connector C header-1x3 { 1 a  2 b  3 V12 }  U1 74LS05 { 1A = a  1Y = x }
         R1 resistor 10 kohm { 1 = V12  2 = x }",
        &["x: error"],
        &[
            "rail V12 12 V  feed U1 from VCC GND  connector C header-1x3 { 1 a  2 b  3 V12 }  U1 74LS06 { 1A = a  1Y = x }
             R1 resistor 10 kohm { 1 = V12  2 = x }",
            "feed U1 from VCC GND  connector C header-1x2 { 1 a  2 b }  U1 74LS05 { 1A = a  1Y = x }
             R1 resistor 10 kohm { 1 = VCC  2 = x }",
        ],
    ),
    (
        "pull-up-range",
        // NTE74LS05: 100 uA through an output that is off, two of them; HC needs 3.5 V (TI SCLS131D) and 0.4 V are left for
        // noise: at most 1.1 V / 202 uA = 5.4 kohm.
        "feed U1..U2 from VCC GND  connector C header-1x2 { 1 a  2 b }  U1 74LS05 { 1A = a  1Y = x  2A = b  2Y = x }
         R1 resistor 5.6 kohm { 1 = VCC  2 = x }  U2 74HC04 { 1A = x }",
        &["x: warning"],
        &[
            "feed U1..U2 from VCC GND  connector C header-1x2 { 1 a  2 b }  U1 74LS05 { 1A = a  1Y = x  2A = b  2Y = x }
             R1 resistor 4.7 kohm { 1 = VCC  2 = x }  U2 74HC04 { 1A = x }",
        ],
    ),
    (
        // An open collector never gives a high level (sheets of the '03, '05 and '12), so a resistor to ground makes none
        // either. A connector counts as a pull-up that may stand elsewhere, but not beside one that pulls down.
        "pull-up-range",
        "feed U1 from VCC GND  connector C header-1x2 { 1 a  2 /irq }  U1 74LS05 { 1A = a  1Y = /irq  2A = /irq }
         R1 resistor 4.7 kohm { 1 = GND  2 = /irq }",
        &["/irq: warning"],
        &[
            "feed U1 from VCC GND  connector C header-1x2 { 1 a  2 /irq }  U1 74LS05 { 1A = a  1Y = /irq  2A = /irq }
             R1 resistor 4.7 kohm { 1 = VCC  2 = /irq }",
            "feed U1 from VCC GND  connector C header-1x2 { 1 a  2 /irq }  U1 74LS05 { 1A = a  1Y = /irq  2A = /irq }",
        ],
    ),
    (
        // 100 kohm and at least 13 pF make an edge of 2.2 RC = 3 us (every handbook); 1 kohm one of 30 ns.
        "slow-clock-edge",
        "feed U1..U2 from VCC GND  connector C header-1x2 { 1 a  2 d }  U1 74HC04 { 1A = a  1Y = x }
         R1 resistor 100 kohm { 1 = x  2 = clk }  U2 74HC74 { 1CLK = clk  1D = d  1Q = q  /1CLR = VCC  /1PRE = VCC }",
        &["U2.1CLK: warning"],
        &[
            "feed U1..U2 from VCC GND  connector C header-1x2 { 1 a  2 d }  U1 74HC04 { 1A = a  1Y = x }
             R1 resistor 1 kohm { 1 = x  2 = clk }  U2 74HC74 { 1CLK = clk  1D = d  1Q = q  /1CLR = VCC  /1PRE = VCC }",
        ],
    ),
    (
        // DIR is high: A to B. Nothing drives the port A that U2 listens to (TI SCLS131D, function table).
        "net-without-driver",
        "feed U1..U2 from VCC GND  connector C header-1x1 { 1 b }  U1 74HC245 { DIR = VCC  /OE = GND  A1 = a  B1 = b }
         U2 74HC04 { 1A = a }",
        &["a: error"],
        &[
            "feed U1..U2 from VCC GND  connector C header-1x1 { 1 b }  U1 74HC245 { DIR = GND  /OE = GND  A1 = a  B1 = b }
             U2 74HC04 { 1A = a }",
        ],
    ),
    (
        // A red lamp of 1.6 V to 2 V at 5 V and 82 ohm: 37 mA at least, by Ohm's law; common lamps stand 20 mA.
        "led-current",
        "D1 led red 82 ohm { anode = VCC  cathode = GND }",
        &["D1: error"],
        &["D1 led red 330 ohm { anode = VCC  cathode = GND }"],
    ),
    (
        // Each of these shorts a supply, or an output, when somebody pushes it: Ohm's law.
        "contact-short",
        "feed U1 from VCC GND  connector C header-1x1 { 1 a }  U1 74HC04 { 1A = a  1Y = x  2A = a  2Y = y }
         SW1 button { 1 = VCC  2 = GND }  SW2 switch { 1 = x  2 = y }  SW3 changeover { common = x  up = VCC  down = GND }",
        &["SW1: error", "SW2: warning", "SW3: warning"],
        &[
            // A resistor between; inputs alone; a rail that a switch feeds; an open collector on ground.
            "feed U1..U2 from VCC GND  rail V5B 5 V  connector C header-1x1 { 1 a }  U1 74HC04 { 1A = a  1Y = x  2A = b  2Y = y }
             R1 resistor 10 kohm { 1 = VCC  2 = b }  SW1 button { 1 = b  2 = GND }  SW2 switch { 1 = VCC  2 = V5B }
             SW3 changeover { common = GND  up = x1  down = b }  R2 resistor 1 kohm { 1 = x  2 = x1 }
             U2 74LS05 { 1A = a  1Y = w }  R3 resistor 4.7 kohm { 1 = VCC  2 = w }  SW4 button { 1 = w  2 = GND }",
        ],
    ),
    (
        // 0.4 mA out of an LS input (TI SDLS025B) through 10 kohm are 4 V; a resistor in the way of a signal that comes in
        // by a connector is no pull.
        "weak-pull",
        "feed U1 from VCC GND  connector C header-1x1 { 1 a }  U1 74LS04 { 1A = k }
         SW1 button { 1 = VCC  2 = k }  R1 resistor 10 kohm { 1 = k  2 = GND }",
        &["k: error"],
        &[
            "feed U1 from VCC GND  connector C header-1x1 { 1 a }  U1 74HC04 { 1A = k }
             R1 resistor 1 kohm { 1 = a  2 = k }",
        ],
    ),
    (
        // Eight pulses fill a shift register, whatever it held, and one more its output register (TI SCLS041B, function
        // table); a ring that nothing else enters keeps what it had.
        "no-reset",
        "feed U1 from VCC GND  connector C header-1x2 { 1 sck  2 latch }
         U1 74HC595 { SER = ring  SRCLK = sck  /SRCLR = VCC  RCLK = latch  /OE = GND  QA = q  QHS = ring }",
        &["U1: note"],
        &[
            "feed U1 from VCC GND  connector C header-1x3 { 1 sck  2 latch  3 d }
             U1 74HC595 { SER = d  SRCLK = sck  /SRCLR = VCC  RCLK = latch  /OE = GND  QA = q  QHS = last }",
        ],
    ),
    (
        "bus-floats",
        // Nobody drives while /pick is high, and nobody while /read and /write are low: the first is what tells.
        "feed U1..U3 from VCC GND  connector C header-1x4 { 1 /pick  2 /read  3 /write  4 d }
         U1 74HC245 { A1 = d  B1 = m  DIR = /read  /OE = /pick }  U3 74HC04 { 1A = m }
         U2 62256-70 { /CE = /pick  /OE = /read  /WE = /write  A[0..14] = GND  DQ0 = m }",
        &["m: warning"],
        &[
            "feed U1..U3 from VCC GND  connector C header-1x4 { 1 /pick  2 /read  3 /write  4 d }
             U1 74HC245 { A1 = d  B1 = m  DIR = /read  /OE = /pick }  U3 74HC04 { 1A = m }
             U2 62256-70 { /CE = /pick  /OE = /read  /WE = /write  A[0..14] = GND  DQ0 = m }
             R1 resistor 10 kohm { 1 = m  2 = GND }",
        ],
    ),
    (
        "level-mismatch",
        // 3.3 V into HC at 5 V, which needs 3.5 V (TI SCLS131D).
        "rail V33 3.3 V  feed U1 from V33 GND  feed U2 from VCC GND  connector C header-1x2 { 1 a  2 V33 }
         U1 74HC04 { 1A = a  1Y = x }  U2 74HC04 { 1A = x }",
        &["x: error"],
        // HCT needs 2 V; a pull-up to 5 V helps an open drain.
        &[
            "rail V33 3.3 V  feed U1 from V33 GND  feed U2 from VCC GND  connector C header-1x2 { 1 a  2 V33 }
             U1 74HC04 { 1A = a  1Y = x }  U2 74HCT04 { 1A = x }",
            "feed U1..U2 from VCC GND  connector C header-1x1 { 1 a }  U1 74LS05 { 1A = a  1Y = x }
             R1 resistor 2.2 kohm { 1 = VCC  2 = x }  U2 74HC04 { 1A = x }",
        ],
    ),
    (
        "level-under-load",
        "feed U1..U2 from VCC GND  connector C header-1x1 { 1 a }  U1 74HC04 { 1A = a  1Y = x }
         U2 74HC04 { 1A = x }  R1 resistor 150 ohm { 1 = x  2 = GND }",
        &["x: error"],
        &[
            "feed U1..U2 from VCC GND  connector C header-1x1 { 1 a }  U1 74HC04 { 1A = a  1Y = x }
             U2 74HC04 { 1A = x }  R1 resistor 4.7 kohm { 1 = x  2 = GND }",
        ],
    ),
    (
        "led-current",
        "feed U1 from VCC GND  connector C header-1x1 { 1 a }  U1 74LS04 { 1A = a  1Y = x }
         D1 led red 10 kohm { anode = VCC  cathode = x }",
        &["D1: warning"],
        &[
            "feed U1 from VCC GND  connector C header-1x1 { 1 a }  U1 74LS04 { 1A = a  1Y = x }
             D1 led red 680 ohm { anode = VCC  cathode = x }",
        ],
    ),
    (
        "output-current",
        // 5 V over 150 ohm are 33 mA, and an HC output stands 25 mA.
        "feed U1 from VCC GND  connector C header-1x1 { 1 a }  U1 74HC04 { 1A = a  1Y = x }
         R1 resistor 150 ohm { 1 = x  2 = VCC }",
        &["U1.1Y: warning"],
        // 23 mA; and 33 mA of the 35 mA of a bus driver.
        &[
            "feed U1 from VCC GND  connector C header-1x1 { 1 a }  U1 74HC04 { 1A = a  1Y = x }
             R1 resistor 220 ohm { 1 = x  2 = VCC }",
            "feed U1 from VCC GND  connector C header-1x1 { 1 a }
             U1 74HC541 { A1 = a  Y1 = x  /OE1 = GND  /OE2 = GND }  R1 resistor 150 ohm { 1 = x  2 = VCC }",
        ],
    ),
    (
        "supply-pin-current",
        // Six times 5 V over 470 ohm are 64 mA of 50 mA.
        "feed U1 from VCC GND  connector C header-1x6 { 1..6 a[1..6] }
         U1 74HC04 { [1..6]A = a[1..6]  [1..6]Y = x[1..6] }  R1..R6 resistor 470 ohm { 1 = x[1..6]  2 = VCC }",
        &["U1: warning"],
        &[
            "feed U1 from VCC GND  connector C header-1x6 { 1..6 a[1..6] }
             U1 74HC04 { [1..6]A = a[1..6]  [1..6]Y = x[1..6] }  R1..R6 resistor 1 kohm { 1 = x[1..6]  2 = VCC }",
        ],
    ),
    (
        "weak-pull",
        "feed U1 from VCC GND  R1 resistor 4.7 kohm { 1 = x  2 = GND }  SW1 switch { 1 = x  2 = VCC }
         U1 7404 { 1A = x }",
        &["x: error"],
        &[
            "feed U1 from VCC GND  R1 resistor 4.7 kohm { 1 = x  2 = GND }  SW1 switch { 1 = x  2 = VCC }
             U1 74HCT04 { 1A = x }",
            "feed U1 from VCC GND  R1 resistor 330 ohm { 1 = x  2 = GND }  SW1 switch { 1 = x  2 = VCC }
             U1 7404 { 1A = x }",
        ],
    ),
    (
        "pull-up-range",
        "feed U1..U2 from VCC GND  connector C header-1x1 { 1 a }  U1 74LS05 { 1A = a  1Y = x }
         R1 resistor 100 kohm { 1 = VCC  2 = x }  U2 74LS04 { 1A = x }",
        &["x: warning"],
        &[
            "feed U1..U2 from VCC GND  connector C header-1x1 { 1 a }  U1 74LS05 { 1A = a  1Y = x }
             R1 resistor 3.3 kohm { 1 = VCC  2 = x }  U2 74LS04 { 1A = x }",
        ],
    ),
    (
        "no-reset",
        "feed U1 from VCC GND  connector C header-1x2 { 1 clk  2 q }
         U1 74HC161 { CLK = clk  /CLR = VCC  /LOAD = VCC  ENP = VCC  ENT = VCC  QD = q }",
        &["U1: note"],
        &[
            "feed U1 from VCC GND  connector C header-1x3 { 1 clk  2 q  3 /load }
             U1 74HC161 { CLK = clk  /CLR = VCC  /LOAD = /load  ENP = VCC  ENT = VCC  QD = q  [A..D] = GND }",
        ],
    ),
    (
        "memory-unreachable",
        "feed U1 from VCC GND  connector C header-1x8 { 1..8 a[0..7] }
         U1 62256-70 { A[0..7] = a[0..7]  A[8..14] = a7 }",
        &["U1: note"],
        &[
            "feed U1 from VCC GND  connector C header-1x15 { 1..15 a[0..14] }
             U1 62256-70 { A[0..14] = a[0..14] }",
        ],
    ),
    (
        "wrong-supply",
        "rail V6 6 V  connector C header-1x1 { 1 V6 }  feed U1 from V6 GND  U1 74LS04 { 1A = GND }",
        &["U1: error"],
        &["rail V6 6 V  connector C header-1x1 { 1 V6 }  feed U1 from V6 GND  U1 74HC04 { 1A = GND }"],
    ),
    (
        "missing-bulk",
        "feed U1..U6 from VCC GND  U1..U6 74HC04 { 1A = GND }  C1..C6 capacitor 100 nF decouples U1..U6",
        &["b: warning"],
        &[
            "feed U1..U6 from VCC GND  U1..U6 74HC04 { 1A = GND }  C1..C6 capacitor 100 nF decouples U1..U6
             C7 capacitor 10 uF { 1 = VCC  2 = GND }",
            "feed U1..U3 from VCC GND  U1..U3 74HC04 { 1A = GND }  C1..C3 capacitor 100 nF decouples U1..U3",
        ],
    ),
    (
        "input-too-high",
        // A pull-up of 220 ohm to 5 V: 1.2 V over it are 5.5 mA; one of 10 kohm is harmless.
        "rail V33 3.3 V  feed U1 from V33 GND  connector C header-1x1 { 1 V33 }
         R1 resistor 220 ohm { 1 = VCC  2 = x }  SW1 button { 1 = x  2 = GND }  U1 74HC04 { 1A = x }",
        &["x: warning"],
        &[
            "rail V33 3.3 V  feed U1 from V33 GND  connector C header-1x1 { 1 V33 }
             R1 resistor 10 kohm { 1 = VCC  2 = x }  SW1 button { 1 = x  2 = GND }  U1 74HC04 { 1A = x }",
            "rail V33 3.3 V  feed U1 from VCC GND  feed U2 from V33 GND  connector C header-1x2 { 1 V33  2 a }
             U1 74HC04 { 1A = a  1Y = x }  R1 resistor 4.7 kohm { 1 = x  2 = y }  U2 74HC04 { 1A = y }",
            // An open drain with a pull-up to the lower rail.
            "rail V33 3.3 V  feed U1 from VCC GND  feed U2 from V33 GND  connector C header-1x2 { 1 V33  2 a }
             U1 74LS05 { 1A = a  1Y = x }  R1 resistor 2.2 kohm { 1 = x  2 = V33 }  U2 74HC04 { 1A = x }",
            "rail V33 3.3 V  feed U1 from V33 GND  feed U2 from VCC GND  connector C header-1x2 { 1 V33  2 a }
             U1 74HC04 { 1A = a  1Y = x }  U2 74HCT04 { 1A = x }",
        ],
    ),
    (
        "input-too-high",
        // A bus driver of the lower rail that is off clamps the bus, even one of AHC.
        "rail V33 3.3 V  feed U1 from VCC GND  feed U2 from V33 GND
         connector C header-1x5 { 1 V33  2 a  3 /one  4 /two  5 x }
         U1 74HC541 { A1 = a  Y1 = x  /OE[1..2] = /one }  U2 74AHC541 estimated { A1 = a  Y1 = x  /OE[1..2] = /two }",
        &["x: error"],
        &[
            "feed U1..U2 from VCC GND  connector C header-1x4 { 1 a  2 /one  3 /two  4 x }
             U1 74HC541 { A1 = a  Y1 = x  /OE[1..2] = /one }  U2 74AHC541 estimated { A1 = a  Y1 = x  /OE[1..2] = /two }",
        ],
    ),
    (
        "input-too-high",
        // No sheet of the library tells what the open drain of an HC05 stands: 7 V over 1 kohm are more than the 1 mA that
        // a clamp may carry (common practice), and over 10 kohm less.
        "rail V12 12 V  feed U1 from VCC GND  connector C header-1x3 { 1 V12  2 a  3 x }
         U1 74HC05 estimated { 1A = a  1Y = x }  R1 resistor 1 kohm { 1 = x  2 = V12 }",
        &["x: warning"],
        &[
            "rail V12 12 V  feed U1 from VCC GND  connector C header-1x3 { 1 V12  2 a  3 x }
             U1 74HC05 estimated { 1A = a  1Y = x }  R1 resistor 10 kohm { 1 = x  2 = V12 }",
            "rail V12 12 V  feed U1 from VCC GND  connector C header-1x3 { 1 V12  2 a  3 x }
             U1 7407 { 1A = a  1Y = x }  R1 resistor 1 kohm { 1 = x  2 = V12 }",
        ],
    ),
    (
        "resistor-power",
        // Twenty 7404 of 33 mA (Fairchild DS006494) make 0.66 A: 0.96 W in 2.2 ohm, 0.04 W in 0.1 ohm.
        "rail V5 5 V  R1 resistor 2.2 ohm { 1 = VCC  2 = V5 }  feed U1..U20 from V5 GND  U1..U20 7404 { [1..6]A = GND }",
        &["R1: error"],
        &[
            "rail V5 5 V  R1 resistor 0.1 ohm { 1 = VCC  2 = V5 }  feed U1..U20 from V5 GND
             U1..U20 7404 { [1..6]A = GND }",
            "rail V5 5 V  R1 resistor 2.2 ohm 1 W { 1 = VCC  2 = V5 }  feed U1..U20 from V5 GND
             U1..U20 7404 { [1..6]A = GND }",
        ],
    ),
    (
        "pull-up-range",
        // An open drain that is pulled to 3.3 V never gives the 3.5 V that HC needs at 5 V (TI SCLS131D).
        "rail V33 3.3 V  feed U1..U2 from VCC GND  connector C header-1x2 { 1 V33  2 a }
         U1 74LS05 { 1A = a  1Y = x }  R1 resistor 2.2 kohm { 1 = x  2 = V33 }  U2 74HC04 { 1A = x }",
        &["x: error"],
        &[
            "rail V33 3.3 V  feed U1..U2 from VCC GND  connector C header-1x2 { 1 V33  2 a }
             U1 74LS05 { 1A = a  1Y = x }  R1 resistor 2.2 kohm { 1 = x  2 = V33 }  U2 74HCT04 { 1A = x }",
        ],
    ),
    (
        "slow-edge",
        // 1 kohm and 470 pF: 1.03 us from 10 % to 90 %.
        "feed U1..U2 from VCC GND  connector C header-1x1 { 1 a }  U1 74HC04 { 1A = a  1Y = x }
         R1 resistor 1 kohm { 1 = x  2 = y }  C1 capacitor 470 pF { 1 = y  2 = GND }  U2 74HC08 { 1A = y  1B = VCC }",
        &["y: warning"],
        &[
            "feed U1..U2 from VCC GND  connector C header-1x1 { 1 a }  U1 74HC04 { 1A = a  1Y = x }
             R1 resistor 1 kohm { 1 = x  2 = y }  C1 capacitor 100 pF { 1 = y  2 = GND }  U2 74HC08 { 1A = y  1B = VCC }",
            "feed U1..U2 from VCC GND  connector C header-1x1 { 1 a }  U1 74HC04 { 1A = a  1Y = x }
             R1 resistor 1 kohm { 1 = x  2 = y }  C1 capacitor 470 pF { 1 = y  2 = GND }  U2 74HC14 { 1A = y }",
            "feed U1 from VCC GND  R1 resistor 10 kohm { 1 = VCC  2 = x }  SW1 button { 1 = x  2 = GND }
             U1 74HC04 { 1A = x }",
        ],
    ),
    (
        "slow-edge",
        // AC wants 8 ns for each volt (Fairchild DS009911).
        "feed U1 from VCC GND  R1 resistor 10 kohm { 1 = VCC  2 = x }  SW1 button { 1 = x  2 = GND }
         U1 74AC04 { 1A = x }",
        &["x: warning"],
        &[
            "feed U1 from VCC GND  R1 resistor 1 kohm { 1 = VCC  2 = x }  SW1 button { 1 = x  2 = GND }
             U1 74AC04 { 1A = x }",
        ],
    ),
    (
        "net-without-driver",
        "feed U1 from VCC GND  U1 74HC00 { 1A = x  1B = x  2A = x  2B = VCC  1Y = y }",
        &["x: error"],
        &["feed U1 from VCC GND  connector C header-1x1 { 1 x }  U1 74HC00 { 1A = x  1B = x  2A = x  2B = VCC }"],
    ),
    (
        "resistor-power",
        // An LED of 20 mA is none; a driver into 10 ohm to ground is bound by its rail.
        "feed U1 from VCC GND  connector C header-1x1 { 1 a }  U1 74HC04 { 1A = a  1Y = x }
         R1 resistor 10 ohm { 1 = x  2 = GND }",
        &["R1: error"],
        &[
            "feed U1 from VCC GND  connector C header-1x1 { 1 a }  U1 74HC04 { 1A = a  1Y = x }
             R1 resistor 220 ohm { 1 = x  2 = lamp }  D1 led red { anode = lamp  cathode = GND }",
        ],
    ),
];

#[test]
fn each_rule_finds_its_fault_in_other_designs() {
    for (rule, wrong, found, right) in CASES {
        assert_eq!(of_rule(&board(wrong), rule), *found, "{rule}: {wrong}");
        for right in *right {
            assert!(of_rule(&board(right), rule).is_empty(), "{rule}: {right}");
        }
    }
}

/// A lamp panel and a board of drivers: 24 outputs are far below a pin, five power resistors at one wire are not.
#[test]
fn a_signal_wire_carries_what_the_far_board_draws() {
    let text = |ohms: &str| {
        format!(
            "board heater {{ rail VCC 5 V  rail GND  connector P terminal-1x2 {{ 1 VCC  2 GND }}
                 connector J header-1x1 {{ 1 hot }}  SW1 switch {{ 1 = VCC  2 = hot }} }}
             board load {{ rail GND  connector P terminal-1x1 {{ 1 GND }}  connector J header-1x1 {{ 1 hot }}
                 R1 resistor {ohms} ohm 20 W {{ 1 = hot  2 = GND }} }}
             assembly a {{ A: heater  B: load  cable W1 jumper 100 mm {{ A.J.1 to B.J.1 }}
                 supply PS1 5 V 5 A {{ plus = A.P.1  minus = A.P.2  minus = B.P.1 }} }}"
        )
    };
    // Ohm's law: 5 V over 2 ohm are 2.5 A, over 8 ohm 0.63 A; a pin of a header stands 1 A.
    assert_eq!(of_rule(&text("2"), "connector-current"), ["A.hot: warning"]);
    assert!(of_rule(&text("8"), "connector-current").is_empty());
    assert!(of_rule(&text("8"), "supply-current").is_empty());
    assert_eq!(of_rule(&text("0.8"), "supply-current"), ["PS1: error"]);
}

/// A board with a fuse, a switch, a reset, switches and lamps, and one that asks: everyday parts, and nothing to say.
#[test]
fn an_everyday_machine_is_clean() {
    let text = "board machine { rail VIN 5 V  rail VCC 5 V  rail GND
            connector JACK terminal-1x2 { 1 VIN  2 GND }
            connector BUS header-2x5 { 1 VCC  2 GND  3 /reset  4 clk  5..8 q[0..3]  9 /irq  10 open }
            F1 resistor 100 mohm 1 W { 1 = VIN  2 = fused }  SW1 switch { 1 = fused  2 = VCC }
            feed U1..U4 from VCC GND  C[1..4] capacitor 100 nF decouples U1..U4
            C10 capacitor 47 uF { 1 = VCC  2 = GND }
            R1 resistor 47 kohm { 1 = VCC  2 = por }  C11 capacitor 1 uF { 1 = por  2 = GND }
            SW2 button { 1 = por  2 = GND }
            U1 74HC14 { 1A = por  1Y = r  2A = r  2Y = /reset  3A = sq  3Y = clk  [4..6]A = GND }
            R2 resistor 47 kohm { 1 = VCC  2 = sq }  C12 capacitor 100 nF { 1 = sq  2 = GND }
            SW3 button { 1 = sq  2 = GND }
            U2 74HC163 { CLK = clk  /CLR = /reset  /LOAD = VCC  ENP = VCC  ENT = VCC  Q[A..D] = q[0..3]
                [A..D] = GND  RCO = open }
            RN1 network bussed 5 pins 1 kohm { 1 = GND  2..5 = k[0..3] }
            D[0..3] led green { anode = q[0..3]  cathode = k[0..3] }
            SW[10..17] switch { 1 = s[0..7]  2 = GND }
            RN2 network bussed 9 pins 10 kohm { 1 = VCC  2..9 = s[0..7] }
            U3 74HCT541 { A[1..8] = s[0..7]  Y[1..8] = b[0..7]  /OE[1..2] = q0 }
            RN3 network bussed 9 pins 10 kohm { 1 = VCC  2..9 = b[0..7] }
            U4 74LS377 { D[1..8] = b[0..7]  CLK = clk  /CLKEN = GND  Q[1..8] = l[0..7] }
            R9 resistor 4.7 kohm { 1 = VCC  2 = /irq }
            D[20..27] led red 1 kohm { anode = VCC  cathode = l[0..7] } }
        board asker { rail VCC 5 V  rail GND
            connector BUS header-2x5 { 1 VCC  2 GND  3 /reset  4 open  5..8 q[0..3]  9 /irq  10 open }
            feed U1..U2 from VCC GND  C[1..2] capacitor 100 nF decouples U1..U2
            U1 74LS05 { 1A = q0  1Y = /irq  [2..6]A = GND }
            U2 74HC08 { 1A = /irq  1B = /reset  1Y = lamp  2A = q1  2B = q2  2Y = m  3A = q3  3B = VCC  3Y = n
                4A = GND  4B = GND }
            D1 led red 1 kohm { anode = lamp  cathode = GND }  D2 led red 1 kohm { anode = m  cathode = n } }
        assembly pair { A: machine  B: asker  cable W1 ribbon 10 way 150 mm { A.BUS, B.BUS }
            supply PS1 5 V 1 A { plus = A.JACK.1  minus = A.JACK.2 } }";
    assert_eq!(stands(text), []);
    // The lamps of B are drawn through the switch: too much for a supply of 60 mA.
    let small = text.replace("5 V 1 A", "5 V 60 mA");
    assert_eq!(of_rule(&small, "supply-current"), ["PS1: error"]);
}

/// A bus of open pins is one finding that names all of them.
#[test]
fn what_is_alike_is_told_once() {
    let text = board(
        "feed U1 from VCC GND  connector C header-1x2 { 1 clk  2 /oe }
         U1 74HC574 { CLK = clk  /OE = /oe  Q[1..8] = q[1..8]  D[1..8] = d[1..8] }
         connector OUT header-1x8 { 1..8 q[1..8] }",
    );
    assert_eq!(of_rule(&text, "single-pin-net"), ["d1: error"]);
}

/// TI SDLS025B: 2.7 V of an LS output; TI SCLS131D: HC needs 3.5 V at 5 V.
#[test]
fn a_bus_that_several_chips_hear_is_told_once() {
    let text = |listeners: &str| {
        board(&format!(
            "feed U1..U4 from VCC GND  connector C header-1x8 {{ 1..8 d[0..7] }}
             U1 74LS541 {{ A[1..8] = d[0..7]  Y[1..8] = m[0..7]  /OE[1..2] = GND }}  {listeners}"
        ))
    };
    let found = of_rule(
        &text(
            "U2 74HC04 { [1..4]A = m[0..3]  [5..6]A = GND }  U3 74HC04 { [1..4]A = m[4..7]  [5..6]A = GND }
             U4 74HC00 { 1A = m0  1B = m7  2A = m2  2B = m5  [3..4]A = GND  [3..4]B = GND }",
        ),
        "level-mismatch",
    );
    assert_eq!(found.len(), 1, "{found:?}");
    // What does not say the same stays apart: at a supply of 4 V less is needed.
    let other = text(
        "rail V4 4 V  U2 74HC04 { [1..4]A = m[0..3]  [5..6]A = GND }
         U3 74HC04 { [1..4]A = m[4..7]  [5..6]A = GND }",
    );
    let other = other.replace("feed U1..U4 from VCC GND", "feed U1..U2 from VCC GND  feed U3 from V4 GND");
    assert_eq!(of_rule(&other, "level-mismatch").len(), 2);
}

/// The formulas of the sheets of the 03, 05 and 12, with 250 uA of each open collector (National DM7403), 40 uA and 1.6 mA
/// of each input (Fairchild DS006494), 16 mA and 0.4 V, and 2 V and 0.4 V at high: 4.6 V / 1.6 mA and 2.6 V / 2.86 mA.
#[test]
fn a_pull_up_that_cannot_be_is_said_to_be_none() {
    let text = board(
        "feed U1..U4 from VCC GND  connector C header-1x1 { 1 a }
         U1..U2 7405 { [1..5]A = a  [1..5]Y = x  6A = GND }  R1 resistor 2.2 kohm { 1 = VCC  2 = x }
         U3 7404 { [1..6]A = x }  U4 7404 { [1..3]A = x  [4..6]A = GND }",
    );
    assert_eq!(
        messages(&text, "pull-up-range"),
        [
            "no pull-up of x makes both its levels good: its outputs need 2.88 kohm or more, and leakages 909 ohm or less"
        ]
    );
    // Below what an input needs no resistor helps (TI SCLS131D: 3.5 V for HC at 5 V).
    let low = board(
        "rail V33 3.3 V  feed U1..U2 from VCC GND  connector C header-1x2 { 1 V33  2 a }
         U1 74LS05 { 1A = a  1Y = x }  R1 resistor 2.2 kohm { 1 = x  2 = V33 }  U2 74HC04 { 1A = x }",
    );
    assert_eq!(messages(&low, "pull-up-range"), ["x is pulled up to 3.3 V, and U2.1A (pin 1) needs 3.5 V"]);
}

/// TI SDLS025B (LS00): 0.4 mA out of each input at low make more than the 0.8 V that counts as low over 10 kohm.
#[test]
fn a_weak_pull_is_told_once_for_all_nets_that_hang_on_it() {
    let text = board(
        "feed U1 from VCC GND  connector C header-1x1 { 1 line }  U1 74LS04 { 1A = line  2A = inner }
         R1 resistor 1 kohm { 1 = line  2 = inner }  R2 resistor 10 kohm { 1 = inner  2 = GND }",
    );
    assert_eq!(of_rule(&text, "weak-pull"), ["line: error"]);
    let accepted = text.replace("R2 ", "accept weak-pull at inner \"a jumper is there\"  R2 ");
    for rule in ["weak-pull", "acceptance"] {
        assert_eq!(of_rule(&accepted, rule), [] as [&str; 0]);
    }
    // Without the second resistor nothing is pulled: what is plugged in drives the net.
    let series = text.replace("R2 resistor 10 kohm { 1 = inner  2 = GND }", "");
    assert_eq!(of_rule(&series, "weak-pull"), [] as [&str; 0]);
}

/// What has no value, no package or a name twice never reaches the rules: the language refuses it, or a rule tells it.
#[test]
fn missing_values_are_errors_of_the_language() {
    use coldboard::circuit::elaborate;
    use coldboard::language::parse;
    use coldboard::part::Library;
    for (lines, message) in [
        ("R1 resistor { 1 = VCC  2 = GND }", "this resistor lacks a resistance"),
        ("C1 capacitor { 1 = VCC  2 = GND }", "this capacitor lacks a capacitance"),
        ("D1 led { anode = VCC  cathode = GND }", "this led lacks a colour"),
        ("RN1 network 10 kohm bussed { 1 = VCC }", "this network lacks a number of pins"),
        ("X1 OSC14 { OUT = x }", "this OSC14 swings by itself: at which frequency?"),
        ("R1 resistor 1 kohm 0 W { 1 = VCC  2 = GND }", "a power must be more than zero"),
        ("C1 capacitor 1 uF 1 W { 1 = VCC  2 = GND }", "a power does not belong to `capacitor`"),
    ] {
        let text = board(lines);
        let mut library = Library::built_in();
        let file = library.add_source("test.board", text.clone());
        let (tree, problems) = parse(file, &text);
        assert_eq!(problems, [], "{lines}");
        let (_, problems) = elaborate(None, &[tree], &library);
        assert!(problems.iter().any(|problem| problem.message == message), "{lines}: {problems:?}");
    }
    let twice = board("feed U1 from VCC GND  U1 74HC04 { 1A = GND }  U1 74HC08 { 1A = GND }");
    assert_eq!(of_rule(&twice, "duplicate-reference"), ["U1: error"]);
}
