//! Waveform files for viewers: the value change dump of IEEE Std 1364-2005, clause 18.
//!
//! The format has four states: low and high, driven or pulled, are written 0 and 1; off is z; all else is x. Times are
//! picoseconds. The file holds no date, so that the same run gives the same bytes.
//!
//! # Names
//! A path is split at its dots: `A.U1.Q3` is the variable `Q3` in the module `U1` in the module `A`, inside a module
//! that is called as the circuit. What the standard does not allow in an identifier is rewritten:
//!
//! | in the design | in the file | why |
//! | --- | --- | --- |
//! | `/reset` | `reset_n` | a leading slash, active low, becomes the usual ending |
//! | `R/W` | `R_W` | any other run of forbidden characters becomes one underscore |
//! | `1Y` | `_1Y` | a digit cannot stand first |
//! | a name that is taken | `name_2` | two variables of a module cannot share a name |
//!
//! Each rewritten name has a comment in front that gives the original. A bus is one vector; its range is taken from
//! the numbers of its bits where they count up or down by one (`D1` to `D8`, most significant last: `D [1:8]`), and
//! is `[width-1:0]` otherwise. The standard has no texts among its values, so that a bus whose values have names is a plain
//! vector here; the names stand in the pictures and tables. Names that the standard reserves stay as they are, since no reader takes them as keywords.

use crate::circuit::{Circuit, NetKey};
use crate::key::Key;
use crate::logic::Level;
use crate::quantity::Time;
use crate::run::wave::{Bit, Wave, Waves};
use crate::text::escape::escape;
use rustc_hash::FxHashMap;
use std::cmp::Reverse;
use std::collections::{BTreeSet, BinaryHeap};
use std::io::{BufWriter, Error, ErrorKind, Result, Write};

/// The deepest nesting of modules; what is below stays in one name.
const DEEPEST: usize = 16;

const FOUR_STATES: &str =
    "four states: 0 low, 1 high (driven or pulled), z off, x unknown or never driven";

/// Writes recorded signals as a waveform file. Marks have no place in the format and are left out.
///
/// # Errors
/// When `out` fails, or the waves begin before time zero or do not rise in time.
pub fn write(waves: &Waves, circuit_name: &str, out: &mut dyn Write) -> Result<()> {
    let mut recorded: Vec<&Bit> = Vec::new();
    let mut signals = Vec::new();
    for Wave { name, bits } in &waves.signals {
        let lines = (recorded.len()..).zip(bits).map(|(net, bit)| Line {
            name: bit.name.clone(),
            net,
        });
        signals.push(Signal {
            name: name.clone(),
            bits: lines.collect(),
        });
        recorded.extend(bits);
    }
    let mut writer = VcdWriter::new(out, circuit_name, waves.start, &signals)?;
    // The next change of every net, earliest on top.
    let upcoming = |net: usize, index: usize| {
        let &(time, _) = recorded[net].changes.get(index)?;
        (time <= waves.end).then_some(Reverse((time.max(waves.start), net, index)))
    };
    let mut heap: BinaryHeap<_> = (0..recorded.len())
        .filter_map(|net| upcoming(net, 0))
        .collect();
    while let Some(Reverse((time, net, index))) = heap.pop() {
        writer.change(time, net, recorded[net].changes[index].1)?;
        heap.extend(upcoming(net, index + 1));
    }
    writer.finish(waves.end).map(|_| ())
}

/// A signal to be written: one net, or several as a bus.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Signal {
    /// Its path: `A.r`.
    pub name: String,
    /// Its bits, the most significant first. A signal without bits is left out.
    pub bits: Vec<Line>,
}

impl Signal {
    /// A signal of a circuit, each net by the number of its key.
    pub fn of(circuit: &Circuit, signal: &crate::circuit::Signal) -> Signal {
        let line = |&net: &NetKey| Line {
            name: circuit.nets[net].path.clone(),
            net: net.index(),
        };
        Signal {
            name: signal.path.clone(),
            bits: signal.nets.iter().map(line).collect(),
        }
    }
}

/// One bit of a signal.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Line {
    /// The path of its net: `A.r7`.
    pub name: String,
    /// The number that the caller gives the net. Several signals may show one net.
    pub net: usize,
}

/// Writes a waveform file while a run goes on, holding no more than one level per bit.
///
/// Changes within one picosecond count as one, of which the last level stays. A net has the level U, written x, until
/// its first change.
#[derive(Debug)]
pub struct VcdWriter<W: Write> {
    out: BufWriter<W>,
    variables: Vec<Variable>,
    /// The bits that show a net.
    shown: FxHashMap<usize, Vec<Shown>>,
    /// The character of each bit now.
    levels: Vec<u8>,
    /// The character of each bit in the file.
    written: Vec<u8>,
    /// The variables told of since `now` began.
    touched: Vec<usize>,
    now: Time,
    started: bool,
}

/// A signal in the file.
#[derive(Debug)]
struct Variable {
    /// Its identifier code.
    code: String,
    /// Its places in `levels` and `written`.
    bits: std::ops::Range<usize>,
}

/// Where a net is seen.
#[derive(Debug)]
struct Shown {
    variable: usize,
    bit: usize,
}

impl<W: Write> VcdWriter<W> {
    /// Writes the declarations of the signals. Many small writes are gathered, so `out` need not be buffered.
    ///
    /// # Errors
    /// When `out` fails, or `start` is before time zero.
    pub fn new(out: W, circuit_name: &str, start: Time, signals: &[Signal]) -> Result<Self> {
        if start < Time::ZERO {
            return Err(invalid(format!(
                "the recording begins at {start}, but a waveform file counts from zero; record from 0 ns on"
            )));
        }
        let mut writer = VcdWriter {
            out: BufWriter::new(out),
            variables: Vec::new(),
            shown: FxHashMap::default(),
            levels: Vec::new(),
            written: Vec::new(),
            touched: Vec::new(),
            now: start,
            started: false,
        };
        let mut root = Scope::default();
        for signal in signals.iter().filter(|signal| !signal.bits.is_empty()) {
            let variable = writer.variables.len();
            let first = writer.levels.len();
            for (bit, line) in (first..).zip(&signal.bits) {
                let shown = writer.shown.entry(line.net).or_default();
                shown.push(Shown { variable, bit });
                writer.levels.push(character(Level::U));
            }
            let code = code(variable);
            root.declare(&steps(&signal.name), signal, &code);
            writer.variables.push(Variable {
                code,
                bits: first..writer.levels.len(),
            });
        }
        writer.written.clone_from(&writer.levels);
        writer.head(circuit_name, &root)?;
        Ok(writer)
    }

    fn head(&mut self, circuit_name: &str, root: &Scope) -> Result<()> {
        let out = &mut self.out;
        let version = env!("CARGO_PKG_VERSION");
        writeln!(out, "$version coldboard {version} $end")?;
        writeln!(out, "$comment {FOUR_STATES} $end")?;
        writeln!(out, "$timescale 1 ps $end")?;
        writeln!(out, "$scope module {} $end", identifier(circuit_name))?;
        root.write(out)?;
        writeln!(out, "$upscope $end")?;
        writeln!(out, "$enddefinitions $end")
    }

    /// Tells the level of a net from a time on; a net that no signal shows is passed over.
    ///
    /// # Errors
    /// When `out` fails, or the time is before that of the last change.
    pub fn change(&mut self, time: Time, net: usize, level: Level) -> Result<()> {
        if time < self.now {
            return Err(invalid(format!(
                "a change at {time} came after one at {}; changes are told by rising time",
                self.now
            )));
        }
        if time > self.now {
            self.flush()?;
            self.now = time;
        }
        for place in self.shown.get(&net).into_iter().flatten() {
            self.levels[place.bit] = character(level);
            self.touched.push(place.variable);
        }
        Ok(())
    }

    /// Ends the file with the time of the end, so that a viewer shows the whole recording, and gives `out` back.
    ///
    /// # Errors
    /// When `out` fails.
    pub fn finish(mut self, end: Time) -> Result<W> {
        let last = self.now;
        let stamped = self.flush()?;
        if end > last || (end == last && !stamped) {
            writeln!(self.out, "#{}", end.ps())?;
        }
        self.out.into_inner().map_err(|error| error.into_error())
    }

    /// Writes what differs from the file since `now` began; says whether it wrote the time.
    fn flush(&mut self) -> Result<bool> {
        self.touched.sort_unstable();
        self.touched.dedup();
        let first = !self.started;
        if first {
            self.started = true;
            self.touched = (0..self.variables.len()).collect();
        }
        let mut stamped = false;
        for index in self.touched.drain(..) {
            let Variable { code, bits } = &self.variables[index];
            let levels = &self.levels[bits.clone()];
            if !first && levels == &self.written[bits.clone()] {
                continue;
            }
            if !stamped {
                stamped = true;
                writeln!(self.out, "#{}", self.now.ps())?;
                if first {
                    writeln!(self.out, "$dumpvars")?;
                }
            }
            self.written[bits.clone()].copy_from_slice(levels);
            if levels.len() > 1 {
                self.out.write_all(b"b")?;
            }
            self.out.write_all(levels)?;
            if levels.len() > 1 {
                self.out.write_all(b" ")?;
            }
            writeln!(self.out, "{code}")?;
        }
        if first && stamped {
            writeln!(self.out, "$end")?;
        }
        Ok(stamped)
    }
}

/// A module of the file, with the modules in it.
#[derive(Debug, Default)]
struct Scope {
    /// The step of the path that it stands for.
    written: String,
    name: String,
    /// The declarations of its variables, each with its comment.
    declarations: String,
    scopes: Vec<Scope>,
    /// The names in it that are taken.
    taken: BTreeSet<String>,
}

impl Scope {
    fn declare(&mut self, steps: &[&str], signal: &Signal, code: &str) {
        let [step, below @ ..] = steps else { return };
        if !below.is_empty() {
            self.scope(step).declare(below, signal, code);
            return;
        }
        let name = self.free(identifier(step));
        if name != *step {
            let original = in_comment(step);
            self.declarations += &format!("$comment {name} is {original} $end\n");
        }
        let width = signal.bits.len();
        let range = match width {
            1 => String::new(),
            _ => range(&signal.bits),
        };
        self.declarations += &format!("$var wire {width} {code} {name}{range} $end\n");
    }

    /// The module in this one that stands for a step.
    fn scope(&mut self, step: &str) -> &mut Scope {
        let known = self.scopes.iter().position(|scope| scope.written == step);
        let index = known.unwrap_or_else(|| {
            let name = self.free(identifier(step));
            self.scopes.push(Scope {
                written: step.to_owned(),
                name,
                ..Scope::default()
            });
            self.scopes.len() - 1
        });
        &mut self.scopes[index]
    }

    /// Takes a name, numbered when it was taken before.
    fn free(&mut self, name: String) -> String {
        let numbered = (2..).map(|number| format!("{name}_{number}"));
        let free = std::iter::once(name.clone())
            .chain(numbered)
            .find(|name| !self.taken.contains(name))
            .unwrap_or(name);
        self.taken.insert(free.clone());
        free
    }

    /// Writes what is in the module; its nesting is bounded by [`DEEPEST`].
    fn write(&self, out: &mut dyn Write) -> Result<()> {
        out.write_all(self.declarations.as_bytes())?;
        for scope in &self.scopes {
            if scope.name != scope.written {
                let original = in_comment(&scope.written);
                writeln!(out, "$comment {} is {original} $end", scope.name)?;
            }
            writeln!(out, "$scope module {} $end", scope.name)?;
            scope.write(out)?;
            writeln!(out, "$upscope $end")?;
        }
        Ok(())
    }
}

/// A path split at its dots, but not at those of a range in brackets.
fn steps(path: &str) -> Vec<&str> {
    let mut brackets = 0_i32;
    let dot = |c: char| {
        brackets += i32::from(c == '[') - i32::from(c == ']');
        c == '.' && brackets <= 0
    };
    path.splitn(DEEPEST, dot).collect()
}

/// A name as the standard allows it.
fn identifier(written: &str) -> String {
    let (plain, active_low) = match written.strip_prefix('/') {
        Some(plain) => (plain, true),
        None => (written, false),
    };
    let mut name = String::new();
    let mut forbidden = false;
    for c in plain.chars() {
        if !(c.is_ascii_alphanumeric() || c == '_') {
            forbidden = true;
            continue;
        }
        if forbidden && !name.is_empty() || name.is_empty() && c.is_ascii_digit() {
            name.push('_');
        }
        forbidden = false;
        name.push(c);
    }
    if name.is_empty() {
        name.push_str("unnamed");
    }
    if active_low {
        name.push_str("_n");
    }
    name
}

/// The range of a bus: the numbers of its bits where they count by one, or those that the places have.
fn range(bits: &[Line]) -> String {
    let number = |line: &Line| {
        let digits = line
            .name
            .trim_end_matches(|c: char| c.is_ascii_digit())
            .len();
        line.name[digits..].parse::<u32>().ok()
    };
    let counts = |down: bool| {
        bits.windows(2).all(|pair| {
            let (Some(high), Some(low)) = (number(&pair[0]), number(&pair[1])) else {
                return false;
            };
            let (less, more) = if down { (low, high) } else { (high, low) };
            less.checked_add(1) == Some(more)
        })
    };
    match (bits.first().and_then(number), bits.last().and_then(number)) {
        (Some(most), Some(least)) if counts(true) || counts(false) => format!(" [{most}:{least}]"),
        _ => format!(" [{}:0]", bits.len().saturating_sub(1)),
    }
}

/// The shortest code for a variable, in the 94 printable characters.
fn code(mut index: usize) -> String {
    let mut code = String::new();
    loop {
        code.push(char::from(b'!' + (index % 94) as u8));
        if index < 94 {
            return code;
        }
        index = index / 94 - 1;
    }
}

/// A level in four states.
fn character(level: Level) -> u8 {
    match level {
        Level::Zero | Level::L => b'0',
        Level::One | Level::H => b'1',
        Level::Z => b'z',
        Level::U | Level::X | Level::W | Level::Dash => b'x',
    }
}

/// A text that cannot end the comment that it stands in.
fn in_comment(text: &str) -> String {
    let text = text.replace("$end", "$ end");
    let text = text.split_whitespace().collect::<Vec<_>>().join(" ");
    escape(&text).into_owned()
}

fn invalid(message: String) -> Error {
    Error::new(ErrorKind::InvalidInput, message)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn line(name: &str, net: usize) -> Line {
        Line {
            name: name.to_owned(),
            net,
        }
    }

    fn bit(name: &str, changes: &[(i64, Level)]) -> Bit {
        Bit {
            name: name.to_owned(),
            changes: changes
                .iter()
                .map(|&(ps, level)| (Time::from_ps(ps), level))
                .collect(),
        }
    }

    fn wave(name: &str, bits: Vec<Bit>) -> Wave {
        Wave {
            name: name.to_owned(),
            bits,
        }
    }

    #[test]
    fn a_small_run_is_written_exactly() {
        use Level::{H, L, One, X, Z, Zero};
        let waves = Waves {
            start: Time::ZERO,
            end: Time::from_ns(9),
            signals: vec![
                wave("A./reset", vec![bit("A./reset", &[(0, Zero), (5_000, H)])]),
                wave(
                    "A.q",
                    vec![
                        bit("A.q1", &[(0, Z), (2_500, One), (6_000, X), (6_000, One)]),
                        bit("A.q0", &[(0, Z), (2_500, L), (9_001, One)]),
                    ],
                ),
                wave("empty", vec![]),
                wave("done", vec![bit("done", &[])]),
            ],
            marks: vec![],
        };
        let mut out = Vec::new();
        write(&waves, "bench", &mut out).expect("memory takes everything");
        // The keywords and their order: IEEE Std 1364-2005, 18.2; `\"` is the second identifier code.
        let version = env!("CARGO_PKG_VERSION");
        let expected = format!(
            "$version coldboard {version} $end\n$comment {FOUR_STATES} $end\n$timescale 1 ps $end\n\
             $scope module bench $end\n$var wire 1 # done $end\n\
             $scope module A $end\n$comment reset_n is /reset $end\n$var wire 1 ! reset_n $end\n\
             $var wire 2 \" q [1:0] $end\n$upscope $end\n$upscope $end\n$enddefinitions $end\n\
             #0\n$dumpvars\n0!\nbzz \"\nx#\n$end\n#2500\nb10 \"\n#5000\n1!\n#9000\n"
        );
        assert_eq!(String::from_utf8(out).expect("text"), expected);
    }

    #[test]
    fn names_become_identifiers() {
        for (written, name) in [
            ("reset", "reset"),
            ("/reset", "reset_n"),
            ("R/W", "R_W"),
            ("1Y", "_1Y"),
            ("/1OE", "_1OE_n"),
            ("q[7]", "q_7"),
            ("m[0..7]", "m_0_7"),
            ("__a_", "__a_"),
            ("", "unnamed"),
            ("$end", "end"),
            ("/", "unnamed_n"),
        ] {
            assert_eq!(identifier(written), name, "{written}");
        }
        assert_eq!(steps("A.U1.Q3"), ["A", "U1", "Q3"]);
        assert_eq!(steps("A.m[0..7]"), ["A", "m[0..7]"]);
        assert_eq!(steps(&"a.".repeat(50)).len(), DEEPEST);
        assert_eq!(in_comment("a $end\nb"), "a $ end b");
    }

    #[test]
    fn taken_names_are_numbered() {
        let mut root = Scope::default();
        let signal = |name: &str| Signal {
            name: name.to_owned(),
            bits: vec![line(name, 0)],
        };
        for name in ["a_n", "/a", "a_n", "a_n.x", "/a.x"] {
            root.declare(&steps(name), &signal(name), "!");
        }
        let taken: Vec<&str> = root.taken.iter().map(String::as_str).collect();
        assert_eq!(taken, ["a_n", "a_n_2", "a_n_3", "a_n_4", "a_n_5"]);
    }

    #[test]
    fn ranges_follow_the_numbers_of_the_bits() {
        let of = |names: &[&str]| {
            let lines: Vec<Line> = names.iter().map(|name| line(name, 0)).collect();
            range(&lines)
        };
        assert_eq!(of(&["A.r3", "A.r2", "A.r1", "A.r0"]), " [3:0]");
        assert_eq!(of(&["Q8", "Q7"]), " [8:7]");
        assert_eq!(of(&["D1", "D2", "D3"]), " [1:3]");
        assert_eq!(of(&["D1", "D3", "D2"]), " [2:0]");
        assert_eq!(of(&["carry", "r1", "r0"]), " [2:0]");
        assert_eq!(of(&["r99999999999", "r0"]), " [1:0]");
    }

    #[test]
    fn codes_are_short_and_different() {
        assert_eq!(
            (code(0), code(93), code(94)),
            ("!".into(), "~".into(), "!!".into())
        );
        let codes: BTreeSet<String> = (0..10_000).map(code).collect();
        assert_eq!(codes.len(), 10_000);
        // 94 + 94^2 = 8930 codes have two characters at most.
        assert_eq!(
            codes.iter().filter(|code| code.len() > 2).count(),
            10_000 - 8_930
        );
    }
}
