//! Key types: one 32-bit index per kind of thing, and the maps that they open.
//!
//! A [`Key`] names a row of a [`KeyVec`]. Each kind has its own type, so that a net cannot be used where a pin is
//! meant. A `KeyVec` that is grown with [`KeyVec::push`] owns the rows; one made with [`KeyVec::filled`] is a side
//! table that keeps one fact per row of another. A [`Finder`] leads from the names of rows to their keys.

mod finder;

pub use finder::Finder;

use std::marker::PhantomData;
use std::ops::{Index, IndexMut};

/// An index of one kind of thing.
pub trait Key: Copy + Eq + Ord + std::hash::Hash + std::fmt::Debug {
    /// The key of row `index`.
    ///
    /// # Panics
    /// When `index` does not fit 32 bits; the language's size limits keep designs far below.
    fn from_index(index: usize) -> Self;
    /// The row of this key.
    fn index(self) -> usize;
}

/// Defines a key type: its name, and the prefix that it prints with.
#[macro_export]
macro_rules! key_type {
    ($(#[$doc:meta])* $name:ident, $prefix:literal) => {
        $(#[$doc])*
        #[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
        pub struct $name(u32);

        impl $crate::key::Key for $name {
            fn from_index(index: usize) -> Self {
                Self(u32::try_from(index).expect("fewer than 2^32 rows"))
            }
            fn index(self) -> usize {
                self.0 as usize
            }
        }

        impl std::fmt::Debug for $name {
            fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
                write!(f, concat!($prefix, "{}"), self.0)
            }
        }
    };
}

/// A vector that only its own kind of key opens.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct KeyVec<K, V> {
    rows: Vec<V>,
    key: PhantomData<K>,
}

impl<K, V> Default for KeyVec<K, V> {
    fn default() -> Self {
        Self { rows: Vec::new(), key: PhantomData }
    }
}

impl<K: Key, V> KeyVec<K, V> {
    /// An empty map.
    pub fn new() -> Self {
        Self::default()
    }

    /// A side table: `count` rows of the same value.
    pub fn filled(count: usize, value: V) -> Self
    where
        V: Clone,
    {
        Self { rows: vec![value; count], key: PhantomData }
    }

    /// Adds a row and returns its key.
    pub fn push(&mut self, value: V) -> K {
        let key = K::from_index(self.rows.len());
        self.rows.push(value);
        key
    }

    /// Makes room for more rows.
    pub fn reserve(&mut self, more: usize) {
        self.rows.reserve(more);
    }

    /// Number of rows.
    pub fn len(&self) -> usize {
        self.rows.len()
    }

    /// True when there is no row.
    pub fn is_empty(&self) -> bool {
        self.rows.is_empty()
    }

    /// The rows in order of their keys.
    pub fn values(&self) -> std::slice::Iter<'_, V> {
        self.rows.iter()
    }

    /// The rows, to be changed.
    pub fn values_mut(&mut self) -> std::slice::IterMut<'_, V> {
        self.rows.iter_mut()
    }

    /// All keys in order.
    pub fn keys(&self) -> impl DoubleEndedIterator<Item = K> + ExactSizeIterator + use<K, V> {
        (0..self.rows.len()).map(K::from_index)
    }

    /// All keys with their rows, in order.
    pub fn iter(&self) -> impl DoubleEndedIterator<Item = (K, &V)> + ExactSizeIterator {
        self.rows.iter().enumerate().map(|(index, value)| (K::from_index(index), value))
    }
}

impl<K: Key, V> Index<K> for KeyVec<K, V> {
    type Output = V;
    fn index(&self, key: K) -> &V {
        &self.rows[key.index()]
    }
}

impl<K: Key, V> IndexMut<K> for KeyVec<K, V> {
    fn index_mut(&mut self, key: K) -> &mut V {
        &mut self.rows[key.index()]
    }
}

impl<K, V> FromIterator<V> for KeyVec<K, V> {
    fn from_iter<I: IntoIterator<Item = V>>(rows: I) -> Self {
        Self { rows: rows.into_iter().collect(), key: PhantomData }
    }
}

#[cfg(test)]
#[expect(unreachable_pub, reason = "the macro makes public types")]
mod tests {
    use super::*;

    key_type!(/// A test key.
        Thing, "thing");

    #[test]
    fn keys_open_their_rows_and_print_their_kind() {
        let mut things = KeyVec::<Thing, &str>::new();
        let first = things.push("first");
        let second = things.push("second");
        assert_eq!((things[first], things[second]), ("first", "second"));
        assert_eq!(format!("{second:?}"), "thing1");
        assert_eq!(things.keys().collect::<Vec<_>>(), [first, second]);
    }
}
