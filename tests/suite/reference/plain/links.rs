//! Resistors and contacts between nets: what each net gets through them.
//!
//! Closed contacts make one node of several nets. A resistor makes a pull of what drives the node behind it, and passes
//! the pulls on that other resistors bring to that node, unless a strong level drives it; it brings nothing back to where
//! it came from.

use super::levels::Level;

#[derive(Clone, Debug)]
pub(crate) struct Link {
    pub(crate) nets: [usize; 2],
    pub(crate) is_resistor: bool,
    pub(crate) closed: bool,
}

/// The level of each net, from what drives it beside the links.
pub(crate) fn levels(own: &[Level], links: &[Link]) -> Vec<Level> {
    let node_of = nodes(own.len(), links);
    let mut driven = vec![Level::Z; own.len()];
    for (net, &level) in own.iter().enumerate() {
        driven[node_of[net]] = driven[node_of[net]].resolve(level);
    }
    let resistors: Vec<[usize; 2]> = links
        .iter()
        .filter(|link| link.is_resistor)
        .map(|link| link.nets.map(|net| node_of[net]))
        .filter(|nodes| nodes[0] != nodes[1])
        .collect();
    // What each resistor brings to its first end, and to its second.
    let mut brought = vec![[[false; 2]; 2]; resistors.len()];
    loop {
        let mut more = false;
        for (at, ends) in resistors.iter().enumerate() {
            for to in [0, 1] {
                let from = ends[1 - to];
                let mut pulls = driven[from].pulls();
                if !driven[from].is_strong() {
                    let others = resistors.iter().enumerate().filter(|(other, _)| *other != at);
                    for (other, ends) in others {
                        for end in [0, 1].into_iter().filter(|&end| ends[end] == from) {
                            pulls[0] |= brought[other][end][0];
                            pulls[1] |= brought[other][end][1];
                        }
                    }
                }
                more |= pulls != brought[at][to];
                brought[at][to] = pulls;
            }
        }
        if !more {
            break;
        }
    }
    let mut levels = driven;
    for (ends, brought) in resistors.iter().zip(&brought) {
        for (&node, &pulls) in ends.iter().zip(brought) {
            levels[node] = levels[node].resolve(Level::of_pulls(pulls));
        }
    }
    node_of.iter().map(|&node| levels[node]).collect()
}

/// The node of each net: the first net that closed contacts join it to.
fn nodes(nets: usize, links: &[Link]) -> Vec<usize> {
    let mut node_of: Vec<usize> = (0..nets).collect();
    loop {
        let mut moved = false;
        for link in links.iter().filter(|link| !link.is_resistor && link.closed) {
            let [a, b] = link.nets.map(|net| node_of[net]);
            if a != b {
                let (low, high) = (a.min(b), a.max(b));
                node_of.iter_mut().filter(|node| **node == high).for_each(|node| *node = low);
                moved = true;
            }
        }
        if !moved {
            return node_of;
        }
    }
}
