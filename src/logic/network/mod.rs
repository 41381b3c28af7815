//! Levels in a network of resistors and contacts: what each link gives to the nodes at its ends.
//!
//! # What passes
//!
//! Each node has a level of its own, from what drives it beside the links. Closed contacts join nodes to a supernode, and
//! pass levels as they are: to a node comes what the other nodes of its supernode have by themselves and by their
//! resistors. A resistor passes a level as a weak one ([`Level::weak`]), both ways, on and on from node to node; it
//! never gives back to an end what it brought there itself, so that no loop can hold itself up by one resistor. Where a
//! supernode is driven strongly, nothing that is weak passes through it. A resistor inside a supernode passes nothing.
//!
//! # How it is worked out
//!
//! Of the weak levels, W is L and H together, so that each direction of a resistor either brings a pull down or not, and
//! a pull up or not. A direction brings a pull when the supernode behind it is pulled so by its own nodes or, where it is
//! not driven strongly, by another resistor. So a supernode counts how many resistors pull it either way, and what it
//! passes to one of them is that count but for this one.
//!
//! When a node takes another level or a contact moves, the pulls that have lost their reason are withdrawn, on and on
//! along the resistors. A reason must be older than what it is a reason for, so that pulls in a loop are never reasons for
//! one another. Then each pull is restored that younger ones are a reason for, and what follows from it in turn.
//! Whatever cannot be affected is not looked at. Of two supernodes that a contact joins the smaller moves into the
//! larger, and when a contact opens, both sides are searched step by step in turn, until the smaller is found.

mod contacts;
mod pulls;
mod tally;
#[cfg(test)]
mod tests;

use super::Level;
use pulls::Pulls;
use std::collections::VecDeque;
use tally::{Summary, Tally};

/// One end of a link.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct End {
    /// The number of the link.
    pub link: u32,
    /// Which of its ends, 0 or 1.
    pub side: u8,
}

/// Nodes, and the resistors and contacts between them.
#[derive(Clone, Debug, Default)]
pub struct Network {
    nodes: Vec<Node>,
    links: Vec<Link>,
    supernodes: Vec<Supernode>,
    /// Numbers of supernodes that have no nodes.
    unused: Vec<u32>,
    /// Supernodes that may have no reason any more for pulls that they give.
    suspects: VecDeque<u32>,
    /// How many pulls have been brought until now.
    brought: u64,
    /// Ends at which a resistor may bring more than it does.
    unsure: Vec<End>,
    /// Supernodes of which a node has changed.
    touched: Vec<u32>,
    /// Ends to which a link may give another level than before.
    pending: Vec<End>,
    /// For a search: from which side a node was reached, 0 for none.
    reached: Vec<u8>,
}

#[derive(Clone, Debug)]
struct Node {
    /// What drives it beside the links.
    own: Level,
    /// That and what its resistors bring.
    all: Level,
    /// How many resistors pull it low and high.
    pulled: [u32; 2],
    /// The ends of resistors and contacts here.
    resistors: Vec<End>,
    contacts: Vec<End>,
    supernode: u32,
    /// Its place among the nodes of the supernode.
    place: u32,
}

#[derive(Clone, Debug)]
struct Link {
    nodes: [u32; 2],
    /// False for resistors.
    closed: bool,
    is_contact: bool,
    /// What a resistor brings to either end.
    brings: [Pulls; 2],
    /// For either end, as how many-eth pull it brought each.
    since: [[u64; 2]; 2],
    /// What was last reported that it gives to either end.
    gives: [Level; 2],
    /// True for ends that are among the pending ones.
    is_pending: [bool; 2],
}

/// Nodes that closed contacts join.
#[derive(Clone, Debug, Default)]
struct Supernode {
    nodes: Vec<u32>,
    /// What its nodes have by themselves, and with their resistors.
    own: Tally,
    all: Tally,
    drive: Drive,
    /// How many resistors pull it low and high.
    pulled: [u32; 2],
    /// To how many ends of resistors it gives a pull low and high.
    pulls: [u32; 2],
    /// The pulls that it may give without a reason.
    suspected: Pulls,
    /// What it came to when its contacts were last looked at.
    seen: Summary,
    touched: bool,
}

/// What a supernode is driven to beside its resistors.
#[derive(Clone, Copy, Debug, Default)]
struct Drive {
    is_strong: bool,
    pulls: Pulls,
}

impl Drive {
    fn of(level: Level) -> Drive {
        Drive { is_strong: level != level.weak(), pulls: Pulls::of(level) }
    }
}

impl End {
    fn other(self) -> End {
        End { side: 1 - self.side, ..self }
    }
}

impl Network {
    /// So many nodes that nothing drives, without links.
    pub fn new(nodes: usize) -> Network {
        let mut network = Network::default();
        for number in 0..nodes as u32 {
            network.nodes.push(Node {
                own: Level::Z,
                all: Level::Z,
                pulled: [0; 2],
                resistors: Vec::new(),
                contacts: Vec::new(),
                supernode: number,
                place: 0,
            });
            let mut supernode = Supernode { nodes: vec![number], ..Supernode::default() };
            supernode.own.add(number, Level::Z);
            supernode.all.add(number, Level::Z);
            network.supernodes.push(supernode);
        }
        network.reached = vec![0; nodes];
        network
    }

    /// Adds a resistor between two nodes, before anything drives them, and returns the number of the link.
    pub fn add_resistor(&mut self, nodes: [u32; 2]) -> u32 {
        self.add_link(nodes, false)
    }

    /// Adds an open contact between two nodes and returns the number of the link.
    pub fn add_contact(&mut self, nodes: [u32; 2]) -> u32 {
        self.add_link(nodes, true)
    }

    fn add_link(&mut self, nodes: [u32; 2], is_contact: bool) -> u32 {
        let link = self.links.len() as u32;
        self.links.push(Link {
            nodes,
            closed: false,
            is_contact,
            brings: [Pulls::NONE; 2],
            since: [[0; 2]; 2],
            gives: [Level::Z; 2],
            is_pending: [false; 2],
        });
        for (side, node) in (0..).zip(nodes) {
            let node = &mut self.nodes[node as usize];
            let ends = if is_contact { &mut node.contacts } else { &mut node.resistors };
            ends.push(End { link, side });
        }
        link
    }

    /// Drives a node to a level, beside what the links give to it.
    pub fn set_own(&mut self, node: u32, level: Level) {
        // As a resolved level, which is never `-`.
        let level = Level::Z.resolve(level);
        let row = &mut self.nodes[node as usize];
        let was = std::mem::replace(&mut row.own, level);
        if was == level {
            return;
        }
        let number = row.supernode;
        let supernode = &mut self.supernodes[number as usize];
        supernode.own.remove(node, was);
        supernode.own.add(node, level);
        self.update(node);
        self.follow_own(number, Pulls::NONE, Pulls::NONE);
        self.restore();
    }

    /// Closes or opens a contact.
    pub fn set_closed(&mut self, link: u32, closed: bool) {
        let row = &mut self.links[link as usize];
        if !row.is_contact || std::mem::replace(&mut row.closed, closed) == closed {
            return;
        }
        let [a, b] = row.nodes.map(|node| self.nodes[node as usize].supernode);
        for side in [0, 1] {
            self.look_at(End { link, side });
        }
        if closed && a != b {
            self.join(a, b);
        } else if let Some(nodes) = (!closed).then(|| self.apart(link)).flatten() {
            self.divide(a, &nodes);
        }
        self.restore();
    }

    /// What a node has from everything that drives it.
    pub fn level(&self, node: u32) -> Level {
        let supernode = self.nodes[node as usize].supernode;
        self.supernodes[supernode as usize].all.level()
    }

    /// What each closed contact at a node gives to it: the link, and the level.
    pub fn given(&self, node: u32) -> impl Iterator<Item = (u32, Level)> {
        let ends = self.nodes[node as usize].contacts.iter();
        let closed = ends.filter(|end| self.links[end.link as usize].closed);
        closed.map(|&end| (end.link, self.at_end(end)))
    }

    /// The next end to which a link gives another level than was last reported, and the level; in no order that means
    /// anything. `None` when all have been reported.
    pub fn next_change(&mut self) -> Option<(End, Level)> {
        while let Some(number) = self.touched.pop() {
            self.look_at_contacts(number);
        }
        while let Some(end) = self.pending.pop() {
            let level = self.at_end(end);
            let link = &mut self.links[end.link as usize];
            let side = usize::from(end.side);
            link.is_pending[side] = false;
            if std::mem::replace(&mut link.gives[side], level) != level {
                return Some((end, level));
            }
        }
        None
    }

    /// What a link gives to one of its ends.
    fn at_end(&self, end: End) -> Level {
        let link = &self.links[end.link as usize];
        let side = usize::from(end.side);
        if !link.is_contact {
            return link.brings[side].level();
        }
        if !link.closed {
            return Level::Z;
        }
        let node = &self.nodes[link.nodes[side] as usize];
        let supernode = &self.supernodes[node.supernode as usize];
        supernode.all.level_without(node.all)
    }

    /// The level of a node follows what drives it and what its resistors bring.
    fn update(&mut self, node: u32) {
        let row = &mut self.nodes[node as usize];
        let level = row.own.resolve(Pulls::counted(row.pulled).level());
        let was = std::mem::replace(&mut row.all, level);
        if was != level {
            let number = row.supernode;
            let supernode = &mut self.supernodes[number as usize];
            supernode.all.remove(node, was);
            supernode.all.add(node, level);
            self.touch(number);
        }
    }

    /// Remembers that the contacts of a supernode are to be looked at.
    fn touch(&mut self, number: u32) {
        let touched = &mut self.supernodes[number as usize].touched;
        if !std::mem::replace(touched, true) {
            self.touched.push(number);
        }
    }

    /// Remembers that a link may give another level to an end.
    fn look_at(&mut self, end: End) {
        let is_pending = &mut self.links[end.link as usize].is_pending[usize::from(end.side)];
        if !std::mem::replace(is_pending, true) {
            self.pending.push(end);
        }
    }

    /// The supernode at an end.
    fn supernode_at(&self, end: End) -> u32 {
        let node = self.links[end.link as usize].nodes[usize::from(end.side)];
        self.nodes[node as usize].supernode
    }
}
