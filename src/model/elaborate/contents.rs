//! Memories that hold something from the beginning.

use super::plan::Planner;
use crate::contents::{Contents, Filling};
use crate::diagnostic::Diagnostic;
use crate::image::Image;
use crate::language::ast::{Component, Holding};
use crate::model::things::{InitialContents, Model, Window};
use crate::part::Part;
use std::sync::Arc;

impl Planner<'_> {
    /// What each of alike chips holds.
    pub(super) fn contents(
        &mut self,
        component: &Component,
        references: &[String],
        part: &Part,
    ) -> Vec<Option<InitialContents>> {
        let none = vec![None; references.len()];
        let Some(holding) = &component.holds else {
            return none;
        };
        let number = &component.kind.node;
        let contents = self.context.contents;
        let Some(filling) = self.problems.take(contents.named(&holding.name)) else {
            return none;
        };
        let shape = part.function.memories.first();
        let refusal = match shape {
            None => Some((format!("{number} has no memory"), "only a memory holds contents")),
            Some(shape) if shape.blank.is_none() => Some((
                format!("{number} forgets what it holds when its supply goes"),
                "take a ROM, or `load` it in a trial",
            )),
            Some(shape) if shape.width != 8 => Some((
                format!("the words of {number} have {} bits", shape.width),
                "contents are bytes: take a memory of 8 bits",
            )),
            _ => None,
        };
        if let Some((message, help)) = refusal {
            self.problems
                .unclear(Diagnostic::error("contents", message).at(holding.span, "it cannot hold this").help(help));
            return none;
        }
        let words = shape.map_or(0, |shape| shape.words);
        let lanes = match lanes(holding, filling, references.len()) {
            Ok(lanes) => lanes,
            Err(problem) => {
                self.problems.unclear(*problem);
                return none;
            }
        };
        let mut holds = Vec::new();
        for lane in lanes {
            match image(holding, filling, lane, words, number) {
                Ok((window, image)) => holds.push(Some(InitialContents {
                    name: filling.name.clone(),
                    lane,
                    window,
                    span: holding.span,
                    image: Arc::new(image),
                    labels: filling.labels_from(window.0),
                    audit: Arc::clone(&filling.audit),
                })),
                Err(problem) => {
                    self.problems.unclear(*problem);
                    return none;
                }
            }
        }
        holds
    }

    pub(super) fn discretes_hold_nothing(&mut self, component: &Component) {
        if let Some(holding) = &component.holds {
            let message = format!("a {} holds nothing", component.kind.node);
            self.problems.unclear(
                Diagnostic::error("contents", message).at(holding.span, "only a memory does").help("take it away"),
            );
        }
    }
}

/// The lane of each chip: the one that is written, or one for each chip in order.
fn lanes(holding: &Holding, filling: &Filling, chips: usize) -> Result<Vec<u32>, Box<Diagnostic>> {
    let count = filling.lanes;
    let problem = |message: String, help: String| {
        Box::new(
            Diagnostic::error("lanes", message)
                .at(holding.span, "which byte of each word?")
                .at(filling.span, format!("{count} lanes"))
                .help(help),
        )
    };
    match holding.lane {
        Some(lane) if lane.node < count => Ok(vec![lane.node; chips]),
        Some(lane) => Err(problem(
            format!("{} has no lane {}", filling.name, lane.node),
            format!("its lanes are 0 to {}", count - 1),
        )),
        None if count == 1 => Ok(vec![0; chips]),
        None if chips as u64 == u64::from(count) => Ok((0..count).collect()),
        None => Err(problem(
            format!("the words of {} are {count} bytes wide", filling.name),
            format!("write `lane 0` to `lane {}`, or describe {count} chips at once: each takes one", count - 1),
        )),
    }
}

/// What a chip of so many words takes.
fn image(
    holding: &Holding,
    filling: &Filling,
    lane: u32,
    words: u64,
    number: &str,
) -> Result<(Window, Image), Box<Diagnostic>> {
    let problem = |message: String, label: &str, help: &str| {
        Box::new(Diagnostic::error("contents", message).at(holding.span, label).help(help))
    };
    let (first, last) = match holding.window {
        None => (0, None),
        Some((first, last)) => (first.node, last.map(|last| last.node)),
    };
    let first = u64::try_from(first);
    let last = last.map(u64::try_from).transpose();
    let (Ok(first), Ok(last)) = (first, last) else {
        return Err(problem(
            "addresses are not negative".to_owned(),
            "this window",
            "write the first address, and the last one",
        ));
    };
    if let Some(last) = last {
        if last < first {
            return Err(problem(
                "this window runs down".to_owned(),
                "its last address is smaller than its first one",
                "write the smaller address first",
            ));
        }
        if last - first >= words {
            return Err(problem(
                format!("this window has {} words, but {number} has {words}", last - first + 1),
                "too large",
                "make it smaller, or take a larger chip",
            ));
        }
    }
    let image = filling.chip(lane, first, last).map_err(|address| {
        problem(
            format!("{} has a word at address {address:#X}, before {first:#X}", filling.name),
            "the chip begins behind it",
            "mend the address, or write `from` and `to` when other chips hold the rest",
        )
    })?;
    match image.highest() {
        None => Err(problem(
            format!("{} has nothing for this chip", filling.name),
            "it would stay blank",
            "mend the addresses, or leave `holds` out",
        )),
        Some(highest) if highest >= words => Err(problem(
            format!("{} reaches the address {highest:#X} of the chip, but {number} has {words} words", filling.name),
            "it does not fit",
            "take a larger chip, write `from` where its first address is, or `from` and `to` for several chips",
        )),
        Some(_) => Ok(((first, last), image)),
    }
}

/// Bytes of contents that some chips hold a part of, but none holds whole.
pub(super) fn left_out(model: &Model, contents: &Contents) -> Vec<Diagnostic> {
    let mut problems = Vec::new();
    for filling in contents.fillings() {
        let holds = model.chips().filter_map(|(_, chip)| chip.contents.as_ref());
        let holds: Vec<&InitialContents> = holds.filter(|holds| holds.name == filling.name).collect();
        let Some(first) = holds.first() else {
            continue;
        };
        let lanes = u64::from(filling.lanes.max(1));
        let addresses = filling.image.segments();
        let addresses = addresses.flat_map(|(start, bytes)| (start..).take(bytes.len()));
        let mut lost = addresses.filter(|address| {
            let (word, lane) = (address / lanes, address % lanes);
            !holds.iter().any(|holds| {
                let (from, to) = holds.window;
                u64::from(holds.lane) == lane && from <= word && to.is_none_or(|to| word <= to)
            })
        });
        if let Some(address) = lost.next() {
            let count = 1 + lost.count();
            let place = if lanes == 1 {
                format!("the first is at address {address:#X}")
            } else {
                let (word, lane) = (address / lanes, address % lanes);
                format!("the first is lane {lane} of the word at {word:#X}")
            };
            let verb = if count == 1 { "is" } else { "are" };
            let message = format!("{} of {} {verb} in no chip", crate::diagnostic::count(count, "byte"), filling.name);
            problems.push(
                Diagnostic::warning("left-out", message)
                    .at(first.span, "a chip that holds a part")
                    .note(place)
                    .help("let another chip hold the rest, or widen the window"),
            );
        }
    }
    problems
}
