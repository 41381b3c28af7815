//! The electrical figures of families and parts.

use super::{library, none_of, parts};
use coldboard::part::{ColumnKind, Family, LevelName, Share};
use coldboard::quantity::Quantity;

fn family(name: &str) -> &'static Family {
    let mut families = library().iter().flat_map(|entry| &entry.families);
    families.find(|family| family.name == name).expect("a family")
}

/// The figures of a kind of column, in order, where a family gives one.
fn figures(family: &Family, name: LevelName, kind: ColumnKind) -> Vec<String> {
    let levels = family.figures(name);
    let figures = levels.flat_map(|level| family.columns.iter().zip(&level.figures));
    figures
        .filter(|(column, _)| column.kind == kind)
        .filter_map(|(_, figure)| figure.map(|figure: Quantity| figure.to_string()))
        .collect()
}

/// Absolute maxima: National MM54HC/MM74HC family data, page 2; Philips 74HC/HCT245 Rev.03; Fairchild MM74HCT00; ON
/// MC74HCT245A; TI SCAS557E; ST 74ACT245; NXP 74AHC245/74AHCT245 Rev.05; Philips 74F00, 74ALS00A.
#[test]
fn absolute_maxima_are_those_of_the_sheets() {
    use LevelName::{
        BusOutputCurrentLimit as BusPin, BusSupplyPinCurrentLimit as BusSupply, OutputCurrentLimit as Pin,
        SupplyPinCurrentLimit as Supply,
    };
    for (name, level, figure) in [
        ("HC", Pin, "25 mA"),
        ("HC", Supply, "50 mA"),
        ("HC", BusPin, "35 mA"),
        ("HC", BusSupply, "70 mA"),
        ("HCT", Pin, "25 mA"),
        ("HCT", Supply, "50 mA"),
        ("HCT", BusPin, "35 mA"),
        ("HCT", BusSupply, "75 mA"),
        ("AC", Pin, "50 mA"),
        ("ACT", Pin, "50 mA"),
        ("ACT", Supply, "200 mA"),
        ("ACT", BusSupply, "400 mA"),
        ("AHC", Pin, "25 mA"),
        ("AHCT", Supply, "75 mA"),
        ("F", Pin, "40 mA"),
        ("ALS", Pin, "16 mA"),
    ] {
        let found = figures(family(name), level, ColumnKind::Limit);
        // An absolute maximum holds at every temperature.
        assert!(!found.is_empty(), "{name} {level:?}");
        assert!(found.iter().all(|found| found == figure), "{name} {level:?}: {found:?}");
    }
}

/// TI SDLS025B (LS00), Fairchild DM74S157, DM7404 DS006494, Philips 74F00: least and most.
#[test]
fn short_circuit_currents_are_those_of_the_sheets() {
    for (name, least, most) in
        [("LS", "20 mA", "100 mA"), ("S", "40 mA", "100 mA"), ("TTL", "18 mA", "55 mA"), ("F", "60 mA", "150 mA")]
    {
        let of = |kind| figures(family(name), LevelName::ShortCircuitCurrent, kind);
        assert_eq!(of(ColumnKind::Min), [least], "{name}");
        assert_eq!(of(ColumnKind::Limit), [most], "{name}");
    }
}

/// TI CD74HCT147: 360 uA a unit load at 25 C. Philips 74HC/HCT04 gives its inputs 1.20 unit loads, and the NXP sheet of
/// the same part 432 uA in all.
#[test]
fn an_input_at_a_ttl_level_costs_a_unit_load() {
    let found = figures(family("HCT"), LevelName::ExtraSupplyCurrent, ColumnKind::Limit);
    assert_eq!(found, ["360 uA", "450 uA", "490 uA"]);
    let microamperes: f64 = found[0].trim_end_matches(" uA").parse().expect("a number");
    assert!((microamperes * 1.20 - 432.0).abs() < 1e-6);
    // Every family with TTL levels at CMOS inputs has it, and no other.
    for entry in library() {
        for family in &entry.families {
            let has = family.figures(LevelName::ExtraSupplyCurrent).next().is_some();
            assert_eq!(has, family.name.ends_with("CT") || family.name == "AHCT");
        }
    }
}

/// Philips 74HC04 and 74HC/HCT74; NXP 74HC138; TI CD74HC153.
#[test]
fn power_capacitances_are_those_of_the_sheets() {
    for (number, sheet, share, figure) in [
        ("04", "HC", Share::Gate, "21 pF"),
        ("04", "HCT", Share::Gate, "24 pF"),
        ("74", "HC", Share::FlipFlop, "24 pF"),
        ("138", "HC", Share::Package, "67 pF"),
        ("153", "HC", Share::Multiplexer, "45 pF"),
        ("245", "HCT", Share::Transceiver, "30 pF"),
    ] {
        let (_, part) = parts().find(|(_, part)| part.name == number).expect("a part");
        let sheet = part.sheet(sheet).expect("a sheet");
        let mut power = sheet.blocks.iter().flat_map(|block| &block.power);
        let power = power.next().expect("a power capacitance");
        assert_eq!(power.per, share, "{number}");
        let figures: Vec<String> = power.figures.iter().flatten().map(|figure| figure.to_string()).collect();
        assert_eq!(figures, [figure], "{number}");
    }
}

/// Only CMOS parts have one: a bipolar part takes its current at rest (common practice).
#[test]
fn bipolar_parts_have_no_power_capacitance() {
    let mut found = Vec::new();
    for (entry, part) in parts() {
        for sheet in &part.sheets {
            let bipolar = ["LS", "ALS", "S", "F", "TTL"].contains(&sheet.name.as_str());
            if bipolar && sheet.blocks.iter().any(|block| !block.power.is_empty()) {
                found.push(format!("{}: {}", entry.path, sheet.name));
            }
        }
    }
    none_of(found);
}
