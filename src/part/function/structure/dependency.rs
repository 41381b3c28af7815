//! Which bits move a bit, and which way.

/// The bits that move something, by the way they move it.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Unateness {
    /// A rise of these can make it rise, and a fall make it fall.
    pub positive: u64,
    /// A rise of these can make it fall, and a fall make it rise.
    pub negative: u64,
}

/// What moves one bit.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Dependency {
    pub inputs: Unateness,
    pub states: Unateness,
    /// True when it depends on what a memory holds.
    pub memory: bool,
}

impl Unateness {
    /// One bit that moves it its own way.
    pub(super) fn follows(bit: u8) -> Unateness {
        Unateness { positive: 1 << bit, negative: 0 }
    }

    /// Every bit that has an influence.
    pub fn all(self) -> u64 {
        self.positive | self.negative
    }

    fn join(self, other: Unateness) -> Unateness {
        Unateness { positive: self.positive | other.positive, negative: self.negative | other.negative }
    }

    fn inverted(self) -> Unateness {
        Unateness { positive: self.negative, negative: self.positive }
    }
}

impl Dependency {
    /// Both together.
    #[must_use]
    pub fn join(self, other: Dependency) -> Dependency {
        Dependency {
            inputs: self.inputs.join(other.inputs),
            states: self.states.join(other.states),
            memory: self.memory || other.memory,
        }
    }

    /// True when nothing moves it.
    pub fn is_none(&self) -> bool {
        *self == Dependency::default()
    }

    /// What an edge of an input bit can do to it: make it rise, and make it fall.
    pub fn moved(&self, input: usize, rise: bool) -> (bool, bool) {
        let positive = self.inputs.positive >> input & 1 == 1;
        let negative = self.inputs.negative >> input & 1 == 1;
        if rise { (positive, negative) } else { (negative, positive) }
    }

    pub(super) fn inverted(self) -> Dependency {
        Dependency { inputs: self.inputs.inverted(), states: self.states.inverted(), memory: self.memory }
    }

    pub(super) fn both(self) -> Dependency {
        self.join(self.inverted())
    }
}
