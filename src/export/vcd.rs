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

pub use super::vcd_names::{Line, Signal};
use super::vcd_names::{Scope, identifier, steps};
use crate::logic::Level;
use crate::quantity::Time;
use crate::run::wave::{Bit, Wave, Waves};
use rustc_hash::FxHashMap;
use std::cmp::Reverse;
use std::collections::BinaryHeap;
use std::io::{BufWriter, Error, ErrorKind, Result, Write};

const FOUR_STATES: &str = "four states: 0 low, 1 high (driven or pulled), z off, x unknown or never driven";

/// Writes recorded signals as a waveform file. Marks have no place in the format and are left out.
///
/// # Errors
/// When `out` fails, or the waves begin before time zero or do not rise in time.
pub fn write(waves: &Waves, circuit_name: &str, out: &mut dyn Write) -> Result<()> {
    let mut recorded: Vec<&Bit> = Vec::new();
    let mut signals = Vec::new();
    for Wave { name, bits } in &waves.signals {
        let lines = (recorded.len()..).zip(bits).map(|(net, bit)| Line { name: bit.name.clone(), net });
        signals.push(Signal { name: name.clone(), bits: lines.collect() });
        recorded.extend(bits);
    }
    let mut writer = VcdWriter::new(out, circuit_name, waves.start, &signals)?;
    // The next change of every net, earliest on top.
    let upcoming = |net: usize, index: usize| {
        let &(time, _) = recorded[net].changes.get(index)?;
        (time <= waves.end).then_some(Reverse((time.max(waves.start), net, index)))
    };
    let mut heap: BinaryHeap<_> = (0..recorded.len()).filter_map(|net| upcoming(net, 0)).collect();
    while let Some(Reverse((time, net, index))) = heap.pop() {
        writer.change(time, net, recorded[net].changes[index].1)?;
        heap.extend(upcoming(net, index + 1));
    }
    writer.finish(waves.end).map(|_| ())
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
            writer.variables.push(Variable { code, bits: first..writer.levels.len() });
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

fn invalid(message: String) -> Error {
    Error::new(ErrorKind::InvalidInput, message)
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::collections::BTreeSet;

    fn bit(name: &str, changes: &[(i64, Level)]) -> Bit {
        Bit { name: name.to_owned(), changes: changes.iter().map(|&(ps, level)| (Time::from_ps(ps), level)).collect() }
    }

    fn wave(name: &str, bits: Vec<Bit>) -> Wave {
        Wave { name: name.to_owned(), bits }
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
    fn codes_are_short_and_different() {
        assert_eq!((code(0), code(93), code(94)), ("!".into(), "~".into(), "!!".into()));
        let codes: BTreeSet<String> = (0..10_000).map(code).collect();
        assert_eq!(codes.len(), 10_000);
        // 94 + 94^2 = 8930 codes have two characters at most.
        assert_eq!(codes.iter().filter(|code| code.len() > 2).count(), 10_000 - 8_930);
    }
}
