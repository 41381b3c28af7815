//! How many nodes of a supernode give each level.

use super::super::Level;

/// Levels of the standard.
const LEVELS: usize = 9;
/// No node.
const NOBODY: u32 = u32::MAX;

/// How many nodes give each level, and for a level that only one gives, which one.
#[derive(Clone, Debug, Default)]
pub(super) struct Tally {
    of: [u32; LEVELS],
    /// The numbers of the nodes, exclusive-ORed: of one node it is its number.
    who: [u32; LEVELS],
}

/// What a tally makes of a supernode, and for each level the node that alone gives it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Summary {
    pub(super) level: Level,
    alone: [u32; LEVELS],
}

impl Tally {
    pub(super) fn add(&mut self, node: u32, level: Level) {
        self.of[level as usize] += 1;
        self.who[level as usize] ^= node;
    }

    pub(super) fn remove(&mut self, node: u32, level: Level) {
        self.of[level as usize] -= 1;
        self.who[level as usize] ^= node;
    }

    pub(super) fn add_all(&mut self, other: &Tally) {
        for at in 0..LEVELS {
            self.of[at] += other.of[at];
            self.who[at] ^= other.who[at];
        }
    }

    /// What all nodes make of it.
    pub(super) fn level(&self) -> Level {
        self.resolved(|at| self.of[at])
    }

    /// What all nodes but one make of it that gives this level.
    pub(super) fn level_without(&self, level: Level) -> Level {
        self.resolved(|at| self.of[at] - u32::from(at == level as usize))
    }

    fn resolved(&self, count: impl Fn(usize) -> u32) -> Level {
        let given = (0..LEVELS).filter(|&at| count(at) > 0);
        given.fold(Level::Z, |all, at| all.resolve(Level::from_u8(at as u8)))
    }

    pub(super) fn summary(&self) -> Summary {
        let mut alone = [NOBODY; LEVELS];
        for (at, node) in alone.iter_mut().enumerate() {
            // Without a node that gives Z nothing is different.
            if self.of[at] == 1 && at != Level::Z as usize {
                *node = self.who[at];
            }
        }
        let level = self.level();
        Summary { level, alone }
    }
}

impl Summary {
    /// The nodes without which the level may be another one.
    pub(super) fn alone(self) -> impl Iterator<Item = u32> {
        self.alone.into_iter().filter(|&node| node != NOBODY)
    }
}

impl Default for Summary {
    fn default() -> Summary {
        Tally::default().summary()
    }
}
