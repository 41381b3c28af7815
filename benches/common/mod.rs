//! Designs of any size for the benches: a ring of slices, each an 8-bit register, two 4-bit adders and a bus buffer.

use coldboard::language::{self, ast};
use coldboard::part::Library;

/// The text of a ring of `slices` slices.
pub(crate) fn ring(slices: usize) -> String {
    let mut text =
        String::from("board ring \"a ring of adders\" {\n    rail VCC 5 V\n    rail GND\n");
    for slice in 0..slices {
        let next = (slice + 1) % slices;
        let u = 4 * slice;
        // Carries of ones in some slices only, and sums turned by three bits: the ring never comes to rest.
        let carry = if slice % 3 == 0 { "VCC" } else { "GND" };
        text.push_str(&format!(
            "    feed U{u}..U{} from VCC GND\n\
             \x20   U{u} 74HC273 {{ /CLR = /reset  CLK = clk  D[1..8] = s{slice}_[3..7, 0..2]  Q[1..8] = r{slice}_[0..7] }}\n\
             \x20   U{} 74HC283 {{ A[1..4] = r{slice}_[0..3]  B[1..4] = b{slice}_[0..3]  C0 = {carry}  S[1..4] = s{slice}_[0..3]  C4 = c{slice} }}\n\
             \x20   U{} 74HC283 {{ A[1..4] = r{slice}_[4..7]  B[1..4] = b{slice}_[4..7]  C0 = c{slice}  S[1..4] = s{slice}_[4..7]  C4 = k{slice} }}\n\
             \x20   U{} 74HC541 {{ A[1..8] = r{next}_[0..7]  Y[1..8] = b{slice}_[0..7]  /OE1 = GND  /OE2 = GND }}\n",
            u + 3,
            u + 1,
            u + 2,
            u + 3,
        ));
    }
    text.push_str("}\n");
    text
}

/// The syntax tree of a text without mistakes, and the library that keeps its place.
pub(crate) fn parsed(text: &str) -> (ast::File, Library) {
    let mut library = Library::built_in();
    let file = library.add_source("bench.board", text);
    let (tree, problems) = language::parse(file, text);
    assert!(problems.is_empty(), "{problems:?}");
    (tree, library)
}
