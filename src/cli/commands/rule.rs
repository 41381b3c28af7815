//! `coldboard rule`

use crate::check::{RULES, rule};
use crate::cli::exit::Exit;
use crate::cli::output::Output;

/// Print the page of a check rule, or list the rules.
#[derive(Debug, clap::Args)]
pub(crate) struct Arguments {
    /// The rule.
    pub name: Option<String>,
}

/// Prints one page, or the list.
pub(crate) fn run(arguments: &Arguments, output: &mut Output) -> Exit {
    let Some(name) = &arguments.name else {
        let width = RULES.iter().map(|rule| rule.name.len()).max().unwrap_or(0);
        for rule in RULES {
            output.answer(&format!("{:width$}  {}\n", rule.name, rule.summary));
        }
        return Exit::Good;
    };
    match rule(name) {
        Some(rule) => {
            output.answer(rule.documentation);
            Exit::Good
        }
        None => {
            let near = crate::diagnostic::did_you_mean(name, RULES.iter().map(|rule| rule.name));
            let help = near.unwrap_or_else(|| "`coldboard rule` lists them".to_owned());
            output.remark(&format!("error: there is no rule `{name}`; {help}"));
            Exit::Unusable
        }
    }
}
