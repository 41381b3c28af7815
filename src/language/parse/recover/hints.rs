//! What a person does who follows the hint of an error, for the tests.

use crate::diagnostic::Diagnostic;

/// The first text in backticks.
fn quoted(text: &str) -> Option<&str> {
    text.split('`').nth(1)
}

/// The text with a hint followed; nothing when the hint leaves open what to write.
pub(super) fn applied(text: &str, problem: &Diagnostic) -> Option<String> {
    let help = problem.help.as_deref()?;
    let span = problem.labels.first()?.span;
    let (start, end) = (span.start as usize, span.end as usize);
    let replaced = |from: usize, to: usize, new: &str| format!("{}{new}{}", &text[..from], &text[to..]);
    if let Some(meant) = help.strip_prefix("did you mean ").and_then(quoted) {
        // `10 kohm` takes the place of the number as well.
        let before = text[..start].trim_end();
        let number = before.trim_end_matches(|c: char| c.is_ascii_digit() || c == '.').len();
        let with_number = meant.starts_with(|c: char| c.is_ascii_digit());
        return Some(replaced(if with_number { number } else { start }, end, meant));
    }
    if help.starts_with("write the closing `\"`") {
        return Some(replaced(end, end, "\""));
    }
    if help == "write `}` where the block ends" {
        // Each block that is open is closed in turn.
        let open = text.matches('{').count().saturating_sub(text.matches('}').count());
        return Some(format!("{text}\n{}", "}\n".repeat(open)));
    }
    if help == "write `}` before this line" {
        return Some(replaced(start, start, "}\n"));
    }
    if help.starts_with("close it: ") {
        let open = problem.labels.get(1)?.span.start as usize;
        return Some(replaced(open, end, quoted(help)?));
    }
    if help.starts_with("leave the `") || help.starts_with("nothing ends a statement") {
        return Some(replaced(start, end, ""));
    }
    let instead = ["compare with a single ", "write two dots: ", "a comment starts with "];
    if instead.iter().any(|words| help.starts_with(words)) {
        return Some(replaced(start, end, quoted(help)?));
    }
    if help.starts_with("write `") && help.ends_with('`') && help.matches('`').count() == 2 {
        let new = quoted(help)?;
        // A component is written anew from its designator on.
        let whole = new.contains(' ');
        let line = text[..start].rfind(['\n', '{']).map_or(0, |at| at + 1);
        return Some(replaced(if whole { line } else { start }, end, new));
    }
    None
}

/// True for the same words at the same place.
pub(super) fn is_same(one: &Diagnostic, other: &Diagnostic) -> bool {
    let place = |problem: &Diagnostic| problem.labels.first().map(|label| (label.span.start, label.span.end));
    one.message == other.message && place(one) == place(other)
}
