//! From the path of a thing to its row, and back.

use super::rows::{BoardKey, ChipKey, Circuit, ConnectorKey, DiscreteKey, NetKey};
use crate::logic::Level;
use crate::model::{Model, within};
use crate::part::PinIndex;
use crate::quantity::Voltage;
use std::sync::Arc;

impl Circuit {
    /// The model that it was frozen from.
    pub fn model(&self) -> &Arc<Model> {
        &self.model
    }

    /// The level that its supply holds a fed rail at.
    pub fn rail_level(&self, net: NetKey) -> Option<Level> {
        let fed = self.nets[net].rail?.fed?;
        Some(if fed == Voltage::ZERO { Level::Zero } else { Level::One })
    }

    /// The net of a path: `A.m0`, a chip pin `A.U1.Q3` or `A.U1.5`, a connector pin `A.BUS.4`.
    pub fn net(&self, path: &str) -> Option<NetKey> {
        self.net_paths.find(path, |net| self.has_path(net, path)).or_else(|| self.pin_net(path))
    }

    /// The chip of a path.
    pub fn chip(&self, path: &str) -> Option<ChipKey> {
        self.chip_paths.find(path, |key| self.chips[key].path == path)
    }

    /// The discrete of a path.
    pub fn discrete(&self, path: &str) -> Option<DiscreteKey> {
        self.discrete_paths.find(path, |key| self.discretes[key].path == path)
    }

    /// The connector of a path.
    pub fn connector(&self, path: &str) -> Option<ConnectorKey> {
        self.connector_paths.find(path, |key| self.connectors[key].path == path)
    }

    /// The path of a chip's pin: `A.U1.Q3`.
    pub fn pin_path(&self, chip: ChipKey, pin: PinIndex) -> String {
        let chip = &self.chips[chip];
        format!("{}.{}", chip.path, chip.part.pins[pin].name)
    }

    /// The path of a connector's pin: `A.BUS.4`.
    pub fn connector_pin_path(&self, connector: ConnectorKey, index: usize) -> String {
        format!("{}.{}", self.connectors[connector].path, index + 1)
    }

    /// Every path that a net has, in order, for the offer of a near name.
    pub(super) fn net_names(&self) -> Vec<String> {
        let nets = self.nets.values().flat_map(|net| &net.names);
        let mut names: Vec<String> = nets.map(|name| self.name_path(name)).collect();
        names.sort_unstable();
        names.dedup();
        names
    }

    /// The path of a net's name.
    pub(super) fn name_path(&self, (board, name): &(BoardKey, Arc<str>)) -> String {
        within(&self.boards[*board].path, name)
    }

    /// True when a path is one of a net's.
    pub(super) fn has_path(&self, net: NetKey, path: &str) -> bool {
        self.nets[net].names.iter().any(|(board, name)| {
            let board = self.boards[*board].path.as_str();
            match path.strip_suffix(&**name) {
                Some(before) => match before.strip_suffix('.') {
                    Some(before) if !board.is_empty() => before == board,
                    _ => before.is_empty() && board.is_empty(),
                },
                None => false,
            }
        })
    }

    fn pin_net(&self, path: &str) -> Option<NetKey> {
        let (owner, pin) = path.rsplit_once('.')?;
        if let Some(chip) = self.chip(owner) {
            let chip = &self.chips[chip];
            let numbered = pin.parse().ok().and_then(|number| chip.part.pin_numbered(number));
            return chip.nets[chip.part.pin_named(pin).or(numbered)?];
        }
        let index = pin.parse::<usize>().ok()?.checked_sub(1)?;
        if let Some(connector) = self.connector(owner) {
            return self.connectors[connector].pins.get(index)?.net;
        }
        let discrete = self.discrete(owner)?;
        self.discretes[discrete].nets.get(index).copied().flatten()
    }
}
