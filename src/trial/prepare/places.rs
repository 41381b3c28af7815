//! What the paths of a trial name: signals, nets, contacts.

use super::Preparer;
use crate::circuit::{DiscreteKey, DiscreteKind, NetKey, Signal};
use crate::diagnostic::{Diagnostic, did_you_mean};
use crate::language::ast::Path;
use crate::language::expand::Scope;

/// The most nets that are one number.
const MOST_BITS: usize = 64;

impl Preparer<'_> {
    pub(super) fn signal(&mut self, path: &Path) -> Option<Signal> {
        match self.circuit.signal_at(path, &Scope::default()) {
            Ok(signal) if signal.nets.len() > MOST_BITS => {
                let message =
                    format!("`{}` has {} bits; a trial takes {MOST_BITS} at once", signal.path, signal.nets.len());
                self.problems.push(
                    Diagnostic::error("width", message)
                        .at(path.span, "too wide")
                        .help("speak of a part of it, as in `m[0..63]`"),
                );
                None
            }
            Ok(signal) => {
                if !self.prepared.mentioned.contains(&signal) {
                    self.prepared.mentioned.push(signal.clone());
                }
                Some(signal)
            }
            Err(problem) => {
                self.problems.push(problem);
                None
            }
        }
    }

    pub(super) fn driven(&mut self, path: &Path) -> Option<Signal> {
        let signal = self.signal(path)?;
        let is_rail = |net: &&NetKey| self.circuit.nets[**net].rail.is_some_and(|rail| rail.fed.is_some());
        if let Some(rail) = signal.nets.iter().find(is_rail) {
            let message = format!("`{}` is a rail; a trial cannot drive it", self.circuit.nets[*rail].path);
            self.problems.push(
                Diagnostic::error("rail", message)
                    .at(path.span, "driven here")
                    .help("drive a net that a resistor or a switch joins to the rail"),
            );
            return None;
        }
        self.prepared.stimuli.extend(&signal.nets);
        Some(signal)
    }

    pub(super) fn net(&mut self, path: &Path) -> Option<NetKey> {
        self.strobe(path).and_then(|signal| signal.nets.first().copied())
    }

    pub(super) fn driven_net(&mut self, path: &Path) -> Option<NetKey> {
        self.strobe(path)?;
        self.driven(path)?.nets.first().copied()
    }

    /// A signal of one net.
    pub(super) fn strobe(&mut self, path: &Path) -> Option<Signal> {
        let signal = self.signal(path)?;
        if signal.nets.len() == 1 {
            return Some(signal);
        }
        let message = format!("`{}` has {} bits; one net is wanted here", signal.path, signal.nets.len());
        self.problems.push(Diagnostic::error("one-net", message).at(path.span, "a bus").help("name one of its nets"));
        None
    }

    /// A discrete of one of some kinds.
    pub(super) fn contact(&mut self, path: &Path, kinds: &[DiscreteKind], wanted: &str) -> Option<DiscreteKey> {
        let name = self.sources.slice(path.span).to_owned();
        let found = self.circuit.discrete(&name);
        if let Some(key) = found
            && kinds.contains(&self.circuit.discretes[key].kind)
        {
            return Some(key);
        }
        let fitting = self.circuit.discretes.values().filter(|discrete| kinds.contains(&discrete.kind));
        let names: Vec<&str> = fitting.map(|discrete| discrete.path.as_str()).collect();
        let help = did_you_mean(&name, names.iter().copied()).unwrap_or_else(|| match names.as_slice() {
            [] => format!("put {wanted} on a board first"),
            some => format!("write one of: {}", some.join(", ")),
        });
        self.problems.push(
            Diagnostic::error("unknown-contact", format!("`{name}` is not {wanted} of this circuit"))
                .at(path.span, format!("{wanted} is wanted here"))
                .help(help),
        );
        None
    }
}
