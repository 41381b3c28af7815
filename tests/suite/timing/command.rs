//! The command as a person or a script meets it: answers, exit codes, files.

use assert_cmd::Command;
use coldboard::quantity::Time;
use serde_json::Value;
use std::fs;
use std::path::Path;

/// A register that needs 20 ns high and low (74HC574, TI SCLS148F, at 4.5 V over -40..85 C), with a trial that clocks it.
const DESIGN: &str =
    "board one { rail VCC 4.5 V  rail GND  feed U1 from VCC GND  connector J1 header-1x2 { 1 clk  2 d }
    U1 74HC574 { CLK = clk  /OE = GND  D1 = d  D[2..8] = GND  Q1 = q  Q[2..8] = open } }
board bare { rail VCC 4.5 V  rail GND  feed U1 from VCC GND  connector J1 header-1x2 { 1 clk  2 d }
    U1 74HC574 { CLK = clk  /OE = GND  D1 = d  D[2..8] = GND  Q1 = q  Q[2..8] = open } }
trial slow on one { clock clk 1 MHz  run for 1 us }
trial fast on one { clock clk 10 MHz duty 40 %  run for 1 us }";

fn ask(folder: &Path, arguments: &[&str]) -> (i32, String, String) {
    let output = Command::cargo_bin("coldboard")
        .expect("the program")
        .current_dir(folder)
        .args(arguments)
        .output()
        .expect("it ran");
    let text = |bytes| String::from_utf8(bytes).expect("text");
    (output.status.code().expect("an exit code"), text(output.stdout), text(output.stderr))
}

#[test]
fn exit_codes_say_whether_it_holds() {
    let folder = tempfile::tempdir().expect("a folder");
    fs::write(folder.path().join("d.board"), DESIGN).expect("written");
    let code = |arguments: &[&str]| {
        let mut all = vec!["timing", "d.board"];
        all.extend(arguments);
        ask(folder.path(), &all).0
    };
    // The faster of the two trials: 100 ns, high for 40 ns.
    assert_eq!(code(&["one"]), 0);
    assert_eq!(code(&["one", "--clock", "clk=10MHz,15%"]), 1);
    assert_eq!(code(&["one", "--clock", "clk=60MHz", "--corner", "typical"]), 1);
    assert_eq!(code(&["bare"]), 2, "storage without a clock");
    assert_eq!(code(&["one", "--clock", "nothing=1MHz"]), 2);
    assert_eq!(code(&["one", "--clock", "clk=1V"]), 2);
    assert_eq!(code(&["one", "--clock", "clk"]), 2);
    assert_eq!(code(&["one", "--corner", "warm"]), 2);
    assert_eq!(code(&["other"]), 2);
}

#[test]
fn json_and_pictures_tell_the_same() {
    let folder = tempfile::tempdir().expect("a folder");
    fs::write(folder.path().join("d.board"), DESIGN).expect("written");
    let arguments = ["timing", "d.board", "one", "--corner", "slowest", "--json", "--svg", "slack.svg"];
    let (code, out, err) = ask(folder.path(), &arguments);
    assert_eq!(code, 0, "{err}");
    let report: Value = serde_json::from_str(&out).expect("JSON");
    let period = serde_json::to_value(Time::from_ns(100)).expect("a time");
    assert_eq!(report["clocks"][0]["period"], period);
    let count = |bins: &Value| {
        bins.as_array().expect("bins").iter().map(|bin| bin["count"].as_u64().expect("a number")).sum::<u64>()
    };
    let run = &report["runs"][0];
    assert_eq!(count(&run["histogram"]), run["checks"].as_u64().expect("a number"));
    let picture = fs::read_to_string(folder.path().join("slack.svg")).expect("a picture");
    assert!(picture.starts_with("<svg") && picture.contains("Slack of one, slowest parts"), "{picture}");
}

#[test]
fn the_text_tells_what_to_do() {
    let folder = tempfile::tempdir().expect("a folder");
    fs::write(folder.path().join("d.board"), DESIGN).expect("written");
    let (_, out, _) = ask(folder.path(), &["timing", "d.board", "one", "--clock", "clk=10MHz,15%"]);
    assert!(out.contains("pulse width of U1.CLK 74HC574: -5 ns TOO SHORT"), "{out}");
    assert!(out.contains("DOES NOT HOLD"), "{out}");
    let (_, out, _) = ask(folder.path(), &["timing", "d.board", "bare"]);
    assert!(out.contains("no clock reaches U1.CLK") && out.contains("--clock NET=1MHz"), "{out}");
}
