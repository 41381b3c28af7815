//! Combinational logic of real packages against integer arithmetic.

use super::bench::{board, bus, drive, quiet, settings};
use coldboard::language::ast::{Corner, PowerUp};
use coldboard::logic::Word;
use coldboard::run::Engine;
use coldboard::simulate::Machine;

/// An 8 by 8 array multiplier: sixteen 74HC08 make the partial products `pROW_COLUMN`, seven rows of two 74HC283 add
/// them. Row r adds the products of b[r] to the upper bits of the sum so far.
fn multiplier() -> String {
    // Bit r of b gates all bits of a: two packages a row.
    let mut text = "each r in 0..7 { each h in 0..1 {
        feed G[r]_[h] from VCC GND
        G[r]_[h] 74HC08 { [1..4]A = a[4*h..4*h+3]  [1..4]B = b[r]  [1..4]Y = p[r]_[4*h..4*h+3] }
    } }\n"
        .to_owned();
    // Row 0 is the first sum; its lowest bit is bit 0 of the product, and nothing is carried in above it.
    for row in 1..8 {
        let sum = |bit: usize| match (row, bit) {
            (1, 7) => "GND".to_owned(),
            (1, bit) => format!("p0_{}", bit + 1),
            (_, 7) => format!("s{}_8", row - 1),
            (_, bit) => format!("s{}_{}", row - 1, bit + 1),
        };
        for half in 0..2 {
            let bits = 4 * half..4 * half + 4;
            let a: Vec<String> = bits.clone().map(sum).collect();
            let b: Vec<String> = bits.clone().map(|bit| format!("p{row}_{bit}")).collect();
            let s: Vec<String> = bits.map(|bit| format!("s{row}_{bit}")).collect();
            let (carry, out) = match half {
                0 => ("GND".to_owned(), format!("c{row}")),
                _ => (format!("c{row}"), format!("s{row}_8")),
            };
            text += &format!(
                "A{row}_{half} 74HC283 {{ A[1..4] = ({})  B[1..4] = ({})  S[1..4] = ({})  C0 = {carry}  C4 = {out} }}
                 feed A{row}_{half} from VCC GND\n",
                a.join(", "),
                b.join(", "),
                s.join(", ")
            );
        }
    }
    text
}

/// All 65,536 products, after the array has come to rest from the product before.
#[test]
fn an_array_multiplier_multiplies() {
    let circuit = board("", &multiplier());
    assert_eq!(circuit.chips.len(), 16 + 14);
    let (a, b) = (bus(&circuit, "a", 8), bus(&circuit, "b", 8));
    // Bits 0 to 6 leave at the foot of a row; the last row gives the rest.
    let net = |path: String| circuit.net(&path).expect("a bit of the product");
    let mut product: Vec<_> = (0..9).rev().map(|bit| net(format!("s7_{bit}"))).collect();
    product.extend((1..7).rev().map(|row| net(format!("s{row}_0"))));
    product.push(net("p0_0".to_owned()));
    let stimuli: Vec<_> = a.iter().chain(&b).copied().collect();
    let how = settings(Corner::Typical, PowerUp::Unknown);
    let mut machine = Machine::new(&circuit, how, &stimuli);
    for x in 0..256u64 {
        drive(&mut machine, &a, x);
        for step in 0..256u64 {
            // One bit at a time: the same products with half the work.
            let y = step ^ step >> 1;
            drive(&mut machine, &b, y);
            quiet(&mut machine);
            assert_eq!(machine.word(&product), Word::known(x * y), "{x} * {y}");
        }
    }
    assert!(machine.contentions().is_empty() && machine.violations().is_empty());
}
