//! House rules: what DEVELOPERS.md says of the rooms is so.

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};

fn root() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR"))
}

/// All files below a folder with an ending, in order.
fn files(folder: &Path, ending: &str) -> Vec<PathBuf> {
    let mut found = Vec::new();
    let mut folders = vec![folder.to_owned()];
    while let Some(folder) = folders.pop() {
        for entry in fs::read_dir(&folder).expect("a folder").flatten() {
            let path = entry.path();
            if path.is_dir() {
                folders.push(path);
            } else if path
                .extension()
                .is_some_and(|extension| extension == ending)
            {
                found.push(path);
            }
        }
    }
    found.sort();
    found
}

/// The rooms and their levels, from the table in DEVELOPERS.md.
fn rooms() -> BTreeMap<String, u32> {
    let text = fs::read_to_string(root().join("DEVELOPERS.md")).expect("DEVELOPERS.md");
    let rows = text.lines().filter_map(|line| {
        let mut cells = line.strip_prefix("| ")?.split(" | ");
        let level = cells.next()?.trim().parse().ok()?;
        let room = cells
            .next()?
            .trim()
            .trim_matches('`')
            .trim_end_matches('/')
            .to_owned();
        Some((room, level))
    });
    rows.collect()
}

#[test]
fn the_rooms_are_those_of_the_table() {
    let mut there: Vec<String> = fs::read_dir(root().join("src"))
        .expect("src")
        .flatten()
        .filter(|entry| entry.path().is_dir())
        .map(|entry| entry.file_name().to_string_lossy().into_owned())
        .collect();
    there.sort();
    let told: Vec<String> = rooms().into_keys().collect();
    assert_eq!(there, told, "src/ on the left, DEVELOPERS.md on the right");
}

#[test]
fn imports_go_one_way() {
    let rooms = rooms();
    let mut wrong = Vec::new();
    for (room, level) in &rooms {
        for path in files(&root().join("src").join(room), "rs") {
            let text = fs::read_to_string(&path).expect("a source file");
            for (number, line) in text.lines().enumerate() {
                // Tests may look anywhere.
                if line.contains("#[cfg(test)]") {
                    break;
                }
                let line = line.split("//").next().unwrap_or("");
                for after in line.split("crate::").skip(1) {
                    let other: String = after
                        .chars()
                        .take_while(|c| c.is_alphanumeric() || *c == '_')
                        .collect();
                    if other == *room {
                        continue;
                    }
                    if let Some(other_level) = rooms.get(&other)
                        && other_level >= level
                    {
                        wrong.push(format!(
                            "{}:{}: {room} (level {level}) imports {other} (level {other_level})",
                            path.strip_prefix(root()).expect("below the root").display(),
                            number + 1
                        ));
                    }
                }
            }
        }
    }
    assert!(wrong.is_empty(), "\n{}", wrong.join("\n"));
}

#[test]
fn every_source_file_says_what_it_tells() {
    for folder in ["src", "tests", "benches"] {
        for path in files(&root().join(folder), "rs") {
            let text = fs::read_to_string(&path).expect("a source file");
            assert!(
                text.starts_with("//!"),
                "{} does not begin with `//!`",
                path.display()
            );
        }
    }
}

#[test]
fn every_test_file_is_part_of_the_suite() {
    let main = fs::read_to_string(root().join("tests/suite/main.rs")).expect("the suite");
    for entry in fs::read_dir(root().join("tests/suite"))
        .expect("the suite")
        .flatten()
    {
        let name = entry
            .path()
            .file_stem()
            .expect("a name")
            .to_string_lossy()
            .into_owned();
        assert!(
            name == "main" || main.contains(&format!("mod {name};")),
            "{name} is not in the suite"
        );
    }
}

#[test]
fn the_top_level_holds_what_it_may() {
    const MAY: &[&str] = &[
        "Cargo.toml",
        "Cargo.lock",
        "README.md",
        "DEVELOPERS.md",
        "CHANGELOG.md",
        "LICENSE",
        "src",
        "library",
        "designs",
        "tests",
        "benches",
        ".ci",
        ".gitignore",
        ".git",
        "target",
    ];
    for entry in fs::read_dir(root()).expect("the root").flatten() {
        let name = entry.file_name().to_string_lossy().into_owned();
        assert!(
            MAY.contains(&name.as_str()),
            "{name} does not belong at the top level"
        );
    }
}
