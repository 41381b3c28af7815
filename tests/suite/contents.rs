//! What memories hold: files, tables, lanes, windows; how the engine runs with it, and the files for a programmer.

use super::texts::told as told_of;
use assert_cmd::Command;
use coldboard::export::diagram::{DiagramOptions, diagram_with};
use coldboard::export::rom;
use coldboard::image::{Format, Image};
use coldboard::language::ast::Radix;
use coldboard::logic::Level;
use coldboard::part::Library;
use coldboard::project::Project;
use coldboard::text::{MemoryFiles, Spanned};
use coldboard::trial::{Options, Report, Unattended, prepare, run, run_untimed};
use proptest::prelude::*;
use std::path::Path;

fn files(text: &str) -> MemoryFiles {
    MemoryFiles::default()
        .with("d.board", text)
        .with("four.bin", vec![1, 2, 3, 4])
        .with("other.bin", vec![0xEE; 4])
        .with("ones.bin", vec![0xFF; 16])
}

fn open(text: &str) -> Project {
    Project::open(&files(text), Path::new("d.board"), Library::built_in())
}

#[track_caller]
fn refused(text: &str, wanted: &[&str]) {
    let project = open(text);
    assert_eq!(told_of(&project, project.diagnostics()), wanted, "{text}");
}

fn image(text: &str, name: &str) -> (u32, Vec<u8>) {
    let project = open(text);
    let problems = project.diagnostics();
    assert!(problems.is_empty(), "{:?}", told_of(&project, problems));
    let filling = project.contents().filling(name).expect("contents");
    let segments: Vec<(u64, &[u8])> = filling.image.segments().collect();
    assert_eq!(segments.len(), 1, "one stretch");
    (filling.lanes, segments[0].1.to_vec())
}

#[test]
fn files_and_programs_are_put_together() {
    let text = "instructions T { ONE n: byte = 0x11, n }\nprogram p for T { ONE 7 }
        contents c { file \"four.bin\" offset 2  program p  file \"other.bin\" offset 6 }";
    assert_eq!(image(text, "c").1, [0x11, 7, 1, 2, 3, 4, 0xEE, 0xEE, 0xEE, 0xEE]);
    refused(
        "contents c { file \"four.bin\" file \"other.bin\" offset 3 }",
        &["\"other.bin\" | something is at address 0x3 already"],
    );
    refused("contents c { file \"four.bin\" offset -1 }", &["\"four.bin\" | address 0x0 of this goes nowhere"]);
    refused("contents c { file \"for.bin\" }", &["\"for.bin\" | there is no file for.bin"]);
    refused("contents c { program q }", &["q | there is no program q"]);
    refused("contents c { note \"nothing\" }", &["c | c holds nothing"]);
    refused("contents c { file \"four.bin\" lanes 0 }", &["0 | a word has 1 to 8 lanes"]);
    refused("contents c { file \"four.bin\" lanes 9 }", &["9 | a word has 1 to 8 lanes"]);
}

/// Plain counting: two instructions of two bytes each stand between `.on` and the jump to it.
#[test]
fn local_labels_count_from_one_label_to_the_next() {
    let text = "instructions T { GO a: relative = 0x90, a  JUMP a: address = 0x30, high a, low a }
        program p for T {
        .on:
            GO .on
        first:
            GO .on
        .on:
            GO .on
            GO first
        second: .on:
            JUMP .on
        }
        contents c { program p }";
    let wanted = [0x90, 0xFE, 0x90, 0, 0x90, 0xFE, 0x90, 0xFA, 0x30, 0, 8];
    assert_eq!(image(text, "c").1, wanted);
    let twice = text.replace("second: ", "");
    refused(&twice, &[".on | first.on is there twice"]);
    refused(&text.replace("JUMP .on", "JUMP .off"), &[".off | the program has no label or constant second.off"]);
}

/// A table of eleven address bits, computed a second time by plain arithmetic.
#[test]
fn a_table_asserts_what_its_rules_say() {
    let text = "names steps { FETCH = 0  RUN = 1..2 }
        instructions OWN { registers r: A = 0, B = 1, C = 2
            ADD d: r, s: r = 0x40 + 4 * d + s  LOAD d: r, n: byte = 0x10 + d, n }
        contents control {
            address { 7..0 op[7..0]  8..9 step[0..1]  10 /zero }
            data { 0 pc_out  1 /ir_load  2..4 alu[0..2]  12 /write }
            when step = FETCH: pc_out, ir_load
            when step = RUN and op = ADD: alu = 5
            when step != FETCH and (op = LOAD or op = 0x80..0x8F) and not zero: write, alu = 1
            else: alu = 7
        }";
    let (lanes, bytes) = image(text, "control");
    assert_eq!((lanes, bytes.len()), (2, 2 * 2048));
    for at in 0..2048_usize {
        let (op, step, zero) = (at & 0xFF, at >> 8 & 3, at >> 10 & 1 == 0);
        let add = [0x40, 0x44, 0x48].iter().any(|base| (*base..*base + 3).contains(&op));
        let fetch = step == 0;
        let run = (1..=2).contains(&step) && add;
        let write = !fetch && ((0x10..=0x12).contains(&op) || (0x80..=0x8F).contains(&op)) && !zero;
        let alu = match (run, write, fetch) {
            (true, ..) => 5,
            (_, true, _) => 1,
            (.., true) => 0,
            _ => 7,
        };
        // Active low: 1 while not asserted. Bits without a name are 1.
        let low = usize::from(fetch) | usize::from(!fetch) << 1 | alu << 2 | 0xE0;
        let high = usize::from(!write) << 4 | 0xEF;
        assert_eq!((usize::from(bytes[2 * at]), usize::from(bytes[2 * at + 1])), (low, high), "address {at:#X}");
    }
}

#[test]
fn mistakes_of_tables_are_told_at_their_places() {
    let table = |rules: &str| {
        format!(
            "names s {{ ONE = 1  MANY = 2..3  BIG = 9 }}\ncontents c {{ address {{ 0..2 a[0..2]  3 /b }} data {{ 0 x  1 /y  2..3 z[0..1] }}\n{rules}\n}}"
        )
    };
    for (rules, wanted) in [
        ("when a = 1: x\nwhen b: x = 0", vec!["when b: x = 0 | two rules want x differently"]),
        ("when a = 1: z = 1\nwhen b: z = 2", vec!["when b: z = 2 | two rules want z0, z1 differently"]),
        ("when a = 1: z = 1, z = 2", vec!["z = 2 | this rule wants one bit in two ways"]),
        ("when a = 1: xx", vec!["xx | the table has no bit xx here"]),
        ("when a = 1: /y", vec!["/y | the table has no bit /y here"]),
        ("when c = 1: x", vec!["c | the table has no bit c here"]),
        ("when a: x", vec!["a | this has 3 bits: what should they be?"]),
        ("when a = 1: z", vec!["z | this has 2 bits: what should they be?"]),
        ("when a = 8: x", vec!["8 | 8 does not fit 3 bits"]),
        ("when a = BIG: x", vec!["BIG | 9 does not fit 3 bits"]),
        ("when a = NONE: x", vec!["NONE | nothing in the design names a value NONE"]),
        ("when a = 3..2: x", vec!["3..2 | bits are a number that is not negative, a range runs up"]),
        ("when a = 1: z = MANY", vec!["z = MANY | an output takes one value"]),
        ("when a = 1 and a = 2: x", vec!["when a = 1 and a = 2: x | this holds at no address"]),
        ("when a = 0..7: x\nelse: y", vec!["else: y | no address is left for this"]),
        ("else: y\nelse: x", vec!["else: x | the table has two `else`", "else: x | no address is left for this"]),
        ("when a = 1: x\nfile \"four.bin\"", vec!["\"four.bin\" | a table computes every word itself"]),
        ("when a = 1: x\nlanes 2", vec!["2 | the data bits of this table fill 1 lanes"]),
    ] {
        let project = open(&table(rules));
        let mut found = told_of(&project, project.diagnostics());
        let mut wanted = wanted;
        found.sort();
        wanted.sort();
        assert_eq!(found, wanted, "{rules}");
    }
    let hint = open(&table("when a = 1: /y"));
    assert!(hint.diagnostics()[0].help.as_deref().is_some_and(|help| help.starts_with("write `y`")));
    for (bits, wanted) in [
        ("address { 0..1 a[0..2] } data { 0 x }", "0..1 a[0..2] | 2 bits, but 3 names"),
        ("address { 20 a } data { 0 x }", "20 | a table has no address bit 20"),
        ("address { 0 a } data { 64 x }", "64 | a table has no data bit 64"),
        ("address { 0 a  0 /b } data { 0 x }", "0 /b | the address bit 0 is active low under one name only"),
        ("address { 0 a  1 a } data { 0 x }", "1 a | the address bit 1 or its name a is there twice"),
        ("data { 0 x }", "c | the table has no address bits"),
        ("address { 0 a }", "c | the table has no data bits"),
    ] {
        refused(&format!("contents c {{ {bits} }}"), &[wanted]);
    }
    // 2^20 addresses are looked at as long as the conditions are few.
    let many = "when a = 1: x\n".repeat(100);
    refused(
        &format!("contents c {{ address {{ 0..19 a[0..19] }} data {{ 0 x }} {many} }}"),
        &["c | the table has too many addresses for so many conditions"],
    );
}

const ROM: &str = "board b { rail VCC 5 V  rail GND  feed U1 from VCC GND
    U1 28C256-15 HOLDS { A[0..3] = a[0..3]  A[4..14] = GND  DQ[0..7] = d[0..7]  /CE = GND  /OE = GND  /WE = VCC } }
";

fn board(holds: &str, rest: &str) -> String {
    format!("{}{rest}", ROM.replace("HOLDS", holds))
}

fn run_trial(text: &str) -> Report {
    run_with(text, true)
}

fn run_with(text: &str, delays: bool) -> Report {
    let mut project = open(text);
    let problems = project.diagnostics();
    assert!(problems.is_empty(), "{:?}", told_of(&project, problems));
    let trial = project.trials()[0].clone();
    let (circuit, problems) = project.circuit(Some(&trial.on.node));
    let circuit = circuit.unwrap_or_else(|| panic!("{:?}", told_of(&project, &problems)));
    let images = |file: &Spanned<String>| project.image(file);
    let prepared = prepare(&trial, &circuit, project.sources(), &images)
        .unwrap_or_else(|problems| panic!("{:?}", told_of(&project, &problems)));
    let options = Options::default();
    if delays {
        return run(&prepared, &circuit, project.sources(), &options, &mut Unattended);
    }
    run_untimed(&prepared, &circuit, project.sources(), &options, &mut Unattended)
        .unwrap_or_else(|problems| panic!("{:?}", told_of(&project, &problems)))
}

/// What is told of words that no image fills, with its count and its time in nanoseconds.
fn not_filled(text: &str, delays: bool) -> Vec<(String, u64, i64)> {
    let report = run_with(text, delays);
    assert!(report.passed, "{:?} {:?}", report.failures, report.faults);
    let notes = report.notes.iter().filter(|note| note.kind == "not filled");
    notes
        .map(|note| {
            let first = note.first.expect("a time").ps() / 1000;
            (note.text.clone(), note.count, first)
        })
        .collect()
}

/// Atmel 0006F (AT28C256): an erased byte reads as FF, and /CE or /OE at high make the outputs let go.
#[test]
fn reads_beyond_the_image_are_told_once_for_a_chip() {
    let held = "contents c { file \"four.bin\" }\n";
    let beyond =
        "trial t on b { set a = 2  run for 1 us  set a = 9  run for 1 us  run for 1 us  set a = 0  run for 1 us
        set a = 4  run for 1 us }";
    let told = |holds: &str, rest: &str| not_filled(&board(holds, &format!("{held}{rest}")), true);
    let text = "U1 (28C256-15) was read at 0x0009, which no image fills: it gives 0xFF, as an erased chip does";
    for delays in [true, false] {
        let design = board("holds c", &format!("{held}{beyond}"));
        let found = not_filled(&design, delays);
        assert_eq!(found, [(text.to_owned(), 2, 2000)], "delays: {delays}");
    }
    // What an image fills with ones is filled; and an image that a trial loads counts in place of the first.
    let filled = "trial t on b { load U1 from \"ones.bin\"  set a = 9  run for 1 us  expect d = 0xFF }";
    assert_eq!(told("holds c", filled), []);
    assert_eq!(told("", filled), []);
    let loaded = "trial t on b { load U1 from \"other.bin\" offset 1  set a = 0  run for 1 us }";
    assert_eq!(told("holds c", loaded).len(), 1);
    // An address that does not stand for the access time, 150 ns, is not read.
    let passing = "trial t on b { set a = 2  run for 1 us  set a = 9  run for 20 ns  set a = 1  run for 1 us }";
    assert_eq!(told("holds c", passing), []);
    // A chip that is silent gives nothing, and one that its board writes may well be erased.
    let pins = "/OE = GND  /WE = VCC";
    for (other, first) in [("/OE = VCC  /WE = VCC", ""), ("/OE = oe  /WE = we", "set oe = low  set we = high")] {
        let design = board("holds c", &format!("{held}{beyond}"));
        let design = design.replace(pins, other);
        let design = design.replacen("set a = 2", &format!("{first}  set a = 2"), 1);
        assert_eq!(not_filled(&design, true), [], "{other}");
    }
}

#[test]
fn a_memory_runs_with_what_it_holds_until_something_else_is_loaded() {
    let held = "contents c { file \"four.bin\" }\n";
    let trial = "trial t on b { set a = 2  expect d = 3 within 1 us  set a = 4  run for 1 us  expect d = 0xFF }";
    let report = run_trial(&board("holds c", &format!("{held}{trial}")));
    assert!(report.passed, "{:?}", report.failures);
    assert!(report.notes.iter().all(|note| note.kind != "blank"), "{:?}", report.notes);
    // The other image takes the place of the whole chip, not only of the bytes that it has.
    let trial = "trial t on b { load U1 from \"other.bin\" offset 1
        set a = 1  expect d = 0xEE within 1 us  set a = 0  expect d = 0xFF within 1 us }";
    let report = run_trial(&board("holds c", &format!("{held}{trial}")));
    assert!(report.passed, "{:?}", report.failures);
}

#[test]
fn lanes_and_windows_are_dealt_out_to_chips() {
    let text = "contents c { file \"four.bin\" lanes 2 }
        board b { rail VCC 5 V  rail GND  feed U1, U2, U4 from VCC GND
            U[1..2] 28C256-15 holds c { /CE = GND }
            U3 28C256-15 holds c lane 1 from 1 { /CE = GND }
            U4 28C256-15 holds c lane 0 from 1 to 1 { /CE = GND } }";
    let refused_text = "U3 28C256-15 holds c lane 1 from 1 { /CE = GND }";
    let project = open(&text.replace(refused_text, ""));
    let mut project = project;
    let circuit = project.circuit(None).0.expect("a circuit");
    let held = |chip: usize| {
        let chip = circuit.chips.values().nth(chip).expect("a chip");
        let holds = chip.initial_contents.as_ref().expect("held");
        let segments = holds.image.segments();
        let bytes: Vec<(u64, Vec<u8>)> = segments.map(|(at, bytes)| (at, bytes.to_vec())).collect();
        (holds.lane, bytes)
    };
    // The words are 1 2 and 3 4: lane 0 is 1 3, lane 1 is 2 4.
    assert_eq!(held(0), (0, vec![(0, vec![1, 3])]));
    assert_eq!(held(1), (1, vec![(0, vec![2, 4])]));
    assert_eq!(held(2), (0, vec![(0, vec![3])]));
    let mut whole = open(text);
    let (circuit, problems) = whole.circuit(None);
    assert!(circuit.is_none());
    assert_eq!(told_of(&whole, &problems), ["holds c lane 1 from 1 | c has a word at address 0x0, before 0x1"]);
}

#[test]
fn what_no_chip_holds_is_told() {
    for (holds, note) in [
        ("holds c lane 1 from 0 to 0", "the first is lane 0 of the word at 0x0"),
        ("holds one from 1 to 2", "the first is at address 0x0"),
    ] {
        let text = "contents c { file \"four.bin\" lanes 2 }\ncontents one { file \"four.bin\" }\n";
        let mut project = open(&board(holds, text));
        let (circuit, problems) = project.circuit(None);
        assert!(circuit.is_some());
        // Of four bytes the chip of two lanes has one, the other chip two.
        let lost = if holds.contains("lane") { "3 bytes of c are in no chip" } else { "2 bytes of one are in no chip" };
        assert_eq!(told_of(&project, &problems), [format!("{holds} | {lost}")]);
        assert_eq!(problems[0].notes, [note]);
    }
}

#[test]
fn mistakes_of_holding_are_told_before_anything_runs() {
    let two = "contents c { file \"four.bin\" lanes 2 }\ncontents one { file \"four.bin\" }\ncontents far { file \"four.bin\" offset 0x8000 }\n";
    for (holds, wanted) in [
        ("holds d", "d | there are no contents and no program d"),
        ("holds c", "holds c | the words of c are 2 bytes wide"),
        ("holds c lane 2", "holds c lane 2 | c has no lane 2"),
        ("holds one from 2 to 1", "holds one from 2 to 1 | this window runs down"),
        ("holds one from -1", "holds one from -1 | addresses are not negative"),
        ("holds one from 4 to 5", "holds one from 4 to 5 | one has nothing for this chip"),
        (
            "holds one from 0 to 0x8000",
            "holds one from 0 to 0x8000 | this window has 32769 words, but 28C256-15 has 32768",
        ),
        ("holds far", "holds far | far reaches the address 0x8003 of the chip, but 28C256-15 has 32768 words"),
    ] {
        let mut project = open(&board(holds, two));
        let (circuit, problems) = project.circuit(None);
        assert_eq!(told_of(&project, &problems), [wanted]);
        assert!(circuit.is_none());
    }
    for (chip, wanted) in [
        ("U1 74HC00 holds one { 1A = a }", "74HC00 has no memory"),
        ("U1 62256-70 holds one { A0 = a }", "62256-70 forgets what it holds when its supply goes"),
        ("R1 resistor 1 kohm holds one { 1 = a }", "a resistor holds nothing"),
    ] {
        let mut project = open(&format!("{two}board b {{ {chip} }}"));
        let (_, problems) = project.circuit(None);
        let messages: Vec<&str> = problems.iter().map(|problem| problem.message.as_str()).collect();
        assert_eq!(messages, [wanted]);
    }
}

#[test]
fn values_are_read_and_compared_by_their_names() {
    let names = "names third { DRIVE = 2 }\nnames s { ONE = 1  TWO = 2..3 }\nnames other { ONE = 5 }
        instructions OWN { HALT = 4  GO n: byte = 3, n }\ncontents c { file \"four.bin\" }\n";
    let trial = "trial t on b { clock phi 1 MHz  set a = 1  run for 1 clock
        expect d = TWO and d != s.ONE
        show now: d as s, d as OWN, d as characters, a as s, d as decimal
        expect on rise phi: d = GO, HALT, 4
        set a = third.DRIVE  run for 1 clock
        set a = 3  run for 2 clocks  expect d = HALT }";
    let with_clock = |trial: &str| {
        board("holds c", &format!("{names}{trial}"))
            .replace("rail GND ", "rail GND  R1 resistor 1 kohm { 1 = phi  2 = GND } ")
    };
    let report = run_trial(&with_clock(trial));
    // The bytes at the rises behind the first one are 3, which is GO and one of TWO, and twice 4.
    assert_eq!(report.tables[0].rows[0].1, ["TWO", "0x02", "\\x02", "ONE", "2"]);
    assert!(report.passed, "{:?}", report.failures);
    let report = run_trial(&with_clock(&trial.replace("GO, HALT, 4", "TWO, GO, more")));
    assert_eq!(report.failures[0].found, "at strobe 2 d is 0x04 (HALT), expected GO");
    let trial = "trial t on b { set a = 1  run for 1 us  expect d = HALT }";
    let report = run_trial(&with_clock(trial));
    assert_eq!(report.failures[0].found, "d is 0x02 (wanted: d = HALT)");
    // An unknown bit is neither.
    for claim in ["d = HALT", "d != HALT"] {
        let report = run_trial(&with_clock(&format!("trial t on b {{ expect {claim} }}")));
        assert_eq!(report.failures.len(), 1, "{claim}");
    }
    for (line, wanted) in [
        ("expect d = ONE", "ONE is not the same value everywhere"),
        ("set a = TWO", "TWO stands for several values"),
        ("set a = OEN", "nothing in the design names a value OEN"),
        ("hold a0 DRIVE for 1 us", "DRIVE is 2, which does not fit the 1 bit of `a0`"),
        ("expect d = OEN", "nothing in the design names a value OEN"),
        ("expect d = s.HALT", "nothing in the design names a value HALT"),
        ("expect a0 = TWO", "TWO is 3, which does not fit the 1 bit of `a0`"),
        ("show now: d as OWM", "there are no names or instructions called OWM"),
    ] {
        let mut project = open(&board("holds c", &format!("{names}trial t on b {{ {line} }}")));
        let circuit = project.circuit(None).0.expect("a circuit");
        let images = |file: &Spanned<String>| project.image(file);
        let problems = prepare(&project.trials()[0], &circuit, project.sources(), &images).expect_err("refused");
        assert_eq!(problems[0].message, wanted);
    }
}

#[test]
fn a_diagram_shows_values_by_their_names() {
    let text = board(
        "holds c",
        "names s { ONE = 1  TWO = 2 }\ncontents c { file \"four.bin\" }
        trial t on b { show every 1 us: d as s, a  set a = 1  run for 2 us  set a = 2  run for 2 us }",
    );
    let mut project = open(&text);
    let trial = project.trials()[0].clone();
    let circuit = project.circuit(None).0.expect("a circuit");
    let images = |file: &Spanned<String>| project.image(file);
    let prepared = prepare(&trial, &circuit, project.sources(), &images).expect("prepared");
    let options = Options { record: prepared.mentioned().to_vec().into(), ..Options::default() };
    let report = run(&prepared, &circuit, project.sources(), &options, &mut Unattended);
    let look = DiagramOptions {
        from: report.waves.start,
        to: report.waves.end,
        width: 1200,
        title: String::new(),
        radix: Radix::Hex,
    };
    let words = |signal: &str, levels: &[Level]| prepared.look(signal)?.word(levels);
    let picture = diagram_with(&report.waves, &look, &words);
    // The third byte has no name, and the address is not shown by names.
    assert!(picture.contains(">TWO<") && picture.contains(">03<") && !picture.contains(">ONE<"));
}

#[test]
fn checksums_are_the_published_ones() {
    let mut image = Image::new();
    for (address, byte) in (0..).zip(b"123456789") {
        image.insert(address, *byte);
    }
    // The check value of CRC-32 (IEEE 802.3) for these nine digits, common practice; their sum by hand is 477.
    assert_eq!((rom::crc(&image), rom::sum(&image)), (0xCBF4_3926, 477));
    let whole = rom::whole_chip(&image, 16, 0xFF);
    assert_eq!((whole.len(), rom::sum(&whole)), (16, 477 + 7 * 255));
    assert_eq!(rom::file(&whole, Format::Raw).len(), 16);
}

/// The bytes of an Intel HEX text as an independent reader sees them.
fn read_hex(text: &str) -> Vec<(u32, u8)> {
    let mut found = Vec::new();
    let mut base = 0;
    for record in ihex::Reader::new(text) {
        match record.expect("a record") {
            ihex::Record::Data { offset, value } => {
                found.extend((base + u32::from(offset)..).zip(value));
            }
            ihex::Record::ExtendedLinearAddress(upper) => base = u32::from(upper) << 16,
            ihex::Record::EndOfFile => {}
            other => panic!("{other:?}"),
        }
    }
    found
}

#[test]
fn files_for_a_programmer_are_split_by_lane_and_by_chip() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = |name: &str| folder.path().join(name);
    let text = format!(
        "contents c \"two lanes\" {{ file \"four.bin\" lanes 2 }}
         instructions T {{ ONE n: byte = 0x11, n }}\nprogram p for T {{ start: ONE 7 bytes 1, 2, 3, 4, 5 }}\n{}",
        "board b { U[1..2] 28C256-15 holds c { /CE = GND } }"
    );
    let text = text.replace("ONE 7 bytes", "ONE 7\nbytes");
    std::fs::write(path("d.board"), text).expect("written");
    std::fs::write(path("four.bin"), [1, 2, 3, 4]).expect("written");
    let coldboard = |arguments: &[&str]| {
        let mut command = Command::cargo_bin("coldboard").expect("built");
        let output =
            command.current_dir(folder.path()).arg("rom").arg("d.board").args(arguments).output().expect("run");
        let text = |bytes: &[u8]| String::from_utf8_lossy(bytes).into_owned();
        (output.status.code(), text(&output.stdout), text(&output.stderr))
    };
    let (code, out, _) = coldboard(&[]);
    assert_eq!((code, out.as_str()), (Some(0), "p: 7 bytes\nc: 4 bytes in 2 lanes  two lanes\n"));
    let (code, out, _) = coldboard(&["c", "--write", "rom.hex"]);
    assert_eq!(code, Some(0));
    // 1 + 3 and 2 + 4.
    assert!(out.contains("c lane 0: 2 bytes, 0x0000 to 0x0001; sum 0x0004"), "{out}");
    assert!(out.contains("c lane 1: 2 bytes, 0x0000 to 0x0001; sum 0x0006"), "{out}");
    let lane = |name: &str| read_hex(&std::fs::read_to_string(path(name)).expect("written"));
    assert_eq!(lane("rom-lane0.hex"), [(0, 1), (1, 3)]);
    assert_eq!(lane("rom-lane1.hex"), [(0, 2), (1, 4)]);
    let (code, ..) = coldboard(&["c", "--chips", "b", "--write", "chip.bin"]);
    assert_eq!(code, Some(0));
    let chip = std::fs::read(path("chip-U2.bin")).expect("written");
    assert_eq!((chip.len(), &chip[..3]), (32768, &[2, 4, 0xFF][..]));
    let (code, out, _) = coldboard(&["p", "--listing", "--write", "p.s19"]);
    assert_eq!(code, Some(0));
    assert!(std::fs::read_to_string(path("p.s19")).expect("written").starts_with("S0"));
    let listing: Vec<&str> = out.lines().skip(1).collect();
    assert_eq!(
        listing,
        ["0000               start:", "0000  11 07        ONE 7", "0002  01 02 03 04  bytes 1, 2, 3, 4, 5", "0006  05",]
    );
    let (code, _, error) = coldboard(&["q"]);
    assert!(code == Some(2) && error.contains("no program q"), "{error}");
    let (code, _, error) = coldboard(&["p", "--write", "p.rom"]);
    assert!(code == Some(2) && error.contains("end it with .hex"), "{error}");
}

/// Pieces of tables, for texts that come near to meaning something.
const PIECES: &[&str] = &[
    "address",
    "data",
    "{",
    "}",
    "0",
    "0..2",
    "a[0..2]",
    "a",
    "b",
    "/y",
    "x",
    "when",
    "=",
    "!=",
    "1",
    "7",
    "3..5",
    ":",
    ",",
    "else",
    "none",
    "and",
    "or",
    "not",
    "(",
    ")",
    "ONE",
    "lanes",
    "sequence",
    "by",
    "until",
    "drivers",
    "file",
    "\"four.bin\"",
    "program",
    "offset",
];

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn any_contents_get_an_answer(pieces in prop::collection::vec(prop::sample::select(PIECES), 0..50)) {
        let head = "names s { ONE = 1 }\ncontents c { address { 0..2 a[0..2] } data { 0 x 1 /y }";
        let mut project = open(&format!("{head} {} }}\nboard b {{ U1 28C256-15 holds c {{ A0 = a }} }}", pieces.join(" ")));
        let _ = project.circuit(None);
    }

    #[test]
    fn what_is_written_for_a_programmer_reads_back(bytes in prop::collection::btree_map(0u64..0x2_0000, any::<u8>(), 1..40)) {
        let mut image = Image::new();
        for (&address, &byte) in &bytes {
            image.insert(address, byte);
        }
        let text = String::from_utf8(rom::file(&image, Format::IntelHex)).expect("text");
        let wanted: Vec<(u32, u8)> = bytes.iter().map(|(&at, &byte)| (at as u32, byte)).collect();
        prop_assert_eq!(read_hex(&text), wanted);
        let raw = rom::file(&image, Format::Raw);
        for (at, byte) in raw.iter().enumerate() {
            prop_assert_eq!(*byte, bytes.get(&(at as u64)).copied().unwrap_or(0xFF));
        }
    }
}
