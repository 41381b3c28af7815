//! The worked designs: their trials hold in every corner, and what they show is what their files say.

use coldboard::circuit::Circuit;
use coldboard::diagnostic::any_error;
use coldboard::language::ast::{Corner, Item, PowerUp, Trial};
use coldboard::logic::Level;
use coldboard::part::Library;
use coldboard::project::Project;
use coldboard::quantity::Time;
use coldboard::text::Files;
use coldboard::trial::{Options, Prepared, Report, Unattended, prepare, run};
use rayon::prelude::*;
use std::fs;
use std::path::{Path, PathBuf};
use std::sync::Arc;

// ---- opening and running --------------------------------------------------------------------------------------------

fn designs() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("designs")
}

fn carillon() -> PathBuf {
    designs().join("carillon/carillon.board")
}

/// The disk, with texts that stand in for those of some files.
#[derive(Default)]
pub(crate) struct Disk {
    changed: Vec<(PathBuf, String)>,
}

impl Disk {
    pub(crate) fn with(mut self, path: PathBuf, text: String) -> Disk {
        self.changed.push((path, text));
        self
    }

    /// A file in which something is written otherwise.
    pub(crate) fn edit(self, path: PathBuf, from: &str, to: &str) -> Disk {
        let text = fs::read_to_string(&path).expect("a design file");
        assert!(text.contains(from), "{} has no `{from}`", path.display());
        self.with(path, text.replace(from, to))
    }
}

impl Files for Disk {
    fn read(&self, path: &Path) -> Result<Vec<u8>, String> {
        let changed = self.changed.iter().find(|(other, _)| other == path);
        match changed {
            Some((_, text)) => Ok(text.clone().into_bytes()),
            None => fs::read(path).map_err(|error| format!("{}: {error}", path.display())),
        }
    }
}

/// An opened design with its trials.
pub(crate) struct Design {
    pub(crate) project: Project,
    trials: Vec<(Trial, Arc<Circuit>)>,
}

impl Design {
    pub(crate) fn open(files: &Disk, path: &Path) -> Design {
        let mut project = Project::open(files, path, Library::built_in());
        assert_eq!(project.diagnostics(), [], "{}", path.display());
        let mut trials = Vec::new();
        for trial in project.trials().to_vec() {
            let (circuit, problems) = project.circuit(Some(&trial.on.node));
            assert_eq!(problems, [], "{}", path.display());
            trials.push((trial, circuit.expect("a circuit")));
        }
        Design { project, trials }
    }

    pub(crate) fn prepared(&self, name: &str) -> (Prepared, &Circuit) {
        let mut trials = self.trials.iter();
        let found = trials.find(|(trial, _)| trial.name.node == name);
        let (trial, circuit) = found.expect("a trial of that name");
        let images = |file: &_| self.project.image(file);
        let prepared = prepare(trial, circuit, self.project.sources(), &images);
        (prepared.expect("names that are known"), circuit)
    }

    pub(crate) fn run(&self, name: &str, options: &Options) -> Report {
        let (prepared, circuit) = self.prepared(name);
        let sources = self.project.sources();
        run(&prepared, circuit, sources, options, &mut Unattended)
    }

    /// A run with the waves of some signals.
    fn record(&self, name: &str, corner: Corner, signals: &[&str]) -> Report {
        let (_, circuit) = self.prepared(name);
        let signal = |path: &&str| circuit.signal(path).expect("a signal");
        let options = Options {
            corner: Some(corner),
            record: signals.iter().map(signal).collect::<Vec<_>>().into(),
            ..Options::default()
        };
        self.run(name, &options)
    }
}

pub(crate) fn in_corner(corner: Corner) -> Options {
    Options { corner: Some(corner), ..Options::default() }
}

/// What failed.
pub(crate) fn complaints(report: &Report) -> String {
    let failures = report.failures.iter();
    let failures = failures.map(|failure| format!("{}: {}", failure.place, failure.found));
    let faults = report.faults.iter().map(|fault| fault.text.clone());
    failures.chain(faults).collect::<Vec<_>>().join("\n")
}

// ---- all designs ----------------------------------------------------------------------------------------------------

/// The file of each design that is to work, with the name of its folder. The computer has tests of its own: its programs
/// are long.
fn working() -> Vec<PathBuf> {
    let folders = fs::read_dir(designs()).expect("designs").flatten();
    let folders = folders.filter(|entry| {
        let name = entry.file_name();
        entry.path().is_dir() && name != "faulty" && name != "dunlin"
    });
    let mut files: Vec<PathBuf> = folders
        .map(|entry| {
            let name = entry.file_name().to_string_lossy().into_owned();
            entry.path().join(format!("{name}.board"))
        })
        .collect();
    files.sort();
    files
}

#[test]
fn every_trial_of_every_design_holds_in_every_corner_and_from_every_start() {
    let mut corners = vec![Corner::Fastest, Corner::Typical, Corner::Slowest];
    corners.extend((1..=5).map(Corner::Random));
    let mut ways: Vec<Options> = corners.into_iter().map(in_corner).collect();
    for power_up in [PowerUp::Unknown, PowerUp::Zero, PowerUp::One, PowerUp::Random(1), PowerUp::Random(2)] {
        ways.extend(
            [Corner::Typical, Corner::Slowest].map(|corner| Options { power_up: Some(power_up), ..in_corner(corner) }),
        );
    }
    for path in working() {
        let design = Design::open(&Disk::default(), &path);
        assert!(!design.trials.is_empty(), "{} has no trial", path.display());
        for (trial, _) in &design.trials {
            let name = &trial.name.node;
            let (prepared, circuit) = design.prepared(name);
            ways.par_iter().for_each(|options| {
                let sources = design.project.sources();
                let report = run(&prepared, circuit, sources, options, &mut Unattended);
                let how = format!("{name}, {:?}, {:?}", report.corner, report.power_up);
                assert!(report.passed, "{how}:\n{}", complaints(&report));
                assert!(report.expectations_passed > 0, "{how}: it expects nothing");
                let floats = report.notes.iter().find(|note| note.kind == "floating");
                assert!(floats.is_none(), "{how}: {floats:?}");
            });
        }
    }
}

/// What a file needs from others it says with `use`, so that each can be read and checked by itself.
#[test]
fn every_file_of_a_design_stands_alone() {
    let mut folders = vec![designs()];
    let mut files = Vec::new();
    while let Some(folder) = folders.pop() {
        for entry in fs::read_dir(folder).expect("a folder").flatten() {
            let path = entry.path();
            if path.is_dir() {
                folders.push(path);
            } else if path.extension().is_some_and(|ending| ending == "board") {
                files.push(path);
            }
        }
    }
    assert!(files.len() > 60, "designs/ has {} files", files.len());
    files.par_iter().for_each(|path| {
        let mut project = Project::open(&Disk::default(), path, Library::built_in());
        assert_eq!(project.diagnostics(), [], "{}", path.display());
        let own = project.files()[0].items.clone();
        for item in own {
            let name = match item {
                Item::Board(board) => board.name.node,
                Item::Assembly(assembly) => assembly.name.node,
                Item::Trial(trial) => trial.on.node,
                _ => continue,
            };
            let (circuit, problems) = project.circuit(Some(&name));
            let good = circuit.is_some() && !any_error(&problems);
            assert!(good, "{}: {problems:?}", path.display());
        }
    });
}

// ---- the carillon: what rings ---------------------------------------------------------------------------------------

/// The bytes of a tune up to its end byte, by another reader of Intel HEX than our own.
fn tune(number: usize) -> Vec<u8> {
    let text = fs::read_to_string(designs().join("carillon/tune.hex")).expect("tune.hex");
    let mut rom = vec![0xFF; 0x8000];
    for record in ihex::Reader::new(&text) {
        if let ihex::Record::Data { offset, value } = record.expect("a good record") {
            let offset = usize::from(offset);
            rom[offset..offset + value.len()].copy_from_slice(&value);
        }
    }
    let tune = &rom[number * 0x100..(number + 1) * 0x100];
    let end = tune.iter().position(|byte| byte & 0x80 != 0);
    tune[..=end.expect("an end byte")].to_vec()
}

/// The rows that the bells show for some bytes: the note, the bells, the dampers, each in binary.
fn rung(bytes: &[u8]) -> Vec<Vec<String>> {
    let mut lifted = 0;
    let mut rows = Vec::new();
    for byte in bytes {
        let place = 1u8 << (byte & 7);
        let struck = match (byte >> 3 & 1, byte >> 4 & 1) {
            (1, 0) => place,
            _ => 0,
        };
        if byte >> 3 & 1 == 1 {
            lifted = lifted & !place | struck;
        }
        let note = format!("{:05b}", byte & 0x1F);
        rows.push(vec![note, format!("{struck:08b}"), format!("{lifted:08b}")]);
    }
    rows
}

fn shown(report: &Report) -> Vec<Vec<String>> {
    let rows = report.tables[0].rows.iter();
    rows.map(|(_, cells)| cells.clone()).collect()
}

#[test]
fn the_bells_ring_what_the_rom_holds() {
    let design = Design::open(&Disk::default(), &carillon());
    let melody = tune(0);
    assert!((24..=41).contains(&melody.len()), "{}", melody.len());
    let end = [*melody.last().expect("the end byte")];
    // The tune; four beats at its end and one more until the counter begins again; five notes.
    let again = [melody.as_slice(), &end.repeat(5), &melody[..5]].concat();
    for corner in [Corner::Fastest, Corner::Typical, Corner::Slowest] {
        let report = design.run("rings_the_tune", &in_corner(corner));
        assert_eq!(shown(&report), rung(&again), "{corner:?}");
        let report = design.run("rings_the_other_tune", &in_corner(corner));
        assert_eq!(shown(&report), rung(&tune(1)), "{corner:?}");
    }
    let report = design.run("stepped_by_hand", &in_corner(Corner::Typical));
    let notes: Vec<String> = shown(&report).iter().map(|cells| cells[1].clone()).collect();
    let wanted: Vec<String> = rung(&melody[..6]).iter().map(|cells| cells[0].clone()).collect();
    assert_eq!(notes, wanted);
}

#[test]
fn a_wrong_note_in_the_rom_is_found() {
    let rom = designs().join("carillon/tune.hex");
    // The third byte becomes bell 6 instead of 5; the checksum keeps the sum at zero.
    let files = Disk::default().edit(
        rom,
        ":100000000A0C0D000F0D0C1D0B0D0C0A0909000A3E",
        ":100000000A0C0E000F0D0C1D0B0D0C0A0909000A3D",
    );
    let report = Design::open(&files, &carillon()).run("rings_the_tune", &Options::default());
    let found = &report.failures.first().expect("a failure").found;
    let wanted = "at strobe 3 STRIKER.bell is 0x40, expected 0x20";
    assert_eq!(found, wanted);
}

// ---- the carillon: how fast ------------------------------------------------------------------------------------------

/// 26 MHz lies between the two limits of the 74HC4040 that divides the oscillator (NXP 74HC_HCT4040 Rev 4, March 2014):
/// at 25 C 30 MHz at 4.5 V and 35 MHz at 6 V, over -40..85 C 24 and 28 MHz. At 5 V both are a third of the way further.
#[test]
fn a_clock_above_the_limit_of_the_slowest_parts_is_told() {
    let folder = designs().join("carillon");
    let files = Disk::default().edit(folder.join("clock.board"), "X1 OSC14 1 MHz", "X1 OSC14 26 MHz").edit(
        folder.join("trials.board"),
        "run for 20 us",
        "run for 700 ns",
    );
    let design = Design::open(&files, &carillon());
    let typical = design.run("rings_the_tune", &in_corner(Corner::Typical));
    assert!(typical.passed, "{}", complaints(&typical));
    let slowest = design.run("rings_the_tune", &in_corner(Corner::Slowest));
    assert!(!slowest.passed);
    let mut faults = slowest.faults.iter();
    let told = faults.any(|fault| fault.kind == "rate" && fault.place == "CLOCK.U1./CP");
    assert!(told, "{}", complaints(&slowest));
}

/// The figures of a sheet at 4.5 V and at 6 V, in nanoseconds, for the 5 V between them.
fn at_5_v(at_4_5: i64, at_6: i64) -> i64 {
    at_4_5 * 1000 + (at_6 - at_4_5) * 1000 / 3
}

/// What a load beyond the 50 pF of the sheets adds to the delay of a plain HC output, in picoseconds.
///
/// An input has at most 10 pF (TI SCLS131D); an inch of copper leads to each, 3.6 pF (Johnson and Graham, High-Speed
/// Digital Design, equation 9-15); ribbon has 75 pF a metre (PVC ribbon cable sheet, specification 100-4136: 23 pF a foot).
/// A bus output takes 8 ns for 100 pF more (ST M54/M74HC540/541 at 4.5 V: 21 and 29 ns over -40..85 C), a plain one, with
/// 4 mA in place of 6 mA, half as much again.
fn beyond_50_pf(inputs: i64, ribbon_mm: i64) -> i64 {
    let femtofarads = inputs * (10_000 + 3_606) + ribbon_mm * 75;
    (femtofarads - 50_000).max(0) * 12 / 100
}

/// From one beat to the next: a new address, the end bit out of the ROM, the counter told to go on.
///
/// Over -40..85 C, 4.5 V / 6 V:
///   COUNT.U1 74HC161   CLK to Q          51 / 43 ns            TI SCLS297D, September 2003
///   ribbon W2          150 mm at 5 ns/m   0.75 ns               PVC ribbon cable sheet, specification 100-4136
///   MEMORY.U1 28C256   address to output 150 ns                Atmel 0006F (AT28C256), grade 15
///   ribbon W2          back               0.75 ns
///   COUNT.U3 74HCT00   A, B to Y         25 / 22 ns (5.5 V)    TI SCLS062D, August 2003
///   COUNT.U1 74HC161   ENP before CLK    43 / 37 ns            TI SCLS297D, September 2003
#[test]
fn the_shortest_beat_of_the_address_loop_is_the_sum_of_its_sheets() {
    let shortest = at_5_v(51, 43) + 750 + 150_000 + 750 + (25_000 + 22_000) / 2 + at_5_v(43, 37);
    assert_eq!(shortest, 264_334);
    let faults = |beat: i64| {
        let text = format!(
            r#"
use "count.board"
use "memory.board"
assembly loop {{
    COUNT: count_board
    MEMORY: memory_board
    cable W1 ribbon 10 way 300 mm {{ COUNT.BUS, MEMORY.BUS }}
    cable W2 ribbon 16 way 150 mm {{ COUNT.ADDRESS, MEMORY.ADDRESS }}
    supply PS1 5 V 1 A {{ plus = COUNT.BUS.1  minus = COUNT.BUS.2 }}
}}
trial counts on loop {{
    load MEMORY.U1 from "tune.hex"
    set COUNT.phi = low
    drive COUNT./reset low for 10 us
    set COUNT./reset = high
    run for 10 us
    step COUNT.phi 40 times every {beat} ps
    run for 10 us
    expect COUNT.a = 32
}}"#
        );
        let path = designs().join("carillon/loop.board");
        let design = Design::open(&Disk::default().with(path.clone(), text), &path);
        let report = design.run("counts", &in_corner(Corner::Slowest));
        complaints(&report)
    };
    assert_eq!(faults(shortest), "");
    // `step` halves its time, so two picoseconds are the least that it can be shorter.
    let told = faults(shortest - 2);
    assert!(told.contains("COUNT.U1") && told.contains("ENP"), "{told}");
}

/// The waves of a run, and the edges in them.
struct Edges<'r>(&'r Report);

impl Edges<'_> {
    /// The first edge of a net to a level at or after a time.
    fn next(&self, net: &str, level: Level, from: Time) -> Time {
        let waves = &self.0.waves.signals;
        let wave = waves.iter().find(|wave| wave.name == net).expect(net);
        let mut changes = wave.bits[0].changes.iter();
        let found = changes.find(|change| change.0 >= from && change.1 == level);
        found.expect("an edge").0
    }

    /// Follows a path, and tells how long each of its steps takes.
    fn along(&self, from: Time, path: &[(&str, Level)]) -> Vec<i64> {
        let mut now = from;
        let steps = path.iter().map(|(net, level)| {
            let then = self.next(net, *level, now);
            let step = then - now;
            now = then;
            step.ps()
        });
        steps.collect()
    }
}

/// Three paths of the first strike, each step by its sheet: the limits over -40..85 C at 4.5 V / 6 V, and 5 ns a metre of
/// ribbon (PVC ribbon cable sheet, specification 100-4136).
#[test]
fn delays_along_paths_are_the_sums_of_their_sheets() {
    use Level::{One, Zero};
    const W1: i64 = 1_500;
    const W2: i64 = 750;
    let design = Design::open(&Disk::default(), &carillon());
    let signals = [
        "CLOCK.mhz",
        "CLOCK.sample",
        "CLOCK.phi",
        "COUNT.a0",
        "MEMORY.d0",
        "CLOCK./strobe",
        "STRIKER./hit2",
        "STRIKER.bell2",
        "STRIKER.strobe",
        "STRIKER./write",
        "STRIKER.lifted2",
        "STRIKER.damper2",
    ];
    let report = design.record("rings_the_tune", Corner::Slowest, &signals);
    assert!(report.passed, "{}", complaints(&report));
    let edges = Edges(&report);
    let beat = edges.next("CLOCK.phi", One, Time::ZERO);
    let strobe = edges.next("CLOCK./strobe", Zero, beat);
    // A flip-flop and the ribbon lie between a rise of `sample` and what follows it.
    // 74HC74: CLK to Q 44 / 37 ns (TI SCLS094E, December 2015); phi leads to six inputs on three boards.
    let flip_flop = at_5_v(44, 37) + beyond_50_pf(6, 300) + W1;

    // 74HC4040: /CP to Q5 138 / 117 ns (NXP 74HC_HCT4040 Rev 4, March 2014).
    // `sample` leads to four inputs.
    let divider = at_5_v(138, 117) + beyond_50_pf(4, 0);
    let fall = beat - Time::from_ps(divider + flip_flop);
    let path =
        [("CLOCK.mhz", Zero), ("CLOCK.sample", One), ("CLOCK.phi", One), ("COUNT.a0", One), ("MEMORY.d0", Level::X)];
    // 74HC161: CLK to Q 51 / 43 ns (TI SCLS297D, September 2003). The ROM's data are good until the address moves: output
    // hold 0 ns (Atmel 0006F).
    let wanted = [0, divider, flip_flop, at_5_v(51, 43) + W2, 0];
    assert_eq!(edges.along(fall, &path), wanted);
    // Then 150 ns from the address on; bit 0 of the tune's second byte is 0.
    let address = edges.next("COUNT.a0", One, beat);
    let data = edges.next("MEMORY.d0", Zero, address);
    assert_eq!((data - address).ps(), 150_000);

    // 74HC138: /G2B to Y 39 / 33 ns (TI SCLS107F, September 2016).
    // 74HC540: A to Y 25 / 21 ns (Fairchild MM74HC540/541, February 1999).
    let path = [("STRIKER./hit2", Zero), ("STRIKER.bell2", One)];
    let wanted = [at_5_v(39, 33), at_5_v(25, 21)];
    assert_eq!(edges.along(strobe, &path), wanted);

    // 74HC00: 23 / 20 ns (TI SCLS181H, August 2021), twice.
    // 74HC259: 15 ns typical at 5 V and no limit, so twice that (ST M54/M74HC259).
    // 74HC541: A to Y 29 / 25 ns (TI SCLS305D, September 2016).
    let path = [("STRIKER.strobe", One), ("STRIKER./write", Zero), ("STRIKER.lifted2", One), ("STRIKER.damper2", One)];
    let wanted = [at_5_v(23, 20), at_5_v(23, 20), 30_000, at_5_v(29, 25)];
    assert_eq!(edges.along(strobe, &path), wanted);
}
