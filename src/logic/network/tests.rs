//! A network beside two slower formulations of the same rules, which work everything out anew: by all walks from what
//! is driven, and by sweeps over all resistors.

use super::*;
use crate::logic::Level::{H, L, One, U, W, X, Z, Zero};
use proptest::prelude::*;

/// A resistor, or a contact that is open or closed.
#[derive(Clone, Copy, Debug)]
struct Plain {
    nodes: [usize; 2],
    closed: Option<bool>,
}

/// A network without any state of its own.
#[derive(Clone, Debug)]
struct Board {
    own: Vec<Level>,
    links: Vec<Plain>,
}

impl Board {
    /// For each node the first one that closed contacts join it to.
    fn roots(&self) -> Vec<usize> {
        let mut roots: Vec<usize> = (0..self.own.len()).collect();
        for link in self.links.iter().filter(|link| link.closed == Some(true)) {
            let [a, b] = link.nodes.map(|node| roots[node]);
            let joined = roots.iter_mut().filter(|root| **root == b);
            joined.for_each(|root| *root = a);
        }
        roots
    }

    /// What the nodes of a supernode have by themselves.
    fn own_of(&self, roots: &[usize], root: usize) -> Level {
        let nodes = (0..roots.len()).filter(|&node| roots[node] == root);
        nodes.fold(Z, |level, node| level.resolve(self.own[node]))
    }

    /// What each resistor brings to either end, by walks: one begins at each supernode that is driven or pulled, never
    /// turns back in a resistor, and does not pass through a supernode that is driven strongly.
    fn by_walks(&self) -> Vec<[Level; 2]> {
        let roots = self.roots();
        let strong = |root| matches!(self.own_of(&roots, root), U | X | Zero | One);
        let mut brings = vec![[Z; 2]; self.links.len()];
        for start in 0..self.own.len() {
            if roots[start] != start {
                continue;
            }
            let level = self.own_of(&roots, start).weak();
            let mut been = vec![[false; 2]; self.links.len()];
            let mut ways = vec![(start, usize::MAX)];
            while let Some((at, by)) = ways.pop() {
                for (number, link) in self.links.iter().enumerate() {
                    let [a, b] = link.nodes.map(|node| roots[node]);
                    if link.closed.is_some() || a == b || number == by {
                        continue;
                    }
                    for (side, from, to) in [(0, b, a), (1, a, b)] {
                        if from != at || std::mem::replace(&mut been[number][side], true) {
                            continue;
                        }
                        brings[number][side] = brings[number][side].resolve(level);
                        if !strong(to) {
                            ways.push((to, number));
                        }
                    }
                }
            }
        }
        brings
    }

    /// The same by sweeps: each resistor gives to either end what is behind the other, but for what it gives there
    /// itself, until nothing changes.
    fn by_sweeps(&self) -> Vec<[Level; 2]> {
        let roots = self.roots();
        let mut brings = vec![[Z; 2]; self.links.len()];
        loop {
            let before = brings.clone();
            for (number, link) in self.links.iter().enumerate() {
                let [a, b] = link.nodes.map(|node| roots[node]);
                if link.closed.is_none() && a != b {
                    let behind = |root| self.level_of(&roots, root, &brings, number).weak();
                    let given = [brings[number][0].resolve(behind(b)), brings[number][1].resolve(behind(a))];
                    brings[number] = given;
                }
            }
            if brings == before {
                return brings;
            }
        }
    }

    /// The level of a supernode without one resistor.
    fn level_of(&self, roots: &[usize], root: usize, brings: &[[Level; 2]], but: usize) -> Level {
        let mut level = self.own_of(roots, root);
        for (number, link) in self.links.iter().enumerate() {
            for side in [0, 1] {
                if number != but && roots[link.nodes[side]] == root {
                    level = level.resolve(brings[number][side]);
                }
            }
        }
        level
    }

    /// What each link gives to either end, and the level of each node.
    fn answer(&self) -> (Vec<[Level; 2]>, Vec<Level>) {
        let roots = self.roots();
        let brings = self.by_walks();
        assert_eq!(brings, self.by_sweeps(), "{self:?}");
        let none = usize::MAX;
        let here = brings_of(&brings, self);
        let gives = self.links.iter().zip(&brings).map(|(link, brings)| {
            [0, 1].map(|side| match link.closed {
                None => brings[side],
                Some(false) => Z,
                // What all other nodes of the supernode have.
                Some(true) => (0..roots.len())
                    .filter(|&node| node != link.nodes[side])
                    .filter(|&node| roots[node] == roots[link.nodes[side]])
                    .fold(Z, |level, node| level.resolve(self.at(node, &here))),
            })
        });
        let gives = gives.collect();
        let levels = roots.iter().map(|&root| self.level_of(&roots, root, &brings, none));
        (gives, levels.collect())
    }

    /// What a node has by itself and by its resistors.
    fn at(&self, node: usize, brings: &[(usize, Level)]) -> Level {
        let here = brings.iter().filter(|(at, _)| *at == node);
        here.fold(self.own[node], |level, (_, brought)| level.resolve(*brought))
    }
}

/// What resistors bring, by node.
fn brings_of(brings: &[[Level; 2]], board: &Board) -> Vec<(usize, Level)> {
    let rows = board.links.iter().zip(brings);
    rows.flat_map(|(link, brings)| [0, 1].map(|side| (link.nodes[side], brings[side]))).collect()
}

/// A network and what it has reported so far, beside a board without state.
struct Beside {
    network: Network,
    reported: Vec<[Level; 2]>,
    board: Board,
}

impl Beside {
    fn new(nodes: usize, links: &[([usize; 2], bool)]) -> Beside {
        let mut network = Network::new(nodes);
        let mut plain = Vec::new();
        for &(nodes, is_contact) in links {
            let ends = nodes.map(|node| node as u32);
            if is_contact {
                network.add_contact(ends);
            } else {
                network.add_resistor(ends);
            }
            let closed = is_contact.then_some(false);
            plain.push(Plain { nodes, closed });
        }
        Beside { network, reported: vec![[Z; 2]; links.len()], board: Board { own: vec![Z; nodes], links: plain } }
    }

    fn own(&mut self, node: usize, level: Level) {
        self.network.set_own(node as u32, level);
        self.board.own[node] = Z.resolve(level);
    }

    fn close(&mut self, link: usize, closed: bool) {
        self.network.set_closed(link as u32, closed);
        if let Some(was) = &mut self.board.links[link].closed {
            *was = closed;
        }
    }

    /// Both must have come to the same.
    fn compare(&mut self) {
        while let Some((end, level)) = self.network.next_change() {
            let shown = &mut self.reported[end.link as usize][usize::from(end.side)];
            assert_ne!(*shown, level, "no change");
            *shown = level;
        }
        let (gives, levels) = self.board.answer();
        assert_eq!(self.reported, gives, "{:?}", self.board);
        let nodes = 0..self.board.own.len() as u32;
        let found: Vec<Level> = nodes.map(|node| self.network.level(node)).collect();
        assert_eq!(found, levels, "{:?}", self.board);
    }
}

/// What is done to a board: a level for a node, or a contact that moves.
#[derive(Clone, Debug)]
enum Deed {
    Own(usize, u8),
    Close(usize, bool),
    Compare,
}

fn deeds() -> impl Strategy<Value = Vec<Deed>> {
    // Nothing and weak levels more often than the others: these let pulls through.
    let level = prop_oneof![3 => Just(Z as u8), 3 => (L as u8)..=(H as u8), 2 => 0u8..9];
    let one = prop_oneof![
        3 => (0usize..8, level).prop_map(|(node, level)| Deed::Own(node, level)),
        3 => (0usize..14, any::<bool>()).prop_map(|(link, closed)| Deed::Close(link, closed)),
        2 => Just(Deed::Compare),
    ];
    prop::collection::vec(one, 1..40)
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(2_000))]

    /// Whatever is driven and closed, in whatever order, the network comes to what a new look at all of it comes to.
    #[test]
    fn a_network_follows_what_is_done_to_it(
        nodes in 2usize..8,
        links in prop::collection::vec(((0usize..8, 1usize..8), any::<bool>()), 1..14),
        deeds in deeds(),
    ) {
        let links = links.into_iter().map(|((a, by), is_contact)| {
            let a = a % nodes;
            ([a, (a + 1 + by % (nodes - 1)) % nodes], is_contact)
        });
        let links: Vec<_> = links.collect();
        let mut beside = Beside::new(nodes, &links);
        for deed in deeds {
            match deed {
                Deed::Own(node, level) => beside.own(node % nodes, Level::from_u8(level)),
                Deed::Close(link, closed) => beside.close(link % links.len(), closed),
                Deed::Compare => beside.compare(),
            }
        }
        beside.compare();
    }
}

/// All ways to drive four nodes, and to close the contacts between them, one by one: in a ring of two resistors and two
/// contacts with a resistor across.
#[test]
fn every_state_of_a_small_ring_is_right() {
    let links = [([0, 1], false), ([1, 2], true), ([2, 3], false), ([3, 0], true), ([0, 2], false)];
    let mut beside = Beside::new(4, &links);
    for contacts in 0..4 {
        beside.close(1, contacts & 1 != 0);
        beside.close(3, contacts & 2 != 0);
        for state in 0..8_u32.pow(4) {
            let digits = [state % 8, state / 8 % 8, state / 64 % 8, state / 512];
            for (node, digit) in digits.into_iter().enumerate() {
                beside.own(node, Level::from_u8(digit as u8));
            }
            beside.compare();
        }
    }
}

#[test]
fn what_a_resistor_brings_does_not_come_back_by_it() {
    let mut network = Network::new(3);
    let (a, b) = (network.add_resistor([0, 1]), network.add_resistor([1, 2]));
    network.set_own(0, One);
    let mut gives = std::collections::BTreeMap::new();
    while let Some((end, level)) = network.next_change() {
        gives.insert((end.link, end.side), level);
    }
    // IEEE Std 1164: a resistor makes H of 1, and H of H; nothing comes back from nodes that nobody drives.
    assert_eq!(gives.into_iter().collect::<Vec<_>>(), [((a, 1), H), ((b, 1), H)]);
    network.set_own(0, Z);
    assert_eq!([0, 1, 2].map(|node| network.level(node)), [Z; 3]);
}

#[test]
fn pulls_both_ways_and_drivers_against_each_other_are_unknown() {
    let mut network = Network::new(3);
    network.add_resistor([0, 1]);
    let contact = network.add_contact([1, 2]);
    network.set_own(0, Zero);
    network.set_own(2, H);
    assert_eq!([0, 1, 2].map(|node| network.level(node)), [Zero, L, H]);
    // The table of IEEE Std 1164: L and H make W, 0 and 1 make X, a strong level overrides a weak one.
    network.set_closed(contact, true);
    assert_eq!([1, 2].map(|node| network.level(node)), [W; 2]);
    network.set_own(1, Zero);
    assert_eq!([1, 2].map(|node| network.level(node)), [Zero; 2]);
    network.set_own(2, One);
    assert_eq!([1, 2].map(|node| network.level(node)), [X; 2]);
}
