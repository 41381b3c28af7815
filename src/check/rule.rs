//! A rule, what it looks at, and what it finds.

use crate::circuit::{BoardKey, Circuit};
use crate::diagnostic::Diagnostic;
use crate::electrical::OperatingPoint;
use crate::electrical::power::Power;
use crate::electrical::power_distribution::{PowerDistribution, power_distribution};

/// One electrical rule.
#[derive(Clone, Copy, Debug)]
pub struct Rule {
    /// Its name, also the code of its diagnostics: `input-open`.
    pub name: &'static str,
    /// One sentence: the fault that it finds.
    pub summary: &'static str,
    /// Its page, in Markdown: what it finds, why it hurts, cure, example, source.
    pub documentation: &'static str,
    /// Looks at a circuit and adds what it finds.
    pub find: fn(&Subject<'_>, &mut Vec<Finding>),
}

/// What rules look at: a circuit, and what several of them want to know of it.
pub struct Subject<'c> {
    pub circuit: &'c Circuit,
    /// Its voltages and currents at rest.
    pub operating_point: OperatingPoint,
    /// What chips, boards and supplies draw at rest.
    pub power: Power,
    /// What flows through its connectors and cables.
    pub power_distribution: PowerDistribution,
}

impl<'c> Subject<'c> {
    pub fn new(circuit: &'c Circuit) -> Subject<'c> {
        let operating_point = OperatingPoint::new(circuit);
        let power = Power::new(circuit, &operating_point, None);
        let power_distribution = power_distribution(circuit, &operating_point, &power);
        Subject { circuit, operating_point, power, power_distribution }
    }
}

/// What a rule found.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Finding {
    /// The name of the rule.
    pub rule: &'static str,
    /// The path of the board, empty for one that stands alone; of a net or cable between several the first one.
    pub board: String,
    /// The path of what is wrong: of a chip, pin, net or connector.
    pub place: String,
    /// The places of others that say the same; see [`super::checked`].
    pub also: Vec<String>,
    /// What is wrong, why it matters, what to do.
    pub diagnostic: Diagnostic,
}

impl Finding {
    /// The finding of a diagnostic, whose code is the rule's name.
    pub fn new(circuit: &Circuit, board: BoardKey, place: impl Into<String>, diagnostic: Diagnostic) -> Self {
        Finding {
            rule: diagnostic.code,
            board: circuit.boards[board].path.clone(),
            place: place.into(),
            also: Vec::new(),
            diagnostic,
        }
    }
}

/// Copies the `//!` header of a source text, without its marks, as far as `page` has room; returns its whole length.
pub(crate) const fn header(source: &str, page: &mut [u8]) -> usize {
    let source = source.as_bytes();
    let (mut at, mut length) = (0, 0);
    while at + 3 <= source.len() && matches!(source.split_at(at).1, [b'/', b'/', b'!', ..]) {
        at += 3;
        if at < source.len() && source[at] == b' ' {
            at += 1;
        }
        while at < source.len() {
            if length < page.len() {
                page[length] = source[at];
            }
            length += 1;
            at += 1;
            if source[at - 1] == b'\n' {
                break;
            }
        }
    }
    length
}

/// The header of a rule's own file, so that the page and the code beside it cannot drift apart.
macro_rules! page {
    ($file:literal) => {{
        const SOURCE: &str = include_str!($file);
        const PAGE: [u8; $crate::check::rule::header(SOURCE, &mut [])] = {
            let mut page = [0; $crate::check::rule::header(SOURCE, &mut [])];
            $crate::check::rule::header(SOURCE, &mut page);
            page
        };
        match std::str::from_utf8(&PAGE) {
            Ok(page) => page,
            Err(_) => panic!("a header ends at the end of a line"),
        }
    }};
}
pub(crate) use page;
