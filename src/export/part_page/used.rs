//! Where the example designs use a part: a board to look at before drawing one's own.

use crate::circuit::{Chip, elaborate};
use crate::language::ast::Item;
use crate::language::parse;
use crate::part::{Library, Part};
use serde::Serialize;

/// Path and text of every board file in `designs/`, sorted by path.
const DESIGNS: &[(&str, &str)] = &include!(concat!(env!("OUT_DIR"), "/designs.rs"));

/// One board that uses a part.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Use {
    /// `designs/carillon/count.board`.
    pub file: String,
    /// The name of the board.
    pub board: String,
    /// The number as the board has it: `74HC574`.
    pub number: String,
    /// Its reference designators, in order of writing.
    pub chips: Vec<String>,
}

/// The boards of the example designs that use a part, or only one of its sheets.
pub(super) fn used_in(library: &Library, part: &Part, only: Option<usize>) -> Vec<Use> {
    // A number ends with the name of its part, so that most files need not be read.
    let files = DESIGNS.iter().filter(|(_, text)| text.contains(&part.name));
    files.flat_map(|&(path, text)| in_file(path, text, library, part, only)).collect()
}

fn in_file(path: &str, text: &str, library: &Library, part: &Part, only: Option<usize>) -> Vec<Use> {
    // A design may hold a part of its own with the same name: that is another one.
    let mut library = library.clone();
    let (tree, _) = parse(library.add_source(path, text), text);
    library.add(&tree);
    let files = [tree];
    let wanted = |chip: &&Chip| chip.part.span == part.span && (only.is_none() || chip.sheet == only);
    let mut uses: Vec<Use> = Vec::new();
    for item in &files[0].items {
        let Item::Board(board) = item else { continue };
        let name = &board.name.node;
        let (circuit, _) = elaborate(Some(name), &files, &library);
        let chips = circuit.iter().flat_map(|circuit| circuit.chips.iter());
        for chip in chips.map(|(_, chip)| chip).filter(wanted) {
            let known = uses.iter_mut().find(|found| found.board == *name && found.number == chip.number);
            match known {
                Some(found) => found.chips.push(chip.reference.clone()),
                None => uses.push(Use {
                    file: path.to_owned(),
                    board: name.clone(),
                    number: chip.number.clone(),
                    chips: vec![chip.reference.clone()],
                }),
            }
        }
    }
    uses
}

#[cfg(test)]
mod tests {
    use super::*;

    const DESIGN: &str = r#"
        part 02 "one of our own" { package DIP4 { 1 A in  2 GND ground  3 Y out  4 VCC power }  Y = not A }
        board one {
            U[2..3] 74HC00 { 1A = a }
            U1 74LS00 { 1A = a }
            U4 02 { A = a }
        }
        board two { U7 74HC00 { 1A = a } }
    "#;

    fn lines(number: &str, only: Option<&str>) -> Vec<String> {
        let library = Library::built_in();
        let part = library.part(number).expect("a part");
        let only = only.and_then(|only| part.sheets.iter().position(|sheet| sheet.name == only));
        let uses = in_file("x.board", DESIGN, &library, &part, only);
        let line = |found: &Use| {
            let chips = found.chips.join(" ");
            format!("{} {} {}: {chips}", found.file, found.board, found.number)
        };
        uses.iter().map(line).collect()
    }

    #[test]
    fn chips_are_told_board_by_board_and_number_by_number() {
        assert_eq!(
            lines("00", None),
            ["x.board one 74HC00: U2 U3", "x.board one 74LS00: U1", "x.board two 74HC00: U7"]
        );
        assert_eq!(lines("00", Some("LS")), ["x.board one 74LS00: U1"]);
    }

    #[test]
    fn a_part_of_the_design_is_another_one() {
        assert_eq!(lines("02", None), Vec::<String>::new());
    }
}
