//! Plans in place, and the nets that cables make one.
//!
//! A [`Bench`] holds the circuit while it grows. Until [`Bench::join`] each board's nets are nets of their own, and
//! the keys in chips, discretes and connectors mean these.

use super::board::{Joint, NetNumber, Plan, PlanNet};
use super::ways::{self, Named};
use super::{MOST_PINS, Problems};
use crate::circuit::{
    Acceptance, Board, BoardKey, Chip, ChipKey, Circuit, Connector, ConnectorKey, ConnectorPin,
    Discrete, DiscreteKind, Net, NetKey, Rail, within,
};
use crate::key::{Finder, Key, KeyVec};
use crate::quantity::{Length, Voltage};
use crate::text::Span;
use rustc_hash::FxHashMap;

/// A circuit that grows.
pub(super) struct Bench {
    pub(super) circuit: Circuit,
    /// The nets of the boards, each still for itself.
    nets: Vec<Net>,
    groups: Groups,
    /// Connector pins that no net stands behind, as nodes of the groups, once a wire ends there.
    bare_pins: FxHashMap<(ConnectorKey, usize), usize>,
    /// Wires: a node on each, and its length.
    wires: Vec<(usize, Length)>,
    pins: usize,
    /// What is said of ways, with the path of the board that says so.
    pub(super) ways: Vec<(String, Named)>,
}

impl Bench {
    pub(super) fn new(name: &str, assembly: bool) -> Self {
        Bench {
            circuit: Circuit {
                name: name.to_owned(),
                assembly,
                ..Circuit::default()
            },
            nets: Vec::new(),
            groups: Groups::default(),
            bare_pins: FxHashMap::default(),
            wires: Vec::new(),
            pins: 0,
            ways: Vec::new(),
        }
    }

    /// Counts the pins of one more board; false when there would be too many.
    pub(super) fn has_room_for(&mut self, plan: &Plan) -> bool {
        self.pins = self.pins.saturating_add(plan.pins.max(1));
        self.pins <= MOST_PINS
    }

    /// Puts a board in place.
    pub(super) fn place(&mut self, plan: &Plan, path: &str, span: Span) -> BoardKey {
        let circuit = &mut self.circuit;
        let board = circuit.boards.push(Board {
            path: path.to_owned(),
            design: plan.design.clone(),
            title: plan.title.clone(),
            trace: plan.trace,
            span,
        });
        let first_net = self.nets.len();
        let first_chip = circuit.chips.len();
        let net_key = |net: NetNumber| NetKey::from_index(first_net + net.index());
        let keys = |pins: &[Joint]| pins.iter().map(|pin| pin.net().map(net_key)).collect();

        self.nets.reserve(plan.nets.len());
        circuit.chips.reserve(plan.chips.len());
        for net in plan.nets.values() {
            self.groups.add(net.rail.map(|_| self.nets.len()));
            self.nets.push(fresh(net, path, board));
        }
        for chip in &plan.chips {
            let open = chip.pins.iter().enumerate();
            let open = open.filter(|(_, pin)| matches!(pin, Joint::Open(_)));
            circuit.chips.push(Chip {
                path: within(path, &chip.reference),
                board,
                reference: chip.reference.clone(),
                number: chip.number.clone(),
                part: chip.part.clone(),
                sheet: chip.sheet,
                family: chip.family.clone(),
                electrical: chip.electrical.clone(),
                estimate: chip.estimate.clone(),
                frequency: chip.frequency,
                holds: chip.holds.clone(),
                timing: Vec::new(),
                nets: keys(&chip.pins),
                open: open.map(|(pin, _)| pin).collect(),
                fed: false,
                supply: Voltage::ZERO,
                span: chip.span,
            });
        }
        for discrete in &plan.discretes {
            let mut kind = discrete.kind.clone();
            if let DiscreteKind::Capacitor(_, chips) = &mut kind {
                let key = |chip: &usize| ChipKey::from_index(first_chip + chip);
                *chips = discrete.chips.iter().map(key).collect();
            }
            circuit.discretes.push(Discrete {
                path: within(path, &discrete.reference),
                board,
                reference: discrete.reference.clone(),
                kind,
                rating: discrete.rating,
                nets: keys(&discrete.pins),
                span: discrete.span,
            });
        }
        for connector in &plan.connectors {
            let pins = connector.pins.iter().map(|pin| ConnectorPin {
                label: pin.label.clone(),
                remark: pin.remark.clone(),
                net: pin.joint.net().map(net_key),
                open: matches!(pin.joint, Joint::Open(_)),
                cables: Vec::new(),
                span: match pin.joint {
                    Joint::Net(_, span) | Joint::Open(span) => span,
                    Joint::Free => connector.span,
                },
            });
            let path = within(path, &connector.name);
            let key = circuit.connectors.push(Connector {
                path: path.clone(),
                board,
                name: connector.name.clone(),
                kind: connector.kind.clone(),
                pins: pins.collect(),
                span: connector.span,
            });
            let Circuit {
                connectors,
                connector_paths,
                ..
            } = circuit;
            connector_paths.insert(&path, key, |other| connectors[other].path == path);
        }
        let ways = plan.ways.iter();
        self.ways
            .extend(ways.map(|way| (path.to_owned(), way.clone())));
        for acceptance in &plan.accepted {
            circuit.accepted.push(Acceptance {
                place: within(path, &acceptance.place),
                board: Some(board),
                ..acceptance.clone()
            });
        }
        board
    }

    /// Lets a wire hold two or more connector pins together; all boards are in place by now. Returns the paths and
    /// voltages of two unequal rails that meet through it.
    pub(super) fn wire(
        &mut self,
        ends: &[(ConnectorKey, usize)],
        length: Length,
    ) -> Option<[(String, Rail); 2]> {
        let nodes: Vec<usize> = ends.iter().map(|end| self.node(*end)).collect();
        let (&first, others) = nodes.split_first()?;
        self.wires.push((first, length));
        let mut clash = None;
        for &other in others {
            if let Some((one, two)) = self.groups.join(first, other) {
                let (one, two) = (&self.nets[one], &self.nets[two]);
                if let Some((a, b)) = one
                    .rail
                    .zip(two.rail)
                    .filter(|(a, b)| a.declared != b.declared)
                {
                    clash = clash.or_else(|| Some([(one.path.clone(), a), (two.path.clone(), b)]));
                }
            }
        }
        clash
    }

    /// The node of a connector pin: its net's, or one of its own.
    fn node(&mut self, end: (ConnectorKey, usize)) -> usize {
        if let Some(net) = self.circuit.connectors[end.0].pins[end.1].net {
            return net.index();
        }
        let groups = &mut self.groups;
        *self
            .bare_pins
            .entry(end)
            .or_insert_with(|| groups.add(None))
    }

    /// Makes one net of each group, and freezes the circuit.
    pub(super) fn join(self, problems: &mut Problems) -> Circuit {
        let Bench {
            mut circuit,
            nets,
            mut groups,
            wires,
            ways,
            ..
        } = self;
        if wires.is_empty() {
            // Each net is for itself, and stays where it is.
            circuit.nets = nets.into_iter().collect();
            let keys: Vec<NetKey> = circuit.nets.keys().collect();
            return finish(circuit, &keys, &ways, problems);
        }
        circuit.nets.reserve(nets.len());
        let mut key_of_root: Vec<Option<NetKey>> = vec![None; groups.parents.len()];
        let mut keys = Vec::with_capacity(nets.len());
        for (node, net) in nets.into_iter().enumerate() {
            let place = &mut key_of_root[groups.root(node)];
            match *place {
                Some(key) => absorb(&mut circuit.nets[key], net),
                None => *place = Some(circuit.nets.push(net)),
            }
            keys.extend(*place);
        }
        for (node, length) in wires {
            if let Some(key) = key_of_root[groups.root(node)] {
                circuit.nets[key].wire += length;
            }
        }
        finish(circuit, &keys, &ways, problems)
    }
}

/// Everything on its final net, findable by its path; what is said of ways with its pins.
fn finish(
    mut circuit: Circuit,
    keys: &[NetKey],
    ways: &[(String, Named)],
    problems: &mut Problems,
) -> Circuit {
    connect(&mut circuit, keys);
    list_paths(&mut circuit);
    ways::resolve(&mut circuit, ways, problems);
    circuit
}

/// Gives chips, discretes and connectors their final nets, and each net its pins.
fn connect(circuit: &mut Circuit, keys: &[NetKey]) {
    let Circuit {
        chips,
        discretes,
        connectors,
        nets,
        ..
    } = circuit;
    for chip in chips.keys() {
        for (pin, net) in chips[chip].nets.iter_mut().enumerate() {
            *net = net.map(|net| keys[net.index()]);
            if let Some(net) = *net {
                nets[net].chip_pins.push((chip, pin));
            }
        }
    }
    for discrete in discretes.keys() {
        for (pin, net) in discretes[discrete].nets.iter_mut().enumerate() {
            *net = net.map(|net| keys[net.index()]);
            if let Some(net) = *net {
                nets[net].discrete_pins.push((discrete, pin));
            }
        }
    }
    for connector in connectors.keys() {
        for (index, pin) in connectors[connector].pins.iter_mut().enumerate() {
            pin.net = pin.net.map(|net| keys[net.index()]);
            if let Some(net) = pin.net {
                nets[net].connector_pins.push((connector, index));
            }
        }
    }
}

/// Makes everything findable by its path. Of several with one path the first is found.
fn list_paths(circuit: &mut Circuit) {
    let mut paths = Finder::default();
    for (key, net) in circuit.nets.iter() {
        for name in &net.names {
            let path = circuit.name_path(name);
            paths.insert(&path, key, |other| circuit.has_path(other, &path));
        }
    }
    circuit.net_paths = paths;
    circuit.chip_paths = by_path(&circuit.chips, |chip| &chip.path);
    circuit.discrete_paths = by_path(&circuit.discretes, |discrete| &discrete.path);
}

fn by_path<K: Key, V>(rows: &KeyVec<K, V>, path: impl Fn(&V) -> &String) -> Finder<K> {
    let mut paths = Finder::default();
    for (key, row) in rows.iter() {
        let path_of = path(row);
        paths.insert(path_of, key, |other| path(&rows[other]) == path_of);
    }
    paths
}

/// A net of a plan, in place.
fn fresh(net: &PlanNet, path: &str, board: BoardKey) -> Net {
    Net {
        path: within(path, &net.name),
        names: vec![(board, net.name.clone())],
        rail: net.rail.map(|(declared, span)| Rail {
            declared,
            fed: None,
            via: None,
            span,
        }),
        rail_names: (net.rail.iter().map(|_| (board, net.name.clone()))).collect(),
        chip_pins: Vec::new(),
        discrete_pins: Vec::new(),
        connector_pins: Vec::new(),
        wire: Length::ZERO,
        span: net.span,
    }
}

/// Two nets that are one: it is called after its first rail, or else after its first name.
fn absorb(net: &mut Net, other: Net) {
    if net.rail.is_none() && other.rail.is_some() {
        net.rail = other.rail;
        net.path = other.path;
    }
    net.names.extend(other.names);
    net.rail_names.extend(other.rail_names);
}

/// Groups of nodes that are one net: a forest in which each tree is a group.
#[derive(Default)]
struct Groups {
    parents: Vec<usize>,
    /// For each root, a node of its group that is a rail.
    rails: Vec<Option<usize>>,
}

impl Groups {
    /// A new node, in a group of its own.
    fn add(&mut self, rail: Option<usize>) -> usize {
        self.parents.push(self.parents.len());
        self.rails.push(rail);
        self.parents.len() - 1
    }

    /// The node that stands for the group. The way there gets shorter with each call.
    fn root(&mut self, mut node: usize) -> usize {
        while self.parents[node] != node {
            self.parents[node] = self.parents[self.parents[node]];
            node = self.parents[node];
        }
        node
    }

    /// Joins two groups under the older node. Returns the rails of both, when they were two groups with rails.
    fn join(&mut self, a: usize, b: usize) -> Option<(usize, usize)> {
        let (a, b) = (self.root(a), self.root(b));
        if a == b {
            return None;
        }
        let rails = self.rails[a].zip(self.rails[b]);
        let (older, younger) = (a.min(b), a.max(b));
        self.parents[younger] = older;
        self.rails[older] = self.rails[older].or(self.rails[younger]);
        rails
    }
}
