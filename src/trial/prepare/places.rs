//! What the paths of a trial name: signals, nets, contacts.

use super::Binder;
use crate::circuit::{DiscreteKey, DiscreteKind, NetKey, Signal};
use crate::diagnostic::{Diagnostic, did_you_mean};
use crate::language::ast::Path;

/// The most nets that are one number.
const MOST_BITS: usize = 64;

impl Binder<'_> {
    pub(super) fn signal(&mut self, path: &Path) -> Option<Signal> {
        let names = match self.scope.paths(path) {
            Ok(names) => names,
            Err(problem) => {
                self.problems.push(problem);
                return None;
            }
        };
        let key = names.join(",");
        if let Some(signal) = self.known.get(&key) {
            return Some(signal.clone());
        }
        match self.circuit.signal_of(&names).map_err(|problem| problem.at(path.span)) {
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
                if self.paths.insert(signal.path.clone()) {
                    self.mentioned.push(signal.clone());
                }
                self.known.insert(key, signal.clone());
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
        for &net in &signal.nets {
            if self.driven.insert(net) {
                self.stimuli.push(net);
            }
        }
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

    /// The one name that a path stands for.
    pub(super) fn flat(&mut self, path: &Path) -> Option<String> {
        let problem = match self.scope.paths(path) {
            Ok(mut names) if names.len() == 1 => return names.pop(),
            Ok(_) => Diagnostic::error("index", "one name is wanted here, not several")
                .at(path.span, "this stands for several names")
                .help("write one index in the brackets"),
            Err(problem) => problem,
        };
        self.problems.push(problem);
        None
    }

    /// A discrete of one of some kinds.
    pub(super) fn contact(&mut self, path: &Path, kinds: &[DiscreteKind], wanted: &str) -> Option<DiscreteKey> {
        let name = self.flat(path)?;
        let found = self.circuit.discrete(&name);
        if let Some(key) = found
            && kinds.contains(&self.circuit.discretes[key].kind)
        {
            return Some(key);
        }
        let fitting = self.circuit.discretes.values().filter(|discrete| kinds.contains(&discrete.kind));
        let names: Vec<&str> = fitting.map(|discrete| discrete.path.as_str()).collect();
        let known = found.map(|key| &self.circuit.discretes[key].kind);
        if let Some((what, cure)) = known.and_then(|kind| what_works(kind, &name)) {
            self.problems.push(
                Diagnostic::error("unknown-contact", format!("{name} is {what}, not {wanted}"))
                    .at(path.span, format!("{wanted} is wanted here"))
                    .help(cure),
            );
            return None;
        }
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

/// What a contact is, and how it is worked.
fn what_works(kind: &DiscreteKind, name: &str) -> Option<(&'static str, String)> {
    Some(match kind {
        DiscreteKind::Button => ("a button", format!("press it: `press {name} for 5 ms`, or `close {name}`")),
        DiscreteKind::Switch => ("a switch", format!("close or open it: `close {name}`")),
        DiscreteKind::Changeover => ("a changeover switch", format!("flip it: `flip {name} down`")),
        _ => return None,
    })
}
