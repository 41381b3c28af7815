//! From syntax tree to circuit.
//!
//! Each board is planned once (`board`): its nets get local numbers, its chips their parts. Plans are then put in
//! place (`place`), cables join nets (`cable`), and supplies feed them (`power`). Every step walks flat lists
//! once, so the time grows with the number of pins.
//!
//! Everything that is wrong is told in one run. What a board or assembly *is* must be clear before there is a circuit;
//! what is electrically impossible (a shorted supply, rails of different voltage joined) is an error as well, but the
//! circuit is there, so that the checks can go on.

mod assembly;
mod board;
mod cable;
mod changes;
mod component;
mod connector;
mod discrete;
mod feed;
mod holding;
mod place;
mod power;
mod switches;
mod timing;
mod ways;

pub use changes::{Changes, Socketed};
pub use switches::{DeadRail, dead_rails, without_rails};

use super::Circuit;
use crate::contents::Contents;
use crate::diagnostic::{self, Diagnostic, did_you_mean};
use crate::language::ast;
use crate::part::Library;
use board::Planner;
use place::Bench;
use rustc_hash::FxHashMap;

/// The most pins of chips, discretes and connectors in one circuit.
pub const MOST_PINS: usize = 1_000_000;

/// The most bytes of all memories in one circuit.
pub const MOST_MEMORY: u64 = 256 << 20;

/// The most names, references and repetitions that one elaboration lays out: some for each pin.
const MOST_WORK: usize = 8 * MOST_PINS;

/// More errors than this help nobody.
const MOST_PROBLEMS: usize = 500;

/// Makes the circuit of a board or assembly.
///
/// Without a name it is the only assembly, or else the only board. The circuit is `None` when the design leaves open
/// what is there; the diagnostics tell all that is wrong.
pub fn elaborate(
    name: Option<&str>,
    files: &[ast::File],
    library: &Library,
) -> (Option<Circuit>, Vec<Diagnostic>) {
    let (contents, changes) = (Contents::default(), Changes::default());
    let shelf = Shelf {
        library,
        contents: &contents,
        changes: &changes,
    };
    elaborate_from(name, files, shelf)
}

/// What boards are made from.
#[derive(Clone, Copy)]
pub struct Shelf<'a> {
    /// Parts and families.
    pub library: &'a Library,
    /// What memories may hold.
    pub contents: &'a Contents,
    /// Supplies, oscillators or chips that are to be otherwise than the design says.
    pub changes: &'a Changes,
}

/// As [`elaborate`], from a shelf.
pub fn elaborate_from(
    name: Option<&str>,
    files: &[ast::File],
    shelf: Shelf<'_>,
) -> (Option<Circuit>, Vec<Diagnostic>) {
    let mut problems = Problems::default();
    let designs = Designs::of(files);
    let circuit = match problems.take(designs.choose(name)) {
        Some(Design::Board(board)) => alone(board, shelf, &mut problems),
        Some(Design::Assembly(assembly)) => {
            assembly::elaborate(assembly, &designs, shelf, &mut problems)
        }
        None => None,
    };
    if let Some(circuit) = &circuit {
        if let Some(problem) = holding::too_much_memory(circuit) {
            problems.unclear(problem);
        }
        let lost = holding::left_out(circuit, shelf.contents);
        lost.into_iter()
            .for_each(|problem| problems.report(problem));
    }
    let circuit = circuit.map(|circuit| Circuit {
        names: shelf.contents.names.clone(),
        ..circuit
    });
    problems.finish(circuit)
}

fn alone(board: &ast::Board, shelf: Shelf<'_>, problems: &mut Problems) -> Option<Circuit> {
    let plan = Planner::new(shelf, problems).plan(board);
    let mut bench = Bench::new(&board.name.node, false);
    bench.place(&plan, "", board.name.span);
    let mut circuit = bench.join(problems);
    let changes = shelf.changes;
    changes.apply(&mut circuit, shelf.library, problems);
    power::feed_board(&mut circuit, changes);
    changes.check_voltages(&circuit, problems);
    timing::time_chips(&mut circuit, problems);
    Some(circuit)
}

/// The boards and assemblies of a design, in order of writing.
struct Designs<'a> {
    boards: Vec<&'a ast::Board>,
    board_called: FxHashMap<&'a str, &'a ast::Board>,
    assemblies: Vec<&'a ast::Assembly>,
}

#[derive(Clone, Copy)]
enum Design<'a> {
    Board(&'a ast::Board),
    Assembly(&'a ast::Assembly),
}

impl<'a> Designs<'a> {
    fn of(files: &'a [ast::File]) -> Self {
        let mut designs = Designs {
            boards: Vec::new(),
            board_called: FxHashMap::default(),
            assemblies: Vec::new(),
        };
        for item in files.iter().flat_map(|file| &file.items) {
            match item {
                ast::Item::Board(board) => {
                    designs.boards.push(board);
                    designs
                        .board_called
                        .entry(&board.name.node)
                        .or_insert(board);
                }
                ast::Item::Assembly(assembly) => designs.assemblies.push(assembly),
                _ => {}
            }
        }
        designs
    }

    fn board(&self, name: &str) -> Option<&'a ast::Board> {
        self.board_called.get(name).copied()
    }

    fn assembly(&self, name: &str) -> Option<&'a ast::Assembly> {
        self.assemblies
            .iter()
            .find(|assembly| assembly.name.node == name)
            .copied()
    }

    fn board_names(&self) -> impl Iterator<Item = &'a str> + use<'a, '_> {
        self.boards.iter().map(|board| board.name.node.as_str())
    }

    fn names(&self) -> Vec<&'a str> {
        let assemblies = self
            .assemblies
            .iter()
            .map(|assembly| assembly.name.node.as_str());
        assemblies.chain(self.board_names()).collect()
    }

    fn choose(&self, name: Option<&str>) -> Result<Design<'a>, Diagnostic> {
        if let Some(name) = name {
            let board = || self.board(name).map(Design::Board);
            return self
                .assembly(name)
                .map(Design::Assembly)
                .or_else(board)
                .ok_or_else(|| {
                    let message = format!("there is no board or assembly `{name}` in the design");
                    let names = self.names();
                    let near = did_you_mean(name, names.iter().copied());
                    Diagnostic::error("unknown-design", message)
                        .help(near.unwrap_or_else(|| format!("there are: {}", several(&names))))
                });
        }
        match (self.assemblies.as_slice(), self.boards.as_slice()) {
            ([assembly], _) => Ok(Design::Assembly(assembly)),
            ([], [board]) => Ok(Design::Board(board)),
            ([], []) => Err(
                Diagnostic::error("unknown-design", "the design has no board")
                    .help("write one: `board NAME { ... }`"),
            ),
            _ => {
                let message = format!("which one? the design has {}", several(&self.names()));
                Err(Diagnostic::error("unknown-design", message).help("name the board or assembly"))
            }
        }
    }
}

/// What is wrong so far, and how much has been laid out.
#[derive(Default)]
struct Problems {
    list: Vec<Diagnostic>,
    /// True when it is not clear what the circuit is.
    unclear: bool,
    work: usize,
    /// How often something was reported, repeats included.
    told: usize,
}

impl Problems {
    /// Something that leaves open what the circuit is.
    fn unclear(&mut self, problem: Diagnostic) {
        self.unclear = true;
        self.report(problem);
    }

    /// Something that is wrong with a circuit that is clear.
    fn report(&mut self, problem: Diagnostic) {
        // A repetition may find the same thing many times.
        self.told += 1;
        if self.list.len() < MOST_PROBLEMS && self.list.last() != Some(&problem) {
            self.list.push(problem);
        }
    }

    fn take<T>(&mut self, result: Result<T, Diagnostic>) -> Option<T> {
        result.map_err(|problem| self.unclear(problem)).ok()
    }

    /// Counts what is laid out; false when it is time to stop.
    fn spend(&mut self, work: usize) -> bool {
        let before = self.work;
        self.work = self.work.saturating_add(work);
        if before <= MOST_WORK && self.work > MOST_WORK {
            self.unclear(
                Diagnostic::error(
                    "too-large",
                    "the repetitions of this design never seem to end",
                )
                .note(format!(
                    "more than {MOST_WORK} names and repetitions were laid out"
                ))
                .help("write smaller ranges"),
            );
        }
        !self.stop()
    }

    /// True when going on helps nobody.
    fn stop(&self) -> bool {
        self.work > MOST_WORK || self.told >= MOST_PROBLEMS
    }

    fn finish(mut self, circuit: Option<Circuit>) -> (Option<Circuit>, Vec<Diagnostic>) {
        let full = self.list.len() >= MOST_PROBLEMS;
        diagnostic::sort(&mut self.list);
        if full {
            let message = format!("there are {MOST_PROBLEMS} errors or more; these came first");
            self.list.push(Diagnostic::note_only("too-many", message));
        }
        (circuit.filter(|_| !self.unclear), self.list)
    }
}

/// A list in words, cut when it is long.
fn several<T: AsRef<str>>(names: &[T]) -> String {
    const MOST: usize = 16;
    let shown: Vec<&str> = names.iter().take(MOST).map(AsRef::as_ref).collect();
    let more = names.len().saturating_sub(MOST);
    match (shown.is_empty(), more) {
        (true, _) => "none".to_owned(),
        (_, 0) => shown.join(", "),
        _ => format!("{} and {more} more", shown.join(", ")),
    }
}
