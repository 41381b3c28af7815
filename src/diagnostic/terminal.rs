//! Diagnostics for a person at a terminal: the message, the lines it speaks of, the reasons and the way out.
//!
//! The severity is always a word and the primary place is always marked `^`, the others `-`, so nothing is lost
//! without colour. The colours are told apart by people who do not see red or green.

use super::{Diagnostic, Label, Look, Severity};
use crate::text::escape::{escape, is_control};
use crate::text::{FileKey, Source, Sources};
use annotate_snippets::renderer::{AnsiColor, Effects, Style};
use annotate_snippets::{Annotation, AnnotationKind, Group, Level, Renderer, Snippet};
use std::ops::Range;

/// Places shown of one diagnostic; how many more there are is said in a note.
const MOST_PLACES: usize = 24;

/// Columns that are always used, however narrow the terminal says it is.
const LEAST_WIDTH: usize = 40;

/// The terminal look.
#[derive(Clone, Copy, Debug)]
pub struct Terminal {
    /// With ANSI colours.
    pub colour: bool,
    /// Columns of the terminal; longer source lines are cut around the places shown.
    pub width: usize,
}

impl Look for Terminal {
    /// Each diagnostic ends its last line; an empty line stands between two. Nothing gives an empty text.
    fn render(&self, sources: &Sources, diagnostics: &[Diagnostic]) -> String {
        let renderer = self.renderer();
        let texts: Vec<String> =
            diagnostics.iter().map(|diagnostic| renderer.render(&[group(sources, diagnostic)]) + "\n").collect();
        texts.join("\n")
    }
}

impl Terminal {
    fn renderer(&self) -> Renderer {
        let renderer = if self.colour {
            let bold = Style::new().effects(Effects::BOLD);
            Renderer::styled()
                .error(AnsiColor::Magenta.on_default().effects(Effects::BOLD))
                .warning(AnsiColor::Yellow.on_default())
                .note(AnsiColor::Cyan.on_default())
                .context(AnsiColor::Cyan.on_default())
                .help(bold)
                .emphasis(bold)
                .line_num(Style::new().effects(Effects::DIMMED))
        } else {
            Renderer::plain()
        };
        renderer.term_width(self.width.max(LEAST_WIDTH))
    }
}

/// How much was found, in words: `2 errors, 1 warning, 3 notes`, or `nothing found`.
pub fn summary(diagnostics: &[Diagnostic]) -> String {
    let counts: Vec<String> = [Severity::Error, Severity::Warning, Severity::Note]
        .into_iter()
        .filter_map(|severity| {
            let count = diagnostics.iter().filter(|diagnostic| diagnostic.severity == severity).count();
            let plural = if count == 1 { "" } else { "s" };
            (count > 0).then(|| format!("{count} {}{plural}", severity.word()))
        })
        .collect();
    if counts.is_empty() { "nothing found".to_string() } else { counts.join(", ") }
}

fn group<'a>(sources: &'a Sources, diagnostic: &'a Diagnostic) -> Group<'a> {
    let level = match diagnostic.severity {
        Severity::Error => Level::ERROR,
        Severity::Warning => Level::WARNING,
        Severity::Note => Level::NOTE,
    };
    let title = level.primary_title(escape(&diagnostic.message)).id(diagnostic.code);
    let mut group = Group::with_title(title);
    let shown = &diagnostic.labels[..diagnostic.labels.len().min(MOST_PLACES)];
    for (file, places) in by_file(shown) {
        group = group.element(snippet(sources.get(file), &places));
    }
    for note in &diagnostic.notes {
        group = group.element(Level::NOTE.message(escape(note)));
    }
    match diagnostic.labels.len() - shown.len() {
        0 => {}
        1 => group = group.element(Level::NOTE.message("1 more place is not shown")),
        more => {
            let text = format!("{more} more places are not shown");
            group = group.element(Level::NOTE.message(text));
        }
    }
    if let Some(help) = &diagnostic.help {
        group = group.element(Level::HELP.message(escape(help)));
    }
    group
}

/// A label, and whether it is the primary place or context.
type Place<'a> = (AnnotationKind, &'a Label);

/// The labels of each file, in the order in which the files are first named.
fn by_file(labels: &[Label]) -> Vec<(FileKey, Vec<Place<'_>>)> {
    let mut files: Vec<(FileKey, Vec<Place<'_>>)> = Vec::new();
    for (index, label) in labels.iter().enumerate() {
        let kind = if index == 0 { AnnotationKind::Primary } else { AnnotationKind::Context };
        match files.iter_mut().find(|(file, _)| *file == label.span.file) {
            Some((_, places)) => places.push((kind, label)),
            None => files.push((label.span.file, vec![(kind, label)])),
        }
    }
    files
}

/// The lines from the first to the last place of one file, with the places marked. Only these are handed on: the
/// renderer walks through all that it gets.
fn snippet<'a>(source: &Source, places: &[Place<'a>]) -> Snippet<'a, Annotation<'a>> {
    let text = source.text.as_str();
    let ranges: Vec<_> = places.iter().map(|(_, label)| visible(text, label.span.start, label.span.end)).collect();
    let first = ranges.iter().map(|range| range.start).min().unwrap_or(0);
    let last = ranges.iter().map(|range| range.end).max().unwrap_or(0);
    let from = text[..first].rfind('\n').map_or(0, |at| at + 1);
    let to = text[last..].find('\n').map_or(text.len(), |at| last + at);
    let lines = &text[from..to];
    let mut excerpt = lines.strip_suffix('\r').unwrap_or(lines).to_string();
    // The renderer does not count a last line without any character.
    if excerpt.is_empty() || excerpt.ends_with('\n') {
        excerpt.push(' ');
    }
    let (excerpt, grown) = harmless(excerpt);
    let annotations: Vec<_> = places
        .iter()
        .zip(ranges)
        .map(|(&(kind, label), range)| {
            let [start, end] = [range.start, range.end].map(|at| at - from + grown(at - from));
            let range = widened(&excerpt, start..end);
            let text = one_line(&label.text);
            kind.span(range).label((!text.is_empty()).then_some(text))
        })
        .collect();
    let first_byte = u32::try_from(first).unwrap_or(u32::MAX);
    Snippet::source(excerpt)
        .path(one_line(&source.path))
        .line_start(source.line_column(first_byte).0)
        .annotations(annotations)
}

/// The bytes from `start` to `end`, drawn in to the text and out to whole characters, without the line break at
/// their end.
fn visible(text: &str, start: u32, end: u32) -> Range<usize> {
    let mut start = text.len().min(start as usize);
    while !text.is_char_boundary(start) {
        start -= 1;
    }
    let mut end = text.len().min(end as usize).max(start);
    while !text.is_char_boundary(end) {
        end += 1;
    }
    start..start + text[start..end].trim_end_matches(['\r', '\n']).len()
}

/// The range within `excerpt`, an empty one widened to the character that follows on its line: the renderer makes
/// room for line numbers by what stands before the end of a range, and would miss a line that only begins there.
fn widened(excerpt: &str, range: Range<usize>) -> Range<usize> {
    let start = range.start.min(excerpt.len());
    let end = range.end.min(excerpt.len());
    let next = excerpt[start..].chars().next();
    match next.filter(|&next| start == end && next != '\n') {
        Some(next) => start..end + next.len_utf8(),
        None => start..end,
    }
}

/// The text with a sign in place of each control that the renderer would let through (it has signs for those of ASCII), and
/// by how many bytes that moves a place. A sign stands for one character, so that columns stay.
fn harmless(text: String) -> (String, impl Fn(usize) -> usize) {
    let strange = |c: char| is_control(c) && !c.is_ascii();
    let growth = |c: char| char::REPLACEMENT_CHARACTER.len_utf8() - c.len_utf8();
    let controls = text.char_indices().filter(|&(_, c)| strange(c));
    let grown: Vec<(usize, usize)> = controls.map(|(at, c)| (at, growth(c))).collect();
    let moved = move |to: usize| {
        let before = grown.iter().take_while(|(at, _)| *at < to);
        before.map(|(_, growth)| growth).sum()
    };
    (text.replace(strange, "\u{fffd}"), moved)
}

/// The text without line breaks and control characters.
fn one_line(text: &str) -> String {
    escape(&text.replace(['\r', '\n'], " ")).into_owned()
}

#[cfg(test)]
mod tests;
