//! Designs of any size for the benches: a ring of slices, each an 8-bit register, two 4-bit adders and a bus buffer;
//! and a backplane with many boards on one bus of 16 bits, each with an 8-bit latch and a buffer.

#![allow(dead_code, reason = "each bench takes what it needs")]

use coldboard::circuit::{Circuit, elaborate};
use coldboard::cli::files::Disk;
use coldboard::language::{self, ast};
use coldboard::part::Library;
use coldboard::project::Project;
use std::path::Path;
use std::sync::Arc;

/// The text of a ring of `slices` slices. Carries of ones in some slices only, and sums turned by three bits: the ring
/// never comes to rest.
pub(crate) fn ring(slices: usize) -> String {
    format!(
        "board ring \"a ring of adders\" {{
    rail VCC 5 V
    rail GND
    rail one0 5 V
    rail one1
    rail one2
    each i in 0..{last} {{
        feed U[4*i..4*i+3] from VCC GND
        U[4*i] 74HC273 {{ /CLR = /reset  CLK = clk  D[1..8] = s[i]_[3..7, 0..2]  Q[1..8] = r[i]_[0..7] }}
        U[4*i+1] 74HC283 {{ A[1..4] = r[i]_[0..3]  B[1..4] = b[i]_[0..3]  C0 = one[i%3]  S[1..4] = s[i]_[0..3]  C4 = c[i] }}
        U[4*i+2] 74HC283 {{ A[1..4] = r[i]_[4..7]  B[1..4] = b[i]_[4..7]  C0 = c[i]  S[1..4] = s[i]_[4..7]  C4 = k[i] }}
        U[4*i+3] 74HC541 {{ A[1..8] = r[(i+1)%{slices}]_[0..7]  Y[1..8] = b[i]_[0..7]  /OE1 = GND  /OE2 = GND }}
    }}
}}
",
        last = slices - 1,
    )
}

/// The text of `boards` boards, eight at least and a multiple of eight, on one backplane. Each stores the low byte of the
/// bus and, when decoders select it, drives the high byte; a hand holds what selects groups of 64.
pub(crate) fn backplane(boards: usize) -> String {
    let (decoders, groups) = (boards / 8, boards.div_ceil(64));
    format!(
        "board slot \"a latch and a buffer\" {{
    rail VCC 5 V
    rail GND
    feed U1..U2 from VCC GND
    C1..C2 capacitor 100 nF decouples U1..U2
    connector BUS idc-2x11 {{ 1 VCC  2 GND  3..18 d[0..15]  19 clk  20 /select  21 GND  22 VCC }}
    U1 74HC574 {{ /OE = GND  CLK = clk  D[1..8] = d[0..7]  Q[1..8] = q[0..7] }}
    U2 74HC541 {{ /OE1 = /select  /OE2 = GND  A[1..8] = q[0..7]  Y[1..8] = d[8..15] }}
}}
board backplane \"places and decoders\" {{
    rail VCC 5 V
    rail GND
    connector POWER terminal-1x2 {{ 1 VCC  2 GND }}
    each i in 0..{last} {{
        connector PLACE[i] idc-2x11 {{
            1 VCC  2 GND  3..18 d[0..15]  19 clk  20 /select[i]  21 GND  22 VCC
        }}
    }}
    each k in 0..{last_decoder} {{
        feed U[k] from VCC GND
        C[k] capacitor 100 nF decouples U[k]
        U[k] 74HC138 {{ A = a0  B = a1  C = a2  /G2A = /group[k]  /G2B = GND  G1 = VCC  Y[0..7] = /select[8*k..8*k+7] }}
    }}
    each g in 0..{last_group} {{
        feed V[g] from VCC GND
        D[g] capacitor 100 nF decouples V[g]
        V[g] 74HC138 {{ A = a3  B = a4  C = a5  /G2A = /block[g]  /G2B = GND  G1 = VCC  Y[0..7] = /group[8*g..8*g+7] }}
    }}
}}
assembly machine \"many boards on one bus\" {{
    BACK: backplane
    supply PS1 5 V 20 A {{ plus = BACK.POWER.1  minus = BACK.POWER.2 }}
    each i in 0..{last} {{
        S[i]: slot
        cable W[i] ribbon 22 way 60 mm {{ BACK.PLACE[i], S[i].BUS }}
    }}
}}
",
        last = boards - 1,
        last_decoder = decoders - 1,
        last_group = groups - 1,
    )
}

/// The syntax tree of a text without mistakes, and the library that keeps its place.
pub(crate) fn parsed(text: &str) -> (ast::File, Library) {
    let mut library = Library::built_in();
    let file = library.add_source("bench.board", text);
    let (tree, problems) = language::parse(file, text);
    assert!(problems.is_empty(), "{problems:?}");
    (tree, library)
}

/// The circuit of a text without mistakes.
pub(crate) fn elaborated(text: &str) -> Circuit {
    let (tree, library) = parsed(text);
    let (circuit, problems) = elaborate(None, std::slice::from_ref(&tree), &library);
    circuit.unwrap_or_else(|| panic!("{problems:?}"))
}

/// The circuit of a shipped design.
pub(crate) fn design(file: &str, name: &str) -> Arc<Circuit> {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("designs").join(file);
    let mut project = Project::open(&Disk, &path, Library::built_in());
    let (circuit, problems) = project.circuit(Some(name));
    circuit.unwrap_or_else(|| panic!("{problems:?}"))
}
