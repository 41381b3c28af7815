//! Lines, words and marks of a text around a byte.

/// Braces, brackets and newlines of a text from byte `from`, outside strings and comments.
pub(in crate::language::parse) fn marks(text: &str, from: usize) -> impl Iterator<Item = (usize, u8)> + '_ {
    let bytes = text.as_bytes();
    let mut at = from;
    std::iter::from_fn(move || {
        while at < bytes.len() {
            let here = at;
            at += 1;
            match bytes[here] {
                b'#' => at = line_end(text, here),
                b'"' => at = end_of_string(text, here).unwrap_or(at),
                mark @ (b'{' | b'}' | b'(' | b')' | b'[' | b']' | b'\n') => {
                    return Some((here, mark));
                }
                _ => {}
            }
        }
        None
    })
}

/// The byte behind a string that starts at a byte; none when it is not closed on its line.
pub(super) fn end_of_string(text: &str, from: usize) -> Option<usize> {
    let end = from + 1 + text[from + 1..].find(['"', '\n'])?;
    text[end..].starts_with('"').then_some(end + 1)
}

pub(super) fn line_start(text: &str, at: usize) -> usize {
    text[..at].rfind('\n').map_or(0, |newline| newline + 1)
}

/// The newline that ends the line of a byte, or the end of the text.
pub(super) fn line_end(text: &str, at: usize) -> usize {
    text[at..].find('\n').map_or(text.len(), |newline| at + newline)
}

/// Blanks at the start of a line.
pub(super) fn blanks(line: &str) -> usize {
    line.len() - line.trim_start_matches([' ', '\t']).len()
}

/// The start of a text that may be long.
pub(super) fn shortened(text: &str) -> String {
    match text.char_indices().nth(40) {
        Some((end, _)) => format!("{}...", &text[..end]),
        None => text.to_owned(),
    }
}

pub(super) fn is_word(c: char) -> bool {
    c.is_ascii_alphanumeric() || c == '_' || c == '-'
}

pub(super) fn word_at(text: &str, at: usize) -> &str {
    let rest = &text[at..];
    &rest[..rest.find(|c| !is_word(c)).unwrap_or(rest.len())]
}

/// The word, the text in quotation marks or the mark at a byte, as one that people see.
pub(super) fn token_at(text: &str, at: usize) -> std::ops::Range<usize> {
    let rest = &text[at..];
    if rest.starts_with('"') {
        return at..end_of_string(text, at).unwrap_or(at + 1);
    }
    let word = rest.find(|c: char| !(is_word(c) || c.is_alphabetic())).unwrap_or(rest.len());
    if word > 0 && !rest.starts_with('-') {
        return at..at + word;
    }
    // A mark whose first half was read already.
    let halves = (rest.starts_with(['=', '>']) && text[..at].ends_with(['<', '>', '=', ':', '!']))
        || (rest.starts_with(['/', '*']) && text[..at].ends_with('/'));
    if halves {
        return at - 1..at + 1;
    }
    const MARKS: [&str; 13] = ["==", "!=", "<=", ">=", ":=", "=>", "->", "&&", "||", "//", "/*", "--", ".."];
    let length = MARKS
        .iter()
        .find(|mark| rest.starts_with(**mark))
        .map(|mark| mark.len())
        .or(rest.chars().next().map(char::len_utf8))
        .unwrap_or(0);
    at..at + length
}

/// The token before a byte, blanks and comments aside.
pub(super) fn token_before(text: &str, at: usize) -> Option<std::ops::Range<usize>> {
    let mut end = at;
    loop {
        let line = line_start(text, end);
        let code = without_comment(&text[line..end]).trim_end();
        if !code.is_empty() {
            let end = line + code.len();
            let start = if let Some(quoted) = code.strip_suffix('"') {
                quoted.rfind('"')
            } else {
                let word = code.trim_end_matches(|c| is_word(c) || c == '.');
                let last = code.chars().next_back().map_or(0, char::len_utf8);
                Some(word.len().min(code.len() - last))
            };
            return Some(line + start.unwrap_or(0)..end);
        }
        end = line.checked_sub(1)?;
    }
}

/// A line up to its comment.
fn without_comment(line: &str) -> &str {
    let mut quoted = false;
    let comment = line.find(|c| {
        quoted ^= c == '"';
        c == '#' && !quoted
    });
    &line[..comment.unwrap_or(line.len())]
}
