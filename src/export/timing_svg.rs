//! The slack of everything that must hold, as a picture: one bar a range, what does not hold in another colour.

use super::svg::{Svg, number};
use crate::quantity::Time;
use crate::timing::report::Run;

const WIDTH: f64 = 760.0;
const HEIGHT: f64 = 320.0;
const LEFT: f64 = 50.0;
const RIGHT: f64 = 20.0;
const TOP: f64 = 44.0;
const BOTTOM: f64 = 46.0;
const GOOD: &str = "#3b6e8f";
const BAD: &str = "#b3432b";
const INK: &str = "#222222";

/// The histogram of a run.
pub fn histogram(on: &str, run: &Run) -> String {
    let title = format!("Slack of {on}, {} parts", run.parts.word());
    let description = format!("{} requirements by what is left of their time", run.checks);
    let mut svg = Svg::new(WIDTH, HEIGHT, &title, &description);
    svg.start("rect").num("width", WIDTH).num("height", HEIGHT).attr("fill", "#ffffff").empty();
    label(&mut svg, (LEFT, 24.0), "start", 15.0, &title);
    let bins = &run.histogram;
    if bins.is_empty() {
        label(&mut svg, (WIDTH / 2.0, HEIGHT / 2.0), "middle", 13.0, "nothing was judged");
        return svg.finish();
    }
    let most = bins.iter().map(|bin| bin.count).max().unwrap_or(1).max(1);
    let step = (WIDTH - LEFT - RIGHT) / bins.len() as f64;
    let floor = HEIGHT - BOTTOM;
    let scale = (floor - TOP) / most as f64;
    for (at, bin) in bins.iter().enumerate() {
        let height = bin.count as f64 * scale;
        let x = LEFT + at as f64 * step;
        let colour = if bin.from < Time::ZERO { BAD } else { GOOD };
        let told = format!("{} to {}: {}", bin.from, bin.to, bin.count);
        svg.start("rect")
            .num("x", x + 1.0)
            .num("y", floor - height)
            .num("width", (step - 2.0).max(0.5))
            .num("height", height)
            .attr("fill", colour)
            .titled(&told);
        let every = bins.len().div_ceil(8);
        if at % every == 0 {
            label(&mut svg, (x, floor + 16.0), "middle", 11.0, &bin.from.to_string());
        }
    }
    svg.start("path")
        .attr("d", &format!("M{} {}H{}", number(LEFT), number(floor), number(WIDTH - RIGHT)))
        .attr("stroke", INK)
        .attr("fill", "none")
        .empty();
    label(&mut svg, (LEFT - 6.0, TOP + 4.0), "end", 11.0, &most.to_string());
    label(&mut svg, (LEFT - 6.0, floor), "end", 11.0, "0");
    label(&mut svg, (WIDTH / 2.0, HEIGHT - 10.0), "middle", 12.0, "slack");
    svg.finish()
}

fn label(svg: &mut Svg, (x, y): (f64, f64), anchor: &str, size: f64, text: &str) {
    svg.start("text")
        .num("x", x)
        .num("y", y)
        .attr("text-anchor", anchor)
        .attr("font-family", "sans-serif")
        .num("font-size", size)
        .attr("fill", INK)
        .content(text);
}
