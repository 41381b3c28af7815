//! Static timing analysis against the world: data book formulas, sums by hand, an independent graph crate, the engine.

pub(crate) mod agreement;
pub(crate) mod arrivals;
mod carillon;
mod command;
mod features;
mod gates;
mod parts;
mod speed;
mod unused;
mod worked;

use coldboard::circuit::Circuit;
use coldboard::language::parse;
use coldboard::part::Library;
use coldboard::project::Project;
use coldboard::quantity::Time;
use coldboard::text::{Files, MemoryFiles};
use coldboard::timing::analysis::{Analysis, Finding};
use coldboard::timing::checks::Kind;
use coldboard::timing::sources::Source;
use coldboard::timing::{Options, Parts, Report, analyse};
use std::path::Path;
use std::sync::{Arc, OnceLock};

fn library() -> Library {
    static LIBRARY: OnceLock<Library> = OnceLock::new();
    LIBRARY.get_or_init(Library::built_in).clone()
}

/// A circuit, and the texts that it was made from.
struct Design {
    circuit: Arc<Circuit>,
    project: Project,
}

impl std::ops::Deref for Design {
    type Target = Circuit;

    fn deref(&self) -> &Circuit {
        &self.circuit
    }
}

impl Design {
    /// A design without errors.
    fn open(files: &dyn Files, path: &Path) -> Design {
        let mut project = Project::open(files, path, library());
        assert_eq!(project.diagnostics(), []);
        let (circuit, problems) = project.circuit(None);
        assert_eq!(problems, []);
        Design { circuit: circuit.expect("a circuit"), project }
    }
}

/// The circuit of a design without errors.
fn circuit(text: &str) -> Design {
    Design::open(&MemoryFiles::default().with("t.board", text), Path::new("t.board"))
}

/// The circuit of one board with a rail of 4.5 V, a voltage of the HC sheets, so that their figures count as printed.
fn board(body: &str) -> Design {
    circuit(&format!("board test {{ rail VCC 4.5 V  rail GND\n{body}\n}}"))
}

/// A clock of so many nanoseconds, high for so many.
fn clock(circuit: &Circuit, net: &str, period: i64, high: i64) -> Source {
    Source {
        net: circuit.net(net).expect(net),
        period: Time::from_ns(period),
        high: Time::from_ns(high),
        origin: "the test".to_owned(),
    }
}

/// The net `clk` with a period in picoseconds, low and high for a half of it each, the lower one high, so that both halves
/// add up.
fn halved(circuit: &Circuit, period: i64) -> (Source, (i64, i64)) {
    let (high, low) = (period / 2, period - period / 2);
    let source = Source { period: Time::from_ps(period), high: Time::from_ps(high), ..clock(circuit, "clk", 1, 1) };
    (source, (low, high))
}

fn analysis<'c>(circuit: &'c Circuit, parts: Parts, sources: &[Source]) -> Analysis<'c> {
    Analysis::new(circuit, parts, sources)
}

/// The findings of a kind, as `pin: slack` in picoseconds, in order.
fn slacks(analysis: &Analysis<'_>, kind: Kind) -> Vec<(String, i64)> {
    let judgement = analysis.slacks();
    let of = judgement.findings.iter().filter(|finding| analysis.kind(finding) == kind);
    let mut rows: Vec<(String, i64)> = of.map(|finding| (pin(analysis, finding), finding.slack.ps())).collect();
    rows.sort();
    rows
}

fn pin(analysis: &Analysis<'_>, finding: &Finding) -> String {
    use coldboard::timing::analysis::About;
    let (chip, input) = match finding.about {
        About::Check(row) => {
            let check = &analysis.checks.checks[row as usize];
            (check.chip, check.input)
        }
        About::Separation(row) => {
            let apart = &analysis.checks.separations[row as usize];
            (apart.chip, apart.input)
        }
    };
    coldboard::timing::clocks::input_path(&analysis.graph, chip, usize::from(input))
}

/// The shortest period of the first clock in picoseconds, with the kind of what limits it.
fn shortest(circuit: &Circuit, parts: Parts, source: Source) -> (i64, Kind) {
    let mut analysis = analysis(circuit, parts, &[source]);
    let judgement = analysis.slacks();
    let root = analysis.clocks.clocks.keys().next().expect("a clock");
    let (period, finding) = analysis.shortest_period(root, &judgement).expect("a limit");
    (period.ps(), analysis.kind(&finding))
}

fn report(design: &Design, parts: Parts, sources: &[Source]) -> Report {
    let options = Options { parts: vec![parts], sources: sources.to_vec(), paths: 5 };
    analyse(design, design.project.sources(), &options)
}

/// A report of a text, with clocks as they are named on the command line.
fn report_of(text: &str, parts: Parts, clocks: &[&str]) -> Report {
    let design = circuit(text);
    let source = |text: &&str| coldboard::timing::sources::of_text(&design, text).expect("a clock");
    let sources: Vec<Source> = clocks.iter().map(source).collect();
    report(&design, parts, &sources)
}

/// The messages of a text that has errors.
fn mistakes(text: &str) -> Vec<String> {
    let mut library = library();
    let file = library.add_source("t.board", text);
    let (tree, problems) = parse(file, text);
    assert_eq!(problems, [], "{text}");
    let (_, problems) = coldboard::circuit::elaborate(None, &[tree], &library);
    problems.iter().map(|problem| problem.message.clone()).collect()
}
