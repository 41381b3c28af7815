//! A part in a family that it has no sheet of is refused, with the families that it has.

use super::{library, none_of, parts};
use coldboard::part::Library;
use coldboard::part::library::NotFound;

/// Every part, in every family, written as on a board.
#[test]
fn no_part_takes_a_family_without_a_sheet() {
    let built_in = Library::built_in();
    let families: Vec<&str> =
        library().iter().flat_map(|entry| &entry.families).map(|family| family.name.as_str()).collect();
    assert!(families.len() > 10);
    let mut found = Vec::new();
    // A number such as 74HC27C64 tells family and part apart by the first digit.
    let numbered = |name: &str| name.starts_with(|first: char| first.is_ascii_digit());
    for (_, part) in parts().filter(|(_, part)| numbered(&part.name)) {
        let own: Vec<&str> = part.sheets.iter().filter(|sheet| !sheet.grade).map(|sheet| sheet.name.as_str()).collect();
        for family in families.iter().copied() {
            // The plain family has no letters: 7400.
            let letters = if family == "TTL" { "" } else { family };
            let number = format!("74{letters}{}", part.name);
            match built_in.find(&number) {
                Ok(taken) => {
                    let sheet = taken.sheet.map(|sheet| &taken.part.sheets[sheet]);
                    let right = taken.part.name == part.name
                        && taken.family.as_deref() == Some(family)
                        && sheet.is_some_and(|sheet| sheet.name == family && !sheet.grade);
                    // The plain 7476 is a part of its own: it works otherwise than its younger kin.
                    let itself = family == "TTL" && taken.part.name == number;
                    if !itself && (!right || !own.contains(&family)) {
                        found.push(format!(
                            "{number} is taken as {} {:?}",
                            taken.part.name,
                            sheet.map(|sheet| &sheet.name)
                        ));
                    }
                }
                Err(problem) => {
                    let refused = NotFound::NoSuchFamily {
                        number: number.clone(),
                        part: part.name.clone(),
                        family: family.to_owned(),
                        known: own.iter().map(|&name| name.to_owned()).collect(),
                    };
                    let told = format!("{problem}; {}", problem.help());
                    let names_all = own.iter().all(|name| told.contains(name));
                    if own.contains(&family) || problem != refused || !names_all {
                        found.push(format!("{number} is refused with: {told}"));
                    }
                }
            }
        }
    }
    none_of(found);
}
