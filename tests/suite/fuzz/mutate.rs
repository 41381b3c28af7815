//! What is done to a seed: bytes, numbers, tokens and lines are changed, doubled, exchanged, nested and chained.

use super::corpus::Seed;
use super::recipe::{Change, Recipe};
use std::ops::Range;

/// Inputs are cut to this size, but for chains and nests.
const LARGEST: usize = 1 << 16;

/// Numbers at which something may break.
const EXTREMES: &[&str] = &[
    "0",
    "-1",
    "1",
    "2",
    "3",
    "7",
    "16",
    "31",
    "32",
    "33",
    "63",
    "64",
    "65",
    "127",
    "128",
    "255",
    "256",
    "1000",
    "65535",
    "65536",
    "65537",
    "1048576",
    "2147483647",
    "2147483648",
    "4294967295",
    "4294967296",
    "1099511627776",
    "9223372036854775807",
    "9223372036854775808",
    "18446744073709551615",
    "18446744073709551616",
    "-9223372036854775808",
    "99999999999999999999999999999999999999",
    "0x0",
    "0xFFFFFFFF",
    "0x100000000",
    "0xFFFFFFFFFFFFFFFF",
    "0x10000000000000000",
    "0b11111111",
    "0.000000000001",
    "0.0000000000000001",
    "1.5",
    "999999999999.999999999999",
    "-0.5",
    "1e9",
    "0..1000000",
    "65535..0",
    "-273",
    "125.001",
];

/// Texts that are rare in what people write.
const ODD: &[&str] = &[
    "\u{FEFF}",
    "µ",
    "🦀",
    "\u{0}",
    "\r",
    "\r\n",
    "\t",
    "\u{200B}",
    "\u{202E}",
    "e\u{301}",
    "\u{85}",
    "\u{2028}",
    "\"",
    "#",
    "\\",
    "'",
    "`",
    ";",
    "@",
    "$",
    "~",
    "{",
    "}",
    "(",
    ")",
    "[",
    "]",
    "..",
    ".",
    ",",
    ":",
    "=",
    "!=",
    "->",
    "-",
    "/",
    "//",
    "|",
    "%",
    "*",
    "+",
    "<",
    ">",
    "\u{1B}[31m",
    "\u{7F}",
    "{}",
    "[]",
    "()",
    "\"\"",
    "0x",
    "0b",
    "\n\n\n",
    " ",
];

/// What is opened again and again, with what is within and what closes it.
const NESTS: &[(&str, &str, &str)] = &[
    ("(", "a", ")"),
    ("[", "0", "]"),
    ("{", "", "}"),
    ("each i in 0..1 { ", "", " }"),
    ("not ", "a", ""),
    ("-", "1", ""),
    ("decode ", "a", ""),
    ("a when b else ", "c", ""),
    ("low ", "1", ""),
    ("not (", "a is high", ")"),
    ("{\"a\":", "1", "}"),
    ("[", "1", "]"),
    ("when a { ", "", " }"),
    ("x[", "1", "]"),
    ("A.", "a", ""),
];

/// What is said again and again.
const CHAINS: &[&str] = &[
    "a and ",
    "1 + ",
    "a or ",
    "x = 1 xor ",
    "A.",
    ", 1",
    " 1",
    "x",
    "9",
    "/",
    "#",
    "\n",
    "q[0..65535] ",
    "1, ",
    "note \"x\"\n",
    "\"",
    "a = b ",
    "{",
    "}",
    "-",
    "each i in 0..9 { ",
    ":00000001FF\n",
    "S9030000FC\n",
    "a[i*",
    "when a: b\n",
    "use \"x\" ",
    "0",
    "H L |",
    "expect never a is high\n",
    "set a = 1\n",
    "U1..U9 74HC00 { 1A = a } ",
    "why ",
    "until a = 1 and\n",
];

/// The kinds of changes.
pub(crate) const KINDS: u8 = 20;

/// The input of a recipe.
pub(crate) fn bake(seeds: &[Seed], recipe: &Recipe) -> Vec<u8> {
    let pick = |value: u32| seeds[value as usize % seeds.len()].bytes.as_slice();
    let mut bytes = pick(recipe.seed).to_vec();
    for change in &recipe.changes {
        let other = pick(change.value);
        apply(&mut bytes, change, other);
        bytes.truncate(LARGEST);
    }
    bytes
}

fn scaled(at: u32, count: usize) -> usize {
    ((u64::from(at) * count as u64) >> 32) as usize
}

/// A place between two bytes.
fn place(bytes: &[u8], at: u32) -> usize {
    scaled(at, bytes.len() + 1)
}

fn insert(bytes: &mut Vec<u8>, at: usize, what: &[u8]) {
    bytes.splice(at..at, what.iter().copied());
}

fn apply(bytes: &mut Vec<u8>, change: &Change, other: &[u8]) {
    let Change { kind, at, value } = *change;
    let start = place(bytes, at);
    let stretch = start..(start + 1 + value as usize % 40).min(bytes.len());
    let odd = ODD[value as usize % ODD.len()];
    match kind {
        0 => {
            if let Some(byte) = bytes.get_mut(start) {
                *byte ^= 1 << (value % 8);
            }
        }
        1 => insert(bytes, start, &value.to_le_bytes()[..1 + value as usize % 3]),
        2 => drop(bytes.drain(stretch)),
        3 => {
            let again = bytes[stretch].to_vec();
            insert(bytes, start, &again);
        }
        4 => {
            // The head of one seed, the tail of another.
            bytes.truncate(start);
            bytes.extend_from_slice(&other[place(other, value.rotate_left(16))..]);
        }
        5..=7 => number(bytes, at, value),
        8 => exchange(bytes, &tokens(bytes), at, value),
        9 => exchange(bytes, &lines(bytes), at, value),
        10 | 11 => other_token(bytes, at, other, value),
        12 => {
            let own = bytes.clone();
            other_token(bytes, at, &own, value);
        }
        13 => {
            let lines = lines(bytes);
            if let Some(line) = lines.get(scaled(at, lines.len())) {
                bytes.drain(line.clone());
            }
        }
        14 => {
            let lines = lines(bytes);
            if let Some(line) = lines.get(scaled(at, lines.len())).cloned() {
                let again = bytes[line.clone()].repeat(1 + value as usize % 30);
                insert(bytes, line.start, &again);
            }
        }
        15 => nest(bytes, token_place(bytes, at), value),
        16 => {
            let (chain, times) = (CHAINS[value as usize % CHAINS.len()], times(value));
            let at = token_place(bytes, at);
            insert(bytes, at, chain.repeat(times).as_bytes());
        }
        17 => {
            // Bytes that are no UTF-8: a lone continuation, a cut sequence, a surrogate, an overlong slash, 0xFF.
            const BAD: [&[u8]; 5] = [b"\x80", b"\xE2\x82", b"\xED\xA0\x80", b"\xC0\xAF", b"\xFF"];
            insert(bytes, start, BAD[value as usize % BAD.len()]);
        }
        18 => bytes.truncate(start),
        _ => {
            let at = token_place(bytes, at);
            insert(bytes, at, odd.as_bytes());
        }
    }
}

/// How often: mostly some times, sometimes thousands.
fn times(value: u32) -> usize {
    let size = value >> 8;
    match size % 64 {
        0 => 1000 + size as usize % 8000,
        1..8 => 60 + size as usize % 8,
        _ => 1 + size as usize % 20,
    }
}

fn nest(bytes: &mut Vec<u8>, at: usize, value: u32) {
    let (open, within, close) = NESTS[value as usize % NESTS.len()];
    let times = times(value);
    let text = format!("{}{within}{}", open.repeat(times), close.repeat(times));
    insert(bytes, at, text.as_bytes());
}

fn number(bytes: &mut Vec<u8>, at: u32, value: u32) {
    let tokens = tokens(bytes);
    let numbers: Vec<&Range<usize>> = tokens.iter().filter(|token| bytes[token.start].is_ascii_digit()).collect();
    if let Some(&token) = numbers.get(scaled(at, numbers.len())) {
        let extreme = EXTREMES[value as usize % EXTREMES.len()];
        let token = token.clone();
        // Mostly the digits alone, so that a unit behind them stays.
        let digits = bytes[token.clone()].iter().take_while(|byte| byte.is_ascii_digit()).count();
        bytes.splice(token.start..token.start + digits, extreme.bytes());
    }
}

fn exchange(bytes: &mut Vec<u8>, pieces: &[Range<usize>], at: u32, value: u32) {
    let (a, b) = (scaled(at, pieces.len()), scaled(value, pieces.len()));
    let (Some(first), Some(last)) = (pieces.get(a.min(b)), pieces.get(a.max(b))) else {
        return;
    };
    if first.end <= last.start {
        let swapped = [&bytes[last.clone()], &bytes[first.end..last.start], &bytes[first.clone()]].concat();
        bytes.splice(first.start..last.end, swapped);
    }
}

/// Puts a token of another text in the place of one.
fn other_token(bytes: &mut Vec<u8>, at: u32, other: &[u8], value: u32) {
    let (own, others) = (tokens(bytes), tokens(other));
    let from = others.get(scaled(value.rotate_left(16), others.len()));
    if let (Some(token), Some(from)) = (own.get(scaled(at, own.len())), from) {
        bytes.splice(token.clone(), other[from.clone()].iter().copied());
    }
}

/// The start of a token, or the end of the text.
fn token_place(bytes: &[u8], at: u32) -> usize {
    let tokens = tokens(bytes);
    let token = tokens.get(scaled(at, tokens.len() + 1));
    token.map_or(bytes.len(), |token| token.start)
}

/// Words and single marks, without blanks.
fn tokens(bytes: &[u8]) -> Vec<Range<usize>> {
    let is_word = |byte: u8| byte.is_ascii_alphanumeric() || byte == b'_' || byte >= 0x80;
    let mut tokens: Vec<Range<usize>> = Vec::new();
    let mut in_word = false;
    for (at, &byte) in bytes.iter().enumerate() {
        match tokens.last_mut() {
            Some(last) if in_word && is_word(byte) => last.end = at + 1,
            _ if byte.is_ascii_whitespace() => {}
            _ => tokens.push(at..at + 1),
        }
        in_word = is_word(byte);
    }
    tokens
}

/// Lines with their ends.
fn lines(bytes: &[u8]) -> Vec<Range<usize>> {
    let mut start = 0;
    let lines = bytes.split_inclusive(|&byte| byte == b'\n');
    lines
        .map(|line| {
            let line = start..start + line.len();
            start = line.end;
            line
        })
        .collect()
}
