//! A small writer for SVG pictures: escaped texts, short numbers, elements in the order of writing.
//!
//! Looks are given as attributes, never as style sheets, and nothing refers to an id but hatchings, so that several
//! pictures can stand in one page.

use crate::text::escape::is_control;
use std::fmt::Write;

/// A picture in the making.
#[derive(Debug)]
pub struct Svg {
    text: String,
    open: Vec<&'static str>,
}

impl Svg {
    /// A picture of a size in pixels, with a title and a description for those who cannot see it.
    pub fn new(width: f64, height: f64, title: &str, description: &str) -> Svg {
        let mut svg = Svg { text: String::new(), open: Vec::new() };
        svg.start("svg")
            .attr("xmlns", "http://www.w3.org/2000/svg")
            .num("width", width)
            .num("height", height)
            .view((0.0, 0.0), (width, height))
            .attr("role", "img")
            .attr("aria-label", title)
            .open();
        svg.start("title").content(title);
        svg.start("desc").content(description);
        svg
    }

    /// Begins an element; it stands in the one that was opened last.
    #[must_use = "an element is complete when it is opened, left empty, or given its content"]
    pub fn start(&mut self, tag: &'static str) -> Element<'_> {
        self.text.push('<');
        self.text.push_str(tag);
        Element { svg: self, tag }
    }

    /// Ends the element that was opened last; nothing when none is open.
    pub fn close(&mut self) {
        if let Some(tag) = self.open.pop() {
            self.end(tag);
        }
    }

    /// The whole text, with every open element ended.
    pub fn finish(mut self) -> String {
        while !self.open.is_empty() {
            self.close();
        }
        self.text
    }

    fn end(&mut self, tag: &str) {
        self.text.push_str("</");
        self.text.push_str(tag);
        self.text.push_str(">\n");
    }
}

/// An element whose attributes are being written.
#[derive(Debug)]
pub struct Element<'a> {
    svg: &'a mut Svg,
    tag: &'static str,
}

impl Element<'_> {
    /// Adds an attribute.
    #[must_use = "an element is complete when it is opened, left empty, or given its content"]
    pub(crate) fn attr(self, name: &str, value: &str) -> Self {
        // Writing to a string cannot fail.
        let _ = write!(self.svg.text, " {name}=\"{}\"", escape(value));
        self
    }

    /// Adds a number as an attribute.
    #[must_use = "an element is complete when it is opened, left empty, or given its content"]
    pub(crate) fn num(self, name: &str, value: f64) -> Self {
        self.attr(name, &number(value))
    }

    /// Adds the part of the drawing that a picture shows: a corner and its size.
    #[must_use = "an element is complete when it is opened, left empty, or given its content"]
    pub fn view(self, (x, y): (f64, f64), (width, height): (f64, f64)) -> Self {
        let [x, y, width, height] = [x, y, width, height].map(number);
        self.attr("viewBox", &format!("{x} {y} {width} {height}"))
    }

    /// Ends the element with nothing in it.
    pub fn empty(self) {
        self.svg.text.push_str("/>\n");
    }

    /// Ends the element with a text in it.
    pub fn content(self, text: &str) {
        self.svg.text.push('>');
        self.svg.text.push_str(&escape(text));
        self.svg.end(self.tag);
    }

    /// Ends the element with a title in it: what a browser tells when the pointer rests there.
    pub(crate) fn titled(self, title: &str) {
        self.svg.text.push('>');
        let tag = self.tag;
        let svg = self.svg;
        svg.start("title").content(title);
        svg.end(tag);
    }

    /// Opens the element for others.
    pub fn open(self) {
        self.svg.text.push_str(">\n");
        self.svg.open.push(self.tag);
    }
}

/// The course of a line: what stands in the attribute `d` of a path.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Course(String);

impl Course {
    /// Goes to the first point without a line, and through the others with one.
    pub fn line(&mut self, points: &[(f64, f64)]) {
        for (index, &(x, y)) in points.iter().enumerate() {
            self.point(if index == 0 { 'M' } else { 'L' }, x, y);
        }
    }

    /// Goes to a point without a line.
    pub(crate) fn move_to(&mut self, x: f64, y: f64) {
        self.point('M', x, y);
    }

    /// Goes to a point with a line.
    pub(crate) fn line_to(&mut self, x: f64, y: f64) {
        self.point('L', x, y);
    }

    /// The outline through some points, back to the first.
    pub(crate) fn outline(points: &[(f64, f64)]) -> Course {
        let mut course = Course::default();
        course.line(points);
        course.0.push('Z');
        course
    }

    /// As the attribute has it.
    pub fn as_str(&self) -> &str {
        &self.0
    }

    fn point(&mut self, command: char, x: f64, y: f64) {
        let _ = write!(self.0, "{command}{} {}", number(x), number(y));
    }
}

/// A number with two decimals at most; what is not a number is 0.
pub fn number(value: f64) -> String {
    if !value.is_finite() {
        return "0".to_owned();
    }
    let text = format!("{value:.2}");
    let text = text.trim_end_matches('0').trim_end_matches('.');
    match text {
        "-0" => "0".to_owned(),
        _ => text.to_owned(),
    }
}

/// A text for an element or an attribute; characters that XML forbids, and controls, are shown by their numbers.
pub fn escape(text: &str) -> String {
    let mut escaped = String::with_capacity(text.len());
    for c in text.chars() {
        match c {
            '\u{fffe}' | '\u{ffff}' => escaped.push(char::REPLACEMENT_CHARACTER),
            c if is_control(c) => escaped.extend(c.escape_unicode()),
            '&' => escaped.push_str("&amp;"),
            '<' => escaped.push_str("&lt;"),
            '>' => escaped.push_str("&gt;"),
            '"' => escaped.push_str("&quot;"),
            '\t' | '\n' => escaped.push(' '),
            _ => escaped.push(c),
        }
    }
    escaped
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_are_short() {
        for (value, text) in [
            (0.0, "0"),
            (-0.001, "0"),
            (12.0, "12"),
            (100.0, "100"),
            (1.005_1, "1.01"),
            (-2.5, "-2.5"),
            (f64::NAN, "0"),
            (f64::INFINITY, "0"),
        ] {
            assert_eq!(number(value), text);
        }
    }

    #[test]
    fn texts_cannot_break_out() {
        // XML 1.0, section 2.2, has no control characters but tab, line feed and carriage return.
        assert_eq!(
            escape("a<b> & \"c\"\n\u{1}é\u{202e}\u{ffff}"),
            "a&lt;b&gt; &amp; &quot;c&quot; \\u{1}é\\u{202e}\u{fffd}"
        );
    }

    #[test]
    fn elements_nest_and_are_all_ended() {
        let mut svg = Svg::new(10.0, 4.5, "a & b", "two");
        svg.start("g").attr("stroke", "#000").open();
        let course = Course::outline(&[(0.0, 1.0), (2.0, 3.0)]);
        svg.start("path").attr("d", course.as_str()).titled("t");
        svg.close();
        svg.start("g").open();
        svg.start("rect").num("x", 1.25).empty();
        assert_eq!(
            svg.finish(),
            "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"10\" height=\"4.5\" viewBox=\"0 0 10 4.5\" \
             role=\"img\" aria-label=\"a &amp; b\">\n\
             <title>a &amp; b</title>\n<desc>two</desc>\n\
             <g stroke=\"#000\">\n<path d=\"M0 1L2 3Z\"><title>t</title>\n</path>\n</g>\n\
             <g>\n<rect x=\"1.25\"/>\n</g>\n</svg>\n"
        );
    }
}
