//! `coldboard reference`

use crate::cli::Exit;
use crate::cli::output::Output;
use crate::language::REFERENCE;

/// Print the reference of the language, or the sections that speak of a word.
#[derive(Debug, clap::Args)]
pub struct Arguments {
    /// Only sections whose heading or text holds this word.
    pub word: Option<String>,
}

/// Prints the reference.
pub fn run(arguments: &Arguments, output: &mut Output) -> Exit {
    let Some(word) = &arguments.word else {
        output.answer(REFERENCE);
        return Exit::Good;
    };
    let found: Vec<&str> = sections(REFERENCE)
        .into_iter()
        .filter(|section| section.contains(word.as_str()))
        .collect();
    if found.is_empty() {
        output.remark(&format!("error: the reference does not speak of `{word}`"));
        return Exit::Unusable;
    }
    found.iter().for_each(|section| output.answer(section));
    Exit::Good
}

/// The text from each heading to the next.
fn sections(text: &str) -> Vec<&str> {
    let mut starts: Vec<usize> = text.match_indices("\n## ").map(|(at, _)| at + 1).collect();
    starts.insert(0, 0);
    let ends = starts.iter().skip(1).copied().chain([text.len()]);
    starts
        .iter()
        .zip(ends)
        .map(|(&start, end)| &text[start..end])
        .collect()
}
