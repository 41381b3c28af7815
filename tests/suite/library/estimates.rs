//! Family-wide estimates: the shares that a family's file states hold for every part that has both sheets, with
//! guaranteed delays in each.

use super::none_of;
use coldboard::delay::{ChipDelays, Conditions, DelayTable, Rule};
use coldboard::language::ast::Corner;
use coldboard::part::{ColumnKind, Library, Sheet};
use coldboard::project::Project;
use coldboard::quantity::Voltage;
use coldboard::text::MemoryFiles;
use coldboard::trial::{self, Options, Unattended};

/// 5 V, the supply of the boards that this is for.
const SUPPLY: Voltage = Voltage::from_raw(5_000_000);

/// True for a sheet that guarantees delays. One that gives typical delays of some ways only compares with nothing.
fn guarantees(sheet: &Sheet) -> bool {
    let arcs = sheet.blocks.iter().flat_map(|block| &block.arcs);
    let figures = arcs.flat_map(|arc| sheet.columns.iter().zip(&arc.figures));
    figures.into_iter().any(|(column, figure)| column.kind == ColumnKind::Limit && figure.is_some())
}

/// The longest delay of a part in a family and corner, in picoseconds.
fn longest(library: &Library, part: &str, family: &str, corner: Corner) -> Option<u32> {
    let part = library.part(part)?;
    let sheet = part.sheet(family).filter(|sheet| guarantees(sheet))?;
    let table = DelayTable::new(&part, Some(sheet), &Conditions::at(SUPPLY, corner));
    table.delays.iter().flat_map(|delays| delays.of).max()
}

/// The least and the most share, in percent, over all parts with sheets in both families.
fn shares(library: &Library, family: &str, base: &str) -> Option<(f64, f64, usize)> {
    let names: Vec<String> = library.names().map(str::to_owned).collect();
    let ratio = |name: &String, corner| {
        let own = longest(library, name, family, corner)?;
        let other = longest(library, name, base, corner).filter(|&other| other > 0)?;
        Some(f64::from(own) / f64::from(other) * 100.0)
    };
    let fastest = names.iter().filter_map(|name| ratio(name, Corner::Fastest));
    let slowest: Vec<f64> = names.iter().filter_map(|name| ratio(name, Corner::Slowest)).collect();
    let least = fastest.reduce(f64::min)?;
    let most = slowest.iter().copied().reduce(f64::max)?;
    Some((least, most, slowest.len()))
}

/// How far a stated share may lie from the one that the sheets give, in percent of the base: room for one more part.
const ROOM: f64 = 20.0;

#[test]
fn estimates_cover_every_part_that_has_both_sheets() {
    let library = Library::built_in();
    let names: Vec<String> = library.family_names().map(str::to_owned).collect();
    let mut stated = 0;
    let mut found = Vec::new();
    for name in &names {
        let family = library.family(name).expect("a family");
        for estimate in &family.estimates {
            let (least, most) = (estimate.least as f64 / 1e3, estimate.most as f64 / 1e3);
            let base = &estimate.base;
            let (shortest, longest, parts) = shares(&library, name, base).expect("parts with both sheets");
            assert!(parts >= 5, "{name} from {base}: only {parts} parts have both sheets");
            let covered = least <= shortest && longest <= most;
            if !covered || shortest - least >= ROOM || most - longest >= ROOM {
                found.push(format!(
                    "{name} from {base}: {least}..{most} % are stated, the sheets give {shortest:.1}..{longest:.1} %"
                ));
            }
            stated += 1;
        }
    }
    none_of(found);
    assert!(stated >= names.len(), "every family has an estimate");
}

/// A design has to ask for an estimate by its word; what rests on one says so.
#[test]
fn an_estimate_is_taken_only_when_the_design_allows_it() {
    let board = |word: &str| {
        format!(
            "board one {{
                rail VCC 5 V
                rail GND
                feed U1 from VCC GND
                U1 74LS573 {word} {{ /OE = GND  LE = VCC  D[1..8] = d[1..8]  Q[1..8] = q[1..8] }}
            }}
            trial passes on one {{
                corner slowest
                set d = 0
                expect q = 0 within 1 us
            }}"
        )
    };
    let open = |word: &str| {
        let files = MemoryFiles::default().with("one.board", board(word));
        Project::open(&files, "one.board".as_ref(), Library::built_in())
    };
    let mut refused = open("");
    let (circuit, problems) = refused.circuit(Some("one"));
    assert!(circuit.is_none());
    assert_eq!(problems.len(), 1, "{problems:?}");
    let text = format!("{:?}", problems[0]);
    assert!(text.contains("no LS sheet for the 573") && text.contains("74LS573 estimated"), "{text}");

    let mut allowed = open("estimated");
    let (circuit, problems) = allowed.circuit(Some("one"));
    assert!(problems.is_empty(), "{problems:?}");
    let circuit = circuit.expect("a circuit");
    let images = |file: &_| allowed.image(file);
    let prepared =
        trial::prepare(&allowed.trials()[0], &circuit, allowed.sources(), &images).expect("every name is known");
    let report = trial::run(&prepared, &circuit, allowed.sources(), &Options::default(), &mut Unattended);
    assert!(report.passed);
    let rules: Vec<&str> = report.rules.iter().map(|filled| filled.rule).collect();
    assert!(rules.contains(&Rule::FamilyEstimate.sentence()), "{rules:?}");
    // The slowest delays are those of the base, HC, times the larger share that LS states for it.
    let delays = ChipDelays::new(&circuit, Corner::Slowest, None);
    let own = delays.tables[0].delays.iter().flat_map(|delays| delays.of).max();
    let hc = longest(&Library::built_in(), "573", "HC", Corner::Slowest).expect("a sheet");
    let family = Library::built_in().family("LS").expect("a family");
    let share = family.estimates.iter().find(|estimate| estimate.base == "HC");
    let most = share.expect("an estimate").most;
    assert_eq!(own.map(i64::from), Some(i64::from(hc) * most / 100_000));
}
