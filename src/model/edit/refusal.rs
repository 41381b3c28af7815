//! Why an edit cannot be made.

use crate::diagnostic::Diagnostic;
use crate::model::problems::MOST_PINS;
use crate::model::things::{BoardId, Model};

/// What an edit gives, or why it cannot be made.
pub type Edited<T = ()> = Result<T, Box<Diagnostic>>;

/// The refusal of an edit, with what to do instead.
pub(in crate::model) fn refuse(message: String, help: impl Into<String>) -> Box<Diagnostic> {
    Box::new(Diagnostic::error("change", message).help(help))
}

/// The refusal of an edit of something that nothing is called.
pub(in crate::model) fn not_there(what: &str, name: &str) -> Box<Diagnostic> {
    let message = format!("there is no {what} {name} to change");
    refuse(message, "name one of the circuit")
}

/// The refusal of an edit of something that was taken out.
pub(super) fn gone(what: &str) -> Box<Diagnostic> {
    let message = format!("this {what} is not in the design any more");
    refuse(message, format!("look the {what} up again by its path"))
}

impl Model {
    /// Refuses a name that no path could hold.
    pub(super) fn check_name(&self, name: &str) -> Edited {
        let unfit = |c: char| c == '.' || c.is_whitespace() || c.is_control();
        if name.is_empty() || name.contains(unfit) {
            let help = "take a name without dots and blanks";
            return Err(refuse(format!("`{name}` is no name"), help));
        }
        Ok(())
    }

    /// Refuses a component of a board that is gone, whose reference designator is there, or that is one too many.
    pub(super) fn check_new(&self, board: BoardId, reference: &str, pins: usize) -> Edited {
        let row = self.boards.get(board).ok_or_else(|| gone("board"))?;
        self.check_name(reference)?;
        if row.chips.find(reference).is_some() || row.discretes.find(reference).is_some() {
            let message = format!("{} is there already", self.path(board, reference));
            return Err(refuse(message, "take another reference designator"));
        }
        if self.pins.saturating_add(pins) > MOST_PINS {
            let message = format!("the design would have more than {MOST_PINS} pins");
            return Err(refuse(message, "take something out first"));
        }
        Ok(())
    }
}
