//! Keys by a text that their rows hold already.

use super::Key;
use rustc_hash::FxHasher;
use std::hash::Hasher;
use std::marker::PhantomData;

/// Finds the key of a text without keeping the text: who asks tells whether a row has it. A map with texts of its own
/// would hold each of them twice.
#[derive(Clone, Debug)]
pub struct Finder<K> {
    /// Hash and row; a power of two of them, at most three of four taken.
    slots: Vec<(u32, u32)>,
    taken: usize,
    key: PhantomData<K>,
}

/// The row of a slot that is not taken. No key has it, since a map has fewer rows.
const FREE: u32 = u32::MAX;
/// The first slots.
const FEWEST: usize = 16;

impl<K> Default for Finder<K> {
    fn default() -> Self {
        Finder {
            slots: Vec::new(),
            taken: 0,
            key: PhantomData,
        }
    }
}

impl<K: Key> Finder<K> {
    /// The key of a text; `has` tells whether the row of a key has it.
    pub fn find(&self, text: &str, has: impl FnMut(K) -> bool) -> Option<K> {
        self.look(hash(text), has).ok()
    }

    /// Makes a text lead to a key, unless it leads to one already.
    pub fn insert(&mut self, text: &str, key: K, has: impl FnMut(K) -> bool) {
        if (self.taken + 1) * 4 > self.slots.len() * 3 {
            self.grow();
        }
        let hash = hash(text);
        if let Err(Some(free)) = self.look(hash, has) {
            self.slots[free] = (hash, key.index() as u32);
            self.taken += 1;
        }
    }

    /// The key, or else the free slot at which the search ended.
    fn look(&self, hash: u32, mut has: impl FnMut(K) -> bool) -> Result<K, Option<usize>> {
        let Some(mask) = self.slots.len().checked_sub(1) else {
            return Err(None);
        };
        let mut at = hash as usize & mask;
        loop {
            let (other, row) = self.slots[at];
            if row == FREE {
                return Err(Some(at));
            }
            if other == hash {
                let key = K::from_index(row as usize);
                if has(key) {
                    return Ok(key);
                }
            }
            at = (at + 1) & mask;
        }
    }

    fn grow(&mut self) {
        let count = (self.slots.len() * 2).max(FEWEST);
        let old = std::mem::replace(&mut self.slots, vec![(0, FREE); count]);
        for (hash, row) in old.into_iter().filter(|&(_, row)| row != FREE) {
            let mut at = hash as usize & (count - 1);
            while self.slots[at].1 != FREE {
                at = (at + 1) & (count - 1);
            }
            self.slots[at] = (hash, row);
        }
    }
}

fn hash(text: &str) -> u32 {
    let mut hasher = FxHasher::default();
    hasher.write(text.as_bytes());
    hasher.finish() as u32
}

#[cfg(test)]
#[expect(unreachable_pub, reason = "the macro makes public types")]
mod tests {
    use super::*;
    use std::collections::BTreeMap;

    crate::key_type!(/// A test key.
        Thing, "thing");

    #[test]
    fn it_finds_what_an_ordered_map_finds() {
        let texts: Vec<String> = (0..3000).map(|at| format!("n{}", at * 7 % 2500)).collect();
        let mut finder = Finder::<Thing>::default();
        let mut map = BTreeMap::new();
        assert_eq!(finder.find("n0", |_| true), None);
        for (at, text) in texts.iter().enumerate() {
            let key = Thing::from_index(at);
            finder.insert(text, key, |other| texts[other.index()] == *text);
            map.entry(text).or_insert(key);
        }
        for at in 0..4000 {
            let text = format!("n{at}");
            let found = finder.find(&text, |key| texts[key.index()] == text);
            assert_eq!(found, map.get(&text).copied(), "{text}");
        }
    }
}
