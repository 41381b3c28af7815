//! Numbers, and what is found for them.

use super::*;
use std::collections::BTreeSet;

const INVERTER: &str = r#"part 04 "inverter" {
        package DIP14 { 1 A in  2 Y out  7 GND ground  14 VCC power }
        Y = not A
        family HC { source "test"  columns limit 25 C  at 4.5 V 50 pF { delay A -> Y 19 ns } }
        family TTL { source "test"  columns limit 25 C  at 5 V 15 pF { delay A -> Y 22 ns } }
    }"#;
const MEMORY: &str = r#"part 8x1 "memory" {
        package DIP14 { 1 A in  2 Y out  7 GND ground  14 VCC power }
        Y = A
        grade 70 { source "test"  columns limit 25 C  at 5 V { delay A -> Y 70 ns } }
    }"#;
const FAMILY: &str = r#"family HC "high-speed CMOS" { source "test"  supply 2..6 V }"#;

fn library() -> Library {
    Library::of_texts(&[
        ("library/families/HC.part", FAMILY),
        ("library/gates/04.part", INVERTER),
        ("library/memories/8x1.part", MEMORY),
        ("library/broken/99.part", "part 99 { package }"),
    ])
}

fn message(library: &Library, number: &str) -> String {
    let problem = library.find(number).expect_err(number);
    format!("{problem} / {}", problem.help())
}

#[test]
fn a_number_is_a_name_or_a_name_and_a_sheet() {
    let library = library();
    let found = |number: &str| {
        let found = library.find(number).expect(number);
        let sheet = found.sheet.map(|sheet| found.part.sheets[sheet].name.clone());
        (found.part.name.clone(), sheet.unwrap_or_default(), found.family.unwrap_or_default())
    };
    let row = |a: &str, b: &str, c: &str| (a.to_owned(), b.to_owned(), c.to_owned());
    assert_eq!(found("74HC04"), row("04", "HC", "HC"));
    assert_eq!(found("54HC04"), row("04", "HC", "HC"));
    assert_eq!(found("7404"), row("04", "TTL", "TTL"));
    assert_eq!(found("8x1-70"), row("8x1", "70", ""));
    assert_eq!(found("8x1"), row("8x1", "70", ""));
}

#[test]
fn what_is_not_found_says_what_there_is() {
    let library = library();
    for (number, expected) in [
        (
            "74LS04",
            "74LS04: the library has no LS sheet for the 04; it has HC, TTL / take a family that there is a sheet for",
        ),
        ("04", "04 may be any of 74HC04, 7404 / write the whole number, such as 74HC04"),
        (
            "8x1-55",
            "8x1-55: the library has no grade 55 of the 8x1; it has 70 / take a grade that there is a sheet for",
        ),
        ("74hc04", "there is no part `74hc04` in the library or the design / did you mean `74HC04`?"),
        (
            "74HC81",
            "there is no part `74HC81` in the library or the design / \
                 write a number such as 74HC574, or describe the part in the design: `part NAME { ... }`",
        ),
        (
            "99",
            "99 cannot be used: its model in library/broken/99.part has errors / mend the errors of that file first",
        ),
    ] {
        assert_eq!(message(&library, number), expected);
    }
    assert!(!library.problems().is_empty(), "the damage of 99.part is told");
}

#[test]
fn an_added_part_stands_in_for_a_built_in_one() {
    let mut library = library();
    let own = r#"part 04 { package DIP8 { 1 A in  2 Y out  4 GND ground  8 VCC power }  Y = A }
                     part OSC { package DIP8 { 1 Y out  4 GND ground  8 VCC power }  Y = 1 }"#;
    library.add_text("own.part", own);
    let notes = library.problems();
    let messages: Vec<&str> = notes.iter().map(|note| note.message.as_str()).collect();
    assert_eq!(messages, ["this part stands in for the `04` of library/gates/04.part"]);
    assert_eq!(library.sources().slice(notes[0].labels[0].span), "04");
    assert_eq!(library.find("04").expect("found").part.package, "DIP8");
    assert_eq!(library.find("OSC").expect("found").sheet, None);
    assert_eq!(library.path_of("04"), Some("own.part"));
}

#[test]
fn families_are_read_on_demand() {
    let library = library();
    assert_eq!(library.family("HC").expect("there").title, "high-speed CMOS");
    assert!(library.family("LS").is_none());
    assert_eq!(library.family_names().collect::<Vec<_>>(), ["HC"]);
}

#[test]
fn every_built_in_file_has_a_stem_of_its_own() {
    let names: BTreeSet<&str> = BUILT_IN.iter().map(|(path, _)| path.rsplit_once('/').expect("a folder").1).collect();
    assert_eq!(names.len(), BUILT_IN.len());
    assert!(BUILT_IN.is_sorted_by_key(|(path, _)| path));
    assert!(Library::built_in().find("74HC574").is_ok());
}
