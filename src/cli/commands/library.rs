//! `coldboard library`

use super::open::{library, unusable, whole};
use crate::cli::exit::Exit;
use crate::cli::output::Output;
use crate::cli::shared::Shared;
use crate::diagnostic::{any_error, did_you_mean};
use crate::export::part_page::listing::{self, Wanted};
use crate::part::Library;

/// List the parts of the library, or the gaps of their sheets.
#[derive(Debug, clap::Args)]
pub(crate) struct Arguments {
    /// Words that must all stand in number, title, families or pin names: octal latch three-state.
    pub words: Vec<String>,
    /// Only parts with this many pins.
    #[arg(long, value_name = "N", value_parser = whole(1..=1000), allow_negative_numbers = true)]
    pub pins: Option<u16>,
    /// Only parts that have a sheet of this family or grade.
    #[arg(long, value_name = "NAME")]
    pub family: Option<String>,
    /// Print for each part and family what its figures rest on, and which of them a rule has to fill.
    #[arg(long)]
    pub gaps: bool,
    /// Print as JSON.
    #[arg(long)]
    pub json: bool,
}

/// Prints the list.
pub(crate) fn run(arguments: &Arguments, all: &Shared, output: &mut Output) -> Exit {
    let library = match library(all, output) {
        Ok(library) => library,
        Err(exit) => return exit,
    };
    let wanted = Wanted {
        words: arguments.words.clone(),
        pins: arguments.pins.map(usize::from),
        family: arguments.family.clone(),
    };
    let parts = listing::find(&library, &wanted);
    let problems = library.problems();
    output.diagnostics(library.sources(), &problems);
    if any_error(&problems) {
        return Exit::Unusable;
    }
    if parts.is_empty() {
        return unusable(output, &nothing(&library, &wanted));
    }
    let family = arguments.family.as_deref();
    let gaps = || listing::gaps(&library, &parts, family);
    match (arguments.gaps, arguments.json) {
        (false, false) => output.answer(&listing::text(&parts)),
        (false, true) => output.answer_json(&listing::json(&parts)),
        (true, false) => output.answer(&listing::gaps_text(&gaps())),
        (true, true) => output.answer_json(&listing::gaps_json(&gaps())),
    }
    Exit::Good
}

/// Why there is nothing, and what to do.
fn nothing(library: &Library, wanted: &Wanted) -> String {
    if let Some(family) = &wanted.family {
        let alone = Wanted { family: Some(family.clone()), ..Wanted::default() };
        if listing::find(library, &alone).is_empty() {
            let help = did_you_mean(family, library.family_names()).unwrap_or_else(|| {
                let names: Vec<&str> = library.family_names().collect();
                format!("the families are: {}; the grades stand behind the numbers, as in 62256-70", names.join(", "))
            });
            return format!("no part has a sheet of a family or grade `{family}`; {help}");
        }
    }
    "no part has all of that; give fewer words, or `coldboard library` alone for all parts".to_owned()
}
