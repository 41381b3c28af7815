//! The words of errors are those of the grammar, read from the grammar itself.

use super::blocks::Block;
use crate::language::{REFERENCE, keywords};
use std::collections::{BTreeMap, BTreeSet};

const GRAMMAR: &str = include_str!("../../grammar.pest");

/// The rules of the grammar, each as its words and marks.
fn rules() -> BTreeMap<String, Vec<String>> {
    let code: Vec<&str> = GRAMMAR.lines().map(|line| line.split("//").next().unwrap_or(line)).collect();
    let mut rules = BTreeMap::new();
    let mut name = String::new();
    let mut body: Vec<String> = Vec::new();
    for line in code {
        let head = line.split_once('=').filter(|(head, _)| {
            let head = head.trim_end();
            !head.is_empty() && head.chars().all(|c| c.is_ascii_alphanumeric() || c == '_')
        });
        let rest = match head {
            Some((head, rest)) => {
                rules.insert(std::mem::replace(&mut name, head.trim().to_owned()), std::mem::take(&mut body));
                rest
            }
            None => line,
        };
        let mut word = String::new();
        for c in rest.chars() {
            if c.is_ascii_alphanumeric() || c == '_' || c == '-' || c == '"' {
                word.push(c);
                continue;
            }
            body.extend((!word.is_empty()).then(|| std::mem::take(&mut word)));
            if !c.is_whitespace() {
                body.push(c.to_string());
            }
        }
        body.extend((!word.is_empty()).then_some(word));
    }
    rules.insert(name, body);
    rules
}

/// The keywords that a rule can begin with.
fn firsts(rules: &BTreeMap<String, Vec<String>>, body: &[String], found: &mut BTreeSet<String>) {
    // Whether something was taken already when each open group began.
    let mut groups = Vec::new();
    let mut fresh = true;
    let mut looks_ahead = false;
    for token in body {
        match token.as_str() {
            "(" | "{" => groups.push(fresh),
            ")" | "}" => {
                groups.pop();
                fresh = false;
            }
            "|" => fresh = groups.last().copied().unwrap_or(true),
            "!" => looks_ahead = true,
            "_" | "@" | "$" | "~" | "?" | "*" | "+" => {}
            _ if looks_ahead => looks_ahead = false,
            name if fresh => {
                fresh = false;
                if let Some(word) = name.strip_prefix("kw_") {
                    found.insert(word.replace('_', "-"));
                } else if let Some(inner) = rules.get(name) {
                    firsts(rules, inner, found);
                }
            }
            _ => {}
        }
    }
}

#[test]
fn statements_begin_with_the_words_of_the_grammar() {
    let rules = rules();
    // Old spellings are read, but no longer offered.
    let old = ["hold"];
    for (block, rule) in [
        (Block::File, "item"),
        (Block::Part, "part_statement"),
        (Block::Sheet, "sheet_line"),
        (Block::Family, "family_line"),
        (Block::Board, "board_statement"),
        (Block::Assembly, "assembly_statement"),
        (Block::Trial, "trial_statement"),
        (Block::Instructions, "instructions_line"),
        (Block::Program, "program_line"),
        (Block::Contents, "contents_line"),
    ] {
        let mut found = BTreeSet::new();
        firsts(&rules, &rules[rule], &mut found);
        let offered: BTreeSet<String> = block.starters().split_whitespace().map(str::to_owned).collect();
        let is_old = |word: &String| block == Block::Trial && old.contains(&word.as_str());
        let read: BTreeSet<String> = found.into_iter().filter(|word| !is_old(word)).collect();
        assert_eq!(read, offered, "{rule}");
    }
}

#[test]
fn every_word_that_is_offered_is_a_keyword() {
    let keywords = keywords();
    for block in Block::ALL {
        for word in block.starters().split_whitespace() {
            assert!(keywords.iter().any(|keyword| keyword == word), "{block:?}: {word}");
        }
    }
    assert!(keywords.iter().any(|word| word == "power-up") && keywords.len() > 150);
}

/// The reference says every keyword, in an example or in a sentence.
#[test]
fn the_reference_has_every_keyword() {
    let is_part = |c: char| c.is_ascii_alphanumeric() || c == '_' || c == '-';
    let said: BTreeSet<&str> = REFERENCE.split(|c: char| !is_part(c)).collect();
    let missing: Vec<String> = keywords().into_iter().filter(|word| !said.contains(word.as_str())).collect();
    assert!(missing.is_empty(), "{missing:?}");
}
