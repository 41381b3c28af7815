//! House rules: what DEVELOPERS.md says of the rooms is so.

mod source;

use petgraph::algo::kosaraju_scc;
use petgraph::graphmap::DiGraphMap;
use source::Source;
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
            } else if path.extension().is_some_and(|extension| extension == ending) {
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
        let room = cells.next()?.trim().trim_matches('`').trim_end_matches('/').to_owned();
        Some((room, level))
    });
    rows.collect()
}

/// The path of a source file below src/, with forward slashes.
fn below_src(path: &Path) -> String {
    let path = path.strip_prefix(root().join("src")).expect("below src/");
    let steps: Vec<_> = path.iter().map(|step| step.to_string_lossy()).collect();
    steps.join("/")
}

/// The room of a file below src/.
fn room_of(path: &str) -> &str {
    path.split_once('/').map_or("", |(room, _)| room)
}

/// The module of a file below src/.
fn module_of(path: &str) -> Vec<&str> {
    let steps = path.trim_end_matches(".rs").split('/');
    steps.filter(|step| !["mod", "lib", "main"].contains(step)).collect()
}

/// The files of src/ with their paths below it; those that only tests have are left out.
fn sources() -> BTreeMap<String, Source> {
    let mut sources = BTreeMap::new();
    for path in files(&root().join("src"), "rs") {
        let text = fs::read_to_string(&path).expect("a source file");
        let path = below_src(&path);
        if !["main.rs", "library_index.rs"].contains(&path.as_str()) {
            let source = Source::read(&module_of(&path), &text).unwrap_or_else(|error| panic!("{path}: {error}"));
            sources.insert(path, source);
        }
    }
    let tests: Vec<_> = (sources.values()).flat_map(|source: &Source| source.tests.clone()).collect();
    sources.retain(|path, _| {
        let module = module_of(path);
        let of_tests = |test: &Vec<String>| module.iter().zip(test).filter(|(a, b)| a == b).count() == test.len();
        !tests.iter().any(of_tests)
    });
    sources
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
    for (path, source) in &sources() {
        let Some((room, level)) = rooms.get_key_value(room_of(path)) else {
            continue;
        };
        for import in &source.imports {
            let other = import.names.first().map_or("", String::as_str);
            match rooms.get(other) {
                Some(other_level) if other != room && other_level >= level => wrong.push(format!(
                    "src/{path}:{}: {room} (level {level}) imports {other} (level {other_level})",
                    import.line
                )),
                _ => {}
            }
        }
    }
    assert!(wrong.is_empty(), "\n{}", wrong.join("\n"));
}

/// Files of src/ that are longer than they may be. The list only gets shorter.
const LONG_FILES: &[&str] = &[];

#[test]
fn a_file_has_500_lines_at_most() {
    let mut long = Vec::new();
    for path in files(&root().join("src"), "rs") {
        let text = fs::read_to_string(&path).expect("a source file");
        if text.lines().count() > 500 {
            long.push(below_src(&path));
        }
    }
    assert_eq!(long, LONG_FILES, "too long on the left, known on the right");
}

/// Functions that are longer than they may be. The list only gets shorter.
const LONG_FUNCTIONS: &[&str] = &[];

#[test]
fn a_function_has_100_lines_at_most() {
    let mut long = Vec::new();
    for (path, source) in &sources() {
        for function in &source.functions {
            if function.lines > 100 {
                long.push(format!("{path} {}", function.name));
            }
        }
    }
    assert_eq!(long, LONG_FUNCTIONS, "too long on the left, known on the right");
}

/// Rooms that have circles of imports, and how many files stand in them. The numbers only get smaller.
const CIRCLES: &[(&str, usize)] = &[];

#[test]
fn no_more_than_two_files_of_a_room_import_each_other() {
    let sources = sources();
    let modules: BTreeMap<String, &str> =
        (sources.keys()).map(|path| (module_of(path).join("::"), path.as_str())).collect();
    let mut graph = DiGraphMap::<&str, ()>::new();
    for (path, source) in &sources {
        for import in &source.imports {
            if let Some(other) = file_of(&import.names, &modules, &sources)
                && room_of(other) == room_of(path)
                && other != path
            {
                graph.add_edge(path, other, ());
            }
        }
    }
    let mut circles: BTreeMap<&str, Vec<Vec<&str>>> = BTreeMap::new();
    for mut circle in kosaraju_scc(&graph) {
        if circle.len() > 2 {
            circle.sort_unstable();
            circles.entry(room_of(circle[0])).or_default().push(circle);
        }
    }
    let found: Vec<(&str, usize)> =
        (circles.iter()).map(|(room, circles)| (*room, circles.iter().map(Vec::len).sum())).collect();
    assert_eq!(found, CIRCLES, "{circles:#?}");
}

/// The file that a path ends in: what only passes a name on is passed.
fn file_of<'a>(
    names: &[String],
    modules: &BTreeMap<String, &'a str>,
    sources: &BTreeMap<String, Source>,
) -> Option<&'a str> {
    let mut names = names.to_vec();
    // No chain of names that are passed on is longer than this.
    for _ in 0..10 {
        let (file, rest) = (0..=names.len()).rev().find_map(|end| {
            let file = modules.get(&names[..end].join("::"))?;
            Some((*file, &names[end..]))
        })?;
        let source = &sources[file];
        let Some(name) = rest.first().filter(|name| !source.defined.contains(*name)) else {
            return Some(file);
        };
        let within = source.globs.iter().find(|glob| {
            let file = modules.get(&glob.join("::"));
            file.is_some_and(|file| sources[*file].defined.contains(name))
        });
        names = match (source.aliases.get(name), within) {
            (Some(alias), _) => [alias, &rest[1..]].concat(),
            (None, Some(glob)) => [glob, rest].concat(),
            (None, None) => return Some(file),
        };
    }
    None
}

#[test]
fn every_source_file_says_what_it_tells() {
    for folder in ["src", "tests", "benches"] {
        for path in files(&root().join(folder), "rs") {
            let text = fs::read_to_string(&path).expect("a source file");
            assert!(text.starts_with("//!"), "{} does not begin with `//!`", path.display());
        }
    }
}

#[test]
fn every_test_file_is_part_of_the_suite() {
    let main = fs::read_to_string(root().join("tests/suite/main.rs")).expect("the suite");
    for entry in fs::read_dir(root().join("tests/suite")).expect("the suite").flatten() {
        let name = entry.path().file_stem().expect("a name").to_string_lossy().into_owned();
        assert!(name == "main" || main.contains(&format!("mod {name};")), "{name} is not in the suite");
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
        assert!(MAY.contains(&name.as_str()), "{name} does not belong at the top level");
    }
}
