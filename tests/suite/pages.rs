//! Pages of parts, lists of the library and the review of a part file, as a person or a script meets them.

use assert_cmd::Command;
use serde_json::Value;
use std::fs;
use std::path::{Path, PathBuf};

struct Answer {
    code: i32,
    out: String,
    err: String,
}

fn ask(arguments: &[&str]) -> Answer {
    let output = Command::cargo_bin("coldboard").expect("the program").args(arguments).output().expect("it ran");
    Answer {
        code: output.status.code().expect("an exit code"),
        out: String::from_utf8(output.stdout).expect("text"),
        err: String::from_utf8(output.stderr).expect("text"),
    }
}

fn good(arguments: &[&str]) -> String {
    let answer = ask(arguments);
    assert_eq!(answer.code, 0, "{arguments:?}: {}{}", answer.out, answer.err);
    assert_eq!(answer.err, "", "{arguments:?}");
    answer.out
}

fn json(arguments: &[&str]) -> Value {
    serde_json::from_str(&good(arguments)).expect("JSON")
}

fn root() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR"))
}

/// A part with one good and one bad sheet, made up for these tests.
const OWN: &str = r#"part OWN "a latch of our own" {
    package DIP8 { 1 /LE in  2 D in  3 Q out  4 GND ground  5..7 NC none  8 VCC power }
    state q
    while LE { q = D }
    Q = q
    note "a note for the builder"

    table {
        /LE  D  |  Q
        L    H  |  H
        L    L  |  L
        H    *  |  hold
    }

    family HC {
        source "Maker A, 2001"
        columns typ 25 C, limit 25 C, limit -40..85 C
        at 2 V 50 pF {
            delay /LE, D -> Q  80 90 100 ns
        }
        at 4.5 V 50 pF {
            delay D -> Q             10 12.5 15 ns
            delay /LE -> Q rise       -   20 25 ns  from "Maker B, 2002"
            delay /LE -> Q fall       -   22 27 ns
            setup D before /LE rise   -    5  6 ns
        }
        at 4.5 V 150 pF {
            delay D -> Q     18 20 24 ns
            width /LE low     -  7  8 ns
        }
    }

    grade 5 {
        source "from memory"
        columns limit 0..70 C
        at 5 V { delay /LE, D -> Q 9 ns }
    }
}
"#;

/// A folder with the part in it.
fn own() -> tempfile::TempDir {
    with_file("own.part", OWN)
}

fn with_file(name: &str, text: &str) -> tempfile::TempDir {
    let folder = tempfile::tempdir().expect("a folder");
    fs::write(folder.path().join(name), text).expect("written");
    folder
}

fn shown(path: &Path) -> String {
    path.display().to_string()
}

#[test]
fn a_page_says_all_that_the_file_says() {
    let folder = own();
    let page = good(&["part", "OWN", "--library", &shown(folder.path())]);
    let file = shown(&folder.path().join("own.part"));
    let expected = r"
DIP8, seen from above
               +---\_/---+
      in  /LE -| 1     8 |- VCC  power
      in    D -| 2     7 |- NC   none
     out    Q -| 3     6 |- NC   none
  ground  GND -| 4     5 |- NC   none
               +---------+

function (as published; * does not matter)
  /LE  D  |  Q
  L    H  |  H
  L    L  |  L
  H    *  |  hold

what to know
  - a note for the builder

timing: typical / limit at 25 C / limit over the temperatures in the heading
                           HC             5
                           4.5 V 50 pF    5 V
                           -40..85 C      0..70 C
  delay D -> Q             10/12.5/15 ns
  delay /LE -> Q rise      -/20/25 ns
  delay /LE -> Q fall      -/22/27 ns
  delay /LE, D -> Q        80/90/100 ns (a)  -/-/9 ns
  setup D before /LE rise  -/5/6 ns
  width /LE low            -/7/8 ns (b)
  (a) at 2 V 50 pF
  (b) at 4.5 V 150 pF
";
    assert!(page.starts_with(&format!("OWN  a latch of our own\n{file}\n")), "{page}");
    // The widest cell sets its column.
    let squeezed = |text: &str| -> Vec<String> {
        let words = |line: &str| line.split_whitespace().collect::<Vec<_>>().join(" ");
        text.lines().map(words).collect()
    };
    let lines = squeezed(&page);
    assert_eq!(&lines[2..2 + expected.lines().count()], squeezed(expected), "{page}");
    assert!(page.contains("               +---\\_/---+\n      in  /LE -| 1     8 |- VCC  power\n"));
    assert!(page.contains("\n  L    H  |  H\n"));
    let estimated = "
what is estimated at 5 V, because no sheet gives it
  no shortest delay published: a quarter of the typical one (J. F. Wakerly, Digital Design: Principles and Practices, on estimating minimum delays; from memory)
    fastest  HC
  no shortest or typical delay published: an eighth of the limit, typical taken as half of it (after J. F. Wakerly, Digital Design: Principles and Practices; from memory)
    fastest  HC, 5
  no typical figure published: the limit
    typical  HC, 5
";
    // 4.5 V is just a tenth below 5 V, which is further than a tenth of 4.5 V.
    // Long lines are broken at the width of the page.
    let words = |text: &str| text.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(words(&page).contains(&words(estimated)), "{page}");
    let sources = "
sources
  HC             Maker A, 2001
                 delay /LE -> Q rise: Maker B, 2002
  5              from memory
  HC electrical  TI SCLS131D (HC245), August 2003
";
    assert!(page.contains(sources), "{page}");
}

#[test]
fn a_whole_number_shows_one_sheet() {
    // Figures at 4.5 V and 50 pF: TI SCLS148F, August 2003.
    let page = good(&["part", "74HC574"]);
    assert!(page.contains("\n  delay CLK -> Q[1..8]           28/36/45 ns\n"), "{page}");
    assert!(page.contains("\n  rate CLK                       36/30/24 MHz\n"), "{page}");
    assert!(!page.contains("ALS"), "{page}");
    let all = good(&["part", "574"]);
    assert!(all.contains("ALS"), "{all}");

    let names = |number: &str| -> Vec<String> {
        let page = json(&["part", number, "--json"]);
        let sheets = page["sheets"].as_array().expect("sheets");
        let name = |sheet: &Value| sheet["name"].as_str().expect("a name").to_owned();
        sheets.iter().map(name).collect()
    };
    assert_eq!(names("62256-70"), ["70"]);
    assert!(names("62256").len() > 1);
    assert_eq!(names("74HC574"), ["HC"]);
}

#[test]
fn a_page_comes_as_data() {
    let page = json(&["part", "74HC574", "--json"]);
    assert_eq!(page["number"], "574");
    assert_eq!(page["file"], "library/registers/574.part");
    assert_eq!(page["package"], "DIP20");
    assert_eq!(page["pins"][0]["name"], "/OE");
    assert_eq!(page["pins"][19]["kind"], "power");
    assert_eq!(page["tables"][0][1]["inputs"][2], "0x5A");
    let row = &page["sheets"][0]["rows"][0];
    assert_eq!(row["label"], "delay CLK -> Q[1..8]");
    // TI SCLS148F, August 2003.
    assert_eq!(row["figures"]["typical"], "28 ns");
    assert_eq!(row["figures"]["limit_over_temperature"], "45 ns");
    assert_eq!(row["at"]["voltage"], "4.5 V");
    let estimated = &page["sheets"][0]["estimated"][0];
    assert_eq!(estimated["corner"], "fastest");
    assert_eq!(estimated["rules"].as_array().map(Vec::len), Some(1));
    assert_eq!(page["electrical"][0]["levels"][0]["name"], "input-high");
}

/// The chips of the carillon: as designs/carillon/count.board has them.
#[test]
fn a_page_names_the_example_designs() {
    let page = json(&["part", "161", "--json"]);
    let count = &page["used_in"][0];
    assert_eq!(count["file"], "designs/carillon/count.board");
    assert_eq!(count["board"], "count_board");
    assert_eq!(count["number"], "74HC161");
    assert_eq!(count["chips"], serde_json::json!(["U1", "U2"]));
    let text = good(&["part", "74HC161"]);
    let expected = "\nused in the example designs\n  designs/carillon/count.board\n    count_board: 74HC161 U1, U2\n";
    assert!(text.contains(expected), "{text}");
    assert!(!good(&["part", "74LS161"]).contains("used in the example designs"));
}

/// The page of one sheet has each of its voltages and loads: TI SCLS148F, August 2003, at 6 V.
#[test]
fn a_page_of_one_sheet_shows_every_figure() {
    let squeezed = |text: &str| text.split_whitespace().collect::<Vec<_>>().join(" ");
    let page = squeezed(&good(&["part", "74HC574"]));
    for line in [
        "every figure of the sheet HC typ 25 C limit 25 C limit -40..85 C limit -55..125 C 2 V 50 pF:",
        "6 V 50 pF: delay CLK -> Q[1..8] 24 ns 31 ns 38 ns 46 ns",
        "6 V 150 pF: delay CLK -> Q[1..8] 31 ns 46 ns 57 ns 68 ns",
        "6 V 50 pF: setup D[1..8] before CLK rise - 17 ns 21 ns 26 ns",
    ] {
        assert!(page.contains(line), "{line}\n{page}");
    }
    assert!(!good(&["part", "574"]).contains("every figure of the sheet"));
}

/// The guaranteed figures at 4.5 V and 50 pF head the column; the typical ones, which the sheet gives at 5 V and 15 pF
/// only, stand below them: TI SCHS183E, October 2022, 15 ns and 33, 41 ns from the clock.
#[test]
fn typical_figures_that_stand_apart_are_shown_beside_the_limits() {
    let page = json(&["part", "74HCT574", "--json"]);
    let rows = page["sheets"][0]["rows"].as_array().expect("rows");
    let clock: Vec<(String, &Value)> = rows
        .iter()
        .filter(|row| row["label"] == "delay CLK -> Q[1..8]")
        .map(|row| {
            let at = &row["at"];
            (format!("{} {}", at["voltage"], at["load"]), &row["figures"])
        })
        .collect();
    assert_eq!(clock.len(), 2, "{page}");
    assert_eq!(clock[0].0, "\"4.5 V\" \"50 pF\"");
    assert_eq!(clock[0].1["limit_at_25_c"], "33 ns");
    assert_eq!(clock[0].1["limit_over_temperature"], "41 ns");
    assert_eq!(clock[1].0, "\"5 V\" \"15 pF\"");
    assert_eq!(clock[1].1["typical"], "15 ns");
    let text = good(&["part", "74HCT574"]);
    let expected = "\n  delay CLK -> Q[1..8]           -/33/41 ns\n                                 15/-/- ns (a)\n";
    assert!(text.contains(expected), "{text}");
}

/// A page fits the terminal that it is printed on.
#[test]
fn a_page_is_as_wide_as_its_reader_wants() {
    use coldboard::export::part_page::{Page, text};
    let library = coldboard::part::Library::built_in();
    for name in ["00", "574", "181", "245", "85", "62256"] {
        let part = library.part(name).expect(name);
        let page = Page::new(&library, part, None);
        for width in [80, 120] {
            for line in text(&page, width).lines() {
                assert!(line.chars().count() <= width, "{width}: {line}");
            }
        }
    }
}

#[test]
fn a_number_that_is_not_there_names_the_nearest() {
    for (number, help) in [
        ("74hc574", "did you mean `74HC574`?"),
        ("74HC754", "did you mean"),
        ("62256-71", "it has 35, 55, 70, 85"),
        ("74XX574", "the library has no XX sheet for the 574; it has HC"),
    ] {
        let answer = ask(&["part", number]);
        assert_eq!((answer.code, answer.out.as_str()), (2, ""), "{number}");
        assert!(answer.err.contains(help), "{number}: {}", answer.err);
    }
    assert_eq!(ask(&["part"]).code, 2);
    assert_eq!(ask(&["part", "574", "--library", "no/such/folder"]).code, 2);
}

/// Every part has a page and a picture that hold the names of all of its pins.
#[test]
fn every_part_of_the_library_has_a_page_and_a_picture() {
    use coldboard::export::package::characters;
    use coldboard::export::package_svg::picture;
    use coldboard::export::part_page::{Page, text};
    let library = coldboard::part::Library::built_in();
    for name in library.names() {
        let part = library.part(name).expect(name);
        let over_all = Page::new(&library, part.clone(), None);
        let page = text(&over_all, 110);
        assert!(page.contains(&characters(&part)), "{page}");
        assert!(!page.contains(" \n"), "{name}: no line ends in a space");
        let rows: usize = part.pins.len() / 2;
        assert_eq!(characters(&part).lines().count(), rows + 2, "{name}");
        let svg = picture(&part);
        let written = svg.matches("<text ").count();
        let pins = svg.matches(">NC</text>").count();
        assert!(written >= 2 * part.pins.len() && pins <= part.pins.len(), "{name}");
        for sheet in &part.sheets {
            let shown = over_all.sheets.iter().find(|page| page.name == sheet.name);
            let rows = &shown.expect("its sheet").rows;
            assert!(!rows.is_empty(), "{name} {}", sheet.name);
            for row in rows {
                let last = row.label.split(' ').next_back().unwrap_or_default();
                let figure = last.parse::<f64>().is_ok() || last == "-" || last == "from";
                assert!(!figure, "{name} {}: `{}` holds a figure", sheet.name, row.label);
            }
        }
    }
}

#[test]
fn a_package_is_drawn_into_a_file() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("574.svg");
    assert_eq!(good(&["part", "574", "--svg", &shown(&path)]), "");
    let svg = fs::read_to_string(&path).expect("written");
    assert!(svg.starts_with("<svg ") && svg.ends_with("</svg>\n"));
    assert!(svg.contains(">VCC</text>") && svg.contains(">OE</text>"));
    let answer = ask(&["part", "574", "--svg", &shown(&folder.path().join("no/such/a.svg"))]);
    assert_eq!(answer.code, 2);
    assert!(answer.err.contains("cannot write"), "{}", answer.err);
}

#[test]
fn the_library_is_found_by_words() {
    let found = |arguments: &[&str]| -> Vec<String> {
        let list = json(&[&["library", "--json"], arguments].concat());
        let number = |entry: &Value| entry["number"].as_str().expect("a number").to_owned();
        list.as_array().expect("a list").iter().map(number).collect()
    };
    // Of the octal latches these are the transparent ones with three-state outputs (from memory).
    assert_eq!(found(&["octal", "LATCH", "three-state"]), ["373", "533", "563", "573"]);
    assert_eq!(found(&["octal", "latch", "--family", "HCT"]), ["573"]);
    assert_eq!(found(&["74HC574"]), ["574"]);
    assert_eq!(found(&["oscillator", "--pins", "8"]), ["OSC8"]);
    let all = found(&[]);
    assert_eq!(all.len(), coldboard::part::Library::built_in().names().count());
    assert!(good(&["library", "74HC574"]).ends_with("\n1 part\n"));

    let nothing = ask(&["library", "no-such-thing"]);
    assert_eq!((nothing.code, nothing.out.as_str()), (2, ""));
    assert!(nothing.err.contains("no part has all of that"), "{}", nothing.err);
    let family = ask(&["library", "--family", "HTC"]);
    assert!(family.err.contains("did you mean"), "{}", family.err);
}

#[test]
fn gaps_are_told_for_each_sheet() {
    let gaps = json(&["library", "--gaps", "--json", "74HC574", "--family", "HC"]);
    assert_eq!(gaps[0]["sheets"][0]["founded"], "published");
    assert_eq!(gaps[0]["sheets"].as_array().map(Vec::len), Some(1));
    let folder = own();
    let path = shown(folder.path());
    let text = good(&["library", "latch of our own", "--gaps", "--library", &path]);
    assert!(text.contains("\n  OWN   HC     published    AB"), "{text}");
    assert!(text.contains("\n  OWN   5      from memory  B"), "{text}");
    assert!(text.ends_with("1 published, 0 partly from memory, 1 from memory, 0 no source named\n"));
    let lacking = good(&["library", "--gaps", "74HC574"]);
    let line = lacking.lines().find(|line| line.starts_with("  574  "));
    assert!(line.is_some(), "{lacking}");
    assert!(lacking.contains("families of the library without a sheet for the part"), "{lacking}");
}

#[test]
fn a_part_file_is_verified() {
    let folder = own();
    let path = shown(&folder.path().join("own.part"));
    let answer = ask(&["part", "--verify", &path]);
    assert_eq!(answer.code, 0, "{}", answer.out);
    assert_eq!(answer.out, "OWN: nothing found\n");

    let wrong = OWN
        .replace("L    H  |  H", "L    H  |  L")
        .replace("5..7 NC none", "5 S in  6, 7 NC none")
        .replace("source \"Maker A, 2001\"", "")
        .replace("delay /LE, D -> Q  80 90 100 ns", "delay D -> Q  80 90 100 ns");
    let folder = with_file("own.part", &wrong);
    let path = shown(&folder.path().join("own.part"));
    let answer = ask(&["part", "--verify", &path, "--json"]);
    assert_eq!(answer.code, 1, "{}", answer.err);
    let found: Value = serde_json::from_str(&answer.out).expect("JSON");
    let told: Vec<String> = found
        .as_array()
        .expect("a list")
        .iter()
        .map(|problem| {
            let place = &problem["places"][0];
            format!("{}:{} {}", place["line"], problem["severity"], problem["code"])
        })
        .collect();
    assert_eq!(
        told,
        [
            "2:\"error\" pin-unused",
            "10:\"error\" function-table",
            "15:\"error\" no-source",
            "15:\"warning\" way-untimed",
        ]
        .map(|line| {
            let (before, code) = line.split_once(' ').expect("two words");
            format!("{before} \"{code}\"")
        })
    );
    let text = ask(&["part", "--verify", &path]).out;
    assert!(text.ends_with("OWN: 3 errors, 1 warning\n"), "{text}");
    assert!(text.contains("own.part:10:"), "{text}");
}

#[test]
fn a_file_that_is_no_part_cannot_be_verified() {
    for (text, told) in
        [("part X { package }", "error"), ("board b { rail GND }", "describes no part"), ("", "describes no part")]
    {
        let folder = with_file("x.part", text);
        let answer = ask(&["part", "--verify", &shown(&folder.path().join("x.part"))]);
        assert_eq!(answer.code, 2, "{text}");
        let all = answer.out + &answer.err;
        assert!(all.contains(told), "{text}: {all}");
    }
    assert_eq!(ask(&["part", "--verify", "no-such-file.part"]).code, 2);
    assert_eq!(ask(&["part", "574", "--verify", "x.part"]).code, 2);
}

/// What the review asks of a part file holds for the whole library: no error stands.
#[test]
fn the_library_stands_its_own_review() {
    use coldboard::diagnostic::any_error;
    use coldboard::export::part_page::review::review;
    let library = coldboard::part::Library::built_in();
    for name in library.names() {
        let part = library.part(name).expect(name);
        let found = review(library.sources(), &part);
        assert!(!any_error(&found), "{name}: {found:#?}");
    }
    let file = shown(&root().join("library/gates/00.part"));
    assert_eq!(ask(&["part", "--verify", &file]).out, "00: nothing found\n");
}
