//! A machine as a picture of blocks: each board with its chips and connectors, and the cables between them.
//!
//! Boards stand below one another, their connectors along the right edge. Each cable is a vertical lane beside them, with
//! a dot for every connector that it ends in; cables that do not meet share a lane. `plan` decides where everything
//! goes, this file draws it.

mod plan;

use super::svg::Svg;
use crate::circuit::{Circuit, DiscreteKind};
use plan::{Block, Lane, Plan, Tab};

const INK: &str = "#1a1a1a";
const QUIET: &str = "#555555";
const BOARD: &str = "#f1f6ee";
const EDGE: &str = "#4c6b43";
const TAB: &str = "#ffffff";
const SUPPLY: &str = "#a3341a";
/// Lanes take these in turn, so that neighbours can be told apart.
const LANES: [&str; 4] = ["#1b5e96", "#7a4a12", "#3f6f2a", "#6a3a84"];

const TITLE_SIZE: f64 = 18.0;
const NAME_SIZE: f64 = 15.0;
const SMALL_SIZE: f64 = 11.0;
/// How far a cable's line of text stands from its lane.
const BESIDE: f64 = 6.5;

/// Draws a circuit as blocks, in SVG.
pub fn blocks(circuit: &Circuit) -> String {
    let plan = Plan::new(circuit);
    let count = |count: usize, word: &str| match count {
        1 => format!("1 {word}"),
        _ => format!("{count} {word}s"),
    };
    let summary = format!(
        "{}, {}, {}",
        count(circuit.boards.len(), "board"),
        count(circuit.chips.len(), "chip"),
        count(circuit.cables.len(), "cable")
    );
    let title = format!("{}: {summary}", circuit.name);
    let (width, height) = plan.size;
    let mut svg =
        Svg::new(width, height, &title, "boards with their chips and connectors, and the cables between them");
    svg.start("rect").num("width", width).num("height", height).attr("fill", "#ffffff").empty();
    text(&mut svg, (plan::MARGIN, plan::MARGIN + TITLE_SIZE), &circuit.name, TITLE_SIZE, INK, true);
    text(&mut svg, (plan::MARGIN, plan::MARGIN + TITLE_SIZE + 18.0), &summary, SMALL_SIZE, QUIET, false);
    for (at, lane) in plan.lanes.iter().enumerate() {
        draw_lane(&mut svg, lane, LANES[at % LANES.len()]);
    }
    for (at, lane) in plan.lanes.iter().enumerate() {
        draw_words(&mut svg, lane, LANES[at % LANES.len()]);
    }
    for block in &plan.blocks {
        draw_block(&mut svg, block);
    }
    svg.finish()
}

fn draw_block(svg: &mut Svg, block: &Block) {
    svg.start("rect")
        .num("x", plan::MARGIN)
        .num("y", block.top)
        .num("width", plan::BOARD_WIDTH)
        .num("height", block.height)
        .num("rx", 4.0)
        .attr("fill", BOARD)
        .attr("stroke", EDGE)
        .num("stroke-width", 1.5)
        .empty();
    let left = plan::MARGIN + plan::PADDING;
    let mut base = block.top + plan::PADDING + NAME_SIZE;
    text(svg, (left, base), &block.name, NAME_SIZE, INK, true);
    for line in &block.lines {
        base += plan::LINE;
        text(svg, (left, base), line, SMALL_SIZE, QUIET, false);
    }
    for tab in &block.tabs {
        draw_tab(svg, tab);
    }
}

fn draw_tab(svg: &mut Svg, tab: &Tab) {
    let left = plan::TAB_LEFT;
    svg.start("rect")
        .num("x", left)
        .num("y", tab.middle - plan::TAB_HEIGHT / 2.0)
        .num("width", plan::TAB_WIDTH)
        .num("height", plan::TAB_HEIGHT)
        .attr("fill", TAB)
        .attr("stroke", EDGE)
        .titled(&tab.kind);
    let base = tab.middle + SMALL_SIZE * 0.35;
    text(svg, (left + 5.0, base), &tab.name, SMALL_SIZE, INK, true);
    svg.start("text")
        .num("x", left - 6.0)
        .num("y", base)
        .attr("font-family", "sans-serif")
        .num("font-size", SMALL_SIZE - 1.0)
        .attr("text-anchor", "end")
        .attr("fill", QUIET)
        .content(&tab.signals);
    if let Some(supply) = &tab.supply {
        let from = left + plan::TAB_WIDTH;
        line(svg, (from, tab.middle), (from + 14.0, tab.middle), SUPPLY, 2.0);
        text(svg, (from + 18.0, base), supply, SMALL_SIZE, SUPPLY, true);
    }
}

fn draw_lane(svg: &mut Svg, lane: &Lane, colour: &str) {
    for cable in &lane.cables {
        let from = plan::TAB_LEFT + plan::TAB_WIDTH;
        for &end in &cable.ends {
            line(svg, (from, end), (lane.x, end), colour, 1.5);
            svg.start("circle").num("cx", lane.x).num("cy", end).num("r", 3.0).attr("fill", colour).empty();
        }
        let (top, bottom) = cable.span;
        line(svg, (lane.x, top), (lane.x, bottom), colour, cable.stroke);
    }
}

/// What the cables of a lane are, running upwards, on a white ground where other cables pass.
fn draw_words(svg: &mut Svg, lane: &Lane, colour: &str) {
    for cable in &lane.cables {
        let (x, y) = (lane.x - BESIDE, cable.words_at);
        for (fill, halo) in [("#ffffff", true), (colour, false)] {
            let element = svg
                .start("text")
                .num("x", x)
                .num("y", y)
                .attr("transform", &format!("rotate(-90 {x} {y})"))
                .attr("font-family", "sans-serif")
                .num("font-size", SMALL_SIZE)
                .attr("text-anchor", "middle")
                .attr("fill", fill);
            let element = if halo { element.attr("stroke", fill).num("stroke-width", 3.0) } else { element };
            element.content(&cable.words);
        }
    }
}

fn line(svg: &mut Svg, from: (f64, f64), to: (f64, f64), colour: &str, width: f64) {
    svg.start("line")
        .num("x1", from.0)
        .num("y1", from.1)
        .num("x2", to.0)
        .num("y2", to.1)
        .attr("stroke", colour)
        .num("stroke-width", width)
        .empty();
}

fn text(svg: &mut Svg, (x, y): (f64, f64), words: &str, size: f64, fill: &str, bold: bool) {
    let element = svg
        .start("text")
        .num("x", x)
        .num("y", y)
        .attr("font-family", "sans-serif")
        .num("font-size", size)
        .attr("fill", fill);
    let element = if bold { element.attr("font-weight", "bold") } else { element };
    element.content(words);
}

/// What a hand can work on a board, in words: `3 buttons, 1 switch`.
fn hands(kinds: &[&DiscreteKind]) -> Option<String> {
    let count = |wanted: &[&str]| {
        let mut found = kinds.iter();
        let words = found.by_ref().filter(|kind| wanted.contains(&kind.word()));
        words.count()
    };
    let parts = [
        (count(&["led"]), "LED", "LEDs"),
        (count(&["button"]), "button", "buttons"),
        (count(&["switch", "changeover"]), "switch", "switches"),
    ];
    let parts: Vec<String> = parts
        .iter()
        .filter(|(count, ..)| *count > 0)
        .map(|(count, one, many)| format!("{count} {}", if *count == 1 { one } else { many }))
        .collect();
    (!parts.is_empty()).then(|| parts.join(", "))
}
