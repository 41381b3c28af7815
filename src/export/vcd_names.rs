//! Names of a VCD file: modules, identifiers, ranges of bits, and comments with the names as they are written.

use crate::circuit::{Circuit, NetKey};
use crate::key::Key;
use crate::text::escape::escape;
use std::collections::BTreeSet;
use std::io::{Result, Write};

/// The deepest nesting of modules; what is below stays in one name.
const DEEPEST: usize = 16;

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
        let line = |&net: &NetKey| Line { name: circuit.nets[net].path.clone(), net: net.index() };
        Signal { name: signal.path.clone(), bits: signal.nets.iter().map(line).collect() }
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

/// A module of the file, with the modules in it.
#[derive(Debug, Default)]
pub(super) struct Scope {
    /// The step of the path that it stands for.
    written: String,
    pub(super) name: String,
    /// The declarations of its variables, each with its comment.
    declarations: String,
    scopes: Vec<Scope>,
    /// The names in it that are taken.
    taken: BTreeSet<String>,
}

impl Scope {
    pub(super) fn declare(&mut self, steps: &[&str], signal: &Signal, code: &str) {
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
            self.scopes.push(Scope { written: step.to_owned(), name, ..Scope::default() });
            self.scopes.len() - 1
        });
        &mut self.scopes[index]
    }

    /// Takes a name, numbered when it was taken before.
    pub(super) fn free(&mut self, name: String) -> String {
        let numbered = (2..).map(|number| format!("{name}_{number}"));
        let free =
            std::iter::once(name.clone()).chain(numbered).find(|name| !self.taken.contains(name)).unwrap_or(name);
        self.taken.insert(free.clone());
        free
    }

    /// Writes what is in the module; its nesting is bounded by [`DEEPEST`].
    pub(super) fn write(&self, out: &mut dyn Write) -> Result<()> {
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
pub(super) fn steps(path: &str) -> Vec<&str> {
    let mut brackets = 0_i32;
    let dot = |c: char| {
        brackets += i32::from(c == '[') - i32::from(c == ']');
        c == '.' && brackets <= 0
    };
    path.splitn(DEEPEST, dot).collect()
}

/// A name as the standard allows it.
pub(super) fn identifier(written: &str) -> String {
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
pub(super) fn range(bits: &[Line]) -> String {
    let number = |line: &Line| {
        let digits = line.name.trim_end_matches(|c: char| c.is_ascii_digit()).len();
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

/// A text that cannot end the comment that it stands in.
pub(super) fn in_comment(text: &str) -> String {
    let text = text.replace("$end", "$ end");
    let text = text.split_whitespace().collect::<Vec<_>>().join(" ");
    escape(&text).into_owned()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn line(name: &str, net: usize) -> Line {
        Line { name: name.to_owned(), net }
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
        let signal = |name: &str| Signal { name: name.to_owned(), bits: vec![line(name, 0)] };
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
}
