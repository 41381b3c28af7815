//! Designs: parsed, laid out, elaborated, checked, timed, drawn and run for a short time.

use coldboard::check::{checked, json as check_json};
use coldboard::circuit::Circuit;
use coldboard::diagnostic::json::Json;
use coldboard::diagnostic::terminal::Terminal;
use coldboard::diagnostic::{Diagnostic, Look, any_error};
use coldboard::electrical::OperatingPoint;
use coldboard::electrical::power::Power;
use coldboard::electrical::power_distribution::power_distribution;
use coldboard::export::diagram::{DiagramOptions, diagram};
use coldboard::export::power::{PowerReport, json as power_json, text as power_text};
use coldboard::export::{blocks, report, rom, timing_svg, timing_text, vcd};
use coldboard::language::ast::{self, Duration, Index, IndexKind, Item, Radix, ShowWhen, TrialStatement};
use coldboard::language::{format, parse};
use coldboard::part::Library;
use coldboard::project::Project;
use coldboard::quantity::{Quantity, Time};
use coldboard::text::{MemoryFiles, Sources, Spanned};
use coldboard::timing::{self, Parts, analyse, sources};
use coldboard::trial::{self, Options, Unattended};
use std::sync::LazyLock;

/// The built-in library, with its larger parts read once for all inputs.
static LIBRARY: LazyLock<Library> = LazyLock::new(|| {
    let library = Library::built_in();
    let names: Vec<String> = library.names().map(str::to_owned).collect();
    for name in names {
        assert!(library.part(&name).is_some(), "{name}");
    }
    library
});

/// Boards that seeds use.
const BOARDS: &str = r#"
board source {
    rail VCC 5 V
    rail GND
    feed U1 from VCC GND
    connector POWER terminal-1x2 { 1 VCC  2 GND }
    connector OUT header-1x4 { 1 VCC  2 GND  3 x  4 y }
    connector BUS header-1x4 { 1..4 b[0..3] }
    U1 74HC04 { [1..4]A = b[0..3]  5A = GND  6A = x  6Y = y }
    R1 resistor 10 kohm { 1 = x  2 = GND }
    RN1 network bussed 5 pins 10 kohm { 1 = VCC  2..5 = b[0..3] }
    C1 capacitor 100 nF decouples U1
}
board sink {
    rail VCC 5 V
    rail GND
    connector IN header-1x4 { 1 VCC  2 GND  3 open  4 lit }
    connector BUS header-1x4 { 1..4 b[0..3] }
    D1 led red 1 kohm { anode = lit  cathode = GND }
}
"#;

/// A design of one file, with the files that seeds use.
pub(crate) fn open(name: &str, input: &[u8]) -> Project {
    let files = MemoryFiles::default()
        .with("boards.board", BOARDS)
        .with("tune.hex", ":10000000000102030405060708090A0B0C0D0E0F78\n:00000001FF\n")
        .with("bytes.bin", vec![0xA5; 70])
        .with(name, input);
    Project::open(&files, name.as_ref(), LIBRARY.clone())
}

/// Renders diagnostics in every look.
pub(crate) fn rendered(sources: &Sources, problems: &[Diagnostic]) {
    for (colour, width) in [(false, 110), (true, 60)] {
        let text = Terminal { colour, width }.render(sources, problems);
        assert!(problems.is_empty() || !text.trim().is_empty());
    }
    let text = Json.render(sources, problems);
    let _: serde_json::Value = serde_json::from_str(&text).expect("JSON");
}

pub(crate) fn one(input: &[u8]) {
    layout(input);
    let mut project = open("x.board", input);
    rendered(project.sources(), project.diagnostics());
    if any_error(project.diagnostics()) {
        return;
    }
    for filling in project.contents().fillings() {
        for lane in 0..filling.lanes.min(4) {
            if let Ok(image) = filling.chip(lane, 0, None) {
                rom::summary("x", &image);
            }
        }
        rom::listing(filling, project.sources());
    }
    for name in names(&project) {
        let (circuit, problems) = project.circuit(Some(&name));
        rendered(project.sources(), &problems);
        if let Some(circuit) = circuit {
            // A shorted supply leaves a circuit that can be checked and drawn, but not run.
            looked_at(&project, &circuit, !any_error(&problems));
        }
    }
}

/// Boards and assemblies, some of them.
fn names(project: &Project) -> Vec<String> {
    let items = project.files().iter().flat_map(|tree| &tree.items);
    let names = items.filter_map(|item| match item {
        Item::Board(board) => Some(board.name.node.clone()),
        Item::Assembly(assembly) => Some(assembly.name.node.clone()),
        _ => None,
    });
    names.take(3).collect()
}

fn looked_at(project: &Project, circuit: &Circuit, runs: bool) {
    let found = checked(circuit);
    let told: Vec<Diagnostic> = found.findings.iter().map(|f| f.diagnostic.clone()).collect();
    rendered(project.sources(), &told);
    check_json(project.sources(), &found);
    blocks::blocks(circuit);
    if !runs {
        return;
    }
    let view = OperatingPoint::new(circuit);
    let power = Power::new(circuit, &view, None);
    let told = PowerReport {
        circuit,
        power: &power,
        net_currents: &power_distribution(circuit, &view, &power).nets,
        run: None,
        only: None,
    };
    power_text(told);
    let _: serde_json::Value = serde_json::from_str(&power_json(told)).expect("JSON");
    timed(project, circuit);
    for tree in project.trials().iter().take(4) {
        if tree.on.node == circuit.name {
            run(project, circuit, tree);
        }
    }
}

fn timed(project: &Project, circuit: &Circuit) {
    let found = match sources::of_trials(circuit, project.trials()) {
        Ok(found) => found,
        Err(problems) => return rendered(project.sources(), &problems),
    };
    let options = timing::Options { parts: Parts::ALL.to_vec(), sources: found, paths: 2 };
    let report = analyse(circuit, project.sources(), &options);
    timing_text::text(&report);
    for run in &report.runs {
        timing_svg::histogram(&report.on, run);
    }
    serde_json::to_string(&report).expect("JSON");
}

fn run(project: &Project, circuit: &Circuit, tree: &ast::Trial) {
    let images = |file: &_| project.image(file);
    // As it is written, names must be found or told; run is what takes no longer than a moment.
    if let Err(problems) = trial::prepare(tree, circuit, project.sources(), &images) {
        return rendered(project.sources(), &problems);
    }
    let short = bounded(tree, circuit);
    let prepared = match trial::prepare(&short, circuit, project.sources(), &images) {
        Ok(prepared) => prepared,
        Err(problems) => return rendered(project.sources(), &problems),
    };
    let nets = circuit.nets.values().take(40);
    let record = nets.filter_map(|net| circuit.signal(&net.path).ok());
    let options = Options { record: record.collect::<Vec<_>>().into(), ..Options::default() };
    let first = trial::run(&prepared, circuit, project.sources(), &options, &mut Unattended);
    let again = trial::run(&prepared, circuit, project.sources(), &options, &mut Unattended);
    let text = report::text(&first);
    assert_eq!(text, report::text(&again), "two runs differ");
    serde_json::to_string(&first).expect("JSON");
    let mut bytes = Vec::new();
    vcd::write(&first.waves, &first.on, &mut bytes).expect("waves that rise in time");
    let options_of_picture = DiagramOptions {
        from: first.waves.start,
        to: first.waves.end,
        width: 800,
        title: first.trial.clone(),
        radix: Radix::Hex,
    };
    diagram(&first.waves, &options_of_picture);
    match trial::run_untimed(&prepared, circuit, project.sources(), &options, &mut Unattended) {
        Ok(report) => drop(report::text(&report)),
        Err(problems) => rendered(project.sources(), &problems),
    }
}

/// Cycles of the fastest clock that a trial runs for in all.
const CYCLES: i64 = 3000;

/// What is left of the time that a trial may take.
struct Left {
    /// The period of the fastest clock; none when nothing swings by itself.
    period: Option<Time>,
    cycles: i64,
}

/// A trial that is over soon: times are cut by the fastest clock that there is, so that the events are bounded.
fn bounded(tree: &ast::Trial, circuit: &Circuit) -> ast::Trial {
    let mut tree = tree.clone();
    let clocks = tree.body.iter().filter_map(|statement| match &statement.node {
        TrialStatement::Clock { frequency, .. } => frequency.node.as_frequency()?.period(),
        TrialStatement::Show(ShowWhen::Every(every), _) => every.node.as_time(),
        _ => None,
    });
    let cans = circuit.chips.values().filter_map(|chip| chip.frequency?.period());
    // What a resistor and a capacitor give is seldom faster than this.
    let timed = circuit.chips.values().filter(|chip| chip.timing.iter().any(Option::is_some));
    let timed = timed.map(|_| Time::from_ns(300));
    let period = clocks.chain(cans).chain(timed).min();
    let mut left = Left { period, cycles: CYCLES };
    left.body(&mut tree.body);
    let mut procedures = tree.procedures.to_vec();
    procedures.iter_mut().for_each(|procedure| left.body(&mut procedure.body));
    tree.procedures = procedures.into();
    tree
}

impl Left {
    fn body(&mut self, body: &mut [Spanned<TrialStatement>]) {
        body.iter_mut().for_each(|statement| self.cut(&mut statement.node));
    }

    /// A number in place of any arithmetic.
    fn times(times: &mut Index, most: i64) {
        let number = match times.kind {
            IndexKind::Number(number) => number,
            _ => most,
        };
        times.kind = IndexKind::Number(number.min(most));
    }

    fn cut(&mut self, statement: &mut TrialStatement) {
        match statement {
            TrialStatement::Drive(.., wait)
            | TrialStatement::RunFor(wait)
            | TrialStatement::RunUntil(_, wait)
            | TrialStatement::ExpectWithin(_, wait)
            | TrialStatement::ExpectFor(_, wait) => self.wait(wait),
            TrialStatement::Press { duration, bounce, .. } => {
                self.wait(duration);
                if let Some(bounce) = bounce {
                    self.time(bounce);
                }
            }
            TrialStatement::Step { times, every, .. } => {
                Self::times(times, 5);
                if let Some(every) = every {
                    self.time(every);
                } else if self.period.is_some() {
                    Self::times(times, 1);
                }
            }
            TrialStatement::Each(each) => {
                each.ranges.truncate(1);
                each.ranges.iter_mut().for_each(|range| range.to = None);
                self.body(&mut each.body);
            }
            TrialStatement::Repeat { times, body } => {
                Self::times(times, 2);
                self.body(body);
            }
            TrialStatement::Vectors { every: Some(every), .. } => self.time(every),
            _ => {}
        }
    }

    fn wait(&mut self, wait: &mut Duration) {
        match wait {
            Duration::Time(time) => self.time(time),
            Duration::Clocks(clocks) => {
                Self::times(clocks, self.cycles.clamp(1, 60));
                let IndexKind::Number(clocks) = clocks.kind else { return };
                self.cycles -= clocks;
                // A clock that stands still is waited for a second.
                if self.period.is_some_and(|period| period < Time::from_us(1)) {
                    let period = self.period.unwrap_or(Time::ZERO);
                    let time = Time::from_ps(period.ps().saturating_mul(clocks));
                    let span = coldboard::text::Span { file: Sources::new().add("", ""), start: 0, end: 0 };
                    *wait = Duration::Time(Spanned { node: Quantity::Time(time), span });
                }
            }
        }
    }

    fn time(&mut self, time: &mut Spanned<Quantity>) {
        let (Some(period), Some(asked)) = (self.period, time.node.as_time()) else {
            return;
        };
        let period = period.ps().max(1);
        let cycles = (asked.ps() / period).min(self.cycles.max(1));
        self.cycles -= cycles;
        let most = Time::from_ps(period.saturating_mul(cycles + 1));
        time.node = Quantity::Time(asked.min(most));
    }
}

/// The canonical layout keeps every sign but blanks, and is its own canonical layout.
pub(crate) fn layout(input: &[u8]) {
    let Ok(text) = std::str::from_utf8(input) else {
        return;
    };
    let mut sources = Sources::new();
    let file = sources.add("x", text);
    let once = match format(file, text) {
        Ok(once) => once,
        Err(problems) => {
            assert!(!problems.is_empty());
            return rendered(&sources, &problems);
        }
    };
    let visible = |text: &str| -> String {
        let is_blank = |c: &char| c.is_whitespace() || *c == '\u{FEFF}';
        text.chars().filter(|c| !is_blank(c)).collect()
    };
    assert_eq!(visible(&once), visible(text), "the layout changes the text");
    assert_eq!(comments(&once), comments(text), "the layout changes a comment");
    let (_, problems) = parse(file, &once);
    assert!(problems.is_empty(), "the layout does not parse: {problems:?}\n{once}");
    let twice = format(file, &once).expect("it parses");
    assert_eq!(twice, once, "a second layout differs");
}

/// The comments of a text, which end with their lines.
fn comments(text: &str) -> Vec<&str> {
    let comment = |line: &'_ str| {
        let mut quoted = false;
        let start = line.char_indices().find(|&(_, c)| {
            quoted ^= c == '"';
            c == '#' && !quoted
        });
        start.map(|(start, _)| start)
    };
    let lines = text.split('\n');
    lines.filter_map(|line| Some(line[comment(line)?..].trim_end())).collect()
}

/// A seed has no mistakes that would keep the rest of the program from it.
pub(crate) fn accepted(input: &[u8]) {
    let mut project = open("x.board", input);
    let told = |project: &Project, problems: &[Diagnostic]| {
        let look = Terminal { colour: false, width: 110 };
        look.render(project.sources(), problems)
    };
    assert!(!any_error(project.diagnostics()), "{}", told(&project, project.diagnostics()));
    for name in names(&project) {
        let (circuit, problems) = project.circuit(Some(&name));
        let circuit = circuit.unwrap_or_else(|| panic!("{}", told(&project, &problems)));
        if any_error(&problems) {
            continue;
        }
        for tree in project.trials().iter().filter(|tree| tree.on.node == name) {
            let images = |file: &_| project.image(file);
            let prepared = trial::prepare(tree, &circuit, project.sources(), &images);
            prepared.unwrap_or_else(|problems| panic!("{}", told(&project, &problems)));
        }
    }
}
