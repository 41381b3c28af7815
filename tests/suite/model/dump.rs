//! A circuit in lines, without the places of texts and without the order of nets: what two circuits of one design have
//! in common.

use coldboard::circuit::{
    Board, Cable, Chip, Circuit, Connector, ConnectorPin, Discrete, Net, NetKey, Rail, Supply, TimingPath, Waiver,
};
use std::collections::BTreeSet;

/// Names that a circuit may have and another one not: those of copper that a bridge holds to other copper.
pub(super) type Hidden = BTreeSet<String>;

/// Every field of a circuit. Nets stand for the sorted list of their names; they come in the order of these.
pub(super) fn dump(circuit: &Circuit, hidden: &Hidden) -> Vec<String> {
    let dumper = Dumper { circuit, hidden };
    let mut lines = vec![format!("{} {}", circuit.name, circuit.assembly)];
    lines.extend(circuit.boards.values().map(board));
    lines.extend(circuit.chips.values().map(|chip| dumper.chip(chip)));
    lines.extend(circuit.discretes.values().map(|row| dumper.discrete(row)));
    lines.extend(circuit.connectors.values().map(|row| dumper.connector(row)));
    lines.extend(circuit.cables.values().map(|cable| dumper.cable(cable)));
    lines.extend(circuit.supplies.values().map(|row| dumper.supply(row)));
    for Waiver { rule, place, reason, board, span: _ } in &circuit.waivers {
        lines.push(format!("accept {rule} {place} {reason} {board:?}"));
    }
    for (word, paths) in [("unused", &circuit.false_paths), ("synchroniser", &circuit.synchronisers)] {
        for TimingPath { from, to, reason, span: _ } in paths {
            lines.push(format!("{word} {from:?} {to:?} {reason}"));
        }
    }
    let mut nets: Vec<String> = circuit.nets.keys().map(|net| dumper.net(net)).collect();
    nets.sort_unstable();
    lines.extend(nets);
    lines
}

struct Dumper<'c> {
    circuit: &'c Circuit,
    hidden: &'c Hidden,
}

fn board(board: &Board) -> String {
    let Board { path, design, title, trace, span: _ } = board;
    format!("board {path} {design} {title:?} {trace:?}")
}

impl Dumper<'_> {
    fn names(&self, net: NetKey) -> Vec<String> {
        let names = self.circuit.nets[net].names.iter();
        let names = names.map(|(board, name)| {
            let path = &self.circuit.boards[*board].path;
            // Everything must be found by its own path.
            let whole = [path.as_str(), name].join(".");
            let whole = whole.trim_start_matches('.').to_owned();
            assert_eq!(self.circuit.net(&whole), Some(net), "{whole}");
            whole
        });
        let mut names: Vec<String> = names.filter(|name| !self.hidden.contains(name)).collect();
        names.sort_unstable();
        names
    }

    fn label(&self, net: NetKey) -> String {
        self.names(net).join("+")
    }

    fn labels(&self, nets: &[Option<NetKey>]) -> Vec<String> {
        let nets = nets.iter();
        nets.map(|net| net.map_or("-".to_owned(), |net| self.label(net))).collect()
    }

    fn chip(&self, chip: &Chip) -> String {
        let Chip {
            path,
            board,
            reference,
            number,
            part,
            sheet,
            family,
            electrical,
            estimate,
            frequency,
            initial_contents,
            nets,
            open,
            fed,
            supply,
            timing,
            span: _,
        } = chip;
        let key = self.circuit.chip(path).expect("found by its path");
        assert_eq!(self.circuit.chips[key].path, *path);
        let contents = initial_contents.as_ref().map(|it| (&it.name, it.lane, it.window));
        let electrical = electrical.as_ref().map(|family| &family.name);
        format!(
            "chip {path} {board:?} {reference} {number} {} {sheet:?} {family:?} {electrical:?} {estimate:?} {frequency:?} \
             {contents:?} {:?} {open:?} {fed} {supply:?} {timing:?}",
            part.name,
            self.labels(nets)
        )
    }

    fn discrete(&self, discrete: &Discrete) -> String {
        let Discrete { path, board, reference, kind, decouples, rating, nets, span: _ } = discrete;
        format!("discrete {path} {board:?} {reference} {kind:?} {decouples:?} {rating:?} {:?}", self.labels(nets))
    }

    fn connector(&self, connector: &Connector) -> String {
        let Connector { path, board, name, kind, pins, span: _ } = connector;
        let pins = pins.iter().map(|pin| {
            let ConnectorPin { label, remark, net, open, cables, span: _ } = pin;
            let net = self.labels(&[*net]);
            format!("{label:?} {remark:?} {net:?} {open} {cables:?}")
        });
        let pins: Vec<String> = pins.collect();
        format!("connector {path} {board:?} {name} {kind} {pins:?}")
    }

    fn cable(&self, cable: &Cable) -> String {
        let Cable { name, kind, length, wires, span: _ } = cable;
        format!("cable {name} {kind} {length:?} {wires:?}")
    }

    fn supply(&self, supply: &Supply) -> String {
        let Supply { name, voltage, current, plus, minus, pins, span: _ } = supply;
        let sorted = |nets: &[NetKey]| {
            let labels: BTreeSet<String> = nets.iter().map(|net| self.label(*net)).collect();
            labels
        };
        let (plus, minus) = (sorted(plus), sorted(minus));
        format!("supply {name} {voltage:?} {current:?} {plus:?} {minus:?} {pins:?}")
    }

    fn net(&self, key: NetKey) -> String {
        let Net { path, names: _, rail, rail_names, chip_pins, discrete_pins, connector_pins, wire, span: _ } =
            &self.circuit.nets[key];
        let rails = rail_names.iter().map(|(board, name)| {
            let path = &self.circuit.boards[*board].path;
            let whole = [path.as_str(), name].join(".");
            whole.trim_start_matches('.').to_owned()
        });
        let rails: BTreeSet<String> = rails.filter(|name| !self.hidden.contains(name)).collect();
        let rail = rail.map(|rail| {
            let Rail { declared, fed, via, span: _ } = rail;
            let via = via.map(|(contact, net)| (contact, self.label(net)));
            (declared, fed, via)
        });
        let label = self.names(key);
        let board = |name: &String| name.split_once('.').map(|(board, _)| board.to_owned());
        let boards: BTreeSet<_> = label.iter().map(board).collect();
        // Which of several names on one board comes first is a matter of the order in which they are written; a name
        // that is hidden stands for the one of its board that is not.
        let path = match label.iter().find(|name| board(name) == board(path)) {
            Some(name) if boards.len() == label.len() => name,
            _ => "",
        };
        format!(
            "net {} {path} {rail:?} {rails:?} {chip_pins:?} {discrete_pins:?} {connector_pins:?} {wire:?}",
            label.join("+")
        )
    }
}
