//! Texts that are too large or too deep: they are answered in time, and without outgrowing the stack.

use super::check_any;
use coldboard::diagnostic::Diagnostic;
use std::time::{Duration, Instant};

/// Reads a large text, and checks that it does not take forever.
fn timed(name: &str, text: &str) -> Vec<Diagnostic> {
    let start = Instant::now();
    let problems = check_any(text);
    let taken = start.elapsed();
    assert!(taken < Duration::from_secs(20), "{name} took {taken:?}");
    problems
}

#[test]
fn deep_nesting_is_refused() {
    for (open, inner, close) in [
        ("part 1 { Y = ", "(", ")"),
        ("part 1 { Y = A", "[(", ")]"),
        ("part 1 { ", "each i in 0..1 { ", "}"),
        ("board b { ", "each i in 0..1 { ", "}"),
        ("assembly b { ", "each i in 0..1 { ", "}"),
        ("trial t on b { expect ", "(", ")"),
        ("part 1 { Y = ", "not (", ")"),
        ("board b { U1 x { ", "each i in 0..1 { ", "}"),
    ] {
        for depth in [65, 1000, 100_000] {
            let text = format!("{open}{}{}", inner.repeat(depth), close.repeat(depth));
            let problems = timed(open, &text);
            assert_eq!(problems.len(), 1, "{open} {depth}");
            assert_eq!(problems[0].code, "too-deep", "{open} {depth}");
        }
    }
}

#[test]
fn nesting_as_deep_as_allowed_is_read() {
    for (open, inner, middle, close, end) in [
        ("part 1 { Y = ", "(", "A", ")", "}"),
        ("part 1 { Y = ", "not (B when ", "A", " else C)", "}"),
        ("part 1 { Y = A[", "(", "1", ")", "]}"),
        ("part 1 {", "each i in 0..0 {", "Y = A", "}", "}"),
        ("board b {", "each i in 0..0 {", "rail V", "}", "}"),
        ("assembly b {", "each i in 0..0 {", "A: b", "}", "}"),
        ("part 1 { on rise C {", "each i in 0..0 {", "Y = A", "}", "} }"),
        ("trial t on b { expect ", "not (", "a = 1", ")", "}"),
    ] {
        let depth = 60;
        let text = format!("{open}{}{middle}{}{end}", inner.repeat(depth), close.repeat(depth));
        let problems = timed(open, &text);
        assert!(problems.is_empty(), "{open}: {problems:?}");
    }
}

#[test]
fn long_chains_are_refused_in_time() {
    let many = 100_000;
    for (name, open, inner, end) in [
        ("or", "part 1 { Y = A", " or A", " }"),
        ("xor", "part 1 { Y = A", " xor A", " }"),
        ("sum", "part 1 { Y = A", " + A", " }"),
        ("not", "part 1 { Y = ", "not ", "A }"),
        ("decode", "part 1 { Y = ", "decode ", "A }"),
        ("when", "part 1 { Y = A", " when A else A", " }"),
        ("index", "part 1 { Y = A[1", " + 1", "] }"),
        ("pins", "part 1 { package P { 1", ", 1..1000", " A in } }"),
        ("name", "part 1 { Y = A", "aaaaaaaaaa", " }"),
        ("brackets", "part 1 { state q", "[0..9]", " }"),
    ] {
        let text = format!("{open}{}{end}", inner.repeat(many));
        let problems = timed(name, &text);
        assert_eq!(problems.len(), 1, "{name}: {problems:?}");
        let message = &problems[0].message;
        assert!(message.contains("more than") || message.contains("characters"), "{name}: {message}");
    }
}

#[test]
fn long_nested_chains_do_not_outgrow_the_stack() {
    let mut formula = "A".to_owned();
    for _ in 0..60 {
        formula = format!("({formula}{}{}{})", " + A".repeat(900), " and A".repeat(900), " or A".repeat(900));
    }
    let problems = timed("nested", &format!("part 1 {{ Y = {formula} }}"));
    assert_eq!(problems.len(), 1);
}

#[test]
fn long_lines_and_lists_are_read_in_time() {
    let many = 20_000;
    for (name, open, inner, end) in [
        ("columns", "part 1 { family HC { columns typ 25 C", ", typ 25 C", " } }"),
        ("connections", "board b { U1 x { ", "A = b ", "} }"),
        ("components", "board b { ", "U1 x ", "}"),
        ("blocks", "board b { ", "U1 x { A = b } ", "}"),
        ("conditions", "trial t on b { expect a = 1", " or a = 1", " }"),
        ("values", "trial t on b { expect on rise s: v = 1", ", 1", " }"),
        ("cells", "part 1 { table { ", "L H ", "| Y } }"),
        ("rows", "part 1 { table { ", "L | H\n", "} }"),
        ("texts", "board b { ", "note \"a\" ", "}"),
        ("comments", "board b { ", "# a\n", "}"),
        ("states", "part 1 { state q", ", q", " }"),
    ] {
        let text = format!("{open}{}{end}", inner.repeat(many));
        let problems = timed(name, &text);
        assert!(problems.is_empty(), "{name}: {problems:?}");
    }
}

#[test]
fn long_lines_with_mistakes_are_answered_in_time() {
    let many = 20_000;
    for (name, open, inner, end) in [
        ("braces", "", "}", ""),
        ("opened", "", "board b {\n", ""),
        ("on one line", "board b { ", "U1 x { A b } ", "}"),
        ("in lines", "board b {\n", "U1 x { A b }\n", "}"),
        ("texts", "board b { ", "note \"a\" ", "note \"}"),
        ("quotes", "board b { ", "\" ", ""),
        ("unknown blocks", "part 1 {\n", "q { w { ", ""),
        ("end", "board b { ", "U1 x { A = b } ", ""),
        ("shifted", "part 1 {\n", "  on rise C {\n}\n", ""),
        ("formula", "part 1 { Y = A", " or A", " or }"),
    ] {
        let text = format!("{open}{}{end}", inner.repeat(many));
        let problems = timed(name, &text);
        assert!(!problems.is_empty(), "{name}");
    }
}
