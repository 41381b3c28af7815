//! Waveform files are read back, and timing diagrams are well-formed and show what was recorded.

use coldboard::export::diagram::{DiagramOptions, diagram};
use coldboard::export::vcd::{Line, Signal, VcdWriter, write};
use coldboard::language::ast::Radix;
use coldboard::logic::Level;
use coldboard::quantity::Time;
use coldboard::run::wave::{Bit, Mark, Wave, Waves};
use proptest::prelude::*;
use std::collections::BTreeMap;

/// A net whose levels begin at the given nanoseconds.
fn net(name: &str, changes: &[(i64, char)]) -> Bit {
    Bit {
        name: name.to_owned(),
        changes: changes
            .iter()
            .map(|&(ns, level)| (Time::from_ns(ns), Level::from_char(level).expect("a level")))
            .collect(),
    }
}

fn single(name: &str, changes: &[(i64, char)]) -> Wave {
    Wave { name: name.to_owned(), bits: vec![net(name, changes)] }
}

/// A bus whose levels, all its bits in one text, begin at the given nanoseconds.
fn bus(name: &str, values: &[(i64, &str)]) -> Wave {
    let width = values.first().map_or(0, |(_, value)| value.len());
    let bit = |index: usize| {
        let changes: Vec<(i64, char)> =
            values.iter().filter_map(|&(ns, value)| Some((ns, value.chars().nth(index)?))).collect();
        net(&format!("{name}{}", width - 1 - index), &changes)
    };
    Wave { name: name.to_owned(), bits: (0..width).map(bit).collect() }
}

fn run_of(end: i64, signals: Vec<Wave>) -> Waves {
    Waves { start: Time::ZERO, end: Time::from_ns(end), signals, marks: Vec::new() }
}

fn file(waves: &Waves) -> Vec<u8> {
    let mut out = Vec::new();
    write(waves, "bench", &mut out).expect("memory takes everything");
    out
}

/// The vectors of a file: by the code of a variable, its value from each time on.
type Read = BTreeMap<vcd::IdCode, Vec<(u64, String)>>;

fn read(file: &[u8]) -> (vcd::Header, Read, u64) {
    let mut parser = vcd::Parser::new(file);
    let header = parser.parse_header().expect("a header");
    let (mut now, mut values) = (0, Read::new());
    for command in parser {
        match command.expect("a command") {
            vcd::Command::Timestamp(time) => {
                assert!(now < time || values.is_empty(), "times rise");
                now = time;
            }
            vcd::Command::ChangeScalar(code, value) => {
                values.entry(code).or_default().push((now, value.to_string()));
            }
            vcd::Command::ChangeVector(code, value) => {
                values.entry(code).or_default().push((now, value.to_string()));
            }
            _ => {}
        }
    }
    (header, values, now)
}

/// Four states, as IEEE Std 1364-2005 has them.
fn four_state(level: Level) -> char {
    match level {
        Level::Z => 'z',
        level if level.is_high() => '1',
        level if level.is_low() => '0',
        _ => 'x',
    }
}

/// Compares a file with the waves that it was made from: every value at every time, and nothing that did not change.
fn assert_same(waves: &Waves, file: &[u8]) {
    let (header, values, end) = read(file);
    assert_eq!(header.timescale, Some((1, vcd::TimescaleUnit::PS)));
    assert_eq!(header.date, None);
    assert_eq!(i64::try_from(end), Ok(waves.end.ps()));
    for wave in waves.signals.iter().filter(|wave| !wave.bits.is_empty()) {
        let mut path = vec!["bench"];
        path.extend(wave.name.split('.'));
        let variable = header.find_var(&path).expect("the signal is declared");
        assert_eq!(variable.size as usize, wave.bits.len());
        let mut expected: Vec<(u64, String)> = Vec::new();
        let mut times: Vec<Time> = wave.bits.iter().flat_map(|b| &b.changes).map(|c| c.0).collect();
        times.push(waves.start);
        times.sort_unstable();
        let recorded = waves.start..=waves.end;
        for time in times.into_iter().filter(|time| recorded.contains(time)) {
            let value: String = wave.bits.iter().map(|bit| four_state(bit.at(time))).collect();
            if expected.last().is_none_or(|(_, last)| *last != value) {
                expected.push((time.ps().unsigned_abs(), value));
            }
        }
        assert_eq!(values.get(&variable.code), Some(&expected), "{}", wave.name);
    }
}

#[test]
fn a_file_is_read_back() {
    let waves = run_of(
        100,
        vec![
            single("clk", &[(0, '0'), (20, '1'), (40, '0'), (60, '1'), (80, '0')]),
            single("A.busy", &[(0, 'U'), (20, 'H'), (40, '1'), (50, 'L'), (60, 'Z'), (70, '-')]),
            bus("A.r", &[(0, "UUUU"), (30, "10HL"), (50, "ZZZZ"), (90, "0WX1")]),
            bus("B.C.r", &[(0, "0000"), (100, "1111")]),
        ],
    );
    assert_same(&waves, &file(&waves));
    let text = String::from_utf8(file(&waves)).expect("text");
    assert!(text.contains("r [3:0] $end"));
}

#[test]
fn hundreds_of_signals_keep_their_own_codes() {
    let signals = (0..300).map(|i| single(&format!("n{i}"), &[(0, '0'), (1 + i, '1'), (400 + i, 'Z')])).collect();
    let waves = run_of(700, signals);
    assert_same(&waves, &file(&waves));
}

#[test]
fn a_file_written_during_the_run_is_the_same() {
    let waves = run_of(
        50,
        vec![single("clk", &[(0, '0'), (20, '1'), (40, '0')]), bus("r", &[(0, "UU"), (20, "01"), (50, "10")])],
    );
    let line = |name: &str, net| Line { name: name.to_owned(), net };
    let signals = [
        Signal { name: "clk".to_owned(), bits: vec![line("clk", 7)] },
        Signal { name: "r".to_owned(), bits: vec![line("r1", 900), line("r0", 3)] },
    ];
    let mut out = Vec::new();
    let mut writer = VcdWriter::new(&mut out, "bench", Time::ZERO, &signals).expect("memory");
    for (ns, net, level) in [
        (0, 7, Level::Zero),
        (20, 7, Level::One),
        // Nobody shows net 5, and a glitch within a picosecond leaves no trace.
        (20, 5, Level::One),
        (20, 900, Level::One),
        (20, 900, Level::Zero),
        (20, 3, Level::One),
        (30, 3, Level::H),
        (40, 7, Level::Zero),
        (50, 900, Level::One),
        (50, 3, Level::Zero),
    ] {
        writer.change(Time::from_ns(ns), net, level).expect("rising times");
    }
    writer.finish(Time::from_ns(50)).expect("memory");
    assert_eq!(String::from_utf8(out), String::from_utf8(file(&waves)));
}

#[test]
fn what_cannot_be_written_is_said() {
    let signals = [Signal { name: "a".to_owned(), bits: vec![Line { name: "a".to_owned(), net: 0 }] }];
    let early = VcdWriter::new(Vec::new(), "x", Time::from_ns(-1), &signals);
    assert!(early.expect_err("no time before zero").to_string().contains("-1 ns"));

    let mut writer = VcdWriter::new(Vec::new(), "x", Time::ZERO, &signals).expect("memory");
    writer.change(Time::from_ns(7), 0, Level::One).expect("the first change");
    let back = writer.change(Time::from_ns(5), 0, Level::Zero);
    assert_eq!(
        back.expect_err("time cannot go back").to_string(),
        "a change at 5 ns came after one at 7 ns; changes are told by rising time"
    );

    let mut room = [0_u8; 10];
    let full =
        VcdWriter::new(&mut room[..], "x", Time::ZERO, &signals).and_then(|writer| writer.finish(Time::from_ns(1)));
    assert!(full.is_err());
}

fn picture(waves: &Waves, to: i64, width: u32) -> String {
    let options = DiagramOptions {
        from: Time::ZERO,
        to: Time::from_ns(to),
        width,
        title: "Counter & <latch>".to_owned(),
        radix: Radix::Hex,
    };
    diagram(waves, &options)
}

/// How often an element of a class stands in the rows, before the key.
fn count(svg: &str, class: &str) -> usize {
    let rows = svg.split("wave-key").next().unwrap_or_default();
    rows.matches(&format!("class=\"{class}\"")).count()
}

/// Holds a text against the rules of XML that a picture could break: elements nest, attributes are quoted and stand
/// once, and no bare `<` or `&` is left.
pub(crate) fn assert_xml(text: &str) {
    let mut open: Vec<&str> = Vec::new();
    let mut rest = text;
    while let Some(start) = rest.find('<') {
        assert_content(&rest[..start]);
        assert!(rest[..start].trim().is_empty() || !open.is_empty(), "text outside of the root");
        let end = start + rest[start..].find('>').expect("a tag ends");
        let tag = &rest[start + 1..end];
        rest = &rest[end + 1..];
        if let Some(name) = tag.strip_prefix('/') {
            assert_eq!(open.pop(), Some(name));
            continue;
        }
        let (tag, empty) = match tag.strip_suffix('/') {
            Some(tag) => (tag, true),
            None => (tag, false),
        };
        let (name, mut attributes) = tag.split_once(' ').unwrap_or((tag, ""));
        assert!(name.bytes().all(|b| b.is_ascii_alphanumeric()), "{name}");
        let mut names = Vec::new();
        while !attributes.is_empty() {
            let (name, value) = attributes.split_once("=\"").expect("a quoted value");
            let (value, after) = value.split_once('"').expect("the quote ends");
            assert!(!names.contains(&name), "{name} twice");
            assert!(!value.contains('<'));
            assert_content(value);
            names.push(name);
            attributes = after.trim_start();
        }
        if !empty {
            open.push(name);
        }
    }
    assert_eq!(rest.trim(), "");
    assert!(open.is_empty());
}

fn assert_content(text: &str) {
    for (index, _) in text.match_indices('&') {
        let entity = text[index..].split(';').next().unwrap_or_default();
        assert!(["&amp", "&lt", "&gt", "&quot"].contains(&entity), "{entity}");
    }
    // XML 1.0, section 2.2.
    assert!(text.chars().all(|c| c >= ' ' || c == '\n'), "a control character");
}

fn looks() -> Waves {
    let mut waves = run_of(
        200,
        vec![
            single("clk", &[(0, '0'), (50, '1'), (100, '0'), (150, '1')]),
            single("ready", &[(0, 'U'), (40, '0'), (80, 'Z'), (120, 'X'), (160, 'H')]),
            bus("A.r", &[(0, "UUUUUUUU"), (50, "00111100"), (100, "ZZZZZZZZ"), (150, "HHHHHHHH")]),
        ],
    );
    // Fifty changes in half a nanosecond.
    let burst = (0..50).map(|i| {
        let level = if i % 2 == 0 { Level::One } else { Level::Zero };
        (Time::from_ns(75) + Time::from_ps(i * 10), level)
    });
    waves.signals[0].bits[0].changes.splice(2..2, burst);
    let mark = |ns, signal, text: &str| Mark { time: Time::from_ns(ns), signal, text: text.to_owned() };
    waves.marks = vec![
        mark(150, 2, "fight"),
        mark(50, 0, "setup is short"),
        mark(900, 0, "far away"),
        mark(151, 99, "no such signal"),
    ];
    waves
}

#[test]
fn a_diagram_shows_each_look() {
    let svg = picture(&looks(), 200, 800);
    assert_xml(&svg);
    assert_eq!(count(&svg, "wave-row"), 3);
    // 3C and FF; ready is unknown twice, A.r once.
    assert_eq!(count(&svg, "wave-lozenge"), 2);
    assert_eq!(count(&svg, "wave-unknown"), 3);
    assert_eq!(count(&svg, "wave-band"), 1);
    // clk before and after the band; ready low, off, pulled high; A.r off.
    assert_eq!(count(&svg, "wave-line"), 6);
    assert_eq!(svg.matches("stroke-dasharray=\"4 2.5\"").count(), 3);
    assert!(svg.contains(">3C</text>") && svg.contains(">FF</text>"));
    // All four looks are explained.
    assert_eq!(svg.split("wave-key").count(), 2);
    for words in ["pulled", "nobody drives", "unknown", "too fast"] {
        let key = svg.split("wave-key").nth(1).unwrap_or_default();
        assert!(key.contains(words), "{words}");
    }
    assert_eq!(svg, picture(&looks(), 200, 800));
}

#[test]
fn marks_are_numbered_by_time_and_told_below() {
    let svg = picture(&looks(), 200, 800);
    assert_eq!(count(&svg, "wave-mark"), 3);
    assert_eq!(count(&svg, "wave-note"), 3);
    assert!(svg.contains(">50 ns, clk: setup is short</text>"));
    assert!(svg.contains(">150 ns, A.r: fight</text>"));
    assert!(svg.contains(">151 ns: no such signal</text>"));
    assert!(!svg.contains("far away"));
    // The last two stand within four pixels and share a flag.
    assert!(svg.contains(">1</text>") && svg.contains(">2\u{2013}3</text>"));
    // The picture in words tells them, too.
    let words = svg.split("</desc>").next().unwrap_or_default();
    assert!(words.contains("from 0 ns to 200 ns: clk, ready, A.r. 1 50 ns, clk: setup is short."));
    let none = picture(&run_of(9, vec![single("a", &[(0, '1')])]), 9, 400);
    assert_eq!(none.matches("wave-mark").count() + none.matches("wave-note").count(), 0);
    assert!(!none.contains("wave-key"));
}

#[test]
fn too_many_marks_are_counted() {
    let mut waves = looks();
    waves.marks = (0..100).map(|i| Mark { time: Time::from_ns(i), signal: 0, text: "late".to_owned() }).collect();
    let svg = picture(&waves, 200, 800);
    assert_eq!(count(&svg, "wave-mark"), 100);
    assert!(svg.contains(">and 40 more</text>"));
}

#[test]
fn an_empty_recording_is_said() {
    let nothing = picture(&Waves::default(), 100, 500);
    assert_xml(&nothing);
    assert!(nothing.contains("no signal was recorded"));
    let mut later = run_of(100, vec![single("a", &[(0, '1')])]);
    later.start = Time::from_ns(50);
    let svg = picture(&later, 20, 500);
    assert!(svg.contains("nothing was recorded in this time"));
    assert_eq!(count(&svg, "wave-line"), 0);
}

#[test]
fn pictures_stay_small_however_much_happened() {
    let changes = (0..200_000).map(|i| {
        let level = Level::from_u8(2 + (i % 2) as u8);
        (Time::from_ps(i * 7), level)
    });
    let waves = run_of(
        1_400,
        vec![Wave { name: "fast".to_owned(), bits: vec![Bit { name: "fast".to_owned(), changes: changes.collect() }] }],
    );
    assert!(picture(&waves, 1_400, 1_000).len() < 10_000);
}

fn some_waves() -> impl Strategy<Value = Waves> {
    // Steps of zero make several changes in one picosecond.
    let changes = prop::collection::vec((0..4_i64, 0..9_u8), 0..30);
    let wave = prop::collection::vec(changes, 0..12);
    (prop::collection::vec(wave, 0..8), 0..40_i64, 0..60_i64).prop_map(|(signals, start, length)| {
        let wave = |(index, bits): (usize, Vec<Vec<(i64, u8)>>)| {
            let name = format!("b{}.s{index}", index % 3);
            let bit = |(number, steps): (usize, Vec<(i64, u8)>)| {
                // The first changes may lie before the recording.
                let mut time = start - 3;
                let changes = steps.into_iter().map(|(step, level)| {
                    time += step;
                    (Time::from_ps(time), Level::from_u8(level))
                });
                Bit { name: format!("{name}.{number}"), changes: changes.collect() }
            };
            Wave { bits: bits.into_iter().enumerate().map(bit).collect(), name: name.clone() }
        };
        Waves {
            start: Time::from_ps(start),
            end: Time::from_ps(start + length),
            signals: signals.into_iter().enumerate().map(wave).collect(),
            marks: Vec::new(),
        }
    })
}

proptest! {
    #[test]
    fn any_waves_are_read_back(waves in some_waves()) {
        assert_same(&waves, &file(&waves));
    }

    #[test]
    fn any_diagram_is_well_formed(
        waves in some_waves(),
        names in prop::collection::vec(".*", 8),
        text in ".*",
        (time, signal) in (0..100_i64, 0..10_usize),
        ends in prop::array::uniform2(prop_oneof![-200..200_i64, any::<i64>()]),
        width in any::<u32>(),
        radix in prop::sample::select(&[Radix::Hex, Radix::Binary, Radix::Decimal, Radix::Signed][..]),
    ) {
        let mut waves = waves;
        for (wave, name) in waves.signals.iter_mut().zip(names) {
            wave.name = name;
        }
        waves.marks.push(Mark { time: Time::from_ps(time), signal, text: text.clone() });
        let [from, to] = ends.map(Time::from_ps);
        assert_xml(&diagram(&waves, &DiagramOptions { from, to, width, title: text, radix }));
    }
}
