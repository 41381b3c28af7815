//! Recipes: which seed, and what is done to it. Every input is made from the seed of a soak and its own number, so that
//! it is the same on any number of cores, and a recipe that fails is shortened.

use proptest::collection::vec;
use proptest::prelude::*;
use proptest::strategy::ValueTree;
use proptest::test_runner::{Config, RngAlgorithm, TestRng, TestRunner};

/// One change of a text.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Change {
    /// What is done, one of [`super::mutate::KINDS`].
    pub(crate) kind: u8,
    /// Where, as a share of the text.
    pub(crate) at: u32,
    /// With what.
    pub(crate) value: u32,
}

/// A seed and its changes.
#[derive(Clone, Debug)]
pub(crate) struct Recipe {
    pub(crate) seed: u32,
    pub(crate) changes: Vec<Change>,
}

fn changes() -> impl Strategy<Value = Change> {
    let kind = 0..super::mutate::KINDS;
    (kind, any::<u32>(), any::<u32>()).prop_map(|(kind, at, value)| Change { kind, at, value })
}

fn recipes() -> impl Strategy<Value = Recipe> {
    (any::<u32>(), vec(changes(), 1..7)).prop_map(|(seed, changes)| Recipe { seed, changes })
}

/// The recipe of a number, and how it can be shortened.
pub(crate) struct Recipes {
    tree: Box<dyn ValueTree<Value = Recipe>>,
}

/// Tries of a shorter recipe.
const MOST_TRIES: usize = 60;

impl Recipes {
    /// The recipe of a number in a soak.
    pub(crate) fn of(soak: u64, target: &str, number: u64) -> Recipes {
        let mut bytes = [0; 32];
        bytes[..8].copy_from_slice(&soak.to_le_bytes());
        bytes[8..16].copy_from_slice(&number.to_le_bytes());
        for (place, byte) in bytes[16..].iter_mut().zip(target.bytes()) {
            *place = byte;
        }
        let rng = TestRng::from_seed(RngAlgorithm::ChaCha, &bytes);
        let mut runner = TestRunner::new_with_rng(Config::default(), rng);
        let tree = recipes().boxed().new_tree(&mut runner);
        Recipes { tree: Box::new(tree.expect("a recipe")) }
    }

    pub(crate) fn current(&self) -> Recipe {
        self.tree.current()
    }

    /// The shortest recipe that was found for which something is still so.
    pub(crate) fn shortest(mut self, still: &mut dyn FnMut(&Recipe) -> bool) -> Recipe {
        let mut best = self.tree.current();
        for _ in 0..MOST_TRIES {
            if !self.tree.simplify() {
                break;
            }
            let next = self.tree.current();
            if still(&next) {
                best = next;
            } else if !self.tree.complicate() {
                break;
            }
        }
        best
    }
}
