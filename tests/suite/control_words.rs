//! The audit of control words: what can be reached is worked out a second time here, from the bytes of the table.

use coldboard::part::Library;
use coldboard::project::Project;
use coldboard::text::MemoryFiles;
use proptest::prelude::*;
use std::path::Path;

const BITS: &str = "address { 0..1 opcode[0..1]  2..3 step[0..1]  4 zero }
    data { 0 /a_out  1 /rom_out  2 x_out  3 load  4..5 from[0..1]  6 /last }";

fn open(lines: &str) -> Project {
    let text = format!("names source {{ A = 1  B = 2 }}\ncontents c {{ {BITS}\n{lines} }}");
    Project::open(&MemoryFiles::default().with("d.board", text), Path::new("d.board"), Library::built_in())
}

/// The messages and first notes of what is found in a table.
#[track_caller]
fn audited(lines: &str) -> Vec<(String, String)> {
    let project = open(lines);
    let problems = project.diagnostics();
    assert!(problems.iter().all(|problem| problem.code == "never"), "{problems:?}");
    let filling = project.contents().filling("c").expect("contents");
    filling.audit.iter().map(|it| (it.message.clone(), it.notes.first().cloned().unwrap_or_default())).collect()
}

#[track_caller]
fn found(lines: &str, wanted: &[(&str, &str)]) {
    let found = audited(lines);
    let found: Vec<(&str, &str)> = found.iter().map(|(message, note)| (message.as_str(), note.as_str())).collect();
    assert_eq!(found, wanted, "{lines}");
}

/// Addresses by hand: opcode + 4 * step + 16 * zero, with none of them active low.
#[test]
fn two_sources_are_found_where_their_word_can_be_reached() {
    let sources = "drivers d: a_out, rom_out, x_out, from = A";
    found(&format!("{sources} when opcode = 1: a_out when opcode = 2: rom_out, load else: none"), &[]);
    let note = "the first at address 0x0009: opcode = 0x1, step = 0x2, zero = 0x0; 2 such words";
    found(
        &format!("{sources} when opcode = 1: a_out when step = 2 and opcode = 1: rom_out else: none"),
        &[("a_out and rom_out drive d in one control word", note)],
    );
    // With a flag alone, and of three sources.
    let note = "the first at address 0x0013: opcode = 0x3, step = 0x0, zero = 0x1; 1 such word";
    found(
        &format!("{sources} when opcode = 3 and step = 0: a_out, x_out when zero and opcode = 3: from = A else: none"),
        &[
            (
                "a_out and x_out drive d in one control word",
                "the first at address 0x0003: opcode = 0x3, step = 0x0, zero = 0x0; 1 such word",
            ),
            ("a_out, x_out and from = A drive d in one control word", note),
        ],
    );
    // Opcode 1 ends in step 1, so that nobody sees its step 2.
    let ends = "sequence opcode by step until last when step = 1: last";
    let lost = (
        "no instruction comes to a step of this line",
        "the first at address 0x0009: opcode = 0x1, step = 0x2, zero = 0x0",
    );
    found(&format!("{sources} {ends} when step = 2 and opcode = 1: rom_out, a_out else: none"), &[lost]);
}

#[test]
fn an_instruction_ends_whatever_the_flags_are() {
    let sequence = "sequence opcode by step until last";
    found(&format!("{sequence} when step = 3: last else: none"), &[]);
    found(
        &format!("{sequence} when zero: last when step = 3 and opcode != 2: last else: none"),
        &[(
            "instruction 0x02 does not end by its last step, 3",
            "the first at address 0x000E: opcode = 0x2, step = 0x3, zero = 0x0",
        )],
    );
    found(
        &format!("{sequence} when opcode = 1: last else: none"),
        &[(
            "3 instructions do not end by their last step, 3: 0x00, 0x02..0x03",
            "the first at address 0x000C: opcode = 0x0, step = 0x3, zero = 0x0",
        )],
    );
    // A machine that halts needs no end.
    found("sequence opcode by step until last or from = B when opcode = 1: last when opcode != 1: from = B", &[]);
}

#[test]
fn what_asks_for_the_audit_is_read_like_all_else() {
    let refused = |lines: &str, wanted: &str| {
        let project = open(lines);
        let told: Vec<&str> = project.diagnostics().iter().map(|problem| problem.message.as_str()).collect();
        assert_eq!(told, [wanted], "{lines}");
    };
    refused("sequence op by step until last else: last", "the table has no bit op here");
    refused("sequence opcode by step until zero else: last", "the table has no bit zero here");
    refused("drivers d: a_out, b_out else: none", "the table has no bit b_out here");
    refused("drivers d: from else: none", "this has 2 bits: what should they be?");
    let twice = "sequence opcode by step until last sequence opcode by step until load else: last";
    refused(twice, "the table has two `sequence` lines");
}

/// What of a table of bytes can be reached, by a walk of its own: every instruction, with every flag in every step. The
/// active-low bits are 0, 1 and 6.
fn walk(bytes: &[u8]) -> (bool, Vec<u64>) {
    let asserted = |at: usize| bytes[at] ^ 0b100_0011;
    let (mut contention, mut endless) = (false, Vec::new());
    for opcode in 0..4 {
        let mut step = 0;
        loop {
            let words = [0, 1].map(|zero| asserted(opcode | step << 2 | zero << 4));
            contention |= words.iter().any(|word| (word & 7).count_ones() > 1);
            if words.iter().all(|word| word >> 6 & 1 == 1) {
                break;
            }
            step += 1;
            if step == 4 {
                endless.push(opcode as u64);
                break;
            }
        }
    }
    (contention, endless)
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, cases: 200, ..ProptestConfig::default() })]

    #[test]
    fn the_audit_and_a_walk_agree(rows in prop::collection::vec((0..4u8, 0..4u8, 0..3u8, 0..16u8), 0..8)) {
        let mut lines = String::new();
        for (opcode, step, flag, outputs) in rows {
            let flag = ["", " and zero", " and not zero"][usize::from(flag)];
            let names = ["a_out", "rom_out", "x_out", "last"].iter().enumerate();
            let names: Vec<&str> = names.filter(|(bit, _)| outputs >> bit & 1 == 1).map(|(_, name)| *name).collect();
            let names = if names.is_empty() { "none".to_owned() } else { names.join(", ") };
            lines += &format!("when opcode = {opcode} and step = {step}{flag}: {names}\n");
        }
        let lines = format!("sequence opcode by step until last drivers d: a_out, rom_out, x_out {lines} else: none");
        let found = audited(&lines);
        let project = open(&lines);
        let filling = project.contents().filling("c").expect("contents");
        let (_, bytes) = filling.image.segments().next().expect("bytes");
        let (contention, endless) = walk(bytes);
        prop_assert_eq!(found.iter().any(|(message, _)| message.contains("in one control word")), contention);
        let listed = found.iter().find(|(message, _)| message.contains("not end by"));
        let count = listed.map_or(0, |(message, _)| match message.split_once(" instructions") {
            Some((count, _)) => count.parse().expect("a count"),
            None => 1,
        });
        prop_assert_eq!(count, endless.len());
    }
}
