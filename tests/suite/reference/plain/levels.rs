//! The nine levels of IEEE Std 1164-1993, with the resolution table as the standard prints it, and the four that a
//! formula works with.

/// A level of a net or of one of its drivers, in the order of the standard.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub(crate) enum Level {
    U,
    X,
    Zero,
    One,
    Z,
    W,
    L,
    H,
    Dash,
}

/// What a formula makes of an input, and what an output is to be.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Bit {
    Low,
    High,
    Unknown,
    Off,
}

const ORDER: [u8; 9] = *b"UX01ZWLH-";

/// `resolution_table` of package `std_logic_1164`, from memory. Rows and columns in the order U X 0 1 Z W L H -.
const RESOLUTION: [&[u8; 9]; 9] = [
    b"UUUUUUUUU",
    b"UXXXXXXXX",
    b"UX0X0000X",
    b"UXX11111X",
    b"UX01ZWLHX",
    b"UX01WWWWX",
    b"UX01LWLWX",
    b"UX01HWWHX",
    b"UXXXXXXXX",
];

impl Level {
    pub(crate) fn from_char(character: char) -> Level {
        use Level::{Dash, H, L, One, U, W, X, Z, Zero};
        let all = [U, X, Zero, One, Z, W, L, H, Dash];
        let at = ORDER.iter().position(|&c| char::from(c) == character);
        all[at.expect("a level of the standard")]
    }

    pub(crate) fn to_char(self) -> char {
        ORDER[self as usize].into()
    }

    /// What a net has that two drivers give these levels.
    pub(crate) fn resolve(self, other: Level) -> Level {
        Level::from_char(RESOLUTION[self as usize][other as usize].into())
    }

    /// What an input sees: the standard's `to_X01`.
    pub(crate) fn seen(self) -> Bit {
        match self {
            Level::Zero | Level::L => Bit::Low,
            Level::One | Level::H => Bit::High,
            _ => Bit::Unknown,
        }
    }

    /// Whether it is one of the strong levels: driven, not pulled.
    pub(crate) fn is_strong(self) -> bool {
        matches!(self, Level::U | Level::X | Level::Zero | Level::One | Level::Dash)
    }

    /// Whether a resistor makes a pull down, and a pull up, of it: both of what is unknown.
    pub(crate) fn pulls(self) -> [bool; 2] {
        match self {
            Level::Z => [false, false],
            Level::Zero | Level::L => [true, false],
            Level::One | Level::H => [false, true],
            Level::U | Level::X | Level::W | Level::Dash => [true, true],
        }
    }

    /// The weak level of a pull down, and a pull up.
    pub(crate) fn of_pulls(pulls: [bool; 2]) -> Level {
        match pulls {
            [false, false] => Level::Z,
            [true, false] => Level::L,
            [false, true] => Level::H,
            [true, true] => Level::W,
        }
    }

    /// The level behind a resistor.
    pub(crate) fn weak(self) -> Level {
        Level::of_pulls(self.pulls())
    }
}

impl Bit {
    pub(crate) fn known(high: bool) -> Bit {
        if high { Bit::High } else { Bit::Low }
    }

    /// The level that an output drives.
    pub(crate) fn driven(self) -> Level {
        match self {
            Bit::Low => Level::Zero,
            Bit::High => Level::One,
            Bit::Unknown => Level::X,
            Bit::Off => Level::Z,
        }
    }

    pub(crate) fn not(self) -> Bit {
        match self {
            Bit::Low => Bit::High,
            Bit::High => Bit::Low,
            other => other,
        }
    }

    /// A low input decides alone.
    pub(crate) fn and(self, other: Bit) -> Bit {
        match (self, other) {
            (Bit::Low, _) | (_, Bit::Low) => Bit::Low,
            (Bit::High, Bit::High) => Bit::High,
            _ => Bit::Unknown,
        }
    }

    /// A high input decides alone.
    pub(crate) fn or(self, other: Bit) -> Bit {
        self.not().and(other.not()).not()
    }

    pub(crate) fn xor(self, other: Bit) -> Bit {
        match (self, other) {
            (Bit::Low | Bit::High, Bit::Low | Bit::High) => Bit::known(self != other),
            _ => Bit::Unknown,
        }
    }

    /// What it is when it may be either of two.
    pub(crate) fn or_else(self, other: Bit) -> Bit {
        if self == other { self } else { Bit::Unknown }
    }

    /// `yes` if it is high, `no` if it is low, what both share if it is unknown.
    pub(crate) fn choose(self, yes: Bit, no: Bit) -> Bit {
        match self {
            Bit::High => yes,
            Bit::Low => no,
            _ => yes.or_else(no),
        }
    }
}
