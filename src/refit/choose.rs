//! What is to be replaced: `U3=74AC574`, `COUNT.*=AC`, `HC=AC`.

use super::result::{Edit, Kept, Replaced};
use crate::circuit::{Chip, Circuit};
use crate::diagnostic::{Diagnostic, did_you_mean};
use crate::model::Substitution;
use crate::part::library::NotFound;
use crate::part::{Library, socket};
use crate::project::Project;
use crate::text::{Sources, Span};
use std::collections::{BTreeMap, BTreeSet};

/// The chips that change, and what there is to say of it.
#[derive(Clone, Debug, Default)]
pub struct Chosen {
    /// The new chips, by path.
    pub chips: BTreeMap<String, Substitution>,
    /// The same in words, in order of the circuit.
    pub replaced: Vec<Replaced>,
    /// Chips that were meant, but stay.
    pub kept: Vec<Kept>,
    /// What would have to be changed in the files.
    pub edits: Vec<Edit>,
}

/// What stands on the right.
enum Wanted<'t> {
    Number(&'t str),
    Family(&'t str),
}

/// What becomes of one chip.
enum Outcome {
    Refit(Substitution),
    Keep(String),
}

/// Reads the changes, each `WHAT=WITH`. Of several changes of one chip the last one counts; one of which nothing is left
/// then is an error.
///
/// WHAT is a chip (`COUNT.U1`), a board in place (`COUNT.*`), everything (`*`), a family (`HC`) or a number (`74HC574`);
/// WITH is a number or a family. A chip whose part has no sheet in a family stays, unless `estimated` allows figures from
/// another one.
///
/// # Errors
/// Changes that name nothing, parts that are not known, and those that do not fit their sockets, with the pins.
pub fn choose(
    project: &Project,
    circuit: &Circuit,
    changes: &[String],
    estimated: bool,
) -> Result<Chosen, Vec<Diagnostic>> {
    let library = project.library();
    let mut problems = Vec::new();
    let mut outcomes: BTreeMap<&str, Outcome> = BTreeMap::new();
    // The change that counts for each chip, and the first chip of each change.
    let mut counts: BTreeMap<&str, usize> = BTreeMap::new();
    let mut firsts: Vec<Option<&str>> = vec![None; changes.len()];
    for (at, change) in changes.iter().enumerate() {
        let Some((what, with)) = change.split_once('=') else {
            let message = format!("`{change}` is not a refit");
            problems.push(refuse(message).help("write it as in U3=74AC574, COUNT.*=AC or HC=AC"));
            continue;
        };
        let (what, with) = (what.trim(), with.trim());
        if what.is_empty() || with.is_empty() {
            let side = if what.is_empty() { "replaced before" } else { "put in its place behind" };
            let problem = refuse(format!("`{change}` does not say what is {side} the `=`"));
            problems.push(problem.help("write it as in U3=74AC574, COUNT.*=AC or HC=AC"));
            continue;
        }
        let (chips, wanted) = match (meant(circuit, what), wanted(library, with)) {
            (Ok(chips), Ok(wanted)) => (chips, wanted),
            (chips, wanted) => {
                problems.extend(chips.err());
                problems.extend(wanted.err());
                continue;
            }
        };
        firsts[at] = chips.first().map(|chip| chip.path.as_str());
        for chip in chips {
            counts.insert(&chip.path, at);
            match outcome(library, chip, &wanted, estimated) {
                Ok(Some(outcome)) => {
                    outcomes.insert(&chip.path, outcome);
                }
                Ok(None) => {
                    outcomes.remove(chip.path.as_str());
                }
                Err(problem) => problems.push(problem),
            }
        }
    }
    for (at, first) in firsts.iter().enumerate() {
        let Some(first) = first.filter(|_| !counts.values().any(|&counted| counted == at)) else {
            continue;
        };
        let (change, later) = (&changes[at], &changes[counts[first]]);
        let message = format!("`{change}` and `{later}` both change {first}");
        problems.push(
            refuse(message)
                .help("leave one of them out; where one is meant for fewer chips than the other, write it last"),
        );
    }
    let mut chosen = Chosen::default();
    for chip in circuit.chips.values() {
        match outcomes.remove(chip.path.as_str()) {
            None => {}
            Some(Outcome::Keep(why)) => {
                chosen.kept.push(Kept { path: chip.path.clone(), number: chip.number.clone(), why })
            }
            Some(Outcome::Refit(new)) => {
                let pin_incompatibilities = socket::pin_incompatibilities(&chip.part, &new.found.part);
                if !pin_incompatibilities.is_empty() {
                    problems.push(unfit(chip, &new, &pin_incompatibilities));
                    continue;
                }
                chosen.replaced.push(replaced(chip, &new));
                chosen.chips.insert(chip.path.clone(), new);
            }
        }
    }
    if problems.is_empty() && chosen.chips.is_empty() {
        let problem = refuse("no chip would change".to_owned());
        let kept = chosen
            .kept
            .iter()
            .take(8)
            .fold(problem, |problem, kept| problem.note(format!("{} ({}): {}", kept.path, kept.number, kept.why)));
        problems.push(kept.help("name a number or a family that is not there yet"));
    }
    if !problems.is_empty() {
        return Err(problems);
    }
    chosen.edits = edits(circuit, project.sources(), &chosen.replaced);
    Ok(chosen)
}

fn refuse(message: String) -> Diagnostic {
    Diagnostic::error("refit", message)
}

fn unfit(chip: &Chip, new: &Substitution, pin_incompatibilities: &[socket::PinIncompatibility]) -> Diagnostic {
    const MOST_TOLD: usize = 24;
    let message = format!("{} does not fit the socket of {} ({})", new.number, chip.path, chip.number);
    let mut problem = refuse(message).at(chip.span, "this one");
    for misfit in pin_incompatibilities.iter().take(MOST_TOLD) {
        problem = problem.note(misfit.to_string());
    }
    if pin_incompatibilities.len() > MOST_TOLD {
        problem = problem.note(format!("and {} pins more", pin_incompatibilities.len() - MOST_TOLD));
    }
    problem.help("choose a part with the same pins, or wire the board anew")
}

fn replaced(chip: &Chip, new: &Substitution) -> Replaced {
    let renamed = socket::renamed(&chip.part, &new.found.part);
    Replaced {
        path: chip.path.clone(),
        from: chip.number.clone(),
        to: new.number.clone(),
        estimated: new.estimate.is_some(),
        renamed: renamed.iter().map(ToString::to_string).collect(),
    }
}

/// The chips on the left of a change.
fn meant<'c>(circuit: &'c Circuit, what: &str) -> Result<Vec<&'c Chip>, Diagnostic> {
    let chips = || circuit.chips.values();
    if what == "*" {
        return Ok(chips().collect());
    }
    if let Some(board) = what.strip_suffix(".*") {
        let there: Vec<&str> =
            (circuit.boards.values().map(|board| board.path.as_str())).filter(|path| !path.is_empty()).collect();
        if !there.contains(&board) {
            let help = did_you_mean(board, there.iter().copied());
            let help = help.unwrap_or_else(|| match there.as_slice() {
                [] => "write `*` for all chips of a board that stands alone".to_owned(),
                some => format!("the boards are: {}", some.join(", ")),
            });
            return Err(refuse(format!("there is no board {board} in {}", circuit.name)).help(help));
        }
        let on = |chip: &&Chip| circuit.boards[chip.board].path == board;
        return Ok(chips().filter(on).collect());
    }
    if let Some(chip) = circuit.chip(what) {
        return Ok(vec![&circuit.chips[chip]]);
    }
    let named: Vec<&Chip> =
        chips().filter(|chip| chip.number == what || chip.family.as_deref() == Some(what)).collect();
    if !named.is_empty() {
        return Ok(named);
    }
    let mut known: BTreeSet<&str> = BTreeSet::new();
    for chip in chips() {
        known.extend([chip.path.as_str(), chip.number.as_str()]);
        known.extend(chip.family.as_deref());
    }
    let help = did_you_mean(what, known).unwrap_or_else(|| {
        "name a chip (COUNT.U1), a board (COUNT.*), a number (74HC574) or a family (HC) of it".to_owned()
    });
    let message = format!("`{what}` is no chip, number or family of {}", circuit.name);
    Err(refuse(message).help(help))
}

fn wanted<'t>(library: &Library, with: &'t str) -> Result<Wanted<'t>, Diagnostic> {
    match library.find(with) {
        Ok(_) | Err(NotFound::NoSuchFamily { .. }) => Ok(Wanted::Number(with)),
        Err(_) if library.family_names().any(|name| name == with) => Ok(Wanted::Family(with)),
        Err(problem) => Err(refuse(problem.to_string()).help(format!(
            "{} A family will do as well: {}",
            match problem.help() {
                question if question.ends_with('?') => question,
                sentence => format!("{sentence}."),
            },
            library.family_names().collect::<Vec<_>>().join(", ")
        ))),
    }
}

/// What becomes of a chip; `None` when it is there already.
fn outcome(
    library: &Library,
    chip: &Chip,
    wanted: &Wanted<'_>,
    estimated: bool,
) -> Result<Option<Outcome>, Diagnostic> {
    let number = match wanted {
        Wanted::Number(number) => (*number).to_owned(),
        Wanted::Family(family) => {
            if chip.family.is_none() {
                return Ok(Some(Outcome::Keep("it is of no logic family".to_owned())));
            }
            let series = if chip.number.starts_with("54") { "54" } else { "74" };
            // The plain family has no letters: 7400.
            let letters = if *family == "TTL" { "" } else { family };
            format!("{series}{letters}{}", chip.part.name)
        }
    };
    if number == chip.number {
        return Ok(None);
    }
    let (found, estimate) = match library.find(&number) {
        Ok(found) => (found, None),
        Err(problem) => match library.estimate(&number) {
            Some((found, estimate)) if estimated => (found, Some(estimate)),
            possible => {
                let help = match &possible {
                    Some((_, estimate)) => format!(
                        "--estimated allows figures that are {} of those of {}",
                        estimate.shares(),
                        estimate.base
                    ),
                    None => problem.help(),
                };
                return match wanted {
                    Wanted::Family(_) => Ok(Some(Outcome::Keep(format!("{problem}; {help}")))),
                    Wanted::Number(_) => Err(refuse(problem.to_string()).help(help)),
                };
            }
        },
    };
    Ok(Some(Outcome::Refit(Substitution { number, found, estimate })))
}

/// The lines that would have to be written otherwise, in order of the circuit.
fn edits(circuit: &Circuit, sources: &Sources, replaced: &[Replaced]) -> Vec<Edit> {
    let mut edits: Vec<(Span, Edit)> = Vec::new();
    let new: BTreeMap<&str, &Replaced> = replaced.iter().map(|chip| (chip.path.as_str(), chip)).collect();
    for chip in circuit.chips.values() {
        let Some(replaced) = new.get(chip.path.as_str()) else {
            continue;
        };
        let estimated = if replaced.estimated { " estimated" } else { "" };
        let to = format!("{}{estimated}", replaced.to);
        match edits.iter_mut().find(|(span, edit)| *span == chip.span && edit.to == to) {
            Some((_, edit)) => edit.chips.push(chip.path.clone()),
            None => edits.push((
                chip.span,
                Edit {
                    place: sources.place(chip.span),
                    from: chip.number.clone(),
                    to,
                    chips: vec![chip.path.clone()],
                    others: Vec::new(),
                },
            )),
        }
    }
    for (span, edit) in &mut edits {
        let same_line = circuit.chips.values().filter(|chip| chip.span == *span);
        edit.others = same_line.map(|chip| chip.path.clone()).filter(|path| !edit.chips.contains(path)).collect();
    }
    edits.into_iter().map(|(_, edit)| edit).collect()
}
