//! Things of one kind in order of writing, found by their names.

use indexmap::IndexMap;
use rustc_hash::FxBuildHasher;
use std::sync::Arc;

/// Things of one kind. Several may have one name (two chips called U3, which a rule of the check reports): the first
/// is found.
#[derive(Clone, Debug)]
pub(crate) struct Roster<K> {
    order: Vec<K>,
    names: IndexMap<Arc<str>, K, FxBuildHasher>,
}

impl<K> Default for Roster<K> {
    fn default() -> Self {
        Roster { order: Vec::new(), names: IndexMap::default() }
    }
}

impl<K: Copy + PartialEq> Roster<K> {
    /// The first thing of a name.
    pub(crate) fn find(&self, name: &str) -> Option<K> {
        self.names.get(name).copied()
    }

    /// The things in order of writing.
    pub(crate) fn keys(&self) -> impl Iterator<Item = K> + Clone + '_ {
        self.order.iter().copied()
    }

    pub(super) fn reserve(&mut self, more: usize) {
        self.order.reserve(more);
        self.names.reserve(more);
    }

    /// Adds a thing behind all others.
    pub(super) fn push(&mut self, name: &Arc<str>, key: K) {
        self.order.push(key);
        self.names.entry(name.clone()).or_insert(key);
    }

    /// Takes a thing away; `has_name` tells which others have its name.
    pub(super) fn remove(&mut self, name: &str, key: K, has_name: impl Fn(K) -> bool) {
        self.order.retain(|other| *other != key);
        if self.find(name) != Some(key) {
            return;
        }
        match self.order.iter().find(|other| has_name(**other)) {
            Some(next) => self.names[name] = *next,
            None => {
                self.names.shift_remove(name);
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_first_of_a_name_is_found_and_the_order_stays() {
        let all = ["a", "x", "b", "x", "x", "c"];
        for gone in 0..all.len() {
            let mut roster = Roster::default();
            for (key, name) in all.iter().enumerate() {
                roster.push(&Arc::from(*name), key);
            }
            roster.remove(all[gone], gone, |key| all[key] == all[gone]);
            let left: Vec<usize> = (0..all.len()).filter(|key| *key != gone).collect();
            assert_eq!(roster.keys().collect::<Vec<_>>(), left);
            for name in ["a", "x", "b", "c"] {
                let first = left.iter().find(|key| all[**key] == name);
                assert_eq!(roster.find(name), first.copied(), "{name} without {gone}");
            }
        }
    }
}
