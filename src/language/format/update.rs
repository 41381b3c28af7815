//! Old spellings to the present ones.

use crate::language::parse::grammar::{Grammar, Rule};
use pest::Parser;

/// The rule that reads an old statement, its old keyword, and the present one.
const RENAMED: &[(Rule, Rule, &str)] = &[(Rule::old_hold_line, Rule::kw_hold, "drive")];

/// The text with present spellings; nothing else changes. A text that does not parse stays as it is.
pub(super) fn update(text: &str) -> String {
    let Ok(pairs) = Grammar::parse(Rule::file, text) else {
        return text.to_owned();
    };
    let mut updated = String::with_capacity(text.len());
    let mut copied = 0;
    for pair in pairs.flatten() {
        let Some((_, keyword, present)) = RENAMED.iter().find(|(rule, ..)| *rule == pair.as_rule()) else {
            continue;
        };
        let Some(old) = pair.into_inner().find(|inner| inner.as_rule() == *keyword) else {
            continue;
        };
        let span = old.as_span();
        updated.push_str(&text[copied..span.start()]);
        updated.push_str(present);
        copied = span.start() + old.as_str().trim_end().len();
    }
    updated.push_str(&text[copied..]);
    updated
}
