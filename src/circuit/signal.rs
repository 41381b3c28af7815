//! From a name that a person writes to the nets that it means: one net, a pin, or a bus.

use super::rows::{BoardKey, Circuit, NetKey};
use crate::diagnostic::{Diagnostic, nearest};
use crate::language::ast::Path;
use crate::language::expand::{Scope, natural_order};
use crate::model::DiscreteKind;
use crate::text::Span;
use std::cmp::Ordering;
use std::collections::{BTreeMap, BTreeSet};
use std::fmt;

/// Nets that are looked at, or driven, as one number.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Signal {
    /// The name that it was asked for by.
    pub path: String,
    /// Its nets, the most significant first.
    pub nets: Vec<NetKey>,
}

/// Why a name means no signal.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum SignalError {
    /// Nothing has that name.
    Unknown {
        /// The name.
        path: String,
        /// The name that was probably meant.
        near: Option<String>,
    },
    /// Something has that name which has no level.
    Other {
        /// The name.
        path: String,
        /// What it is: `a button`.
        what: String,
        /// What can be done with it.
        cure: String,
    },
    /// Different nets on several boards have it.
    Ambiguous {
        /// The name.
        path: String,
        /// The whole path of each.
        candidates: Vec<String>,
    },
    /// Nothing is wired to a pin.
    Unconnected {
        /// The name.
        path: String,
        pins: Vec<String>,
    },
    /// It is a bus, among names that are to be one bit each.
    Wide {
        /// The name.
        path: String,
        bits: usize,
    },
}

/// The nets of a bus by their index.
type Bus = BTreeMap<u32, NetKey>;

impl Circuit {
    /// The signal of a name: a net (`A.m0`), a pin (`A.U1.Q3`, `A.BUS.4`), a row of pins (`A.U1.Q`), or all nets of a
    /// board that are called after it with an index (`A.m` is A.m7 to A.m0). In an assembly the board may be left out
    /// where all that are called so are the same nets.
    ///
    /// # Errors
    /// When there is none, several that differ, or a pin without a net.
    pub fn signal(&self, path: &str) -> Result<Signal, SignalError> {
        let signal = |nets| Ok(Signal { path: path.to_owned(), nets });
        if let Some(found) = self.exactly(path) {
            return found.and_then(signal);
        }
        let qualified = path.split_once('.').and_then(|(board, stem)| {
            let mut boards = self.boards.iter();
            Some((boards.find(|(_, other)| other.path == board)?.0, stem))
        });
        if let Some((board, stem)) = qualified {
            let bus = self.buses(stem).remove(&board).filter(|bus| bus.len() > 1);
            return bus.map(descending).map_or_else(|| Err(self.unknown(path)), signal);
        }
        if self.assembly {
            return self.on_any_board(path).and_then(signal);
        }
        let bus = self.buses(path).into_values().next().filter(|bus| bus.len() > 1);
        bus.map(descending).map_or_else(|| Err(self.unknown(path)), signal)
    }

    /// The signal of several names, one bit each. Where they count up, as in m0 to m7, the last is the most
    /// significant; otherwise the first.
    ///
    /// # Errors
    /// As [`Circuit::signal`], and when one of the names is a bus.
    pub fn signal_of(&self, names: &[String]) -> Result<Signal, SignalError> {
        let ([first, .., last] | [first @ last]) = names else {
            return Err(self.unknown(""));
        };
        if names.len() == 1 {
            return self.signal(first);
        }
        let mut nets = Vec::with_capacity(names.len());
        for name in names {
            match self.signal(name)?.nets.as_slice() {
                [net] => nets.push(*net),
                wide => {
                    return Err(SignalError::Wide { path: name.clone(), bits: wide.len() });
                }
            }
        }
        if natural_order(first, last) == Ordering::Less {
            nets.reverse();
            return Ok(Signal { path: format!("{last}..{first}"), nets });
        }
        Ok(Signal { path: format!("{first}..{last}"), nets })
    }

    /// The signal of a path as it was written.
    ///
    /// # Errors
    /// A diagnostic at the path, when an index cannot be computed or as [`Circuit::signal_of`].
    pub fn signal_at(&self, path: &Path, scope: &Scope) -> Result<Signal, Diagnostic> {
        let names = scope.paths(path)?;
        self.signal_of(&names).map_err(|problem| problem.at(path.span))
    }

    /// The nets of a net's, pin's or row's whole path; `None` when nothing is called so.
    fn exactly(&self, path: &str) -> Option<Result<Vec<NetKey>, SignalError>> {
        if let Some(net) = self.net(path) {
            return Some(Ok(vec![net]));
        }
        let unconnected = |pins| {
            let path = path.to_owned();
            Some(Err(SignalError::Unconnected { path, pins }))
        };
        let (owner, name) = path.rsplit_once('.')?;
        if let Some(chip) = self.chip(owner) {
            let chip = &self.chips[chip];
            let numbered = || chip.part.pin_numbered(name.parse().ok()?).map(|pin| vec![pin]);
            let mut pins = chip.part.pins_called(name).or_else(numbered)?;
            pins.reverse();
            let nets: Option<Vec<NetKey>> = pins.iter().map(|pin| chip.nets[*pin]).collect();
            let open = pins.iter().filter(|pin| chip.nets[**pin].is_none());
            let open = open.map(|pin| chip.part.pins[*pin].name.clone());
            return nets.map_or_else(|| unconnected(open.collect()), |nets| Some(Ok(nets)));
        }
        let index = name.parse::<usize>().ok()?.checked_sub(1)?;
        let connector = self.connector(owner).map(|key| self.connectors[key].pins.len());
        let discrete = self.discrete(owner).map(|key| self.discretes[key].nets.len());
        let pins = connector.or(discrete)?;
        if index < pins { unconnected(vec![name.to_owned()]) } else { None }
    }

    /// All buses of a name, by board.
    fn buses(&self, stem: &str) -> BTreeMap<BoardKey, Bus> {
        let mut buses: BTreeMap<BoardKey, Bus> = BTreeMap::new();
        for (key, net) in self.nets.iter() {
            for (board, name) in &net.names {
                if let Some(index) = name.strip_prefix(stem).and_then(index) {
                    buses.entry(*board).or_default().insert(index, key);
                }
            }
        }
        buses
    }

    /// The nets of a name without its board.
    fn on_any_board(&self, name: &str) -> Result<Vec<NetKey>, SignalError> {
        let mut found: Vec<(String, Vec<NetKey>)> = Vec::new();
        let mut refused = None;
        for board in self.boards.values() {
            let path = format!("{}.{name}", board.path);
            match self.exactly(&path) {
                Some(Ok(nets)) => found.push((path, nets)),
                Some(Err(problem)) => refused = refused.or(Some(problem)),
                None => {}
            }
        }
        let ambiguous = |candidates| SignalError::Ambiguous { path: name.to_owned(), candidates };
        if let Some((_, nets)) = found.first() {
            if found.iter().all(|(_, other)| other == nets) {
                return Ok(nets.clone());
            }
            return Err(ambiguous(found.into_iter().map(|(path, _)| path).collect()));
        }
        // A board may have some bits of a bus only: together they are the bus, as long as they agree.
        let buses = self.buses(name);
        let mut whole = Bus::new();
        for bus in buses.values() {
            for (index, net) in bus {
                if *whole.entry(*index).or_insert(*net) != *net {
                    let path = |board: &BoardKey| format!("{}.{name}", self.boards[*board].path);
                    return Err(ambiguous(buses.keys().map(path).collect()));
                }
            }
        }
        match (whole.len(), refused) {
            (2.., _) => Ok(descending(whole)),
            (_, Some(problem)) => Err(problem),
            _ => Err(self.unknown(name)),
        }
    }

    /// The refusal of a name, with a near one: of a pin when the name begins with a chip, else of any net or bus.
    fn unknown(&self, path: &str) -> SignalError {
        if let Some((what, cure)) = self.without_level(path) {
            return SignalError::Other { path: path.to_owned(), what, cure };
        }
        let chip = path.rsplit_once('.').and_then(|(owner, pin)| Some((self.chip(owner)?, pin)));
        let near = if let Some((chip, pin)) = chip {
            let chip = &self.chips[chip];
            let pins = chip.part.pins.iter().map(|pin| pin.name.as_str());
            let rows = chip.part.groups.iter().map(|(stem, _)| stem.as_str());
            nearest(pin, pins.chain(rows)).map(|pin| format!("{}.{pin}", chip.path))
        } else {
            let mut names = BTreeSet::new();
            let nets = self.net_names();
            for whole in nets.iter().map(String::as_str) {
                let bare = whole.split_once('.').map_or(whole, |(_, name)| name);
                for name in [whole, bare] {
                    names.insert(name);
                    names.insert(name.trim_end_matches(|c: char| c.is_ascii_digit()));
                }
            }
            nearest(path, names).map(str::to_owned)
        };
        SignalError::Unknown { path: path.to_owned(), near }
    }
}

impl Circuit {
    /// What has a name, but no level, and what is done with it.
    fn without_level(&self, path: &str) -> Option<(String, String)> {
        if let Some(key) = self.discrete(path) {
            let (what, cure) = match self.discretes[key].kind {
                DiscreteKind::Button => ("a button", format!("press it: `press {path} for 5 ms`")),
                DiscreteKind::Switch => ("a switch", format!("close or open it: `close {path}`")),
                DiscreteKind::Changeover => ("a changeover switch", format!("flip it: `flip {path} down`")),
                _ => ("a part without a level of its own", "name the net at one of its pins".to_owned()),
            };
            return Some((what.to_owned(), cure));
        }
        if let Some(key) = self.chip(path) {
            let chip = &self.chips[key];
            let pin = chip.part.pins.first().map_or("1", |pin| pin.name.as_str());
            return Some((format!("a chip, {}", chip.number), format!("name one of its pins, as in `{path}.{pin}`")));
        }
        if self.connector(path).is_some() {
            return Some(("a connector".to_owned(), format!("name one of its pins, as in `{path}.1`")));
        }
        let mut boards = self.boards.values();
        let is_board = self.assembly && boards.any(|board| board.path == path);
        is_board.then(|| ("a board".to_owned(), format!("name a net on it, as in `{path}.clk`")))
    }
}

/// The nets of a bus, the highest index first.
fn descending(bus: Bus) -> Vec<NetKey> {
    bus.into_values().rev().collect()
}

/// The index behind a stem, written without needless zeros.
fn index(digits: &str) -> Option<u32> {
    let plain = digits.bytes().all(|byte| byte.is_ascii_digit()) && (digits == "0" || !digits.starts_with('0'));
    if plain { digits.parse().ok() } else { None }
}

impl fmt::Display for SignalError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            SignalError::Unknown { path, .. } => {
                write!(f, "there is no net, pin or bus `{path}`")
            }
            SignalError::Other { path, what, .. } => write!(f, "{path} is {what}: it has no level"),
            SignalError::Ambiguous { path, candidates } => {
                write!(f, "`{path}` may be any of {}: they are not the same", candidates.join(", "))
            }
            SignalError::Unconnected { path, pins } => {
                write!(f, "`{path}` has no level: nothing is connected to {}", pins.join(", "))
            }
            SignalError::Wide { path, bits } => {
                write!(f, "`{path}` is a bus of {bits} bits, where one bit is wanted")
            }
        }
    }
}

impl std::error::Error for SignalError {}

impl SignalError {
    /// What to do about it.
    pub fn help(&self) -> String {
        match self {
            SignalError::Unknown { near: Some(near), .. } => format!("did you mean `{near}`?"),
            SignalError::Unknown { .. } => "write a net, a pin or a bus as in `A.m0`, `A.U1.Q3`, `A.m`".to_owned(),
            SignalError::Other { cure, .. } => cure.clone(),
            SignalError::Ambiguous { candidates, .. } => match candidates.first() {
                Some(first) => format!("write the board as well, as in `{first}`"),
                None => "write the board as well".to_owned(),
            },
            SignalError::Unconnected { .. } => "name a pin that is wired".to_owned(),
            SignalError::Wide { path, .. } => format!("name one of its bits, as in `{path}0`"),
        }
    }

    /// The error in one line, for names that stand in no file.
    pub fn line(&self) -> String {
        format!("{self}; {}", self.help())
    }

    /// The error as a diagnostic at a place.
    pub fn at(&self, span: Span) -> Diagnostic {
        Diagnostic::error("unknown-signal", self.to_string()).at(span, "this name").help(self.help())
    }
}
