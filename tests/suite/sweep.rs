//! Sweeps: rates that sheets give by hand, the same bytes on any number of cores, slices, journals that were cut.

use assert_cmd::Command;
use coldboard::model::Changes;
use coldboard::part::Library;
use coldboard::project::Project;
use coldboard::quantity::{Frequency, Voltage};
use coldboard::sweep::{self, Asked, Clock, Plan, Row, Sweep, Verdict};
use coldboard::text::MemoryFiles;
use serde_json::Value;
use std::fs;
use std::path::Path;
use tempfile::TempDir;

/// A flip-flop that stores its own opposite, through an inverter. Nets of two pins and a little copper are lighter than
/// the 50 pF of the sheets, which then hold as they stand. From one clock to the next there must be time for the delay of
/// the flip-flop, that of the inverter, and the setup time.
///
/// TI SCLS094E (HC74), limits over -40..85 C: CLK to Q 220, 44, 37 ns and setup 125, 25, 21 ns at 2, 4.5 and 6 V; limits
/// at 25 C and 4.5 V: 35 and 20 ns. TI SCLS078H (HC04): 120, 24, 20 ns; 19 ns at 25 C and 4.5 V.
pub(crate) const TOGGLE: &str = "
board toggle {
    rail VCC 5 V
    rail GND
    feed U1, U2 from VCC GND
    C1..C2 capacitor 100 nF decouples U1..U2
    connector J1 header-1x4 { 1 VCC  2 GND  3 clk  4 q }
    U1 74HC74 {
        1CLK = clk  1D = d  /1PRE = VCC  /1CLR = VCC  1Q = q
        2CLK = GND  2D = GND  /2PRE = VCC  /2CLR = VCC
    }
    U2 74HC04 { 1A = q  1Y = d  [2..6]A = GND }
}
trial toggles on toggle {
    power-up zero
    corner slowest
    clock clk 1 MHz
    run for 20 clocks
    expect q is known
}
";

pub(crate) fn project(text: &str) -> Project {
    let files = MemoryFiles::default().with("toggle.board", text);
    let project = Project::open(&files, Path::new("toggle.board"), Library::built_in());
    assert!(project.diagnostics().is_empty(), "{:?}", project.diagnostics());
    project
}

fn swept(project: &Project, asked: Asked, cores: usize) -> Sweep {
    let plan = Plan::new(project, asked).expect("a plan");
    sweep::work(&plan, cores, Vec::new(), &mut |_| Ok(())).expect("a sweep")
}

fn highest(text: &str) -> Clock {
    Clock::Highest(sweep::range(text).expect("a range"), 4)
}

fn rates(sweep: &Sweep) -> Vec<(Option<&str>, Option<&str>)> {
    (sweep.rows.iter())
        .map(|row| {
            let highest = row.highest.as_ref().expect("a search");
            (highest.passed.as_deref(), highest.failed.as_deref())
        })
        .collect()
}

#[test]
fn the_search_finds_the_rate_of_the_critical_path_at_every_voltage() {
    let project = project(TOGGLE);
    let asked = Asked {
        voltages: sweep::voltages("2V,4.5V,5V,5.25V,6V,6.5V").expect("voltages"),
        clock: highest("1MHz..30MHz/0.1MHz"),
        ..Asked::default()
    };
    let swept = swept(&project, asked, 2);
    // The sheets, by hand, and on straight lines between 4.5 and 6 V:
    assert_eq!(
        rates(&swept),
        [
            // 220 + 120 + 125 = 465 ns: 2.15 MHz
            (Some("2.1 MHz"), Some("2.2 MHz")),
            // 44 + 24 + 25 = 93 ns: 10.75 MHz
            (Some("10.7 MHz"), Some("10.8 MHz")),
            // a third of the way to 37 + 20 + 21 = 78 ns: 88 ns, 11.36 MHz
            (Some("11.3 MHz"), Some("11.4 MHz")),
            // half of the way: 85.5 ns, 11.70 MHz
            (Some("11.6 MHz"), Some("11.7 MHz")),
            // 78 ns: 12.82 MHz
            (Some("12.8 MHz"), Some("12.9 MHz")),
            // HC takes 2 to 6 V (TI SCLS131D).
            (None, None),
        ]
    );
    let last = &swept.rows[5];
    assert_eq!(last.outcome.verdict, Verdict::Supply);
    let why = last.outcome.first.as_deref().expect("a reason");
    assert!(why.contains("74HC04 has 6.5 V, HC takes 2 V to 6 V: U2"), "{why}");
    assert!(!swept.is_good());
}

#[test]
fn a_rate_at_which_the_flip_flop_is_one_clock_late_is_no_answer() {
    let project = project(TOGGLE);
    let asked = Asked {
        voltages: sweep::voltages("4.5V").expect("a voltage"),
        clock: highest("1MHz..30MHz/0.1MHz"),
        ..Asked::default()
    };
    let swept = swept(&project, asked, 1);
    let highest = swept.rows[0].highest.as_ref().expect("a search");
    // The opposite comes 44 + 24 = 68 ns behind a clock and must not move from 25 ns before another one to that one. With
    // 93 ns from clock to clock it is in time; with 68 to 34 + 25 / 2 ns it comes between the next two, and all seems well.
    assert_eq!(highest.passed.as_deref(), Some("10.7 MHz"));
    let again: Vec<Frequency> =
        (highest.passed_above.iter()).map(|rate| sweep::grid::frequency(rate).expect("a rate")).collect();
    assert!(!again.is_empty());
    let mhz = |tenths: i64| Frequency::from_raw(tenths * 100_000_000);
    assert!(again.iter().all(|&rate| (mhz(147)..=mhz(215)).contains(&rate)), "{again:?}");
}

#[test]
fn the_temperature_moves_the_rate() {
    let project = project(TOGGLE);
    let asked = Asked {
        voltages: sweep::voltages("4.5V").expect("a voltage"),
        temperatures: sweep::temperatures("25C,85C").expect("temperatures"),
        clock: highest("1MHz..30MHz/0.1MHz"),
        ..Asked::default()
    };
    // 35 + 19 + 20 = 74 ns at 25 C: 13.51 MHz; 93 ns at 85 C.
    assert_eq!(
        rates(&swept(&project, asked, 2)),
        [(Some("13.5 MHz"), Some("13.6 MHz")), (Some("10.7 MHz"), Some("10.8 MHz")),]
    );
}

#[test]
fn a_row_of_rates_holds_below_the_critical_path_and_not_above() {
    let project = project(TOGGLE);
    let asked =
        Asked { clock: Clock::Rates(sweep::frequencies("8MHz..14MHz/1MHz").expect("rates")), ..Asked::default() };
    let swept = swept(&project, asked, 2);
    let held: Vec<bool> = swept.rows.iter().map(Row::is_good).collect();
    // At 5 V to 11.36 MHz, as above.
    assert_eq!(held, [true, true, true, true, false, false, false]);
    let first = swept.rows[4].outcome.first.as_deref().expect("a reason");
    assert!(first.starts_with("U1 (74HC74) setup: 1D moved"), "{first}");
}

#[test]
fn an_oscillator_can_be_swept() {
    let text = TOGGLE
        .replace("U2 from", "U2, X1 from")
        .replace("U1 74HC74", "X1 OSC14 1 MHz { OUT = clk }\n    U1 74HC74")
        .replace("clock clk 1 MHz", "count clocks on clk");
    let project = project(&text);
    for name in [None, Some("X1".to_owned())] {
        let asked = Asked { clock: highest("1MHz..30MHz/0.1MHz"), clock_name: name, ..Asked::default() };
        let swept = swept(&project, asked, 1);
        assert_eq!(rates(&swept), [(Some("11.3 MHz"), Some("11.4 MHz"))]);
        assert_eq!(swept.header.changed, ["clock: the oscillator X1"]);
    }
}

#[test]
fn the_supply_of_an_assembly_is_swept() {
    let text = TOGGLE.replace("on toggle", "on bench")
        + "assembly bench { A: toggle  supply PS1 5 V 1 A { plus = A.J1.1  minus = A.J1.2 } }";
    let text = text.replace("clock clk", "clock A.clk").replace("expect q", "expect A.q");
    let project = project(&text);
    let asked = Asked {
        supply: Some("PS1".to_owned()),
        voltages: sweep::voltages("4.5V,6V").expect("voltages"),
        clock: highest("1MHz..30MHz/0.1MHz"),
        ..Asked::default()
    };
    assert_eq!(
        rates(&swept(&project, asked, 2)),
        [(Some("10.7 MHz"), Some("10.8 MHz")), (Some("12.8 MHz"), Some("12.9 MHz")),]
    );
}

#[test]
fn a_sweep_ends_where_its_rows_are_refused() {
    let project = project(TOGGLE);
    let asked = Asked { corners: sweep::corners("random:1..40").expect("corners"), ..Asked::default() };
    let plan = Plan::new(&project, asked).expect("a plan");
    let mut seen = Vec::new();
    let mut each = |row: &Row| {
        seen.push(row.point);
        match row.point {
            3 => Err("the disk is full".to_owned()),
            _ => Ok(()),
        }
    };
    let ended = sweep::work(&plan, 2, Vec::new(), &mut each);
    assert_eq!(ended, Err("the disk is full".to_owned()));
    assert_eq!(seen, [0, 1, 2, 3]);
}

#[test]
fn a_point_runs_as_a_design_in_which_it_is_written() {
    let point = project(TOGGLE);
    let asked = Asked {
        voltages: sweep::voltages("5.4V").expect("a voltage"),
        clock: Clock::Rates(sweep::frequencies("7MHz").expect("a rate")),
        ..Asked::default()
    };
    let point = swept(&point, asked, 1);
    let text = TOGGLE.replace("rail VCC 5 V", "rail VCC 5.4 V").replace("clk 1 MHz", "clk 7 MHz");
    let written = swept(&project(&text), Asked::default(), 1);
    assert_eq!(point.rows[0].outcome, written.rows[0].outcome);
    assert_ne!(point.header.design, written.header.design);
}

#[test]
fn what_cannot_be_swept_is_told() {
    let told = |text: &str, asked: Asked| {
        let project = project(text);
        let problems = Plan::new(&project, asked).expect_err("refused");
        problems[0].message.clone()
    };
    let rates = || Clock::Rates(sweep::frequencies("1MHz").expect("a rate"));
    let voltages = || sweep::voltages("4V").expect("a voltage");
    let no_clock = TOGGLE.replace("clock clk 1 MHz", "step clk 2 times").replace("20 clocks", "1 us");
    let message = told(&no_clock, Asked { clock: rates(), ..Asked::default() });
    assert!(message.contains("no `clock` line and its circuit no oscillator"), "{message}");
    let named = Some("clock".to_owned());
    let message = told(TOGGLE, Asked { clock: rates(), clock_name: named, ..Asked::default() });
    assert!(message.contains("`clock` is no clock of the trial toggles"), "{message}");
    let named = Some("GND".to_owned());
    let message = told(TOGGLE, Asked { voltages: voltages(), supply: named, ..Asked::default() });
    assert!(message.contains("`GND` is no rail of toggle with a voltage; it has: VCC"), "{message}");
    let two = TOGGLE.replace("rail GND", "rail GND\n    rail VBB 3 V");
    let message = told(&two, Asked { voltages: voltages(), ..Asked::default() });
    assert!(message.contains("VCC, VBB have different voltages"), "{message}");
    let message = told(TOGGLE, Asked { trials: vec!["toggle".to_owned()], ..Asked::default() });
    assert!(message.contains("no trial `toggle`; did you mean `toggles`?"), "{message}");
    let corners = sweep::corners("random:1..9000").expect("corners");
    let clock = Clock::Rates(sweep::frequencies("1MHz..9MHz/9").expect("rates"));
    let message = told(TOGGLE, Asked { corners, clock, ..Asked::default() });
    assert!(message.contains("81000 points; a sweep has 20000 at most"), "{message}");
}

#[test]
fn a_change_must_name_something() {
    let project = project(TOGGLE);
    let mut changes = Changes::default();
    changes.voltages.insert("VDD".to_owned(), Voltage::from_raw(5_000_000));
    changes.frequencies.insert("U1".to_owned(), Frequency::from_raw(1_000_000));
    let (circuit, problems) = project.changed(Some("toggle"), &changes);
    assert!(circuit.is_none());
    let told: Vec<&str> = problems.iter().map(|problem| problem.message.as_str()).collect();
    assert_eq!(told, ["there is no oscillator U1 to change", "there is no rail VDD to change"]);
}

// ---- the command --------------------------------------------------------------------------------------------------

fn folder() -> TempDir {
    let folder = tempfile::tempdir().expect("a folder");
    fs::write(folder.path().join("toggle.board"), TOGGLE).expect("written");
    folder
}

/// Exit code, standard output, standard error.
pub(crate) fn ask(folder: &Path, arguments: &str) -> (i32, String, String) {
    let output = Command::cargo_bin("coldboard")
        .expect("the program")
        .current_dir(folder)
        .args(arguments.split_whitespace())
        .output()
        .expect("it ran");
    let text = |bytes| String::from_utf8(bytes).expect("text");
    let code = output.status.code().expect("an exit code");
    (code, text(output.stdout), text(output.stderr))
}

fn read(folder: &Path, name: &str) -> String {
    fs::read_to_string(folder.join(name)).unwrap_or_else(|error| panic!("{name}: {error}"))
}

/// 3 voltages, 3 corners, 2 power-ups, 5 rates: 90 points.
const GRID: &str = "sweep toggle.board --voltage 4.5V..6V/3 --corner fastest,slowest,random:7 \
                    --power-up zero,random:3 --clock 8MHz..16MHz/5";

#[test]
fn any_number_of_cores_gives_the_same_bytes() {
    let folder = folder();
    let one = ask(folder.path(), &format!("{GRID} --cores 1 --json --journal 1.jsonl --csv 1.csv --svg 1.svg"));
    let two = ask(folder.path(), &format!("{GRID} --cores 2 --json --journal 2.jsonl --csv 2.csv --svg 2.svg"));
    assert_eq!(one.0, 1, "{}", one.2);
    assert_eq!(one, two);
    for ending in ["jsonl", "csv", "svg"] {
        let [a, b] = [1, 2].map(|core| read(folder.path(), &format!("{core}.{ending}")));
        assert_eq!(a, b);
        assert!(!a.is_empty());
    }
    assert_eq!(read(folder.path(), "1.csv").lines().count(), 91);
    let json: Value = serde_json::from_str(&one.1).expect("JSON");
    assert_eq!(json["rows"].as_array().map(Vec::len), Some(90));
    // Nobody watches a pipe.
    assert!(one.2.is_empty(), "{}", one.2);
}

#[test]
fn slices_put_together_are_the_whole() {
    let folder = folder();
    let path = folder.path();
    let whole = ask(path, &format!("{GRID} --journal whole.jsonl --csv whole.csv"));
    for slice in 1..=4 {
        let part = ask(path, &format!("{GRID} --slice {slice}/4 --journal {slice}.jsonl"));
        assert_ne!(part.0, 2, "{}", part.2);
    }
    let merged = ask(path, "merge 3.jsonl 1.jsonl 4.jsonl 2.jsonl --journal merged.jsonl --csv merged.csv");
    assert_eq!((merged.0, &merged.1), (whole.0, &whole.1), "{}", merged.2);
    assert_eq!(read(path, "merged.jsonl"), read(path, "whole.jsonl"));
    assert_eq!(read(path, "merged.csv"), read(path, "whole.csv"));

    let missing = ask(path, "merge 1.jsonl 2.jsonl 4.jsonl");
    assert_eq!(missing.0, 2);
    // 90 points: slice 3 has those with the numbers 2, 6, ..., 86.
    assert!(missing.2.contains("22 of 90 points are missing, the first one is"), "{}", missing.2);
    let twice = ask(path, "merge 1.jsonl 2.jsonl 3.jsonl 4.jsonl 1.jsonl");
    assert_eq!(twice.0, 2);
    assert!(twice.2.contains("is there twice: in 1.jsonl and in 1.jsonl"), "{}", twice.2);

    fs::write(path.join("toggle.board"), TOGGLE.replace("rail VCC 5 V", "rail VCC 5.1 V")).expect("written");
    ask(path, &format!("{GRID} --slice 4/4 --journal other.jsonl"));
    let other = ask(path, "merge 1.jsonl 2.jsonl 3.jsonl other.jsonl");
    assert_eq!(other.0, 2);
    assert!(other.2.contains("the design, its images or the library have been changed"), "{}", other.2);
}

#[test]
fn a_sweep_that_was_cut_goes_on() {
    let folder = folder();
    let path = folder.path();
    let whole = ask(path, &format!("{GRID} --journal whole.jsonl"));
    let journal = read(path, "whole.jsonl");
    let header = journal.find('\n').expect("a header") + 1;
    // In the header's end, in a line, at the end of one, and whole.
    for cut in [header, header + 100, journal.len() / 2, journal.len() - 1, journal.len()] {
        fs::write(path.join("cut.jsonl"), &journal[..cut]).expect("written");
        let on = ask(path, &format!("{GRID} --continue cut.jsonl"));
        assert_eq!((on.0, &on.1), (whole.0, &whole.1), "cut at {cut}: {}", on.2);
        assert_eq!(read(path, "cut.jsonl"), journal, "cut at {cut}");
    }
    let again = ask(path, &format!("{GRID} --journal whole.jsonl"));
    assert_eq!(again.0, 2);
    assert!(again.2.contains("--continue whole.jsonl"), "{}", again.2);
    let other = ask(path, &format!("{GRID},17MHz --continue whole.jsonl"));
    assert_eq!(other.0, 2);
    assert!(other.2.contains("the values of clock differ"), "{}", other.2);
    fs::write(path.join("toggle.board"), format!("{TOGGLE}# a remark\n")).expect("written");
    let changed = ask(path, &format!("{GRID} --continue whole.jsonl"));
    assert_eq!(changed.0, 2);
    assert!(changed.2.contains("have been changed"), "{}", changed.2);
    assert_eq!(read(path, "whole.jsonl"), journal, "nothing was lost");
}

/// A line of a journal with the checksum that fits: CRC-32/ISO-HDLC of the line without it, by an independent crate.
fn sealed(item: &str) -> String {
    let crc = crc::Crc::<u32>::new(&crc::CRC_32_ISO_HDLC).checksum(item.as_bytes());
    let open = item.strip_suffix('}').expect("an object");
    format!("{open},\"crc\":\"{crc:08x}\"}}\n")
}

/// A line of a journal without its checksum.
fn unsealed(line: &str) -> String {
    let (item, _) = line.rsplit_once(",\"crc\":\"").expect("a checksum");
    format!("{item}}}")
}

#[test]
fn each_line_of_a_journal_has_its_checksum() {
    let folder = folder();
    ask(folder.path(), &format!("{GRID} --journal whole.jsonl"));
    for line in read(folder.path(), "whole.jsonl").lines() {
        assert_eq!(sealed(&unsealed(line)), format!("{line}\n"));
        serde_json::from_str::<Value>(line).expect("JSON");
    }
}

#[test]
fn a_damaged_journal_is_refused_with_its_line() {
    let folder = folder();
    let path = folder.path();
    ask(path, &format!("{GRID} --journal whole.jsonl"));
    let journal = read(path, "whole.jsonl");
    let lines: Vec<&str> = journal.lines().collect();
    let second = lines[1];
    let other = sealed(&unsealed(lines[4]).replace("\"point\":3,", "\"point\":4,"));
    for (damaged, told) in [
        (journal.replacen("\"point\":3,", "\"point\":4,", 1), "d.jsonl:5: this line is damaged"),
        (journal.replacen(&format!("{}\n", lines[4]), &other, 1), "d.jsonl:5: this row belongs to another grid"),
        (format!("{journal}{second}\n"), "d.jsonl:92: this point is there twice"),
        (journal.replacen("{\"point\":1,", "{\"pint\":1,", 1), "d.jsonl:3: this line is damaged"),
        (journal.replacen(lines[2], &unsealed(lines[2]), 1), "d.jsonl:3: this line is damaged"),
        (journal.replacen(lines[2], sealed("{}").trim_end(), 1), "d.jsonl:3: this is no row of a sweep"),
        (
            journal.replacen(lines[7], "", 1).replacen(lines[9], "x", 1),
            "d.jsonl:8: this line is damaged, its checksum does not fit; so is 1 more line:",
        ),
        (
            journal.replacen("\"coldboard\"", "\"coldbored\"", 1),
            "d.jsonl:1: this is no header of a sweep's journal, or it is damaged",
        ),
        ("x\n".to_owned(), "d.jsonl:1: this is no header"),
        (String::new(), "d.jsonl:1: this is no header"),
    ] {
        fs::write(path.join("d.jsonl"), damaged).expect("written");
        let (code, _, err) = ask(path, "merge d.jsonl");
        assert_eq!(code, 2);
        assert!(err.contains(told), "{told}: {err}");
    }
}

#[test]
fn damaged_points_are_run_again() {
    let folder = folder();
    let path = folder.path();
    let whole = ask(path, &format!("{GRID} --journal whole.jsonl"));
    let journal = fs::read(path.join("whole.jsonl")).expect("a journal");
    let mut damaged = journal.clone();
    // A byte that is no text, in the middle of line 6; and the end is cut.
    let ends = journal.iter().enumerate().filter(|(_, byte)| **byte == b'\n');
    let ends: Vec<usize> = ends.map(|(at, _)| at).collect();
    damaged[ends[4] + 20] = 0xFF;
    damaged.truncate(ends[80] + 30);
    fs::write(path.join("d.jsonl"), damaged).expect("written");
    let on = ask(path, &format!("{GRID} --continue d.jsonl"));
    assert_eq!((on.0, &on.1), (whole.0, &whole.1), "{}", on.2);
    assert_eq!(
        on.2.trim_end(),
        "warning: d.jsonl:6: this line is damaged, its checksum does not fit: its point is run again"
    );
    let merged = ask(path, "merge d.jsonl --journal merged.jsonl");
    assert_eq!((merged.0, &merged.1), (whole.0, &whole.1), "{}", merged.2);
    assert_eq!(read(path, "merged.jsonl").as_bytes(), journal);
}

#[test]
fn the_picture_is_readable_without_colour() {
    let folder = folder();
    let arguments =
        "sweep toggle.board --clock 10MHz..14MHz/5 --voltage 4.5V,5V,6V,7V --corner slowest,fastest --svg p.svg";
    let (code, out, err) = ask(folder.path(), arguments);
    assert_eq!(code, 1, "{err}");
    assert!(!out.contains('\u{1b}'));
    let rows: Vec<String> = (out.lines())
        .filter(|line| line.trim_start().starts_with(|c: char| c.is_ascii_digit()) && line.contains(" V "))
        .filter(|line| !line.contains("takes"))
        .map(|line| line.split_whitespace().skip(2).collect())
        .collect();
    // Of the slowest corner, as above: to 10.75, 11.36 and 12.82 MHz. The fastest one has a quarter of the typical delays.
    assert_eq!(rows, ["+eeee", "++eee", "+++ee", "VVVVV"], "{out}");
    let svg = read(folder.path(), "p.svg");
    assert_eq!(svg.matches(">e</text>").count(), 9);
    assert_eq!(svg.matches(">+</text>").count(), 6);
    assert_eq!(svg.matches(">V</text>").count(), 5);
    let turned = ask(folder.path(), &format!("{arguments} --across voltage --down corner"));
    assert!(turned.1.contains("across: voltage; down: corner; in each place: 5 clock rates"), "{}", turned.1);
    let wrong = ask(folder.path(), &format!("{arguments} --across rate"));
    assert_eq!(wrong.0, 2);
    assert!(wrong.2.contains("`rate` is no axis here"), "{}", wrong.2);
}

#[test]
fn a_search_says_what_it_does_not_prove() {
    let folder = folder();
    let (code, out, err) = ask(folder.path(), "sweep toggle.board --highest 1MHz..30MHz/0.1MHz --samples 5");
    assert_eq!(code, 0, "{err}");
    assert!(out.contains("to 100 kHz between 1 MHz and 30 MHz"), "{out}");
    assert!(out.contains("11.3 MHz passes, 11.4 MHz fails"), "{out}");
    // In steps of 0.1 MHz from 1 MHz, halving 0 to 290 finds 103, and 0, 72, 90 and 99 hold on the way; five samples are
    // 17, 34, 51, 68 and 85.
    assert!(out.contains("does not prove that all lower ones do: 9 lower rates were tried and passed."), "{out}");
}
