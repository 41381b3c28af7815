//! Pictures of boards and cables: all of the machine is in them, and nothing lies on top of another.

use coldboard::circuit::Circuit;
use coldboard::cli::files::Disk;
use coldboard::export::blocks::blocks;
use coldboard::part::Library;
use coldboard::project::Project;
use std::collections::BTreeSet;
use std::path::Path;
use std::sync::Arc;

fn circuit(file: &str, name: &str) -> Arc<Circuit> {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("designs").join(file);
    let mut project = Project::open(&Disk, &path, Library::built_in());
    let (circuit, problems) = project.circuit(Some(name));
    assert_eq!(problems, []);
    circuit.expect("a circuit")
}

/// The elements of a picture: tag, attributes, text. Fails on tags that are not closed in order.
struct Element {
    tag: String,
    attributes: Vec<(String, String)>,
    text: String,
}

impl Element {
    fn number(&self, name: &str) -> f64 {
        let found = self.attributes.iter().find(|(other, _)| other == name);
        let (_, value) = found.unwrap_or_else(|| panic!("{} has no {name}", self.tag));
        value.parse().expect("a number")
    }
}

fn elements(svg: &str) -> Vec<Element> {
    let mut open: Vec<String> = Vec::new();
    let mut found = Vec::new();
    for piece in svg.split('<').skip(1) {
        let (tag, text) = piece.split_once('>').expect("a tag ends");
        if let Some(name) = tag.strip_prefix('/') {
            assert_eq!(open.pop().as_deref(), Some(name));
            continue;
        }
        let empty = tag.ends_with('/');
        let tag = tag.trim_end_matches('/');
        let (name, rest) = tag.split_once(' ').unwrap_or((tag, ""));
        let mut parts = rest.split('"');
        let mut attributes = Vec::new();
        while let (Some(key), Some(value)) = (parts.next(), parts.next()) {
            attributes.push((key.trim().trim_end_matches('=').to_owned(), value.to_owned()));
        }
        if !empty {
            open.push(name.to_owned());
        }
        found.push(Element { tag: name.to_owned(), attributes, text: text.trim().to_owned() });
    }
    assert!(open.is_empty(), "{open:?}");
    found
}

#[test]
fn every_board_connector_cable_and_supply_is_there() {
    for (file, name) in [("carillon/carillon.board", "carillon"), ("dunlin/dunlin.board", "dunlin")] {
        let circuit = circuit(file, name);
        let svg = blocks(&circuit);
        let elements = elements(&svg);
        let texts: Vec<&str> =
            elements.iter().filter(|element| element.tag == "text").map(|element| element.text.as_str()).collect();
        for board in circuit.boards.values() {
            assert!(texts.contains(&board.path.as_str()), "{name}: {}", board.path);
        }
        for connector in circuit.connectors.values() {
            assert!(texts.contains(&connector.name.as_str()), "{name}: {}", connector.path);
        }
        let mut ends = 0;
        for cable in circuit.cables.values() {
            let here = texts.iter().any(|text| text.starts_with(&format!("{} ", cable.name)));
            assert!(here, "{name}: {}", cable.name);
            let connectors: BTreeSet<String> = cable
                .wires
                .iter()
                .flatten()
                .map(|&(connector, _)| circuit.connectors[connector].path.clone())
                .collect();
            ends += connectors.len();
        }
        let dots = elements.iter().filter(|element| element.tag == "circle").count();
        assert_eq!(dots, ends, "{name}: a dot where a cable ends in a connector");
        assert!(texts.iter().any(|text| text.starts_with("PS1 5 V")), "{name}");
        assert_eq!(svg, blocks(&circuit), "the same picture each time");
    }
}

#[test]
fn nothing_lies_outside_or_on_another() {
    let circuit = circuit("dunlin/dunlin.board", "dunlin");
    let svg = blocks(&circuit);
    let elements = elements(&svg);
    let (width, height) = (elements[0].number("width"), elements[0].number("height"));
    let mut boards: Vec<(f64, f64)> = Vec::new();
    let mut lanes: Vec<(f64, f64, f64)> = Vec::new();
    for element in &elements {
        match element.tag.as_str() {
            "rect" => {
                let (x, y) = match element.attributes.iter().any(|(name, _)| name == "x") {
                    true => (element.number("x"), element.number("y")),
                    false => (0.0, 0.0),
                };
                let (right, bottom) = (x + element.number("width"), y + element.number("height"));
                assert!(x >= 0.0 && y >= 0.0 && right <= width && bottom <= height);
                if element.attributes.iter().any(|(name, _)| name == "rx") {
                    boards.push((y, bottom));
                }
            }
            "line" => {
                let (x1, x2) = (element.number("x1"), element.number("x2"));
                let (y1, y2) = (element.number("y1"), element.number("y2"));
                assert!(x1.max(x2) <= width && y1.max(y2) <= height);
                if x1 == x2 {
                    lanes.push((x1, y1, y2));
                }
            }
            _ => {}
        }
    }
    assert_eq!(boards.len(), circuit.boards.len());
    for pair in boards.windows(2) {
        assert!(pair[0].1 < pair[1].0, "{pair:?}");
    }
    assert_eq!(lanes.len(), circuit.cables.len());
    for (at, one) in lanes.iter().enumerate() {
        for other in &lanes[at + 1..] {
            let apart = one.0 != other.0 || one.2 < other.1 || other.2 < one.1;
            assert!(apart, "{one:?} {other:?}");
        }
    }
}

#[test]
fn a_board_alone_and_an_empty_machine_are_pictures_too() {
    let alone = circuit("carillon/carillon.board", "striker_board");
    assert!(blocks(&alone).contains("striker_board"));
    elements(&blocks(&alone));
    elements(&blocks(&Circuit::default()));
}

/// `coldboard picture designs/dunlin/dunlin.board --svg designs/dunlin/dunlin.svg` draws it anew.
#[test]
fn the_picture_beside_the_computer_is_of_that_computer() {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("designs/dunlin/dunlin.svg");
    let drawn = std::fs::read_to_string(path).expect("the picture");
    let circuit = circuit("dunlin/dunlin.board", "dunlin");
    assert!(drawn == blocks(&circuit), "the boards have changed since it was drawn");
}
