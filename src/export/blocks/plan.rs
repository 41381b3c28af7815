//! Where everything of a block picture goes.

use super::hands;
use crate::circuit::{BoardKey, Cable, Circuit, Connector, ConnectorKey};
use crate::key::KeyVec;
use crate::text::filled;
use std::borrow::Cow;
use std::collections::BTreeMap;

pub(super) const MARGIN: f64 = 24.0;
pub(super) const PADDING: f64 = 10.0;
pub(super) const BOARD_WIDTH: f64 = 640.0;
/// From one line of text to the next.
pub(super) const LINE: f64 = 15.0;
pub(super) const TAB_WIDTH: f64 = 84.0;
pub(super) const TAB_HEIGHT: f64 = 18.0;
/// The left edge of the connectors, which reach a little beyond the board.
pub(super) const TAB_LEFT: f64 = MARGIN + BOARD_WIDTH - TAB_WIDTH + 8.0;
const TAB_STEP: f64 = 24.0;
const HEAD: f64 = 56.0;
const BETWEEN: f64 = 18.0;
const LANE_STEP: f64 = 27.0;
/// Width of a character of small text, on average.
const CHARACTER: f64 = 5.6;
/// Characters in the left column of a board, and in the list of a connector's signals.
const COLUMN: usize = 42;
const LONGEST_LIST: usize = 52;

/// The whole picture.
#[derive(Debug)]
pub(super) struct Plan {
    pub(super) size: (f64, f64),
    pub(super) blocks: Vec<Block>,
    pub(super) lanes: Vec<Lane>,
}

/// A board.
#[derive(Debug)]
pub(super) struct Block {
    pub(super) top: f64,
    pub(super) height: f64,
    pub(super) name: String,
    pub(super) lines: Vec<String>,
    pub(super) tabs: Vec<Tab>,
}

#[derive(Debug)]
pub(super) struct Tab {
    pub(super) middle: f64,
    pub(super) name: String,
    pub(super) kind: String,
    /// What it carries.
    pub(super) signals: String,
    /// The bench supply that feeds it.
    pub(super) supply: Option<String>,
}

/// Cables above one another, in one vertical line.
#[derive(Debug)]
pub(super) struct Lane {
    pub(super) x: f64,
    pub(super) cables: Vec<Line>,
}

/// A cable in its lane.
#[derive(Debug)]
pub(super) struct Line {
    pub(super) words: String,
    /// The middle of the words.
    pub(super) words_at: f64,
    /// The middle of each connector.
    pub(super) ends: Vec<f64>,
    /// Topmost and lowest end.
    pub(super) span: (f64, f64),
    pub(super) stroke: f64,
}

impl Plan {
    pub(super) fn new(circuit: &Circuit) -> Plan {
        let mut middles = KeyVec::filled(circuit.connectors.len(), 0.0);
        let mut blocks = Vec::new();
        let mut top = MARGIN + HEAD;
        for (key, _) in circuit.boards.iter() {
            let block = block(circuit, key, top, &mut middles);
            top += block.height + BETWEEN;
            blocks.push(block);
        }
        let lanes = lanes(circuit, &middles);
        let right = lanes.last().map_or(TAB_LEFT + TAB_WIDTH, |lane| lane.x);
        let fed = !circuit.supplies.is_empty();
        let beside = if fed { 130.0 } else { MARGIN };
        let right = right.max(TAB_LEFT + TAB_WIDTH + beside);
        Plan { size: (right + MARGIN, top + MARGIN - BETWEEN), blocks, lanes }
    }
}

fn block(circuit: &Circuit, key: BoardKey, top: f64, middles: &mut KeyVec<ConnectorKey, f64>) -> Block {
    let board = &circuit.boards[key];
    let name = match board.path.as_str() {
        "" => board.design.clone(),
        path => path.to_owned(),
    };
    let wrapped = |text: &str| -> Vec<String> {
        let lines = textwrap::wrap(text, filled(COLUMN)).into_iter();
        lines.map(Cow::into_owned).filter(|line| !line.is_empty()).collect()
    };
    let mut lines = wrapped(&board.title);
    let mut numbers: BTreeMap<&str, usize> = BTreeMap::new();
    for chip in circuit.chips.values().filter(|chip| chip.board == key) {
        *numbers.entry(&chip.number).or_default() += 1;
    }
    if !numbers.is_empty() {
        let total: usize = numbers.values().sum();
        let chips: Vec<String> = numbers
            .iter()
            .map(|(number, count)| match count {
                1 => (*number).to_owned(),
                // Held together by a blank that no line ends at.
                _ => format!("{count}\u{a0}x\u{a0}{number}"),
            })
            .collect();
        let word = if total == 1 { "chip" } else { "chips" };
        let chips = chips.join(", ");
        lines.extend(wrapped(&format!("{total} {word}: {chips}")));
    }
    let kinds: Vec<_> =
        circuit.discretes.values().filter(|discrete| discrete.board == key).map(|discrete| &discrete.kind).collect();
    lines.extend(hands(&kinds));
    let tabs = circuit.connectors.iter();
    let tabs: Vec<(ConnectorKey, &Connector)> = tabs.filter(|(_, connector)| connector.board == key).collect();
    let words = PADDING * 2.0 + LINE * (lines.len() as f64 + 1.4);
    let height = words.max(PADDING * 2.0 + TAB_STEP * tabs.len() as f64);
    let first = top + (height - TAB_STEP * tabs.len() as f64 + TAB_STEP) / 2.0;
    let tabs = tabs.into_iter().enumerate().map(|(at, (key, connector))| {
        let middle = first + TAB_STEP * at as f64;
        middles[key] = middle;
        Tab {
            middle,
            name: connector.name.clone(),
            kind: connector.kind.clone(),
            signals: signals(circuit, connector),
            supply: supply(circuit, connector),
        }
    });
    Block { top, height, name, tabs: tabs.collect(), lines }
}

/// What a connector carries besides its supply: `d0..7 clk /reset`.
fn signals(circuit: &Circuit, connector: &Connector) -> String {
    let mut words: Vec<(String, Option<(u32, u32)>)> = Vec::new();
    for pin in &connector.pins {
        let rail = pin.net.is_some_and(|net| circuit.nets[net].rail.is_some());
        let Some(label) = pin.label.as_deref().filter(|_| !rail && !pin.open) else {
            continue;
        };
        let stem = label.trim_end_matches(|c: char| c.is_ascii_digit());
        let index: Option<u32> = label[stem.len()..].parse().ok();
        match (words.last_mut(), index) {
            (Some((last, Some((_, end)))), Some(index)) if last == stem && *end + 1 == index => {
                *end = index;
            }
            (_, Some(index)) if !stem.is_empty() => {
                words.push((stem.to_owned(), Some((index, index))));
            }
            _ => words.push((label.to_owned(), None)),
        }
    }
    let words = words.into_iter().map(|(stem, range)| match range {
        None => stem,
        Some((first, last)) if first == last => format!("{stem}{first}"),
        Some((first, last)) => format!("{stem}{first}..{last}"),
    });
    let mut text = String::new();
    for word in words {
        if text.chars().count() + word.chars().count() + 1 > LONGEST_LIST {
            text.push_str(" ...");
            break;
        }
        if !text.is_empty() {
            text.push(' ');
        }
        text.push_str(&word);
    }
    text
}

/// The supply that is clamped to a connector: one that no cable leads to, with a pin at each of the supply's poles.
fn supply(circuit: &Circuit, connector: &Connector) -> Option<String> {
    if connector.pins.iter().any(|pin| !pin.cables.is_empty()) {
        return None;
    }
    let touches = |poles: &[crate::circuit::NetKey]| {
        let mut nets = connector.pins.iter().filter_map(|pin| pin.net);
        nets.any(|net| poles.contains(&net))
    };
    let mut supplies = circuit.supplies.values();
    let found = supplies.find(|supply| touches(&supply.plus) && touches(&supply.minus))?;
    Some(format!("{} {} {}", found.name, found.voltage, found.current))
}

/// Cables in lanes: short ones near the boards, each in the first lane where it meets no other.
fn lanes(circuit: &Circuit, middles: &KeyVec<ConnectorKey, f64>) -> Vec<Lane> {
    let mut cables: Vec<Line> = circuit.cables.values().filter_map(|cable| line(cable, middles)).collect();
    cables.sort_by(|a, b| {
        let long = |line: &Line| line.span.1 - line.span.0;
        long(a).total_cmp(&long(b))
    });
    let mut lanes: Vec<Lane> = Vec::new();
    for cable in cables {
        let (top, bottom) = room(&cable);
        let free = lanes.iter_mut().find(|lane| {
            let mut others = lane.cables.iter().map(room);
            others.all(|(other_top, other_bottom)| other_bottom < top || bottom < other_top)
        });
        match free {
            Some(lane) => lane.cables.push(cable),
            None => {
                let x = TAB_LEFT + TAB_WIDTH + LANE_STEP * (lanes.len() as f64 + 1.2);
                lanes.push(Lane { x, cables: vec![cable] });
            }
        }
    }
    lanes
}

fn line(cable: &Cable, middles: &KeyVec<ConnectorKey, f64>) -> Option<Line> {
    let mut ends: Vec<f64> = cable.wires.iter().flatten().map(|&(connector, _)| middles[connector]).collect();
    ends.sort_by(f64::total_cmp);
    ends.dedup();
    let span = (*ends.first()?, *ends.last()?);
    let ways = cable.wires.len();
    Some(Line {
        words: format!("{} {} {ways} way {}", cable.name, cable.kind, cable.length),
        words_at: (span.0 + span.1) / 2.0,
        ends,
        span,
        // Wider for more wires, but never so that it hides its dots.
        stroke: (1.0 + ways as f64 / 10.0).min(4.0),
    })
}

/// The stretch of its lane that a cable takes up, with its words.
fn room(cable: &Line) -> (f64, f64) {
    let half = cable.words.chars().count() as f64 * CHARACTER / 2.0 + 6.0;
    let (top, bottom) = cable.span;
    (top.min(cable.words_at - half), bottom.max(cable.words_at + half))
}
