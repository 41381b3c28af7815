//! Which bits move a bit, and which way.

/// The bits that move something, by the way they move it.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Ways {
    /// A rise of these can make it rise, and a fall make it fall.
    pub same: u64,
    /// A rise of these can make it fall, and a fall make it rise.
    pub opposite: u64,
}

/// What moves one bit.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Influence {
    /// Input bits.
    pub inputs: Ways,
    /// State bits.
    pub states: Ways,
    /// True when it depends on what a memory holds.
    pub memory: bool,
}

impl Ways {
    /// One bit that moves it its own way.
    pub(super) fn follows(bit: u8) -> Ways {
        Ways { same: 1 << bit, opposite: 0 }
    }

    /// Every bit that has an influence.
    pub fn all(self) -> u64 {
        self.same | self.opposite
    }

    fn join(self, other: Ways) -> Ways {
        Ways { same: self.same | other.same, opposite: self.opposite | other.opposite }
    }

    fn inverted(self) -> Ways {
        Ways { same: self.opposite, opposite: self.same }
    }
}

impl Influence {
    /// Both together.
    #[must_use]
    pub fn join(self, other: Influence) -> Influence {
        Influence {
            inputs: self.inputs.join(other.inputs),
            states: self.states.join(other.states),
            memory: self.memory || other.memory,
        }
    }

    /// True when nothing moves it.
    pub fn is_none(&self) -> bool {
        *self == Influence::default()
    }

    /// What an edge of an input bit can do to it: make it rise, and make it fall.
    pub fn moved(&self, input: usize, rise: bool) -> (bool, bool) {
        let same = self.inputs.same >> input & 1 == 1;
        let opposite = self.inputs.opposite >> input & 1 == 1;
        if rise { (same, opposite) } else { (opposite, same) }
    }

    pub(super) fn inverted(self) -> Influence {
        Influence { inputs: self.inputs.inverted(), states: self.states.inverted(), memory: self.memory }
    }

    pub(super) fn both(self) -> Influence {
        self.join(self.inverted())
    }
}
