//! Nets: the connected components of copper segments, contacts and conductors.

use super::groups::Groups;
use super::keys::Keys;
use crate::circuit::rows::{BoardKey, Net, NetKey, Rail};
use crate::diagnostic::Diagnostic;
use crate::key::KeyVec;
use crate::model::{Cable, End, Joint, Model, Problems, Segment, SegmentId, within};
use crate::quantity::{Length, Voltage};
use rustc_hash::FxHashMap;
use slotmap::SecondaryMap;

/// The nets of a model, still without pins.
pub(super) struct Nets {
    pub(super) rows: KeyVec<NetKey, Net>,
    /// The net of each segment that is a net, or a part of one.
    pub(super) of: SecondaryMap<SegmentId, NetKey>,
    /// Nets on which rails of different voltages meet.
    pub(super) clashing: Vec<NetKey>,
}

/// Finds the nets.
pub(super) fn join(model: &Model, keys: &Keys, problems: &mut Problems) -> Nets {
    let mut joiner = Joiner::new(model);
    joiner.bridges(problems);
    for cable in model.cables().map(|(_, cable)| cable) {
        joiner.cable(cable, problems);
    }
    joiner.nets(keys)
}

struct Joiner<'m> {
    model: &'m Model,
    groups: Groups,
    /// The segment of each of the first nodes, in order of writing.
    segments: Vec<SegmentId>,
    nodes: SecondaryMap<SegmentId, u32>,
    /// Contacts that no copper is behind, once a conductor ends there.
    bare: FxHashMap<End, u32>,
    /// Conductors: a node on each, and its length.
    conductors: Vec<(u32, Length)>,
    /// A node of each group on which rails of different voltages meet.
    clashing: Vec<u32>,
}

impl<'m> Joiner<'m> {
    fn new(model: &'m Model) -> Joiner<'m> {
        let mut joiner = Joiner {
            model,
            groups: Groups::default(),
            segments: Vec::with_capacity(model.segments.len()),
            nodes: SecondaryMap::with_capacity(model.segments.capacity()),
            bare: FxHashMap::default(),
            conductors: Vec::new(),
            clashing: Vec::new(),
        };
        for (id, segment) in model.segments() {
            let node = joiner.groups.add(segment.rail.is_some());
            joiner.nodes.insert(id, node);
            joiner.segments.push(id);
        }
        joiner
    }

    /// Joins two nodes; the segments of two unequal rails that meet through it.
    fn join(&mut self, one: u32, other: u32) -> Option<[&'m Segment; 2]> {
        let (a, b) = self.groups.join(one, other)?;
        let segment = |node: u32| &self.model.segments[self.segments[node as usize]];
        let (a, b) = (segment(a), segment(b));
        let voltage = |segment: &Segment| segment.rail.map(|(voltage, _)| voltage);
        (voltage(a) != voltage(b)).then(|| {
            self.clashing.push(one);
            [a, b]
        })
    }

    fn bridges(&mut self, problems: &mut Problems) {
        for [one, other] in self.model.bridges.values() {
            let (a, b) = (self.nodes[*one], self.nodes[*other]);
            if let Some(rails) = self.join(a, b) {
                problems.report(self.rails_meet("a bridge", rails, None));
            }
        }
    }

    /// Lets the conductors of a cable hold contacts together. One clash is reported for each cable.
    fn cable(&mut self, cable: &Cable, problems: &mut Problems) {
        let mut clash = None;
        for conductor in &cable.conductors {
            let mut ends = conductor.iter();
            let Some(first) = ends.next().map(|end| self.node(*end)) else {
                continue;
            };
            self.conductors.push((first, cable.length));
            for end in ends {
                let node = self.node(*end);
                let met = self.join(first, node);
                clash = clash.or(met.map(|rails| (conductor, rails)));
            }
        }
        if let Some((conductor, rails)) = clash {
            let what = format!("cable {}", cable.name);
            problems.report(self.rails_meet(&what, rails, Some((cable, conductor))));
        }
    }

    /// The node of a contact: its segment's, or one of its own.
    fn node(&mut self, end: End) -> u32 {
        let contact = &self.model.connectors[end.0].contacts[end.1];
        if let Joint::Segment(segment) = contact.joint {
            return self.nodes[segment];
        }
        let groups = &mut self.groups;
        *self.bare.entry(end).or_insert_with(|| groups.add(false))
    }

    fn rails_meet(&self, what: &str, rails: [&Segment; 2], through: Option<(&Cable, &Vec<End>)>) -> Diagnostic {
        let path = |segment: &Segment| {
            let board = &self.model.boards[segment.board];
            within(&board.path, &segment.name)
        };
        let [one, two] = rails.map(path);
        let [a, b] = rails.map(|segment| segment.rail.unwrap_or((Voltage::ZERO, segment.span)));
        let message = format!("{what} joins {one} ({}) to {two} ({})", a.0, b.0);
        let mut problem = Diagnostic::error("rail-conflict", message);
        if let Some((cable, conductor)) = through {
            let ends: Vec<String> = conductor.iter().map(|end| self.model.contact_path(*end)).collect();
            problem = problem.at(cable.span, format!("its wire from {}", ends.join(" to ")));
        }
        problem
            .at(a.1, format!("{} here", a.0))
            .at(b.1, format!("{} here", b.0))
            .help("see whether a connector is turned round, or its pins are in another order")
    }

    /// One net for each group that has copper, in the order of its first segment.
    fn nets(mut self, keys: &Keys) -> Nets {
        let mut rows: KeyVec<NetKey, Net> = KeyVec::new();
        rows.reserve(self.segments.len());
        let mut of = SecondaryMap::with_capacity(self.model.segments.capacity());
        let mut key_of_root: Vec<Option<NetKey>> = vec![None; self.groups.len()];
        for (node, id) in self.segments.iter().enumerate() {
            let segment = &self.model.segments[*id];
            // Copper that nothing is connected to is no net, unless it is declared.
            if segment.pins.is_empty() && segment.rail.is_none() {
                continue;
            }
            let board = keys.boards[segment.board];
            let path = || within(&self.model.boards[segment.board].path, &segment.name);
            let place = &mut key_of_root[self.groups.root(node as u32)];
            let key = match *place {
                Some(key) => {
                    absorb(&mut rows[key], segment, path, board);
                    key
                }
                None => *place.insert(rows.push(fresh(segment, path(), board))),
            };
            of.insert(*id, key);
        }
        for (node, length) in &self.conductors {
            if let Some(key) = key_of_root[self.groups.root(*node)] {
                rows[key].wire += *length;
            }
        }
        let clashing = std::mem::take(&mut self.clashing).into_iter();
        let clashing = clashing.filter_map(|node| key_of_root[self.groups.root(node)]);
        Nets { clashing: clashing.collect(), rows, of }
    }
}

/// The net of one segment.
fn fresh(segment: &Segment, path: String, board: BoardKey) -> Net {
    let name = (board, segment.name.clone());
    Net {
        path,
        rail: rail(segment),
        rail_names: segment.rail.iter().map(|_| name.clone()).collect(),
        names: vec![name],
        chip_pins: Vec::new(),
        discrete_pins: Vec::new(),
        connector_pins: Vec::new(),
        wire: Length::ZERO,
        span: segment.span,
    }
}

fn rail(segment: &Segment) -> Option<Rail> {
    segment.rail.map(|(declared, span)| Rail { declared, fed: None, via: None, span })
}

/// One more segment of a net, which is called after its first rail, or else after its first name.
fn absorb(net: &mut Net, segment: &Segment, path: impl Fn() -> String, board: BoardKey) {
    if net.rail.is_none() && segment.rail.is_some() {
        net.rail = rail(segment);
        net.path = path();
    }
    let name = (board, segment.name.clone());
    if segment.rail.is_some() {
        net.rail_names.push(name.clone());
    }
    net.names.push(name);
}
