//! What is wrong so far, and how much has been laid out.

use crate::diagnostic::{self, Diagnostic};

/// The most pins of chips, discretes and connectors in one design.
pub(super) const MOST_PINS: usize = 1_000_000;

/// The most names, references and repetitions that one elaboration lays out: some for each pin.
const MOST_WORK: usize = 8 * MOST_PINS;

/// More errors than this help nobody.
const MOST_PROBLEMS: usize = 500;

/// Everything that is wrong is reported in one run. What a board or assembly *is* must be clear before there is a
/// circuit; what is electrically impossible (a shorted supply, rails of different voltage joined) is an error as well,
/// but the circuit is there, so that the checks can go on.
#[derive(Clone, Debug, Default)]
pub(crate) struct Problems {
    list: Vec<Diagnostic>,
    /// True when it is not clear what the circuit is.
    unclear: bool,
    work: usize,
    /// How often something was reported, repeats included.
    told: usize,
}

impl Problems {
    /// Something that leaves open what the circuit is.
    pub(crate) fn unclear(&mut self, problem: Diagnostic) {
        self.unclear = true;
        self.report(problem);
    }

    /// Something that is wrong with a circuit that is clear.
    pub(crate) fn report(&mut self, problem: Diagnostic) {
        // A repetition may find the same thing many times.
        self.told += 1;
        if self.list.len() < MOST_PROBLEMS && self.list.last() != Some(&problem) {
            self.list.push(problem);
        }
    }

    pub(super) fn take<T>(&mut self, result: Result<T, Diagnostic>) -> Option<T> {
        result.map_err(|problem| self.unclear(problem)).ok()
    }

    /// Counts what is laid out; false when it is time to stop.
    pub(super) fn spend(&mut self, work: usize) -> bool {
        let before = self.work;
        self.work = self.work.saturating_add(work);
        if before <= MOST_WORK && self.work > MOST_WORK {
            self.unclear(
                Diagnostic::error("too-large", "the repetitions of this design never seem to end")
                    .note(format!("more than {MOST_WORK} names and repetitions were laid out"))
                    .help("write smaller ranges"),
            );
        }
        !self.stop()
    }

    /// True when going on helps nobody.
    pub(super) fn stop(&self) -> bool {
        self.work > MOST_WORK || self.told >= MOST_PROBLEMS
    }

    /// True when it is not clear what the circuit is.
    pub(crate) fn is_unclear(&self) -> bool {
        self.unclear
    }

    /// All problems in order of their places.
    pub(crate) fn finish(mut self) -> Vec<Diagnostic> {
        let full = self.list.len() >= MOST_PROBLEMS;
        diagnostic::sort(&mut self.list);
        folded(&mut self.list);
        if full {
            let message = format!("there are {MOST_PROBLEMS} errors or more; these came first");
            self.list.push(Diagnostic::note_only("too-many", message));
        }
        self.list
    }
}

/// Of several problems of one kind at one place, as a row of pins or a repetition makes them, one is told.
fn folded(list: &mut Vec<Diagnostic>) {
    let mut kept: Vec<(Diagnostic, usize)> = Vec::with_capacity(list.len());
    for problem in list.drain(..) {
        let place = |problem: &Diagnostic| (problem.code, problem.labels.first().map(|label| label.span));
        match kept.last_mut() {
            Some((first, more)) if place(first) == place(&problem) && !problem.labels.is_empty() => *more += 1,
            _ => kept.push((problem, 0)),
        }
    }
    list.extend(kept.into_iter().map(|(problem, more)| match more {
        0 => problem,
        1 => problem.note("one more of this kind at this place"),
        _ => problem.note(format!("{more} more of this kind at this place")),
    }));
}

/// A list in words, cut when it is long.
pub(crate) fn several<T: AsRef<str>>(names: &[T]) -> String {
    const MOST: usize = 16;
    let shown: Vec<&str> = names.iter().take(MOST).map(AsRef::as_ref).collect();
    let more = names.len().saturating_sub(MOST);
    match (shown.is_empty(), more) {
        (true, _) => "none".to_owned(),
        (_, 0) => shown.join(", "),
        _ => format!("{} and {more} more", shown.join(", ")),
    }
}
