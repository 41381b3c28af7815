//! Designs of any size for the benches: a ring of slices, each an 8-bit register, two 4-bit adders and a bus buffer.

use coldboard::language::{self, ast};
use coldboard::part::Library;

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

/// The syntax tree of a text without mistakes, and the library that keeps its place.
pub(crate) fn parsed(text: &str) -> (ast::File, Library) {
    let mut library = Library::built_in();
    let file = library.add_source("bench.board", text);
    let (tree, problems) = language::parse(file, text);
    assert!(problems.is_empty(), "{problems:?}");
    (tree, library)
}
