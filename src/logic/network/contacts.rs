//! Contacts that close and open: supernodes that become one, or two.

use super::pulls::Pulls;
use super::{End, Network, Supernode};

impl Network {
    /// A contact has closed between two supernodes.
    pub(super) fn join(&mut self, a: u32, b: u32) {
        let size = |number: u32| self.supernodes[number as usize].nodes.len();
        let (keep, gone) = if size(a) < size(b) { (b, a) } else { (a, b) };
        for at in 0..self.supernodes[gone as usize].nodes.len() {
            self.isolate(self.supernodes[gone as usize].nodes[at], Some(keep));
        }
        self.withdraw();
        let moved = std::mem::take(&mut self.supernodes[gone as usize]);
        // It may stand among the touched ones.
        self.supernodes[gone as usize].touched = moved.touched;
        self.unused.push(gone);
        let supernode = &mut self.supernodes[keep as usize];
        for &node in &moved.nodes {
            self.nodes[node as usize].place = supernode.nodes.len() as u32;
            self.nodes[node as usize].supernode = keep;
            supernode.nodes.push(node);
        }
        supernode.own.add_all(&moved.own);
        supernode.all.add_all(&moved.all);
        for kind in [0, 1] {
            supernode.pulled[kind] += moved.pulled[kind];
        }
        self.follow_own(keep, Pulls::NONE, Pulls::counted(moved.pulled));
        for &node in &moved.nodes {
            self.doubt_node(node, None);
            self.look_at_node(node);
        }
        self.touch(keep);
    }

    /// Withdraws what the resistors of a node bring to other nodes, and what comes to it from one supernode.
    fn isolate(&mut self, node: u32, from: Option<u32>) {
        for at in 0..self.nodes[node as usize].resistors.len() {
            let end = self.nodes[node as usize].resistors[at];
            self.withdraw_at(end.other(), Pulls::BOTH);
            if Some(self.supernode_at(end.other())) == from {
                self.withdraw_at(end, Pulls::BOTH);
            }
        }
    }

    /// A contact has opened: some nodes of a supernode are one for themselves.
    pub(super) fn divide(&mut self, number: u32, nodes: &[u32]) {
        for &node in nodes {
            self.isolate(node, None);
        }
        self.withdraw();
        let new = self.unused.pop().unwrap_or_else(|| {
            self.supernodes.push(Supernode::default());
            self.supernodes.len() as u32 - 1
        });
        for &node in nodes {
            self.move_node(node, new);
        }
        let pulled = Pulls::counted(self.supernodes[new as usize].pulled);
        self.follow_own(number, pulled, Pulls::NONE);
        self.follow_own(new, Pulls::NONE, Pulls::NONE);
        for &node in nodes {
            self.doubt_node(node, None);
            // What comes through resistors from the other part.
            self.unsure.extend(&self.nodes[node as usize].resistors);
            self.look_at_node(node);
        }
        self.touch(number);
        self.touch(new);
    }

    /// Moves a node that gives nothing to its resistors into another supernode.
    fn move_node(&mut self, node: u32, to: u32) {
        let place = self.supernodes[to as usize].nodes.len() as u32;
        let row = &mut self.nodes[node as usize];
        let from = std::mem::replace(&mut row.supernode, to) as usize;
        let left = std::mem::replace(&mut row.place, place);
        let row = &self.nodes[node as usize];
        let (own, all, pulled) = (row.own, row.all, row.pulled);
        let old = &mut self.supernodes[from];
        old.nodes.swap_remove(left as usize);
        if let Some(&moved) = old.nodes.get(left as usize) {
            self.nodes[moved as usize].place = left;
        }
        old.own.remove(node, own);
        old.all.remove(node, all);
        let new = &mut self.supernodes[to as usize];
        new.nodes.push(node);
        new.own.add(node, own);
        new.all.add(node, all);
        for kind in [0, 1] {
            self.supernodes[from].pulled[kind] -= pulled[kind];
            self.supernodes[to as usize].pulled[kind] += pulled[kind];
        }
    }

    /// The nodes on one side of an open contact, when no other contact joins them to the other side: on that of which
    /// they are found first.
    pub(super) fn apart(&mut self, link: u32) -> Option<Vec<u32>> {
        let starts = self.links[link as usize].nodes;
        let mut sides = starts.map(|node| vec![node]);
        for (mark, node) in (1..).zip(starts) {
            self.reached[node as usize] = mark;
        }
        let found = self.search(&mut sides);
        for &node in sides.iter().flatten() {
            self.reached[node as usize] = 0;
        }
        found.map(|side| std::mem::take(&mut sides[side]))
    }

    /// Goes on from both sides by turns; returns the side that comes to its end, unless it reaches the other.
    fn search(&mut self, sides: &mut [Vec<u32>; 2]) -> Option<usize> {
        for at in 0.. {
            for side in [0, 1] {
                let Some(&node) = sides[side].get(at) else {
                    return Some(side);
                };
                for end in &self.nodes[node as usize].contacts {
                    let link = &self.links[end.link as usize];
                    let next = link.nodes[usize::from(1 - end.side)];
                    let reached = &mut self.reached[next as usize];
                    if !link.closed || usize::from(*reached) == side + 1 {
                        continue;
                    }
                    if *reached != 0 {
                        return None;
                    }
                    *reached = side as u8 + 1;
                    sides[side].push(next);
                }
            }
        }
        None
    }

    /// Looks at what the contacts of a supernode give: to all its nodes when its level is another one, else only to those
    /// that alone give it a level, or gave.
    pub(super) fn look_at_contacts(&mut self, number: u32) {
        let supernode = &mut self.supernodes[number as usize];
        supernode.touched = false;
        let now = supernode.all.summary();
        let was = std::mem::replace(&mut supernode.seen, now);
        if was.level == now.level {
            for node in was.alone().chain(now.alone()) {
                self.look_at_node(node);
            }
            return;
        }
        for at in 0..self.supernodes[number as usize].nodes.len() {
            self.look_at_node(self.supernodes[number as usize].nodes[at]);
        }
    }

    fn look_at_node(&mut self, node: u32) {
        for at in 0..self.nodes[node as usize].contacts.len() {
            let end: End = self.nodes[node as usize].contacts[at];
            if self.links[end.link as usize].closed {
                self.look_at(end);
            }
        }
    }
}
