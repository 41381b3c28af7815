//! Texts from outside made harmless for a terminal: what would move the cursor, recolour the screen or turn the order of
//! the characters round is shown by its number, as in `\u{1b}`.

use std::borrow::Cow;
use std::fmt::Write;

/// True for characters that a terminal acts on instead of showing them, or that show one text as another: the C0 and C1
/// controls of ECMA-48 but tab and line feed, the direction controls of Unicode Standard Annex 9, line and paragraph
/// separators, and blanks without width.
pub fn is_control(c: char) -> bool {
    match c {
        '\t' | '\n' => false,
        '\0'..='\x1f' | '\x7f'..='\u{9f}' => true,
        '\u{61c}' | '\u{200b}' | '\u{200e}' | '\u{200f}' => true,
        '\u{2028}'..='\u{202e}' | '\u{2060}'..='\u{206f}' => true,
        '\u{fff9}'..='\u{fffb}' => true,
        _ => false,
    }
}

/// The text with each control shown as `\u{...}`.
pub fn escape(text: &str) -> Cow<'_, str> {
    replaced(text, |_| 0, |out, c| push(out, format_args!("{}", c.escape_unicode())))
}

/// As [`escape`], but colours (SGR sequences of ECMA-48) stay. Only for texts whose parts from outside were escaped
/// before the colours came in.
pub fn escape_all_but_colours(text: &str) -> Cow<'_, str> {
    let shown = |out: &mut String, c: char| push(out, format_args!("{}", c.escape_unicode()));
    replaced(text, colour, shown)
}

/// JSON with each control as `\uXXXX`, which means the same to every reader.
pub fn escape_json(json: &str) -> Cow<'_, str> {
    // In JSON they stand in strings only, and none needs a surrogate pair.
    replaced(json, |_| 0, |out, c| push(out, format_args!("\\u{:04x}", c as u32)))
}

fn push(out: &mut String, text: std::fmt::Arguments<'_>) {
    // Writing to a string cannot fail.
    let _ = out.write_fmt(text);
}

/// The length of the SGR sequence that a text begins with: escape, `[`, digits and semicolons, `m`. 0 when there is none.
fn colour(text: &str) -> usize {
    let Some(rest) = text.strip_prefix("\x1b[") else {
        return 0;
    };
    let figures = rest.bytes().take_while(|byte| matches!(byte, b'0'..=b'9' | b';'));
    let figures = figures.count();
    match rest.as_bytes().get(figures) {
        Some(b'm') => 2 + figures + 1,
        _ => 0,
    }
}

/// Replaces the controls, but what `kept` gives the length of.
fn replaced(text: &str, kept: impl Fn(&str) -> usize, mut shown: impl FnMut(&mut String, char)) -> Cow<'_, str> {
    let Some(first) = text.find(is_control) else {
        return Cow::Borrowed(text);
    };
    let mut out = String::with_capacity(text.len() + 16);
    let mut rest = text;
    let mut next = Some(first);
    while let Some(at) = next {
        out.push_str(&rest[..at]);
        rest = &rest[at..];
        let length = kept(rest);
        let c = rest.chars().next().unwrap_or_default();
        if length > 0 {
            out.push_str(&rest[..length]);
            rest = &rest[length..];
        } else {
            shown(&mut out, c);
            rest = &rest[c.len_utf8()..];
        }
        next = rest.find(is_control);
    }
    out.push_str(rest);
    Cow::Owned(out)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn controls_are_shown_by_their_numbers() {
        let text = "a\x1b[2J\u{9b}1m\u{202e}b\t\r\nµ線\u{2028}";
        assert_eq!(escape(text), "a\\u{1b}[2J\\u{9b}1m\\u{202e}b\t\\u{d}\nµ線\\u{2028}");
        // A joiner is part of how some scripts and emoji are written, and moves nothing.
        assert!(matches!(escape("a\u{200d}b µ"), Cow::Borrowed(_)));
    }

    #[test]
    fn colours_stay_where_they_are_ours() {
        let text = "\x1b[1;35merror\x1b[0m \x1b[2J\x1b]0;t\x07\x1b[m\x1b";
        assert_eq!(escape_all_but_colours(text), "\x1b[1;35merror\x1b[0m \\u{1b}[2J\\u{1b}]0;t\\u{7}\x1b[m\\u{1b}");
    }

    proptest! {
        /// RFC 8259, section 7: any character may be written as `\uXXXX`.
        #[test]
        fn json_says_the_same(texts in prop::collection::vec(r"([ -~]|[\x00-\x1f]|[\x7f-\u{9f}]|[\u{2000}-\u{206f}]|\PC){0,40}", 0..5)) {
            let json = serde_json::to_string_pretty(&texts).expect("texts have a JSON form");
            let escaped = escape_json(&json);
            prop_assert!(!escaped.contains(is_control));
            prop_assert_eq!(serde_json::from_str::<Vec<String>>(&escaped).expect("JSON"), texts);
        }

        #[test]
        fn no_control_is_left(text in r"([ -~]|[\x00-\x1f]|[\x7f-\u{9f}]|[\u{2000}-\u{206f}]|\PC){0,80}") {
            prop_assert!(!escape(&text).contains(is_control));
            let escaped = escape(&text).into_owned();
            prop_assert_eq!(escape(&escaped), escaped.as_str());
        }
    }
}
