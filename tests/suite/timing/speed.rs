//! A large machine: the analysis stays fast, and its answer is the one of a small machine.

use super::*;

/// 9,995 chips: 1,999 slices of a register, three gates of 25 ns, and a register. 74HC574 (TI SCLS148F, August 2003) CLK
/// to Q 45 ns and D before CLK 25 ns, 74HC08 (TI SCLS081I, September 2021) 25 ns, at 4.5 V over -40..85 C.
#[test]
fn ten_thousand_chips_take_no_longer_than_a_breath() {
    let mut body = "feed U[1..9995] from VCC GND  connector J1 header-1x2 { 1 clk  2 d }\n".to_owned();
    body += "each i in 0..1998 {
        U[5*i+1] 74HC574 { CLK = clk  /OE = GND  D1 = d  D[2..8] = GND  Q1 = a[i]  Q[2..8] = open }
        U[5*i+2] 74HC08 { 1A = a[i]  1B = a[i]  1Y = b[i]  [2..4]A = GND  [2..4]B = GND  [2..4]Y = open }
        U[5*i+3] 74HC08 { 1A = b[i]  1B = a[i]  1Y = c[i]  [2..4]A = GND  [2..4]B = GND  [2..4]Y = open }
        U[5*i+4] 74HC08 { 1A = c[i]  1B = b[i]  1Y = e[i]  [2..4]A = GND  [2..4]B = GND  [2..4]Y = open }
        U[5*i+5] 74HC574 { CLK = clk  /OE = GND  D1 = e[i]  D[2..8] = GND  Q1 = f[i]  Q[2..8] = open }
    }";
    let circuit = board(&body);
    assert_eq!(circuit.chips.len(), 9_995);
    let begin = std::time::Instant::now();
    let found = shortest(&circuit, Parts::Mixed, clock(&circuit, "clk", 1000, 500));
    let took = begin.elapsed();
    assert_eq!(found, ((45 + 3 * 25 + 25) * 1000, Kind::Setup));
    // Tests are built with little optimisation and share the machine; `cargo bench --bench timing` tells the true time.
    assert!(took.as_secs() < 10, "{took:?}");
}
