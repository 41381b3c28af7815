//! `coldboard reference`

use super::open::unusable;
use crate::cli::exit::Exit;
use crate::cli::output::Output;
use crate::diagnostic::did_you_mean;
use crate::language::REFERENCE;

/// Print the reference of the language, or the sections that speak of a word.
#[derive(Debug, clap::Args)]
pub(crate) struct Arguments {
    /// Only sections whose heading or text holds this word.
    pub word: Option<String>,
}

/// Prints the reference.
pub(crate) fn run(arguments: &Arguments, output: &mut Output) -> Exit {
    let Some(word) = &arguments.word else {
        output.answer(REFERENCE);
        return Exit::Good;
    };
    let found: Vec<&str> = sections(REFERENCE).into_iter().filter(|section| section.contains(word.as_str())).collect();
    if found.is_empty() {
        let headings = || sections(REFERENCE).into_iter().filter_map(heading);
        let words = headings().flat_map(str::split_whitespace);
        let help = did_you_mean(word, words).unwrap_or_else(|| {
            let headings: Vec<&str> = headings().collect();
            format!("its sections are: {}", headings.join(", "))
        });
        let sentence = format!("the reference does not speak of `{word}`; {help}");
        return unusable(output, &sentence);
    }
    found.iter().for_each(|section| output.answer(section));
    Exit::Good
}

fn heading(section: &str) -> Option<&str> {
    section.lines().next()?.strip_prefix("## ")
}

/// The text from each heading to the next.
fn sections(text: &str) -> Vec<&str> {
    let mut starts: Vec<usize> = text.match_indices("\n## ").map(|(at, _)| at + 1).collect();
    starts.insert(0, 0);
    let ends = starts.iter().skip(1).copied().chain([text.len()]);
    starts.iter().zip(ends).map(|(&start, end)| &text[start..end]).collect()
}
