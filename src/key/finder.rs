//! Keys by a text that their rows hold already.

use super::Key;
use hashbrown::HashTable;
use rustc_hash::FxHasher;
use std::hash::Hasher;
use std::marker::PhantomData;

/// Finds the key of a text without keeping the text: who asks tells whether a row has it. A map with texts of its own
/// would hold each of them twice.
#[derive(Clone, Debug)]
pub struct Finder<K> {
    /// Hash and row.
    rows: HashTable<(u32, u32)>,
    key: PhantomData<K>,
}

impl<K> Default for Finder<K> {
    fn default() -> Self {
        Finder { rows: HashTable::new(), key: PhantomData }
    }
}

impl<K: Key> Finder<K> {
    /// An empty finder with room for some texts.
    pub fn with_capacity(texts: usize) -> Self {
        Finder { rows: HashTable::with_capacity(texts), key: PhantomData }
    }

    /// The key of a text; `has` tells whether the row of a key has it.
    pub fn find(&self, text: &str, mut has: impl FnMut(K) -> bool) -> Option<K> {
        let hash = hash(text);
        let is_it = |&(other, row): &(u32, u32)| other == hash && has(K::from_index(row as usize));
        let found = self.rows.find(spread(hash), is_it)?;
        Some(K::from_index(found.1 as usize))
    }

    /// Makes a text lead to a key, unless it leads to one already.
    pub fn insert(&mut self, text: &str, key: K, has: impl FnMut(K) -> bool) {
        if self.find(text, has).is_none() {
            let hash = hash(text);
            let row = (hash, key.index() as u32);
            self.rows.insert_unique(spread(hash), row, |&(hash, _)| spread(hash));
        }
    }
}

fn hash(text: &str) -> u32 {
    let mut hasher = FxHasher::default();
    hasher.write(text.as_bytes());
    hasher.finish() as u32
}

/// The table takes some bits from either end.
fn spread(hash: u32) -> u64 {
    u64::from(hash) << u32::BITS | u64::from(hash)
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
